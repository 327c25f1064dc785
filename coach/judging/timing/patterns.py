"""Figures that were played in other proportions than written, all through a window.

A row of pairs that was swung, dotted figures that were played as triplets: each is displaced by
little, but all in the same way. They are one explanation of all their onsets, weighed by the noise
model (:mod:`coach.judging.timing.noise`) against scatter, and against single onsets out of place.

In so few notes that no pattern can be told, a dotted figure that was played even is looked for by
itself. Whether it is the player's rule is asked, not whether one figure came out so: the middle of
all such figures of the hand counts.

Conventions
-----------
A figure is three onsets in a row; its share is how much of the time from its first onset to its
third the first note has.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import log
from statistics import fmean, median

from coach.judging.timing.evenness import Point, Points, held_between
from coach.judging.timing.noise import Strokes, TimingEvidence
from coach.judging.timing.ritard import Ritards
from coach.judging.tolerance import Tolerance
from coach.judging.wording import (
    AS_TRIPLET,
    DOTTED_EVEN,
    DOUBLE_DOTTED,
    LONG_SHORT_DOTTED,
    LONG_SHORT_EVEN,
    SHORT_LONG,
    SWUNG,
    TRIPLET_LONG_FIRST,
    TRIPLET_SHORT_FIRST,
)
from coach.score.model import Hand

_PATTERN_EVIDENCE = 6.0
"""Evidence from which figures were played in other proportions: by ``scripts/bench_rhythm.py`` it
accuses fewer than one untouched window in a hundred."""
_SWING_EVIDENCE = 3.3
"""...and from which pairs were swung, which hardly ever seems so by chance: by seeds 71001 to 71006
of that bench (360 windows of each player) one in 1,080 that were left alone has so much."""
_TRIPLET_EVIDENCE = 3.3
"""...and that a dot was softened to a triplet: a twelfth of the figure is little to see, but hardly
any figure that was left alone comes so near to it (four of 1,500 windows, 231 with dots)."""
_REVERSED_EVIDENCE = 6.5
"""...and short and long, which fewer fall into: by the same windows none that was left alone has so
much, and at 4.5 two of a steady player's 360 have."""
_REVERSED_S = 0.04
"""...and by less than this it is how fingers run in quick notes, and not how a rhythm was read: a
recorded pianist's sixteenths of .09 s go short and long by .03 s. Own choice."""
_SINGLE_EVIDENCE = 0.2
"""...and so much more where there is only one of them: own choice."""
_CONSISTENT = 0.7
"""So many of them have to be nearer to what they were played as than to what is written: where half
of a row was swung it was uneven. Own choice."""
_ALIKE = 1e-6
"""Quarters that differ by less are the same: rounding of a float."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What figures of some written share were played as."""

    least: float
    most: float
    """Bounds of the share played."""
    words: str
    evidence: float = _PATTERN_EVIDENCE
    """From which it is believed."""
    least_s: float = 0.0
    """How far the notes have to be displaced on average."""


@dataclass(frozen=True, slots=True)
class Kind:
    """Figures that are written alike."""

    ratio: float
    """The first note's length against the second's, as written."""
    least_count: int
    """Fewer figures show no rule."""
    readings: tuple[Reading, ...]
    across: tuple[Reading, ...] = ()
    """The same of figures that begin half-way between those of the metre."""

    @property
    def share(self) -> float:
        """As written."""
        return self.ratio / (self.ratio + 1)


KINDS = (
    Kind(
        1.0,
        3,
        (
            Reading(0.62, 0.85, SWUNG, _SWING_EVIDENCE),
            Reading(0.15, 0.38, SHORT_LONG, _REVERSED_EVIDENCE, _REVERSED_S),
        ),
        (Reading(0.62, 0.85, SHORT_LONG, _REVERSED_EVIDENCE, _REVERSED_S),),
    ),
    Kind(
        3.0,
        1,
        (
            Reading(0.59, 0.705, AS_TRIPLET, _TRIPLET_EVIDENCE),
            Reading(0.40, 0.59, DOTTED_EVEN),
            Reading(0.83, 0.95, DOUBLE_DOTTED),
        ),
    ),
    Kind(
        2.0,
        2,
        (
            Reading(0.40, 0.57, LONG_SHORT_EVEN),
            Reading(0.73, 0.85, LONG_SHORT_DOTTED),
        ),
    ),
)
"""What figures are misread as. The bounds lie about half-way between what is written and the next
reading, and beyond what is expression: a lilt of 1.6 to 1 (.615), a dot softened to 2.4 to 1."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """Figures of a row that were played in other proportions."""

    words: str
    indices: tuple[int, ...]
    """The displaced onsets."""
    lateness_s: Mapping[int, float]
    """How late each of them was, negative when early."""
    evidence: float

    @property
    def late_s(self) -> float:
        """How late the first of them was."""
        return self.lateness_s[self.indices[0]]


def has_figures(strokes: Strokes, beat_x: float) -> bool:
    """Whether there is anything that can be played in other proportions."""
    return any(True for _ in _list_triplets(strokes, beat_x)) or any(
        len(figures) >= kind.least_count
        for kind in KINDS
        for figures, _ in _list_rows(strokes, kind)
    )


def find_pattern(strokes: Strokes, evidence: TimingEvidence, beat_x: float) -> Pattern | None:
    """The figures that explain a row best, None where none stand out."""
    found = [
        pattern
        for kind in KINDS
        for figures, readings in _list_rows(strokes, kind)
        if len(figures) >= kind.least_count
        and (pattern := _weigh(strokes, evidence, kind, figures, readings)) is not None
    ]
    found += _find_triplets(strokes, evidence, beat_x)
    return max(found, key=lambda pattern: pattern.evidence, default=None)


TRIPLETS = (
    (TRIPLET_SHORT_FIRST, (-1 / 12, -1 / 6)),
    (TRIPLET_LONG_FIRST, (1 / 6, 1 / 12)),
)
"""What triplets are misread as, and how late that makes their second and third notes, as a share of
the whole: two sixteenths and an eighth."""
_LEAST_TRIPLETS = 2
"""One alone shows no rule: own choice."""
_TRIPLET_SIZE = (0.6, 1.5)
"""How much of that displacement was played: from half-way, a little beyond."""


def _find_triplets(strokes: Strokes, evidence: TimingEvidence, beat_x: float) -> Iterator[Pattern]:
    """The triplets of a row that were all played in one of the wrong proportions."""
    times, figures = strokes.times_s, list(_list_triplets(strokes, beat_x))
    if len(figures) < _LEAST_TRIPLETS:
        return
    least, most = _TRIPLET_SIZE
    for words, shares in TRIPLETS:
        shape = [0.0] * len(times)
        for i in figures:
            whole_s = times[i + 3] - times[i]
            shape[i + 1], shape[i + 2] = (share * whole_s for share in shares)
        found = evidence.find_shape(shape)
        if found.evidence >= _PATTERN_EVIDENCE and least < found.size_s < most:
            if Ritards(strokes, evidence).explain(shape, found.evidence, _PATTERN_EVIDENCE):
                continue
            late_s = {i: found.size_s * late for i, late in enumerate(shape) if late}
            yield Pattern(words, tuple(late_s), late_s, found.evidence)


def _list_triplets(strokes: Strokes, beat_x: float) -> Iterator[int]:
    """Where three equal notes begin that fill two beats, one or half of one."""
    xs = strokes.xs
    for i in range(len(xs) - 3):
        whole_x = xs[i + 3] - xs[i]
        gaps = [b - a for a, b in pairwise(xs[i : i + 4])]
        inside = xs[i] % whole_x
        if max(gaps) - min(gaps) > _ALIKE or min(inside, whole_x - inside) > _ALIKE:
            continue
        if any(strokes.free[i + 1 : i + 4]):
            continue
        if any(abs(whole_x - k * beat_x) <= _ALIKE for k in (0.5, 1.0, 2.0)):
            yield i


def _weigh(
    strokes: Strokes,
    evidence: TimingEvidence,
    kind: Kind,
    figures: Sequence[int],
    readings: Sequence[Reading],
) -> Pattern | None:
    times, last = strokes.times_s, len(strokes.times_s) - 1
    shape = [0.0] * len(times)
    for i in figures:
        shape[i] = (
            times[i + 1] - times[i - 1] if i < last else (times[i] - times[i - 1]) / kind.share
        )
    found = evidence.find_shape(shape)
    if found.evidence < min(one.evidence for one in readings):
        return None
    share = kind.share + found.size_s
    reading = next((one for one in readings if one.least <= share < one.most), None)
    if reading is None:
        return None
    needed = reading.evidence + (_SINGLE_EVIDENCE if len(figures) == 1 else 0.0)
    if found.evidence < needed:
        return None
    whole = [i for i in figures if i < last]
    off = [(times[i] - times[i - 1]) / max(shape[i], 1e-3) - kind.share for i in whole]
    if sum(2 * one / found.size_s > 1 for one in off) < _CONSISTENT * len(whole):
        return None
    if Ritards(strokes, evidence).explain(shape, found.evidence, needed):
        return None
    late_s = {i: found.size_s * shape[i] for i in figures}
    if fmean(map(abs, late_s.values())) < reading.least_s:
        return None
    return Pattern(reading.words, tuple(figures), late_s, found.evidence)


def _list_rows(strokes: Strokes, kind: Kind) -> Iterator[tuple[list[int], tuple[Reading, ...]]]:
    """The middle onsets of all figures of a kind, and what they may be misread as: those of each
    size, in the metre or across it, each run of them, and all that lie in the metre."""
    xs, free = strokes.xs, strokes.free
    by_size: dict[int, list[int]] = {}
    across: dict[int, list[int]] = {}
    for i in range(1, len(xs) - 1):
        first_x, second_x = xs[i] - xs[i - 1], xs[i + 1] - xs[i]
        whole_x = first_x + second_x
        if abs(first_x - kind.ratio * second_x) > _ALIKE or free[i] or free[i + 1]:
            continue
        inside = xs[i - 1] % whole_x
        if kind.ratio != 1 or min(inside, whole_x - inside) <= _ALIKE:
            by_size.setdefault(round(whole_x / _ALIKE), []).append(i)
        elif kind.across and abs(inside - whole_x / 2) <= _ALIKE:
            across.setdefault(round(whole_x / _ALIKE), []).append(i)
    if len(xs) > 1 and not free[-1]:  # a figure that the window's end cuts off
        begun = by_size.get(round((xs[-1] - xs[-2]) / kind.share / _ALIKE))
        if begun and (kind.ratio != 1 or begun[-1] % 2 == (len(xs) - 1) % 2):
            begun.append(len(xs) - 1)
    for rows, readings in ((by_size, kind.readings), (across, kind.across)):
        for row in rows.values():
            yield row, readings
            runs = list(_split_runs(row))
            if len(runs) > 1:  # of single figures the one that is farthest off makes no rule
                yield from ((run, readings) for run in runs if len(run) > 1)
    if len(by_size) > 1:
        yield sorted(i for row in by_size.values() for i in row), kind.readings


def _split_runs(row: Sequence[int]) -> Iterator[list[int]]:
    """The figures that follow one on another."""
    run: list[int] = []
    for i in row:
        if run and i > run[-1] + 2:
            yield run
            run = []
        run.append(i)
    yield run


_PACE_EVIDENCE = 6.0
"""Evidence from which a stretch went at another speed; more by twice the logarithm of the number of
onsets, since it may begin and end at any."""
_PACES = (2.0, 0.5)
"""How long everything lasts in it, against what is around: at half or twice the speed."""
_PACE_SLACK = 0.25
"""How near to that, as a natural logarithm: nearer than to 4/3 or 3, and beyond expression."""
_LEAST_INTERVALS = 2
"""A stretch of fewer is a value that was misread, and as many have to be left around it."""
_TURNS, _TURNS_IN_LONG, _LONG = 8, 3, 300
"""So many places are tried as beginning and as end, and so many in a window of many onsets: those
where the tempo changes most."""
_RITARD_FIRST = 8.0
"""A stretch to the end has to be so much better an explanation than a ritard, which a slow player
seldom makes as smoothly as its form: own choice."""
_TURN_EVIDENCE = 2.0
"""Where nothing has so much the tempo changes nowhere."""


@dataclass(frozen=True, slots=True)
class PaceStretch:
    """A stretch that was played at half or twice the speed of the rest."""

    first: int
    """The onset that it begins at."""
    last: int
    """The onset that it ends at."""
    ratio: float
    """How long everything lasts in it: 2 or a half."""
    lateness_s: tuple[float, ...]
    """Of every onset."""
    evidence: float


def find_pace(
    strokes: Strokes, evidence: TimingEvidence, expected_qpm: float | None = None
) -> PaceStretch | None:
    """The stretch at another speed that explains a row best, None where none stands out.

    Of a row in two parts it is the one that is farther from the tempo to be expected.
    """
    xs, times = strokes.xs, strokes.times_s
    count = len(xs)
    turns = {i: evidence.find_turn(i).evidence for i in range(1, count - 1) if not strokes.free[i]}
    most = _TURNS if count <= _LONG else _TURNS_IN_LONG
    places = sorted(sorted(turns, key=lambda i: -turns[i])[:most])
    if not places or max(turns.values()) < _TURN_EVIDENCE:
        return None
    limit = _PACE_EVIDENCE + 2 * log(count)
    best: PaceStretch | None = None
    for first in (0, *places):
        for last in (*places, count - 1):
            if last - first < _LEAST_INTERVALS or count - 1 - (last - first) < _LEAST_INTERVALS:
                continue
            inside_x, inside_s = xs[last] - xs[first], times[last] - times[first]
            around_s = times[-1] - times[0] - inside_s
            around_x = xs[-1] - xs[0] - inside_x
            if inside_s <= 0 or around_s <= 0:
                continue
            played = (inside_s / inside_x) / (around_s / around_x)
            ratio = min(_PACES, key=lambda one: abs(log(played / one)))
            if abs(log(played / ratio)) > _PACE_SLACK:
                continue
            shape = [min(max(x, xs[first]), xs[last]) - xs[first] for x in xs]
            found = evidence.find_shape(shape)
            if found.evidence > max(limit, best.evidence if best else 0.0):
                late_s = tuple(found.size_s * late for late in shape)
                best = PaceStretch(first, last, ratio, late_s, found.evidence)
    if best and best.ratio > 1 and best.last == count - 1:
        ritard = Ritards(strokes, evidence).best
        if ritard and best.evidence < ritard.evidence + _RITARD_FIRST:
            return None
    return best and _hold_against(strokes, best, expected_qpm)


def _hold_against(strokes: Strokes, found: PaceStretch, expected_qpm: float | None) -> PaceStretch:
    """The same row, told of the part that is farther from the tempo to be expected.

    Where none is, of the shorter part; of two halves, of the later one.
    """
    xs, times, end = strokes.xs, strokes.times_s, len(strokes.xs) - 1
    first, last = (found.last, end) if found.first == 0 else (0, found.first)
    if found.first > 0 and found.last < end:
        return found
    (own_s, own_x), (other_s, other_x) = (
        ((times[b] - times[a]) / (xs[b] - xs[a]), xs[b] - xs[a])
        for a, b in ((found.first, found.last), (first, last))
    )
    if expected_qpm is None:
        is_farther = own_x < other_x or (own_x == other_x and found.first > 0)
    else:
        own_off, other_off = (abs(log(one * expected_qpm / 60)) for one in (own_s, other_s))
        is_farther = own_off >= other_off
    if is_farther:
        return found
    slower = found.lateness_s[-1] / own_x
    late_s = tuple(slower * (xs[first] - min(max(x, xs[first]), xs[last])) for x in xs)
    return PaceStretch(first, last, 1 / found.ratio, late_s, found.evidence)


# A dotted figure played even, in few notes.

_PLAYED_EVEN = ((3.0, 1.5, 1, DOTTED_EVEN), (2.0, 1.2, 2, LONG_SHORT_EVEN))
"""Long against short as written; the ratio below which it counts as played even; from how many;
and what is said then. Between even and dotted the middle by ratio is 1.7, and softened dots are
common practice, so 1.5; a lilting 2:1 is softened to 1.5 and less by good players, so 1.2, and not
once only."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure that was played in other proportions than written."""

    hand: Hand
    moment: int
    """Moment of the displaced note."""
    words: str
    error_s: float
    """How far it was displaced, negative when early."""


def find_figures(hands: Points, held: frozenset[int], tolerance: Tolerance) -> tuple[Figure, ...]:
    """Figures in wrong proportions, at most one of a kind for each hand: the worst."""
    found = []
    for hand in Hand:
        points = hands[hand]
        for written, even, least, words in _PLAYED_EVEN:
            cases = list(_long_short(points, held, written))
            worst = None
            if len(cases) >= least:
                worst = _played_even(cases, hand, even, words, tolerance)
            found += [worst] if worst else []
    return tuple(found)


def _played_even(
    cases: Sequence[tuple[float, float, int]],
    hand: Hand,
    even: float,
    words: str,
    tolerance: Tolerance,
) -> Figure | None:
    if median(ratio for ratio, _, _ in cases) >= even:
        return None
    ratio, error_s, moment = min(cases, key=lambda case: round(case[0], 3))
    if ratio >= even or -error_s * 1000 <= tolerance.late_floor_ms:
        return None
    return Figure(hand, moment, words, error_s)


def _long_short(
    points: Sequence[Point], held: frozenset[int], written: float
) -> Iterator[tuple[float, float, int]]:
    """Ratio, displacement in seconds and moment of each short note after a long one."""
    for before, short, after in zip(points, points[1:], points[2:], strict=False):
        long_x, short_x = short[2] - before[2], after[2] - short[2]
        if abs(long_x - written * short_x) > 1e-6 or held_between(before, after, held):
            continue
        long_s, short_s = short[1] - before[1], after[1] - short[1]
        if long_s > 0 and short_s > 0:
            due = before[1] + (long_s + short_s) * written / (written + 1)
            yield long_s / short_s, short[1] - due, short[0]
