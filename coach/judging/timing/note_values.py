"""Note values: a length from onset to onset that is not the written one, and entries out of place.

Explanations compete for the same onsets by one noise model (:mod:`coach.judging.timing.noise`): the
one that makes the take the likeliest is believed; it is taken out of the take, and what is left is
weighed again (matching pursuit). They are

- a *value*: one interval too short or too long, and all after it shifted. Near a simple ratio of
  the written length it was misread; too short and near none it was cut short, too long and near
  none it is a hesitation;
- an *entry*: one onset early or late, which the next interval makes up;
- a *pattern*: figures that were played in other proportions all through, as a swing;
- a *pace*: a stretch at half or twice the speed;
- a *ritard* to the end (:mod:`coach.judging.timing.ritard`), which is no fault: all that stands out
  has to explain what a ritard does not: beside slow notes those before them seem too short.

Expression stays free: a stretch by a third or less, what is held under a fermata, one note that
leans by less than a tenth of a second or a quarter of the way, and the last notes where something
ends with them (:func:`coach.score.window.may_broaden_to`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from math import copysign, inf, log, sqrt
from typing import NamedTuple

from coach.judging.model import UNHEARD, LengthHeard, LengthsHeard, ScatterHeard
from coach.judging.timing.habits import Habits
from coach.judging.timing.noise import Strokes, TimingEvidence, find_share_again, weigh_again
from coach.judging.timing.onsets import Moment
from coach.judging.timing.patterns import Pattern, find_pace, find_pattern, has_figures
from coach.judging.timing.ritard import Ritards
from coach.judging.tolerance import Tolerance
from coach.score.model import Hand

SIMPLE = tuple(Fraction(*pair) for pair in (
    (1, 4), (1, 3), (1, 2), (2, 3), (3, 2), (2, 1), (3, 1), (4, 1),
))  # fmt: skip
"""What a written value is misread as, beyond expression: the next values, with or without a dot,
and triplets."""
_LEAST_ONSETS = 4
"""Of fewer than three intervals none can be told from the pulse: it needs two that agree."""
_TELLING_ONSETS = 5
"""With fewer, none of them misread, scatter denies no wait: each interval is a third of it."""
_SHORT_EVIDENCE, _SHORTER_EVIDENCE, _NEAR_EVIDENCE, _LONG_EVIDENCE = 1.1, 1.5, 3.5, 1.9
"""Evidence from which an interval had half its value or less; two thirds of it; one and a half of
it; twice or more. Expression stretches, and seldom shortens by much, so that it comes near to one
and a half. By ``scripts.bench_rhythm --seed 71021 --windows 60`` something about time is told in
.02, .05 and .05 of the untouched windows of a professional, of practice and of a steady player."""
_OTHER_EVIDENCE, _ENTRY_EVIDENCE = 3.8, 5.0
"""...from which it had another length, or an onset was out of place: more, since their size is
chosen to fit."""
_CHANCE = 0.62
"""More by this times the logarithm of how many onsets there are, of which any may seem so by
chance; not the whole of it, since more of them show the player's scatter better. By the same
bench."""
_REPEATED, _NEAR_REPEATED = -1.0, 4.5
"""So much more evidence is asked of what came several times than of what came once, less than none
for it came before, too; and so much of two thirds and one and a half of a length, which a player
shapes alike each time. By repetitions of 120 windows, untouched and with a half value: two more
of 1,080 untouched takes are accused than by .2 and 1 without the next figure, and 52 misreadings of
360 are passed over instead of 67."""
_BEFORE = 1.0
"""The evidence that the repetitions before this one have to have: what only the last one shows has
come once. By the same repetitions."""
_REPEATED_FLOOR, _NEAR_FLOOR = 0.9, 2.0
"""Against the least lateness of any: what came several times may be a little smaller. But a player
also shapes a phrase, and lengths of two thirds or one and a half of short notes come of that: by
made repetitions they are then below a tenth of a second, so that none by less is told."""
_MENDED, _UNMENDED = 0.85, -2.2
"""The evidence that the last repetition by itself has to have for what those before it tell: what
was told is mended by the next one in some seven of ten, what was not in one of ten. Logarithms of
these odds; own choice."""
_OPEN_TO_SIZE = 0.2
"""Evidence below which a length is taken as it should have been: own choice, to save time."""
_LEAST_S = 1e-3
"""No length is expected to be shorter, however the rest went."""
_OPEN_EVIDENCE = 4.0
"""Below this nobody needs to have waited: the onsets scatter by as much. Own choice."""
_EXPRESSIVE_SHARE = 0.34
"""A stretch by less is expression, and what is shortened by as much by ratio: agogic accents of 10
to 25 % are usual (Repp 1992, from memory). A little over a third, so that 4/3 and 3/4 are."""


class Broadening(NamedTuple):
    """How far one may slow down to a window's last onset."""

    share: float
    """The last notes may be longer by so much of what the slowing before them leads to..."""
    least_s: float
    """...and by so much in any case."""
    over_ritard: float
    """How much likelier a fault has to be than a ritard, at the most: a logarithm."""


_GOING_ON = Broadening(0.0, 0.0, 0.0)
_ENDING = Broadening(0.6, 0.25, inf)
"""Where something ends the last notes may be held as long as one waits of whom nothing is known
(.25 s), and a ritard is usual: a fault has to be as plain beside it as beside scatter alone. Where
the music goes on a lone late arrival is a hesitation, and who slows to it shows that before: the
likelier of both is believed. By ``scripts.bench_rhythm --seed 71021 --windows 60`` an arrival 60
to 100 % late is then told in .62, .45 and .57 of the three players' windows, one stretched by 10 to
25 % in .02, .08 and .05, a ritard that nobody wrote in .07, .10 and .13."""
_ENDING_ONSETS = 3
"""Onsets at the end where slowing is expected."""
_SLOWS_ON = 3
"""A slowing that goes on grows by no more than so many times itself from one interval to the next,
as logarithms: the published form of a ritard by up to 2.7 times over three intervals or more. So
an interval that is longer by chance excuses no other."""
_SLOWED = 1.2
"""An interval by so much longer after a long one shows that the tempo has slowed: own choice, the
least that a ritard is heard by."""
_LEANING_S = 0.1
"""An entry by less is told by no detector of this module."""
_LEANING_SHARE, _LEANING_EVIDENCE = 0.25, 6.0
"""Nor by less than this share of the intervals around it, the largest that is usual of an accent
(Repp 1992, from memory). Up to a third the evidence has to be so much: then no more windows are
accused (``scripts.bench_rhythm``, seeds 71001 to 71006). Own choice."""
_SLACK_Z = 1.5
"""A ratio may be a simple one that lies within so many standard deviations of it."""
_SHORT_SLACK, _LONG_SLACK = (0.16, 0.30), (0.09, 0.16)
"""...and the least and most of that, as logarithms. Nobody shortens a note for want of the next,
so a short one is held to the nearest value; a long one may be a hesitation, so that it has to lie
nearer: at most half-way between 3/2 and 2."""
_MANY_TIMES, _MANY_SLACK = 3, 0.06
"""So many times its length a note is seldom counted, and often stopped at: then the ratio has to be
so near, a logarithm. Own choice."""
_MOST_ROUNDS = 6
"""How often a take is weighed again: a window with more misread values is misread as a whole."""
_LONG_TAKE, _ROUNDS_OF_LONG = 500, 3
"""A take of more onsets is weighed again less often: what lies far apart is believed in one
round, and each takes time."""
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
class PatternPlayed:
    """Figures in other proportions, by moments."""

    words: str
    hand: Hand | None
    """None where it is both hands' or the only one's."""
    moments: tuple[int, ...]
    """Those displaced."""
    late_s: float
    """The first of them."""
    evidence: float


@dataclass(frozen=True, slots=True)
class PacePlayed:
    """A stretch at half or twice the speed, from one moment to another."""

    first: int
    last: int
    ratio: float
    """How long everything lasts in it."""
    late_s: float
    """How much later all after it came."""
    evidence: float


@dataclass(frozen=True, slots=True)
class Explained:
    """What explains a take's lengths."""

    values: tuple[NoteValue, ...] = ()
    entries: tuple[Entry, ...] = ()
    patterns: tuple[PatternPlayed, ...] = ()
    pace: PacePlayed | None = None
    heard: LengthsHeard = field(default_factory=LengthsHeard)
    """What the take says of each length, told or not."""
    still: TimingEvidence | None = field(default=None, compare=False, repr=False)
    """What is left to be explained; None where there are too few onsets to tell."""

    def may_wait(self, moment: int) -> bool:
        """Whether what is left leaves it open that the player waited before a moment."""
        return self.still is None or self.still.find_step(moment).evidence > _OPEN_EVIDENCE

    @property
    def shifts_s(self) -> dict[int, float]:
        """By moment, how much later all from it on came."""
        return {value.moment: value.shift_s for value in self.values}

    @property
    def moments(self) -> set[int]:
        """The moments whose time something of this explains."""
        found = {one.moment for one in self.values} | {one.moment for one in self.entries}
        for pattern in self.patterns:
            found |= {near for one in pattern.moments for near in (one, one + 1)}
        if self.pace is not None:
            found |= set(range(self.pace.first + 1, self.pace.last + 1))
        return found


AS_WRITTEN = Explained()
"""Nothing to explain."""


def explain_lengths(
    row: Sequence[Moment],
    beat_x: float,
    tolerance: Tolerance,
    habits: Habits | None = None,
    expected_qpm: float | None = None,
    may_broaden: bool = False,
) -> Explained:
    """What is not as written in the time between onsets.

    ``beat_x`` is the beat in quarters; ``expected_qpm`` the tempo asked for, or the player's own;
    ``may_broaden`` whether something ends with the row.
    """
    if len(row) < _LEAST_ONSETS:
        return AS_WRITTEN
    strokes = Strokes(
        [moment.x for moment in row],
        [moment.at_s for moment in row],
        [any(hand.loose for hand in moment.hands) for moment in row],
        [moment.is_free for moment in row],
    )
    scatter = habits.scatter if habits else UNHEARD
    broadening = _ENDING if may_broaden else _GOING_ON
    pursuit = _Pursuit(strokes, beat_x, tolerance, expected_qpm, scatter, broadening)
    pursuit.run()
    heard = _hear_lengths(row, pursuit)
    if habits is not None:
        _believe_repeated(row, heard, habits, strokes, pursuit, tolerance)
    told = [pursuit.values[i] for i in sorted(pursuit.values)]
    if habits is not None:
        known = (_as_known(row, value, tolerance, habits) for value in told)
        told = [value for value in known if value is not None]
    patterns = [PatternPlayed(p.words, None, p.indices, p.late_s, p.evidence)
                for p in pursuit.patterns]  # fmt: skip
    if not patterns:
        patterns = [*_list_hand_patterns(row, strokes, pursuit.times, beat_x)]
    entries = tuple(pursuit.entries[i] for i in sorted(pursuit.entries))
    misread = {(row[one.moment - 1].onset_quarters, row[one.moment].onset_quarters) for one in told}
    heard = replace(
        heard, lengths={at: one._replace(told=at in misread) for at, one in heard.lengths.items()}
    )
    still = pursuit.still if told or len(row) >= _TELLING_ONSETS else None
    return Explained(tuple(told), entries, tuple(patterns), pursuit.pace, heard, still)


def _hear_lengths(row: Sequence[Moment], pursuit: _Pursuit) -> LengthsHeard:
    """What the take says of each length, those that were believed misread put back as they were."""
    still, lengths = pursuit.still, {}
    if still is None:
        return LengthsHeard()
    for i in range(1, len(row)):
        if row[i].is_free or {i - 1, i} & pursuit.entries.keys():
            continue
        shift_s = pursuit.values[i].shift_s if i in pursuit.values else 0.0
        pairs = still.hear_step(i)
        expected_s = pursuit.times[i] - pursuit.times[i - 1]
        if not shift_s:
            expected_s -= still.find_step(i, _OPEN_TO_SIZE).size_s
        lengths[row[i - 1].onset_quarters, row[i].onset_quarters] = LengthHeard(
            max(expected_s, _LEAST_S),
            tuple(pull + weight * shift_s for pull, weight in pairs),
            tuple(weight for _, weight in pairs),
        )
    return LengthsHeard(still.hear_take(), lengths)


def _believe_repeated(
    row: Sequence[Moment],
    heard: LengthsHeard,
    habits: Habits,
    strokes: Strokes,
    pursuit: _Pursuit,
    tolerance: Tolerance,
) -> None:
    """What came at the same simple ratio in the repetitions just before is a misreading.

    Strokes scatter anew each time, so that the evidence adds up.
    """
    now = strokes._replace(times_s=pursuit.times)
    for i, at in enumerate(pairwise(moment.onset_quarters for moment in row), start=1):
        if i in pursuit.values or at not in heard.lengths:
            continue
        takes = [take for take in habits.lengths if at in take.lengths]
        found = max(_list_repeated(heard, takes, at, len(row)), default=None)
        if found is None:
            continue
        _, evidence, ratio = found
        shift_s = (float(ratio) - 1) * heard.lengths[at].expected_s
        expected_s = pursuit.times[i] - pursuit.times[i - 1] - shift_s
        floor = _NEAR_FLOOR if _is_near(ratio) else _REPEATED_FLOOR
        if abs(shift_s) * 1000 < floor * tolerance.late_floor_ms:
            continue
        if shift_s > 0 and _may_broaden(now, i, expected_s, pursuit.broadening):
            continue
        z = copysign(sqrt(2 * evidence), shift_s)
        pursuit.values[i] = NoteValue(i, shift_s, ratio, z, expected_s)


def _list_repeated(
    heard: LengthsHeard, earlier: Sequence[LengthsHeard], at: tuple[Fraction, Fraction], count: int
) -> Iterator[tuple[float, float, Fraction]]:
    """The ratios at which a length came again: the evidence of all the takes together, first by how
    much it is more than enough."""
    takes = [*earlier, heard]
    share = find_share_again(takes, at) if earlier else 0.0
    if abs(share) < _EXPRESSIVE_SHARE / 2:
        return
    told = earlier[-1].lengths[at].told
    for ratio in SIMPLE:
        if (ratio < 1) is not (share < 0):
            continue
        least = _NEAR_REPEATED if _is_near(ratio) else _least_evidence(ratio) + _REPEATED
        evidence = weigh_again(takes, at, ratio)
        more = evidence - least - _CHANCE * log(count)
        if more < 0:
            continue
        if weigh_again(earlier, at, ratio) < _BEFORE:
            continue
        if weigh_again([heard], at, ratio) > (_MENDED if told else _UNMENDED):
            yield more, evidence, ratio


def _is_near(ratio: Fraction) -> bool:
    """Whether expression comes near to a ratio."""
    return Fraction(1, 2) < ratio < 2


def _list_hand_patterns(
    row: Sequence[Moment], strokes: Strokes, left_s: Sequence[float], beat_x: float
) -> Iterator[PatternPlayed]:
    """The patterns of one hand alone, once what was explained for both is taken out."""
    if not any(len(moment.hands) == 2 for moment in row):
        return
    for hand in Hand:
        own = [(i, onset) for i, moment in enumerate(row) if (onset := moment.of(hand))]
        if len(own) < _LEAST_ONSETS:
            continue
        taken_out = [strokes.times_s[i] - left_s[i] for i, _ in own]
        mine = Strokes(
            [row[i].x for i, _ in own],
            [onset.at_s - gone for (_, onset), gone in zip(own, taken_out, strict=True)],
            [onset.loose for _, onset in own],
            [False, *(any(strokes.free[i + 1 : j + 1]) for (i, _), (j, _) in pairwise(own))],
        )
        if not has_figures(mine, beat_x):
            continue
        found = find_pattern(mine, TimingEvidence(mine), beat_x)
        if found is not None:
            moments = tuple(own[i][0] for i in found.indices)
            yield PatternPlayed(found.words, hand, moments, found.late_s, found.evidence)


class _Pursuit:
    """Believes what explains most, takes it out of the times, and weighs the rest again."""

    def __init__(
        self,
        strokes: Strokes,
        beat_x: float,
        tolerance: Tolerance,
        expected_qpm: float | None,
        scatter: ScatterHeard,
        broadening: Broadening,
    ) -> None:
        self._strokes, self._beat_x, self._tolerance = strokes, beat_x, tolerance
        self._expected_qpm, self._scatter = expected_qpm, scatter
        self.broadening = broadening
        self.times = list(strokes.times_s)
        self.values: dict[int, NoteValue] = {}
        self.entries: dict[int, Entry] = {}
        self.patterns: list[Pattern] = []
        self.pace: PacePlayed | None = None
        self.still: TimingEvidence | None = None
        """The evidence of what is left."""
        self._slowed = False

    def run(self) -> None:
        """Until nothing stands out."""
        long = len(self.times) > _LONG_TAKE
        for _ in range(_ROUNDS_OF_LONG if long else _MOST_ROUNDS):
            now = self._strokes._replace(times_s=self.times)
            self.still = TimingEvidence(now, self._scatter)
            if not self._believe_best(now, self.still):
                return

    def _believe_best(self, now: Strokes, evidence: TimingEvidence) -> bool:
        """Whether there was anything to believe."""
        best = [
            one
            for one in _list_best(now, evidence, self._tolerance, self.broadening)
            if one.moment not in self.values and one.moment not in self.entries
        ]
        most = max((one.z**2 / 2 for one in best), default=0.0)
        if self._believe_stretch(now, evidence, most):
            return True
        if self._believe_ritard(now, evidence, best, most):
            return True
        for one in best:
            if isinstance(one, Entry):
                self.entries[one.moment] = one
                self.times[one.moment] -= one.error_s
            else:
                self.values[one.moment] = one
                for i in range(one.moment, len(self.times)):
                    self.times[i] -= one.shift_s
        return bool(best)

    def _believe_ritard(
        self,
        now: Strokes,
        evidence: TimingEvidence,
        best: Sequence[NoteValue | Entry],
        most: float,
    ) -> bool:
        """Whether a ritard explains more than all that stands out, or some of it."""
        if self._slowed:
            return False
        count = len(self.times)
        claims = [_Claim.of(one, count) for one in best]
        if not best:
            claims = list(_list_waits(evidence, count))
        ritards, over = Ritards(now, evidence), self.broadening.over_ritard
        if not claims or ritards.best is None:
            return False
        if ritards.best.evidence <= most and not any(
            ritards.explain(one.shape, one.evidence, min(one.least, over), is_step=one.is_step)
            for one in claims
        ):
            return False
        self._slowed = True
        self._take_out(ritards.best.lateness_s)
        return True

    def _believe_stretch(self, now: Strokes, evidence: TimingEvidence, most: float) -> bool:
        """Whether a pattern or a pace explains more than any single onset does."""
        pattern = None if self.patterns else find_pattern(now, evidence, self._beat_x)
        pace = None if self.pace else find_pace(now, evidence, self._expected_qpm)
        if pace and pace.evidence > max(most, pattern.evidence if pattern else 0.0):
            late_s = pace.lateness_s[-1]
            self.pace = PacePlayed(pace.first, pace.last, pace.ratio, late_s, pace.evidence)
            self._take_out(pace.lateness_s)
            return True
        if pattern and pattern.evidence > most:
            self.patterns.append(pattern)
            self._take_out([pattern.lateness_s.get(i, 0.0) for i in range(len(self.times))])
            return True
        return False

    def _take_out(self, lateness_s: Sequence[float]) -> None:
        self.times = [at_s - late for at_s, late in zip(self.times, lateness_s, strict=True)]


class _Claim(NamedTuple):
    """What is weighed beside a ritard."""

    shape: list[float]
    evidence: float
    least: float
    """The evidence that it has to have."""
    is_step: bool

    @classmethod
    def of(cls, one: NoteValue | Entry, count: int) -> _Claim:
        """A value or an entry."""
        is_step = isinstance(one, NoteValue)
        shape = [float(i >= one.moment if is_step else i == one.moment) for i in range(count)]
        return cls(shape, one.z**2 / 2, _least_of(one, count), is_step)


def _list_waits(evidence: TimingEvidence, count: int) -> Iterator[_Claim]:
    """The long intervals near the end before which the player may have waited."""
    for i in range(count // 2, count):
        step = evidence.find_step(i, _OPEN_EVIDENCE)
        if step.evidence > _OPEN_EVIDENCE and step.size_s > 0:
            shape = [float(k >= i) for k in range(count)]
            yield _Claim(shape, step.evidence, _OPEN_EVIDENCE, is_step=True)


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


def _list_best(
    strokes: Strokes, evidence: TimingEvidence, tolerance: Tolerance, broadening: Broadening
) -> list[NoteValue | Entry]:
    """The best explanations that don't touch one another, none where nothing stands out."""
    found: list[NoteValue | Entry] = []
    chance = _CHANCE * log(len(strokes.xs))
    for i in range(1, len(strokes.xs)):
        value = _value(strokes, evidence, i, chance, tolerance, broadening)
        entry = _entry(strokes, evidence, i, chance, tolerance)
        if value is not None and (entry is None or abs(value.z) >= abs(entry.z)):
            found.append(value)
        elif entry is not None:
            found.append(entry)
    found.sort(key=lambda one: -abs(one.z))
    kept: list[NoteValue | Entry] = []
    for one in found:
        if all(abs(one.moment - other.moment) > _APART for other in kept):
            kept.append(one)
    return kept


def _value(
    strokes: Strokes,
    evidence: TimingEvidence,
    i: int,
    chance: float,
    tolerance: Tolerance,
    broadening: Broadening,
) -> NoteValue | None:
    """The interval to onset i as another value; None where it may be as written."""
    found = evidence.find_step(i, _SHORT_EVIDENCE + chance)
    if not found.evidence:
        return None
    seconds = strokes.times_s[i] - strokes.times_s[i - 1]
    expected_s = max(seconds - found.size_s, _LEAST_S)
    ratio = max(seconds, _LEAST_S) / expected_s
    floor = _NEAR_FLOOR if _is_near(_nearest(ratio)) else 1.0
    if abs(found.size_s) * 1000 < floor * tolerance.late_floor_ms:
        return None
    if 1 / (1 + _EXPRESSIVE_SHARE) < ratio < 1 + _EXPRESSIVE_SHARE:
        return None
    if ratio > 1 and _may_broaden(strokes, i, expected_s, broadening):
        return None
    is_simple = any(
        evidence.weigh_step(i, seconds - seconds / float(simple)) > _least_evidence(simple) + chance
        for simple in SIMPLE
        if (simple > 1) == (ratio > 1)
    )
    if not is_simple and found.evidence < _OTHER_EVIDENCE + chance:
        return None
    z = copysign(sqrt(2 * found.evidence), found.size_s)
    told = _simple(ratio, z, is_last=i == len(strokes.xs) - 1)
    return NoteValue(i, found.size_s, told, z, expected_s)


def _least_of(one: NoteValue | Entry, count: int) -> float:
    """The evidence that an explanation has to have."""
    chance = _CHANCE * log(count)
    if isinstance(one, Entry):
        return _ENTRY_EVIDENCE + chance
    return chance + (_least_evidence(one.ratio) if one.ratio in SIMPLE else _OTHER_EVIDENCE)


def _least_evidence(ratio: Fraction) -> float:
    """The evidence from which an interval had a simple ratio of its value."""
    if ratio < 1:
        return _SHORT_EVIDENCE if ratio <= Fraction(1, 2) else _SHORTER_EVIDENCE
    return _NEAR_EVIDENCE if ratio < 2 else _LONG_EVIDENCE


def _nearest(ratio: float) -> Fraction:
    """The simple ratio that a ratio is nearest to."""
    return min(SIMPLE, key=lambda simple: abs(log(ratio / simple)))


def _simple(ratio: float, z: float, *, is_last: bool) -> Fraction | None:
    """The simple ratio that a length is near enough to be it, as far as the scatter shows.

    After the last length no pulse goes on: it has to be exact, or was held for want of the next.
    """
    near = _nearest(ratio)
    slack = _SLACK_Z * abs(ratio - 1) / (abs(z) * ratio)
    least, most = _SHORT_SLACK if ratio < 1 else _LONG_SLACK
    if is_last and 1 < near < 2:
        return None
    if near >= _MANY_TIMES or (is_last and near > 1):
        least = most = _MANY_SLACK
    return near if abs(log(ratio / near)) < min(max(slack, least), most) else None


def _may_broaden(strokes: Strokes, i: int, expected_s: float, broadening: Broadening) -> bool:
    """Whether a long interval is what slowing makes of it."""
    return _goes_on_slowing(strokes, i) or _is_ending(strokes, i, expected_s, broadening)


def _goes_on_slowing(strokes: Strokes, i: int) -> bool:
    """Whether a long interval goes on a slowing that the one before it showed already."""
    if i < 3 or any(strokes.free[i - 2 : i + 1]):
        return False
    before, last, now = (_pace_s(strokes, j) for j in (i - 2, i - 1, i))
    if not 0 < before < last:
        return False
    return now < (1 + _EXPRESSIVE_SHARE) * last and now < last * (last / before) ** _SLOWS_ON


def _pace_s(strokes: Strokes, i: int) -> float:
    """Seconds a quarter in the interval to onset i."""
    xs, times = strokes.xs, strokes.times_s
    return (times[i] - times[i - 1]) / (xs[i] - xs[i - 1])


def _is_ending(strokes: Strokes, i: int, expected_s: float, broadening: Broadening) -> bool:
    """Whether a long interval goes on slowing down at the end."""
    xs, times = strokes.xs, strokes.times_s
    if not broadening.share or i < len(xs) - _ENDING_ONSETS:
        return False
    quarters, seconds = xs[i] - xs[i - 1], times[i] - times[i - 1]
    before = _pace_s(strokes, i - 1) if i > 1 else 0.0
    patient_s = max(expected_s, before * quarters)
    if i < len(xs) - 1 and _pace_s(strokes, i + 1) * quarters < _SLOWED * expected_s:
        return seconds < (1 + _EXPRESSIVE_SHARE) * patient_s  # in time again at once
    return seconds < patient_s + max(broadening.least_s, broadening.share * patient_s)


def _entry(
    strokes: Strokes, evidence: TimingEvidence, i: int, chance: float, tolerance: Tolerance
) -> Entry | None:
    """Onset i alone out of place; None where it may be in place."""
    times = strokes.times_s
    if i >= len(times) - 1 or strokes.free[i] or strokes.free[i + 1] or strokes.loose[i]:
        return None
    found = evidence.find_entry(i, _ENTRY_EVIDENCE + chance)
    least_s = max(_LEANING_S, 2 * tolerance.late_floor_ms / 1000)
    room_s = times[i + 1] - times[i - 1]
    if not room_s or found.evidence < _ENTRY_EVIDENCE + chance or abs(found.size_s) < least_s:
        return None
    share = 2 * abs(found.size_s) / room_s
    if share < _LEANING_SHARE:
        return None
    if share < _EXPRESSIVE_SHARE and found.evidence < _LEANING_EVIDENCE + chance:
        return None
    return Entry(i, found.size_s, copysign(sqrt(2 * found.evidence), found.size_s))
