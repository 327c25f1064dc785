"""Locating a trouble: what is worth hearing next, and which trouble is to be repaired first.

The task's window is heard as it is; where something may stand at fault, its surroundings are
probed, to learn whether it does and in which hand; until a trouble is named and little is left in
doubt.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from coach.coaching.diagnosis import (
    Diagnosis,
    Evidence,
    ProbeSelection,
    TroubleProbe,
    describe_trouble,
    single_hand_of,
)
from coach.coaching.model import AssignmentKind, Trouble
from coach.coaching.practice.task import NextWindow, Task
from coach.coaching.windows import SINGLE, PracticeMap
from coach.coaching.wording import (
    A_SLIP,
    ANOTHER,
    HOLDS,
    THERE_IT_IS,
    around_words,
    from_there_words,
    hear_words,
    up_to_there_words,
    way_words,
)
from coach.judging.model import Outcome
from coach.score.model import Hands
from coach.score.window import Transition, Window

OPEN_DOUBT = 0.2
"""A suspect that is likelier at fault than this is looked into before a named trouble is repaired,
and one that is sure until it is known in which hand. Own choice, because a less likely one shows by
itself while the whole is played."""
MOST_SEARCHED = 16
"""Repetitions running for what is in doubt, before what is known of it has to do. Own choice: each
hand alone five times, and the whole now and then. A hand that fails every second time alone is then
found out in 97 of 100."""
MOST_UNHEARD = 0.18
"""A short whole is heard until no more places than this are to be expected at fault that have not
shown: while the first is repaired a second isn't heard. Own choice: four hearings, after which one
that fails in six of ten has shown in 97 of 100."""
MOST_HEARD_MORE = 2
"""How often more is heard for that once a trouble is named. Own choice: a third time takes longer,
on the whole, than a second trouble that shows only after the first was mended."""
FEWEST_REST_BEATS = 4
"""What lies before or after a place is heard for itself, where it is no shorter. Own choice: a bar
of four; what is shorter is soon heard with the place itself."""
SHORT_BEATS = 24.0
"""A longer whole is heard once. Own choice, six bars of four: to hear all of it again takes as long
as to repair what is known."""
FAILED_TWICE = 1.8
"""Weight of two failures that have faded a little. Own choice: two are enough to act on, one may be
a slip."""
STILL_IN_DOUBT = 0.02
"""A hand likelier than this to have the trouble alone is heard alone again, where both together
won't mend. Own choice, because one repetition tells, and the repair has failed already."""
MOST_PROBES = 4
"""Probes running, before the whole is heard again or what is named is taken up. Common practice:
whoever only searches makes no music."""
HEARD_ALONE = 2
"""How often a hand alone is heard. Own choice: alone is easier, so that clean once tells little."""
NO_PROBE_BEATS = 4
"""One hand's window of no more beats is heard again as it is. Own choice: a bar of four, of which a
part takes as long."""
SAME_PROBE = 2
"""How often a place is asked for in the same hands, from however far before it. Own choice: twice
clean, something else is heard first; after the whole it may be asked for again."""
CLEARED = 0.05
"""A place that is likelier at fault than this after a full run is not cleared by it. Own choice:
one failure before three clean ones comes to a little more."""
SURER = 2
"""Clean ones more of the whole that are asked for then, where the place is hardly shorter. Own
choice: with five a fault that fails every third time is found out seven times in eight."""
UNPROVED = 0.1
"""What was brought because it breaks, and did not, is heard so often until no more places than this
are to be expected at fault. Own choice: three clean ones come to some .16. One that fails in six of
ten, and heals meanwhile, is clean three times running in one of eight, five times in one of 25."""
CHECKED, CHECKED_MENDED = 5, 3
"""Clean ones running that such a place by itself is asked for, and one that was repaired before the
whole was clean. Own choice: five take as long as one of the whole, and what fails every third time
is found out seven times in eight; what was repaired has held some times already."""
LOOSE_MOVES = 6
"""Moves from which it can be told that a hand fails everywhere. Own choice: a bar or two."""
MOST_HELD = 0.25
"""Share of its moves in which a hand fails at the most that holds, while the other fails nearly
everywhere. Own choice: the other's mistakes draw it along now and then."""
OF_KEYS = (Outcome.WRONG, Outcome.REPEATED)
"""What slowness helps, more than it helps touch."""
SHORTER = 0.5
"""A place is heard by itself where that takes no more than this share of the whole, in beats. Own
choice: else the whole tells as much."""


@dataclass(frozen=True, slots=True)
class PlaceCheck:
    """A place that broke before, heard by itself after the whole was clean."""

    transition: Transition
    window: Window
    clean_required: int
    wholes_left: int
    """Clean ones of the whole that are asked for after it."""


class Locating:
    """Looks for troubles inside one task."""

    def __init__(self, task: Task, practice_map: PracticeMap, evidence: Evidence) -> None:
        self.task, self.practice_map, self.evidence = task, practice_map, evidence
        self.probe: TroubleProbe | PlaceCheck | None = None
        """What is being looked into."""
        self.left_alone: set[Fraction] = set()
        """Beats that the pianist declined, or that would not mend for now."""
        self.passed_over: set[Fraction] = set()
        """Beats that the pianist went on from once: after a second time they are left alone."""
        self.searched = 0
        """Repetitions running while something was in doubt."""
        self.checked: set[tuple[Fraction, Hands]] = set()
        """Hands that were heard alone again, where a repair of both together would not hold."""
        self.proved: set[Fraction] = set()
        """Beats that were heard by themselves once the whole was clean."""
        self.probed: list[TroubleProbe] = []
        """The probes since the whole was heard last."""
        self.times = 1
        """How often the probe is to be played, if it is clean."""
        self.heard_more = 0
        """How often more was asked for since a trouble was named, in search of another."""

    def named_troubles(self, diagnosis: Diagnosis) -> list[Trouble]:
        """Troubles inside the task that are not left alone, the surest first."""
        named = (trouble for trouble in diagnosis.troubles if not trouble.open_hand)
        return [trouble for trouble in named if self._is_open(trouble)]

    def _is_open(self, trouble: Trouble) -> bool:
        move = trouble.transition
        return move.to_quarters not in self.left_alone and self._is_inside(move)

    def best_probe(self, diagnosis: Diagnosis, passed_over: Window | None) -> TroubleProbe | None:
        """The probe that tells most for its time; None where the whole tells as much.

        No more than a few running, and none that was left for another a moment ago.
        """
        whole = self.task.window
        is_short = self.practice_map.beats(whole) <= NO_PROBE_BEATS
        if len(self.probed) >= MOST_PROBES or (is_short and whole.hands is not Hands.TOGETHER):
            return None
        asked = [probe.question for probe in self.probed]
        gone = {question for question in asked if question != asked[-1]}
        gone |= {question for question in asked if asked.count(question) >= SAME_PROBE}
        return self._probe_selection(diagnosis).choose_best(passed_over, gone)

    def _probe_selection(self, diagnosis: Diagnosis) -> ProbeSelection:
        whole = self.task.window
        return ProbeSelection(
            self._open_suspects(diagnosis), self.evidence, self.practice_map, whole
        )

    def _open_suspects(self, diagnosis: Diagnosis) -> Diagnosis:
        """What is suspected inside the task, and not left alone."""
        left = (s for s in diagnosis.suspects if s.transition.to_quarters not in self.left_alone)
        return replace(diagnosis, suspects=tuple(s for s in left if self._is_inside(s.transition)))

    def _is_inside(self, move: Transition) -> bool:
        whole = self.task.window
        return self.practice_map.covers(whole, replace(move, hands=whole.hands))

    def trouble_of_unknown_hand(self, diagnosis: Diagnosis) -> Trouble | None:
        """A place that surely breaks, though whose it is can't be told: a trouble of all that play.

        A hand with few notes does not show its hesitations alone.
        """
        for suspect in self._open_suspects(diagnosis).suspects:
            counts = self.evidence.counts_at(suspect.transition.to_quarters)
            if suspect.is_open and counts.failed >= FAILED_TWICE:
                move = replace(suspect.transition, hands=self.task.window.hands)
                found = describe_trouble(
                    replace(suspect, transition=move), self.evidence, self.practice_map
                )
                if self._is_open(found):
                    return found
        return None

    def has_heard_enough(self, diagnosis: Diagnosis) -> bool:
        """Whether the whole was heard often enough to begin on what is named."""
        if self.task.is_part:  # it was heard already, in what it is a part of
            return True
        is_long = self.practice_map.beats(self.task.window) > SHORT_BEATS
        is_all_told = diagnosis.unheard <= MOST_UNHEARD and not self.has_open_hand(diagnosis)
        return is_long or is_all_told

    def has_open_hand(self, diagnosis: Diagnosis) -> bool:
        """Whether a place surely breaks, it is not known in which hand, and that is searched for.

        It is not left for the repair of another: what was heard of it would be half forgotten.
        """
        searches = self.searched < MOST_SEARCHED
        return searches and any(one.is_open for one in self._open_suspects(diagnosis).suspects)

    def count_searching(self, diagnosis: Diagnosis) -> None:
        """Count a repetition, of the whole or of a probe, while something is in doubt."""
        self.searched = self.searched + 1 if self._is_in_doubt(diagnosis) else 0

    def searches_on(self, diagnosis: Diagnosis) -> bool:
        """Whether something is in doubt that is worth hearing more of before anything is mended."""
        return self._is_in_doubt(diagnosis) and self.searched < MOST_SEARCHED

    def _is_in_doubt(self, diagnosis: Diagnosis) -> bool:
        return any(
            suspect.posterior.fault > OPEN_DOUBT and not suspect.is_claimed
            for suspect in self._open_suspects(diagnosis).suspects
        )

    def stop_looking(self) -> None:
        """A named trouble is begun on: what it takes was heard."""
        self.stop_probing()
        self.searched = self.heard_more = 0

    def stop_probing(self) -> None:
        """The next thing that is asked for is no probe."""
        self.probe = None
        self.probed.clear()

    def hear_more(
        self, named: Transition, *, same_again: bool, has_open_hand: bool = False
    ) -> NextWindow | None:
        """Ask for more, although a place is named: while it is mended no other one is heard.

        The whole once more; or where that would be the same for the third time, what lies after the
        place, or before it. None where more than that would be asked; ``has_open_hand``: as often
        as it takes.
        """
        wanted = (
            NextWindow(self.task.window, AssignmentKind.TRY, ANOTHER)
            if same_again
            else self._rest_beside(named)
        )
        if wanted is None or (self.heard_more >= MOST_HEARD_MORE and not has_open_hand):
            return None
        self.stop_probing()
        self.times = 1
        self.heard_more += not has_open_hand
        return wanted

    def _rest_beside(self, named: Transition) -> NextWindow | None:
        """The longer part of the task, after a place or before it, where that tells anything."""
        whole, score = self.task.window, self.practice_map.score
        start, end = whole.start_quarters, whole.end_quarters
        after = self.practice_map.clip(max(named.to_quarters, start), end, whole.hands)
        before = self.practice_map.clip(start, max(named.from_quarters, start), whole.hands)
        part = max(after, before, key=self.practice_map.beats)
        words = from_there_words if part is after else up_to_there_words
        if part == whole or self.practice_map.beats(part) < FEWEST_REST_BEATS:
            return None
        return NextWindow(part, AssignmentKind.TRY, words(score, named))

    @property
    def is_all_loose(self) -> bool:
        """Most moves failed when they were last played: no single one stands out."""
        last = self._failed_last()
        return 2 * sum(last) > len(last)

    @property
    def is_hand_loose(self) -> bool:
        """One hand failed nearly everywhere: by its way of playing, and at no one place."""
        hands = [self._failed_last(hand) for hand in SINGLE]
        return any(len(last) >= LOOSE_MOVES and 2 * sum(last) > len(last) for last in hands)

    @property
    def hand_at_fault(self) -> Hands | None:
        """The one hand that failed nearly everywhere, where the other holds."""
        shares = {}
        for hand in SINGLE:
            last = self._failed_last(hand)
            if len(last) < LOOSE_MOVES:
                return None
            shares[hand] = sum(last) / len(last)
        best, worst = sorted(SINGLE, key=shares.__getitem__)
        return worst if shares[worst] > 1 / 2 and shares[best] <= MOST_HELD else None

    @property
    def holds_mostly(self) -> bool:
        """Most moves were clean when they were last played, and few failed."""
        last = self._failed_last()
        return sum(last) <= MOST_HELD * len(last)

    def has_failed_keys(self, window: Window) -> bool:
        """Whether keys were wrong in it when it was played last, and not touch or time alone."""
        kept = (
            self.evidence.counts_at(move.to_quarters).moves[single_hand_of(move)]
            for move in self.practice_map.transitions
            if self.practice_map.covers(window, move)
        )
        return any(moves and moves[-1].outcome in OF_KEYS for moves in kept)

    @property
    def is_loose(self) -> bool:
        """Nothing stands out: all of it fails, or one hand does everywhere."""
        return self.is_all_loose or self.is_hand_loose

    def count_last_slips(self) -> int:
        """How many moves failed when they were last played."""
        return sum(self._failed_last())

    def _failed_last(self, hands: Hands = Hands.TOGETHER) -> list[bool]:
        """For each move of these hands that was ever played, whether it failed the last time."""
        return [
            kept[-1].failed
            for move in self.practice_map.transitions
            if move.hands.members <= hands.members
            and self.practice_map.covers(self.task.window, move)
            and (kept := self.evidence.counts_at(move.to_quarters).moves[single_hand_of(move)])
        ]

    def hand_to_check(self, diagnosis: Diagnosis, move: Transition) -> TroubleProbe | None:
        """One hand alone, where a trouble of both together may yet be its own."""
        for suspect in diagnosis.suspects:
            if suspect.transition.to_quarters == move.to_quarters:
                hand = max(SINGLE, key=suspect.posterior.of)
                key = (move.to_quarters, hand)
                if suspect.posterior.of(hand) >= STILL_IN_DOUBT and key not in self.checked:
                    self.checked.add(key)
                    return self._probe_selection(diagnosis).probe_alone(suspect, hand)
        return None

    def look_into(self, probe: TroubleProbe) -> NextWindow:
        """Ask for a suspect's surroundings."""
        again = bool(self.probed) and self.probed[-1].window == probe.window
        apart = probe.window.hands is not self.task.window.hands
        self.times = min(HEARD_ALONE if apart and not again else 1, MOST_PROBES - len(self.probed))
        self.probe = probe
        self.probed.append(probe)
        score, move = self.practice_map.score, probe.suspect.transition
        way = way_words(score, move, probe.window)
        reason = hear_words(probe.window.hands, way, self.times, apart=apart, again=again)
        reason += around_words(score, probe.window, move)
        return NextWindow(
            probe.window, AssignmentKind.APART if apart else AssignmentKind.NARROW, reason
        )

    def hear_on(self) -> None:
        """The probe was clean, and was asked for once more than that.

        Of one that was taken up again another day it is no longer known what it asked.
        """
        if isinstance(self.probe, TroubleProbe):
            self.probed.append(self.probe)

    def count_unheard(self) -> None:
        """A probe was played and told nothing: the next is one more of those that run."""
        if isinstance(self.probe, TroubleProbe):
            self.probed.append(self.probe)

    @property
    def is_probed_enough(self) -> bool:
        """More probes would run than may."""
        return len(self.probed) > MOST_PROBES

    def back_to_all(self, clean: bool, diagnosis: Diagnosis) -> NextWindow:
        """Ask for the whole again, after a probe that was clean or not."""
        self.stop_probing()
        is_sure = any(one.is_open for one in self._open_suspects(diagnosis).suspects)
        broke = THERE_IT_IS if is_sure else A_SLIP
        return NextWindow(self.task.window, AssignmentKind.WIDEN, HOLDS if clean else broke)

    def is_unproved(self, diagnosis: Diagnosis) -> bool:
        """Whether a place may well be at fault that never showed."""
        return diagnosis.unheard > UNPROVED

    def is_not_cleared(self, diagnosis: Diagnosis) -> list[Transition]:
        """Places that a full clean run does not clear, the likeliest first."""
        return [
            suspect.transition
            for suspect in self._open_suspects(diagnosis).suspects
            if suspect.posterior.fault >= CLEARED
        ]

    def check_next(
        self, moves: Iterable[Transition], clean_required: int, wholes_left: int
    ) -> PlaceCheck | None:
        """The first of these places that was not checked yet, by itself with a run-up."""
        whole = self.task.window
        for move in moves:
            around = self.practice_map.around(move, whole.hands, 1, 1)
            is_short = self.practice_map.beats(around) <= SHORTER * self.practice_map.beats(whole)
            if is_short and move.to_quarters not in self.proved:
                self.proved.add(move.to_quarters)
                self.probe = PlaceCheck(move, around, clean_required, wholes_left)
                return self.probe
        return None

    def worst_move(self, window: Window | None = None) -> Transition | None:
        """The move that failed most in a window (the task's if not given), whoever's it is.

        None where there is no move: a single note at the end of a piece.
        """
        moves, whole = self.practice_map.transitions, self.task.window
        inside = [t for t in moves if self.practice_map.covers(window or whole, t)]
        inside = inside or [t for t in moves if self.practice_map.covers(whole, t)]

        def failures_of(move: Transition) -> float:
            return self.evidence.counts_at(move.to_quarters).failures(move.hands)

        return max(inside, key=failures_of, default=None)
