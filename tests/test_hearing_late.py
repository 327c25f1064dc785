"""A clean hand alone says little of a fault that is lateness where lateness can't be heard."""

from fractions import Fraction as F

import pytest

from coach.coaching.diagnosis.evidence import Evidence
from coach.coaching.diagnosis.probe_selection import ProbeSelection, TroubleProbe
from coach.coaching.diagnosis.troubles import (
    Posterior,
    SlipRate,
    beat_posterior,
    diagnose,
    fault_prior,
    infer_posteriors,
)
from coach.coaching.model import Observation
from coach.coaching.observations import chance_to_hear_late, share_heard_late
from coach.coaching.windows import PracticeMap
from coach.judging.model import Outcome
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Transition, Window

BOTH = frozenset({Hands.RIGHT, Hands.LEFT})
QUARTER_MS = 60_000 / 90


def quarters(*onsets: int) -> list[F]:
    return [F(onset) for onset in onsets]


def test_a_hesitation_before_the_first_note_is_never_heard() -> None:
    assert chance_to_hear_late(quarters(0, 1, 2), 0, QUARTER_MS) == 0.0
    assert chance_to_hear_late(quarters(0, 1, 2), 1, QUARTER_MS) > 0.0


def test_the_longer_the_interval_the_less_is_heard() -> None:
    shorter = chance_to_hear_late(quarters(0, 1, 2, 3), 2, QUARTER_MS)
    longer = chance_to_hear_late(quarters(0, 2, 4, 6), 2, QUARTER_MS)
    assert 0.0 < longer < shorter <= 1.0


def test_at_the_end_of_a_long_note_less_is_heard() -> None:
    ending = chance_to_hear_late(quarters(0, 1, 2, 4, 5, 6, 7, 8), 3, QUARTER_MS)
    even = chance_to_hear_late(quarters(0, 2, 4, 6, 8, 10, 12, 14), 3, QUARTER_MS)
    assert ending < even


def test_a_hand_that_keeps_the_time_alone_shows_as_much_as_both() -> None:
    """What both hands would not show either is no reason to doubt a hand that was clean alone."""
    eighths = [F(k, 2) for k in range(9)]
    assert chance_to_hear_late(eighths, 8, 4 * QUARTER_MS) < 1.0
    assert share_heard_late(eighths, eighths, 8, 4 * QUARTER_MS) == 1.0
    halves = quarters(0, 2, 4)
    assert 0.0 < share_heard_late(halves, eighths, 2, 4 * QUARTER_MS) < 1.0
    assert share_heard_late(halves, eighths, 0, 4 * QUARTER_MS) == 0.0


def observation(
    at_s: float,
    hands: Hands,
    played: Hands,
    outcome: Outcome,
    hears_late: float = 1.0,
    beat: int = 5,
) -> Observation:
    move = Transition(hands, F(beat - 1), F(beat))
    return Observation(at_s, move, F(beat), played, outcome, 90.0, hears_late=hears_late)


def believed(outcome: Outcome, hears_late: float) -> Posterior:
    """Both hands failed twice together; then the left alone was clean four times."""
    evidence = Evidence()
    for at_s in (1.0, 2.0):
        evidence.add([observation(at_s, h, Hands.TOGETHER, outcome) for h in sorted(BOTH)], 90.0)
    for at_s in (3.0, 4.0, 5.0, 6.0):
        evidence.add([observation(at_s, Hands.LEFT, Hands.LEFT, Outcome.CLEAN, hears_late)], 90.0)
    slips = SlipRate.of_mean(0.002)
    return beat_posterior(evidence.counts_at(F(5)), slips, fault_prior(30), BOTH)


def test_clean_alone_speaks_against_the_hand_only_as_far_as_it_would_have_been_heard() -> None:
    deaf, keen = believed(Outcome.LATE, 0.0), believed(Outcome.LATE, 1.0)
    assert deaf.left == pytest.approx(deaf.right, abs=0.02)
    assert keen.left < deaf.left / 2


def test_a_wrong_key_is_heard_in_any_window() -> None:
    deaf, keen = believed(Outcome.WRONG, 0.0), believed(Outcome.WRONG, 1.0)
    assert deaf == keen


def test_both_hands_late_together_may_well_be_one_hand_s_doing() -> None:
    belief = believed(Outcome.LATE, 0.0)
    assert belief.left + belief.right > belief.together


def four_bars(left: range | tuple[int, ...] = range(16)) -> Score:
    right = [{"pitch": 72 + k % 5, "onset": k, "length": 1, "hand": "RH"} for k in range(16)]
    low = [{"pitch": 48 + k % 4, "onset": k, "length": 1, "hand": "LH"} for k in left]
    return score_from_notes([*right, *low], qpm=90)


def heard_twice(score: Score, outcome: Outcome, beat: int) -> ProbeSelection:
    practice_map = PracticeMap(score, Window(F(0), F(16)))
    evidence = Evidence()
    for at_s in (1.0, 2.0):
        heard = [
            observation(
                at_s,
                t.hands,
                Hands.TOGETHER,
                outcome if t.to_quarters == beat else Outcome.CLEAN,
                beat=int(t.to_quarters),
            )
            for t in practice_map.transitions
        ]
        evidence.add(heard, 90.0)
    return ProbeSelection(
        diagnose(evidence, practice_map), evidence, practice_map, practice_map.whole
    )


def chosen(score: Score, outcome: Outcome, beat: int = 1) -> tuple[TroubleProbe, PracticeMap]:
    selection = heard_twice(score, outcome, beat)
    probe = selection.choose_best(None)
    assert probe
    return probe, selection.practice_map


def test_lateness_is_looked_for_with_enough_notes_around_it() -> None:
    probe, practice_map = chosen(four_bars(), Outcome.LATE)
    assert probe is not None
    late = probe.suspect.transition
    move = Transition(probe.window.hands, late.from_quarters, late.to_quarters)
    assert practice_map.hears_late(probe.window, move, QUARTER_MS) > 0.0


def test_what_was_asked_is_not_asked_again_from_farther_before() -> None:
    """Clean twice with one beat of run-up, it is no other question with three."""
    selection = heard_twice(four_bars(), Outcome.LATE, 9)
    first = selection.choose_best(None)
    assert first
    alike = [p for p in selection._possible_probes() if p.question == first.question]
    assert len({probe.window for probe in alike}) == 2
    other = selection.choose_best(None, {first.question})
    assert other
    assert other.question != first.question
    last = selection.choose_best(None, {first.question, other.question})
    assert last is None or last.window.hands is Hands.TOGETHER


def test_a_wrong_key_is_looked_for_in_the_smallest_window_that_goes_on_after_it() -> None:
    """A note left out at the very end would be no more than a stop."""
    probe, _ = chosen(four_bars(), Outcome.WRONG)
    assert probe.window.end_quarters == 2


def test_no_window_is_asked_for_in_which_the_suspected_hand_only_enters() -> None:
    score = four_bars(left=(0, 1, 2, 6, 9, 10, 11, 12))
    probe, practice_map = chosen(score, Outcome.LATE, beat=6)
    hands = probe.window.hands
    assert not practice_map.is_entry(Transition(hands, F(5), F(6)), probe.window)


def failing_at(*beats: int) -> dict[F, Posterior]:
    """Beliefs after two repetitions of four bars in which only these beats of the left hand fail,
    the last of them once."""
    practice_map = PracticeMap(four_bars(), Window(F(0), F(16)))
    evidence = Evidence()
    for at_s in (1.0, 2.0, 3.0):
        failing = beats if at_s == 3.0 else beats[:-1]
        heard = [
            observation(
                at_s,
                t.hands,
                Hands.TOGETHER,
                Outcome.WRONG
                if t.hands is Hands.LEFT and t.to_quarters in failing
                else Outcome.CLEAN,
                beat=int(t.to_quarters),
            )
            for t in practice_map.transitions
        ]
        evidence.add(heard, 90.0)
    return infer_posteriors(evidence, practice_map.transitions)[0]


def test_one_sure_fault_makes_a_second_likelier() -> None:
    assert failing_at(4, 12)[F(4)].fault > 0.97
    assert failing_at(4, 12)[F(12)].fault > failing_at(12)[F(12)].fault
