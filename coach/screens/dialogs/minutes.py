"""Asked once: how many minutes there are for a warm-up."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from coach.screens.dialogs.dialog import Choices, Dialog
from coach.screens.terminal import as_shown

MINUTES = (5, 10, 15, 20, 30)
"""What can be chosen; coach warmup --minutes takes any other. Own choice: quarters of an hour, and
less for those who have less."""


class MinutesScreen(Dialog[int]):
    """Asks how long a warm-up may be; the answer is kept."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss", "not now", show=False)]

    DEFAULT_CSS = """
    MinutesScreen {
        & > Vertical { max-width: 60; }
        & #title { text-style: bold; }
        & #later { color: $text-muted; }
        & OptionList, & OptionList:focus { height: auto; border: none; margin: 1 0; }
    }
    """

    def compose(self) -> ComposeResult:
        """The question, the answers, and how to change one's mind."""
        with Vertical():
            yield Static("How long do you have for a warm-up?", id="title")
            yield Choices(*(Option(f"{one} minutes", id=str(one)) for one in MINUTES))
            later = "It is kept. Another time: coach warmup --minutes 8"
            yield Static(as_shown(self, later), id="later", markup=False)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Answer."""
        self.dismiss(int(event.option.id or MINUTES[0]))
