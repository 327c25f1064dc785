"""Keys in the order in which they were struck, held against rows of written notes.

Only the order of the keys counts, no tempo and no rhythm: so many things that may have been meant
can be tried in little time. What was played of a row is found by the longest common subsequence
(Hunt & Szymanski 1977, Communications of the ACM 20, 350-353); how far keys are from the nearest
stretch of a row by the edit distance, in bit vectors (Myers 1999, J. ACM 46, 395-415).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from itertools import accumulate

from coach.playing.notes import PlayedNote

CHORD_S = 0.06
"""Keys this soon after the first of them are taken as one chord, in no order: less than two notes
of a fast run lie apart (94 ms for sixteenths at 160), more than hands differ."""

STROKE_S = 0.1
"""Keys this close together may be one stroke of both hands. Own choice, because in a loose chord
they lie farther apart than in ``begin_end``, and here only their order counts."""

_Link = tuple[int, "_Link | None"]
"""The last note agreed on, and what led to it."""


def order_keys(played: Sequence[PlayedNote]) -> list[int]:
    """The keys in the order of their onsets, those of a chord from the lowest up, each once."""
    out: list[int] = []
    chord: list[int] = []
    began_s = 0.0
    for note in sorted(played, key=_onset_s):
        if chord and note.onset_s - began_s > CHORD_S:
            out += sorted(set(chord))
            chord = []
        if not chord:
            began_s = note.onset_s
        chord.append(note.pitch)
    return out + sorted(set(chord))


def count_onsets(played: Sequence[PlayedNote]) -> int:
    """How many keys and chords were struck one after the other."""
    count, began_s = 0, float("-inf")
    for note in played:
        if note.onset_s - began_s > CHORD_S:
            count, began_s = count + 1, note.onset_s
    return count


def find_common(written: Sequence[int], keys: Sequence[int]) -> list[int]:
    """The indices in ``written`` that were played: as many as can be, in order."""
    indices: dict[int, list[int]] = {}
    for at in range(len(written) - 1, -1, -1):
        indices.setdefault(written[at], []).append(at)
    ends: list[int] = []
    links: list[_Link] = []
    for key in keys:
        for at in indices.get(key, ()):
            length = bisect_left(ends, at)
            if length == len(ends):
                ends.append(at)
                links.append((at, links[length - 1] if length else None))
            elif at < ends[length]:
                ends[length] = at
                links[length] = (at, links[length - 1] if length else None)
    out: list[int] = []
    link = links[-1] if links else None
    while link is not None:
        out.append(link[0])
        link = link[1]
    return out[::-1]


def order_strokes(take: Sequence[PlayedNote]) -> tuple[int, ...]:
    """The keys in order, those of one stroke from low to high."""
    return tuple(take[at].pitch for at in order_in_strokes(take))


def order_in_strokes(take: Sequence[PlayedNote]) -> list[int]:
    """The same as indices of the keys."""
    strokes: list[list[int]] = [[]]
    for at, note in enumerate(take):
        if at and note.onset_s - take[at - 1].onset_s >= STROKE_S:
            strokes.append([])
        strokes[-1].append(at)
    return [at for stroke in strokes for at in sorted(stroke, key=lambda one: take[one].pitch)]


def count_fewest_errors(keys: Sequence[int], written: Sequence[int]) -> int:
    """The fewest keys wrong, too many or left out that make these keys some stretch of a row."""
    return _scan(keys, written)[0]


def list_errors_to_end(keys: Sequence[int], written: Sequence[int]) -> list[int]:
    """For the first none, one, two ... keys the fewest errors that make them a stretch of a row
    that reaches its end.

    With the same for the last keys and a row from its beginning, two stretches that follow each
    other are told apart where their sum is least (Hirschberg 1975, Comm. ACM 18, 341-343).
    """
    _, up, down = _scan(keys, written)
    steps = ((up >> at & 1) - (down >> at & 1) for at in range(len(keys)))
    return list(accumulate(steps, initial=0))


def _scan(keys: Sequence[int], written: Sequence[int]) -> tuple[int, int, int]:
    """The fewest errors anywhere, and in which keys they grow by one, or fall, at the row's end."""
    if not keys:
        return 0, 0, 0
    bits_of: dict[int, int] = {}
    for at, key in enumerate(keys):
        bits_of[key] = bits_of.get(key, 0) | 1 << at
    every, last = (1 << len(keys)) - 1, 1 << len(keys) - 1
    up, down, errors = every, 0, len(keys)
    fewest = errors
    for pitch in written:
        match = bits_of.get(pitch, 0)
        diagonal = ((match & up) + up ^ up) | match | down
        more, fewer = down | ~(diagonal | up) & every, up & diagonal
        errors += bool(more & last) - bool(fewer & last)
        fewest = min(fewest, errors)
        more, fewer = more << 1 & every, fewer << 1 & every
        up, down = fewer | ~(diagonal | more) & every, more & diagonal
    return fewest, up, down


def _onset_s(note: PlayedNote) -> float:
    return note.onset_s
