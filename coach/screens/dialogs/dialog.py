"""Screens over the others: each is closed once, and only itself."""

from __future__ import annotations

from contextlib import suppress
from typing import Any, cast

from rich.console import RenderableType
from textual.await_complete import AwaitComplete
from textual.color import Color
from textual.command import CommandInput, CommandPalette
from textual.css.query import NoMatches
from textual.renderables.blank import Blank
from textual.screen import ModalScreen, ScreenResultType

from coach.screens.gc_pause import forget_pictures


def ground_of(screen: ModalScreen[Any]) -> RenderableType | None:
    """A plain ground where another dialog lies under a dialog; None where the music shines through.

    Textual draws what lies under a screen while it draws that screen, and so on down: with dialogs
    over dialogs that may come round to itself and never end.
    """
    stack = screen.app.screen_stack
    under = stack[stack.index(screen) - 1] if screen in stack[1:] else None
    if not isinstance(under, ModalScreen):
        return None
    ground: Any = Blank(Color.parse(screen.app.theme_variables["background"]))
    return cast(RenderableType, ground)


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

    def render(self) -> RenderableType:
        """What is seen round it."""
        ground = ground_of(self)
        return super().render() if ground is None else ground

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

    def render(self) -> RenderableType:
        """What is seen round it."""
        ground = ground_of(self)
        return super().render() if ground is None else ground

    def on_unmount(self) -> None:
        """It is gone, and so is its picture."""
        forget_pictures()

    def query_one(self, selector: Any, expect_type: Any = None) -> Any:
        """A part of it; before it stands, or once it is taken away, one that nobody sees.

        It searches in a worker and by timers, which may come to an end after it has.
        """
        try:
            return super().query_one(selector, expect_type)
        except NoMatches:
            return selector() if isinstance(selector, type) else CommandInput()

    def _action_command_list(self, action: str) -> None:
        """Move in the list: not before Textual has counted its rows (see ``Choices``)."""
        with suppress(KeyError, IndexError):
            super()._action_command_list(action)
