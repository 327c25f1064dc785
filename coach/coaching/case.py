"""A trouble being mended: the rungs from its smallest window back to where it came from.

Common practice, as a ladder: the transition with a run-up in its hand; the bar in that hand; the
transition hands together; the bar; its neighbours, onto the next downbeat; then the window it
came from. A narrower rung without the run-up lies below, for what won't hold with it. A relapse
goes down one rung at a time, so only as far as it must.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from coach.coaching.climb import Climb
from coach.coaching.places import Places
from coach.coaching.task import most_of
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
