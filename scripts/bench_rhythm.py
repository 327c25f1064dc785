"""Hearing rhythm beside a plain rule, in one run: note values, single entries, order, expression.

    python -m scripts.bench_rhythm [--seed 1] [--windows 200] [--earlier 4]

Windows of six onsets and more from the sample scores, the made pieces and the recording that
parangonar ships; three players: a professional (as recorded, or the model of one), correct practice
timing, and a steady one (each onset scatters by 4 % of the beat). Each change is made to the same
windows that are also judged untouched. "Told" is the share judged unclean at the stage ``rhythm``;
"right" the share whose first fault has the right cause at the right onset. The plain rule holds an
interval against the middle of its eight neighbours, scaled by their scatter, with a threshold each
way for each player: "plain" at 5 % false alarms on the same untouched windows, "alike" at as many
as are told of them. With ``--earlier`` each player has played so many other windows of the piece
before, and is known by them as in a lesson: how they scatter, and how fast they are.
"""

from __future__ import annotations

import argparse
import math
import random
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from copy import deepcopy
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice, pairwise
from pathlib import Path
from statistics import median

from coach.drill import Drill, repair
from coach.judging.judge import judge
from coach.judging.model import Judgement
from coach.judging.timing import Habits
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hands
from coach.score.opening import open_score
from coach.score.window import Excerpt, Window, choose_window, excerpt
from scripts.earcases import rendering
from scripts.earcases.material import Piece, Written, pieces
from scripts.earcases.rendering import Struck
from scripts.earcases.studies import studies

PLAYERS = ("professional", "practice", "steady")
PLAIN_FALSE_ALARMS = 0.05
STEADY_SHARE = 0.04
"""Scatter (SD) of a steady player's onsets, as a share of the beat."""
TRIES = 60
"""Windows that are tried for each one wanted, before another piece is taken."""
SAMPLES = Path(__file__).resolve().parent.parent / "sample_scores"
RATIOS = (1 / 4, 1 / 3, 1 / 2, 2 / 3, 3 / 2, 2.0, 2.5, 3.0)
VALUE, PACE = frozenset({"misread value"}), frozenset({"misread pace"})
LATE = frozenset({"hesitation"})


@dataclass(frozen=True)
class Played:
    """A window as it was struck, and what was changed."""

    window: Excerpt
    keys: list[Struck]
    beat_s: float
    at_quarters: float | None = None
    """The onset that is at fault; None where nothing is, or where it spans the window."""
    size_s: float = math.inf
    """How far something was moved."""
    causes: frozenset[str] = frozenset()

    @property
    def notes(self) -> list[PlayedNote]:
        keys = sorted(self.keys, key=lambda key: key.onset_s)
        return [PlayedNote(k.pitch, k.velocity, k.onset_s, k.length_s) for k in keys]

    def onsets(self) -> list[tuple[float, float]]:
        """Place in quarters and seconds of each onset."""
        times: defaultdict[float, list[float]] = defaultdict(list)
        for key in self.keys:
            times[key.beat].append(key.onset_s)
        return [(x, median(times[x])) for x in sorted(times)]

    def moved(
        self,
        by: Callable[[Struck], float],
        at: float | None = None,
        size_s: float = math.inf,
        causes: frozenset[str] = frozenset(),
    ) -> Played:
        """The same with each key struck later by so many seconds."""
        keys = [replace_time(key, by(key)) for key in self.keys]
        return replace(self, keys=keys, at_quarters=at, size_s=size_s, causes=causes)


def replace_time(key: Struck, later_s: float) -> Struck:
    """The key struck later."""
    new = deepcopy(key)
    new.onset_s += later_s
    return new


def sample_pieces() -> Iterator[Piece]:
    """The scores that Keyhole ships, as pieces."""
    for path in sorted(SAMPLES.glob("*.musicxml")):
        score = open_score(path)
        whole = choose_window(score)
        window = excerpt(score, whole)
        notes = tuple(
            Written(n.pitch, n.onset_quarters, n.length_quarters, 1 if n.hand == "RH" else 2,
                    n.grace is not None)
            for n in window.notes
        )  # fmt: skip
        step = window.grid_quarters[1] - window.grid_quarters[0]
        upper = 4 if step == 1 else 2
        yield Piece(path.stem, f"{upper}/4", step, window.grid_quarters[::upper][:-1], notes)


def material(seed: int) -> list[Piece]:
    """All pieces, those with a recording first."""
    found = [*sample_pieces(), *pieces(), *studies(seed, 20)]
    return sorted(found, key=lambda piece: not piece.recording)


def draw(pieces_: Sequence[Piece], rng: random.Random) -> Played:
    """A window of six onsets and more, played by a professional."""
    while True:
        played = try_window(draw_piece(pieces_, rng), rng)
        if played is not None:
            return played


def draw_piece(pieces_: Sequence[Piece], rng: random.Random) -> Piece:
    """A piece, three in ten times one that was recorded."""
    recorded = [p for p in pieces_ if p.recording]
    return rng.choice(recorded if recorded and rng.random() < 0.3 else pieces_)


def draw_several(pieces_: Sequence[Piece], rng: random.Random, count: int) -> list[Played]:
    """Windows of one piece, played by one professional."""
    while True:
        piece = draw_piece(pieces_, rng)
        onsets = sorted({n.onset for n in piece.notes if not n.grace})
        shortest = min(float((b - a) / piece.beat) for a, b in pairwise(onsets))
        how = rendering.manner(rng, shortest)
        tried = (try_window(piece, rng, how) for _ in range(TRIES * count))
        found = list(islice((one for one in tried if one is not None), count))
        if len(found) == count:
            return found


def try_window(
    piece: Piece, rng: random.Random, how: rendering.Manner | None = None
) -> Played | None:
    """A window at random; None where it has too few onsets, or was not played as written."""
    start = rng.choice(piece.bars) + rng.randrange(2) * piece.beat
    end = start + rng.choice((2, 3, 4, 4, 8, 8, 16)) * piece.beat
    hands = rng.choice((Hands.TOGETHER, Hands.TOGETHER, Hands.RIGHT, Hands.LEFT))
    chosen = [
        i for i, n in enumerate(piece.notes)
        if start <= n.onset <= end and hands.value in ("both", n.hand) and not n.grace
    ]  # fmt: skip
    notes = [piece.notes[i] for i in chosen]
    beats = [float((n.onset - start) / piece.beat) for n in notes]
    if len(set(beats)) < 6 or any(piece.notes[i].grace for i in range(chosen[0], chosen[-1] + 1)):
        return None
    if piece.recording:
        index = {i: at for at, i in enumerate(chosen)}
        keys = rendering.from_recording(piece.recording, index, notes, beats)
    else:
        shortest = min(b - a for a, b in pairwise(sorted(set(beats))))
        keys = rendering.play(notes, beats, rng, how or rendering.manner(rng, shortest))
    if sum(key.label == "match" for key in keys) != max(len(notes), len(keys)):
        return None
    window = excerpt_of(piece, notes, start, hands)
    for key in keys:
        key.beat *= float(piece.beat)
    played = Played(window, keys, 0.5)
    places = played.onsets()
    pace_s = (places[-1][1] - places[0][1]) / (places[-1][0] - places[0][0])
    return replace(played, beat_s=pace_s * float(piece.beat))


def excerpt_of(piece: Piece, notes: Sequence[Written], start: Fraction, hands: Hands) -> Excerpt:
    """The window as judging takes it, counted from its own start; the piece goes on after it."""
    last = max(n.onset for n in notes)
    rest = [n for n in piece.notes if n.onset > last and not n.grace]
    score = score_from_notes(
        [
            {"id": f"s{i}", "pitch": n.pitch, "onset": n.onset - start, "length": n.length,
             "hand": n.hand}
            for i, n in enumerate([*notes, *rest])
        ],
        metre=piece.metre,
    )  # fmt: skip
    return excerpt(score, Window(Fraction(0), last - start, hands))


@dataclass(frozen=True)
class Known:
    """What one player keeps from window to window."""

    slow: float
    """How much slower than the professional a learner plays."""
    spread: float
    beat_s: float
    """A steady player's."""

    @classmethod
    def draw(cls, rng: random.Random) -> Known:
        """Any player."""
        return cls(rng.uniform(1.0, 1.4), rendering.draw_spread(rng), rng.uniform(0.5, 1.0))


def by_player(
    played: Played, player: str, rng: random.Random, known: Known | None = None
) -> Played:
    """The same window in another player's timing; ``known`` is None for any player's."""
    keys = deepcopy(played.keys)
    if player == "practice":
        slow = known.slow if known else rng.uniform(1.0, 1.4)
        rendering.slower(keys, slow)
        rendering.unsteady(keys, rng, known.spread if known else None)
        return replace(played, keys=keys, beat_s=played.beat_s * slow)
    if player == "steady":
        beat_x = float(played.window.grid_quarters[1] - played.window.grid_quarters[0])
        places = sorted({key.beat for key in keys})
        shortest = min(b - a for a, b in pairwise(places))
        usual_s = known.beat_s if known else rng.uniform(0.5, 1.0)
        beat_s = max(usual_s, 0.15 * beat_x / shortest)
        off = {x: rng.gauss(0, STEADY_SHARE * beat_s) for x in places}
        for key in keys:
            key.onset_s = 1 + key.beat / beat_x * beat_s + off[key.beat] + rng.gauss(0, 0.005)
        return replace(played, keys=keys, beat_s=beat_s)
    return replace(played, keys=keys)


def hear(earlier: Sequence[Played]) -> Habits:
    """What is known of a player by other windows: nothing of the places in this one."""
    habits = Habits()
    for one in earlier:
        habits = habits.with_(judge(one.window, one.notes, habits=habits))
        habits = Habits(paces=habits.paces, scatter=habits.scatter)
    return habits


Change = Callable[[Played, random.Random], Played | None]


def value(ratio: float) -> Change:
    """One interval at a ratio of its value, all after it following."""

    def change(played: Played, rng: random.Random) -> Played | None:
        (_, from_s), (x, at_s) = rng.choice(list(pairwise(played.onsets())))
        by_s = (at_s - from_s) * (ratio - 1)
        return played.moved(lambda k: by_s if k.beat >= x else 0.0, x, abs(by_s), VALUE)

    return change


def entry(way: int) -> Change:
    """One onset 200 to 300 ms early (-1) or late (1), all else in place."""

    def change(played: Played, rng: random.Random) -> Played | None:
        by_s = rng.uniform(0.2, 0.3)
        row = played.onsets()
        able = []
        for before, now, after in zip(row, row[1:], row[2:], strict=False):
            room = now[1] - before[1] if way < 0 else after[1] - now[1]
            if room > by_s + 0.06:
                able.append(now[0])
        if not able:
            return None
        x = rng.choice(able)
        causes = frozenset({"early entry"} if way < 0 else {"late entry"})
        return played.moved(lambda k: way * by_s if k.beat == x else 0.0, x, by_s, causes)

    return change


def swing(share: float) -> Change:
    """Pairs of equal notes played long and short: ``share`` of the pair is the long one's."""

    def change(played: Played, rng: random.Random) -> Played | None:
        row, moved = played.onsets(), {}
        for (x0, s0), (x1, s1), (x2, s2) in zip(row[::2], row[1::2], row[2::2], strict=False):
            if abs(x1 - x0 - (x2 - x1)) < 1e-6 and s2 - s0 < 1.6:
                moved[x1] = s0 + share * (s2 - s0) - s1
        if len(moved) < 3:
            return None
        causes = frozenset({"wrong proportions", "uneven"})
        return played.moved(lambda k: moved.get(k.beat, 0.0), None, causes=causes)

    return change


def dotted_as_triplet(played: Played, rng: random.Random) -> Played | None:
    """Each dotted figure (3 to 1) at 2 to 1."""
    row, moved = played.onsets(), {}
    for (x0, s0), (x1, s1), (x2, s2) in zip(row, row[1:], row[2:], strict=False):
        if abs(x1 - x0 - 3 * (x2 - x1)) < 1e-6:
            moved[x1] = s0 + (s2 - s0) * 2 / 3 - s1
    if not moved:
        return None
    at = min(moved) if len(moved) == 1 else None
    causes = frozenset({"wrong proportions"})
    return played.moved(lambda k: moved.get(k.beat, 0.0), at, causes=causes)


def half_speed(played: Played, rng: random.Random) -> Played | None:
    """A third to half of the window at half speed."""
    row = played.onsets()
    size = max(2, round(rng.uniform(0.33, 0.5) * len(row)))
    first = rng.randrange(len(row) - size)
    low, high = row[first], row[first + size]
    return played.moved(
        lambda k: min(max(k.onset_s, low[1]), high[1]) - low[1] if k.beat > low[0] else 0.0,
        None,
        causes=PACE,
    )


def beats(count: int) -> Change:
    """A whole beat added (1) or cut (-1) in one interval."""

    def change(played: Played, rng: random.Random) -> Played | None:
        able = [
            x for (_, from_s), (x, at_s) in pairwise(played.onsets())
            if count > 0 or at_s - from_s > 1.2 * played.beat_s
        ]  # fmt: skip
        if not able:
            return None
        x, by_s = rng.choice(able), count * played.beat_s
        causes = VALUE | LATE
        return played.moved(lambda k: by_s if k.beat >= x else 0.0, x, played.beat_s, causes)

    return change


def reverse(played: Played, rng: random.Random) -> Played | None:
    """Two notes of one hand, one after the other, struck in reverse 40 to 200 ms apart."""
    pairs = []
    for hand in ("RH", "LH"):
        own: defaultdict[float, list[Struck]] = defaultdict(list)
        for key in played.keys:
            if key.hand == hand:
                own[key.beat].append(key)
        pairs += [
            (own[a][0], own[b][0])
            for a, b in pairwise(sorted(own))
            if len(own[a]) == len(own[b]) == 1 and own[a][0].pitch != own[b][0].pitch
            and 0.04 <= own[b][0].onset_s - own[a][0].onset_s <= 0.2
        ]  # fmt: skip
    if not pairs:
        return None
    one, other = rng.choice(pairs)
    by_s = other.onset_s - one.onset_s
    both = {one.score: by_s, other.score: -by_s}
    causes = frozenset({"wrong order"})
    return played.moved(lambda k: both.get(k.score, 0.0), one.beat, by_s, causes)


def stretch(played: Played, rng: random.Random) -> Played | None:
    """One interval 10 to 25 % longer: expression."""
    return value(1 + rng.uniform(0.10, 0.25))(played, rng)


def landing(least: float, most: float) -> Change:
    """The last onset late by a share of the interval that leads to it."""

    def change(played: Played, rng: random.Random) -> Played | None:
        (_, from_s), (x, at_s) = played.onsets()[-2:]
        by_s = (at_s - from_s) * rng.uniform(least, most)
        return played.moved(lambda k: by_s if k.beat == x else 0.0, x, by_s, VALUE | LATE)

    return change


def at_the_end(change: Change) -> Change:
    """The same where the piece ends with the window."""

    def changed(played: Played, rng: random.Random) -> Played | None:
        ends = replace(played.window, may_broaden=True)
        return change(replace(played, window=ends), rng)

    return changed


def ritard(played: Played, rng: random.Random) -> Played | None:
    """The last quarter of the window slows to 60 to 75 % of the tempo: expression."""
    row = played.onsets()
    low, high = row[3 * len(row) // 4 - 1][1], row[-1][1]
    final = rng.uniform(0.6, 0.75)

    def later(key: Struck) -> float:
        x = max(key.onset_s - low, 0.0) / max(high - low, 1e-6)
        return (1 / final - 1) / 2 * x * x * (high - low)

    return played.moved(later)


def long_ritard(played: Played, rng: random.Random) -> Played | None:
    """The last fifth to half of the window slows to 35 to 65 % of the tempo: expression.

    The tempo is (1 + (w^3 - 1) x)^(1/3) of what it was (Friberg & Sundberg 1999, JASA 105).
    """
    row, final = played.onsets(), rng.uniform(0.35, 0.65)
    first = min(len(row) - 3, round(rng.uniform(0.5, 0.8) * len(row)))
    low, high = row[first][1], row[-1][1]
    slower = 1 - final**3

    def later(key: Struck) -> float:
        done = min(max((key.onset_s - low) / (high - low), 0.0), 1.0)
        taken = (1 - (1 - slower * done) ** (2 / 3)) / (slower * 2 / 3)
        return float(taken - done) * (high - low)

    return played.moved(later)


CHANGES: dict[str, Change] = {
    "untouched": lambda played, rng: played,
    **{f"value x {ratio:.2f}": value(ratio) for ratio in RATIOS},
    "entry early": entry(-1),
    "entry late": entry(1),
    "swung 3:1": swing(3 / 4),
    "swung 2:1": swing(2 / 3),
    "dotted as triplet": dotted_as_triplet,
    "half speed in part": half_speed,
    "a beat added": beats(1),
    "a beat cut": beats(-1),
    "order reversed": reverse,
    "stretch 10 to 25 %": stretch,
    "final ritard": at_the_end(ritard),
    "long ritard": at_the_end(long_ritard),
    "ritard, music goes on": ritard,
    "landing 10 to 25 %": landing(0.10, 0.25),
    "landing 60 to 100 %": landing(0.6, 1.0),
}
EXPRESSION = (
    "untouched",
    "stretch 10 to 25 %",
    "final ritard",
    "long ritard",
    "ritard, music goes on",
    "landing 10 to 25 %",
)


def plain_extremes(played: Played) -> tuple[float, float]:
    """The least and the greatest of the plain rule's measure over a window's intervals."""
    row = sorted(played.onsets(), key=lambda onset: onset[0])
    logs = [math.log(max(t1 - t0, 0.005) / (x1 - x0)) for (x0, t0), (x1, t1) in pairwise(row)]
    least, most = 0.0, 0.0
    for i, log in enumerate(logs):
        around = logs[max(0, i - 4) : i] + logs[i + 1 : i + 5]
        middle = median(around)
        scatter = max(median(abs(x - middle) for x in around) / 0.6745, 0.03)
        z = (log - middle) / scatter
        least, most = min(least, z), max(most, z)
    return least, most


def named_right(played: Played, judgement: Judgement) -> bool:
    """Whether the first fault has one of the right causes, at the right onset."""
    told = [fault for fault in judgement.faults if not fault.forgiven]
    if not told or str(told[0].cause) not in played.causes:
        return False
    x = float(told[0].onset_quarters)
    return played.at_quarters is None or abs(x - played.at_quarters) < 1e-6


def repeated(takes: Sequence[Played], habits: Habits) -> tuple[bool, bool]:
    """Whether repetitions one after another were heard as clean: one of them, and all of them."""
    window = takes[0].window
    score = score_from_notes(
        [
            {"id": n.id, "pitch": n.pitch, "onset": n.onset_quarters, "hand": n.hand.value,
             "length": n.length_quarters}
            for n in window.notes
        ]
    )  # fmt: skip
    drill = Drill(score, repair(score, window.window), habits=habits)
    clean = [drill.repetition(take.notes).judgement.clean for take in takes]
    return any(clean), all(clean)


def halved(played: Played, x: float) -> Played:
    """The interval that leads to ``x`` at half of its value."""
    times = dict(played.onsets())
    by_s = (times[max(place for place in times if place < x)] - times[x]) / 2
    return played.moved(lambda key: by_s if key.beat >= x else 0.0, x, abs(by_s), VALUE)


class Thrice:
    """A steady player's half value, and the window left alone, each three times running."""

    def __init__(self) -> None:
        self.count = 0
        self.clean_once = self.clean = self.clean_anew = self.accused = 0

    def add(self, window: Played, misread: Played, habits: Habits, seed: str) -> None:
        """The same take three times; and one and the same misreading, scattering anew."""
        assert misread.at_quarters is not None
        once, always = repeated([misread] * 3, habits)
        rng = random.Random(seed)
        anew = [by_player(window, "steady", rng) for _ in range(3)]
        self.count += 1
        self.clean_once += once
        self.clean += always
        again = [halved(take, misread.at_quarters) for take in anew]
        self.clean_anew += repeated(again, habits)[1]
        self.accused += not repeated(anew, habits)[1]

    def __str__(self) -> str:
        return (
            f"same half value three times, steady, of {self.count}: {self.clean_once} heard as "
            f"clean at least once, {self.clean} all three times, {self.clean_anew} where each "
            f"scatters anew; {self.accused} not clean all three times where nothing was misread"
        )


def run(seed: int, windows: int, drills: int, earlier: int) -> None:
    """Print the table of one seed."""
    stock = material(seed)
    told: defaultdict[tuple[str, str], list[tuple[bool, bool, float, float, float]]]
    told = defaultdict(list)
    thrice = Thrice()
    took_s, judged = 0.0, 0
    for number in range(windows):
        rng = random.Random(f"{seed}/{number}")
        before = draw_several(stock, rng, earlier + 1) if earlier else [draw(stock, rng)]
        window = before.pop()
        for player in PLAYERS:
            known = Known.draw(rng) if earlier else None
            habits = hear([by_player(one, player, rng, known) for one in before])
            own = by_player(window, player, rng, known)
            for name, change in CHANGES.items():
                made = change(own, rng)
                if made is None:
                    continue
                start = time.process_time()
                verdict = judge(made.window, made.notes, habits=habits if earlier else None)
                took_s, judged = took_s + time.process_time() - start, judged + 1
                low, high = plain_extremes(made)
                heard = (not verdict.clean, named_right(made, verdict), low, high, made.size_s)
                told[player, name].append(heard)
                if player == "steady" and name == "value x 0.50" and thrice.count < drills:
                    thrice.add(window, made, habits, f"{seed}/{number}/thrice")
    report(told)
    print(thrice)
    print(f"{judged} judged, {1000 * took_s / judged:.2f} ms each")


def report(
    told: dict[tuple[str, str], list[tuple[bool, bool, float, float, float]]],
) -> None:
    """Shares by kind and player: told, right, and the plain rule's."""
    limits = {}
    for player in PLAYERS:
        rows = told[player, "untouched"]
        lows, highs = sorted(row[2] for row in rows), sorted(row[3] for row in rows)
        ours = sum(row[0] for row in rows) / len(rows)
        places = [int(share / 2 * len(rows)) for share in (PLAIN_FALSE_ALARMS, ours)]
        limits[player] = [(lows[at], highs[-1 - at]) for at in places]
    print(f"{'':22}" + "".join(f"{player:>32}" for player in PLAYERS))
    print(f"{'':22}" + f"{'n  told right plain alike':>32}" * 3)
    for name in CHANGES:
        cells = ""
        for player in PLAYERS:
            rows = told[player, name]
            if not rows:
                cells += f"{'-':>32}"
                continue
            plain, alike = (
                sum(row[2] < low or row[3] > high for row in rows) / len(rows)
                for low, high in limits[player]
            )
            share = sum(row[0] for row in rows) / len(rows)
            right = sum(row[1] for row in rows) / len(rows)
            shown = "  -  " if name in EXPRESSION else f"{right:5.2f}"
            cells += f"{len(rows):8}{share:6.2f}{shown:>6}{plain:6.2f}{alike:6.2f}"
        print(f"{name:22}{cells}")
    for least in (0.1, 0.2):
        cells = ""
        for name in CHANGES:
            rows = [row for row in told["steady", name] if row[4] >= least]
            if name.startswith("value") and rows:
                cells += f"  {name[6:]} {sum(row[0] for row in rows) / len(rows):.2f}"
        print(f"steady, changed by {least} s and more: {cells}")


def main() -> None:
    """Read the command line, run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--windows", type=int, default=200)
    parser.add_argument("--drills", type=int, default=60)
    parser.add_argument("--earlier", type=int, default=0)
    given = parser.parse_args()
    run(given.seed, given.windows, given.drills, given.earlier)


if __name__ == "__main__":
    main()
