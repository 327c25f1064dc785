"""A repetition is clean when it is, and the sentence says what was not."""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.coaching.observations import FAILED
from coach.judging.judge import judge
from coach.judging.model import Cause, Family, Outcome, Stage
from coach.judging.serialize import judgement_to_plain
from coach.score.model import Hand, Hands
from coach.screens.wording import verdict_headline
from tests.judging_help import after, both, play, whole
from tests.notated import all_of, played, written

WINDOW = whole(both())


def index_at(onset: F, hand: Hand) -> int:
    return next(
        i for i, n in enumerate(WINDOW.notes) if n.onset_quarters == onset and n.hand is hand
    )


@pytest.mark.parametrize("qpm", [30, 60, 100, 180])
def test_a_perfect_performance_at_any_tempo_is_clean(qpm: float) -> None:
    judgement = judge(WINDOW, play(WINDOW, qpm=qpm))
    assert judgement.clean
    assert judgement.sentence == "Clean"
    assert judgement.qpm == pytest.approx(qpm, rel=0.005)


def test_a_pause_before_beat_three_is_told_with_its_size() -> None:
    judgement = judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), 0.4)))
    assert not judgement.clean
    assert judgement.sentence == "Late to bar 1 beat 3 (0.4 s)"
    late = [r for r in judgement.transitions if r.outcome is Outcome.LATE]
    assert {r.transition.to_quarters for r in late} == {2}


def test_one_hand_late_is_that_hand() -> None:
    judgement = judge(WINDOW, play(WINDOW, late={index_at(F(3), Hand.LEFT): 0.22}))
    assert judgement.faults[0].hands is Hands.LEFT
    assert judgement.sentence == "LH late to bar 1 beat 4 (0.2 s)"


def test_a_hand_that_waits_while_the_other_corrects_a_key_has_not_failed() -> None:
    """The left hand's wrong key is followed by the right one; then both go on, 0.4 s late."""
    wrong = index_at(F(2), Hand.LEFT)
    notes = play(WINDOW, late=after(WINDOW, F(2), 0.4))
    right = next(n for n in notes if n.pitch == WINDOW.notes[wrong].pitch and n.onset_s > 2.0)
    notes += [replace(right, pitch=right.pitch + 1, onset_s=right.onset_s - 0.4, length_s=0.2)]
    judgement = judge(WINDOW, sorted(notes, key=lambda note: note.onset_s))
    assert judgement.faults[0].cause is Cause.CORRECTED_KEY
    failed = {one.transition.hands for one in judgement.transitions if one.outcome in FAILED}
    assert failed == {Hands.LEFT}


def test_at_the_notes_stage_only_the_keys_count() -> None:
    judgement = judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), 0.8)), stage=Stage.NOTES)
    assert judgement.clean
    assert judgement.faults[0].forgiven


def test_a_wrong_key_is_named_as_this_passage_would_spell_it() -> None:
    notes = play(WINDOW)
    wrong = index_at(F(1), Hand.RIGHT)
    target = WINDOW.notes[wrong].pitch
    at = next(i for i, n in enumerate(notes) if n.pitch == target and n.onset_s > 1.0)
    notes[at] = replace(notes[at], pitch=target + 2)
    judgement = judge(WINDOW, notes)
    assert judgement.faults[0].family is Family.PITCH
    assert judgement.sentence == "RH F sharp for E at bar 1 beat 2"


def test_breaking_off_is_not_clean_and_says_so() -> None:
    judgement = judge(WINDOW, play(WINDOW)[:12])
    assert not judgement.complete
    assert not judgement.clean
    assert judgement.sentence == "Stopped before bar 2 beat 1"


def test_breaking_off_in_the_middle_of_a_chord_is_breaking_off_and_no_missed_note() -> None:
    notes = [note for note in play(WINDOW) if note.onset_s < 0.5 + 2 * 0.6 + 0.01]
    left = WINDOW.notes[index_at(F(2), Hand.LEFT)].pitch
    judgement = judge(WINDOW, [note for note in notes if note.pitch != left])
    assert judgement.sentence == "Stopped at bar 1 beat 3"
    assert verdict_headline(both(), judgement) == "BROKE OFF"


def test_the_note_arrived_at_left_out_is_where_the_playing_stopped() -> None:
    end = max(note.onset_quarters for note in WINDOW.notes)
    last = 0.5 + float(end) * 0.6
    judgement = judge(WINDOW, [note for note in play(WINDOW) if note.onset_s < last - 0.01])
    assert judgement.sentence == "Stopped before bar 2, the & of 4"


def test_a_mistake_before_the_breaking_off_comes_first() -> None:
    notes = play(WINDOW)[:12]
    wrong = index_at(F(1), Hand.RIGHT)
    at = next(i for i, n in enumerate(notes) if n.pitch == WINDOW.notes[wrong].pitch and i)
    notes[at] = replace(notes[at], pitch=notes[at].pitch + 2)
    judgement = judge(WINDOW, notes)
    assert judgement.sentence == "RH F sharp for E at bar 1 beat 2; then stopped"
    assert verdict_headline(both(), judgement) == "RH BEAT 2"


def test_a_judgement_is_json() -> None:
    import json

    plain = judgement_to_plain(judge(WINDOW, play(WINDOW)))
    assert json.loads(json.dumps(plain))["clean"] is True


@pytest.mark.parametrize("stage", list(Stage))
def test_all_keys_at_one_moment_are_judged_like_anything_else(stage: Stage) -> None:
    keys = [replace(key, onset_s=1.0) for key in play(WINDOW)]
    assert not judge(WINDOW, keys, stage=stage, qpm=60).sentence.startswith(" ")


def test_what_the_clock_says_changes_no_figure() -> None:
    """Times in 1024ths, so that the shift itself rounds nothing."""
    keys = [replace(key, onset_s=round(key.onset_s * 1024) / 1024) for key in play(WINDOW, qpm=83)]
    later = [replace(key, onset_s=key.onset_s + 4096) for key in keys]
    here, there = judge(WINDOW, keys), judge(WINDOW, later)
    assert here.score == there.score
    assert here.qpm == there.qpm


def test_what_fails_by_every_reading_has_failed_though_another_place_is_in_doubt() -> None:
    """A wrong key in bar 1; in bar 2 one of four equal notes is left out, and time closes up."""
    lines = {"RH": "C4 D4 E4 F4 G4 G4 G4 G4 A4 B4 C5"}
    take = played(lines, {"RH": "C4 D4 F#4 F4 G4 x G4 G4 A4 B4 C5"})
    found = judge(all_of(written(lines), lines), take)
    assert found.unsure
    outcomes = {one.transition.to_quarters: one.outcome for one in found.transitions}
    assert outcomes[F(2)] is Outcome.WRONG
    in_doubt = {outcomes[F(beat)] for beat in (4, 5, 6, 7)}
    assert in_doubt <= {Outcome.CLEAN, Outcome.NOT_REACHED}
