"""The metronome's marks: every step is heard, and none is a jump."""

from fractions import Fraction as F
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.practice.tempo import MARKS, move_by_marks, quicker, slower
from coach.judging.tolerance import jnd95_ms

TEMPI = st.floats(20, 320)
BEATS = st.sampled_from([F(1, 2), F(1), F(3, 2), F(2)])
STEPS = st.integers(1, 4)


@pytest.mark.outside
def test_the_marks_are_those_of_a_clockwork_metronome() -> None:
    """Common practice: 39 marks, 40 to 208, from largo to prestissimo."""
    assert len(MARKS) == 39
    assert (MARKS[0], MARKS[-1]) == (40, 208)
    assert {60, 72, 80, 96, 100, 120, 132, 144, 160, 184, 200} <= set(MARKS)


@pytest.mark.outside
def test_every_mark_is_heard_as_quicker_and_none_is_a_jump() -> None:
    """A listener tells 2.5 % (Friberg & Sundberg 1995); a notch is 3.45 to 5.56 % (computed)."""
    ratios = [after / before for before, after in pairwise(MARKS)]
    assert min(ratios) == pytest.approx(1.0345, abs=5e-5)
    assert max(ratios) == pytest.approx(1.0556, abs=5e-5)
    for before, after in pairwise(MARKS):
        shorter_ms = 60_000 / before - 60_000 / after
        assert shorter_ms > jnd95_ms(60_000 / before)


@pytest.mark.parametrize(
    ("bpm", "up", "down"), [(60, 63, 58), (61, 63, 60), (120, 126, 116), (208, 217.36, 200)]
)
def test_one_mark_from_a_tempo(bpm: int, up: float, down: int) -> None:
    assert quicker(bpm, F(1)) == pytest.approx(up)
    assert slower(bpm, F(1)) == pytest.approx(down)


def test_in_six_eight_the_mark_is_the_dotted_quarter_s() -> None:
    """A dotted quarter of 60 is 90 quarters a minute; the next mark, 63, is 94.5."""
    assert quicker(90, F(3, 2)) == pytest.approx(94.5)


@pytest.mark.property
@given(TEMPI, BEATS, STEPS)
def test_up_and_down_are_what_they_say(qpm: float, beat: F, marks: int) -> None:
    assert quicker(qpm, beat, marks) > qpm
    assert slower(qpm, beat, marks) < qpm
    assert move_by_marks(qpm, beat, marks) == quicker(qpm, beat, marks)
    assert move_by_marks(qpm, beat, -marks) == slower(qpm, beat, marks)
    assert move_by_marks(qpm, beat, 0) == qpm


@pytest.mark.property
@given(TEMPI, BEATS)
def test_one_step_is_at_most_one_notch_of_the_clockwork(qpm: float, beat: F) -> None:
    widest = max(after / before for before, after in pairwise(MARKS))
    assert quicker(qpm, beat) <= qpm * widest + 1e-6
    assert slower(qpm, beat) >= qpm / widest - 1e-6


@pytest.mark.property
@given(st.sampled_from(MARKS[4:-4]), BEATS, STEPS)
def test_from_a_mark_up_and_down_again_is_back(mark: int, beat: F, marks: int) -> None:
    qpm = mark * float(beat)
    assert slower(quicker(qpm, beat, marks), beat, marks) == pytest.approx(qpm)
