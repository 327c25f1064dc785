"""The strip: the whole piece on one line, bar by bar, with the window and the weak spots."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby
from operator import attrgetter
from typing import ClassVar

from rich.text import Text
from textual.widget import Widget

from coach.coaching.model import Decision
from coach.score.model import Hands, Score
from coach.score.window import Window
from coach.score.words import printable


class StripPart(StrEnum):
    """What a cell of the strip shows."""

    OUTSIDE = "outside"
    WINDOW = "window"
    WEAK = "weak"
    """A weak spot outside the window."""
    WEAK_INSIDE = "weak-inside"
    LABEL = "label"


@dataclass(frozen=True, slots=True)
class StripCell:
    """One character of the strip."""

    char: str
    part: StripPart


LETTERS = {Hands.RIGHT: "R", Hands.LEFT: "L", Hands.TOGETHER: "B"}
"""Whose weak spot: right, left, both."""

_MOST_CELLS = 6
"""Cells that a bar takes at most. Own choice: a piece of few bars does not need the whole row."""
_GAP = 3
"""Columns between the strip and the text at its right. Own choice."""


def weak_bars(score: Score, decision: Decision) -> dict[int, str]:
    """Bar index to the hand's letter, for all troubles that are believed in; the worst wins."""
    out: dict[int, str] = {}
    for trouble in decision.troubles:
        bar = score.bar_at(trouble.onset_quarters).index
        out.setdefault(bar, LETTERS[trouble.hands])
    return out


def draw_strip(
    score: Score, window: Window, weak: Mapping[int, str], width: int, *, ascii_only: bool = False
) -> tuple[StripCell, ...]:
    """The strip in ``width`` cells: numbers of the first and last bar, and bars between them.

    A bar takes as many cells as there is room for; where there are more bars than cells, a cell
    stands for several.
    """
    left, right = f"{score.bars[0].words} ", f" {score.bars[-1].number}"
    room = max(width - len(left) - len(right) - 2, 1)
    count = len(score.bars)
    per_bar = max(min(room // count, _MOST_CELLS), 1)
    cells = min(count * per_bar, room)
    outside, inside = ("-", "#") if ascii_only else ("─", "█")
    out = [StripCell(char, StripPart.LABEL) for char in left]
    for cell in range(cells):
        bars = range(cell * count // cells, max((cell + 1) * count // cells, 1))
        bars = bars or range(cell * count // cells, cell * count // cells + 1)
        out.append(_draw_cell(score, window, weak, bars, outside, inside, cell % per_bar == 0))
    return (*out, *(StripCell(char, StripPart.LABEL) for char in right))


def _draw_cell(
    score: Score,
    window: Window,
    weak: Mapping[int, str],
    bars: range,
    outside: str,
    inside: str,
    is_start: bool,
) -> StripCell:
    within = any(_touches(score, window, bar) for bar in bars)
    letter = next((weak[bar] for bar in bars if bar in weak), "")
    if letter and is_start:
        return StripCell(letter, StripPart.WEAK_INSIDE if within else StripPart.WEAK)
    if within:
        return StripCell(inside, StripPart.WINDOW)
    return StripCell(outside, StripPart.OUTSIDE)


def _touches(score: Score, window: Window, index: int) -> bool:
    bar = score.bars[index]
    return bar.onset_quarters < window.end_quarters and window.start_quarters < bar.end_quarters


class StripLine(Widget):
    """The whole piece on one line, with the window and the weak spots on it."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"strip--{place.value}" for place in StripPart}

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
            cells = draw_strip(
                score,
                decision.assignment.window,
                weak_bars(score, decision),
                self.content_size.width - (len(self._right) + _GAP if self._right else 0),
                ascii_only=self._ascii_only,
            )
            for part, alike in groupby(cells, key=attrgetter("part")):  # few styles: soon drawn
                style = self.get_component_rich_style(f"strip--{part.value}", partial=True)
                text.append("".join(cell.char for cell in alike), style)
            text.append(self._right.rjust(self.content_size.width - len(text)))
        return text
