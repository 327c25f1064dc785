"""How near the other hand comes to the player's own beat, and whether it waits.

    python -m scripts.bench_company [--players 40] [--seed 1]

Three kinds of players play windows of one hand of the sample scores, into the real follower. What
is played along knows none of their laws.

- *sudden*: a simulated pianist whose pace changes by a fifth in each window, at once or within a
  second, and back. Played once.
- *at home*: scatter of any family (``simulated/hands.py``), a pace of their own for what is asked
  for, and a pace that bends by up to a fifth: at once at a bar line, over some beats, as an arc
  over the phrase, towards the end, or not at all; now and then a key is waited for. Four times.
- *listening*: the same, but they hear what is played along, and go with it where it moves alone.

Printed is how far each note of the other hand is from where the player's beat has it, by straight
lines between the player's own onsets: in milliseconds, without the way through the program
(``scripts.bench_sounding`` has that). Beside it stands one who can't be bettered: who knows each
interval's pace beforehand, but for those in which it turns by more than a tenth; there he goes on
as before.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import cycle, pairwise
from math import inf, pi, sin
from pathlib import Path
from random import Random
from statistics import fmean, median

from coach.coaching.drill import Drill
from coach.drill import repair
from coach.playing.accompaniment import Accompanist, PaceFollower, find_other_hand
from coach.playing.click_schedule import Timed
from coach.playing.midi_events import KeyDown
from coach.playing.notes import PlayedNote
from coach.playing.playback import begins_note
from coach.playing.simulated.hands import Manner, in_time
from coach.playing.simulated.player import INTERMEDIATE, SimulatedPianist
from coach.score.model import Hands, Score
from coach.score.reading import read_score
from coach.score.window import Excerpt, Window, excerpt
from coach.screens.drill.company import REMEMBERED

SAMPLES = sorted((Path(__file__).parent.parent / "sample_scores").glob("*.musicxml"))
CHANGE = 0.2
"""How much the pace changes, as a share of it."""
NEAR_MS = 50
"""So near is together: the bar."""


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


HOME_REPETITIONS = 4
TURN = 0.1
"""A pace that differs by more than this from the interval before can't be foreseen."""
LISTENS = (0.2, 0.6)
"""By what share of a deviation one who listens corrects the next stroke (Repp 2005, section 3.1, of
tapping: from memory)."""
WAITED, WAIT_S = 0.02, (0.2, 1.0)
"""How often a player at home waits for a key, and how long."""


def play_at_home(
    part: Excerpt, quarter_s: float, manner: Manner, bar_quarters: float, dice: Random
) -> list[PlayedNote]:
    """One repetition at a pace that bends by up to a fifth."""
    onsets = [float(one) for one in part.onsets_quarters]
    gaps = [after - before for before, after in pairwise(onsets)]
    times = in_time(gaps, quarter_s, manner, dice)
    curve = draw_curve(onsets[0], onsets[-1], bar_quarters, dice)
    struck, at_s = {}, 1.0
    for at, onset in enumerate(onsets):
        if at:
            middle = (onsets[at - 1] + onset) / 2
            at_s += max((times[at] - times[at - 1]) * curve(middle), 0.02)
            at_s += dice.uniform(*WAIT_S) if dice.random() < WAITED else 0.0
        struck[onset] = at_s
    return [PlayedNote(note.pitch, 64, struck[float(note.onset_quarters)]) for note in part.notes]


def draw_curve(
    first: float, last: float, bar_quarters: float, dice: Random
) -> Callable[[float], float]:
    """How many times slower than usual it goes at each place."""
    most, whole = dice.uniform(-CHANGE, CHANGE), max(last - first, 1e-6)
    place = first + bar_quarters * dice.randint(1, max(int(whole / bar_quarters), 1))
    over = dice.uniform(1.0, 4.0)
    curves: tuple[Callable[[float], float], ...] = (
        lambda at: 1.0,
        lambda at: 1 + most * (at >= place),
        lambda at: 1 + most * min(max((at - place) / over, 0.0), 1.0),
        lambda at: 1 + most * sin(pi * (at - first) / whole),
        lambda at: 1 + abs(most) * max(1 - (last - at) / over, 0.0),
    )
    return dice.choice(curves)


def accompany(
    score: Score,
    part: Excerpt,
    notes: Sequence[PlayedNote],
    pace: PaceFollower,
    listens: float = 0.0,
) -> tuple[list[Timed], dict[float, float]]:
    """What the other hand sounded, and when the player struck each onset.

    One who listens, while the other hand moves alone, comes nearer to where that will be, by this
    share of the way.
    """
    drill = Drill(score, repair(score, part.window, qpm=60 / pace.quarter_s))
    onsets = [float(one) for one in part.onsets_quarters]
    company = Accompanist(find_other_hand(score, part), onsets, pace)
    waiting: list[Timed] = []
    sent: list[Timed] = []
    struck: dict[float, float] = {}
    drawn_s, before_s = 0.0, -inf
    for written, note in zip(cycle(part.notes), notes, strict=False):
        if listens and note.onset_s > before_s:
            expected_s = company.expects(float(written.onset_quarters))
            moves_s = [at_s for at_s, one in waiting if begins_note(one)]
            if expected_s is not None and moves_s and moves_s[0] < note.onset_s + drawn_s:
                drawn_s += listens * (expected_s - note.onset_s - drawn_s)
        before_s, at_s = note.onset_s, note.onset_s + drawn_s
        sent += [one for one in waiting if one[0] <= at_s]
        waiting = [one for one in waiting if one[0] > at_s]
        drill.hear(KeyDown(note.pitch, note.velocity, at_s))
        if drill.reached is None:
            continue
        here = float(drill.reached)
        struck.setdefault(here, at_s)
        if (planned := company.follow(here, at_s)) is not None:
            waiting = list(planned)
    return sorted([*sent, *waiting]), struck


@dataclass(frozen=True, slots=True)
class Interval:
    """From one onset that the player struck to the next."""

    first: float
    last: float
    at_s: float
    pace: float


def intervals(struck: dict[float, float]) -> list[Interval]:
    """All of a repetition, in order."""
    return [
        Interval(q0, q1, s0, (s1 - s0) / (q1 - q0))
        for (q0, s0), (q1, s1) in pairwise(sorted(struck.items()))
    ]


@dataclass(frozen=True, slots=True)
class Note:
    """A note of the other hand that lies between two onsets which the player struck."""

    off_ms: float
    """How late it sounded; infinite where it was passed over."""
    best_ms: float
    """How late it would have been with one who knows the pace wherever it can be foreseen."""
    is_between: bool
    """Whether it lies between the player's own onsets, and not at one."""


def compare(
    score: Score, part: Excerpt, sent: Sequence[Timed], struck: dict[float, float]
) -> list[Note]:
    """Each note of the other hand, as it came and as it was due."""
    steps = intervals(struck)
    due: list[tuple[int, float, float, bool]] = []
    for note in find_other_hand(score, part):
        onset = float(note.onset_quarters)
        at = next((k for k, one in enumerate(steps) if one.first <= onset < one.last), None)
        if note.grace is None and at is not None:
            pace, before = steps[at].pace, steps[max(at - 1, 0)].pace
            on = onset - steps[at].first
            best = before if abs(pace / before - 1) > TURN else pace
            due.append((note.pitch, steps[at].at_s + on * pace, 1000 * on * (best - pace), on > 0))
    begun = [(message[1], at_s) for at_s, message in sent if begins_note(message)]
    pairs = sorted(
        (abs(at_s - due_s), d, b)
        for d, (pitch, due_s, _, _) in enumerate(due)
        for b, (key, at_s) in enumerate(begun)
        if key == pitch and abs(at_s - due_s) < 0.5
    )
    found: dict[int, float] = {}
    taken: set[int] = set()
    for _, d, b in pairs:  # the nearest first: a key that is repeated is met once for each stroke
        if d not in found and b not in taken:
            found[d] = 1000 * (begun[b][1] - due[d][1])
            taken.add(b)
    return [Note(found.get(d, inf), best, between) for d, (_, _, best, between) in enumerate(due)]


def draw_window(dice: Random) -> tuple[Score, Excerpt] | None:
    """A window of one hand beside which the other plays, too."""
    score = read_score(dice.choice(SAMPLES))
    part = excerpt(score, dice.choice(list(windows(score, dice.choice((1, 2, 4))))))
    return (score, part) if part.notes and find_other_hand(score, part) else None


def hear_sudden(dice: Random) -> list[Note]:
    """One window, one repetition: a fifth of a change, there and back."""
    drawn = draw_window(dice)
    if drawn is None:
        return []
    score, part = drawn
    player = SimulatedPianist(score, seed=dice.randint(0, 10**6), level=INTERMEDIATE)
    qpm = part.qpm * dice.choice((0.6, 0.8, 1.0))
    notes = bend_pace(player.play(part, qpm, start_s=1.0), dice)
    return compare(score, part, *accompany(score, part, notes, PaceFollower(60 / qpm)))


def hear_listening(dice: Random) -> list[Note]:
    """As at home, by one who listens."""
    return hear_at_home(dice, dice.uniform(*LISTENS))


def hear_at_home(dice: Random, listens: float = 0.0) -> list[Note]:
    """One window, some repetitions of one player: their own pace is known from the second on."""
    drawn = draw_window(dice)
    if drawn is None:
        return []
    score, part = drawn
    manner, asked_s = Manner.draw_manner(dice), 60 / part.qpm
    own_s = asked_s / dice.uniform(manner.tempo_low, manner.tempo_high)
    first_bar = score.bar_at(part.window.start_quarters)
    bar = float(first_bar.end_quarters - first_bar.onset_quarters)
    found: list[Note] = []
    pace = PaceFollower(asked_s)
    tempi: list[float] = []
    for _ in range(HOME_REPETITIONS):
        notes = play_at_home(part, own_s * dice.uniform(0.97, 1.03), manner, bar, dice)
        sent, struck = accompany(score, part, notes, pace, listens)
        found += compare(score, part, sent, struck)
        if paces := [interval.pace for interval in intervals(struck)]:
            tempi.append(median(paces))
            pace = PaceFollower(fmean(tempi[-REMEMBERED:]), is_known=True)
    return found


KINDS = {"sudden": hear_sudden, "at home": hear_at_home, "listening": hear_listening}


def told(kind: str, notes: Sequence[Note]) -> str:
    """A row: shares within the bar, of what was heard and of what could be."""

    def near(off: Sequence[float]) -> str:
        return f"{sum(abs(one) <= NEAR_MS for one in off) / max(len(off), 1):6.1%}"

    between = [one for one in notes if one.is_between]
    return (
        f"{kind:<9} within {NEAR_MS} ms: of {len(notes)} notes {near([n.off_ms for n in notes])} "
        f"(at best {near([n.best_ms for n in notes])}); of {len(between)} between the player's "
        f"onsets {near([n.off_ms for n in between])} (at best {near([n.best_ms for n in between])})"
        f"; passed over {sum(n.off_ms == inf for n in notes)}"
    )


def main() -> None:
    """Play, and print the rows."""
    options = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    options.add_argument("--players", type=int, default=40)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    for kind, hear in KINDS.items():
        dice = Random(chosen.seed)
        print(told(kind, [one for _ in range(chosen.players) for one in hear(dice)]))


if __name__ == "__main__":
    main()
