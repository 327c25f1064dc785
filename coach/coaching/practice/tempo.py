"""The tempo ladder: metronome marks up to the tempo asked for, by a Bayesian model of success.

Success model
    Three things are not known of a passage: how often it fails at the tempo asked for, how much
    slower playing helps, and how fast clean repetitions mend it. They are weighed over a small grid
    by Bayes' rule: after ``n`` clean ones, a repetition at a share ``s`` of that tempo fails with
    chance ``c * s ** e * exp(-r * n)``. Reading hardly gets better with time (``e`` near 0), a leap
    does much (``e`` of 3 and more; errors grow with tempo: Pfordresher, Palmer and Jungers 2007);
    practice acts on a single learner by the same share each time (Heathcote, Brown and Mewhort
    2000). All values of the grid are equally likely before anything is heard, so that nothing but
    the record decides.

Metronome
    Tempi come in as quarter notes a minute (``qpm``); a mark counts the metre's beats, so a step in
    6/8 is taken on the dotted quarter. The 39 marks from 40 to 208 are those of a clockwork
    metronome (common practice). Neighbours differ by 3.4 to 5.6 %, more than the 2.5 % that a
    listener can tell (Friberg and Sundberg 1995): every step is audible and none is a jump. Under
    40 the marks are those of the beat's half, or third: what is counted there.

Ladder
    The tempo is set so that a repetition is likely to be clean, because a wrong one is learnt as
    well as a right one. Upward go single marks at first, and each step that holds doubles the next
    (1, 2, 4 marks). As soon as the record makes it likely, the tempo asked for is tried once, over
    the marks in between: alternation with slow practice did better than slow practice alone (Henley
    2001). Where the trial fails, half of the way that was left is climbed before the next. After an
    unclean repetition the tempo never rises.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from itertools import product, takewhile
from math import exp, pow
from typing import Any

from coach.coaching.model import AssignmentKind
from coach.score.counting import counted_quarters

CHANCES = tuple(k / 12 for k in range(1, 12))
"""The grid of ``c``, chances of failing at the tempo asked for: twelfths. Own choice, because a
dozen repetitions tell no finer ones apart."""
EASES = (0.0, 1.0, 2.0, 3.0, 4.0)
"""The grid of ``e``, how much slower playing helps: from not at all to much (see above)."""
RATES = (0.0, 0.15, 0.3)
"""The grid of ``r``, how fast clean repetitions mend. Own choice: not at all, a seventh, a quarter
of what is left, with each."""
SHARE_DIGITS = 2
"""Decimals of a share of the tempo: what differs by less is worked out once."""
TRIES_KEPT = 12
"""Repetitions that are kept. Own choice, because what was played before them says little of now."""

TempoAttempt = tuple[float, bool]
"""A repetition's tempo as a share of the tempo asked for, and whether it was clean."""
OTHER_WINDOW = 0.5
"""What a repetition counts that was of another window, or of other hands. Own choice: it is the
same move, but a hand alone is easier than both, and a bar is more to think of than a beat."""


def clean_chance(
    tries: Sequence[TempoAttempt], share: float, elsewhere: Sequence[TempoAttempt] = ()
) -> float:
    """Chance, 0 to 1, that the next repetition is clean at this share of the tempo asked for.

    ``tries`` are the repetitions of this window up to now, the oldest first, ``elsewhere`` those of
    others before them, which count for less; a half where there are none.
    """
    heard = tuple((round(min(s, 1.0), SHARE_DIGITS), clean) for s, clean in (*elsewhere, *tries))
    share = min(share, 1.0)
    fails: float = sum(
        fails_now * share**ease
        for ease, fails_now in zip(
            EASES, _failing_by_ease(heard[-TRIES_KEPT:], len(tries)), strict=True
        )
    )
    return 1.0 - fails


@lru_cache(maxsize=512)
def _failing_by_ease(tries: tuple[TempoAttempt, ...], own: int) -> tuple[float, ...]:
    """For each ease: its probability times the mean chance of failing now at the full tempo.

    The last ``own`` of the tries were of the window asked for.
    """
    counts = [1.0 if at >= len(tries) - own else OTHER_WINDOW for at in range(len(tries))]
    before = [sum(clean for _, clean in tries[:at]) for at in range(len(tries) + 1)]
    total, sums = 0.0, dict.fromkeys(EASES, 0.0)
    for ease, rate in product(EASES, RATES):
        shares = [s**ease * exp(-rate * before[at]) for at, (s, _) in enumerate(tries)]
        left = exp(-rate * before[-1])
        for chance in CHANCES:
            weight = 1.0
            for share, (_, clean), count in zip(shares, tries, counts, strict=True):
                weight *= pow(1.0 - chance * share if clean else chance * share, count)
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

_SAME = 1e-6
"""Quarters or beats a minute: two tempi that differ by less are the same but for rounding."""
_STEP = 1.045
"""Ratio of a step outside the marks: the middle of their own ratios."""


def quicker(qpm: float, beat_quarters: Fraction, marks: int = 1) -> float:
    """The tempo so many marks up from ``qpm`` (the first mark above it, and on)."""
    for _ in range(marks):
        unit = float(counted_quarters(qpm * (1.0 + _SAME), beat_quarters))
        at = bisect_right(MARKS, qpm / unit + _SAME)
        qpm = MARKS[at] * unit if at < len(MARKS) else qpm * _STEP
    return qpm


def slower(qpm: float, beat_quarters: Fraction, marks: int = 1) -> float:
    """The tempo so many marks down from ``qpm`` (the first mark below it, and on)."""
    for _ in range(marks):
        unit = float(counted_quarters(qpm * (1.0 - _SAME), beat_quarters))
        at = bisect_left(MARKS, qpm / unit - _SAME)
        is_on_them = at and qpm / unit <= MARKS[-1] * _STEP
        qpm = MARKS[at - 1] * unit if is_on_them else qpm / _STEP
    return qpm


HALF_A_MARK = 1.03
"""A tempo nearer than this to another is no step from it. Own choice: less than any mark is from
the next, and more than half of that."""
NEARLY_A_MARK = 1.04
"""A tempo nearer than this to a mark above it stands for that mark. Own choice: hardly a mark."""


def move_by_marks(qpm: float, beat_quarters: Fraction, marks: int) -> float:
    """So many marks up, or down where negative."""
    step = quicker if marks > 0 else slower
    return step(qpm, beat_quarters, abs(marks)) if marks else qpm


FLOOR = 0.5
"""Slowest tempo that is asked for, as a share of the task's, also for a passage inside it that is
taken slower than the task itself. Own choice, because slower than half it is another movement."""
FIRST_SLOWER = 0.7
"""A passage is begun no slower than at the mark above this share of its tempo, however often it
failed. Own choice, because half of it at once is more than a teacher would ask for. What fails
there goes on down."""
MARKS_GROW = 2
"""Each step up that held makes the next one so many times as large, in marks. Own choice: single
marks first, since nothing is known yet of how fast it can be played."""
MOST_MARKS = 4
"""Most metronome marks in one step. Own choice: about a fifth of the tempo, which is heard and
felt."""
LIKELY = 0.72
"""Chance of a clean repetition that a tempo is chosen for: most are clean, and it still teaches.
About the share that trains learners fastest in theory (0.85: Wilson and others 2019, Nature
Communications 10, 4646, of two-way choices; from memory), a little lower, for time."""
FAIR = 0.65
"""Chance from which the tempo asked for is tried. Own choice: it comes off two times in three, and
then saves the marks in between."""
TRIED_FROM = 0.7
"""The tempo asked for is tried from no slower than this share of it. Own choice: as slow as a
passage is begun at the most; from half of it to all of it nobody would jump."""
TOO_UNLIKELY = 0.5
"""Below this chance a tempo is left after a single unclean repetition. Own choice: it fails more
often than not."""


@dataclass(slots=True)
class TempoLadder:
    """A tempo on its way to a target, in quarters a minute; both None at the player's own pace."""

    target_qpm: float | None
    now_qpm: float | None
    slowest_qpm: float | None
    """Nothing slower is asked for; a repair has this from its task."""
    marks: int = 1
    """Size of the next step up."""
    before_trial_qpm: float | None = None
    """The tempo to go on from, while a trial is on."""
    tried_from_qpm: float | None = None
    """The tempo from which a trial last failed."""
    tries: list[TempoAttempt] = field(default_factory=list)
    """The player's record of this window: tempo as a share of the target, and clean or not."""
    elsewhere: list[TempoAttempt] = field(default_factory=list)
    """The same of other windows with this place, and of other hands, before."""

    @classmethod
    def start(cls, target_qpm: float | None, now_qpm: float | None) -> TempoLadder:
        """A task's ladder, from a tempo to the one asked for."""
        return cls(target_qpm, now_qpm, None if target_qpm is None else target_qpm * FLOOR)

    @property
    def at_target(self) -> bool:
        """The tempo asked for is reached."""
        return (
            self.target_qpm is None
            or self.now_qpm is None
            or self.now_qpm >= self.target_qpm - _SAME
        )

    @property
    def at_floor(self) -> bool:
        """Nothing left to slow down."""
        return (
            self.now_qpm is None
            or self.slowest_qpm is None
            or self.now_qpm <= self.slowest_qpm + _SAME
        )

    @property
    def on_trial(self) -> bool:
        """The tempo asked for is being tried."""
        return self.before_trial_qpm is not None

    def count_repetition(self, clean: bool) -> None:
        """Count a repetition at the present tempo."""
        if self.target_qpm is not None and self.now_qpm is not None:
            self.tries.append((self.now_qpm / self.target_qpm, clean))
            del self.tries[:-TRIES_KEPT]

    def turn_to_other_window(self) -> None:
        """What was played up to now was of another window: it counts for less."""
        self.elsewhere = [*self.elsewhere, *self.tries][-TRIES_KEPT:]
        self.tries = []

    @property
    def share(self) -> float:
        """The present tempo as a share of the one asked for."""
        return self.now_qpm / self.target_qpm if self.now_qpm and self.target_qpm else 1.0

    @property
    def chance_at_target(self) -> float:
        """Chance of a clean repetition at the tempo asked for, by the record."""
        return clean_chance(self.tries, 1.0, self.elsewhere)

    def clean_until(self, wanted: float, most: int) -> int:
        """Clean ones running at the tempo asked for, until one more is as likely as wanted.

        Those are counted that run already; never more than ``most`` are asked for.
        """
        running = list(takewhile(lambda one: one[1] and one[0] >= 1.0, reversed(self.tries)))
        before = self.tries[: len(self.tries) - len(running)]
        ahead = ([*before, *[(1.0, True)] * count] for count in range(most))
        chances = (clean_chance(tries, 1.0, self.elsewhere) for tries in ahead)
        return next((count for count, chance in enumerate(chances) if chance >= wanted), most)

    def chance(self, qpm: float) -> float:
        """Chance of a clean repetition at a tempo, by the record."""
        if not self.target_qpm:
            return 1.0
        return clean_chance(self.tries, qpm / self.target_qpm, self.elsewhere)

    @property
    def is_unlikely(self) -> bool:
        """By the record, the present tempo will hardly be clean."""
        return self.now_qpm is not None and self.chance(self.now_qpm) < TOO_UNLIKELY

    def likely_qpm(self, beat_quarters: Fraction) -> float | None:
        """The quickest tempo at which a clean repetition is likely: the target or a mark."""
        if self.target_qpm is None or self.slowest_qpm is None:
            return None
        qpm = self.target_qpm
        while qpm > self.slowest_qpm and self.chance(qpm) < LIKELY:
            qpm = slower(qpm, beat_quarters)
        return max(qpm, self.slowest_qpm)

    def begin_at_likely(self, beat_quarters: Fraction) -> None:
        """Begin where a clean repetition is likely, though not slower than one would at first."""
        likely = self.likely_qpm(beat_quarters)
        if likely is not None and self.now_qpm is not None and self.target_qpm is not None:
            slowest = quicker(self.target_qpm * FIRST_SLOWER - 2 * _SAME, beat_quarters)
            self.now_qpm = min(self.now_qpm, max(likely, slowest))

    def raise_tempo(self, beat_quarters: Fraction) -> AssignmentKind:
        """After a full clean run: a trial or a step up; more than a mark as the record permits."""
        assert self.now_qpm is not None
        assert self.target_qpm is not None
        likely = self.likely_qpm(beat_quarters)
        assert likely is not None
        step = min(self._next_mark(beat_quarters, self.marks), self.target_qpm)
        if (
            self._is_time_to_try
            and self.chance(self.target_qpm) >= FAIR
            and self.share >= TRIED_FROM
            and step < self.target_qpm - _SAME
        ):
            self.before_trial_qpm, self.now_qpm = self.now_qpm, self.target_qpm
            return AssignmentKind.TRIAL
        least = min(self._next_mark(beat_quarters), self.target_qpm)
        self.now_qpm = max(min(step, likely), least)
        self.marks = min(self.marks * MARKS_GROW, MOST_MARKS)
        return AssignmentKind.QUICKEN

    def _next_mark(self, beat_quarters: Fraction, marks: int = 1) -> float:
        """So many marks up; one that is nearly there already is no step."""
        assert self.now_qpm is not None
        is_near = quicker(self.now_qpm, beat_quarters) < self.now_qpm * HALF_A_MARK
        return quicker(self.now_qpm, beat_quarters, marks + is_near)

    @property
    def _is_time_to_try(self) -> bool:
        """After a trial that failed, half of the way that was left comes before the next."""
        if self.tried_from_qpm is None or self.now_qpm is None or self.target_qpm is None:
            return True
        return self.now_qpm >= (self.tried_from_qpm + self.target_qpm) / 2 - _SAME

    def keep_trial(self) -> None:
        """The trial was clean: go on at the tempo asked for."""
        self.before_trial_qpm = None

    def undo_trial(self) -> None:
        """Back from the trial, to the tempo that held."""
        assert self.before_trial_qpm is not None
        self.now_qpm = self.tried_from_qpm = self.before_trial_qpm
        self.before_trial_qpm, self.marks = None, 1

    def stand_at(self, qpm: float) -> None:
        """It was played at another tempo than the one asked for: the ladder stands there."""
        self.now_qpm, self.marks, self.before_trial_qpm = qpm, 1, None

    def lower_tempo(self, beat_quarters: Fraction) -> None:
        """Slower by one mark at least, four at most: to where a clean repetition is likely."""
        if self.now_qpm is not None and self.slowest_qpm is not None:
            likely = self.likely_qpm(beat_quarters) or self.now_qpm
            low = max(slower(self.now_qpm, beat_quarters, MOST_MARKS), self.slowest_qpm)
            wanted = max(min(slower(self.now_qpm, beat_quarters), likely), low)
            is_low = wanted < self.slowest_qpm * HALF_A_MARK
            self.now_qpm = self.slowest_qpm if is_low else wanted
        self.marks, self.before_trial_qpm, self.tried_from_qpm = 1, None, None

    def to_plain(self) -> dict[str, Any]:
        """JSON-ready; :meth:`from_plain` reads it back."""
        return {
            "target": self.target_qpm,
            "now": self.now_qpm,
            "slowest": self.slowest_qpm,
            "marks": self.marks,
            "before_trial": self.before_trial_qpm,
            "tried_from": self.tried_from_qpm,
            "tries": [list(one) for one in self.tries],
            "elsewhere": [list(one) for one in self.elsewhere],
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> TempoLadder:
        """A tempo ladder from the data of :meth:`to_plain`."""
        tries, elsewhere = (
            [(float(share), bool(clean)) for share, clean in plain[name]]
            for name in ("tries", "elsewhere")
        )
        numbers = [None if plain[k] is None else float(plain[k]) for k in _TEMPI]
        target, now, slowest, before_trial, tried_from = numbers
        marks = int(plain["marks"])
        return cls(target, now, slowest, marks, before_trial, tried_from, tries, elsewhere)


_TEMPI = ("target", "now", "slowest", "before_trial", "tried_from")
