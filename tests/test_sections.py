"""A long piece that slips now and then, each time somewhere else, is got in sections."""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.coaching.coach import Coach
from coach.coaching.model import Request
from coach.coaching.planning import RowState
from coach.coaching.wording import (
    SLIPS_TODAY,
    UntilBroken,
    first_section_words,
    next_section_words,
    sections_held_words,
)
from coach.drill import Drill, Window, learn
from tests.lessons import QPM, Lesson, Weak, piece, tempo_of


def bars(first: int, last: int) -> Window:
    """Bars of four beats, the first is 1."""
    return Window(F(4 * first - 4), F(4 * last))


def lesson(count: int) -> Lesson:
    return Lesson(score=piece(count))


def slips(at: Lesson, window: Window, *beats: int) -> None:
    """The right hand slips on the way to these beats, one a repetition; the rest is clean."""
    for beat in beats:
        holds(at, window)
        at.weak = [Weak("RH", beat)]
        at.plays()
        at.weak = []


def holds(at: Lesson, until: Window) -> None:
    """Clean, whatever is asked for, until a window is."""
    while not at.asked.window.contains(until):
        at.plays(clean=True)
    assert at.asked.window == until


def states(at: Lesson) -> dict[str, RowState]:
    return {row.what: row.state for row in at.drill.coach.plan()}


def test_sixteen_bars_that_slip_here_and_there_are_got_in_two_halves_and_then_in_one() -> None:
    at = lesson(16)
    slips(at, bars(1, 16), 9, 50)
    holds(at, bars(1, 8))
    assert at.asked.reason == "It does not hold in one yet: bars 1 to 8 first."
    assert (at.asked.qpm, at.asked.clean_required) == (QPM, 3)
    for _ in range(3):
        at.plays(clean=True)
    assert (at.asked.window, at.asked.reason) == (bars(9, 16), "The next part: bars 9 to 16.")
    slips(at, bars(9, 16), 40)
    holds(at, bars(9, 16))
    assert not at.asked.reason.startswith("The next part")
    for _ in range(3):
        at.plays(clean=True)
    assert (at.asked.window, at.asked.clean_required) == (bars(1, 16), 1)
    assert at.asked.reason == "Each part holds: now bars 1 to 16, in one."
    at.plays(clean=True)
    assert at.decision.finished


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        (first_section_words("bars 1 to 8"), "It does not hold in one yet: bars 1 to 8 first."),
        (next_section_words("bars 9 to 16"), "The next part: bars 9 to 16."),
        (sections_held_words("bars 1 to 16"), "Each part holds: now bars 1 to 16, in one."),
    ],
)
def test_why_a_part_comes_is_no_reason_any_more_once_it_broke(reason: str, said: str) -> None:
    assert reason == said
    assert isinstance(reason, UntilBroken)


def test_a_long_piece_in_which_nothing_broke_is_clean_three_times_and_no_more() -> None:
    at = lesson(9)
    for _ in range(3):
        assert not at.decision.finished
        at.plays(clean=True)
    assert at.decision.finished


def test_set_work_that_never_broke_is_clean_as_often_as_the_teacher_wants() -> None:
    at = lesson(4)
    at.drill = Drill(at.score, replace(at.drill.goal, is_set_work=True))
    for _ in range(3):
        at.plays(clean=True)
    assert at.decision.finished


def test_of_set_work_the_whole_is_asked_for_as_often_as_the_teacher_wants() -> None:
    at = lesson(16)
    at.drill = Drill(at.score, replace(at.drill.goal, is_set_work=True))
    slips(at, bars(1, 16), 9, 50)
    holds(at, bars(1, 8))
    holds(at, bars(1, 16))
    assert at.asked.clean_required == 3


@pytest.mark.parametrize(
    ("count", "beats", "parts"),
    [
        (8, (3, 31, 8, 26, 5), ["bars 1 to 4", "bars 5 to 8"]),
        (5, (3, 19, 8, 14, 5, 17), ["bars 1 to 3", "bars 4 to 5"]),
        (4, (3, 15, 8, 10, 5, 13), []),
    ],
)
def test_more_than_four_bars_that_slip_here_and_there_are_got_in_parts_and_fewer_slower(
    count: int, beats: tuple[int, ...], parts: list[str]
) -> None:
    """Who slips at one note in 60 hardly ever plays eight bars through, and four now and then."""
    at = lesson(count)
    slips(at, bars(1, count), *beats)
    assert list(states(at)) == [*parts, f"bars 1 to {count}"]
    assert (tempo_of(at.asked) < QPM) is (not parts)


def test_eight_bars_with_one_place_that_breaks_stay_in_one() -> None:
    """A place that stands out is mended where it is."""
    at = lesson(8)
    at.weak = [Weak("LH", 18)]
    at.until(lambda ended: at.drill.coach._runner.ladder is not None)
    assert list(states(at)) == ["bars 1 to 8"]


def test_a_section_that_slips_here_and_there_gets_shorter_down_to_two_bars_and_then_slower() -> (
    None
):
    at = lesson(16)
    slips(at, bars(1, 16), 9, 50)
    slips(at, bars(1, 8), 5, 26)
    slips(at, bars(1, 4), 3, 13)
    holds(at, bars(1, 2))
    assert at.asked.qpm == QPM
    slips(at, bars(1, 2), 2, 6, 3, 5)
    assert tempo_of(at.asked) < QPM


def test_a_whole_whose_parts_hold_is_taken_slower_once_and_then_left_for_today() -> None:
    at = lesson(16)
    slips(at, bars(1, 16), 9, 50)
    slips(at, bars(1, 16), 20, 39)
    assert at.asked.window == bars(1, 16)
    assert tempo_of(at.asked) < QPM
    slips(at, bars(1, 16), 30, 58)
    assert at.decision.enough
    assert not at.decision.finished
    assert SLIPS_TODAY in at.decision.proposals
    assert states(at) == {
        "bars 1 to 8": RowState.HELD,
        "bars 9 to 16": RowState.HELD,
        "bars 1 to 16": RowState.LEFT_TODAY,
    }


def test_at_ones_own_pace_such_a_whole_is_left_after_two_more() -> None:
    at = lesson(16)
    at.drill = Drill(at.score, replace(at.drill.goal, own_pace=True))
    slips(at, bars(1, 16), 9, 50)
    slips(at, bars(1, 16), 20, 39, 30)
    assert not at.decision.enough
    slips(at, bars(1, 16), 58)
    assert at.decision.enough


def test_what_was_left_and_holds_after_all_is_reached() -> None:
    at = lesson(16)
    for beats in ((9, 50), (20, 39), (30, 58)):
        slips(at, bars(1, 16), *beats)
    assert at.decision.enough
    for _ in range(8):
        at.plays(clean=True)
    assert at.decision.finished


@pytest.mark.parametrize(
    ("count", "cuts"),
    [(9, [5, 9]), (12, [8, 12]), (17, [8, 17]), (20, [8, 16, 20]), (24, [8, 16, 24])],
)
def test_sections_are_as_long_as_phrases(count: int, cuts: list[int]) -> None:
    at = lesson(count)
    slips(at, bars(1, count), 9, 30)
    holds(at, bars(1, cuts[0]))
    rows = [row.window for row in at.drill.coach.plan()]
    assert [window.end_quarters for window in rows[:-1]] == [4 * bar for bar in cuts]
    assert [window.start_quarters for window in rows[1:-1]] == [4 * bar for bar in cuts[:-1]]


@pytest.mark.parametrize(("count", "in_parts"), [(24, False), (25, True)])
def test_what_takes_a_minute_is_not_heard_again_where_it_slipped_twice(
    count: int, in_parts: bool
) -> None:
    at = lesson(count)
    at.weak = [Weak("RH", 9), Weak("RH", 70)]
    at.plays()
    at.weak = []
    holds(at, bars(1, 8) if in_parts else bars(1, count))
    assert (len(states(at)) > 1) is in_parts


def test_a_part_that_gets_no_better_is_left_and_the_next_one_asked_for() -> None:
    at = lesson(16)
    slips(at, bars(1, 16), 9, 50)
    slips(at, bars(1, 8), 5, 26, 11, 21, 14, 30)
    assert at.asked.window == bars(9, 16)
    assert at.asked.reason == (
        "Leave it for today: it gets no better now. The next part: bars 9 to 16."
    )
    for _ in range(3):
        at.plays(clean=True)
    assert at.decision.enough


def test_sections_of_new_music_begin_at_the_tempo_that_slipped_the_whole_then_at_its_own() -> None:
    at = Lesson(score=piece(16), own_pace_qpm=0.7 * QPM)
    at.drill = Drill(at.score, learn(at.score, bars(1, 16), qpm=QPM))
    holds(at, bars(1, 16))
    begun = tempo_of(at.asked)
    assert begun < 0.8 * QPM
    slips(at, bars(1, 16), 9, 50)
    holds(at, bars(1, 8))
    assert tempo_of(at.asked) == begun
    again = Coach.resume(at.score, at.drill.coach.state())
    assert again.state() == at.drill.coach.state()
    holds(at, bars(9, 16))
    assert tempo_of(at.asked) == begun
    holds(at, bars(1, 16))
    assert tempo_of(at.asked) == QPM


def test_larger_is_all_of_it_and_as_often_as_ever() -> None:
    at = lesson(16)
    slips(at, bars(1, 16), 9, 50)
    holds(at, bars(1, 8))
    at.drill.ask(Request.LARGER, at.now_s)
    assert (at.asked.window, at.asked.clean_required) == (bars(1, 16), 3)
    assert at.asked.reason == "Larger, as you asked."
    again = Coach.resume(at.score, at.drill.coach.state())
    assert again.assignment.clean_required == 3


@pytest.mark.parametrize("wish", [Request.SMALLER, Request.HARD])
def test_smaller_than_a_long_piece_in_which_nothing_broke_is_its_first_part(wish: Request) -> None:
    at = lesson(16)
    at.drill.ask(wish, at.now_s)
    assert at.asked.window == bars(1, 8)
    holds(at, bars(1, 16))
    assert at.asked.clean_required == 1


def test_smaller_than_a_long_piece_that_broke_is_where_it_did() -> None:
    at = lesson(16)
    slips(at, bars(1, 16), 50)
    holds(at, bars(1, 16))
    at.weak = [Weak("RH", 50)]
    at.plays()
    at.drill.ask(Request.SMALLER, at.now_s)
    assert at.asked.window.start_quarters > 40


def test_a_section_can_be_passed_over() -> None:
    at = lesson(16)
    slips(at, bars(1, 16), 9, 50)
    holds(at, bars(1, 8))
    at.drill.ask(Request.NEXT, at.now_s)
    assert at.asked.window == bars(9, 16)
    assert states(at)["bars 1 to 8"] is RowState.LEFT_OUT


@pytest.mark.parametrize("clean", range(5))
def test_the_sections_are_there_another_day(clean: int) -> None:
    at = lesson(16)
    slips(at, bars(1, 16), 9, 50)
    holds(at, bars(1, 8))
    for _ in range(clean):
        at.plays(clean=True)
    before = at.drill.coach
    after = Coach.resume(at.score, before.state())
    assert after.plan() == before.plan()
    assert after.assignment.to_play == before.assignment.to_play
    assert after.decision.clean_run == before.decision.clean_run
    assert after.state() == before.state()


def test_the_whole_after_its_parts_asks_once_another_day_too() -> None:
    at = lesson(16)
    slips(at, bars(1, 16), 9, 50)
    holds(at, bars(1, 8))
    holds(at, bars(1, 16))
    after = Coach.resume(at.score, at.drill.coach.state())
    assert (after.assignment.window, after.assignment.clean_required) == (bars(1, 16), 1)
