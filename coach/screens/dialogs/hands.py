"""Moving notes to the other hand: those of the window one by one, or a passage in one line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import Input, OptionList, Static

from coach.score.hand_moves import (
    TO_HOME_STAFF,
    HandMove,
    MoveError,
    changes_hands,
    check,
    parse_move,
)
from coach.score.model import Score, ScoreNote
from coach.score.words import printable
from coach.screens.dialogs.dialog import Choices, Dialog
from coach.screens.terminal import as_shown


def move_of(score: Score, note: ScoreNote) -> HandMove:
    """The move of one note to the other hand."""
    bar = score.bars[note.bar_index]
    alone = sum(other.number == bar.number for other in score.bars) == 1
    return HandMove(
        hand=note.hand.other,
        first_bar=bar.number if alone and bar.number else f"#{bar.index + 1}",
        beat=score.place(note.onset_quarters).beat,
        staff=note.staff,
        voice=note.voice,
        pitch=note.spelling,
    )


def note_words(score: Score, note: ScoreNote) -> str:
    """One note of the list: place, name, hand."""
    place = score.place(note.onset_quarters)
    guess = ", a guess" if note.hand_is_guess else ""
    return f"{place!s:<20} {note.spelling.symbol:<5} now {note.hand.value}{guess}"


class PassageInput(Input):
    """A line for a passage. What is pasted into it may come from anywhere, so it is cleaned."""

    def validate_value(self, value: str) -> str:
        """The text, without characters that a terminal would obey."""
        return printable(value)


class HandsScreen(Dialog[tuple[str, ...]]):
    """Answers the moves as lines that :mod:`coach.score.hand_moves` reads; () for no move."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "back", show=False),
        Binding("m", "move", "move", show=False),
        Binding("h", "home_staff", "home staff", show=False),
        Binding("space", "choose", "choose", show=False),
    ]

    DEFAULT_CSS = """
    HandsScreen {
        & > Vertical { max-width: 90; height: 90%; padding: 0 1; }
        & OptionList { height: 1fr; }
        & OptionList, & OptionList:focus { border: none; }
        & Static { height: auto; }
        & #title { text-style: bold; }
        & #wrong { text-style: bold reverse; }
    }
    """

    def __init__(self, score: Score, notes: Sequence[ScoreNote]) -> None:
        """``notes``: those of the window, all hands."""
        super().__init__()
        self._score, self._notes = score, tuple(notes)
        self._chosen: set[int] = set()
        to_home = parse_move(TO_HOME_STAFF)
        self._to_home = to_home if changes_hands(score, to_home) else None
        """Each voice to the hand of its home staff, where that changes anything."""

    def compose(self) -> ComposeResult:
        """The window's notes to choose from, and a line for a passage."""
        with Vertical():
            yield Static("Which notes go to the other hand?", id="title")
            yield Choices(*map(self._note_line, range(len(self._notes))), markup=False)
            if self._to_home:
                text = "Some voices dip into the other staff: h keeps each in its own hand."
                yield Static(text, id="home", markup=False)
            keys = "↑↓ Space choose  m move  Tab a passage in words  Esc back"
            yield Static(as_shown(self, keys), markup=False)
            yield PassageInput(placeholder="bars 5-8 voice 2 to RH   or   bars 9-12 split C4")
            yield Static("", id="wrong", markup=False)

    def _note_line(self, index: int) -> str:
        box = "[x]" if index in self._chosen else "[ ]"
        return f"{box} {printable(note_words(self._score, self._notes[index]))}"

    def action_choose(self) -> None:
        """Choose the note under the cursor, or take the choice back."""
        notes = self.query_one(OptionList)
        if notes.has_focus and notes.highlighted is not None:
            self._chosen ^= {notes.highlighted}
            notes.replace_option_prompt_at_index(
                notes.highlighted, self._note_line(notes.highlighted)
            )

    def on_option_list_option_selected(self) -> None:
        """Enter chooses, too."""
        self.action_choose()

    def action_home_staff(self) -> None:
        """Every voice of the piece to the hand of the staff that it mostly lies on."""
        if self._to_home:
            self.dismiss((str(self._to_home),))

    def action_move(self) -> None:
        """Move what was chosen."""
        moves = (move_of(self._score, self._notes[index]) for index in sorted(self._chosen))
        self.dismiss(tuple(str(move) for move in moves))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Move a passage given in one line; where it is wrong, say how, and let it be corrected."""
        try:
            move = parse_move(event.value)
            check(self._score, move)
        except MoveError as error:
            self.query_one("#wrong", Static).update(as_shown(self, str(error)))
        else:
            self.dismiss((str(move),))

    def action_leave(self) -> None:
        """Move nothing."""
        self.dismiss(())
