"""Rows that are written even and played long and short by turns."""

import random
from fractions import Fraction as F

import pytest

from coach.judging.judge import judge
from coach.judging.model import Fault
from coach.judging.timing.evenness import Points, find_uneven_rows, measure_evenness
from coach.judging.tolerance import USUAL
from coach.score.build import score_from_notes
from coach.score.model import Hand, Hands
from coach.score.window import Excerpt
from tests.judging_help import play, tune, whole

EIGHTHS = whole(score_from_notes(tune(16)))
ODD = (F(1, 2), F(3, 2), F(5, 2))
FOUR = whole(score_from_notes(tune(4)))
FIVE = whole(score_from_notes(tune(5)))


def faults(
    window: Excerpt = EIGHTHS,
    late: dict[int, float] | None = None,
    qpm: float = 100.0,
) -> list[Fault]:
    return [f for f in judge(window, play(window, late=late, qpm=qpm)).faults if not f.forgiven]


def by_turns(first: int, last: int, seconds: float) -> dict[int, float]:
    """Every second note late, from one to another."""
    return dict.fromkeys(range(first, last + 1, 2), seconds)


def test_two_late_notes_of_five_are_uneven_where_all_else_is_even() -> None:
    told = faults(FIVE, late=by_turns(1, 3, 0.1))
    assert [(f.cause, f.hands) for f in told[:1]] == [("uneven", Hands.RIGHT)]
    assert "2.0 to 1" in told[0].words


def test_of_four_notes_the_second_and_the_last_may_be_the_late_ones() -> None:
    told = faults(FOUR, late=by_turns(1, 3, 0.1))[0]
    assert (told.cause, told.from_beat, told.to_beat) == ("uneven", 0, 2)
    assert faults(FOUR, late={1: 0.1}) == []


def test_a_row_is_uneven_against_the_other_hand_and_the_pulse_is_where_both_are() -> None:
    window = whole(score_from_notes([*tune(8), *tune(8, hand="LH", start=36)]))
    late = {i: 0.06 for i, n in enumerate(window.notes) if n.onset_quarters in ODD}
    right = {i: s for i, s in late.items() if window.notes[i].hand is Hand.RIGHT}
    assert [(f.cause, f.hands) for f in faults(window, late=right)] == [("uneven", Hands.RIGHT)]
    assert judge(window, play(window, late=late)).faults == ()


def test_unevenness_that_may_be_chance_is_told_and_forgiven() -> None:
    told = judge(FOUR, play(FOUR, late=by_turns(1, 3, 0.08)))
    assert [(f.cause, f.forgiven) for f in told.faults] == [("uneven", True)]
    assert told.clean


@pytest.mark.parametrize(("first", "last"), [(1, 5), (4, 8), (7, 13)])
def test_the_stretch_is_told_from_its_first_late_note_to_its_last(first: int, last: int) -> None:
    told = faults(late=by_turns(first, last, 0.1))[0]
    assert told.cause == "uneven"
    assert told.onset_quarters == F(first, 2)
    assert (told.from_beat, told.to_beat) == (-(-first // 2) - 1, -(-last // 2))


@pytest.mark.parametrize("late", range(1, 15))
def test_one_late_note_makes_no_row_uneven(late: int) -> None:
    assert "uneven" not in {f.cause for f in faults(late={late: 0.12})}


def test_notes_that_are_late_two_by_two_do_not_alternate() -> None:
    late = {i: 0.1 for i in range(2, 14) if i % 4 in (2, 3)}
    assert "uneven" not in {f.cause for f in faults(late=late)}


def test_an_inequality_that_is_a_manner_passes() -> None:
    """Long and short at 1.4 to 1: softly swung, less than 1.5 to 1."""
    assert faults(late=by_turns(1, 15, 0.3 / 6)) == []


def test_practice_that_scatters_by_15_ms_is_seldom_called_uneven() -> None:
    rng = random.Random(8)
    called = 0
    for _ in range(200):
        late = {i: rng.gauss(0, 0.015) for i in range(16)}
        called += "uneven" in {f.cause for f in faults(qpm=150, late=late)}
    assert called <= 4


def test_the_late_notes_of_an_uneven_row_are_told_after_it() -> None:
    told = faults(late=by_turns(3, 9, 0.19), qpm=60)
    assert told[0].cause == "uneven"


def test_of_two_uneven_rows_the_plainer_one_is_told_first() -> None:
    window = whole(score_from_notes([*tune(8), *tune(16, hand="LH", start=36)]))
    left = [i for i, n in enumerate(window.notes) if n.hand is Hand.LEFT]
    right = [i for i, n in enumerate(window.notes) if n.hand is Hand.RIGHT]
    late = {right[i]: 0.1 for i in (1, 3)} | {left[i]: 0.12 for i in (9, 11, 13)}
    told = [(f.cause, f.hands) for f in judge(window, play(window, late=late)).faults]
    uneven = [one for one in told if one[0] == "uneven"]
    assert uneven == [("uneven", Hands.LEFT), ("uneven", Hands.RIGHT)]


def row(count: int, late_s: dict[int, float], first: int = 0) -> list[tuple[int, float, float]]:
    """Eighths of the right hand, 0.2 s from one to the next."""
    return [(i, 0.2 * i + late_s.get(i, 0.0), i / 2) for i in range(first, first + count)]


@pytest.mark.parametrize(("late_s", "sure"), [(0.059, False), (0.061, True)])
def test_two_late_notes_of_five_count_by_five_standard_errors(late_s: float, sure: bool) -> None:
    points: Points = {Hand.RIGHT: row(5, {1: late_s, 3: late_s}), Hand.LEFT: []}
    (found,) = find_uneven_rows(points, frozenset(), USUAL)
    assert (found.sure, found.surprise > 5.0) == (sure, sure)


@pytest.mark.parametrize(("scatter_s", "told"), [(0.018, 1), (0.0185, 0)])
def test_the_more_the_rest_scatters_the_less_is_said_of_two_late_notes(
    scatter_s: float, told: int
) -> None:
    """Beside twelve more that are off by so much; it is told from 3.25 standard errors on."""
    off = {i: scatter_s * (0, 1, -1)[i % 3] for i in range(5, 17)}
    uneven = row(5, {1: 0.05, 3: 0.05})
    points: Points = {Hand.RIGHT: [*uneven, *row(12, off, first=5)], Hand.LEFT: []}
    assert len(find_uneven_rows(points, frozenset({5}), USUAL)) == told


@pytest.mark.parametrize(("count", "told"), [(8, []), (9, [False]), (24, [False]), (25, [True])])
def test_eight_intervals_show_a_scatter_and_twenty_four_whose_it_is(
    count: int, told: list[bool]
) -> None:
    found = measure_evenness({Hand.RIGHT: row(count, {}), Hand.LEFT: []}, frozenset())
    assert [one.clock_ms is not None for one in found] == told
