"""Screens over the others: their form, a text to be read, and a terminal that is too small.

Each is closed once, and only itself. A text that is only to be read is a :class:`TextScreen`; what
it says is put together in :mod:`.texts`.
"""

from __future__ import annotations

from contextlib import suppress
from typing import Any, ClassVar, cast

from rich.console import RenderableType
from textual.app import ComposeResult
from textual.await_complete import AwaitComplete
from textual.binding import Binding, BindingType
from textual.color import Color
from textual.command import CommandInput, CommandPalette
from textual.containers import Vertical, VerticalScroll
from textual.css.query import NoMatches
from textual.events import Resize
from textual.geometry import Size
from textual.renderables.blank import Blank
from textual.screen import ModalScreen, Screen, ScreenResultType
from textual.widgets import OptionList, Static, Tree

from coach.playing.command_keys import ListStep
from coach.screens.gc_pause import forget_pictures
from coach.screens.terminal import as_shown

MINIMUM = (60, 18)
"""The smallest terminal that shows music, in columns and rows. Own choice: three quarters of the
usual 80 by 24 must be enough."""

CLOSING_KEYS = Binding("escape,enter,space,q", "dismiss", "close", show=False)
"""What closes a text that is only to be read."""


def is_too_small(size: Size) -> bool:
    """Whether a terminal of this size can show no music."""
    return size.width < MINIMUM[0] or size.height < MINIMUM[1]


def backdrop_of(screen: ModalScreen[Any]) -> RenderableType | None:
    """A plain backdrop for a dialog over a dialog; None where the music shines through.

    To draw a screen, Textual draws what lies under it, and so on down. With dialogs over dialogs
    that may come round to itself and never end.
    """
    stack = screen.app.screen_stack
    under = stack[stack.index(screen) - 1] if screen in stack[1:] else None
    if not isinstance(under, ModalScreen):
        return None
    backdrop: Any = Blank(Color.parse(screen.app.theme_variables["background"]))
    return cast(RenderableType, backdrop)


class Dialog(ModalScreen[ScreenResultType]):
    """A screen over the others that is closed with an answer.

    Textual removes the uppermost screen, whichever was told to close. Of two quick presses of Esc
    the second would close what lies under the dialog.
    """

    DEFAULT_CSS = """
    Dialog {
        align: center middle;
        & > Vertical {
            width: 90%; height: auto; padding: 1 2;
            border: round $foreground 60%; background: $surface;
        }
    }
    """

    closes_when_played: ClassVar[bool] = False
    """Whether any key of the piano closes it."""

    def dismiss(self, result: ScreenResultType | None = None) -> AwaitComplete:
        """Close, if it is the one that is seen."""
        if self.app.screen_stack[-1:] != [self]:
            return AwaitComplete()
        return super().dismiss(result)

    def hear_key(self, pitch: int, step: ListStep | None) -> bool:
        """A key of the piano was struck: whether it was meant for this screen, and is no music.

        ``step`` is what it does with a list. What is only to be read is closed by any key.
        """
        if self.closes_when_played:
            self.dismiss()
            return False
        return step is not None and self.take_step(step)

    def take_step(self, step: ListStep) -> bool:
        """Move in the list, choose or go back, from the piano; whether there was a way to."""
        if step is ListStep.BACK:
            self.go_back()
            return True
        return move_in_list(self, step)

    def go_back(self) -> None:
        """Close it, changing nothing."""
        self.dismiss()

    def render(self) -> RenderableType:
        """What is seen around it."""
        backdrop = backdrop_of(self)
        return super().render() if backdrop is None else backdrop

    def on_unmount(self) -> None:
        """Let go of its picture, too."""
        forget_pictures()


def move_in_list(screen: Screen[Any], step: ListStep) -> bool:
    """Move in a screen's list or tree, or choose in it; whether it has one."""
    for choices in screen.query(OptionList).results(OptionList):
        options = {
            ListStep.DOWN: choices.action_cursor_down,
            ListStep.UP: choices.action_cursor_up,
            ListStep.CHOOSE: choices.action_select,
        }
        options[step]()
        return True
    for tree in screen.query(Tree).results(Tree):
        nodes = {
            ListStep.DOWN: tree.action_cursor_down,
            ListStep.UP: tree.action_cursor_up,
            ListStep.CHOOSE: tree.action_select_cursor,
        }
        nodes[step]()
        return True
    return False


class Palette(CommandPalette):
    """Every command by its name, in a screen that closes as a dialog does.

    It doesn't have Textual's id for it. Ids must not be there twice, and a second palette may be
    opened while the first is still being removed.
    """

    def dismiss(self, result: Any = None) -> AwaitComplete:
        """Close, if it is the one that is seen."""
        if self.app.screen_stack[-1:] != [self]:
            return AwaitComplete()
        return super().dismiss(result)

    def render(self) -> RenderableType:
        """What is seen around it."""
        backdrop = backdrop_of(self)
        return super().render() if backdrop is None else backdrop

    def on_unmount(self) -> None:
        """Let go of its picture, too."""
        forget_pictures()

    def query_one(self, selector: Any, expect_type: Any = None) -> Any:
        """A part of it. Where it has none yet, or no longer, one that nobody sees.

        Textual searches in a worker and by timers, which may end after the palette is closed.
        """
        try:
            return super().query_one(selector, expect_type)
        except NoMatches:
            return selector() if isinstance(selector, type) else CommandInput()

    def _action_command_list(self, action: str) -> None:
        """Move in the list, but not before Textual has counted its rows (see ``Choices``)."""
        with suppress(KeyError, IndexError):
            super()._action_command_list(action)


class Choices(OptionList):
    """Textual's list of options, safe against a page key before its rows are counted.

    Textual (8.2) counts the rows when it next lays the list out. A page key before that raises.
    """

    def action_page_up(self) -> None:
        """A page up, or to the first where there are no rows yet."""
        try:
            super().action_page_up()  # type: ignore[no-untyped-call]
        except (KeyError, IndexError):
            self.action_first()

    def action_page_down(self) -> None:
        """A page down, or to the last where there are no rows yet."""
        try:
            super().action_page_down()  # type: ignore[no-untyped-call]
        except (KeyError, IndexError):
            self.action_last()


class TextBox(VerticalScroll):
    """A frame around a text. On it stands how it is closed, and whether there is more to read."""

    DEFAULT_CSS = """
    TextBox {
        width: 96%;
        max-width: 100;
        height: auto;
        max-height: 90%;
        padding: 1 2;
        border: round $foreground 60%;
        border-subtitle-color: $text;
        background: $surface;
    }
    """

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text = text

    def compose(self) -> ComposeResult:
        """The text."""
        yield Static(as_shown(self, self._text), markup=False, id="text")

    def show(self, text: str) -> None:
        """Another text."""
        for static in self.query("#text").results(Static):
            static.update(as_shown(self, text))

    def on_mount(self) -> None:
        """Say how it is closed, once it is known how long the text is."""
        self.call_after_refresh(self._say_how_to_close)

    def on_resize(self, event: Resize) -> None:
        """Say it again: another size may hide some of the text."""
        self.call_after_refresh(self._say_how_to_close)

    def _say_how_to_close(self) -> None:
        more = "Up, Down, PgDn: more   " if self.max_scroll_y else ""
        self.border_subtitle = f"{more}Enter, Esc or play: back"


class TextScreen(Dialog[None]):
    """A text over the screen, closed with any of the usual keys, or by playing on."""

    BINDINGS: ClassVar[list[BindingType]] = [CLOSING_KEYS]
    closes_when_played = True

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text = text

    def compose(self) -> ComposeResult:
        """The text, and how to close it."""
        yield TextBox(self._text)


class NoticeScreen(Dialog[None]):
    """One sentence that has to be read."""

    BINDINGS: ClassVar[list[BindingType]] = [CLOSING_KEYS]
    closes_when_played = True

    def __init__(self, sentence: str) -> None:
        super().__init__()
        self.sentence = sentence

    def compose(self) -> ComposeResult:
        """The sentence, and how to close it."""
        yield TextBox(self.sentence)


class TooSmallScreen(Dialog[None]):
    """In place of a broken picture."""

    DEFAULT_CSS = """
    TooSmallScreen { background: $background; }
    TooSmallScreen Vertical { height: auto; border: none; padding: 0; }
    TooSmallScreen Static { text-align: center; }
    """

    def compose(self) -> ComposeResult:
        """What size is needed."""
        columns, rows = MINIMUM
        with Vertical():
            yield Static(
                f"This terminal is too small to show music.\n"
                f"Make it at least {columns} columns by {rows} rows, or its letters smaller.\n"
                f"Nothing is lost."
            )
