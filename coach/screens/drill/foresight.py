"""What the pianist may ask for next, engraved before it is asked for."""

from __future__ import annotations

from coach.coaching.drill import DrillState
from coach.coaching.model import Request
from coach.score.window import Excerpt
from coach.screens.drill.foot import Foot
from coach.screens.interfaces import DrillSession
from coach.screens.widgets import StaffView

LIKELY = (Request.SMALLER, Request.OTHER_HAND, Request.NEXT, Request.LARGER)
"""Wishes for another window, the likeliest first. Own choice: what fails is made smaller."""
QUIET_S, STEP_S = 0.5, 0.2
"""For so long nothing was struck or asked for; and from one step, which takes the screen some 20
ms, to the next. Own choice: no first key should wait for it, and a new window is read for a
second."""
_BUSY = frozenset({DrillState.COUNT_IN, DrillState.PLAYING})


class Foresight:
    """Finds out in quiet moments, step by step, which windows may come next, and has them
    engraved."""

    def __init__(self, session: DrillSession, staff: StaffView, foot: Foot) -> None:
        self._session, self._staff, self._foot = session, staff, foot
        self._wishes = list(LIKELY)
        """Those whose windows are not known yet."""
        self._windows: list[Excerpt] = []
        self._next_step_s: float | None = None
        """None where something else was asked for just now, and is still to be shown."""

    def begin_anew(self) -> None:
        """Something else stands: the wishes lead elsewhere."""
        self._wishes, self._windows, self._next_step_s = list(LIKELY), [], None

    def take_step(self, now_s: float, last_key_s: float | None) -> None:
        """Find one window, or have one engraved, where all is quiet and any is left."""
        drill = self._session.drill
        if not self._staff.is_engraved or drill.state in _BUSY:
            return
        if self._next_step_s is None:
            self._next_step_s = now_s + QUIET_S
        if now_s < max(self._next_step_s, (last_key_s or 0.0) + QUIET_S):
            return
        self._next_step_s = now_s + STEP_S
        for excerpt in self._windows:
            if not self._staff.is_expected(excerpt.window):
                self._foot.expect_window(self._session.score, excerpt)
                return
        if self._wishes:
            self._windows.append(drill.foresee(self._wishes.pop(0)))
