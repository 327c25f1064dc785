"""The weak spots of a piece, from its repetitions: what was found out of past days is kept.

``weak_spots`` holds them as they stood at the end of a day, so that each morning only the days
since are read: reading ten years again would take a minute. It can always be made anew, and is
where its repetitions are no longer those that it was made from (a record was taken in, a damaged
row set aside), or where it is damaged itself.
"""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from coach.coaching.model import Observation
from coach.coaching.planning import Day, Memory, WeakSpot, follow_day
from coach.record.calendar import begin_of_day_s, day_of
from coach.score.model import Hands
from coach.score.window import Transition

FORM = 1
"""Of what is kept: another one is made anew. Raise it where what makes a spot weak changes."""

ReadSince = Callable[[float], tuple[tuple[Observation, ...], ...]]
"""Gives what was observed in each repetition from a time on, in order."""


@dataclass(frozen=True, slots=True)
class KeptSpots:
    """The spots as they stood when a day began."""

    until_s: float
    """What was played before it is in them."""
    repetitions: int
    """How many those were."""
    spots: tuple[WeakSpot, ...]


BEGIN = KeptSpots(0.0, 0, ())


def follow_until(
    kept: KeptSpots, read_since: ReadSince, count_since: Callable[[float], int], now_s: float
) -> tuple[tuple[WeakSpot, ...], KeptSpots]:
    """The spots as they stand now, and as they stood when this day began."""
    today = day_of(now_s)
    begin_s = begin_of_day_s(today)
    known = {spot.transition: spot for spot in kept.spots}
    days: dict[Day, list[Observation]] = defaultdict(list)
    for observed in read_since(kept.until_s):
        days[day_of(observed[0].at_s)] += observed
    for day in sorted(day for day in days if day < today):
        known = follow_day(known, day, days.pop(day))
    closed = kept
    if begin_s > kept.until_s:
        past = count_since(kept.until_s) - count_since(begin_s)
        closed = KeptSpots(begin_s, kept.repetitions + past, tuple(known.values()))
    for day in sorted(days):
        known = follow_day(known, day, days[day])
    return tuple(known.values()), closed


def load_spots(db: sqlite3.Connection, piece: int) -> KeptSpots:
    """What is kept of a piece; from the beginning where nothing is, or not as it was written."""
    query = "SELECT until_s, repetitions, spots, checksum FROM weak_spots WHERE piece_id = ?"
    found = db.execute(query, (piece,)).fetchone()
    try:
        until_s, repetitions, text, told = found
        if _checksum(until_s, repetitions, text) != told:
            return BEGIN
        form, plain = json.loads(text)
        spots = tuple(_spot_from(one) for one in plain) if form == FORM else None
    except (TypeError, ValueError, AttributeError):
        return BEGIN
    return BEGIN if spots is None else KeptSpots(until_s, repetitions, spots)


def save_spots(db: sqlite3.Connection, piece: int, kept: KeptSpots) -> None:
    """Keep them, within a transaction."""
    text = json.dumps([FORM, [_to_plain(one) for one in kept.spots]])
    values = (kept.until_s, kept.repetitions, text)
    query = "INSERT OR REPLACE INTO weak_spots VALUES (?, ?, ?, ?, ?)"
    db.execute(query, (piece, *values, _checksum(*values)))


def _checksum(until_s: float, repetitions: int, text: str) -> int:
    return zlib.crc32(f"{until_s!r} {repetitions} {text}".encode())


def _to_plain(spot: WeakSpot) -> list[Any]:
    move, memory = spot.transition, spot.memory
    return [
        move.hands.value, str(move.from_quarters), str(move.to_quarters),
        spot.failures, spot.tries, spot.mended, spot.qpm,
        memory.stability_days, memory.difficulty, memory.at_s,
        spot.failed_on, spot.played_on, spot.held_days, spot.weak_days, spot.held_pause_days,
    ]  # fmt: skip


def _spot_from(plain: Iterable[Any]) -> WeakSpot:
    hands, start, end, failures, tries, mended, qpm, stable, hard, at_s, *days = plain
    return WeakSpot(
        Transition(Hands(hands), Fraction(start), Fraction(end)),
        failures,
        tries,
        mended,
        qpm,
        Memory(stable, hard, at_s),
        *days,
    )
