"""Note values: a length from onset to onset that is not the written one, and entries out of place.

Explanations compete for the same onsets by one noise model (:mod:`coach.judging.timing.noise`): the
one that explains most, by the squares that it takes away, is believed; it is taken out of the take,
and what is left is weighed again (matching pursuit). They are

- a *value*: one interval too short or too long, and all after it shifted. Near a simple ratio of
  the written length it was misread; too short and near none it was cut short, too long and near
  none it is a hesitation;
- an *entry*: one onset early or late, which the next interval makes up.

Expression stays free: a stretch by less than a third, the last notes as far as the slowing before
them goes, and one note that leans by less than a tenth of a second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import log

from coach.judging.timing.habits import Habits
from coach.judging.timing.noise import Shock, Strokes, find_shocks
from coach.judging.timing.onsets import Moment
from coach.judging.tolerance import Tolerance

SIMPLE = tuple(Fraction(*pair) for pair in (
    (1, 4), (1, 3), (1, 2), (2, 3), (3, 4), (4, 3), (3, 2), (2, 1), (3, 1), (4, 1),
))  # fmt: skip
"""What a written value is misread as: the next values, with or without a dot, and triplets."""
_LEAST_ONSETS = 5
"""Through fewer than four intervals none can be told from the pulse."""
_SHORT_Z, _LONG_Z, _ENTRY_Z = 3.3, 3.6, 4.2
"""Standard deviations from which an interval is too short or too long, or an entry out of place.
By ``scripts/bench_rhythm.py``: each accuses about one untouched window in a hundred."""
_EXPRESSIVE_SHARE = 0.3
"""A stretch by less is expression: agogic accents of 10 to 25 % are usual (Repp 1992, from
memory)."""
_ENDING_SHARE = 0.6
"""...and so much for the last notes, against the slowing that leads to them."""
_ENDING_S = 0.25
"""...and at least so much: what is held to be a hesitation where nothing is known of a player."""
_ENDING_ONSETS = 3
"""Onsets at the end where slowing is expected."""
_LEANING_S = 0.1
"""An entry by less is told by no detector of this module."""
_SLACK_Z = 1.5
"""A ratio may be a simple one that lies within so many standard deviations of it."""
_SHORT_SLACK, _LONG_SLACK = (0.16, 0.30), (0.06, 0.16)
"""...and the least and most of that, as logarithms. Nobody shortens a note for want of the next,
so a short one is held to the nearest value; a long one may be a hesitation, so that it has to lie
nearer: at most half-way between 3/2 and 2."""
_MOST_ROUNDS = 6
"""How often a take is weighed again: a window with more misread values is misread as a whole."""
_APART = 8
"""Onsets between two explanations that may be believed in one round: a shock is felt less
far."""


@dataclass(frozen=True, slots=True)
class NoteValue:
    """An interval that was played as another value."""

    moment: int
    """The moment that it leads to."""
    shift_s: float
    """How much later all that follows came, negative when sooner."""
    ratio: Fraction | None
    """Of the written value; None where it was near no simple one."""
    z: float
    expected_s: float
    """How long it would have been as written."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One onset out of place."""

    moment: int
    error_s: float
    z: float


@dataclass(frozen=True, slots=True)
class Explained:
    """What explains a take's lengths."""

    values: tuple[NoteValue, ...] = ()
    entries: tuple[Entry, ...] = ()

    @property
    def shifts_s(self) -> dict[int, float]:
        """By moment, how much later all from it on came."""
        return {value.moment: value.shift_s for value in self.values}

    @property
    def moments(self) -> set[int]:
        """The moments that values or entries lead to."""
        return {one.moment for one in self.values} | {one.moment for one in self.entries}


AS_WRITTEN = Explained()
"""Nothing to explain."""


def explain_lengths(
    row: Sequence[Moment], tolerance: Tolerance, habits: Habits | None = None
) -> Explained:
    """The values and entries that are not as written, in order of time."""
    if len(row) < _LEAST_ONSETS:
        return AS_WRITTEN
    xs = [moment.x for moment in row]
    times = [moment.at_s for moment in row]
    loose = [any(hand.loose for hand in moment.hands) for moment in row]
    free = [moment.broken or moment.gap for moment in row]
    values: dict[int, NoteValue] = {}
    entries: dict[int, Entry] = {}
    for _ in range(_MOST_ROUNDS):
        strokes = Strokes(xs, times, loose, free)
        best = _best(strokes, find_shocks(strokes), tolerance)
        best = [one for one in best if one.moment not in values and one.moment not in entries]
        if not best:
            break
        for one in best:
            if isinstance(one, Entry):
                entries[one.moment] = one
                times[one.moment] -= one.error_s
            else:
                values[one.moment] = one
                for i in range(one.moment, len(times)):
                    times[i] -= one.shift_s
    told = [values[i] for i in sorted(values)]
    if habits is not None:
        known = (_as_known(row, value, tolerance, habits) for value in told)
        told = [value for value in known if value is not None]
    return Explained(tuple(told), tuple(entries[i] for i in sorted(entries)))


def _as_known(
    row: Sequence[Moment], value: NoteValue, tolerance: Tolerance, habits: Habits
) -> NoteValue | None:
    """A value that is too long, by what earlier repetitions showed; None where it is meant.

    What recurs at a simple ratio is a misreading; what recurs at none is this player's way. A
    length that was right before is known, and is no misreading now.
    """
    if value.shift_s < 0:
        return value
    moment, late_ms, ioi_ms = row[value.moment], value.shift_s * 1000, value.expected_s * 1000
    places = [(moment.onset_quarters, hand.hand) for hand in moment.hands]
    ratio = 1 + late_ms / ioi_ms
    exact = value.ratio is not None and abs(log(ratio / value.ratio)) < _LONG_SLACK[0]
    if not exact and any(habits.is_expressive(*place, late_ms, ioi_ms) for place in places):
        return None
    if all(habits.goes_on(*place, tolerance.late_floor_ms) for place in places):
        return replace(value, ratio=None)
    return value


def _best(
    strokes: Strokes, shocks: Sequence[Shock], tolerance: Tolerance
) -> list[NoteValue | Entry]:
    """The best explanations that don't touch one another, none where nothing stands out."""
    found: list[NoteValue | Entry] = []
    for i, shock in enumerate(shocks):
        value = _value(strokes, i, shock, tolerance) if i else None
        entry = _entry(strokes, shocks, i, tolerance)
        found += [one for one in (value, entry) if one is not None]
    found.sort(key=lambda one: -abs(one.z))
    kept: list[NoteValue | Entry] = []
    for one in found:
        if all(abs(one.moment - other.moment) > _APART for other in kept):
            kept.append(one)
    return kept


def _value(strokes: Strokes, i: int, shock: Shock, tolerance: Tolerance) -> NoteValue | None:
    """The interval to onset i as another value; None where it may be as written."""
    limit = _SHORT_Z if shock.step_s < 0 else _LONG_Z
    if abs(shock.step_z) < limit or abs(shock.step_s) * 1000 < tolerance.late_floor_ms:
        return None
    seconds = strokes.times_s[i] - strokes.times_s[i - 1]
    expected = max(seconds - shock.step_s, 1e-3)
    ratio = seconds / expected
    if abs(ratio - 1) < _EXPRESSIVE_SHARE or (ratio > 1 and _is_ending(strokes, i, expected)):
        return None
    return NoteValue(i, shock.step_s, _simple(ratio, shock.step_z), shock.step_z, expected)


def _simple(ratio: float, z: float) -> Fraction | None:
    """The simple ratio that a length is near enough to be it, as far as the scatter shows."""
    if ratio <= 0:
        return None
    near = min(SIMPLE, key=lambda simple: abs(log(ratio / simple)))
    slack = _SLACK_Z * abs(ratio - 1) / (abs(z) * ratio)
    least, most = _SHORT_SLACK if ratio < 1 else _LONG_SLACK
    return near if abs(log(ratio / near)) < min(max(slack, least), most) else None


def _is_ending(strokes: Strokes, i: int, expected_s: float) -> bool:
    """Whether a long interval goes on slowing down at the end."""
    xs, times = strokes.xs, strokes.times_s
    if i < len(xs) - _ENDING_ONSETS:
        return False
    quarters, seconds = xs[i] - xs[i - 1], times[i] - times[i - 1]
    before = (times[i - 1] - times[i - 2]) / (xs[i - 1] - xs[i - 2]) if i > 1 else 0.0
    patient_s = max(expected_s, before * quarters)
    return seconds < patient_s + max(_ENDING_S, _ENDING_SHARE * patient_s)


def _entry(strokes: Strokes, shocks: Sequence[Shock], i: int, tolerance: Tolerance) -> Entry | None:
    """Onset i alone out of place; None where it may be in place, or all after it moved too."""
    shock = shocks[i]
    if not 0 < i < len(shocks) - 1 or strokes.free[i] or strokes.free[i + 1]:
        return None
    least_s = max(_LEANING_S, 2 * tolerance.late_floor_ms / 1000)
    if abs(shock.entry_z) < _ENTRY_Z or abs(shock.entry_s) < least_s or strokes.loose[i]:
        return None
    if abs(shock.entry_z) <= max(abs(shock.step_z), abs(shocks[i + 1].step_z)):
        return None
    room_s = strokes.times_s[i + 1] - strokes.times_s[i - 1]
    if abs(shock.entry_s) < _EXPRESSIVE_SHARE / 2 * room_s:
        return None
    return Entry(i, shock.entry_s, shock.entry_z)
