"""Has windows engraved beside the screen, and tells when their pictures are there."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Protocol

from coach.engraving import Picture, Wanted
from coach.score.model import Score
from coach.score.notation import Counts
from coach.score.window import Excerpt, Window
from coach.screens.staff import (
    EngravedSheet,
    PagePlan,
    lay_out_pictures,
    pages_at_first,
    pages_instead,
    picture_box,
    plan_pages,
)
from coach.screens.terminal import Graphics

FEWEST_ROWS = 12
"""In less room the staff in cells is clearer."""


class EngravingLike(Protocol):
    """The line to the engraving process (``coach.engraving.EngravingLine``)."""

    def get(self, wanted: Wanted) -> Picture | None:
        """The picture, where it is made already."""

    def ask(self, wanted: Wanted, done: Callable[[Wanted, Picture | None], None]) -> None:
        """Have it made; ``done`` is called on another thread."""

    def close(self) -> None:
        """Make no more pictures."""


@dataclass(frozen=True, slots=True)
class Engraver:
    """Who makes pictures, and what the terminal can show of them."""

    line: EngravingLike
    graphics: Graphics


@dataclass(frozen=True, slots=True)
class WindowWish:
    """A window to be engraved for some room, in some colours."""

    score: Score
    part: Excerpt
    columns: int
    rows: int
    ink: str
    ground: str
    fingers: Mapping[str, str] = field(default_factory=dict)
    """By a note's id the finger that is suggested where none is printed."""
    size: int = 0
    """So many steps larger or smaller than is read well."""


PLANS_KEPT = 16
"""Plans of windows that are kept: of those in sight, and of what may come next. Own choice, because
a window on many pages has been tried on fewer first."""


_PlanKey = tuple[int, Window, int, bool]
"""Which score (the plan keeps it, so that no other takes its number), what of it, on how many
pages, and whether with suggested fingers."""


class WindowEngraver:
    """Engraves the window in sight, and those that may come next; a newer one in sight takes the
    place of all before.

    ``show`` is called on the event loop, once the pictures of the window in sight are there.
    """

    def __init__(
        self, engraver: Engraver, counts: Counts, show: Callable[[WindowWish, EngravedSheet], None]
    ) -> None:
        self._engraver, self._counts, self._show = engraver, counts, show
        self._wish: WindowWish | None = None
        self._ahead: list[WindowWish] = []
        self._plans: OrderedDict[_PlanKey, tuple[Score, tuple[PagePlan, ...]]] = OrderedDict()

    @property
    def graphics(self) -> Graphics:
        """What the terminal can show."""
        return self._engraver.graphics

    def engrave(self, wish: WindowWish) -> None:
        """Have it engraved; at once where its pictures are kept from before."""
        self._wish, self._ahead = wish, []
        self._begin(wish)

    def engrave_ahead(self, wish: WindowWish) -> None:
        """Have its pictures made and kept: it may be wished for next."""
        self._ahead.append(wish)
        self._begin(wish)

    def find(self, wish: WindowWish) -> EngravedSheet | None:
        """The window's pages, where all their pictures are kept; nothing is asked for."""
        return self._look_up(wish)[0]

    def _begin(self, wish: WindowWish) -> None:
        """Show it if it is the window in sight and its pictures are kept, or have them made."""
        sheet, missing = self._look_up(wish)
        if sheet and wish is self._wish:
            self._show(wish, sheet)
        if not missing:
            return
        loop, left = asyncio.get_running_loop(), set(missing)

        def go_on() -> None:  # perhaps to more pages: it is known now how small the staves get
            if any(wish is one for one in (self._wish, *self._ahead)):
                self._begin(wish)

        def made(one: Wanted, picture: Picture | None) -> None:
            left.discard(one)
            if not left and picture is not None:
                with suppress(RuntimeError):  # the screen is gone
                    loop.call_soon_threadsafe(go_on)

        for one in reversed(missing):
            self._engraver.line.ask(one, made)

    def _look_up(self, wish: WindowWish) -> tuple[EngravedSheet | None, list[Wanted]]:
        """The pages, or the pictures that have to be made before it is known what they are."""
        graphics, line = self._engraver.graphics, self._engraver.line
        box = picture_box(graphics, wish.columns, wish.rows, wish.size)
        pages: int | None = pages_at_first(wish.score, wish.part, wish.size)
        while pages is not None and wish.rows >= FEWEST_ROWS:
            plans = self._plan(wish, pages)
            wanted = [
                Wanted(plan.mei, box, wish.ink, wish.ground, graphics.protocol.value)
                for plan in plans
            ]
            pictures = [line.get(one) for one in wanted]
            missing = [one for one, kept in zip(wanted, pictures, strict=True) if kept is None]
            kept = [picture for picture in pictures if picture is not None]
            if missing or not kept:
                return None, missing
            pages = pages_instead(kept, wish.score, wish.part, graphics, box, wish.size)
            if pages is None:
                return lay_out_pictures(plans, kept, graphics, wish.columns, wish.rows), []
        return None, []

    def _plan(self, wish: WindowWish, pages: int) -> tuple[PagePlan, ...]:
        """The window's pages as MEI; what was planned just now is not written again."""
        key = (id(wish.score), wish.part.window, pages, bool(wish.fingers))
        if key not in self._plans:
            plans = plan_pages(wish.score, wish.part, self._counts, pages, wish.fingers)
            self._plans[key] = wish.score, plans
            while len(self._plans) > PLANS_KEPT:
                self._plans.popitem(last=False)
        self._plans.move_to_end(key)
        return self._plans[key][1]
