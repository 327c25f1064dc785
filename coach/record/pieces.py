"""Pieces in the record: how one is known again, and what the record tells of it.

A piece is known by its notes, so a score with one note corrected is another piece. But most of its
bars are the same as before, and what was played of those still holds. So a corrected score keeps
its history, bar by bar. Each bar has a digest of its own: where two pieces of the same file or
title have at least half of their bars alike, in the same order, what was observed in these bars of
the one counts for the other, moved to where they stand there now.
"""

from __future__ import annotations

import hashlib
import json
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from difflib import SequenceMatcher
from fractions import Fraction
from pathlib import Path

from coach.coaching.model import Observation
from coach.score.model import Score
from coach.score.window import Transition

# Which piece it is: known again by its notes, whatever its file is called and wherever it lies.


@dataclass(frozen=True, slots=True)
class PieceKey:
    """A piece in the record."""

    key: str
    """A digest of its bars and notes: the same for the same music."""
    title: str
    path: str = ""
    """Where its score was last opened from; empty for a score that was no file."""
    bars: str = field(default="", compare=False, repr=False)
    """What each of its bars is known by; empty where the score is not open."""


def piece_key(score: Score, path: str | Path = "") -> PieceKey:
    """The key of a piece.

    Bars (place and metre) and notes (pitch, onset, length) count. Titles, fingerings, layout and
    the hands do not, so that a corrected fingering or a note given to the other hand keeps the
    piece's history.
    """
    digest = hashlib.sha256()
    for bar in score.bars:
        digest.update(f"|{bar.onset_quarters} {bar.metre}".encode())
    for note in score.notes:
        digest.update(f"{note.pitch} {note.onset_quarters} {note.length_quarters};".encode())
    named = Path(path)
    title = score.title or (named.stem if path else "Untitled")
    kept = str(named.absolute()) if path else ""
    return PieceKey(digest.hexdigest()[:32], title, kept, describe_bars(score))


# What the record tells of what it holds.


@dataclass(frozen=True, slots=True)
class PieceSummary:
    """A piece in the record, and how much it was practised."""

    piece: PieceKey
    used_at_s: float
    """When it was last open, unix time."""
    repetitions: int
    clean: int


@dataclass(frozen=True, slots=True)
class RepetitionSummary:
    """One repetition in the record."""

    id: int
    at_s: float
    clean: bool
    qpm: float | None
    """The tempo found, in quarters a minute."""
    sentence: str
    start_quarters: str
    end_quarters: str
    hands: str


# A corrected score keeps its history, bar by bar.

LEAST_ALIKE = 0.5
"""Share of the longer one's bars that have to be alike. Own choice, because two pieces of one title
(two minuets) share a bar or two, and a corrected score loses a few."""
_DIGEST_LETTERS = 12
MARGIN_QUARTERS = 4
"""A piece's first note is arrived at from before it, and its last beat may be its end."""


@dataclass(frozen=True, slots=True)
class MovedBars:
    """Bars running that are alike in both scores."""

    start_quarters: Fraction
    """Where they begin in the other score."""
    end_quarters: Fraction
    shift_quarters: Fraction
    """How much later they stand in this one."""


def describe_bars(score: Score) -> str:
    """Where each bar begins, and a digest of its metre and notes; the last is the piece's end."""
    notes: dict[int, list[str]] = {}
    for note in score.notes:
        at = note.onset_quarters - score.bars[note.bar_index].onset_quarters
        notes.setdefault(note.bar_index, []).append(f"{note.pitch} {at} {note.length_quarters}")
    bars = [
        (str(bar.onset_quarters), _digest(f"{bar.metre}", notes.get(bar.index, [])))
        for bar in score.bars
    ]
    return json.dumps([*bars, (str(score.end_quarters), "")])


def _digest(metre: str, notes: Sequence[str]) -> str:
    return hashlib.sha256(";".join((metre, *notes)).encode()).hexdigest()[:_DIGEST_LETTERS]


def match_bars(other: str, this: str) -> tuple[MovedBars, ...]:
    """The bars of another score that are in this one too; none where too few are.

    Raises ValueError where they can't be read.
    """
    (old_starts, old), (new_starts, new) = _read(other), _read(this)
    blocks = SequenceMatcher(None, old, new, autojunk=False).get_matching_blocks()
    if sum(block.size for block in blocks) < LEAST_ALIKE * max(len(old), len(new)):
        return ()
    first, last = old_starts[0], old_starts[-1]
    old_starts[0], old_starts[-1] = first - MARGIN_QUARTERS, last + MARGIN_QUARTERS
    return tuple(
        MovedBars(
            old_starts[block.a],
            old_starts[block.a + block.size],
            new_starts[block.b] - (old_starts[block.a] if block.a else first),
        )
        for block in blocks
        if block.size
    )


def _read(bars: str) -> tuple[list[Fraction], list[str]]:
    try:
        starts, digests = zip(*json.loads(bars), strict=True)
        return [Fraction(one) for one in starts], [str(one) for one in digests[:-1]]
    except (TypeError, ZeroDivisionError, OverflowError) as error:
        raise ValueError("no bars") from error


def move_observations(
    observed: Iterable[Observation], moves: Sequence[MovedBars]
) -> Iterator[Observation]:
    """What was observed in bars that are alike, where they stand now."""
    starts = [one.start_quarters for one in moves]
    for one in observed:
        bars = moves[max(bisect_right(starts, one.transition.to_quarters) - 1, 0)]
        move, shift = one.transition, bars.shift_quarters
        if not bars.start_quarters <= move.from_quarters <= move.to_quarters < bars.end_quarters:
            continue
        moved = Transition(move.hands, move.from_quarters + shift, move.to_quarters + shift)
        yield replace(one, transition=moved, onset_quarters=one.onset_quarters + shift)
