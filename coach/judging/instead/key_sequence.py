"""The longest common subsequence of the keys played and those written (Hunt & Szymanski 1977,
Communications of the ACM 20, 350-353).

Only the order of the keys counts, no tempo and no rhythm: so many things that may have been meant
can be tried in little time.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from coach.playing.notes import PlayedNote

CHORD_S = 0.06
"""Keys this soon after the first of them are taken as one chord, in no order: less than two notes
of a fast run lie apart (94 ms for sixteenths at 160), more than hands differ."""

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


def _onset_s(note: PlayedNote) -> float:
    return note.onset_s
