"""The repair ladder: a trouble practised from its smallest window back to where it came from.

Common practice, as the rungs of a ladder: the transition with a run-up, in its own hand; the bar in
that hand; the transition hands together; the bar; its neighbours, onto the next downbeat; then the
window that it came from. A narrower rung without the run-up lies below, for what won't hold with
it. A relapse goes down one rung, or one step of tempo: only as far as it must.

A rung is begun at a tempo at which it is likely to be right. The tempo asked for is regained where
the playing is shortest, in the narrowest window and the hand that failed; then it is joined upward
at that tempo. A join that breaks for the second time goes slower itself. Where nothing is gained
the place is practised in another way, and then left for today (:mod:`.patience`).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from coach.coaching.diagnosis import Evidence
from coach.coaching.model import USUAL_CLEAN, AssignmentKind, Trouble
from coach.coaching.practice.patience import LeftPlace, PlaceWork
from coach.coaching.practice.task import NextWindow, RunCounts, Task, third_of, two_thirds_of
from coach.coaching.practice.tempo import TempoAttempt, TempoLadder
from coach.coaching.windows import PracticeMap
from coach.coaching.wording import (
    A_LITTLE_MORE,
    BACK_ONE_STEP,
    BACK_TO_THE_WHOLE,
    CLEAN_AT_TEMPO,
    HANDS,
    LEFT_ALL,
    SMALLER_STILL,
    down_words,
    move_words,
    run_up_words,
    running_words,
    tempo_words,
    together_words,
    trial_failed_words,
    up_words,
)
from coach.score.model import Hands
from coach.score.window import Transition, Window

NEARLY_ALL = 0.6
"""A rung that is this share of the window it came from, in beats, or more, is passed over for that
window. Own choice, because so large a part takes about as long to play as the whole."""
SURE_AT = 0.95
"""Chance of a clean one at which a place counts as held. Own choice: one in twenty may still slip,
which nobody hears in an evening."""
MOST_CLEAN = 5
"""No more clean ones running are asked for than this, however often it failed. Own choice: what is
repeated longer is no longer listened to."""
SMALLEST_RUNG_BEATS = 2
"""A rung of no more beats than this is never passed over. Own choice: a move with its departure is
small, whatever it came from."""


@dataclass(slots=True)
class RepairLadder:
    """One trouble on its way from a narrow window to the one it came from."""

    transition: Transition
    rungs: tuple[Window, ...]
    """Narrowest first; the window it came from is not among them."""
    at: int
    tempo: TempoLadder
    start: int
    """The rung that it began on: this and those below are drilled, those above are joins."""
    unclean: int = 0
    """Unclean repetitions on this rung since it was reached."""
    held: bool = False
    """This rung held at a slower tempo since it was reached: a relapse is one of tempo."""
    widest: int = 0
    """The widest rung that was reached."""
    broke: int = -1
    """The widest rung from which it went back to a narrower one: the next time it goes slower."""

    @property
    def window(self) -> Window:
        """What is asked for now."""
        return self.rungs[self.at]

    @property
    def is_join(self) -> bool:
        """The repaired move is being put back; below that it is drilled."""
        return self.at > self.start

    def required(self, clean_required: int) -> int:
        """Clean repetitions running that this rung asks for.

        The drilled rung asks for the full run at the goal's tempo, and for two thirds of it at a
        slower one, or where it has held before. A join asks whether it still holds: once, or two
        thirds of a run if it has failed; so does a step of tempo there. The narrowest window with
        all hands asks for as many as make the next one nearly sure, by what was heard: so many are
        soon played there, and a whole that comes off three times tells less of one place. Who set
        fewer than usual is never asked for more.
        """
        proves = self.is_proof and clean_required >= USUAL_CLEAN
        needed = self.tempo.clean_until(SURE_AT, MOST_CLEAN) if proves else 0
        if not self.is_join:
            is_first = self.tempo.at_target and self.widest <= self.at
            return max(clean_required if is_first else two_thirds_of(clean_required), needed)
        return max(
            two_thirds_of(clean_required) if self.unclean else third_of(clean_required), needed
        )

    @property
    def is_proof(self) -> bool:
        """Here the place itself has to hold: the narrowest window as it will be played.

        At the player's own pace new music is read, which tells little of how it will be played.
        """
        if self.tempo.target_qpm is None:
            return False
        as_played = self.rungs[-1].hands
        first = next(at for at, window in enumerate(self.rungs) if window.hands is as_played)
        return self.tempo.at_target and self.at == max(first, self.start)

    def go_up(self) -> bool:
        """Up one rung; False where the next is the window it came from."""
        self.at += 1
        self.unclean, self.held = 0, False
        self.widest = max(self.widest, self.at)
        self.tempo.turn_to_other_window()
        return self.at < len(self.rungs)

    def go_down(self) -> bool:
        """Down one rung; False at the bottom."""
        self.unclean, self.held = 0, False
        if self.at == 0:
            return False
        self.at -= 1
        self.tempo.turn_to_other_window()
        return True


def build_rungs(
    practice_map: PracticeMap, transition: Transition, whole: Window
) -> tuple[tuple[Window, ...], int]:
    """The rungs for a transition within a whole window, and the one to begin on."""
    hand, both = transition.hands, whole.hands
    wanted = [practice_map.around(transition, hand, 0), practice_map.around(transition, hand, 1)]
    if hand is not both:
        wanted += [practice_map.bar(transition, hand), practice_map.around(transition, both, 1)]
    wanted += [practice_map.bar(transition, both), practice_map.bar(transition, both, 1, 1)]
    if hand is Hands.TOGETHER:
        wanted.insert(2, practice_map.half_bar(transition, hand))
    most = NEARLY_ALL * practice_map.beats(whole)
    out: list[Window] = []
    for i, window in enumerate(wanted):
        beats = practice_map.beats(window)
        fits = i == 0 or beats <= max(most, SMALLEST_RUNG_BEATS)
        # A window that reaches back to a long note's beginning may be more than the bar after it.
        fits &= all(practice_map.beats(w) <= beats for w in out if w.hands is window.hands)
        if fits and window not in out and window != whole:
            out.append(window)
    out = out or [practice_map.around(transition, hand, 0)]
    return tuple(out), out.index(wanted[1]) if wanted[1] in out else 0


def first_together_rung(windows: tuple[Window, ...], whole: Window) -> int:
    """The smallest rung for the whole's hands: where a relapse of a mended move begins."""
    return next((i for i, w in enumerate(windows) if w.hands is whole.hands), len(windows) - 1)


class Repair:
    """Repairs one trouble at a time inside one task."""

    def __init__(self, task: Task, practice_map: PracticeMap, evidence: Evidence) -> None:
        self.task, self.practice_map, self.evidence = task, practice_map, evidence
        self.ladder: RepairLadder | None = None
        self.mended_beats: dict[Fraction, int] = {}
        """Beats that were mended in this task, and how often."""
        self.mended: list[Transition] = []
        """The moves that were mended since it was taken up."""
        self.works: dict[Fraction, PlaceWork] = {}
        """What was done at each place, by its beat."""
        self.left: LeftPlace | None = None
        """The place that was just left for today."""

    # -- beginning ---------------------------------------------------------------------------

    def open_trouble(self, trouble: Trouble, tempo: TempoLadder) -> NextWindow:
        """Begin on a named trouble; ``tempo`` stands at the whole window's tempo."""
        move = trouble.transition
        windows, start = build_rungs(self.practice_map, move, self.task.window)
        again = move.to_quarters in self.mended_beats
        at = first_together_rung(windows, self.task.window) if again else start
        tempo.elsewhere = self._attempts_on_record(move)
        ladder = RepairLadder(move, windows, at, tempo, at)
        tempo.begin_at_likely(self._beat_quarters(ladder))
        return self.begin_ladder(
            ladder, AssignmentKind.NARROW if again or not tempo.at_target else AssignmentKind.DRILL
        )

    def open_worst(self, move: Transition, tempo: TempoLadder) -> NextWindow:
        """Begin on the move that failed most, in its bar, where nothing stands out."""
        windows, _ = build_rungs(self.practice_map, move, self.task.window)
        # In a window of a beat or two nothing smaller is left for both hands.
        together = tuple(w for w in windows if w.hands is self.task.window.hands) or windows
        bar = self.practice_map.bar(move, self.task.window.hands)
        at = together.index(bar) if bar in together else len(together) - 1
        return self.begin_ladder(RepairLadder(move, together, at, tempo, at), AssignmentKind.NARROW)

    def begin_ladder(self, ladder: RepairLadder, kind: AssignmentKind) -> NextWindow:
        """Take up a ladder, and say what it is."""
        self.ladder = ladder
        required = ladder.required(self.task.clean_required)
        move = move_words(self.practice_map.score, ladder.transition, ladder.window)
        how = self._say_tempo(ladder)
        if ladder.window.hands is Hands.TOGETHER is not ladder.transition.hands:
            how = f"{HANDS[Hands.TOGETHER]}, {how}"
        reason = running_words(move, how, required)
        reason += run_up_words(self.practice_map.score, ladder.window, ladder.transition)
        return NextWindow(ladder.window, kind, reason)

    def _attempts_on_record(self, move: Transition) -> list[TempoAttempt]:
        """What is on record of a move: its tempi as shares of the goal's, and clean or not."""
        kept = self.evidence.counts_at(move.to_quarters).recent_attempts(move.hands)
        return [(min(one.ease, 1.0), not one.failed) for one in kept]

    # -- after a repetition ------------------------------------------------------------------

    def work_at(self, ladder: RepairLadder) -> PlaceWork:
        """What was done at a ladder's place."""
        return self.works.setdefault(ladder.transition.to_quarters, PlaceWork())

    def count_repetition(self, ladder: RepairLadder, clean: bool, now_s: float) -> None:
        """Count a repetition of a rung."""
        ladder.unclean += not clean
        ladder.tempo.count_repetition(clean)
        work = self.work_at(ladder)
        work.count(now_s, clean, as_written=True)
        work.hear_chance(ladder.at, ladder.tempo.chance_at_target)

    def choose_next(self, ladder: RepairLadder, clean: bool, run: RunCounts) -> NextWindow | None:
        """What comes next; None: the same again. The ladder may be closed by it."""
        if ladder.tempo.on_trial:
            return self._follow_trial(ladder, clean, run)
        if clean:
            return self._step_up(ladder) if self._is_full(ladder, run) else None
        if run.asks_for_change or (
            ladder.tempo.is_unlikely and (ladder.held or not ladder.is_join)
        ):
            return self._step_down(ladder)
        return None

    def _follow_trial(self, ladder: RepairLadder, clean: bool, run: RunCounts) -> NextWindow | None:
        if not clean:
            ladder.tempo.undo_trial()
            return self._next_window(
                ladder, AssignmentKind.SLOWER, trial_failed_words(self._say_tempo(ladder))
            )
        ladder.tempo.keep_trial()
        if self._is_full(ladder, run):
            return self._step_up(ladder)
        return self._next_window(ladder, AssignmentKind.QUICKEN, CLEAN_AT_TEMPO)

    def _is_full(self, ladder: RepairLadder, run: RunCounts) -> bool:
        return run.clean >= ladder.required(self.task.clean_required)

    def _step_up(self, ladder: RepairLadder) -> NextWindow:
        """Up to the tempo first, where the playing is shortest; then wider."""
        self.work_at(ladder).hear_hold(ladder.at, ladder.tempo.share)
        if ladder.tempo.at_target:
            return self._widen(ladder)
        ladder.held, kind = True, ladder.tempo.raise_tempo(self._beat_quarters(ladder))
        return self._next_window(ladder, kind, up_words(kind, self._say_tempo(ladder)))

    def _widen(self, ladder: RepairLadder) -> NextWindow:
        if not ladder.is_join and ladder.tempo.at_target:
            self.evidence.discount_mended(ladder.transition.to_quarters, ladder.transition.hands)
        before = ladder.window
        if not ladder.go_up():
            return self.close()
        joined = ladder.window.hands is not before.hands
        if joined:
            required = ladder.required(self.task.clean_required)
            return self._next_window(ladder, AssignmentKind.JOIN, together_words(required))
        return self._next_window(ladder, AssignmentKind.WIDEN, A_LITTLE_MORE)

    def _step_down(self, ladder: RepairLadder) -> NextWindow | None:
        """Easier by as little as it must; None where nothing is easier."""
        if ladder.is_join and not ladder.held and ladder.broke < ladder.at:
            ladder.broke = ladder.at
            ladder.go_down()
            return self._next_window(ladder, AssignmentKind.NARROW, BACK_ONE_STEP)
        if not ladder.tempo.at_floor:
            ladder.tempo.lower_tempo(self._beat_quarters(ladder))
            return self._next_window(
                ladder, AssignmentKind.SLOWER, down_words(self._say_tempo(ladder))
            )
        if ladder.go_down():
            ladder.start = ladder.at
            return self._next_window(ladder, AssignmentKind.NARROW, SMALLER_STILL)
        return None

    def slow_down(self, ladder: RepairLadder) -> NextWindow:
        """Slower, before it is practised in another way."""
        self.work_at(ladder).slowed = True
        ladder.tempo.lower_tempo(self._beat_quarters(ladder))
        return self._next_window(ladder, AssignmentKind.SLOWER, down_words(self._say_tempo(ladder)))

    def close(self) -> NextWindow:
        """It held: back to the whole."""
        assert self.ladder is not None
        move = self.ladder.transition
        self.mended.append(move)
        self.mended_beats[move.to_quarters] = self.mended_beats.get(move.to_quarters, 0) + 1
        self.evidence.discount_mended(move.to_quarters, move.hands)
        self.ladder = None
        return NextWindow(self.task.window, AssignmentKind.WIDEN, BACK_TO_THE_WHOLE)

    def leave(self, ladder: RepairLadder) -> NextWindow:
        """It got no better: it is left for today."""
        work = self.work_at(ladder)
        self.left = LeftPlace(ladder.transition, work.last_s or 0.0, tuple(work.used))
        self.ladder = None
        return NextWindow(self.task.window, AssignmentKind.WIDEN, LEFT_ALL)

    # -- words -------------------------------------------------------------------------------

    def _next_window(self, ladder: RepairLadder, kind: AssignmentKind, reason: str) -> NextWindow:
        return NextWindow(ladder.window, kind, reason)

    def _beat_quarters(self, ladder: RepairLadder) -> Fraction:
        return self.practice_map.beat_quarters(ladder.window)

    def _say_tempo(self, ladder: RepairLadder) -> str:
        return tempo_words(ladder.tempo.now_qpm, self._beat_quarters(ladder))
