"""The steps of a plan: which tasks in which order, and how hard a stretch is to play (Fitts 1954).

Known music is one task: the whole window, repaired where it breaks. New music is read first, as
much at once as is easy enough: hands together, in time, at one's own pace. What goes well at sight
is not drilled. Where a reading breaks twice it is taken apart: the bars that broke are learnt, the
hand that broke for itself and then both together, and the stretch is read again. Neighbours that
were read are joined, and at the end stands the whole at its tempo.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise
from math import ceil

from coach.coaching.diagnosis import fitts_bits
from coach.coaching.model import AssignmentKind, Goal, Order, Way
from coach.coaching.practice import OFF_PACE, Task, two_thirds_of
from coach.coaching.windows import PracticeMap
from coach.coaching.wording import (
    FIRST_READING,
    HAND_FIRST,
    HANDS,
    IN_TIME,
    JOIN_THEM,
    JOINED,
    NEW_BAR,
    NEW_HAND,
    NEW_TOGETHER,
    NOW_ON_FROM_THERE,
    THAT_HAND,
    WHOLE_AT_LAST,
    first_section_words,
    next_section_words,
    stretch_words,
    tempo_words,
)
from coach.judging.model import Stage
from coach.score.model import Hands
from coach.score.window import Transition, Window
from coach.score.words import capitalise

LEARNING_SHARE = 0.75
"""Tempo that a new bar is brought to, as a share of the goal's. Own choice, because the joins and
the whole do the rest."""
BEGIN_SHARE = 0.55
"""Tempo that a new bar begins at, as a share of the goal's. Own choice, because it is a little more
than half, under which it is another movement."""
READ_BARS = 4
"""Most bars of a first reading. Own choice, because a phrase of four bars is what one remembers."""
READ_BITS = 100.0
"""Most bits of a first reading (:func:`reading_bits`). Own choice: four bars of eighths over a
walking bass, or one of sixteenths in both hands."""
JOINED_BARS = 8
"""Most bars that are joined before the whole. Own choice: two phrases, a period."""
SECTION_BARS = (8, 4, 2)
"""A whole of more bars than the first is taken apart where it slips twice running, to sections of
about so many; one of more than the second or the third that slips too, to those. A whole of more
than the second is taken apart once no place stands out in it. Own choice, a period, a phrase and
half of one: who slips at one note in 200 plays four bars of 40 notes three times running clean
every second time, and 32 bars hardly ever."""
SHORTEST_QUARTERS = 0.25
"""A stretch counts as no shorter than this, so that a grace note's is not endlessly hard."""
KEY_BITS = 1
"""Bits that each note adds to a stretch's difficulty. Own choice: one more key to be found."""
LEAST_PART_BEATS = 2
"""Beats of a part that is played while a place in the middle is left. Own choice: shorter is no
music."""


def difficulty(practice_map: PracticeMap, window: Window) -> float:
    """Bits to be found a quarter note, over the hands."""
    quarters = float(window.end_quarters - window.start_quarters)
    return reading_bits(practice_map, window) / max(quarters, SHORTEST_QUARTERS)


def reading_bits(practice_map: PracticeMap, window: Window) -> float:
    """Bits of aiming (Fitts) in a stretch, over the hands, and one bit more for each key."""
    hands = [one for one in practice_map.hands_in_use if one.members <= window.hands.members]
    return sum(_bits(practice_map, window.of(one), one) for one in hands)


def _bits(practice_map: PracticeMap, window: Window, hands: Hands) -> float:
    notes = practice_map.score.notes_between(window.start_quarters, window.end_quarters, hands)
    onsets = sorted({note.onset_quarters for note in notes})
    tops = [max(n.pitch for n in notes if n.onset_quarters == at) for at in onsets]
    return KEY_BITS * len(notes) + sum(
        fitts_bits(after - before) for before, after in pairwise(tops)
    )


class StepRole(StrEnum):
    """What sort of step it is."""

    READ = "read"
    """A first reading; where it breaks it is taken apart."""
    HAND = "hand"
    """One hand of a bar that broke."""
    BAR = "bar"
    """A bar that broke, all hands in time."""
    JOIN = "join"
    """Stretches that were read, in one."""
    WHOLE = "whole"
    PART = "part"
    """What is left of the whole without a place that is left for today."""
    HAND_FIRST = "hand first"
    """One hand of a stretch, which failed nearly everywhere in it while the other held."""
    SECTION = "section"
    """A part of a long whole that slips here and there."""


@dataclass(frozen=True, slots=True)
class PlanStep:
    """A task of the plan and what it is called."""

    task: Task
    what: str
    kind: StepRole = StepRole.WHOLE

    @property
    def title(self) -> str:
        """What it is called, at the beginning of a sentence."""
        return capitalise(self.what)


def make_steps(practice_map: PracticeMap, goal: Goal) -> tuple[PlanStep, ...]:
    """Every step of the way to the goal, in order; always at least one."""
    if goal.way is Way.REPAIR:
        task = _with_length(practice_map, _task_of_whole(goal))
        return (PlanStep(task, stretch_words(practice_map.score, goal.window)),)
    units = _stretches_to_read(practice_map, goal)
    made: list[PlanStep] = []
    read: set[int] = set()
    for unit in _order_stretches(practice_map, goal, units):
        made.append(make_step(practice_map, goal, StepRole.READ, units[unit]))
        read.add(unit)
        joins = _stretches_to_join(practice_map, goal, units, read, unit)
        made += [make_step(practice_map, goal, StepRole.JOIN, cut) for cut in joins]
    return (*made, _step_of_whole(practice_map, goal))


def make_step(practice_map: PracticeMap, goal: Goal, kind: StepRole, window: Window) -> PlanStep:
    """The step of this kind for a stretch of new music."""
    make = {
        StepRole.READ: _step_of_reading,
        StepRole.HAND: _step_of_hand,
        StepRole.BAR: _step_of_bar,
        StepRole.JOIN: _step_of_join,
        StepRole.SECTION: _step_of_section,
        StepRole.HAND_FIRST: _step_of_hand_first,
    }[kind]
    return make(practice_map, goal, window)


def _step_of_reading(practice_map: PracticeMap, goal: Goal, window: Window) -> PlanStep:
    name = stretch_words(practice_map.score, window)
    reason = NEW_BAR.format(name=name, hands=HANDS[window.hands])
    task = _task_of_reading(goal, window, AssignmentKind.TRY, reason)
    return PlanStep(task, FIRST_READING.format(name=name), StepRole.READ)


def _step_of_hand(practice_map: PracticeMap, goal: Goal, window: Window) -> PlanStep:
    name, whose = stretch_words(practice_map.score, window), HANDS[window.hands]
    reason = NEW_HAND.format(name=capitalise(name), hand=whose)
    part = two_thirds_of(goal.clean_required)
    task = Task(window, None, Stage.NOTES, part, None, AssignmentKind.APART, reason)
    task = replace(task, is_new=True, is_part=True)
    return PlanStep(task, f"{name}, {whose}", StepRole.HAND)


def _step_of_bar(practice_map: PracticeMap, goal: Goal, window: Window) -> PlanStep:
    name = stretch_words(practice_map.score, window)
    both = len(_hands_of(practice_map, window)) == 2
    what = HANDS[Hands.TOGETHER] if both else IN_TIME
    task = Task(
        window,
        _qpm_at_share(goal, LEARNING_SHARE),
        _stage_of_parts(goal),
        two_thirds_of(goal.clean_required),
        _qpm_at_share(goal, BEGIN_SHARE),
        AssignmentKind.JOIN if both else AssignmentKind.DRILL,
        NEW_TOGETHER.format(name=capitalise(name), how=what),
        is_new=True,
        is_part=True,
    )
    return PlanStep(task, f"{name}, {what}", StepRole.BAR)


def _step_of_join(practice_map: PracticeMap, goal: Goal, window: Window) -> PlanStep:
    name = stretch_words(practice_map.score, window)
    reason = JOIN_THEM.format(name=name)
    task = _task_of_reading(goal, window, AssignmentKind.JOIN, reason)
    return PlanStep(task, JOINED.format(name=name), StepRole.JOIN)


def _task_of_reading(goal: Goal, window: Window, kind: AssignmentKind, reason: str) -> Task:
    """Once, at one's own pace; twice running where it was taken apart before."""
    part = two_thirds_of(goal.clean_required)
    task = Task(window, None, _stage_of_parts(goal), part, None, kind, reason)
    return replace(task, is_new=True, is_part=True, is_reading=True)


def _step_of_whole(practice_map: PracticeMap, goal: Goal) -> PlanStep:
    task = replace(
        _with_length(practice_map, _task_of_whole(goal)),
        start_qpm=_qpm_at_share(goal, LEARNING_SHARE),
        is_new=True,
        kind=AssignmentKind.WIDEN,
        reason=WHOLE_AT_LAST,
    )
    return PlanStep(task, stretch_words(practice_map.score, goal.window))


def _step_of_section(practice_map: PracticeMap, goal: Goal, window: Window) -> PlanStep:
    name = stretch_words(practice_map.score, window)
    task = replace(
        _task_of_whole(goal),
        window=window,
        is_part=True,
        is_new=goal.way is Way.LEARN,
        is_long=len(bars_to_learn(practice_map, window)) > SECTION_BARS[-1],
        kind=AssignmentKind.NARROW,
        reason=next_section_words(name),
    )
    return PlanStep(task, name, StepRole.SECTION)


def _step_of_hand_first(practice_map: PracticeMap, goal: Goal, window: Window) -> PlanStep:
    name, alone = stretch_words(practice_map.score, window), HANDS[window.hands]
    task = replace(
        _task_of_whole(goal),
        window=window,
        clean_required=two_thirds_of(goal.clean_required),
        is_part=True,
        is_one_hand=True,
        kind=AssignmentKind.APART,
        reason=THAT_HAND.format(name=capitalise(name), alone=alone),
    )
    return PlanStep(task, f"{name}, {alone}", StepRole.HAND_FIRST)


def _with_length(practice_map: PracticeMap, task: Task) -> Task:
    bars = len(bars_to_learn(practice_map, task.window))
    return replace(task, is_long=bars > SECTION_BARS[0], has_parts=bars > SECTION_BARS[1])


def begin_whole_at(goal: Goal, read_qpm: float) -> float:
    """The tempo that the whole is begun at, where its slowest part was read at ``read_qpm``.

    Near the tempo asked for it is begun there: nothing is left to be climbed.
    """
    share = read_qpm / goal.qpm
    if share >= 1.0 - OFF_PACE:
        return goal.qpm
    return goal.qpm * max(share, BEGIN_SHARE)


def _task_of_whole(goal: Goal) -> Task:
    """All of it, at the tempo asked for; as a weak spot of an earlier day, where it is one."""
    qpm = None if goal.own_pace else goal.qpm
    clean, is_set_work = goal.clean_required, goal.is_set_work
    task = Task(goal.window, qpm, goal.stage, clean, qpm, is_set_work=is_set_work)
    return replace(task, kind=AssignmentKind.REVIEW, reason=goal.reason) if goal.reason else task


def _stage_of_parts(goal: Goal) -> Stage:
    """What a part is judged for: in time, with no click; the goal asks for the rest at the end."""
    return Stage.NOTES if goal.stage is Stage.NOTES else Stage.RHYTHM


def _qpm_at_share(goal: Goal, share: float) -> float | None:
    return None if goal.own_pace else goal.qpm * share


# -- which stretches ---------------------------------------------------------------------------


def _stretches_to_read(practice_map: PracticeMap, goal: Goal) -> list[Window]:
    """What is read at once: so many bars as are easy enough; single ones in another order."""
    bars = bars_to_learn(practice_map, goal.window)
    most = READ_BARS if goal.order is Order.FORWARD else 1
    out: list[list[Window]] = []
    for bar in bars:
        longer = _span(practice_map, [*out[-1], bar]) if out else bar
        fits = out and len(out[-1]) < most and reading_bits(practice_map, longer) <= READ_BITS
        if fits:
            out[-1].append(bar)
        else:
            out.append([bar])
    return [_span(practice_map, some) for some in out]


def _span(practice_map: PracticeMap, bars: list[Window]) -> Window:
    first, last = bars[0], bars[-1]
    return practice_map.clip(first.start_quarters, last.end_quarters, practice_map.whole.hands)


def bars_to_learn(practice_map: PracticeMap, window: Window) -> list[Window]:
    """The bars of a window, a pickup with the bar after it; only those with something to play."""
    bars = practice_map.score.bars
    found: list[Window] = []
    start: Fraction | None = None
    for bar in bars:
        if bar.end_quarters <= window.start_quarters or bar.onset_quarters >= window.end_quarters:
            continue
        start = max(bar.onset_quarters, window.start_quarters) if start is None else start
        if bar.is_pickup and bar.end_quarters < window.end_quarters:
            continue
        cut = practice_map.clip(start, bar.end_quarters, window.hands)
        if _has_notes(practice_map, cut):
            found.append(cut)
        start = None
    return found


def _has_notes(practice_map: PracticeMap, window: Window) -> bool:
    return bool(
        practice_map.score.notes_between(window.start_quarters, window.end_quarters, window.hands)
    )


def _hands_of(practice_map: PracticeMap, window: Window) -> list[Hands]:
    """The single hands that have something to play in a window."""
    hands = [h for h in (Hands.RIGHT, Hands.LEFT) if h.members <= window.hands.members]
    return [hand for hand in hands if _has_notes(practice_map, window.of(hand))]


def _order_stretches(practice_map: PracticeMap, goal: Goal, units: list[Window]) -> list[int]:
    order = list(range(len(units)))
    if goal.order is Order.FROM_END:
        order.reverse()
    elif goal.order is Order.HARD_FIRST:
        order.sort(key=lambda i: -difficulty(practice_map, units[i]))
    return order


def _stretches_to_join(
    practice_map: PracticeMap, goal: Goal, units: list[Window], read: set[int], new: int
) -> Iterator[Window]:
    """What can be played in one now that a stretch was read: two, then four, side by side."""
    size = 2
    while size < 2 * len(units):
        first = new - new % size
        numbers = range(first, min(first + size, len(units)))
        if not set(numbers) <= read:
            return
        cut = _span(practice_map, [units[number] for number in numbers])
        if cut == goal.window or len(bars_to_learn(practice_map, cut)) > JOINED_BARS:
            return  # the whole comes last anyway
        if numbers[size // 2 :]:
            yield cut
        size *= 2


def take_apart(
    practice_map: PracticeMap, goal: Goal, window: Window, broken: Mapping[Window, Hands]
) -> list[PlanStep]:
    """What is learnt before a stretch that broke is read again.

    ``broken`` has the bars that broke, each with the hands that did. Where it is most of them, so
    much at once was too much, and halves are read; else each of these bars is learnt. Of one bar
    or two nothing shorter is read: it would break again.
    """
    bars = bars_to_learn(practice_map, window)
    if len(bars) > 2 and (not broken or 2 * len(broken) > len(bars)):
        return halve(practice_map, goal, window)
    steps: list[PlanStep] = []
    for bar, hands in (broken or dict.fromkeys(bars, window.hands)).items():
        playing = _hands_of(practice_map, bar)
        if len(playing) == 2:
            alone = [bar.of(hand) for hand in playing if hand.members <= hands.members]
            steps += [make_step(practice_map, goal, StepRole.HAND, one) for one in alone]
        steps.append(make_step(practice_map, goal, StepRole.BAR, bar))
    return steps


def halve(practice_map: PracticeMap, goal: Goal, window: Window) -> list[PlanStep]:
    """The halves of a stretch, each to be read; nothing where it is one bar."""
    bars = bars_to_learn(practice_map, window)
    middle = (len(bars) + 1) // 2
    halves = [_span(practice_map, some) for some in (bars[:middle], bars[middle:]) if some]
    if len(halves) < 2:
        return []
    return [make_step(practice_map, goal, StepRole.READ, half) for half in halves]


def make_sections(
    practice_map: PracticeMap, goal: Goal, window: Window, qpm: float | None
) -> list[PlanStep]:
    """The sections of a long stretch, in order: as long as a phrase may be, and what is left.

    A rest of less than half of that belongs to the section before it. They are begun at the tempo
    at which all of it slipped.
    """
    bars = bars_to_learn(practice_map, window)
    most = next(most for most in SECTION_BARS if len(bars) > most)
    begins = [at for at in range(0, len(bars), most) if 2 * (len(bars) - at) >= most]
    begins = begins if len(begins) > 1 else [0, ceil(len(bars) / 2)]
    windows = [
        _span(practice_map, bars[start:end]) for start, end in pairwise([*begins, len(bars)])
    ]
    made = [make_step(practice_map, goal, StepRole.SECTION, one) for one in windows]
    first, *others = [begin_at(step, qpm) for step in made]
    reason = first_section_words(first.what)
    return [replace(first, task=replace(first.task, reason=reason)), *others]


def make_hand_first(
    practice_map: PracticeMap, goal: Goal, window: Window, qpm: float | None
) -> PlanStep:
    """The hand of a window that failed nearly everywhere, begun at this tempo."""
    step = begin_at(make_step(practice_map, goal, StepRole.HAND_FIRST, window), qpm)
    alone, beat = HANDS[window.hands], practice_map.beat_quarters(window)
    reason = HAND_FIRST.format(
        hand=alone.removesuffix(" alone"), alone=alone, tempo=tempo_words(qpm, beat)
    )
    return replace(step, task=replace(step.task, reason=reason))


def begin_at(step: PlanStep, qpm: float | None) -> PlanStep:
    """The step, begun at another tempo than the one that it is brought to."""
    return replace(step, task=replace(step.task, start_qpm=qpm))


def make_parts(
    practice_map: PracticeMap, goal: Goal, places: Iterable[Transition], reason: str
) -> tuple[PlanStep, ...]:
    """What is left of the goal without some places: up to each, and on from the last."""
    whole = goal.window
    parts, start_quarters = list[Window](), whole.start_quarters
    for place in sorted(places, key=lambda one: one.from_quarters):
        up_to = max(place.from_quarters, start_quarters)
        parts.append(
            replace(whole, start_quarters=start_quarters, end_quarters=up_to, landing=True)
        )
        start_quarters = max(start_quarters, min(place.to_quarters, whole.end_quarters))
    parts.append(replace(whole, start_quarters=start_quarters))
    out: list[PlanStep] = []
    for part in parts:
        long_enough = part.end_quarters > part.start_quarters and (
            practice_map.beats(part) >= LEAST_PART_BEATS
        )
        if long_enough and _has_notes(practice_map, part):
            task = replace(_task_of_whole(goal), window=part, kind=AssignmentKind.NARROW)
            words = reason if not out else NOW_ON_FROM_THERE
            name = stretch_words(practice_map.score, part)
            out.append(PlanStep(replace(task, reason=words), name, StepRole.PART))
    return tuple(out)
