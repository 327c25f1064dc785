"""A warm-up over several pieces: which weak spot is next, and for how much longer.

Rules
-----
- Every due spot once, the worst first, piece by piece, in its smallest useful window.
- A spot that does not hold within ``MOST_TRIES`` tries is left, and comes back at the end.
- Once it holds there it comes again with the bar around it, after all others have had their turn.
- The same spot has two turns running only where no other is left.
- When the minutes are over, or nothing is left, it ends.

``next_turn`` is all of the planning, and a pure function: facts and seconds in, the next spot out.
:class:`Round` only keeps the facts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from coach.coaching.planning.warmup import WeakSpot, expected_s

MOST_TRIES = 3
"""Repetitions of a spot in one turn, at the most: what does not hold by then needs a rest, and
comes back. Own choice, because whoever goes on is training the mistake."""
MOST_TURNS = 4
"""Turns in which one window of a spot may fail: then it is for the drill, not for a warm-up."""
LEAST_SHARE = 0.5
"""A turn is begun where at least so much of what it takes is left."""
WINDOWS = 2
"""Windows of a spot: the smallest useful, and the bar around it."""


@dataclass(frozen=True, slots=True)
class Due:
    """A weak spot of one of the pieces, and what became of it in this warm-up."""

    piece: str
    """The piece's key."""
    spot: WeakSpot
    windows: int = WINDOWS
    """How many windows it has."""
    held: int = 0
    """How many of them hold by now."""
    failed: int = 0
    """Turns in which the present one did not hold."""
    left_out: bool = False
    """It is not to come again: passed over, or not to be had."""

    @property
    def is_open(self) -> bool:
        """Whether it may come again."""
        return not self.left_out and self.held < self.windows and self.failed < MOST_TURNS


def next_turn(dues: Sequence[Due], left_s: float, last: int | None) -> int | None:
    """Which of the due spots is next; None where the warm-up is over.

    ``dues`` come piece by piece, in each the worst first; ``last`` is the one played last.
    """
    able = [
        at
        for at, due in enumerate(dues)
        if due.is_open and left_s >= LEAST_SHARE * expected_s(due.spot) * (1 + due.held)
    ]

    def rank(at: int) -> tuple[bool, int, int, bool, int]:
        due = dues[at]
        elsewhere = last is not None and due.piece != dues[last].piece
        stage = 2 if due.held else 1 if due.failed else 0
        return at == last, stage, due.failed, elsewhere, at

    return min(able, key=rank, default=None)


class Round:
    """What has become of each spot of a warm-up; its clock runs from the first key."""

    def __init__(
        self, dues: Sequence[Due], minutes: float, is_ready: Callable[[str], bool] = lambda _: True
    ) -> None:
        """``is_ready``: whether a piece can be put on the desk at once."""
        self.dues = list(dues)
        self.minutes = minutes
        self.is_ready = is_ready
        self.now: int | None = None
        """The spot whose turn it is."""
        self._last: int | None = None
        self._begun_s: float | None = None

    def begin(self, at_s: float) -> None:
        """A key was struck."""
        if self._begun_s is None:
            self._begun_s = at_s

    def left_s(self, now_s: float) -> float:
        """Seconds that are left."""
        passed_s = 0.0 if self._begun_s is None else now_s - self._begun_s
        return 60.0 * self.minutes - passed_s

    def choose(self, now_s: float) -> Due | None:
        """The next turn; None where the warm-up is over."""
        self.now = next_turn(self.dues, self.left_s(now_s), self._last)
        return None if self.now is None else self.dues[self.now]

    def over(self, *, held: bool) -> None:
        """The present turn is over."""
        if self.now is None:
            return
        due = self.dues[self.now]
        self._set(
            self.now,
            replace(due, held=due.held + 1, failed=0)
            if held
            else replace(due, failed=due.failed + 1),
        )
        self._last, self.now = self.now, None

    def leave_out(self, at: int) -> None:
        """A spot is not to come (again)."""
        self._set(at, replace(self.dues[at], left_out=True))

    def has_windows(self, at: int, count: int) -> None:
        """A spot has so many windows; known once its score is open."""
        self._set(at, replace(self.dues[at], windows=count))

    def _set(self, at: int, due: Due) -> None:
        self.dues[at] = due

    def why_over(self, now_s: float) -> str:
        """Why the warm-up is over, in a sentence."""
        coming = sum(due.is_open for due in self.dues)
        if coming:
            return f"The {self.minutes:g} minutes are over."
        loose = sum(not due.left_out and due.held < due.windows for due in self.dues)
        if loose:
            one = "One spot does" if loose == 1 else f"{loose} spots do"
            return f"{one} not hold yet, and the rest does: enough of a warm-up."
        return "Every weak spot held, and its bar with it: nothing is left to warm up."
