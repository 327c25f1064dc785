"""The record's weak spots: kept day by day, made anew where facts change, moved with the bars."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path
from typing import Any

import pytest

from coach.coaching.drill.drill_events import RepetitionEnded
from coach.coaching.model import Observation
from coach.coaching.planning import DatePlan, WeakSpot, follow_spots
from coach.record.calendar import begin_of_day_s, day_of
from coach.record.own_data import forget_piece, join_copy
from coach.record.packing import unpack_moves
from coach.record.pieces import PieceKey, describe_bars, match_bars, piece_key
from coach.record.store import FILE, Store
from coach.score.build import score_from_notes
from coach.score.model import Score
from coach.score.window import Transition
from tests.records import SCORE, ended

DAY_S = 86_400.0
MONDAY_S = begin_of_day_s(day_of(1_700_000_000.0)) + 16 * 3600.0
"""Eight in the evening of some day."""
PIECE = piece_key(SCORE, "two_hands.musicxml")


class Clock:
    """The time that the store goes by."""

    def __init__(self) -> None:
        self.now_s = MONDAY_S

    def __call__(self) -> float:
        return self.now_s


def moved(by_quarters: int, to: str = "x.") -> Callable[[float], list[RepetitionEnded]]:
    """Repetitions of the test's bar, as if it stood so many quarters later."""

    def play(at_s: float) -> list[RepetitionEnded]:
        out = []
        for sign in to:
            one = ended(clean=sign == ".")
            observed = tuple(
                replace(
                    seen,
                    at_s=at_s,
                    transition=Transition(
                        seen.transition.hands,
                        seen.transition.from_quarters + by_quarters,
                        seen.transition.to_quarters + by_quarters,
                    ),
                    onset_quarters=seen.onset_quarters + by_quarters,
                )
                for seen in one.observed
            )
            out.append(replace(one, observed=observed))
        return out

    return play


def save(
    store: Store, piece: PieceKey, at_s: float, outcomes: str = "x.", by_quarters: int = 0
) -> None:
    for n, one in enumerate(moved(by_quarters, outcomes)(at_s)):
        store.save_repetition(piece, one, at_s + 20.0 * n)


def kept(folder: Path) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(folder / FILE)) as db:
        return db.execute("SELECT until_s, repetitions FROM weak_spots").fetchall()


def change(folder: Path, *queries: str) -> None:
    with closing(sqlite3.connect(folder / FILE, isolation_level=None)) as db:
        for query in queries:
            db.execute(query)


def from_facts(store: Store, piece: PieceKey) -> set[WeakSpot]:
    return set(follow_spots(store.history(piece), day_of))


def test_what_is_kept_of_past_days_is_what_all_facts_tell(tmp_path: Path) -> None:
    clock = Clock()
    store = Store(tmp_path, clock)
    for outcomes in ("xx", "x.", "..", ".", "", "x", "."):
        save(store, PIECE, clock.now_s, outcomes)
        assert set(store.weak_spots(PIECE)) == from_facts(store, PIECE)
        clock.now_s += DAY_S
        assert set(store.weak_spots(PIECE)) == from_facts(store, PIECE)
    assert kept(tmp_path) == [(begin_of_day_s(day_of(clock.now_s)), 9)]
    store.close()


def test_only_the_days_since_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = Clock()
    store = Store(tmp_path, clock)
    for _ in range(5):
        save(store, PIECE, clock.now_s)
        clock.now_s += DAY_S
    store.weak_spots(PIECE)
    read: list[int] = []

    def unpack(*row: Any) -> tuple[Observation, ...]:
        read.append(1)
        return unpack_moves(*row)

    monkeypatch.setattr("coach.record.rows.unpack_moves", unpack)
    save(store, PIECE, clock.now_s)
    store.weak_spots(PIECE)
    assert len(read) == 2
    store.close()


def test_a_record_that_joins_is_looked_through_anew(tmp_path: Path) -> None:
    clock = Clock()
    here, there = tmp_path / "here", tmp_path / "there"
    for folder, outcomes in ((here, "xx"), (there, "x.")):
        folder.mkdir()
        store = Store(folder, clock)
        save(store, PIECE, clock.now_s + (folder is there) * 3600.0, outcomes)
        store.close()
    clock.now_s += 2 * DAY_S
    store = Store(here, clock)
    store.weak_spots(PIECE)
    store.close()
    assert join_copy(here / FILE, there / FILE) == 2
    store = Store(here, clock)
    (spot,) = store.weak_spots(PIECE)
    assert (spot.failures, spot.tries) == (3, 4)
    store.close()


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE weak_spots SET spots = 'x'",
        "UPDATE weak_spots SET spots = '[1, []]'",
        "UPDATE weak_spots SET spots = NULL_OR_NOT",
        "UPDATE weak_spots SET until_s = 5e9",
        "UPDATE weak_spots SET repetitions = 7",
        "DELETE FROM weak_spots",
    ],
)
def test_what_is_kept_is_made_anew_where_it_is_damaged(tmp_path: Path, damage: str) -> None:
    clock = Clock()
    store = Store(tmp_path, clock)
    save(store, PIECE, clock.now_s)
    clock.now_s += DAY_S
    before = store.weak_spots(PIECE)
    store.close()
    change(tmp_path, damage.replace("NULL_OR_NOT", "'[99, [[1]]]'"))
    store = Store(tmp_path, clock)
    assert store.weak_spots(PIECE) == before
    assert before
    store.close()


def test_a_day_ends_at_four_in_the_morning() -> None:
    four_s = begin_of_day_s(day_of(MONDAY_S) + 1)
    assert day_of(four_s - 1) == day_of(MONDAY_S)
    assert day_of(four_s) == day_of(MONDAY_S) + 1
    assert day_of(MONDAY_S + 7 * 3600.0) == day_of(MONDAY_S)  # three in the night


# -- a corrected score ---------------------------------------------------------------------------


def four_bars(*, wrong_in: int | None = None, before: int = 0) -> Score:
    """Four bars of quarters, each other notes; one with a misprint, or with empty bars before."""
    notes = [
        {
            "pitch": pitch + bar + (1 if bar == wrong_in and beat == 1 else 0),
            "onset": 4 * (bar + before) + beat,
            "length": 1,
            "hand": hand,
        }
        for bar in range(4)
        for beat in range(4)
        for pitch, hand in ((72 + beat, "RH"), (48 + beat, "LH"))
    ]
    intro = [{"pitch": 40, "onset": 4 * bar, "length": 4, "hand": "LH"} for bar in range(before)]
    return score_from_notes([*intro, *notes], title="Misprinted")


def test_bars_that_are_alike_are_found_where_they_stand_now() -> None:
    old, new = (describe_bars(four_bars(wrong_in=w)) for w in (2, None))
    first, last = match_bars(old, new)
    assert (first.end_quarters, first.shift_quarters) == (F(8), F(0))
    assert (last.start_quarters, last.shift_quarters) == (F(12), F(0))
    (whole,) = match_bars(old, describe_bars(four_bars(wrong_in=2, before=1)))
    assert whole.shift_quarters == 4
    assert match_bars(old, describe_bars(SCORE)) == ()


@pytest.mark.parametrize(("bar", "is_kept"), [(0, True), (1, True), (2, False), (3, True)])
def test_a_corrected_score_keeps_its_history_bar_by_bar(
    tmp_path: Path, bar: int, is_kept: bool
) -> None:
    clock = Clock()
    path = tmp_path / "misprinted.musicxml"
    store = Store(tmp_path, clock)
    store.save_plan(piece_key(SCORE, path), None)
    old = piece_key(four_bars(wrong_in=2), path)
    save(store, old, clock.now_s, "xx", by_quarters=4 * bar)
    clock.now_s += DAY_S
    corrected = piece_key(four_bars(), path)
    assert corrected != old
    assert bool(store.weak_spots(corrected)) is is_kept
    assert bool(store.history(corrected)) is is_kept
    save(store, corrected, clock.now_s, ".", by_quarters=4 * bar)
    clock.now_s += DAY_S
    if is_kept:
        (spot,) = store.weak_spots(corrected)
        assert (spot.failures, spot.held_days) == (2, 1)
        assert spot.transition.to_quarters == F(4 * bar + 2)
    store.close()


def test_another_piece_of_the_same_title_is_another_piece(tmp_path: Path) -> None:
    store = Store(tmp_path, Clock())
    save(store, piece_key(replace(SCORE, title="Misprinted")), MONDAY_S, "xx")
    assert store.history(piece_key(four_bars())) == ()
    store.close()


# -- forgotten, and planned ------------------------------------------------------------------------


def test_forgetting_a_piece_forgets_what_was_found_out_of_it(tmp_path: Path) -> None:
    clock = Clock()
    store = Store(tmp_path, clock)
    save(store, PIECE, clock.now_s)
    store.save_plan(PIECE, DatePlan(day_of(clock.now_s) + 5, 20.0))
    clock.now_s += DAY_S
    assert store.weak_spots(PIECE)
    store.close()
    forget_piece(tmp_path / FILE, PIECE)
    with closing(sqlite3.connect(tmp_path / FILE)) as db:
        for table in ("weak_spots", "bars", "plan", "piece", "repetition"):
            assert db.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)


@pytest.mark.parametrize("first", ["here", "there"])
def test_of_two_records_plans_the_later_day_holds(tmp_path: Path, first: str) -> None:
    days = {"here": 740_000, "there": 740_010}
    second = "there" if first == "here" else "here"
    for name, day in days.items():
        (tmp_path / name).mkdir()
        store = Store(tmp_path / name, Clock())
        store.save_plan(PIECE, DatePlan(day, 20.0))
        store.close()
    join_copy(tmp_path / first / FILE, tmp_path / second / FILE)
    store = Store(tmp_path / first, Clock())
    assert store.plan(PIECE) == DatePlan(740_010, 20.0)
    store.close()


def test_a_plan_is_kept_changed_and_forgotten(tmp_path: Path) -> None:
    store = Store(tmp_path, Clock())
    assert store.plan(PIECE) is None
    for plan in (DatePlan(740_000, 20.0), DatePlan(740_010, 12.5), None):
        store.save_plan(PIECE, plan)
        assert store.plan(PIECE) == plan
    store.close()


@pytest.mark.parametrize(("alike", "is_same"), [(2, True), (1, False)])
def test_a_score_is_another_state_of_one_where_half_of_its_bars_are_alike(
    alike: int, is_same: bool
) -> None:
    """Of four bars of one title."""
    starts = ("0", "4", "8", "12")
    this = json.dumps([*zip(starts, "abcd", strict=True), ("16", "")])
    other = json.dumps([*zip(starts, "abcd"[:alike] + "xyz"[: 4 - alike], strict=True), ("16", "")])
    assert bool(match_bars(other, this)) is is_same
