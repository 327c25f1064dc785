"""Writing into the piece: a fingering for a note, or words on a passage."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import Input, Static

from coach.score.hand_moves import MoveError
from coach.score.markings import check_marking, is_marking, parse_marking
from coach.score.model import Bar, Score
from coach.screens.dialogs.dialog import Dialog
from coach.screens.dialogs.hands import PassageInput
from coach.screens.terminal import as_shown


class WriteScreen(Dialog[tuple[str, ...]]):
    """Answers one line that :mod:`coach.score.markings` reads; () for none."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave", "back", show=False)]

    DEFAULT_CSS = """
    WriteScreen {
        & > Vertical { max-width: 90; padding: 0 1; }
        & Static { height: auto; }
        & #title { text-style: bold; }
        & #wrong { text-style: bold reverse; }
    }
    """

    def __init__(self, score: Score, first: Bar, last: Bar) -> None:
        """``first`` and ``last``: the bars in sight, which words without a place are for."""
        super().__init__()
        self._score, self._first, self._last = score, first, last

    def compose(self) -> ComposeResult:
        """What is there already, a line to write on, and how it is written."""
        here = self._score.own_notes_in(self._first.onset_quarters, self._last.end_quarters)
        bars = self._first.words_to(self._last)
        with Vertical():
            yield Static(as_shown(self, f"Write on {bars}, or a fingering"), id="title")
            for note in here:
                yield Static(as_shown(self, f"{note.bars}: {note.words}"), markup=False)
            yield PassageInput(placeholder="Think the leap.   or   bar 3 beat 2 F4 finger 4")
            yield Static("", id="wrong", markup=False)
            yield Static(as_shown(self, "Enter keep it  Esc back"), markup=False)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Keep the line; where it is wrong, say how, and let it be corrected."""
        words = event.value.strip()
        if not words:
            self.dismiss(())
            return
        line = words if is_marking(f" {words} ") else f"{self._place()} note {words}"
        try:
            marking = parse_marking(line)
            check_marking(self._score, marking)
        except MoveError as error:
            self.query_one("#wrong", Static).update(as_shown(self, str(error)))
        else:
            self.dismiss((str(marking),))

    def _place(self) -> str:
        return f"bars #{self._first.index + 1}-#{self._last.index + 1}"

    def action_leave(self) -> None:
        """Write nothing."""
        self.dismiss(())
