"""The strip as a widget: the whole piece on one row."""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual.widget import Widget

from coach.coaching.facts import Decision
from coach.score.model import Score
from coach.score.words import printable
from coach.screens.strip import Place, strip, weak_bars


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
        self._right = printable(text)
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
