"""How likely a clean repetition is at a tempo, by the player's own record of that place.

Three things are not known of a place: how often it fails at the tempo asked for, how much slower
playing helps, and how fast clean repetitions mend it. They are weighed over a small grid by Bayes'
rule: after ``n`` clean ones, a repetition at a share ``s`` of that tempo fails with chance
``c * s ** e * exp(-r * n)``. Reading hardly gets better with time (``e`` near 0), a leap does much
(``e`` of 3 and more; errors grow with tempo: Pfordresher, Palmer and Jungers 2007); practice acts
on a single learner by the same share each time (Heathcote, Brown and Mewhort 2000). All values of
the grid are equally likely before anything is heard, so that nothing but the record decides.

The metronome's marks, and steps along them.

Tempi come in as quarter notes a minute (``qpm``); a mark counts the metre's beats, so a step in
6/8 is taken on the dotted quarter. The 39 marks from 40 to 208 are those of a clockwork metronome
(common practice); neighbours differ by 3.4 to 5.6 %, more than the 2.5 % that a listener can tell
(Friberg and Sundberg 1995), so every step is audible and none is a jump.

The tempo of a window on its way to the tempo asked for: down at once, up as the record permits.

The tempo is set so that a repetition is likely to be clean, because a wrong one is learnt as well
as a right one. Upward go single marks at first, and each step that holds doubles the next (1, 2, 4
marks). As soon as the record makes it likely, the tempo asked for is tried once, over the marks in
between: alternation with slow practice did better than slow practice alone (Henley 2001). Where the
trial fails, half of the way that was left is climbed before the next. After an unclean repetition
the tempo never rises.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from itertools import product
from math import exp, pow
from typing import Any

from coach.coaching.model import Kind

CHANCES = tuple(k / 12 for k in range(1, 12))
EASES = (0.0, 1.0, 2.0, 3.0, 4.0)
RATES = (0.0, 0.15, 0.3)
KEPT = 12
"""Repetitions that are kept: what was played before them says little of now."""

Try = tuple[float, bool]
"""A repetition's tempo as a share of the tempo asked for, and whether it was clean."""


def clean_chance(tries: Sequence[Try], share: float) -> float:
    """Chance, 0 to 1, that the next repetition is clean at this share of the tempo asked for.

    ``tries`` are the repetitions up to now, the oldest first; a half where there are none.
    """
    heard = tuple((round(min(s, 1.0), 2), clean) for s, clean in tries[-KEPT:])
    share = min(share, 1.0)
    fails: float = sum(
        fails_now * share**ease for ease, fails_now in zip(EASES, _now(heard), strict=True)
    )
    return 1.0 - fails


@lru_cache(maxsize=512)
def _now(tries: tuple[Try, ...]) -> tuple[float, ...]:
    """For each ease: its probability times the mean chance of failing now at the full tempo."""
    before = [sum(clean for _, clean in tries[:at]) for at in range(len(tries) + 1)]
    total, sums = 0.0, dict.fromkeys(EASES, 0.0)
    for ease, rate in product(EASES, RATES):
        shares = [s**ease * exp(-rate * before[at]) for at, (s, _) in enumerate(tries)]
        left = exp(-rate * before[-1])
        for chance in CHANCES:
            weight = 1.0
            for share, (_, clean) in zip(shares, tries, strict=True):
                weight *= 1.0 - chance * share if clean else chance * share
            total += weight
            sums[ease] += weight * chance * left
    return tuple(part / total for part in sums.values())


MARKS: tuple[int, ...] = (
    *range(40, 60, 2),
    *range(60, 72, 3),
    *range(72, 120, 4),
    *range(120, 144, 6),
    *range(144, 209, 8),
)
"""Beats a minute, slowest first."""

_STEP = 1.045  # outside the marks: their own middle ratio


def quicker(qpm: float, beat_quarters: Fraction, marks: int = 1) -> float:
    """The tempo so many marks up from ``qpm`` (the first mark above it, and on)."""
    beat = float(beat_quarters)
    bpm = qpm / beat
    at = bisect_right(MARKS, bpm + 1e-6)
    if bpm < MARKS[0] / _STEP or at + marks > len(MARKS):
        return qpm * pow(_STEP, marks)
    return MARKS[at + marks - 1] * beat


def slower(qpm: float, beat_quarters: Fraction, marks: int = 1) -> float:
    """The tempo so many marks down from ``qpm`` (the first mark below it, and on)."""
    beat = float(beat_quarters)
    bpm = qpm / beat
    at = bisect_left(MARKS, bpm - 1e-6)
    if bpm > MARKS[-1] * _STEP or at < marks:
        return qpm / pow(_STEP, marks)
    return MARKS[at - marks] * beat


def marked(qpm: float, beat_quarters: Fraction, marks: int) -> float:
    """So many marks up, or down where negative."""
    step = quicker if marks > 0 else slower
    return step(qpm, beat_quarters, abs(marks)) if marks else qpm


FLOOR = 0.5
"""Slowest tempo that is asked for, as a share of the task's, also for a place inside it that is
taken slower than the task itself."""
FIRST_SLOWER = 0.7
"""A place is begun no slower than at this share of its tempo, however often it failed: half of it
at once is another movement, and more than a teacher would ask for. What fails there goes on down.
Our choice."""
MOST_MARKS = 4
LIKELY = 0.72
"""Chance of a clean repetition that a tempo is chosen for: most are clean, and it still teaches.
About the share that trains learners fastest in theory (0.85: Wilson and others 2019, Nature
Communications 10, 4646, of two-way choices; from memory), a little lower, for time."""
FAIR = 0.5
"""Chance from which the tempo asked for is tried: it comes off more often than not, and then saves
the marks in between."""
TOO_UNLIKELY = 0.5
"""Below this a tempo is left after a single unclean repetition."""
_SAME = 1e-6


@dataclass(slots=True)
class Climb:
    """A tempo on its way to a target, in quarters a minute; both None at the player's own pace."""

    target: float | None
    now: float | None
    slowest: float | None
    """Nothing slower is asked for; a case has this from its task."""
    marks: int = 1
    """Size of the next step up."""
    before_trial: float | None = None
    """The tempo to go on from, while a trial is on."""
    tried_from: float | None = None
    """The tempo from which a trial last failed."""
    tries: list[Try] = field(default_factory=list)
    """The player's record of this window: tempo as a share of the target, and clean or not."""

    @classmethod
    def of(cls, target: float | None, now: float | None) -> Climb:
        """A task's climb, from a tempo to the one asked for."""
        return cls(target, now, None if target is None else target * FLOOR)

    @property
    def at_target(self) -> bool:
        """Nothing left to climb."""
        return self.target is None or self.now is None or self.now >= self.target - _SAME

    @property
    def at_floor(self) -> bool:
        """Nothing left to slow down."""
        return self.now is None or self.slowest is None or self.now <= self.slowest + _SAME

    @property
    def on_trial(self) -> bool:
        """The tempo asked for is being tried."""
        return self.before_trial is not None

    def heard(self, clean: bool) -> None:
        """A repetition at the present tempo."""
        if self.target is not None and self.now is not None:
            self.tries.append((self.now / self.target, clean))
            del self.tries[:-KEPT]

    def chance(self, qpm: float) -> float:
        """Chance of a clean repetition at a tempo, by the record."""
        return clean_chance(self.tries, qpm / self.target) if self.target else 1.0

    @property
    def is_unlikely(self) -> bool:
        """By the record, the present tempo will hardly be clean."""
        return self.now is not None and self.chance(self.now) < TOO_UNLIKELY

    def likely(self, beat_quarters: Fraction) -> float | None:
        """The quickest tempo at which a clean repetition is likely: the target or a mark."""
        if self.target is None or self.slowest is None:
            return None
        qpm = self.target
        while qpm > self.slowest and self.chance(qpm) < LIKELY:
            qpm = slower(qpm, beat_quarters)
        return max(qpm, self.slowest)

    def settle(self, beat_quarters: Fraction) -> None:
        """Begin where a clean repetition is likely, though not slower than one would at first."""
        likely = self.likely(beat_quarters)
        if likely is not None and self.now is not None and self.target is not None:
            self.now = min(self.now, max(likely, self.target * FIRST_SLOWER))

    def up(self, beat_quarters: Fraction) -> Kind:
        """After a full clean run: a trial or a step up; more than a mark as the record permits."""
        assert self.now is not None
        assert self.target is not None
        likely = self.likely(beat_quarters)
        assert likely is not None
        step = min(quicker(self.now, beat_quarters, self.marks), self.target)
        if self._is_time_to_try and self.chance(self.target) >= FAIR and step < self.target - _SAME:
            self.before_trial, self.now = self.now, self.target
            return Kind.TRIAL
        least = min(quicker(self.now, beat_quarters), self.target)
        self.now = max(min(step, likely), least)
        self.marks = min(self.marks * 2, MOST_MARKS)
        return Kind.QUICKEN

    @property
    def _is_time_to_try(self) -> bool:
        """After a trial that failed, half of the way that was left comes before the next."""
        if self.tried_from is None or self.now is None or self.target is None:
            return True
        return self.now >= (self.tried_from + self.target) / 2 - _SAME

    def trial_held(self) -> None:
        """The trial was clean: go on at the tempo asked for."""
        self.before_trial = None

    def trial_failed(self) -> None:
        """Back from the trial, to the tempo that held."""
        assert self.before_trial is not None
        self.now = self.tried_from = self.before_trial
        self.before_trial, self.marks = None, 1

    def down(self, beat_quarters: Fraction) -> None:
        """Slower by one mark at least, four at most: to where a clean repetition is likely."""
        if self.now is not None and self.slowest is not None:
            likely = self.likely(beat_quarters) or self.now
            low = max(slower(self.now, beat_quarters, MOST_MARKS), self.slowest)
            self.now = max(min(slower(self.now, beat_quarters), likely), low)
        self.marks, self.before_trial, self.tried_from = 1, None, None

    def plain(self) -> dict[str, Any]:
        """JSON-ready; :meth:`from_plain` reads it back."""
        return {
            "target": self.target,
            "now": self.now,
            "slowest": self.slowest,
            "marks": self.marks,
            "before_trial": self.before_trial,
            "tried_from": self.tried_from,
            "tries": [[share, clean] for share, clean in self.tries],
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> Climb:
        """A climb from the data of :meth:`plain`."""
        tries = [(float(share), bool(clean)) for share, clean in plain["tries"]]
        numbers = [None if plain[k] is None else float(plain[k]) for k in _TEMPI]
        target, now, slowest, before_trial, tried_from = numbers
        return cls(target, now, slowest, int(plain["marks"]), before_trial, tried_from, tries)


_TEMPI = ("target", "now", "slowest", "before_trial", "tried_from")
