"""What can be asked for from the piano: all of it on keys, and what is learnt by example.

While nothing is played each command has a key of its own. A pianist can also choose a command, and
play once what shall ask for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from coach.playing.command_keys import (
    RANGES,
    CommandKey,
    ListStep,
    PianoCommand,
    Trigger,
    is_at_an_end,
    lay_all_commands,
    leave_out_music,
    trigger_of,
)
from coach.playing.midi_events import MidiEvent
from coach.score.model import Score
from coach.screens.dialogs.dialog import Choices, Dialog, TextBox
from coach.screens.keymap import list_keys_words
from coach.screens.terminal import as_shown

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


CHOOSE = "What shall be asked for in a way of your own?"
PLAY = "Play what shall mean “{}”: the middle or the left pedal, a button, or a key {}."
FREE, AT_AN_END = "that the piece leaves free", "near either end of the keyboard"
NEEDED = "The music needs {}: another one."

Learnt = tuple[Trigger, PianoCommand]


class LearnScreen(Dialog[Learnt]):
    """Answers with what was played, and for what."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,q", "dismiss", "back", show=False)]

    DEFAULT_CSS = """
    LearnScreen {
        & > Vertical { max-width: 70; max-height: 90%; }
        & Static { height: auto; }
        & OptionList, & OptionList:focus { height: auto; max-height: 12; border: none; }
    }
    """

    def __init__(self, score: Score | None, piano_keys: int) -> None:
        """``score``: the piece on the desk, where there is one."""
        super().__init__()
        self._score, self._range = score, RANGES[piano_keys]
        self._list_keys = "  ".join(list_keys_words(piano_keys))
        self._asked: PianoCommand | None = None

    def compose(self) -> ComposeResult:
        """The question, the commands, the keys."""
        with Vertical():
            yield Static(CHOOSE, id="asked", markup=False)
            yield Choices(*(Option(one.value) for one in PianoCommand), id="choices")
            yield Static(
                f"{self._list_keys}\n" + as_shown(self, "↑↓ Enter choose  Esc back"), id="keys"
            )

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Ask for the example."""
        self._asked = list(PianoCommand)[event.option_index]
        self.query_one(Choices).display = self.query_one("#keys").display = False
        self._say(PLAY.format(self._asked, FREE if self._score else AT_AN_END))

    def hear(self, event: MidiEvent, step: ListStep | None) -> None:
        """Something was played: a step in the list, or the example."""
        if self._asked is None:
            if step is not None:
                self.take_step(step)
            return
        trigger = trigger_of(event)
        if trigger is None:
            return
        if self._is_free(trigger, self._asked):
            self.dismiss((trigger, self._asked))
        else:
            self._say(NEEDED.format(trigger.words))

    def _is_free(self, trigger: Trigger, command: PianoCommand) -> bool:
        if self._score is None:
            return is_at_an_end(trigger, *self._range)
        return bool(leave_out_music({trigger: command}, self._score))

    def _say(self, sentence: str) -> None:
        self.query_one("#asked", Static).update(as_shown(self, sentence))
