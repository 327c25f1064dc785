"""A trouble's way back: from its smallest window, rung by rung, to where it came from."""

from fractions import Fraction as F
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.strategies._internal.core import DataObject

from coach.coaching.practice.repair import RepairLadder, build_rungs
from coach.coaching.practice.tempo import TempoLadder
from coach.coaching.windows import PracticeMap
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Transition, Window
from tests.windows import scores

RH, LH, BOTH = Hands.RIGHT, Hands.LEFT, Hands.TOGETHER


def piece(bars: int = 8) -> Score:
    return score_from_notes(
        [
            {"pitch": 72 - 24 * (hand == "LH") + k % 5, "onset": k, "length": 1, "hand": hand}
            for k in range(4 * bars)
            for hand in ("RH", "LH")
        ]
    )


def ladder(
    score: Score, move: Transition
) -> tuple[tuple[Window, ...], int] | tuple[tuple[Window, Window], int]:
    whole = Window(F(0), score.end_quarters)
    return build_rungs(PracticeMap(score, whole), move, whole)


def names(windows: tuple[Window, ...]) -> list[tuple[str, int, int]]:
    return [(w.hands.value, int(w.start_quarters), int(w.end_quarters)) for w in windows]


def test_the_way_back_of_one_hand_s_trouble() -> None:
    """Common practice: the move with a run-up, its bar, hands together, the bar, its neighbours."""
    windows, start = ladder(piece(), Transition(LH, F(13), F(14)))
    assert names(windows) == [
        ("LH", 13, 14),
        ("LH", 12, 14),
        ("LH", 12, 16),
        ("both", 12, 14),
        ("both", 12, 16),
        ("both", 8, 20),
    ]
    assert start == 1


def test_what_fails_only_together_is_drilled_together() -> None:
    """Hands separate would not show it; half a bar comes below the bar."""
    windows, _ = ladder(piece(), Transition(BOTH, F(13), F(14)))
    assert {w.hands for w in windows} == {BOTH}
    assert ("both", 12, 14) in names(windows)


def test_with_a_rest_before_it_the_hand_is_still_drilled_alone() -> None:
    """The run-up and the bare move are then one window: that one is where it begins."""
    notes = [
        {"pitch": 72 - 24 * (hand == "LH") + k % 5, "onset": k, "length": 1, "hand": hand}
        for k in (*range(4), *range(8, 16))
        for hand in ("RH", "LH")
    ]
    windows, start = ladder(score_from_notes(notes), Transition(LH, F(7), F(8)))
    assert windows[start].hands is LH


@pytest.mark.property
@given(scores(), st.data())
def test_on_every_rung_the_move_is_made_with_its_departure(score: Score, data: DataObject) -> None:
    """Common practice: the note arrived at and the one before it stay, however small it gets."""
    practice_map = PracticeMap(score, Window(F(0), score.end_quarters))
    move = data.draw(st.sampled_from(practice_map.transitions))
    windows, start = build_rungs(practice_map, move, practice_map.whole)
    departed = practice_map.onset_before(practice_map.onsets_in(move)[0], move.hands)
    if departed is not None:
        assert windows[start].hands is move.hands
    for window in windows:
        assert practice_map.covers(window, move)
        assert departed is None or window.start_quarters <= departed


@pytest.mark.property
@given(scores(), st.data())
def test_each_rung_is_more_than_the_one_below_it(score: Score, data: DataObject) -> None:
    """More hands, or a longer stretch for the same hands; and none is the whole already."""
    practice_map = PracticeMap(score, Window(F(0), score.end_quarters))
    move = data.draw(st.sampled_from(practice_map.transitions))
    assume(practice_map.onset_before(practice_map.onsets_in(move)[0], move.hands) is not None)
    windows, _ = build_rungs(practice_map, move, practice_map.whole)
    assert len(set(windows)) == len(windows)
    for below, above in pairwise(windows):
        assert below.hands.members <= above.hands.members
        if below.hands is above.hands:
            assert practice_map.beats(above) >= practice_map.beats(below)


def case(at: int = 1, start: int = 1, now: float = 100.0) -> RepairLadder:
    windows, _ = ladder(piece(), Transition(LH, F(13), F(14)))
    return RepairLadder(
        Transition(LH, F(13), F(14)), tuple(windows), at, TempoLadder.start(100.0, now), start
    )


def test_a_relapse_goes_back_one_rung_at_a_time_and_ends_at_the_bottom() -> None:
    falling = case(at=4)
    seen = [falling.window]
    while falling.go_down():
        seen.append(falling.window)
    assert seen == list(reversed(falling.rungs[:5]))


def test_the_top_rung_leads_to_the_window_that_it_came_from() -> None:
    rising = case(at=0)
    assert [rising.go_up() for _ in rising.rungs] == [True] * 5 + [False]


class TestHowOftenItIsAskedFor:
    """Rawson & Dunlosky (2011): to a criterion of three, then once on each later occasion."""

    def test_the_full_run_where_it_is_drilled_at_tempo(self) -> None:
        assert case().required(3) == 3

    def test_less_on_the_way_up_to_the_tempo(self) -> None:
        assert case(now=80.0).required(3) == 2

    def test_a_join_asks_once_whether_it_holds_and_more_after_it_has_failed(self) -> None:
        join = case(at=4)
        assert join.required(3) == 1
        join.unclean = 1
        assert join.required(3) == 2

    def test_the_narrowest_window_with_all_hands_is_asked_for_until_it_is_nearly_sure(self) -> None:
        assert case(at=3).required(3) == 5
        assert case(at=3).required(2) == 1  # fewer were set than usual

    @pytest.mark.parametrize("wanted", [1, 2, 10, 100])
    def test_at_least_once_and_never_more_than_was_set(self, wanted: int) -> None:
        asked = [case(at, now=now).required(wanted) for at in range(6) for now in (80.0, 100.0)]
        assert min(asked) >= 1
        assert max(asked) == wanted
