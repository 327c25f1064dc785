"""How near the other hand comes to the player's own beat, and whether it waits.

    python -m scripts.bench_company [--players 40] [--seed 1]

Simulated pianists play windows of one hand of the sample scores, into the real follower; their pace
changes by a fifth, at once or over some beats, there and back. Printed is how far each note of the
other hand is from where the player's beat has it, by straight lines between the player's own
onsets: in milliseconds, without the way through the program (``scripts.bench_sounding`` has that).
"""

from __future__ import annotations

import argparse
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import replace
from math import inf
from pathlib import Path
from random import Random

from coach.coaching.drill import Drill
from coach.drill import repair
from coach.playing.accompaniment import Accompanist, find_other_hand
from coach.playing.click_schedule import Timed
from coach.playing.midi_events import KeyDown
from coach.playing.notes import PlayedNote
from coach.playing.playback import begins_note
from coach.playing.simulated.player import INTERMEDIATE, SimulatedPianist
from coach.score.model import Hands, Score
from coach.score.reading import read_score
from coach.score.window import Excerpt, Window, excerpt

SAMPLES = sorted((Path(__file__).parent.parent / "sample_scores").glob("*.musicxml"))
CHANGE = 0.2
"""How much the pace changes, as a share of it."""


def windows(score: Score, bars: int) -> Iterator[Window]:
    """Windows of so many bars, each hand alone."""
    for at in range(0, len(score.bars) - bars + 1, bars):
        first, last = score.bars[at], score.bars[at + bars - 1]
        for hands in (Hands.RIGHT, Hands.LEFT):
            yield Window(first.onset_quarters, last.end_quarters, hands)


def bend_pace(notes: tuple[PlayedNote, ...], dice: Random) -> list[PlayedNote]:
    """The same notes at a pace that changes by a fifth and back, at once or over a second."""
    if not notes:
        return []
    end_s = notes[-1].onset_s
    from_s, until_s = sorted((dice.uniform(0, end_s), dice.uniform(0, end_s)))
    slower, ramp_s = dice.choice((1 + CHANGE, 1 - CHANGE)), dice.choice((0.0, 1.0))
    out, before_s, at_s = [], notes[0].onset_s, notes[0].onset_s
    for note in notes:
        share = min((note.onset_s - from_s) / ramp_s, 1.0) if ramp_s else 1.0
        pace = 1 + (slower - 1) * share if from_s < note.onset_s <= until_s else 1.0
        at_s += (note.onset_s - before_s) * pace
        before_s = note.onset_s
        out.append(replace(note, onset_s=at_s))
    return out


def accompany(
    score: Score, part: Excerpt, notes: list[PlayedNote], qpm: float
) -> tuple[list[Timed], dict[float, float]]:
    """What the other hand sounded, and when the player struck each onset."""
    drill = Drill(score, repair(score, part.window, qpm=qpm))
    onsets = [float(one) for one in part.onsets_quarters]
    company = Accompanist(find_other_hand(score, part), onsets, quarter_s=60 / qpm)
    waiting: list[Timed] = []
    sent: list[Timed] = []
    struck: dict[float, float] = {}
    for note in notes:
        sent += [one for one in waiting if one[0] <= note.onset_s]
        waiting = [one for one in waiting if one[0] > note.onset_s]
        drill.hear(KeyDown(note.pitch, note.velocity, note.onset_s))
        if drill.reached is None:
            continue
        here = float(drill.reached)
        if here not in struck:
            struck[here] = note.onset_s
        if (planned := company.follow(here, note.onset_s)) is not None:
            waiting = list(planned)
    return sorted([*sent, *waiting]), struck


def errors_ms(
    score: Score, part: Excerpt, sent: list[Timed], struck: dict[float, float]
) -> list[float]:
    """For each note of the other hand between two onsets of the player's, how late it is."""
    known = sorted(struck.items())
    due: list[tuple[int, float]] = []
    for note in find_other_hand(score, part):
        at = bisect_right(known, (float(note.onset_quarters), inf))
        if note.grace is None and 0 < at < len(known):
            (q0, s0), (q1, s1) = known[at - 1], known[at]
            share = (float(note.onset_quarters) - q0) / (q1 - q0)
            due.append((note.pitch, s0 + (s1 - s0) * share))
    begun = [(message[1], at_s) for at_s, message in sent if begins_note(message)]
    pairs = sorted(
        (abs(at_s - due_s), d, b)
        for d, (pitch, due_s) in enumerate(due)
        for b, (key, at_s) in enumerate(begun)
        if key == pitch and abs(at_s - due_s) < 0.5
    )
    found: dict[int, float] = {}
    taken: set[int] = set()
    for _, d, b in pairs:  # the nearest first: a key that is repeated is met once for each stroke
        if d not in found and b not in taken:
            found[d] = 1000 * (begun[b][1] - due[d][1])
            taken.add(b)
    return [found.get(d, inf) for d in range(len(due))]


def main() -> None:
    """Play, and print the errors."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--players", type=int, default=40)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    dice = Random(chosen.seed)
    found: list[float] = []
    for _ in range(chosen.players):
        score = read_score(dice.choice(SAMPLES))
        part = excerpt(score, dice.choice(list(windows(score, dice.choice((1, 2, 4))))))
        if not part.notes or not find_other_hand(score, part):
            continue
        player = SimulatedPianist(score, seed=dice.randint(0, 10**6), level=INTERMEDIATE)
        qpm = part.qpm * dice.choice((0.6, 0.8, 1.0))
        notes = bend_pace(player.play(part, qpm, start_s=1.0), dice)
        sent, struck = accompany(score, part, notes, qpm)
        found += errors_ms(score, part, sent, struck)
    off = sorted(abs(one) for one in found)
    shares = {share: off[int(share * (len(off) - 1))] for share in (0.5, 0.95, 0.99)}
    late = sum(one == inf for one in off)
    print(f"{len(off)} notes; passed over {late}; off by, in ms: {shares}")
    print(f"within 50 ms: {sum(one <= 50 for one in off) / len(off):.1%}")


if __name__ == "__main__":
    main()
