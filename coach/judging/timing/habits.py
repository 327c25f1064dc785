"""What earlier repetitions showed at each onset: the player's own habits of time.

A lateness that comes back every time, by the same amount, is meant; one that comes now and then
is a hesitation. Both need a memory, which is this: plain data, handed in and handed on.

Conventions
-----------
Errors are milliseconds against the repetition's own tempo line, positive when late; one for each
hand and onset of a repetition, the oldest first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import sqrt
from statistics import median, stdev
from typing import Any

from coach.judging.completion import stopped_before
from coach.judging.model import (
    UNHEARD,
    Cause,
    Judgement,
    Label,
    LengthsHeard,
    ScatterHeard,
)
from coach.judging.timing.noise import KNOWN_ONSETS, SCATTER_MODELS
from coach.judging.tolerance import MAD_OF_SD
from coach.score.model import Hand

Place = tuple[Fraction, Hand]
"""An onset in quarters from the piece's start, and a hand."""

_KEPT = 20
"""Repetitions remembered: the ear's standard should follow the player as the piece grows."""
LEAST = 5
"""Repetitions from which an onset's history means something: a design choice, and only together
with a floor, since a MAD of five values is far off as often as not."""
_KEPT_OVER_NIGHT = 8
"""Of them, those that are kept for another day: enough to mean something, and a night changes
playing more than an hour does. Own choice."""
MS_DIGITS, SHARE_DIGITS = 1, 3
"""Decimals that are kept: finer than the clock of MIDI, and than any hold is judged."""
_PACES = 5
"""Repetitions whose tempo is remembered: it changes from minute to minute."""
_STOPS = 3
"""Repetitions whose stops are remembered: with the one that is judged, the last four."""
_LENGTHS = 2
"""Repetitions of which it is remembered what they say of each length: with the one that is judged,
the three that make a clean run."""
_ONSETS = 7
"""Onsets from which a repetition shows its own tempo and scatter, whatever happens at one; through
fewer a line fits so closely that they would seem steadier than they are."""
_RECURS = 2 / 3
"""A lateness recurs that came in so many of the repetitions: own choice, two of three."""
_SAME_SHARE = 0.05
"""It is the same where it scatters by less than this share of its interval: the clock of a
professional (Repp 1997)."""
_LEAST_MAD_MS = 4.0
"""A history of a few equal values would make anything unusual: half the JND at fast tempos and
the clock of MIDI itself keep the spread above this."""


def _pace_of(judgement: Judgement, asked_qpm: float | None) -> Pace | None:
    errors = [label.error_ms for label in judgement.score if label.error_ms is not None]
    if judgement.qpm is None or len(errors) < _ONSETS:
        return None
    return Pace(asked_qpm, judgement.qpm, median(map(abs, errors)) / MAD_OF_SD)


def modified_z(value: float, history: Sequence[float], least_mad: float = 0.0) -> float:
    """0.6745 (x - median) / MAD: how unusual a value is (Iglewicz & Hoaglin 1993).

    Infinite where the history has no spread and the value differs.
    """
    middle = median(history)
    mad = max(median(abs(x - middle) for x in history), least_mad)
    if mad == 0:
        return 0.0 if value == middle else float("inf") * (1 if value > middle else -1)
    return MAD_OF_SD * (value - middle) / mad


@dataclass(frozen=True)
class Pace:
    """How fast and how freely one repetition went."""

    asked_qpm: float | None
    qpm: float
    scatter_ms: float
    """Of an onset round the repetition's tempo line (SD, from the MAD)."""


@dataclass(frozen=True)
class Habits:
    """Errors of earlier repetitions at each onset of each hand, and how fast the last ones went."""

    errors_ms: Mapping[Place, tuple[float, ...]] = field(default_factory=dict)
    paces: tuple[Pace, ...] = ()
    """Of the last repetitions that were long enough to show one."""
    stops: tuple[Fraction | None, ...] = ()
    """The onset that each of the last repetitions broke off before; None where it did not."""

    lengths: tuple[LengthsHeard, ...] = ()
    """What each of the last repetitions says of its lengths, the latest last."""

    scatter: ScatterHeard = UNHEARD
    """How the player scatters, by all of them, the latest most."""

    holds: Mapping[Place, tuple[float, ...]] = field(default_factory=dict)
    """For how much of their length the keys were held at each onset of each hand (logarithms)."""

    def to_plain(self) -> dict[str, Any]:
        """What is the player's own way, JSON-ready, for another day (:meth:`from_plain`).

        Where it stopped, and what may have been misread, is of the sitting, and is left out.
        """
        return {
            "errors_ms": _places_to_plain(self.errors_ms, MS_DIGITS),
            "holds": _places_to_plain(self.holds, SHARE_DIGITS),
            "paces": [[one.asked_qpm, one.qpm, one.scatter_ms] for one in self.paces],
            "scatter": _scatter_to_plain(self.scatter),
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> Habits:
        """Habits from the data of :meth:`to_plain`.

        Raises KeyError, TypeError or ValueError where it is none.
        """
        paces = [
            Pace(None if asked is None else float(asked), float(qpm), float(scatter_ms))
            for asked, qpm, scatter_ms in plain["paces"]
        ]
        errors_ms, holds = map(_places_from_plain, (plain["errors_ms"], plain["holds"]))
        scatter = _scatter_from_plain(plain.get("scatter", ()))
        return cls(errors_ms, tuple(paces[-_PACES:]), scatter=scatter, holds=holds)

    def with_(self, judgement: Judgement, asked_qpm: float | None = None) -> Habits:
        """These habits and one repetition more; only right keys that were reached count.

        ``asked_qpm`` is the tempo that was asked for in it.
        """
        stop = stopped_before(judgement.excerpt, judgement.score)
        stops = (*self.stops, stop)[-_STOPS:]
        lengths = (*self.lengths, judgement.lengths)[-_LENGTHS:]
        holds = dict(self.holds)
        for one in judgement.held:
            at = one.onset_quarters, one.hand
            holds[at] = (*holds.get(at, ()), one.log_share)[-_KEPT:]
        if len(judgement.excerpt.onsets_quarters) < _ONSETS:
            return replace(self, stops=stops, lengths=lengths, holds=holds)
        notes, numbers = judgement.excerpt.notes, judgement.excerpt.onset_numbers
        onsets = judgement.excerpt.onsets_quarters
        found: dict[tuple[int, Hand], list[float]] = {}
        misread = {
            fault.onset_quarters for fault in judgement.faults if fault.cause is Cause.MISREAD_VALUE
        }
        for label in judgement.score:
            if label.label is Label.MATCHED and label.error_ms is not None:
                note = notes[label.note]
                if misread and note.onset_quarters in misread:
                    continue  # what repeats at a simple ratio is no habit to be excused
                found.setdefault((numbers[label.note], note.hand), []).append(label.error_ms)
        errors = dict(self.errors_ms)
        for (number, hand), values in found.items():
            place = onsets[number], hand
            errors[place] = (*errors.get(place, ()), median(values))[-_KEPT:]
        pace = _pace_of(judgement, asked_qpm)
        paces = self.paces if pace is None else (*self.paces, pace)[-_PACES:]
        scatter = self.scatter.with_(judgement.lengths.scatter, KNOWN_ONSETS)
        return Habits(errors, paces, stops, lengths, scatter, holds)

    def pace_qpm(self, asked_qpm: float | None) -> float | None:
        """The tempo to expect when this one is asked for (None: the player's own); None unknown.

        Players keep a little above or below what they are asked for, each their own way.
        """
        return median(self._list_paces_qpm(asked_qpm) or [0.0]) or None

    def slowest_qpm(self, asked_qpm: float | None) -> float | None:
        """The slowest tempo to expect: how much it changes is the player's own way, too."""
        return min(self._list_paces_qpm(asked_qpm), default=None)

    def _list_paces_qpm(self, asked_qpm: float | None) -> list[float]:
        """How fast each of the last repetitions would have gone with this tempo asked for."""
        return [
            pace.qpm * (asked_qpm or 1.0) / (pace.asked_qpm or 1.0)
            for pace in self.paces
            if (pace.asked_qpm is None) is (asked_qpm is None)
        ]

    def interval_scatter(self, ioi_ms: float) -> float | None:
        """The spread (SD) of such an interval, as a share of it; None where nothing is known.

        Two onsets bound an interval, so it scatters by the square root of two more.
        """
        if not self.paces:
            return None
        return sqrt(2) * median(pace.scatter_ms for pace in self.paces) / ioi_ms

    def history(self, onset: Fraction, hand: Hand) -> tuple[float, ...] | None:
        """The errors at an onset; None where there are too few to mean anything."""
        found = self.errors_ms.get((onset, hand), ())
        return found if len(found) >= LEAST else None

    def is_expressive(self, onset: Fraction, hand: Hand, error_ms: float, ioi_ms: float) -> bool:
        """Whether this lateness is this player's way: it recurs, by nearly the same amount.

        In at least two thirds of the repetitions, within 5 % of the interval (a design
        choice; van Vugt, Jabusch & Altenmueller 2012: systematic against non-systematic).
        """
        history = self.history(onset, hand)
        if history is None:
            return False
        near = [x for x in history if abs(x - error_ms) <= 2 * _SAME_SHARE * ioi_ms]
        if len(near) < _RECURS * len(history):
            return False
        return stdev(near) < _SAME_SHARE * ioi_ms if len(near) > 1 else False

    def goes_on(self, onset: Fraction, hand: Hand, late_ms: float) -> bool:
        """Whether this player was heard to go on here without lengthening, twice and in a third.

        A breath at the end of a phrase that comes only now and then is a hesitation.
        """
        history = self.errors_ms.get((onset, hand), ())
        in_time = sum(abs(error) <= late_ms for error in history)
        return in_time >= 2 and 3 * in_time >= len(history)

    def is_unusual(self, onset: Fraction, hand: Hand, error_ms: float, z_limit: float) -> bool:
        """Whether an error stands out from this onset's own history and the player's scatter."""
        history = self.history(onset, hand)
        if history is None:
            return False
        return modified_z(error_ms, history, max(self._pooled_mad, _LEAST_MAD_MS)) > z_limit

    @property
    def _pooled_mad(self) -> float:
        """The middle of all onsets' MADs: one short history alone says too little."""
        spreads = [
            median(abs(x - median(values)) for x in values)
            for values in self.errors_ms.values()
            if len(values) >= LEAST
        ]
        return median(spreads) if spreads else 0.0

    @property
    def scatter_ms(self) -> float:
        """The player's usual scatter (SD), from the pooled MAD; 0 where nothing is known."""
        return self._pooled_mad / MAD_OF_SD


def _scatter_to_plain(scatter: ScatterHeard) -> list[list[float]]:
    """For each manner, how well it foretells and the squares; then how many lengths."""
    heard = zip(scatter.priors, scatter.squares, strict=True)
    rows = [[round(prior, SHARE_DIGITS), round(squares, SHARE_DIGITS)] for prior, squares in heard]
    return [*rows, [round(scatter.count, SHARE_DIGITS)]] if rows else []


def _scatter_from_plain(rows: Sequence[Sequence[Any]]) -> ScatterHeard:
    """Of another number of manners, which another version had, nothing can be told."""
    if len(rows) != len(SCATTER_MODELS) + 1:
        return UNHEARD
    *heard, (count,) = rows
    priors, squares = zip(*((float(a), float(b)) for a, b in heard), strict=True)
    return ScatterHeard(priors, squares, float(count))


def _places_to_plain(places: Mapping[Place, Sequence[float]], digits: int) -> list[list[Any]]:
    return [
        [str(onset), hand.value, [round(one, digits) for one in values[-_KEPT_OVER_NIGHT:]]]
        for (onset, hand), values in places.items()
    ]


def _places_from_plain(rows: Sequence[Sequence[Any]]) -> dict[Place, tuple[float, ...]]:
    return {
        (Fraction(onset), Hand(hand)): tuple(map(float, values))[-_KEPT_OVER_NIGHT:]
        for onset, hand, values in rows
    }
