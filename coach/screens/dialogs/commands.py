"""All that can be asked for from the piano, each on a key of its own while nothing is played."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from coach.playing.command_keys import CommandKey, ListStep, PianoCommand, lay_all_commands
from coach.screens.dialogs.dialog import Dialog, TextBox

_WHITE_KEYS = 7
"""In an octave."""
_COLUMN = 17
"""Columns of the terminal for an octave: three of them fit into the smallest."""


class CommandsScreen(Dialog[PianoCommand]):
    """Answers with the command whose key is struck; any other key closes it, and is music."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,space,q", "dismiss", "close", show=False)
    ]

    def __init__(self, piano_keys: int) -> None:
        super().__init__()
        self._keys = lay_all_commands(piano_keys)

    def compose(self) -> ComposeResult:
        """Key and command."""
        yield TextBox(f"Strike what you want; any other key goes back.\n\n{_table(self._keys)}")

    def hear_key(self, pitch: int, step: ListStep | None) -> bool:
        """Answer with what the key asks for."""
        asked = next((one.command for one in self._keys if one.pitch == pitch), None)
        self.dismiss(asked)
        return asked is not None


def _table(keys: Sequence[CommandKey]) -> str:
    """A column for each octave, from the lowest key up."""
    octaves = [keys[at : at + _WHITE_KEYS] for at in range(0, len(keys), _WHITE_KEYS)]
    heads = (f"your lowest {keys[0].name}", "an octave up", "two octaves up", "three up")
    columns = [
        [head, *(f"{one.name}  {one.command.value}" for one in octave)]
        for head, octave in zip(heads, octaves, strict=False)
    ]
    rows = zip_longest(*columns, fillvalue="")
    return "\n".join("".join(f"{cell:<{_COLUMN}}" for cell in row).rstrip() for row in rows)
