"""What is kept of every move: sums that fade with time, count easy tempi less, and can be kept."""

import json
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.diagnosis.evidence import Evidence, fold_history
from coach.coaching.model import Observation
from coach.coaching.observations import (
    observe_transitions,
    share_heard_late,
    shares_heard_late,
)
from coach.drill import played, window
from coach.judging.judge import judge
from coach.judging.model import Outcome
from coach.judging.timing.habits import Habits
from coach.score.model import Hand, Hands
from coach.score.window import Transition, excerpt
from tests.judging_help import both, whole
from tests.lessons import piece

QPM, DAY_S = 96.0, 86400.0
MOVE = Transition(Hands.LEFT, F(5), F(6))
WORDS = {"x": Outcome.WRONG, ".": Outcome.CLEAN, "-": Outcome.NOT_REACHED}


def heard(
    course: list[str] | str,
    at_s: float = 0.0,
    *,
    qpm: float = QPM,
    hands: Hands = Hands.TOGETHER,
    move: Transition = MOVE,
) -> list[Observation]:
    """``"x.-"``: the move failed, was clean, was not reached; a repetition every 20 s."""
    return [
        Observation(at_s + 20 * i, move, move.to_quarters, hands, WORDS[letter], qpm)
        for i, letter in enumerate(course)
    ]


def counted(
    rows: list[Observation], now_s: float = 1000.0, hand: Hand = Hand.LEFT
) -> tuple[float, float]:
    """Failures and attempts of the hand on the beat."""
    return fold_history(rows, QPM, now_s).counts_at(F(6)).totals(hand)


def test_a_failure_and_a_clean_one_count_as_such() -> None:
    failed, attempts = counted(heard("x."))
    assert (round(failed), round(attempts)) == (1, 2)


def test_what_was_not_reached_counts_for_nothing() -> None:
    assert counted(heard("---")) == (0, 0)


def test_each_hand_has_its_own() -> None:
    right = Transition(Hands.RIGHT, F(5), F(6))
    both = [*heard("x"), *heard(".", move=right)]
    assert counted(both)[0] == pytest.approx(1)
    assert counted(both, hand=Hand.RIGHT)[0] == 0


def test_the_newer_weighs_more() -> None:
    assert counted(heard("x...."))[0] < counted(heard("....x"))[0]


def test_a_night_takes_some_of_the_weight() -> None:
    today = counted(heard("xx..", 0.0) + heard(".", 200.0))
    tomorrow = counted(heard("xx..", 0.0) + heard(".", DAY_S), now_s=DAY_S)
    assert tomorrow[0] < 0.8 * today[0]


def test_a_clean_one_at_half_the_tempo_counts_for_less_and_a_failure_in_full() -> None:
    assert counted(heard(".", qpm=QPM / 2))[1] < counted(heard("."))[1]
    assert counted(heard("x", qpm=QPM / 2))[0] == counted(heard("x"))[0]


def test_a_clean_run_over_it_makes_earlier_failures_count_for_less() -> None:
    evidence = fold_history(heard("xxx"), QPM, 100.0)
    before = evidence.counts_at(F(6)).totals(Hand.LEFT)
    evidence.discount_mended(F(6), Hands.LEFT)
    after = evidence.counts_at(F(6)).totals(Hand.LEFT)
    assert after[0] < before[0] / 2


def test_months_ago_is_forgotten() -> None:
    assert counted(heard("xxx"), now_s=90 * DAY_S) == (0, 0)


COURSES = st.lists(st.sampled_from("x.-"), max_size=20)


@pytest.mark.property
@given(COURSES, st.sampled_from([Hands.LEFT, Hands.TOGETHER]))
def test_there_are_never_more_failures_than_attempts(course: list[str], hands: Hands) -> None:
    failed, attempts = counted(heard(course, hands=hands))
    assert 0 <= failed <= attempts <= len(course)


@pytest.mark.property
@given(COURSES, COURSES)
def test_kept_as_plain_data_it_is_the_same_and_goes_on_the_same(
    course: list[str], after: list[str]
) -> None:
    """So a long record can be kept as sums."""
    kept = fold_history(heard(course), QPM, 500.0)
    again = Evidence.from_rows(json.loads(json.dumps(kept.to_rows())))
    for evidence in (kept, again):
        for one in heard(after, 600.0):
            evidence.add([one], QPM)
    assert again.counts_at(F(6)).totals(Hand.LEFT) == kept.counts_at(F(6)).totals(Hand.LEFT)
    assert again.to_rows() == kept.to_rows()


class TestFromTheVerdict:
    """What a judged repetition says of each move."""

    SCORE = piece(2)

    def observed(
        self,
        *,
        wrong: tuple[str, F | int] | None = None,
        late_at: int = 99,
        stop_at: int | None = None,
        habits: Habits | None = None,
    ) -> dict[tuple[str, int], Outcome]:
        keys = [
            (n.pitch + ((n.hand.value, n.onset_quarters) == wrong), 64,
             float(n.onset_quarters) * 60 / QPM + 0.6 * (n.onset_quarters >= late_at), 0.5)
            for n in self.SCORE.notes
            if stop_at is None or n.onset_quarters < stop_at
        ]  # fmt: skip
        all_of_it = excerpt(self.SCORE, window(self.SCORE))
        heard = judge(all_of_it, played(keys), qpm=QPM, habits=habits)
        return {
            (o.transition.hands.value, int(o.transition.to_quarters)): o.outcome
            for o in observe_transitions(heard, 5.0)
        }

    def test_one_for_every_move_of_each_hand(self) -> None:
        seen = self.observed()
        assert len(seen) == 16
        assert set(seen.values()) == {Outcome.CLEAN}

    def test_a_wrong_key_is_its_own_move_s_and_no_other_s(self) -> None:
        seen = self.observed(wrong=("LH", 5))
        assert [place for place, o in seen.items() if o is not Outcome.CLEAN] == [("LH", 5)]
        assert seen["LH", 5] is Outcome.WRONG

    def test_one_stop_tells_nothing_of_where_it_was(self) -> None:
        seen = self.observed(stop_at=5)
        assert set(seen.values()) == {Outcome.CLEAN, Outcome.NOT_REACHED}
        assert {seen[hand, beat] for hand in ("RH", "LH") for beat in (5, 6, 7)} == {
            Outcome.NOT_REACHED
        }

    def test_a_stop_where_the_player_stopped_before_is_kept_as_late(self) -> None:
        stopped = Habits(stops=(F(5), None, None))
        seen = self.observed(stop_at=5, habits=stopped)
        assert {seen["RH", 5], seen["LH", 5]} == {Outcome.LATE}
        assert seen["RH", 6] is Outcome.NOT_REACHED
        seen = self.observed(stop_at=5, habits=Habits(stops=(F(4), F(6), None)))
        assert Outcome.LATE not in seen.values()

    def test_a_stop_right_after_what_went_wrong_is_none_of_the_next_move(self) -> None:
        stopped = Habits(stops=(F(5), None, None))
        seen = self.observed(late_at=4, stop_at=5, habits=stopped)
        assert (seen["LH", 4], seen["LH", 5]) == (Outcome.LATE, Outcome.NOT_REACHED)
        seen = self.observed(late_at=3, stop_at=5, habits=stopped)
        assert (seen["LH", 3], seen["LH", 5]) == (Outcome.LATE, Outcome.LATE)


def test_a_move_is_heard_late_as_its_last_note_is() -> None:
    """Of several notes in one beat the last is the one arrived at, for each hand."""
    score = both(24)
    in_all, quarter_ms = whole(score).onsets_quarters, 60_000 / 90
    for hands in (Hands.RIGHT, Hands.LEFT):
        part = excerpt(score, whole(score).window.of(hands))
        shares = shares_heard_late(part, 90)
        onsets = part.onsets_quarters
        for note, number in zip(part.notes, part.onset_numbers, strict=True):
            move = part.transition_to(note.onset_quarters, hands)
            later = [
                n
                for n, one in zip(part.onset_numbers, part.notes, strict=True)
                if part.transition_to(one.onset_quarters, hands) == move
            ]
            assert shares[move] == share_heard_late(onsets, in_all, max(later), quarter_ms)
            assert number in later


def test_all_is_heard_of_what_both_hands_show() -> None:
    assert set(shares_heard_late(whole(both(24)), 90).values()) <= {0.0, 1.0}
