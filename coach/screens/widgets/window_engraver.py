"""Has windows engraved beside the screen, and tells when their pictures are there."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Protocol

from coach.engraving import Picture, Wanted
from coach.score.model import Score
from coach.score.notation import Counts
from coach.score.window import Excerpt
from coach.screens.staff import (
    EngravedSheet,
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


class WindowEngraver:
    """Engraves one window at a time; a newer wish takes the place of the one before.

    ``show`` is called on the event loop, once the pictures of the newest wish are there.
    """

    def __init__(
        self, engraver: Engraver, counts: Counts, show: Callable[[WindowWish, EngravedSheet], None]
    ) -> None:
        self._engraver, self._counts, self._show = engraver, counts, show
        self._wish: WindowWish | None = None
        self._loop: asyncio.AbstractEventLoop | None = None

    @property
    def graphics(self) -> Graphics:
        """What the terminal can show."""
        return self._engraver.graphics

    def engrave(self, wish: WindowWish) -> None:
        """Have it engraved; at once where its pictures are kept from before."""
        self._wish = wish
        if wish.rows >= FEWEST_ROWS:
            self._loop = asyncio.get_running_loop()
            self._try(wish, pages_at_first(wish.score, wish.part))

    def forget(self) -> None:
        """Nothing is wished for any longer."""
        self._wish = None

    def _try(self, wish: WindowWish, pages: int) -> None:
        graphics, line = self._engraver.graphics, self._engraver.line
        plans = plan_pages(wish.score, wish.part, self._counts, pages)
        box = picture_box(graphics, wish.columns, wish.rows)
        wanted = [
            Wanted(plan.mei, box, wish.ink, wish.ground, graphics.protocol.value) for plan in plans
        ]
        missing = {one for one in wanted if line.get(one) is None}

        def finish() -> None:
            pictures = [picture for one in wanted if (picture := line.get(one)) is not None]
            if wish is not self._wish or not plans or len(pictures) < len(plans):
                return
            more = pages_instead(pictures, wish.score, wish.part, graphics)
            if more is not None:
                self._try(wish, more)
                return
            sheet = lay_out_pictures(plans, pictures, graphics, wish.columns, wish.rows)
            self._show(wish, sheet)

        def made(one: Wanted, picture: Picture | None) -> None:
            missing.discard(one)
            if not missing and picture is not None and self._loop:
                with suppress(RuntimeError):  # the screen is gone
                    self._loop.call_soon_threadsafe(finish)

        if not missing:
            finish()
        for one in reversed([one for one in wanted if one in missing]):
            line.ask(one, made)
