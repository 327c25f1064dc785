"""The timing of one repetition, all that is found of it, as plain facts.

Conventions
-----------
Errors are seconds here (``_s``), positive when late: against the repetition's own tempo line, or
against the click where one is asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import accumulate

from coach.judging.model import Matching
from coach.judging.timing.click import ClickTiming, against_click
from coach.judging.timing.evenness import (
    Evenness,
    Uneven,
    find_uneven_rows,
    list_points,
    measure_evenness,
)
from coach.judging.timing.habits import Habits
from coach.judging.timing.hands import (
    Displaced,
    Drift,
    Parted,
    Split,
    find_displaced_hand,
    find_hands_drift,
    find_parted_hands,
    find_split_chords,
    put_back,
)
from coach.judging.timing.hesitation import Pause, at_known_pace, find_pauses
from coach.judging.timing.local_tempo import Interval, list_intervals, predict_line
from coach.judging.timing.noise import Strokes, TimingEvidence
from coach.judging.timing.note_values import AS_WRITTEN, Explained, explain_lengths
from coach.judging.timing.onsets import Moment, list_moments, settle_onsets
from coach.judging.timing.patterns import Figure, find_figures
from coach.judging.timing.tempo_drift import TempoDrift, find_tempo_drift
from coach.judging.tolerance import Tolerance
from coach.playing.notes import PlayedNote
from coach.score.model import Hand
from coach.score.window import Excerpt


@dataclass(frozen=True, slots=True)
class Click:
    """The click that ran: its tempo, and when the window's first grid beat was due."""

    qpm: float
    first_s: float


@dataclass(frozen=True)
class Timing:
    """What is known of a repetition's time."""

    row: tuple[Moment, ...]
    steps: tuple[Interval, ...]
    line_s: tuple[float, ...]
    """Where each moment would have fallen, at the repetition's own tempo."""
    qpm: float | None
    """The tempo found, in quarters a minute, pauses left out."""
    pauses: tuple[Pause, ...] = ()
    lengths: Explained = AS_WRITTEN
    """Note values and single entries that were not as written."""
    parted: tuple[Parted, ...] = ()
    splits: tuple[Split, ...] = ()
    drift: Drift | None = None
    displaced: Displaced | None = None
    """A hand that left the other by a step; ``row`` has it put back."""
    uneven: tuple[Uneven, ...] = ()
    evenness: tuple[Evenness, ...] = ()
    figures: tuple[Figure, ...] = ()
    tempo_drift: TempoDrift | None = None
    click: ClickTiming | None = None

    @cached_property
    def at(self) -> dict[int, int]:
        """The moment of each onset (by its number in the excerpt) that was struck."""
        return {moment.number: i for i, moment in enumerate(self.row)}

    @cached_property
    def times(self) -> dict[Hand | None, list[tuple[float, int]]]:
        """When each hand (None: any) struck its moments, sorted: seconds and moment."""
        out: dict[Hand | None, list[tuple[float, int]]] = {None: []}
        for hand in Hand:
            own = ((m.of(hand), i) for i, m in enumerate(self.row))
            out[hand] = sorted((onset.at_s, i) for onset, i in own if onset is not None)
        out[None] = sorted((moment.at_s, i) for i, moment in enumerate(self.row))
        return out

    def due_s(self, number: int) -> float | None:
        """When an onset was due by click or line; None where nothing was struck for it."""
        i = self.at.get(number)
        if i is None:
            return None
        return self.line_s[i] if self.click is None else self.click.due_s[i]


def measure(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    tolerance: Tolerance,
    habits: Habits | None = None,
    click: Click | None = None,
    asked_qpm: float | None = None,
) -> Timing:
    """Find the tempo line and what leaves it; with a click, also what left that."""
    beat_x = float(excerpt.beat_quarters)
    row = list_moments(excerpt, played, matching)
    displaced = find_displaced_hand(row, beat_x)
    row = settle_onsets(row if displaced is None else put_back(row, displaced))
    known_qpm = habits.pace_qpm(asked_qpm) if habits else None
    steps = at_known_pace(list_intervals(row), habits, asked_qpm)
    found = find_pauses(excerpt, row, steps, tolerance, habits)
    is_whole = bool(row) and row[-1].number == len(excerpt.onsets_quarters) - 1
    may_broaden = is_whole and excerpt.may_broaden
    lengths = explain_lengths(row, beat_x, tolerance, habits, asked_qpm or known_qpm, may_broaden)
    lengths = _not_waited(lengths, found)
    found = _not_misread(found, lengths)
    pauses_s = _sum_pauses(row, steps, found, lengths)
    line = predict_line(row, pauses_s)
    qpm = _tempo(row, pauses_s)
    beat_s = beat_x * 60 / (qpm or excerpt.qpm)
    held = frozenset(i for i, lift in enumerate(pauses_s) if lift)
    points = list_points(row)
    broken = frozenset(i for i, moment in enumerate(row) if moment.is_free)
    return Timing(
        row=row,
        steps=steps,
        line_s=line,
        qpm=qpm,
        pauses=found,
        lengths=lengths,
        parted=find_parted_hands(row, line, beat_s, tolerance, habits),
        splits=find_split_chords(row, beat_s, tolerance),
        displaced=displaced,
        drift=find_hands_drift(row, line, tolerance),
        uneven=_doubt_chance(find_uneven_rows(points, broken, tolerance), row),
        evenness=measure_evenness(points, held),
        figures=find_figures(points, held, tolerance) if len(row) < _LONG_ROW else (),
        tempo_drift=_doubt_drift(find_tempo_drift(row, pauses_s, tolerance), row, pauses_s),
        click=against_click(excerpt, row, pauses_s, click.qpm, click.first_s, tolerance)
        if click
        else None,
    )


_UNEVEN_EVIDENCE = 5.5
"""Below this a row may seem played long and short by turns by the player's own scatter, and is
forgiven: by ``scripts/bench_rhythm.py``."""
_LONG_ROW = 8
"""Fewer onsets show no scatter of their own to hold it against."""


def _doubt_chance(found: Sequence[Uneven], row: Sequence[Moment]) -> tuple[Uneven, ...]:
    """The uneven rows, those unsure that this player's own scatter makes, too."""
    return tuple(
        replace(one, sure=False)
        if one.sure and len(row) >= _LONG_ROW and _weigh_uneven(one, row) < _UNEVEN_EVIDENCE
        else one
        for one in found
    )


def _weigh_uneven(uneven_row: Uneven, row: Sequence[Moment]) -> float:
    """The evidence for every second onset of a hand being late."""
    own = [(i, onset) for i, moment in enumerate(row) if (onset := moment.of(uneven_row.hand))]
    strokes = Strokes(
        [row[i].x for i, _ in own],
        [onset.at_s for _, onset in own],
        [onset.loose for _, onset in own],
        [row[i].is_free for i, _ in own],
    )
    inside = [k for k, (i, _) in enumerate(own) if uneven_row.first <= i <= uneven_row.last]
    late = set(inside[::2])
    return TimingEvidence(strokes).find_shape([float(k in late) for k in range(len(own))]).evidence


_DRIFT_EVIDENCE = 3.0
"""Below this a tempo may seem to rise by the pulse's own walk, and it is forgiven: of practice
timing that was left alone most that seemed to rise have less, of planted ones fewer than half."""


def _doubt_drift(
    found: TempoDrift | None, row: Sequence[Moment], pauses_s: Sequence[float]
) -> TempoDrift | None:
    """The tempo's rise, unsure where this player's own scatter makes it, too."""
    if found is None or not found.sure or found.ratio < 1:
        return found
    free_s = [moment.at_s - total for moment, total in zip(row, accumulate(pauses_s), strict=True)]
    xs, none = [moment.x for moment in row], [False] * len(row)
    span = xs[-1] - xs[0]
    shape = [((x - xs[0]) / span) ** 2 for x in xs]
    evidence = TimingEvidence(Strokes(xs, free_s, none, none)).find_shape(shape).evidence
    return found if evidence >= _DRIFT_EVIDENCE else replace(found, sure=False)


def _not_waited(lengths: Explained, found: Sequence[Pause]) -> Explained:
    """What was found of lengths, less what waiting at barlines explains: it explains more."""
    waits = {pause.moment for pause in found if pause.at_barlines}
    values = tuple(value for value in lengths.values if value.moment not in waits)
    patterns = tuple(
        pattern
        for pattern in lengths.patterns
        if not all({one, one + 1} & waits for one in pattern.moments)
    )
    return replace(lengths, values=values, patterns=patterns)


def _not_misread(found: Sequence[Pause], lengths: Explained) -> tuple[Pause, ...]:
    """The pauses that no value found explains, nor an entry out of place.

    An onset that comes late by itself follows a long interval, an early one leads to one.
    """
    known = lengths.moments - {one.moment for one in lengths.entries}
    known |= {one.moment if one.error_s > 0 else one.moment + 1 for one in lengths.entries}
    return tuple(
        pause
        for pause in found
        if pause.moment not in known and (pause.at_barlines or lengths.may_wait(pause.moment))
    )


def _sum_pauses(
    row: Sequence[Moment],
    steps: Sequence[Interval],
    found: Sequence[Pause],
    lengths: Explained,
) -> tuple[float, ...]:
    """Seconds of each interval that were a pause, a break or another value."""
    held = {pause.moment: pause.excess_s for pause in found} | lengths.shifts_s
    if lengths.pace is not None:
        first, last = lengths.pace.first, lengths.pace.last
        slower = lengths.pace.late_s / (row[last].x - row[first].x)
        for i in range(first + 1, last + 1):
            held[i] = held.get(i, 0.0) + slower * (row[i].x - row[i - 1].x)
    return tuple(
        steps[i].excess_s if moment.is_free else held.get(i, 0.0) for i, moment in enumerate(row)
    )


_TEMPO_ONSETS = 4
"""Of fewer onsets one interval is too much of a tempo to leave it out. Own choice."""


def _tempo(row: Sequence[Moment], pauses_s: Sequence[float]) -> float | None:
    """Quarters a minute from the first moment to the last, pauses and breaks left out.

    The last interval, too, where it was stretched: whoever broadens the end, or comes late to it,
    has played no slower before. Else one hesitation after another would seem to ask for less.
    """
    ends = (len(row),) if len(row) < _TEMPO_ONSETS else (len(row), len(row) - 1)
    paces_s = [
        (row[end - 1].at_s - row[0].at_s - sum(pauses_s[:end])) / (row[end - 1].x - row[0].x)
        for end in ends
        if end > 1
    ]
    return max((60 / pace_s for pace_s in paces_s if pace_s > 0), default=None)
