"""A trouble being mended: the rungs from its smallest window back to where it came from.

Common practice, as a ladder: the transition with a run-up in its hand; the bar in that hand; the
transition hands together; the bar; its neighbours, onto the next downbeat; then the window it
came from. A narrower rung without the run-up lies below, for what won't hold with it. A relapse
goes down one rung at a time, so only as far as it must.

Mending one trouble and putting it back: which rung of its case comes next, and how fast.

Drilled at a tempo at which it is likely to be right, it is joined rung by rung; in the widest rung
it goes up to the tempo asked for, and then back into the window that it came from. A relapse goes
back only as far as it must: one rung, or one step of tempo.

The tempo last is common practice: regained in the narrow window it takes about as long, with more
unclean repetitions on the way.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from coach.coaching.diagnosis import Evidence
from coach.coaching.model import Kind, Trouble
from coach.coaching.practice.task import Ask, Run, Task, most_of
from coach.coaching.practice.tempo import Climb, Try
from coach.coaching.windows import Places
from coach.coaching.wording import (
    down_words,
    move_words,
    run_up_words,
    tempo_words,
    times,
    trial_failed_words,
    up_words,
)
from coach.score.model import Hands
from coach.score.window import Transition, Window

NEARLY_ALL = 0.6
"""A rung of this share of the window it came from, or more, is passed over for that window."""


@dataclass(slots=True)
class Case:
    """One trouble on its way from narrow to joined."""

    transition: Transition
    rungs: tuple[Window, ...]
    """Narrowest first; the window it came from is not among them."""
    at: int
    climb: Climb
    start: int
    """The rung that it began on: this and those below are drilled, those above are joins."""
    unclean: int = 0
    """Unclean repetitions on this rung since it was reached."""
    held: bool = False
    """This rung held at a slower tempo since it was reached: a relapse is one of tempo."""

    @property
    def window(self) -> Window:
        """What is asked for now."""
        return self.rungs[self.at]

    @property
    def is_join(self) -> bool:
        """The repaired move is being put back; below that it is drilled."""
        return self.at > self.start

    @property
    def is_top(self) -> bool:
        """The widest rung: here the tempo comes back."""
        return self.at == len(self.rungs) - 1

    def required(self, clean_required: int) -> int:
        """Clean repetitions running that this rung asks for.

        The drilled rung asks for the full run at the goal's tempo, and for two thirds of it at a
        slower one. A join asks whether it still holds: once, or two thirds of a run if it has
        failed; so does a step of tempo there.
        """
        if not self.is_join:
            return clean_required if self.climb.at_target else most_of(clean_required)
        return most_of(clean_required) if self.unclean else ceil(clean_required / 3)

    def rise(self) -> bool:
        """Up one rung; False where the next is the window it came from."""
        self.at += 1
        self.unclean, self.held = 0, False
        return self.at < len(self.rungs)

    def fall(self) -> bool:
        """Down one rung; False at the bottom."""
        self.unclean, self.held = 0, False
        if self.at == 0:
            return False
        self.at -= 1
        return True


def rungs(places: Places, transition: Transition, whole: Window) -> tuple[tuple[Window, ...], int]:
    """The rungs for a transition within a whole window, and the one to begin on."""
    hand, both = transition.hands, whole.hands
    wanted = [places.around(transition, hand, 0), places.around(transition, hand, 1)]
    if hand is not both:
        wanted += [places.bar(transition, hand), places.around(transition, both, 1)]
    wanted += [places.bar(transition, both), places.bar(transition, both, 1, 1)]
    if hand is Hands.TOGETHER:
        wanted.insert(2, places.half_bar(transition, hand))
    most = NEARLY_ALL * places.beats(whole)
    out: list[Window] = []
    for i, window in enumerate(wanted):
        fits = i == 0 or places.beats(window) <= max(most, 2)
        if fits and window not in out and window != whole:
            out.append(window)
    out = out or [places.around(transition, hand, 0)]
    return tuple(out), out.index(wanted[1]) if wanted[1] in out else 0


def first_together(windows: tuple[Window, ...], whole: Window) -> int:
    """The smallest rung for the whole's hands: where a relapse of a mended move begins."""
    return next((i for i, w in enumerate(windows) if w.hands is whole.hands), len(windows) - 1)


class Mending:
    """Mends one case at a time inside one task."""

    def __init__(self, task: Task, places: Places, evidence: Evidence) -> None:
        self.task, self.places, self.evidence = task, places, evidence
        self.case: Case | None = None
        self.mended: dict[Fraction, int] = {}
        """Beats that were mended in this task, and how often."""

    # -- beginning ---------------------------------------------------------------------------

    def open_trouble(self, trouble: Trouble, climb: Climb) -> Ask:
        """Begin on a named trouble; ``climb`` stands at the whole window's tempo."""
        move = trouble.transition
        windows, start = rungs(self.places, move, self.task.window)
        again = move.to_quarters in self.mended
        at = first_together(windows, self.task.window) if again else start
        climb.tries = self._record(move)
        case = Case(move, windows, at, climb, at)
        climb.settle(self._beat(case))
        return self.begin(case, Kind.NARROW if again or not climb.at_target else Kind.DRILL)

    def open_worst(self, move: Transition, climb: Climb) -> Ask:
        """Begin on the move that failed most, in its bar, where nothing stands out."""
        ladder, _ = rungs(self.places, move, self.task.window)
        # In a window of a beat or two nothing smaller is left for both hands.
        together = tuple(w for w in ladder if w.hands is self.task.window.hands) or ladder
        bar = self.places.bar(move, self.task.window.hands)
        at = together.index(bar) if bar in together else len(together) - 1
        return self.begin(Case(move, together, at, climb, at), Kind.NARROW)

    def begin(self, case: Case, kind: Kind) -> Ask:
        """Take up a case, and say what it is."""
        self.case = case
        required = case.required(self.task.clean_required)
        what = move_words(self.places.score, case.transition)
        reason = f"{what}: {self._tempo(case)}, {times(required)} running."
        reason += run_up_words(self.places.score, case.window, case.transition)
        return Ask(case.window, kind, reason)

    def _record(self, move: Transition) -> list[Try]:
        """What is on record of a move: its tempi as shares of the goal's, and clean or not."""
        kept = self.evidence.counts_at(move.to_quarters).recent_attempts(move.hands)
        return [(min(one.ease, 1.0), not one.failed) for one in kept]

    # -- after a repetition ------------------------------------------------------------------

    def hear(self, case: Case, clean: bool) -> None:
        """Take in a repetition of a case."""
        case.unclean += not clean
        case.climb.heard(clean)

    def after(self, case: Case, clean: bool, run: Run) -> Ask | None:
        """What comes next in a case; None: the same again. The case may be closed by it."""
        if case.climb.on_trial:
            return self._after_trial(case, clean, run)
        if clean:
            return self._up(case) if self._is_full(case, run) else None
        if run.asks_for_change or (case.climb.is_unlikely and (case.held or not case.is_join)):
            return self._down(case)
        return None

    def _after_trial(self, case: Case, clean: bool, run: Run) -> Ask | None:
        if not clean:
            case.climb.trial_failed()
            return self._ask(case, Kind.SLOWER, trial_failed_words(self._tempo(case)))
        case.climb.trial_held()
        if self._is_full(case, run):
            return self._up(case)
        return self._ask(case, Kind.QUICKEN, "Clean at tempo: hold it there.")

    def _is_full(self, case: Case, run: Run) -> bool:
        return run.clean >= case.required(self.task.clean_required)

    def _up(self, case: Case) -> Ask:
        """Wider first, at the tempo that holds; the tempo comes back in the widest rung."""
        if case.climb.at_target or not case.is_top:
            return self._wider(case)
        case.held, kind = True, case.climb.up(self._beat(case))
        return self._ask(case, kind, up_words(kind, self._tempo(case)))

    def _wider(self, case: Case) -> Ask:
        if not case.is_join and case.climb.at_target:
            self.evidence.discount_mended(case.transition.to_quarters, case.transition.hands)
        before = case.window
        if not case.rise():
            return self.close(held=True)
        joined = case.window.hands is not before.hands
        what = "Hands together now" if joined else "A little more of it"
        return self._ask(case, Kind.JOIN if joined else Kind.WIDEN, f"It holds. {what}.")

    def _down(self, case: Case) -> Ask:
        if case.is_join and not case.held:
            case.fall()
            return self._ask(case, Kind.NARROW, "That broke again: back one step.")
        if not case.climb.at_floor:
            case.climb.down(self._beat(case))
            return self._ask(case, Kind.SLOWER, down_words(self._tempo(case)))
        if case.fall():
            case.start = case.at
            return self._ask(case, Kind.NARROW, "Smaller still.")
        return self.close(held=False)

    def close(self, *, held: bool) -> Ask:
        """Back to the whole: it held, or is left for now."""
        assert self.case is not None
        move = self.case.transition
        if held:
            self.mended[move.to_quarters] = self.mended.get(move.to_quarters, 0) + 1
            self.evidence.discount_mended(move.to_quarters, move.hands)
        self.case = None
        reason = (
            "Back to the whole of it." if held else "Leave that place for now: the whole of it."
        )
        return Ask(self.task.window, Kind.WIDEN, reason)

    # -- words -------------------------------------------------------------------------------

    def _ask(self, case: Case, kind: Kind, reason: str) -> Ask:
        return Ask(case.window, kind, reason)

    def _beat(self, case: Case) -> Fraction:
        return self.places.beat_quarters(case.window)

    def _tempo(self, case: Case) -> str:
        return tempo_words(case.climb.now, float(self._beat(case)))
