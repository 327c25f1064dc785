"""Weak spots over days: what is due on which morning, what is settled, what opens again."""

from datetime import UTC, datetime
from fractions import Fraction as F

import fsrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.model import Observation
from coach.coaching.planning import WeakSpot, follow_day, follow_spots, list_due
from coach.judging.model import Outcome
from coach.score.model import Hands
from coach.score.window import Transition

DAY_S, HOUR_S = 86_400.0, 3_600.0
NAMED = {"x": Outcome.LATE, ".": Outcome.CLEAN, "-": Outcome.NOT_REACHED}


def day_of(at_s: float) -> int:
    """Days end at midnight here: what ends a day is the caller's matter."""
    return int(at_s // DAY_S)


def heard(beat: int, outcomes: str, day: float = 0.0) -> list[Observation]:
    """``heard(3, "x.x", day=2)``: on day 2 the move to beat 3 failed, held, failed."""
    move = Transition(Hands.LEFT, F(beat - 1), F(beat))
    begin_s = day * DAY_S
    return [
        Observation(begin_s + 10 * i + beat / 100, move, F(beat), Hands.TOGETHER, NAMED[o], 80.0)
        for i, o in enumerate(outcomes)
    ]


def followed(*days: str, beat: int = 3) -> WeakSpot:
    """One move through days that run; an empty day is one without it."""
    history = [one for day, outcomes in enumerate(days) for one in heard(beat, outcomes, day)]
    (spot,) = follow_spots(history, day_of)
    return spot


def due_on(day: int, *days: str) -> bool:
    """Whether it is due at eight in the morning of a day."""
    history = [one for at, outcomes in enumerate(days) for one in heard(3, outcomes, at)]
    spots = follow_spots(history, day_of)
    return bool(list_due(spots, day, day * DAY_S + 8 * HOUR_S))


def beats_due(history: list[Observation], day: int) -> list[int]:
    due = list_due(follow_spots(history, day_of), day, day * DAY_S + 8 * HOUR_S)
    return [int(spot.transition.to_quarters) for spot in due]


def test_the_worst_comes_first_and_the_mended_last() -> None:
    history = [*heard(3, "x..x.x"), *heard(5, "xx-x"), *heard(7, "xxx..."), *heard(9, "......")]
    assert beats_due(history, 1) == [5, 3, 7]


@pytest.mark.parametrize(
    ("outcomes", "is_weak"),
    [
        ("x", True),
        ("x..", True),
        ("...x", False),
        ("....xx......", True),
        (".....x....", False),
        ("---", False),
    ],
)
def test_what_makes_a_weak_spot(outcomes: str, is_weak: bool) -> None:
    assert bool(follow_spots(heard(3, outcomes), day_of)) is is_weak


@pytest.mark.parametrize("outcomes", ["xx", "xx...", "x......x"])
def test_the_first_morning_is_unconditional(outcomes: str) -> None:
    """Also where it was mended in the evening: eleven hours are no forgetting to any law."""
    evening = heard(3, outcomes, day=20 / 24)
    spots = follow_spots(evening, day_of)
    assert list_due(spots, 1, DAY_S + 7 * HOUR_S) == spots


def test_what_was_mended_waits_for_a_night() -> None:
    assert not list_due(follow_spots(heard(3, "xx..."), day_of), 0, 20 * HOUR_S)
    assert list_due(follow_spots(heard(3, "xx.."), day_of), 0, 20 * HOUR_S)


def test_what_held_on_the_first_morning_waits_for_its_day() -> None:
    """By the package: after Again and one day later Good, nine in ten are left after 1.9 days."""
    card, scheduler = fsrs.Card(), fsrs.Scheduler(enable_fuzzing=False)
    for day, rating in enumerate((fsrs.Rating.Again, fsrs.Rating.Good)):
        card, _ = scheduler.review_card(card, rating, datetime(2026, 1, 1 + day, tzinfo=UTC))
    assert followed("xx...", "..").memory.days_until(0.9) == pytest.approx(card.stability, 1e-3)
    assert [due_on(day, "xx...", "..") for day in (1, 4, 5)] == [False, False, True]


def pauses(count: int) -> list[int]:
    """Days from one time that it is due to the next, where it holds each time."""
    out, days = [], ["xx"]
    for _ in range(count):
        days.append(".")
        wait = 1
        while not due_on(len(days) - 1 + wait, *days):
            wait += 1
        out.append(wait)
        days += [""] * (wait - 1)
    return out


def test_until_it_is_settled_it_waits_four_days_then_half_as_long_again_as_it_held() -> None:
    """By FSRS alone the third pause would be a month."""
    assert pauses(6) == [4, 4, 6, 9, 14, 21]


def test_what_failed_on_several_days_comes_sooner() -> None:
    """By FSRS: a fifth of it is lost after 1.1 days, where it failed on three days, and after 6.3
    where it failed on one."""
    hard, easy = ("xx", "xx", "xx", "."), ("xx", ".")
    assert followed(*hard).memory.days_until(0.8) == pytest.approx(1.09, abs=0.01)
    assert followed(*easy).memory.days_until(0.8) == pytest.approx(6.26, abs=0.01)
    assert due_on(4, *hard)
    assert [due_on(day, *easy) for day in (2, 3, 4, 5)] == [False, False, False, True]


@pytest.mark.parametrize(
    ("days", "is_settled"),
    [
        (("xx", ".", "."), False),
        (("xx", ".", ".", "."), True),
        (("xx...", "...", "...", "..."), True),
        (("xx", ".", "..x...", ".", "."), True),  # a slip is no clean day, and no relapse
        (("xx", ".", "..x...", "."), False),
        (("xx", ".", "xx", ".", "."), False),
        (("xx", ".", ".", ".", "x"), False),
    ],
)
def test_settled_after_clean_days(days: tuple[str, ...], is_settled: bool) -> None:
    assert followed(*days).is_settled is is_settled


def test_a_relapse_opens_it_again_for_the_next_morning() -> None:
    settled = ("xx", ".", ".", ".")
    assert not due_on(4, *settled)
    assert followed(*settled, "x.").weak_days == 2
    assert due_on(5, *settled, "x.")


def test_a_settled_spot_comes_back_rarely() -> None:
    days = ("xx", ".", ".", ".")
    first = next(day for day in range(4, 400) if due_on(day, *days))
    open_first = next(day for day in range(3, 400) if due_on(day, *days[:3]))
    assert open_first - 2 == 4
    assert first - 3 == 5
    held = (
        "xx",
        ".",
        "",
        ".",
        "",
        "",
        "",
        ".",
    )  # settled on the seventh day, after a pause of four
    assert [due_on(day, *held) for day in (12, 13)] == [False, True]


def test_a_take_that_fits_nowhere_marks_no_weak_spot() -> None:
    """All 34 moves of a page failed: that was another piece, or one that is not known yet."""
    move = [Transition(Hands.RIGHT, F(beat), F(beat + 1)) for beat in range(34)]

    def take(at_s: float, failed: int) -> list[Observation]:
        return [
            Observation(
                at_s, one, one.to_quarters, Hands.RIGHT,
                Outcome.WRONG if n < failed else Outcome.CLEAN, 80.0,
            )
            for n, one in enumerate(move)
        ]  # fmt: skip

    assert follow_spots([*take(0.0, 34), *take(60.0, 34)], day_of) == ()
    assert follow_spots([*take(0.0, 18), *take(60.0, 18)], day_of) == ()
    assert len(follow_spots([*take(0.0, 17), *take(60.0, 17)], day_of)) == 17
    assert len(follow_spots([*take(0.0, 34)[:5], *take(60.0, 34)[:5]], day_of)) == 5


def test_after_two_weeks_what_is_likeliest_forgotten_comes_first() -> None:
    history = [*heard(3, "xx"), *heard(3, ".", 1)]
    history += [*heard(5, "xx"), *heard(5, ".", 1), *heard(5, ".", 3)]
    history += [*heard(7, "xx", 3)]
    assert beats_due(history, 20) == [7, 3, 5]


@pytest.mark.property
@given(
    st.lists(st.lists(st.text("x.-", max_size=6), min_size=3, max_size=3), min_size=1, max_size=8)
)
def test_day_by_day_is_the_same_as_all_at_once(days: list[list[str]]) -> None:
    """What the record keeps of past days is what reading all of it would tell."""
    every: list[Observation] = []
    known: dict[Transition, WeakSpot] = {}
    for day, moves in enumerate(days):
        of_day = [
            one for n, outcomes in enumerate(moves) for one in heard(3 + n, outcomes, float(day))
        ]
        of_day.sort(key=lambda one: one.at_s)
        every += of_day
        known = follow_day(known, day, of_day)
    assert set(follow_spots(every, day_of)) == set(known.values())


@pytest.mark.parametrize(("days", "is_due"), [(-0.03, False), (0.03, True)])
def test_a_spot_that_holds_is_due_when_four_times_in_five_are_left(
    days: float, is_due: bool
) -> None:
    """Sooner than any longest pause: it failed on two days of three."""
    spot = followed("xx", "x.", "..")
    due_s = spot.memory.at_s + DAY_S * (spot.memory.days_until(0.8) + days)
    assert spot.is_due(day_of(due_s), due_s) is is_due


def test_of_failures_and_tries_the_rule_of_succession_makes_a_chance() -> None:
    """(s + 1) / (n + 2), Laplace 1814: for s of n."""
    spot = WeakSpot(Transition(Hands.LEFT, F(1), F(2)), 2, 6, mended=False, qpm=80.0)
    assert spot.chance_of_failing == 3 / 8


@pytest.mark.parametrize(
    ("failing", "moves", "is_known"), [(4, 6, False), (3, 6, True), (4, 5, True), (5, 5, True)]
)
def test_a_repetition_of_six_moves_that_mostly_fails_tells_of_no_one_place(
    failing: int, moves: int, is_known: bool
) -> None:
    """All its moves are heard at one time."""
    history = []
    for at_s in (10.0, 20.0):
        for beat in range(1, moves + 1):
            move = Transition(Hands.LEFT, F(beat - 1), F(beat))
            outcome = Outcome.LATE if beat <= failing else Outcome.CLEAN
            history.append(Observation(at_s, move, F(beat), Hands.TOGETHER, outcome, 80.0))
    assert bool(follow_spots(history, day_of)) is is_known
