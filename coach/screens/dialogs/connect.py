"""No piano: what can be done without one, or while it is looked for."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from coach.screens.dialogs.dialog import Choices, Dialog
from coach.screens.terminal import as_shown

if TYPE_CHECKING:
    from coach.screens.interfaces import PortsLike

WAIT = "Wait for the piano: plug it in and switch it on; I notice it by myself"
LOOK = "Look at the piece without a piano"
DEMO = "See the demo: a simulated player with a known fault"
SETUP = "Set the piano up: its port, keys, sound and delay"
LETTERS = "Play with the letters of this computer, to try it out"


def explain_no_match(wanted: str | None, ports: PortsLike | None) -> str:
    """Say that no port has the wanted name, and which there are; "" where none was wanted."""
    names = ports.names_in() if wanted and ports else ()
    if not names:
        return ""
    return f"No port has “{wanted}” in its name. There is: {', '.join(names)}."


class ConnectScreen(Dialog[str]):
    """Offers what can be done; answers ``wait``, ``demo``, ``setup`` or ``letters``.

    It goes by itself as soon as a piano is there.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss('wait')", "wait", show=False),
    ]

    DEFAULT_CSS = """
    ConnectScreen {
        & > Vertical { max-width: 90; }
        & #title { text-style: bold; }
        & #reason { color: $text-muted; }
        & OptionList, & OptionList:focus { height: auto; border: none; margin-top: 1; }
    }
    """

    def __init__(self, sentence: str, *, can_demo: bool, can_wait: bool = True) -> None:
        """``can_wait``: there is MIDI, so that a piano plugged in later is noticed."""
        super().__init__()
        self._sentence, self._can_demo = sentence, can_demo
        self._wait = WAIT if can_wait else LOOK

    def compose(self) -> ComposeResult:
        """What is the matter, and the ways on."""
        demo = [Option(DEMO, id="demo")] if self._can_demo else []
        setup = [Option(SETUP, id="setup")] if self._wait == WAIT else []
        with Vertical():
            yield Static("I hear no piano.", id="title")
            yield Static(as_shown(self, self._sentence), id="reason", markup=False)
            yield Choices(
                Option(self._wait, id="wait"),
                *demo,
                *setup,
                Option(LETTERS, id="letters"),
                id="ways",
            )

    def go_back(self) -> None:
        """Wait for the piano."""
        self.dismiss("wait")

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Answer."""
        self.dismiss(event.option.id or "wait")
