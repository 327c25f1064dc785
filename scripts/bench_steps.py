"""The longest steps of the live line: what one key, one tick and one verdict take at most.

``python -m scripts.bench_steps`` plays windows of all sizes, from a bar to a whole piece, to the
follower: right, a semitone off, other music, mashed, broken off and repeated, and without end.
Beside it, in the same run, the bare decoder hears the same keys: one beam of hypotheses and nothing
else (no tempo found anew, no labels, no marks, no restarts). Times are processor time of one
thread, the garbage collector off, so that a busy machine changes them little.
"""

from __future__ import annotations

import argparse
import gc
import random
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from statistics import quantiles
from typing import TypeVar

from coach.judging.alignment.beam_search import Decoder
from coach.judging.alignment.initial_tempo import written_period
from coach.judging.alignment.score_arrays import make_score_arrays
from coach.judging.alignment.transitions import COSTS, Transitions
from coach.judging.following.events import Ended, FollowerEvent
from coach.judging.following.follower import Follower
from coach.judging.judge import judge
from coach.playing.midi_events import KeyDown, KeyUp
from coach.playing.notes import PlayedNote, Take
from coach.score.window import Excerpt, Window
from scripts.earcases.adapter import excerpt_of
from scripts.earcases.material import Piece, pieces
from scripts.earcases.whole import whole_case

SIZES = (1, 4, 16, 64, 0)
"""Bars in a window; 0: the whole piece."""
LIMIT_MS = 20.0
"""No step of the live line should take longer on an idle machine."""
TICK_S = 0.05
MOST_TICKS = 80
LONG_KEYS = 2000
MASHED_KEYS = 150

Keys = list[PlayedNote]


@dataclass(frozen=True)
class Setting:
    """A window, other music, and chance."""

    excerpt: Excerpt
    other: Excerpt
    rng: random.Random


def right(at: Setting) -> Keys:
    """As it is written."""
    return written(at.excerpt)


def semitone_off(at: Setting) -> Keys:
    """All of it a semitone too high: a hand set down wrong, or a transposing piano."""
    return [replace(key, pitch=key.pitch + 1) for key in written(at.excerpt)]


def octave_off(at: Setting) -> Keys:
    """All of it an octave too high."""
    return [replace(key, pitch=key.pitch + 12) for key in written(at.excerpt)]


def half_off(at: Setting) -> Keys:
    """Every second key a semitone off."""
    keys = written(at.excerpt)
    return [replace(key, pitch=key.pitch + (place % 2)) for place, key in enumerate(keys)]


def other_music(at: Setting) -> Keys:
    """Another piece."""
    return written(at.other)[:2000]


def mashed(at: Setting) -> Keys:
    """Handfuls of the window's own keys, 20 handfuls a second."""
    pitches = sorted({note.pitch for note in at.excerpt.notes})
    return [
        PlayedNote(at.rng.choice(pitches), 80, place // 5 * TICK_S, 0.05)
        for place in range(MASHED_KEYS)
    ]


def begun_and_mashed(at: Setting) -> Keys:
    """The beginning as it is written, then handfuls."""
    keys = written(at.excerpt)[:12]
    last_s = keys[-1].onset_s + 0.4
    return keys + [replace(key, onset_s=key.onset_s + last_s) for key in mashed(at)]


def one_key(at: Setting) -> Keys:
    """The window's commonest key over and over, eight times a second."""
    pitches = [note.pitch for note in at.excerpt.notes]
    pitch = max(set(pitches), key=pitches.count)
    return [PlayedNote(pitch, 70, 0.125 * place, 0.1) for place in range(MASHED_KEYS)]


def loops(at: Setting) -> Keys:
    """Stumbling: four onsets on, three back, with a stop before each, through the window."""
    keys, out, now_s = written(at.excerpt), [], 0.0
    onsets = sorted({key.onset_s for key in keys})[:160]
    for first in range(len(onsets)):
        here = onsets[first : first + 4]
        part = [key for key in keys if here[0] <= key.onset_s <= here[-1]]
        out += [replace(key, onset_s=now_s + key.onset_s - here[0]) for key in part]
        now_s += here[-1] - here[0] + 0.7
    return out


def noodling(at: Setting) -> Keys:
    """The window's own keys in any order, at leisure, then the window."""
    pitches = sorted({note.pitch for note in at.excerpt.notes})
    keys = [
        PlayedNote(at.rng.choice(pitches), 60, 0.3 * place, 0.2) for place in range(MASHED_KEYS)
    ]
    return keys + [
        replace(key, onset_s=key.onset_s + 0.3 * MASHED_KEYS) for key in written(at.excerpt)
    ]


def without_end(at: Setting) -> Keys:
    """Thousands of keys into one repetition: the window but for its last onset, with slips."""
    keys = written(at.excerpt)
    last_s = keys[-1].onset_s
    keys = [key for key in keys if key.onset_s < last_s] or keys
    out: Keys = []
    while len(out) < LONG_KEYS:
        start_s = out[-1].onset_s + 0.4 if out else 0.0
        first = at.rng.randrange(len(keys) // 2 + 1)
        out += [
            replace(key, onset_s=start_s + key.onset_s - keys[first].onset_s,
                    pitch=key.pitch + at.rng.choice((0,) * 19 + (1,)))
            for key in keys[first:]
        ]  # fmt: skip
    return out[:LONG_KEYS]


PLAYERS: tuple[Callable[[Setting], Keys], ...] = (
    right, semitone_off, octave_off, half_off, other_music, mashed, begun_and_mashed, one_key,
    loops, noodling, without_end,
)  # fmt: skip


def written(excerpt: Excerpt) -> Keys:
    """The excerpt played as it is written, at its tempo."""
    quarter_s = 60.0 / excerpt.qpm
    start = excerpt.notes[0].onset_quarters
    keys = [
        PlayedNote(
            note.pitch,
            64,
            float(note.onset_quarters - start) * quarter_s - (0.06 if note.grace else 0.0),
            float(note.length_quarters) * quarter_s * 0.9,
        )
        for note in excerpt.notes
    ]
    keys.sort(key=lambda key: key.onset_s)
    first_s = keys[0].onset_s
    return [replace(key, onset_s=key.onset_s - first_s) for key in keys]


def windows(piece: Piece, size: int) -> Iterator[Excerpt]:
    """Up to two windows of so many bars; the whole piece where ``size`` is 0."""
    whole = excerpt_of(whole_case(piece, random.Random(1)))
    if not size:
        yield whole
        return
    bars = [*piece.bars]
    if len(bars) <= size:
        return
    places = sorted({0, (len(bars) - size) // 2})
    for first in places:
        start, end = bars[first], bars[first + size]
        notes = tuple(note for note in whole.notes if start <= note.onset_quarters <= end)
        grid = tuple(place for place in whole.grid_quarters if start <= place <= end)
        if len(notes) > 2 and len(grid) > 1:
            reach = Window(start, end, whole.window.hands, True)
            yield Excerpt(reach, notes, None, grid, whole.qpm)


class Steps:
    """Every step's time in milliseconds, and where the longest was."""

    def __init__(self) -> None:
        self.times: defaultdict[tuple[str, ...], list[float]] = defaultdict(list)
        self.worst: dict[tuple[str, ...], tuple[float, str]] = {}

    def add(self, ms: float, where: str, *keys: tuple[str, ...]) -> None:
        """One step."""
        for key in keys:
            self.times[key].append(ms)
            if ms > self.worst.get(key, (0.0, ""))[0]:
                self.worst[key] = ms, where

    def figures(self, key: tuple[str, ...]) -> tuple[float, float]:
        """The longest and the 99 % step."""
        times = self.times[key]
        if len(times) < 2:
            return (times[0], times[0]) if times else (0.0, 0.0)
        return max(times), quantiles(times, n=100)[98]


T = TypeVar("T")


@dataclass(frozen=True)
class Clocked:
    """Takes steps of one player in one window, and notes how long each took."""

    steps: Steps
    size: str
    player: str
    where: str

    def take(self, kind: str, place: int, step: Callable[[], T]) -> T:
        """One step of a kind, at a key."""
        start = time.thread_time()
        answer = step()
        ms = (time.thread_time() - start) * 1e3
        where = f"{self.where}, key {place}"
        self.steps.add(ms, where, (kind, self.size), (kind, self.player), (kind,))
        return answer


def follow(excerpt: Excerpt, keys: Sequence[PlayedNote], steps: Clocked) -> list[Take]:
    """Play to a follower. The takes that it ended."""
    follower, heard = Follower(excerpt), list[FollowerEvent]()
    now_s = keys[0].onset_s
    for place, key in enumerate(keys):
        for _ in range(MOST_TICKS):  # of a long silence only the beginning tells anything
            if now_s + TICK_S >= key.onset_s:
                break
            now_s += TICK_S
            heard += steps.take("tick", place, partial(follower.tick, now_s))
        now_s = key.onset_s
        struck = partial(follower.hear, KeyDown(key.pitch, key.velocity, key.onset_s))
        heard += steps.take("key", place, struck)
        follower.hear(KeyUp(key.pitch, key.onset_s + 0.05))
    for _ in range(5 * MOST_TICKS):
        now_s += TICK_S
        heard += steps.take("tick", len(keys), partial(follower.tick, now_s))
    return [one.take for one in heard if isinstance(one, Ended)]


def decode(excerpt: Excerpt, keys: Sequence[PlayedNote], steps: Clocked) -> None:
    """The same keys into the bare decoder."""
    decoder = Decoder(
        Transitions(make_score_arrays(excerpt), COSTS), written_period(excerpt), again=False
    )
    for place, key in enumerate(keys):
        steps.take("bare", place, partial(decoder.add_key, replace(key, length_s=None)))


def measure(given: argparse.Namespace) -> Steps:
    """Play everything to both."""
    material = sorted(pieces(), key=lambda piece: -len(piece.notes))
    chosen = material[:: max(len(material) // given.pieces, 1)][: given.pieces]
    others = [next(windows(piece, 0)) for piece in material[:2]]
    players = [player for player in PLAYERS if player.__name__ in given.players]
    steps = Steps()
    gc.collect()
    gc.disable()
    for piece, size in product(chosen, given.sizes):
        for number, excerpt in enumerate(windows(piece, size)):
            for player in players:
                if player is without_end and number:
                    continue
                name = player.__name__
                where = f"{piece.name}, {size or 'all'} bars ({len(excerpt.notes)} notes), {name}"
                clocked = Clocked(steps, str(size), name, where)
                rng = random.Random(f"{given.seed}/{where}/{number}")
                other = others[piece is material[0]]
                keys = player(Setting(excerpt, other, rng))
                takes = follow(excerpt, keys, clocked)
                decode(excerpt, keys, clocked)
                for take in takes[:3] if given.verdicts else ():
                    clocked.take("verdict", len(take.notes), partial(judge, excerpt, take.notes))
                gc.collect()
    return steps


def report(steps: Steps, title: str, rows: Sequence[str]) -> None:
    """A table by window size, or by player."""
    heads = ("longest key", "99 %", "tick", "bare", "99 %", "ratio", "verdict")
    print(f"\n{title:18}" + "".join(f"{head:>12}" for head in heads))
    for row in rows:
        key, tick, bare = (steps.figures((kind, row)) for kind in ("key", "tick", "bare"))
        ratio = key[0] / bare[0] if bare[0] else 0.0
        verdict = steps.figures(("verdict", row))[0]
        figures = (*key, tick[0], *bare, ratio, verdict)
        print(f"{row:18}" + "".join(f"{figure:12.2f}" for figure in figures))


def main() -> None:
    """Play everything to both, and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pieces", type=int, default=4)
    parser.add_argument("--sizes", type=int, nargs="*", default=SIZES, help="bars; 0: all")
    parser.add_argument("--players", nargs="*", default=[player.__name__ for player in PLAYERS])
    parser.add_argument("--verdicts", action="store_true", help="judge what was ended too")
    given = parser.parse_args()
    steps = measure(given)
    print(f"milliseconds; no step over {LIMIT_MS:.0f} is wanted")
    report(steps, "bars in a window", [str(size) for size in given.sizes])
    report(steps, "player", given.players)
    for kind in ("key", "tick", "bare", "verdict"):
        if (kind,) in steps.worst:
            ms, where = steps.worst[kind,]
            print(f"longest {kind}: {ms:.2f} ms: {where}")


if __name__ == "__main__":
    main()
