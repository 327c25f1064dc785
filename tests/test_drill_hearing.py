"""How the drill hears one assignment: its click, and the windows that are kept ready."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.coaching.drill.drill import MOST_WINDOWS, CountInClick, Hearing
from coach.coaching.model import Assignment, AssignmentKind
from coach.judging.model import Stage
from coach.judging.timing import Habits
from coach.judging.tolerance import USUAL
from coach.score.window import Window, excerpt
from tests.lessons import piece

SCORE = piece(bars=6)
QPM = 120.0


def click(bars: int = 1, qpm: float | None = QPM, offset_s: float = 0.0) -> CountInClick:
    return CountInClick(SCORE, excerpt(SCORE, Window(F(0), F(4 * bars))), qpm, offset_s)


def test_the_next_count_in_comes_after_a_breath() -> None:
    planned = click()
    planned.plan(10.0)
    assert not planned.is_due(11.19)
    assert planned.is_due(11.2)


def test_without_a_click_none_is_planned() -> None:
    silent = click(qpm=None)
    silent.plan(10.0)
    assert not silent.is_due(1000.0)


def test_the_hands_have_half_a_second_before_the_first_click() -> None:
    count = click().start(10.0)
    assert (count.first_beat_s, count.beat_s, count.count_in_beats) == (10.5, 0.5, 4)


@pytest.mark.parametrize(("offset_s", "due_s"), [(0.0, 12.5), (0.03, 12.53)])
def test_the_window_is_due_after_the_count_as_late_as_the_keys_come(
    offset_s: float, due_s: float
) -> None:
    counted = click(offset_s=offset_s)
    counted.start(10.0)
    assert counted.window_s == pytest.approx(due_s)


@pytest.mark.parametrize(("beats_early", "is_before"), [(0.61, True), (0.59, False)])
def test_a_key_belongs_to_the_window_from_six_tenths_of_a_beat_before_it(
    beats_early: float, is_before: bool
) -> None:
    counted = click()
    counted.start(10.0)
    assert counted.is_before_window(12.5 - beats_early * 0.5) is is_before


@pytest.mark.parametrize(("bars", "beats"), [(1, 9), (2, 13)])
def test_the_click_goes_on_to_the_beat_that_the_window_lands_on(bars: int, beats: int) -> None:
    """Four to count in, the window's, and the one that it lands on."""
    counted = click(bars)
    count = counted.start(10.0)
    assert count.beats == beats
    over_s = count.first_beat_s + count.beats * count.beat_s
    assert not counted.has_run_out(over_s)
    assert counted.has_run_out(over_s + 0.01)


def asked(bar: int) -> Assignment:
    window = Window(F(4 * bar), F(4 * bar + 4))
    return Assignment(window, QPM, Stage.RHYTHM, 3, AssignmentKind.TRY, "", False)


@pytest.mark.parametrize(("others", "is_kept"), [(MOST_WINDOWS - 1, True), (MOST_WINDOWS, False)])
def test_a_window_is_kept_ready_while_three_others_are_played(others: int, is_kept: bool) -> None:
    assert MOST_WINDOWS == 4
    hearing = Hearing(SCORE, USUAL, 0.0, asked(0), Habits())
    first = hearing.excerpt
    for bar in range(1, others + 1):
        hearing.set_up(asked(bar))
    hearing.set_up(replace(asked(0), qpm=80.0))
    assert (hearing.excerpt is first) is is_kept
