"""Who plays, where several share the piano: each has a record and settings of their own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from coach.score.words import printable
from coach.screens.dialogs.dialog import Choices, Dialog
from coach.screens.dialogs.hands import PassageInput
from coach.screens.terminal import as_shown

NAMELESS = "The pianist without a name"
"""Whose record is kept where nobody is named; the name is ""."""


class PianistScreen(Dialog[str]):
    """Answers who plays from now on; None where that stays as it is."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss", "back", show=False)]

    DEFAULT_CSS = """
    PianistScreen {
        & > Vertical { max-width: 60; }
        & Static { height: auto; }
        & #title { text-style: bold; }
        & #wrong { text-style: bold reverse; }
        & #keys { color: $text-muted; }
        & OptionList, & OptionList:focus {
            height: auto; max-height: 8; border: none; margin: 1 0;
        }
    }
    """

    def __init__(self, known: Sequence[str], now: str, check: Callable[[str], str]) -> None:
        """``check`` says why a name can't be kept; "" where it can."""
        super().__init__()
        self._names, self._now, self._check = ("", *known), now, check

    def compose(self) -> ComposeResult:
        """Everyone who is known, and a line for a new name."""
        with Vertical():
            yield Static("Who plays?", id="title")
            yield Choices(
                *(Option(self._words_for(name), id=str(at)) for at, name in enumerate(self._names))
            )
            yield PassageInput(placeholder="A new name", max_length=40)
            yield Static("", id="wrong", markup=False)
            keys = "↑↓ Enter choose  Tab write a name  Esc back"
            yield Static(as_shown(self, keys), id="keys", markup=False)

    def _words_for(self, name: str) -> str:
        words = printable(name) or NAMELESS
        return as_shown(self, f"{words}, who plays now" if name == self._now else words)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Someone who is known."""
        self._answer(self._names[int(event.option.id or 0)])

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Someone new; where the name can't be kept, say why, and let it be corrected."""
        name = event.value.strip()
        if not name:
            return
        if why := self._check(name):
            self.query_one("#wrong", Static).update(as_shown(self, why))
        else:
            self._answer(name)

    def _answer(self, name: str) -> None:
        self.dismiss(None if name == self._now else name)
