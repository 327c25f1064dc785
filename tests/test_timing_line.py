"""The tempo line bends with the tempo, steps with a pause, and ignores one note out of place."""

from dataclasses import replace
from fractions import Fraction as F
from math import inf

import pytest

from coach.judging.alignment import match
from coach.judging.judge import judge
from coach.judging.model import Cause, Judgement, Stage
from coach.judging.timing import Habits
from coach.judging.timing.hesitation import find_waits_at_barlines
from coach.judging.timing.local_tempo import list_intervals
from coach.judging.timing.onsets import list_moments
from coach.judging.tolerance import USUAL
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hand, Hands
from tests.judging_help import after, both, play, tune, whole

WINDOW = whole(both())
SCALE = whole(score_from_notes(tune(32, F(1, 4))), Hands.RIGHT)


def errors(judgement: Judgement) -> list[float]:
    """In milliseconds; a note that has none is far off."""
    return [inf if label.error_ms is None else label.error_ms for label in judgement.score]


def test_after_a_pause_the_rest_is_on_the_line_again() -> None:
    """A time shift does not smear: one pause is one late onset."""
    judgement = judge(WINDOW, play(WINDOW, late=after(WINDOW, F(4), 0.6)))
    late = [
        n.onset_quarters
        for n, e in zip(WINDOW.notes, errors(judgement), strict=True)
        if abs(e) > 30
    ]
    assert set(late) == {4}
    assert judgement.qpm == pytest.approx(100, rel=0.01)


def test_an_even_rallentando_is_no_hesitation() -> None:
    slower = play(WINDOW, at=lambda x: 0.5 * x + 0.03 * x * x)
    assert judge(WINDOW, slower).clean


def test_an_even_rallentando_and_back_in_tempo_is_no_hesitation() -> None:
    """The last interval of the rallentando is long against the tempo that follows only."""
    steps = [0.25, 0.25, 0.25, 0.26, 0.28, 0.31, 0.35, 0.39, *[0.25] * 8]
    times = [sum(steps[:i]) for i in range(17)]
    assert judge(WINDOW, play(WINDOW, at=lambda x: times[round(2 * x)])).clean


def test_one_late_note_is_late_alone() -> None:
    index = next(i for i, n in enumerate(SCALE.notes) if n.onset_quarters == F(9, 4))
    judgement = judge(SCALE, play(SCALE, qpm=50, late={index: 0.24}))
    assert [f.cause for f in judgement.faults] == ["late entry"]
    assert judgement.faults[0].onset_quarters == F(9, 4)


def test_an_accelerando_over_the_whole_window_is_told() -> None:
    faster = play(WINDOW, at=lambda x: 0.7 * x - 0.025 * x * x)
    judgement = judge(WINDOW, faster)
    assert judgement.faults[0].cause == "tempo drift"
    assert "faster and faster" in judgement.sentence.lower()


def test_slower_and_slower_is_told_and_counts_where_a_pulse_is_asked_for() -> None:
    slower = play(WINDOW, at=lambda x: 0.5 * x + 0.03 * x * x)
    told, asked = judge(WINDOW, slower), judge(WINDOW, slower, stage=Stage.PULSE)
    assert [(f.cause, f.forgiven) for f in told.faults] == [("slowing down", True)]
    assert [(f.cause, f.forgiven) for f in asked.faults] == [("slowing down", False)]
    assert (told.clean, asked.clean) == (True, False)
    assert asked.sentence.startswith("Slower and slower (1.9 times)")


@pytest.mark.parametrize("stage", [Stage.RHYTHM, Stage.PULSE])
def test_a_quickening_of_four_onsets_may_be_chance_and_never_counts(stage: Stage) -> None:
    four = whole(score_from_notes(tune(4)))
    take = judge(four, play(four, at=lambda x: 0.6 * x - 0.075 * x * x), stage=stage)
    assert [(f.cause, f.forgiven) for f in take.faults] == [("tempo drift", True)]
    assert take.clean


def test_a_phrase_that_only_broadens_at_its_end_is_not_told() -> None:
    ending = play(WINDOW, at=lambda x: 0.5 * x + 0.12 * max(x - 6, 0) ** 2)
    assert judge(WINDOW, ending).faults == ()


@pytest.mark.parametrize(("onsets", "qpm"), [(3, 100.0), (4, 120.0), (9, 120.0)])
def test_an_end_that_is_come_to_late_is_no_slower_tempo(onsets: int, qpm: float) -> None:
    """Else whoever hesitates before the last note would be asked for less and less."""
    part = whole(score_from_notes(tune(onsets)))
    keys = [
        PlayedNote(note.pitch, 64, 10 + 0.25 * at + 0.1 * (at == onsets - 1), 0.2)
        for at, note in enumerate(part.notes)
    ]
    assert judge(part, keys, stage=Stage.NOTES).qpm == pytest.approx(qpm, abs=0.1)


def test_hands_that_drift_from_the_first_note_are_told_with_the_slower_hand() -> None:
    late = {
        i: 0.04 * float(n.onset_quarters) for i, n in enumerate(WINDOW.notes) if n.hand is Hand.LEFT
    }
    judgement = judge(WINDOW, play(WINDOW, late=late))
    assert judgement.faults[0].cause == "hands drift"
    assert judgement.faults[0].hands is Hands.LEFT


@pytest.mark.parametrize(("late_s", "told"), [(0.38, ["hesitation"]), (0.26, [])])
def test_of_two_slow_intervals_one_longer_by_a_third_is_a_hesitation(
    late_s: float, told: list[str]
) -> None:
    """Three quarters at 60: too few to show how freely they are played."""
    three = whole(score_from_notes(tune(3, F(1))))
    take = judge(three, play(three, qpm=60, late={2: late_s}))
    assert [fault.cause for fault in take.faults] == told


BARS = whole(both(40))
"""Five bars."""


def wait_before(bars: int, seconds: float) -> list[PlayedNote]:
    """Wait before each of so many bars, the second bar first."""
    starts = [F(4 * bar) for bar in range(1, bars + 1)]
    onsets = [note.onset_quarters for note in BARS.notes]
    return play(BARS, late={i: seconds * sum(s <= x for s in starts) for i, x in enumerate(onsets)})


@pytest.mark.parametrize(
    ("bars", "seconds", "told"),
    [
        (4, 0.3, "Waits at the barline 4 times, first at bar 2 beat 1"),
        (3, 0.3, "Waits at the barline 3 times, first at bar 2 beat 1"),
        (3, 0.2, "Waits at the barline 3 times, first at bar 2 beat 1"),
        (3, 0.16, "Clean"),  # a breath before each phrase is expression
        (4, 0.1, "Clean"),
    ],
)
def test_waiting_at_nearly_every_barline_is_told_as_that(
    bars: int, seconds: float, told: str
) -> None:
    assert judge(BARS, wait_before(bars, seconds)).sentence == told


def test_waiting_twice_is_told_as_it_is_elsewhere() -> None:
    causes = [fault.cause for fault in judge(BARS, wait_before(2, 0.4)).faults]
    assert len(causes) == 2
    assert Cause.BARLINE_WAIT not in causes


def test_waiting_at_the_barlines_never_becomes_a_habit() -> None:
    habits = Habits()
    for _ in range(4):
        take = judge(BARS, wait_before(4, 0.3), habits=habits)
        assert not take.clean
        habits = habits.with_(take)


def test_a_beat_too_many_before_each_bar_is_waiting_too() -> None:
    """One by one they are notes of twice their length: what they have in common is the barline."""
    quarters = whole(score_from_notes(tune(20, F(1))), Hands.RIGHT)
    late = {i: 0.6 * (i // 4) for i in range(20)}
    causes = {fault.cause for fault in judge(quarters, play(quarters, late=late)).faults}
    assert causes == {Cause.BARLINE_WAIT}


def test_bars_that_were_struck_each_at_once_have_no_tempo_to_wait_in() -> None:
    strewn = [replace(note, onset_s=2.4 * (note.onset_s // 2.4)) for note in play(BARS, start_s=0)]
    row = list_moments(BARS, strewn, match(BARS, strewn))
    assert find_waits_at_barlines(BARS, row, list_intervals(row), USUAL) == {}
