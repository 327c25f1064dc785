"""Screens over the others: each is closed once, and only itself."""

from __future__ import annotations

from typing import Any

from textual.await_complete import AwaitComplete
from textual.command import CommandPalette
from textual.css.query import NoMatches
from textual.screen import ModalScreen, ScreenResultType

from coach.screens.gc_pause import forget_pictures


class Dialog(ModalScreen[ScreenResultType]):
    """A screen over the others that is closed with an answer.

    Textual takes the uppermost screen away, whichever was told to close: of two quick presses of
    Esc the second would close what lies under a dialog.
    """

    def dismiss(self, result: ScreenResultType | None = None) -> AwaitComplete:
        """Close, if it is the one that is seen."""
        if self.app.screen_stack[-1:] != [self]:
            return AwaitComplete()
        return super().dismiss(result)

    def on_unmount(self) -> None:
        """It is gone, and so is its picture."""
        forget_pictures()


class Palette(CommandPalette):
    """Every command by its name; closed as a dialog is.

    Without Textual's name for it, which must be there only once: another may be opened while one is
    still being taken away.
    """

    def dismiss(self, result: Any = None) -> AwaitComplete:
        """Close, if it is the one that is seen."""
        if self.app.screen_stack[-1:] != [self]:
            return AwaitComplete()
        return super().dismiss(result)

    def on_unmount(self) -> None:
        """It is gone, and so is its picture."""
        forget_pictures()

    def query_one(self, selector: Any, expect_type: Any = None) -> Any:
        """A part of it; once it is taken away, one that nobody sees.

        It searches in a worker and by timers, which may come to an end after it has.
        """
        try:
            return super().query_one(selector, expect_type)
        except NoMatches:
            if self in self.app.screen_stack or not isinstance(selector, type):
                raise
            return selector()
