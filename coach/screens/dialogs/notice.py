"""Small screens over the others: a notice, the keys, a terminal that is too small."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.events import Resize
from textual.geometry import Size
from textual.widget import Widget
from textual.widgets import Static

from coach.screens.dialogs.dialog import Dialog
from coach.screens.terminal import as_shown

MINIMUM = (60, 18)
"""The smallest terminal in which a window can be read, in columns and rows."""


def is_too_small(size: Size) -> bool:
    """Whether a terminal of this size can show no music."""
    return size.width < MINIMUM[0] or size.height < MINIMUM[1]


class SheetBox(VerticalScroll):
    """A frame round a text, on which stands how it is closed, and whether there is more of it."""

    def __init__(self, *content: Widget, more: str) -> None:
        """``more``: the keys that bring the rest of a long text into sight."""
        super().__init__(*content)
        self._more = more

    def on_mount(self) -> None:
        """Say it as soon as it is known how long the text is."""
        self.call_after_refresh(self._say)

    def on_resize(self, event: Resize) -> None:
        """More or less of it fits."""
        self.call_after_refresh(self._say)

    def _say(self) -> None:
        more = f"{self._more}: more   " if self.max_scroll_y else ""
        self.border_subtitle = f"{more}Enter, Esc or play: back"


class SheetScreen(Dialog[None]):
    """A text over the screen, closed with any of the usual keys, or by playing on."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,space,q", "dismiss", "close", show=False),
    ]

    DEFAULT_CSS = """
    SheetScreen {
        align: center middle;
        & > VerticalScroll {
            width: 96%;
            max-width: 100;
            height: auto;
            max-height: 90%;
            padding: 1 2;
            border: round $foreground 60%;
            border-subtitle-color: $text;
            background: $surface;
        }
    }
    """

    more = "Up, Down, PgDn"
    """The keys that a long text is moved with."""

    def text(self) -> str:
        """What is shown."""
        raise NotImplementedError

    def compose(self) -> ComposeResult:
        """The text, and how to close it."""
        text = as_shown(self, self.text())
        yield SheetBox(Static(text, markup=False, id="text"), more=self.more)


class NoticeScreen(SheetScreen):
    """One sentence that has to be read."""

    def __init__(self, sentence: str) -> None:
        super().__init__()
        self.sentence = sentence

    def text(self) -> str:
        """The sentence."""
        return self.sentence


class TooSmallScreen(Dialog[None]):
    """In place of a broken picture."""

    DEFAULT_CSS = """
    TooSmallScreen { align: center middle; background: $background; }
    TooSmallScreen Vertical { height: auto; }
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
