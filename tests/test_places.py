"""What is cut from a piece: the note arrived at and a run-up stay; a pickup belongs to its bar."""

from collections.abc import Container
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.strategies._internal.core import DataObject

from coach.coaching.windows import PracticeMap
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Transition, Window, excerpt
from tests.windows import scores

RH, LH, BOTH = Hands.RIGHT, Hands.LEFT, Hands.TOGETHER


def piece(
    beats: int = 16,
    *,
    metre: str = "4/4",
    pickup: int = 0,
    rests: Container[int] = (),
    silent: bool = False,
) -> Score:
    """Quarters in both hands; on ``rests`` the left hand is silent, or both are."""
    notes = [
        {"pitch": 72 - 24 * (hand == "LH") + k % 5, "onset": k, "length": 1, "hand": hand}
        for k in range(beats)
        for hand in ("RH", "LH")
        if k not in rests or (hand == "RH" and not silent)
    ]
    return score_from_notes(notes, metre=metre, pickup_quarters=pickup)


def practice_map(score: Score) -> PracticeMap:
    return PracticeMap(score, Window(F(0), score.end_quarters))


def span(window: Window) -> tuple[F | int, F | int]:
    return window.start_quarters, window.end_quarters


class TestAround:
    """A transition with its run-up: common practice."""

    @pytest.mark.parametrize(("run_up", "start"), [(0, 5), (1, 4), (2, 3)])
    def test_it_ends_on_the_note_arrived_at_and_begins_with_a_run_up(
        self, run_up: int, start: int
    ) -> None:
        found = practice_map(piece()).around(Transition(LH, F(5), F(6)), LH, run_up)
        assert span(found) == (start, 6)
        assert excerpt(piece(), found).notes[-1].onset_quarters == 6

    def test_it_reaches_back_to_the_last_note_of_a_hand_that_rested(self) -> None:
        """Otherwise the hand arrives from nowhere, and its move is not played at all."""
        resting = practice_map(piece(rests=(2, 3, 4)))
        found = resting.around(Transition(LH, F(4), F(5)), LH)
        assert span(found) == (1, 5)

    def test_both_hands_reach_back_to_the_last_note_of_each(self) -> None:
        resting = practice_map(piece(rests=(2, 3, 4)))
        assert span(resting.around(Transition(LH, F(4), F(5)), BOTH)) == (1, 5)
        assert span(resting.around(Transition(RH, F(4), F(5)), BOTH)) == (1, 5)

    def test_the_very_first_note_has_a_window_too(self) -> None:
        found = practice_map(piece()).around(Transition(RH, F(-1), F(0)), RH)
        assert span(found) == (0, 1)

    def test_a_hand_s_first_entry_is_led_in_by_the_other(self) -> None:
        """From nowhere it can't be practised: the other hand plays up to it."""
        found = practice_map(piece(rests=(0, 1, 2))).around(Transition(LH, F(2), F(3)), LH)
        assert (span(found), found.hands) == ((1, 3), BOTH)

    @pytest.mark.property
    @given(scores(), st.data())
    def test_every_move_can_be_cut_out_with_departure_and_arrival(
        self, score: Score, data: DataObject
    ) -> None:
        here = practice_map(score)
        inner = [t for t in here.transitions if t.to_quarters > here.grid[0]]
        move = data.draw(st.sampled_from(inner or here.transitions))
        window = here.around(move, move.hands)
        arrived = here.onsets_in(move)
        departed = here.onset_before(arrived[0], move.hands)
        sounding = {n.onset_quarters for n in excerpt(score, window).notes}
        assert set(arrived) <= sounding
        assert departed is None or window.hands is move.hands
        assert departed is None or departed in sounding

    @pytest.mark.property
    @given(scores(), st.data())
    def test_nothing_reaches_outside_the_whole(self, score: Score, data: DataObject) -> None:
        bars = score.bars
        low = data.draw(st.integers(0, len(bars) - 1))
        high = data.draw(st.integers(low, len(bars) - 1))
        whole = Window(bars[low].onset_quarters, bars[high].end_quarters)
        if not score.notes_between(whole.start_quarters, whole.end_quarters, BOTH):
            return
        here = PracticeMap(score, whole)
        for move in here.transitions:
            cuts = [here.around(move, BOTH, 2), here.bar(move, BOTH, 1, 1)]
            cuts += [here.half_bar(move, BOTH), here.bar(move, move.hands)]
            assert all(whole.contains(cut) for cut in cuts)


class TestBars:
    def test_a_bar_lands_on_the_next_downbeat(self) -> None:
        """Common practice: a bar is learnt to the first note of the next."""
        found = practice_map(piece()).bar(Transition(LH, F(5), F(6)), BOTH)
        assert span(found) == (4, 8)
        assert excerpt(piece(), found).notes[-1].onset_quarters == 8

    def test_a_move_over_the_barline_belongs_to_the_bar_that_it_departs_in(self) -> None:
        assert span(practice_map(piece()).bar(Transition(RH, F(7), F(8)), RH)) == (4, 8)

    @pytest.mark.parametrize(("beat", "bar"), [(0, (0, 5)), (1, (0, 5)), (6, (5, 9))])
    def test_a_pickup_belongs_to_its_bar(self, beat: int, bar: tuple[int, int]) -> None:
        """Common practice."""
        score = piece(9, pickup=1)
        assert practice_map(score).bar_stretch(F(beat)) == (F(bar[0]), F(bar[1]))

    def test_neighbours_come_with_it(self) -> None:
        assert span(practice_map(piece()).bar(Transition(RH, F(5), F(6)), RH, 1, 1)) == (0, 12)

    @pytest.mark.parametrize(
        ("metre", "depart", "half"),
        [
            ("4/4", 4, (4, 6)),
            ("4/4", 6, (6, 8)),
            ("3/4", 3, (3, 5)),
            ("3/4", 5, (5, 6)),
        ],
    )
    def test_half_a_bar_is_smaller_than_the_bar_and_lands(
        self, metre: str, depart: int, half: tuple[int, int]
    ) -> None:
        """Common practice: half a bar comes below a bar."""
        score = piece(12, metre=metre)
        move = Transition(RH, F(depart), F(depart + 1))
        assert span(practice_map(score).half_bar(move, RH)) == half

    def test_a_bar_s_rest_in_both_hands_is_reached_back_over(self) -> None:
        """The move out of a silent bar: there is always something to play before it."""
        score = piece(16, rests=range(4, 8), silent=True)
        here = practice_map(score)
        move = Transition(LH, F(7), F(8))
        cuts = [here.bar(move, LH), here.bar(move, BOTH), here.half_bar(move, BOTH)]
        assert [span(cut) for cut in cuts] == [(3, 8)] * 3
        assert all(here.covers(cut, move) for cut in cuts)

    @pytest.mark.property
    @given(scores(), st.data())
    def test_half_a_bar_holds_the_move_and_lies_in_its_bar(
        self, score: Score, data: DataObject
    ) -> None:
        here = practice_map(score)
        inner = [t for t in here.transitions if t.from_quarters >= here.grid[0]]
        move = data.draw(st.sampled_from(inner or here.transitions))
        half, bar = here.half_bar(move, BOTH), here.bar(move, BOTH)
        assert excerpt(score, half).notes
        if bar.start_quarters <= half.start_quarters:  # else it reached back over rests
            assert bar.contains(half)
        if inner:
            assert here.covers(half, move)


class TestEntry:
    """A hand that only begins here arrives from nowhere: that tells nothing of its move."""

    def test_the_first_note_of_a_cut_is_an_entry_and_of_the_whole_is_not(self) -> None:
        here = practice_map(piece())
        move = Transition(LH, F(3), F(4))
        assert here.is_entry(move, Window(F(4), F(6), LH))
        assert not here.is_entry(move, Window(F(3), F(6), LH))
        assert not here.is_entry(Transition(LH, F(-1), F(0)), here.whole)

    def test_a_hand_that_rests_at_the_start_enters_later(self) -> None:
        here = practice_map(piece(rests=(4, 5)))
        move = Transition(LH, F(5), F(6))
        assert here.is_entry(move, Window(F(4), F(8)))
        assert not here.is_entry(move, Window(F(3), F(8)))

    def test_a_hand_that_lands_later_than_the_whole_arrives_at_nothing_on_the_map(self) -> None:
        """Alone it plays on to its own next note, which the whole window does not ask for."""
        score = piece(rests={4})
        here = PracticeMap(score, Window(F(0), F(4)))
        alone = excerpt(score, Window(F(0), F(4), LH))
        assert alone.landing_quarters == F(5)
        assert here.is_entry(alone.transitions[-1], alone.window)


@pytest.mark.parametrize(
    ("window", "move", "made"),
    [
        (Window(F(4), F(8)), (LH, 5, 6), True),
        (Window(F(4), F(8)), (LH, 7, 8), True),
        (Window(F(4), F(8)), (LH, 3, 4), False),
        (Window(F(4), F(8)), (LH, 8, 9), False),
        (Window(F(4), F(8), RH), (LH, 5, 6), False),
    ],
    ids=["inside", "to the landing", "into its first note", "after it", "another hand"],
)
def test_what_a_window_makes_one_play(
    window: Window, move: tuple[Hands, int, int], made: bool
) -> None:
    hands, start, end = move
    assert practice_map(piece()).covers(window, Transition(hands, F(start), F(end))) is made
