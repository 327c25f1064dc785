"""Decoding: the likeliest reading of a take, note by note, as a beam of hypotheses.

A hypothesis says where each hand is in the score, which notes it has played, and how fast time
goes. Each struck key extends it in every way that makes sense: the note meant, a wrong key for a
note that is due, a key too many, or a jump back to an earlier place (a stumble or a restart).
Costs are negative log likelihoods up to a constant, set on seeded cases (scripts/earcases).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coach.judging.matching_score import Layout
from coach.playing.notes import PlayedNote

MATCH, WRONG, EXTRA, JUMP, FREE = range(5)

Step = tuple["Step | None", int, int, int]
"""(the step before, played index, kind, note)"""


@dataclass(slots=True)
class Reading:
    """One hypothesis about the take so far."""

    cost: float
    done: int
    """Bit i is set where note i has been played since the last jump back."""
    front: tuple[int, int]
    """Furthest onset that each hand has reached."""
    at_s: tuple[float, float]
    """When each hand last played for the score; negative infinity: not yet."""
    at_beat: tuple[float, float]
    period_s: float
    """Seconds in a beat."""
    last_wrong: tuple[int, int]
    """Hand and distance in semitones of a wrong key just struck; hand -1: none."""
    last_s: float
    """When the last key went down, whatever it was."""
    step: Step | None


NEVER = float("-inf")


@dataclass(frozen=True, slots=True)
class Costs:
    """What each kind of event costs."""

    skip: float = 1.6
    missed: float = 2.4
    extra: float = 4.5
    brush: float = 2.5
    wrong_near: float = 4.0
    wrong_octave: float = 4.5
    wrong_far: float = 7.5
    wrong_same: float = 1.0
    wrong_shift: float = 2.0
    jump: float = 8.5
    pause: float = 4.0
    late_cap: float = 4.0
    early_cap: float = 5.5
    other: float = 0.2
    order: float = 1.0
    beam: int = 12
    width: float = 24.0


def decode(
    layout: Layout, played: Sequence[PlayedNote], period_s: float, costs: Costs
) -> list[Reading]:
    """The likeliest readings of the whole take, the best first."""
    beam = [Reading(0.0, 0, (0, 0), (NEVER, NEVER), (0.0, 0.0), period_s, (-1, 0), NEVER, None)]
    for index, note in enumerate(played):
        found: dict[tuple[int, tuple[int, int]], Reading] = {}
        for reading in beam:
            for new in extend(layout, reading, index, note, costs):
                key = (new.done, new.front)
                old = found.get(key)
                if old is None or new.cost < old.cost:
                    found[key] = new
        beam = sorted(found.values(), key=_cost)[: costs.beam]
        limit = beam[0].cost + costs.width
        while beam[-1].cost > limit:
            beam.pop()
    for reading in beam:
        reading.cost += _unplayed(layout, reading, costs)
    beam.sort(key=_cost)
    return beam


def _cost(reading: Reading) -> float:
    return reading.cost


def _unplayed(layout: Layout, reading: Reading, costs: Costs) -> float:
    """What the notes never played cost, those before each hand's front having been paid."""
    total = 0.0
    for hand in (0, 1):
        missed = 0
        for note in range(layout.first[reading.front[hand]], len(layout.pitch)):
            if layout.hand[note] == hand and not reading.done >> note & 1:
                missed += 1
        if missed:
            total += costs.skip + costs.missed * missed
    return total


def extend(
    layout: Layout, reading: Reading, index: int, note: PlayedNote, costs: Costs
) -> list[Reading]:
    """Every sensible reading of one more key."""
    pitch, at = note.pitch, note.onset_s
    out: list[Reading] = []
    ahead = 0
    low = min(reading.front)
    best = 99.0
    for target in layout.of_pitch.get(pitch, ()):
        if reading.done >> target & 1:
            continue
        onset = layout.onset[target]
        if onset < low - 6:
            continue
        hand = layout.hand[target]
        if onset > reading.front[hand]:
            ahead += 1
            if ahead > 3:
                break
        timing = _timing(layout, reading, target, at, costs)
        cost = timing + _advance(layout, reading, hand, onset, costs)
        best = min(best, cost)
        out.append(_played(layout, reading, index, at, target, MATCH, reading.cost + cost, (-1, 0)))
    out += _free(layout, reading, index, note)
    out += _wrong(layout, reading, index, note, costs)
    out.append(_extra(layout, reading, index, note, costs))
    if best > 2.5:
        out += _jumps(layout, reading, index, note, costs)
    return out


def _advance(layout: Layout, reading: Reading, hand: int, onset: int, costs: Costs) -> float:
    """What moving a hand to an onset costs: the notes left out, or a note out of order."""
    front = reading.front[hand]
    if onset == front:
        return 0.0
    if onset < front:
        return costs.order - costs.missed
    missed = 0
    for note in range(layout.first[front], layout.first[onset]):
        if layout.hand[note] == hand and not reading.done >> note & 1:
            missed += 1
    return costs.skip + costs.missed * missed if missed else 0.0


def _timing(layout: Layout, reading: Reading, target: int, at: float, costs: Costs) -> float:
    """How badly a key's time fits a note: by its own hand's clock and by the other's."""
    hand = layout.hand[target]
    beat = layout.beat[layout.onset[target]]
    slack = 0.07 if layout.small[target] else 0.02
    worst, least = 0.0, None
    for side in (hand, 1 - hand):
        if reading.at_s[side] == NEVER:
            continue
        gap = beat - reading.at_beat[side]
        away = at - reading.at_s[side] - gap * reading.period_s
        x = abs(away) / (slack + 0.16 * reading.period_s * min(abs(gap), 2.0))
        cap = costs.late_cap if away > 0 else costs.early_cap
        cost = 0.5 * x * x if x < 1.5 else 1.125 + 0.55 * (x - 1.5)
        cost = min(cost, cap)
        if side != hand:
            cost += 0.1
        worst = max(worst, cost)
        least = cost if least is None else min(least, cost)
    if least is None:
        return 0.0
    return least + costs.other * worst


def _played(
    layout: Layout, reading: Reading, index: int, at: float, target: int, kind: int, cost: float,
    wrong: tuple[int, int],
) -> Reading:  # fmt: skip
    """The reading after a key played for a note."""
    hand, onset = layout.hand[target], layout.onset[target]
    front, at_s, at_beat = reading.front, reading.at_s, reading.at_beat
    period = reading.period_s
    if onset >= front[hand] and not layout.small[target]:
        beat = layout.beat[onset]
        gap = beat - at_beat[hand]
        if onset > front[hand] and at_s[hand] != NEVER and gap > 0:
            rate = (at - at_s[hand]) / gap
            rate = min(max(rate, period * 0.75), period * 1.35)
            period += min(0.35, 0.5 * gap) * (rate - period)
        if onset > front[hand] or at_s[hand] == NEVER:
            if hand == 0:
                front, at_s, at_beat = (onset, front[1]), (at, at_s[1]), (beat, at_beat[1])
            else:
                front, at_s, at_beat = (front[0], onset), (at_s[0], at), (at_beat[0], beat)
    elif onset > front[hand]:
        front = (onset, front[1]) if hand == 0 else (front[0], onset)
    return Reading(
        cost, reading.done | 1 << target, front, at_s, at_beat, period, wrong, at,
        (reading.step, index, kind, target),
    )  # fmt: skip


def _free(layout: Layout, reading: Reading, index: int, note: PlayedNote) -> list[Reading]:
    """A note of an ornament that is played freely."""
    if True not in layout.free:
        return []
    out = []
    for hand in (0, 1):
        onset = reading.front[hand]
        for target in range(layout.first[onset], layout.first[onset + 1]):
            if (
                layout.free[target]
                and layout.hand[target] == hand
                and reading.done >> target & 1
                and abs(note.pitch - layout.pitch[target]) <= 4
            ):
                step = (reading.step, index, FREE, target)
                out.append(_same(reading, reading.cost + 0.3, note.onset_s, step))
    return out


def _same(reading: Reading, cost: float, at: float, step: Step) -> Reading:
    return Reading(
        cost, reading.done, reading.front, reading.at_s, reading.at_beat, reading.period_s,
        (-1, 0), at, step,
    )  # fmt: skip


def _wrong(
    layout: Layout, reading: Reading, index: int, note: PlayedNote, costs: Costs
) -> list[Reading]:
    """A wrong key for a note that is due now."""
    out = []
    for hand in (0, 1):
        seen = 0
        start = reading.front[hand]
        for target in range(layout.first[start], len(layout.pitch)):
            if layout.hand[target] != hand or reading.done >> target & 1:
                continue
            seen += 1
            if seen > 6:
                break
            away = note.pitch - layout.pitch[target]
            size = abs(away)
            if size == 0:
                continue
            if reading.last_wrong == (hand, away):
                cost = costs.wrong_same
            elif reading.last_wrong[0] == hand and size <= 4 and reading.last_wrong[1] * away > 0:
                cost = costs.wrong_shift
            elif size <= 2:
                cost = costs.wrong_near
            elif size == 12:
                cost = costs.wrong_octave
            elif size <= 5:
                cost = costs.wrong_near + 0.7 * (size - 2)
            else:
                cost = costs.wrong_far
            onset = layout.onset[target]
            cost += 1.5 * _timing(layout, reading, target, note.onset_s, costs)
            cost += _advance(layout, reading, hand, onset, costs)
            if cost < costs.extra + costs.missed + costs.skip + 1:
                out.append(
                    _played(
                        layout, reading, index, note.onset_s, target, WRONG, reading.cost + cost,
                        (hand, away),
                    )
                )  # fmt: skip
    return out


def _extra(layout: Layout, reading: Reading, index: int, note: PlayedNote, costs: Costs) -> Reading:
    """A key that the score does not ask for; a soft neighbour struck along costs less."""
    cost = costs.extra
    if note.length_s is not None and note.length_s < 0.13 and note.velocity < 45:
        cost = costs.brush
    if reading.at_s == (NEVER, NEVER):
        cost *= 0.7
    new = _same(reading, reading.cost + cost, note.onset_s, (reading.step, index, EXTRA, -1))
    new.last_wrong = reading.last_wrong
    return new


def _jumps(
    layout: Layout, reading: Reading, index: int, note: PlayedNote, costs: Costs
) -> list[Reading]:
    """Back to an earlier onset, to play on from there: a stumble or a restart."""
    out = []
    front = max(reading.front)
    pause = note.onset_s - reading.last_s
    for target in layout.of_pitch.get(note.pitch, ()):
        onset = layout.onset[target]
        if onset > front:
            break
        cost = costs.jump - costs.pause * min(max(pause - 0.1, 0.0) / 0.3, 1.0)
        back = front - onset
        if onset > 0:
            cost += min(0.15 * back, 2.0)
        first = layout.first[onset]
        done = reading.done & (1 << first) - 1
        beat = layout.beat[onset]
        at = note.onset_s
        step = (reading.step, index, JUMP, first)
        base = Reading(
            reading.cost + cost, done, (onset, onset), (at, at), (beat, beat), reading.period_s,
            (-1, 0), at, step,
        )  # fmt: skip
        base.done |= 1 << target
        base.step = (step, index, MATCH, target)
        out.append(base)
    return out
