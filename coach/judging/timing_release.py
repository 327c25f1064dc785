"""How long keys were held: let go early, gaps under a slur, staccato held on, and loudness.

Conventions
-----------
A hold is the time that a key was down as a share of the written length at the tempo found.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import fmean

from coach.judging.facts import Label, Matching
from coach.judging.timing import Timing
from coach.judging.timing_holds import SHORT, Hold
from coach.judging.timing_let_go import let_go_early
from coach.judging.tolerance import Tolerance
from coach.playing.notes import PlayedNote
from coach.score.marks import Mark
from coach.score.model import Hand
from coach.score.window import Excerpt

_SLUR = frozenset({Mark.UNDER_SLUR, Mark.SLUR_START})


@dataclass(frozen=True, slots=True)
class Shape:
    """What of articulation and balance is not as written."""

    let_go: tuple[Hold, ...] = ()
    """Released far earlier than the same hand's other notes."""
    gaps: tuple[Hold, ...] = ()
    """Not joined to the next note under a slur."""
    held_on: tuple[Hold, ...] = ()
    """Staccato notes that were not short."""
    left_louder_by: float = 0.0
    """Mean MIDI velocity of the left hand over the right's; 0 where one hand plays."""


def holds(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, timing: Timing
) -> tuple[Hold, ...]:
    """How long each right key was held."""
    quarter_s = 60 / (timing.qpm or excerpt.qpm)
    out = []
    for label in matching.score:
        note = excerpt.notes[label.note]
        if label.label is not Label.MATCHED or label.played is None or not note.length_quarters:
            continue
        if label.note in excerpt.same_key:
            continue
        key = played[label.played]
        if key.length_s is not None and not note.is_free:
            written_s = float(note.length_quarters) * quarter_s
            out.append(Hold(label.note, note.hand, written_s, key.length_s, key.onset_s))
    return tuple(out)


def shape(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    timing: Timing,
    tolerance: Tolerance,
) -> Shape:
    """Articulation and balance against what is written."""
    found = holds(excerpt, played, matching, timing)
    return Shape(
        let_go_early(excerpt, found, tolerance),
        tuple(_gaps(excerpt, played, matching, found, tolerance)),
        tuple(_held_on(excerpt, found, tolerance)),
        _left_louder(excerpt, played, matching),
    )


def _gaps(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    found: Sequence[Hold],
    tolerance: Tolerance,
) -> Iterator[Hold]:
    marks = [(hold, excerpt.notes[hold.note].marks) for hold in found]
    slurred = [hold for hold, own in marks if own & _SLUR and not own & SHORT]
    onsets = _hand_onsets(excerpt, played, matching) if slurred else {}
    for hold in slurred:
        note = excerpt.notes[hold.note]
        following = onsets.get((note.hand, note.end_quarters))
        struck = onsets.get((note.hand, note.onset_quarters))
        if following is None or struck is None:
            continue
        silence_s = following - struck - hold.held_s
        if silence_s > max(tolerance.late_floor_ms / 1000, tolerance.gap_share * hold.written_s):
            yield hold


def _held_on(excerpt: Excerpt, found: Sequence[Hold], tolerance: Tolerance) -> Iterator[Hold]:
    for hold in found:
        marks = excerpt.notes[hold.note].marks
        if marks & SHORT and not marks & _SLUR and hold.share > tolerance.staccato_share:
            yield hold


def _hand_onsets(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching
) -> dict[tuple[Hand, object], float]:
    out: dict[tuple[Hand, object], float] = {}
    for label in matching.score:
        if label.played is not None and label.label is not Label.MISSED:
            note = excerpt.notes[label.note]
            key = (note.hand, note.onset_quarters)
            at = played[label.played].onset_s
            out[key] = min(at, out.get(key, at))
    return out


def _left_louder(excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching) -> float:
    loud: dict[Hand, list[int]] = {Hand.RIGHT: [], Hand.LEFT: []}
    for label in matching.score:
        if label.played is not None and label.label is Label.MATCHED:
            loud[excerpt.notes[label.note].hand].append(played[label.played].velocity)
    if not all(loud.values()):
        return 0.0
    return fmean(loud[Hand.LEFT]) - fmean(loud[Hand.RIGHT])
