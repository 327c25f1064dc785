"""The table: what the coach reaches with lifelike pianists, beside the bar that it should reach.

Every pianist has a nature of its own (``coach.playing.simulated.lifelike``); none of its constants
is one of the coach's. What is counted is what a pianist sees: what is asked for, and what is said.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import pairwise
from random import Random
from statistics import mean, median

from coach.coaching.model import Assignment
from coach.drill import Drill, Window, learn, repair
from coach.playing.simulated.lifelike import LifelikePianist, Nature
from coach.playing.simulated.player import PlayerFault
from coach.score.model import Score
from coach.score.window import Transition
from scripts.coachbench import baselines
from scripts.coachbench.pianists import STEADY
from scripts.coachbench.sections import QPM, plant, section, whole

MINUTES = 25.0
"""Playing time after which a session is given up."""
LONG_BARS = (16, 24, 32)
LONG_SLIPS = (0.001, 0.008)
"""Chance of a slip at a note, from the best to a beginner's. Own choice."""
HEALED = 0.1
"""A fault under this chance has healed."""


@dataclass
class Record:
    """One session: what was asked, what was played, what was claimed, how it ended."""

    asked: list[Assignment] = field(default_factory=list)
    clean: list[bool] = field(default_factory=list)
    named: dict[Transition, int] = field(default_factory=dict)
    """Each place that was claimed with its hand, and after how many repetitions."""
    opened: dict[Transition, int] = field(default_factory=dict)
    """Each place that was claimed with its hand left open."""
    said: list[str] = field(default_factory=list)
    """What was proposed."""
    playing_s: float = 0.0
    now_s: float = 0.0
    finished: bool = False
    ended: bool = False
    """A place was left for today, and enough was said to be done."""

    @property
    def repetitions(self) -> int:
        return len(self.asked)


def pianist_of(
    seed: int, score: Score, faults: tuple[PlayerFault, ...], **changes: float
) -> LifelikePianist:
    nature = replace(Nature.draw(Random(f"nature {seed}")), **changes)
    return LifelikePianist(score, seed=seed, nature=nature, faults=faults, level=STEADY)


def lead(
    drill: Drill,
    pianist: LifelikePianist,
    *,
    most: int = 1000,
    minutes: float = MINUTES,
    until: Callable[[Record], bool] = lambda record: record.finished or record.ended,
) -> Record:
    """Led by the coach until that is so, or so many repetitions or minutes are over."""
    out = Record()
    while out.repetitions < most and out.playing_s < 60 * minutes:
        out.now_s += pianist.lingers_s()
        asked = drill.assignment
        notes = pianist.play(drill.excerpt, asked.qpm, start_s=out.now_s)
        if not notes:  # its only note was missed
            continue
        ended = drill.repetition(notes, now_s=notes[-1].onset_s)
        played_s = notes[-1].onset_s - notes[0].onset_s + 0.5
        out.playing_s += played_s
        out.now_s += played_s
        if not ended.judgement.is_repetition:
            continue
        out.asked.append(asked)
        out.clean.append(ended.judgement.clean)
        for trouble in ended.decision.troubles:
            open_hand = getattr(trouble, "open_hand", False)
            (out.opened if open_hand else out.named).setdefault(trouble.transition, out.repetitions)
        out.said += ended.decision.proposals
        out.finished = ended.decision.finished
        out.ended = getattr(ended.decision, "enough", False)
        if until(out):
            break
    return out


def case(
    seed: int, count: int, chance: float, *, together: bool = False, learns: bool = True
) -> tuple[Score, tuple[PlayerFault, ...]]:
    random = Random(seed)
    score = section(random)
    faults = plant(random, score, count, chance=chance, together=together, learns=learns)
    return score, faults


def mended(score: Score) -> Drill:
    return Drill(score, repair(score, whole(score), qpm=QPM))


# -- rows: each a function of a seed, so that a pool can run it ---------------------------------


def _static(seed: int, chance: float, count: int, *, together: bool, most: int) -> Row:
    score, faults = case(seed, count, chance, together=together, learns=False)
    if len(faults) < count:
        return Row()
    pianist = pianist_of(seed, score, faults, gain=0.0)
    targets = {fault.transition for fault in faults}
    record = lead(mended(score), pianist, most=most, until=lambda r: targets <= r.named.keys())
    places = {t.to_quarters for t in targets}
    opened = {t.to_quarters for t in (*record.opened, *record.named)}
    after = [record.named[t] for t in targets if t in record.named]
    return Row(
        exact=targets <= record.named.keys(),
        placed=places <= opened,
        after=max(after, default=None) if targets <= record.named.keys() else None,
        elsewhere=any(t.to_quarters not in places for t in record.named),
        record=record,
    )


@dataclass(frozen=True)
class Row:
    """What became of one pianist."""

    exact: bool | None = None
    """None: there was no such case to be made."""
    placed: bool = False
    after: int | None = None
    elsewhere: bool = False
    record: Record | None = None
    told_s: float = 0.0
    left: float = 0.0
    """The highest chance that a fault has at the end."""


def _learning(seed: int, count: int) -> Row:
    score, faults = case(seed, count, 0.6 if count == 1 else (0.6, 0.9)[seed % 2])
    pianist = pianist_of(seed, score, faults)
    targets = {fault.transition for fault in faults}
    record = lead(
        mended(score), pianist, most=60,
        until=lambda r: r.finished or r.ended or targets <= r.named.keys(),
    )  # fmt: skip
    good = all(t in record.named or pianist.chance(f) < HEALED for f, t in _pairs(faults))
    return Row(exact=good, record=record)


def _pairs(faults: tuple[PlayerFault, ...]) -> list[tuple[PlayerFault, Transition]]:
    return [(fault, fault.transition) for fault in faults]


def _healthy(seed: int) -> Row:
    score, _ = case(seed, 0, 0.0)
    slip = Random(seed).uniform(0.0003, 0.003)
    pianist = pianist_of(seed, score, (), slip=slip)
    record = lead(mended(score), pianist, most=20, until=lambda r: r.repetitions >= 20)
    return Row(exact=not record.named and not record.opened, record=record)


def _one_slip(seed: int) -> Row:
    """One wrong key in the first repetition of a window of one bar, and none after it."""
    score, _ = case(seed, 0, 0.0)
    random = Random(seed)
    bar = random.choice(score.bars)
    window = Window(bar.onset_quarters, bar.end_quarters)
    drill = Drill(score, repair(score, window, qpm=QPM))
    pianist = pianist_of(seed, score, (), slip=0.0, other_hand_too=0.0)
    notes = list(pianist.play(drill.excerpt, QPM))
    at = random.randrange(1, len(notes))
    notes[at] = replace(notes[at], pitch=notes[at].pitch + random.choice((-1, 1)))
    said = drill.repetition(notes, now_s=10.0).decision
    claimed = bool(said.troubles)
    record = lead(drill, pianist, most=8)
    return Row(exact=not claimed and not record.named, record=record)


def _mending(seed: int) -> Row:
    chance = (0.6, 0.9)[seed % 2]
    score, faults = case(seed, 1 + (seed // 2) % 2, chance)
    pianist = pianist_of(seed, score, faults)
    record = lead(mended(score), pianist)
    targets = tuple(fault.transition for fault in faults)
    told = baselines.told_slowly(score, pianist_of(seed, score, faults), targets, MINUTES)
    left = max((pianist.chance(fault) for fault in faults), default=0.0)
    return Row(
        exact=record.finished, placed=record.ended, record=record, told_s=told.playing_s, left=left
    )


def _never_learns(seed: int) -> Row:
    score, faults = case(seed, 1, 0.9, learns=False)
    pianist = pianist_of(seed, score, faults, gain=0.0)
    return Row(record=lead(mended(score), pianist, most=150))


@dataclass(frozen=True)
class NewMusic:
    """How well a piece is known that is called new."""

    what: str
    bars: int = 4
    places: int = 0
    """Moves that fail, and are learnt."""
    chance: float = 0.5
    perfect: bool = False


NEW_MUSIC = (
    NewMusic("perfect", bars=8, perfect=True),
    NewMusic("half learnt", places=4),
    NewMusic("at first sight", places=10, chance=0.7),
)


def _new_music(seed: int, known: NewMusic) -> Row:
    """A piece never played before."""
    random = Random(seed)
    score = section(random, bars=known.bars)
    faults = plant(
        random, score, known.places, chance=known.chance, learns=True, apart=known.places <= 4
    )
    changes = {"slip": 0.0, "other_hand_too": 0.0} if known.perfect else {}
    drill = Drill(score, learn(score, whole(score), qpm=QPM))
    pianist = pianist_of(seed, score, faults, **changes)
    record = lead(drill, pianist)
    bars = baselines.bar_by_bar(score, pianist_of(seed, score, faults, **changes), MINUTES)
    left = max((pianist.chance(fault) for fault in faults), default=0.0)
    return Row(
        exact=record.finished, placed=record.ended, record=record, told_s=bars.playing_s, left=left
    )


def _long(seed: int) -> Row:
    """A piece of two pages by somebody who slips now and then; some have a fault or two besides."""
    random = Random(seed)
    score = section(random, bars=random.choice(LONG_BARS))
    faults = plant(random, score, seed % 3, chance=random.uniform(0.4, 0.9), learns=True)
    slip = random.uniform(*LONG_SLIPS)
    record = lead(mended(score), pianist_of(seed, score, faults, slip=slip))
    ladder = baselines.ladder(score, pianist_of(seed, score, faults, slip=slip), MINUTES)
    return Row(
        exact=record.finished,
        placed=record.ended,
        record=record,
        told_s=ladder.playing_s,
        after=int(ladder.finished),
    )


# -- the tables --------------------------------------------------------------------------------


class Bench:
    """So many pianists for each row, on all processors."""

    def __init__(self, pianists: int, seed: int, pool: ProcessPoolExecutor) -> None:
        self._seeds, self._pool = [1000 * seed + k for k in range(pianists)], pool

    def rows(self, make: Callable[[int], Row]) -> list[Row]:
        """What became of those of whom such a case could be made."""
        return [one for one in self._pool.map(make, self._seeds) if one.record is not None]


def naming(pianists: int, seed: int) -> None:
    """Is the place found, soon, and nothing that is none?"""
    with ProcessPoolExecutor() as pool:
        rows = Bench(pianists, seed, pool).rows
        one = rows(partial(_static, chance=0.6, count=1, together=False, most=20))
        _line("one fault of .6, static: exact", _share(one), "0.95")
        _line("  placed, the hand open or not", _mean(r.placed for r in one), "")
        _line("  another place claimed", _mean(r.elsewhere for r in one), "")
        after = sorted(r.after for r in one if r.after is not None)
        _line("  repetitions, median / 90 %", _spread(after), "4 / 8")
        learning = rows(partial(_learning, count=1))
        _line("one fault, learning: named or healed", _share(learning), "0.97")
        for chance in (0.6, 0.9):
            two = rows(partial(_static, chance=chance, count=2, together=False, most=20))
            _line(f"two faults of {chance}, static: both", _share(two), "0.90")
        _line("two faults, learning", _share(rows(partial(_learning, count=2))), "0.90")
        both = rows(partial(_static, chance=0.6, count=1, together=True, most=20))
        _line("together only, static: named so", _share(both), "0.90")
        healthy = rows(_healthy)
        _line("healthy: claimed in 20", 1 - _share(healthy), "0.02")
        _line("one slip in a bar: claimed", 1 - _share(rows(_one_slip)), "0.03")
        _print_manners(one + learning + healthy)


def hard(pianists: int, seed: int) -> None:
    """How long mending takes, and how it ends where nothing mends."""
    with ProcessPoolExecutor() as pool:
        rows = Bench(pianists, seed, pool).rows
        mending = rows(_mending)
        _print_mending(mending)
        never = rows(_never_learns)
        ends = [r.record for r in never if r.record]
        _line("never learns: ended", _mean(r.ended for r in ends), "0.99")
        _line("  repetitions, median / 90 %", _spread(sorted(r.repetitions for r in ends)), "")
        _line("  minutes in all, 90 %", _tenth([r.now_s / 60 for r in ends]), "15")
        _print_manners(mending + never)


def new(pianists: int, seed: int) -> None:
    """Music never played before: does it take longer than bar by bar?"""
    with ProcessPoolExecutor() as pool:
        rows = Bench(pianists, seed, pool).rows
        for known in NEW_MUSIC:
            some = rows(partial(_new_music, known=known))
            counts = sorted(r.record.repetitions for r in some if r.record)
            bar = "24" if known.perfect else ""
            _line(f"new music, {known.what}: repetitions", _spread(counts), bar)
            share = [r.record.playing_s / r.told_s for r in some if r.record and r.told_s]
            _line("  minutes by bar by bar's, median", median(share), "" if known.perfect else "1")
            ours, theirs = (
                sum(seconds)
                for seconds in zip(
                    *((r.record.playing_s, r.told_s) for r in some if r.record), strict=True
                )
            )
            _line("    of all together", ours / theirs, "")
            _line("  reached", _share(some), "")
            _line("  reached, or a named end", _mean(r.exact or r.placed for r in some), "")
            _line("  a fault still over 20 %", _mean(r.left >= 0.2 for r in some), "")


def long(pianists: int, seed: int) -> None:
    """A long piece that slips now and then: does it come to an end, and when?"""
    with ProcessPoolExecutor() as pool:
        rows = Bench(pianists, seed, pool).rows(_long)
    _line("long piece: reached", _share(rows), "")
    _line("  reached, or a named end", _mean(r.exact or r.placed for r in rows), "")
    minutes = [r.record.playing_s / 60 for r in rows if r.record]
    _line("  minutes, median / slowest tenth", f"{median(minutes):.1f} / {_tenth(minutes):.1f}", "")
    _line("  by the ladder on the whole: reached", _mean(r.after for r in rows), "")
    theirs = [r.told_s / 60 for r in rows]
    _line("    minutes, median / slowest tenth", f"{median(theirs):.1f} / {_tenth(theirs):.1f}", "")
    wholes = [_mean(a.window == r.record.asked[0].window for a in r.record.asked)
              for r in rows if r.record]  # fmt: skip
    _line("  share of repetitions that are the whole", mean(wholes), "")
    _print_manners(rows)


def _print_mending(rows: list[Row]) -> None:
    done = [row for row in rows if row.record and row.exact]
    _line("mending: reached", _share(rows), "")
    _line("  reached, or a named end", _mean(bool(r.exact) or r.placed for r in rows), "0.99")
    _line(
        "  a session's repetitions", _spread([r.record.repetitions for r in done if r.record]), ""
    )
    ours, told = [r.record.playing_s / 60 for r in done if r.record], [r.told_s / 60 for r in done]
    _line("  minutes by told's: median", median(ours) / median(told), "1.10")
    _line("    mean", mean(ours) / mean(told), "1.25")
    _line("    slowest tenth", _tenth(ours) / _tenth(told), "1.25")
    nine = [row for k, row in enumerate(rows) if k % 2 and row.exact]
    ours = [row.record.playing_s for row in nine if row.record]
    if nine:
        _line("    faults of .9, median", median(ours) / median(r.told_s for r in nine), "1.35")
    _line("  minutes, median", median(r.record.playing_s / 60 for r in done if r.record), "")
    _line("  goal reached, a fault still over 5 %", _mean(r.left >= 0.05 for r in done), "")
    _line("  goal reached, a fault still over 20 %", _mean(r.left >= 0.2 for r in done), "")


def _print_manners(rows: list[Row]) -> None:
    """What a pianist would call the manner of the lesson."""
    probes, returns, holds, steps = 0, 0, 0, 0
    for record in (row.record for row in rows if row.record):
        running = 0
        for asked in record.asked:
            running = running + 1 if _looks(asked) else 0
            probes = max(probes, running)
        for (_, two), clean in zip(pairwise(record.asked), record.clean, strict=False):
            holds += not clean and two.reason.startswith("It holds")
            steps += 1
        for one, two, three in zip(record.asked, record.asked[1:], record.asked[2:], strict=False):
            searching = _looks(two) and (_looks(one) or _looks(three))
            returns += searching and one.window == three.window != two.window
    _line("most probes running", probes, "4")
    _line("A-B-A while searching, of 1000", 1000 * returns / max(steps, 1), "0")
    _line("'It holds' after an unclean one, of 1000", 1000 * holds / max(steps, 1), "0")


def _looks(asked: Assignment) -> bool:
    """Whether it is a probe."""
    return ": is it " in asked.reason


def _line(what: str, got: float | str, bar: str) -> None:
    said = got if isinstance(got, str) else f"{got:.3g}"
    print(f"{what:<44} {said:>12}   {bar}", flush=True)


def _share(rows: list[Row]) -> float:
    return _mean(bool(row.exact) for row in rows)


def _mean(flags: object) -> float:
    some = list(flags)  # type: ignore[call-overload]
    return sum(some) / len(some) if some else float("nan")


def _spread(counts: list[int]) -> str:
    return f"{median(counts):g} / {_tenth(counts):g}" if counts else "-"


def _tenth(values: list[float] | list[int]) -> float:
    ordered = sorted(values)
    return float(ordered[int(0.9 * (len(ordered) - 1))]) if ordered else float("nan")
