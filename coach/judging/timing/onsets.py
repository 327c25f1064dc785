"""The playing as a row of moments: each score onset, when its hands struck it.

Conventions
-----------
- ``x`` is a score position in quarters, as a float; ``at_s`` a clock time in seconds.
- Grace notes and freely played ornaments give no moment: their time is the player's own.
- A wrong key tells the time of its onset as well as a right one.

Which time a moment has where its hands parted: the one that fits its neighbours best.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from coach.judging.model import Label, Matching
from coach.playing.notes import PlayedNote
from coach.score.model import Hand, NoteMark
from coach.score.window import Excerpt


class HandOnset(NamedTuple):
    """One hand's notes at one score onset, as struck."""

    hand: Hand
    at_s: float
    """The middle of its notes."""
    first_s: float
    last_s: float
    notes: tuple[int, ...]
    """Indices into ``excerpt.notes``."""
    gap_s: float = 0.0
    """The longest wait between two of its notes."""
    behind: int | None = None
    """The first note after that wait: the one that was late within a chord."""
    loose: bool = False
    """Grace notes, a rolled chord or an ornament: its exact time is the player's own."""

    @property
    def spread_ms(self) -> float:
        """From its first note to its last."""
        return (self.last_s - self.first_s) * 1000


class Moment(NamedTuple):
    """One score onset, by whichever hands struck it."""

    onset_quarters: Fraction
    number: int
    """Index of the onset in ``excerpt.onsets_quarters``."""
    x: float
    beat: float
    hands: tuple[HandOnset, ...]
    at_s: float
    """The time taken for it: both hands' middle, or the one that fits where they part."""
    broken: bool = False
    """Something came between it and the moment before: a stumble, a restart."""
    gap: bool = False
    """A written onset before it was left out altogether."""
    held: bool = False
    """A fermata stands at the moment before: how long it lasts is the player's own."""
    torn: bool = False
    """Something was played again between its two hands: one of them waited for a stumble."""

    @property
    def is_free(self) -> bool:
        """Whether the time since the moment before tells nothing of the tempo."""
        return self.broken or self.gap or self.held

    def of(self, hand: Hand) -> HandOnset | None:
        """This hand's onset here, None where it has none."""
        return next((onset for onset in self.hands if onset.hand is hand), None)

    @property
    def apart_s(self) -> float | None:
        """The left hand after the right, middle to middle; None where not both struck."""
        if len(self.hands) < 2:
            return None
        one, other = self.hands
        return other.at_s - one.at_s if one.hand is Hand.RIGHT else one.at_s - other.at_s


def list_moments(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching
) -> tuple[Moment, ...]:
    """The moments that were struck, in the score's order; ``at_s`` the middle of all notes."""
    rows, passed = _rows(excerpt, played, matching)
    repeats = sorted(
        played[label.played].onset_s for label in matching.played if label.label is Label.REPEATED
    )
    out: list[Moment] = []
    for number in sorted(rows):
        hands = rows[number]
        at_s = hands[0].at_s if len(hands) == 1 else (hands[0].at_s + hands[1].at_s) / 2
        before = out[-1] if out else None
        out.append(
            Moment(
                excerpt.onsets_quarters[number],
                number,
                excerpt.onsets[number],
                excerpt.beats_of_onsets[number],
                hands,
                at_s,
                broken=before is not None and _any_between(repeats, before.at_s, at_s),
                gap=before is not None and not passed.isdisjoint(range(before.number + 1, number)),
                held=before is not None and _has_fermata(excerpt, before),
                torn=len(hands) == 2
                and _any_between(repeats, *sorted(hand.at_s for hand in hands)),
            )
        )
    return tuple(out)


def _has_fermata(excerpt: Excerpt, moment: Moment) -> bool:
    struck = (excerpt.notes[note] for hand in moment.hands for note in hand.notes)
    return any(NoteMark.FERMATA in note.marks for note in struck)


def _rows(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching
) -> tuple[dict[int, tuple[HandOnset, ...]], set[int]]:
    """By onset number, the hands that struck it; and the onsets that were passed over."""
    struck: dict[tuple[int, Hand], list[tuple[int, float]]] = {}
    loose: set[tuple[int, Hand]] = set()
    written: set[int] = set()
    for label, number in zip(matching.score, excerpt.onset_numbers, strict=True):
        note = excerpt.notes[label.note]
        key = (number, note.hand)
        free = note.grace is not None or note.is_free
        if free or NoteMark.ARPEGGIO in note.marks:
            loose.add(key)
        if note.grace is None:
            written.add(number)
        if label.played is not None and not free:
            struck.setdefault(key, []).append((label.note, played[label.played].onset_s))
    rows: dict[int, tuple[HandOnset, ...]] = {}
    for (number, hand), strokes in struck.items():
        own = _hand_onset(hand, strokes, (number, hand) in loose)
        rows[number] = (*rows.get(number, ()), own)
    return rows, written - rows.keys()


def _hand_onset(hand: Hand, strokes: list[tuple[int, float]], loose: bool) -> HandOnset:
    if len(strokes) == 1:
        note, at = strokes[0]
        return HandOnset(hand, at, at, at, (note,), loose=loose)
    strokes.sort(key=lambda stroke: stroke[1])
    times = [at for _, at in strokes]
    notes = tuple(sorted(note for note, _ in strokes))
    gap_s, behind = max(
        ((b - a, note) for (_, a), (note, b) in pairwise(strokes)), key=lambda wait: wait[0]
    )
    return HandOnset(hand, median(times), times[0], times[-1], notes, gap_s, behind, loose)


def _any_between(times: Sequence[float], low: float, high: float) -> bool:
    """Whether one of the sorted times lies strictly between."""
    index = bisect_right(times, low)
    return index < len(times) and times[index] < high


_PARTED_S = 0.040
"""Hands further apart than this have no common time worth averaging."""
_CAP = 9.0
"""A pause or a break costs no more than being off by three times the slack."""
_TIES = 6
"""Costs are compared to six places, so that the clock's zero decides nothing."""


def settle_onsets(row: Sequence[Moment]) -> tuple[Moment, ...]:
    """Choose for each moment whose hands parted the time that fits its neighbours best."""
    choices = [_choices(moment) for moment in row]
    if all(len(times) == 1 for times in choices):
        return tuple(row)
    periods = _rough_periods(row)
    best: list[list[tuple[float, int]]] = [[(0.0, 0)] * len(choices[0])]
    for i in range(1, len(row)):
        step = (row[i].x - row[i - 1].x) * periods[i]
        best.append([_cheapest(at - step, choices[i - 1], best[-1], step) for at in choices[i]])
    return _walk_back(row, choices, best)


def _cheapest(
    due: float, before: Sequence[float], best: Sequence[tuple[float, int]], step: float
) -> tuple[float, int]:
    """The lowest cost of a choice, and the choice before it; of equal ones, the earlier."""
    slack = 0.25 * step + 0.02
    costs = [
        cost + min(((due - at) / slack) ** 2, _CAP)
        for at, (cost, _) in zip(before, best, strict=True)
    ]
    k = min(range(len(costs)), key=lambda j: round(costs[j], _TIES))
    return costs[k], k


def _choices(moment: Moment) -> tuple[float, ...]:
    first_s = min([hand.first_s for hand in moment.hands])
    last_s = max([hand.last_s for hand in moment.hands])
    if last_s - first_s <= _PARTED_S:
        return (moment.at_s,)
    times = {s for hand in moment.hands for s in (hand.first_s, hand.at_s, hand.last_s)}
    return tuple(sorted(times))


def _walk_back(
    row: Sequence[Moment], choices: list[tuple[float, ...]], best: list[list[tuple[float, int]]]
) -> tuple[Moment, ...]:
    k = min(range(len(best[-1])), key=lambda j: round(best[-1][j][0], _TIES))
    out: list[Moment] = []
    for i in range(len(row) - 1, -1, -1):
        at_s = choices[i][k]
        out.append(row[i] if at_s == row[i].at_s else row[i]._replace(at_s=at_s))
        k = best[i][k][1]
    return tuple(reversed(out))


def _rough_periods(row: Sequence[Moment]) -> list[float]:
    """A running median of the periods, good enough to choose by."""
    raw = [max(b.at_s - a.at_s, 0.005) / (b.x - a.x) for a, b in pairwise(row)] or [0.5]
    raw.insert(0, raw[0])
    return [median(raw[max(1, i - 4) : i + 5] or raw[:1]) for i in range(len(raw))]
