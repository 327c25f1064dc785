"""All that can be asked for from the piano, each on a key of its own while nothing is played."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from coach.playing.command_keys import CommandKey, ListStep, PianoCommand, lay_all_commands
from coach.screens.dialogs.dialog import Dialog, TextBox
from coach.screens.keymap import place_words


class CommandsScreen(Dialog[PianoCommand]):
    """Answers with the command whose key is struck; any other key closes it, and is music."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,space,q", "dismiss", "close", show=False)
    ]

    def __init__(self, piano_keys: int) -> None:
        super().__init__()
        self._keys = lay_all_commands(piano_keys)

    def compose(self) -> ComposeResult:
        """Key and command, in two columns."""
        yield TextBox(f"Strike what you want; any other key goes back.\n\n{_table(self._keys)}")

    def hear_key(self, pitch: int, step: ListStep | None) -> bool:
        """Answer with what the key asks for."""
        asked = next((one.command for one in self._keys if one.pitch == pitch), None)
        self.dismiss(asked)
        return asked is not None


def _table(keys: Sequence[CommandKey]) -> str:
    rows = [f"{place_words(one, keys):<16} {one.command.value}" for one in keys]
    half = (len(rows) + 1) // 2
    pairs = zip_longest(rows[:half], rows[half:], fillvalue="")
    return "\n".join(f"{left:<34}{right}".rstrip() for left, right in pairs)
