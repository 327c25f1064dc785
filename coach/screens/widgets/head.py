"""The head of the drill screen: the piece and the piano, the strip, the assignment."""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual.events import Resize
from textual.widget import Widget
from textual.widgets import Static

from coach.coaching.facts import Decision
from coach.score.model import Score
from coach.screens.strip import Place, strip, weak_bars


class SidedLine(Static):
    """One row with a text at each side; the left one gives way."""

    DEFAULT_CSS = """
    SidedLine { height: 1; padding: 0 1; }
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id, markup=False)
        self._left = self._right = ""

    def show(self, left: str, right: str) -> None:
        """Show both sides."""
        self._left, self._right = left, right
        self._fill()

    def on_resize(self, event: Resize) -> None:
        """Keep the right side at the right."""
        self._fill()

    def _fill(self) -> None:
        room = self.content_size.width - len(self._right)
        text = self._left[: max(room - 1, 0)].ljust(max(room, 0)) + self._right
        self.update(text, layout=False)  # always one row: nothing else has to move


class StripLine(Widget):
    """The whole piece on one line, with the window and the weak spots on it."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"strip--{place.value}" for place in Place}

    DEFAULT_CSS = """
    StripLine {
        height: 1;
        padding: 0 1;
        & > .strip--outside, & > .strip--label { text-style: dim; }
        & > .strip--window { color: $text-primary; text-style: bold; }
        & > .strip--weak { text-style: bold; }
        & > .strip--weak-inside { text-style: bold reverse; }
    }
    """

    def __init__(self, *, ascii_only: bool = False, id: str | None = None) -> None:
        super().__init__(id=id)
        self._ascii_only = ascii_only
        self._shown: tuple[Score, Decision] | None = None
        self._right = ""

    def show(self, score: Score, decision: Decision) -> None:
        """Show where the assignment's window lies and where the troubles are."""
        self._shown = score, decision
        self.refresh()

    def show_right(self, text: str) -> None:
        """A text at the right, where the state line has no row of its own."""
        self._right = text
        self.refresh()

    def render(self) -> Text:
        """The strip as styled text."""
        text = Text(no_wrap=True)
        if self._shown:
            score, decision = self._shown
            cells = strip(
                score,
                decision.assignment.window,
                weak_bars(score, decision),
                self.content_size.width - (len(self._right) + 3 if self._right else 0),
                ascii_only=self._ascii_only,
            )
            for cell in cells:
                style = self.get_component_rich_style(f"strip--{cell.place.value}", partial=True)
                text.append(cell.char, style)
            text.append(self._right.rjust(self.content_size.width - len(text)))
        return text


class StateLine(SidedLine):
    """The piece at the left; at the right who plays: the piano's name, or that there is none."""

    DEFAULT_CSS = """
    StateLine { background: $panel; color: $text; }
    """


class AssignmentLine(SidedLine):
    """What to play (hands, window, tempo, stage); at the right where the drill stands."""

    DEFAULT_CSS = """
    AssignmentLine { text-style: bold; }
    """


class HelpLine(Static):
    """The keys of the computer keyboard, in the last row."""

    DEFAULT_CSS = """
    HelpLine { height: 1; padding: 0 1; background: $panel; color: $text-muted; }
    """
