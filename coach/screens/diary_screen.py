"""The practice diary on the screen: a piece on any day of practice, in five pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import ClassVar

from rich.style import Style
from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.events import Resize
from textual.widgets import Static

from coach.coaching.planning import BarState
from coach.record.progress import PieceProgress
from coach.screens.dialogs import Dialog
from coach.screens.diary_text import (
    Line,
    Look,
    day_words,
    days_page,
    map_page,
    passages_page,
    spots_page,
)
from coach.screens.plan_text import plan_page
from coach.screens.terminal import as_shown

PAGES = ("map", "days", "passages", "spots", "plan")
_FAR = 1_000_000
"""More days than anybody practises."""
_KEYS = "←→ day  Tab page  ↑↓ move  [] piece  Esc back"

ReadPiece = Callable[[int], PieceProgress | str]
"""The progress of one of the pieces, by its place in their list; or in a sentence why there is
none."""


class DiaryScreen(Dialog[None]):
    """One piece's practice as it stood when a day was over; today at first."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,space,q", "dismiss", "close", show=False),
        Binding("left", "step(-1)", show=False, priority=True),
        Binding("right", "step(1)", show=False, priority=True),
        Binding("home", f"step({-_FAR})", show=False, priority=True),
        Binding("end", f"step({_FAR})", show=False, priority=True),
        Binding("tab", "turn(1)", show=False, priority=True),
        Binding("shift+tab", "turn(-1)", show=False, priority=True),
        *(Binding(str(n), f"page({n - 1})", show=False) for n in range(1, len(PAGES) + 1)),
        Binding("up", "choose(-1)", show=False, priority=True),
        Binding("down", "choose(1)", show=False, priority=True),
        Binding("left_square_bracket", "piece(-1)", show=False),
        Binding("right_square_bracket", "piece(1)", show=False),
    ]

    DEFAULT_CSS = """
    DiaryScreen > Vertical {
        width: 100%; height: 100%; padding: 0 2; background: $background; border: none;
    }
    DiaryScreen #title { height: 1; text-style: bold; margin-top: 1; }
    DiaryScreen #pages { height: 1; margin-bottom: 1; color: $text-muted; }
    DiaryScreen VerticalScroll { height: 1fr; }
    DiaryScreen #keys { height: 1; color: $text-muted; }
    """

    closes_when_played = True

    def __init__(self, titles: Sequence[str], read: ReadPiece, first: int = 0) -> None:
        super().__init__()
        self._titles, self._read, self._piece = titles, read, first
        self._found: PieceProgress | str = ""
        self._page = self._chosen = 0
        self._day = -1
        """Which of the days of practice, from the first; the last is -1 until they are known."""

    def compose(self) -> ComposeResult:
        """The piece and the day, the pages, the page itself, the keys."""
        with Vertical():
            yield Static(id="title", markup=False)
            yield Static(id="pages", markup=False)
            with VerticalScroll(can_focus=False):
                yield Static(id="page", markup=False)
            yield Static(as_shown(self, _KEYS), id="keys", markup=False)

    def on_mount(self) -> None:
        """Read the piece."""
        self._open()

    def on_resize(self, event: Resize) -> None:
        """Draw it anew at its size."""
        self._show()

    def action_step(self, by: int) -> None:
        """The day of practice before or after."""
        if days := self._days:
            self._day = min(max(self._day + by, 0), len(days) - 1)
            self._show()

    def action_turn(self, by: int) -> None:
        """The page before or after."""
        self.action_page((self._page + by) % len(PAGES))

    def action_page(self, number: int) -> None:
        """One of the pages."""
        self._page = number
        self._show()

    def action_choose(self, by: int) -> None:
        """On the page of spots the spot above or below; on another, scroll."""
        if PAGES[self._page] != "spots":
            self.query_one(VerticalScroll).scroll_relative(y=by, animate=False)
            return
        if isinstance(self._found, PieceProgress) and self._days:
            spots = self._found.diary.spots(self._days[self._day])
            self._chosen = min(max(self._chosen + by, 0), max(len(spots) - 1, 0))
            self._show()

    def action_piece(self, by: int) -> None:
        """Another of the pieces that were played."""
        there = min(max(self._piece + by, 0), len(self._titles) - 1)
        if there != self._piece:
            self._piece = there
            self._open()

    @property
    def _days(self) -> list[int]:
        found = self._found
        return [one.day for one in found.diary.days] if isinstance(found, PieceProgress) else []

    def _open(self) -> None:
        self._found = self._read(self._piece)
        self._day, self._chosen = len(self._days) - 1, 0
        self._show()

    def _show(self) -> None:
        if self not in self.app.screen_stack:  # closed before it was seen: its parts are gone
            return
        days, plain = self._days, self.app.has_class("-plain")
        room = self.query_one(VerticalScroll).size
        look = Look(max(room.width or self.size.width - 4, 40), plain, room.height)
        several = len(self._titles) > 1
        place = f"   piece {self._piece + 1} of {len(self._titles)}" if several else ""
        title = f"{self._titles[self._piece]}{place}"
        if not isinstance(self._found, PieceProgress):
            self._fill(title, [((self._found, ""),)])
        elif not days:
            self._fill(title, [(("Nothing was played of it yet.", ""),)])
        else:
            until = days[self._day]
            last = "" if self._day == len(days) - 1 else ", as it stood"
            day = f"{day_words(until)}{last}, day {self._day + 1} of {len(days)}"
            left = look.width - len(day)
            self._fill(f"{title[: left - 1]:<{left}}{day}", self._lines(self._found, until, look))

    def _lines(self, found: PieceProgress, until: int, look: Look) -> Sequence[Line]:
        match PAGES[self._page]:
            case "spots":
                return spots_page(found.diary, until, look, self._chosen)
            case "plan":
                return plan_page(found, look)
            case name:
                page = {"map": map_page, "days": days_page, "passages": passages_page}[name]
                return page(found.diary, until, look)

    def _fill(self, title: str, lines: Sequence[Sequence[tuple[str, str]]]) -> None:
        self.query_one("#title", Static).update(as_shown(self, title))
        names = Text()
        for at, name in enumerate(PAGES):
            names.append(f" {at + 1} {name} ", "bold reverse" if at == self._page else "")
            names.append("  ")
        self.query_one("#pages", Static).update(names)
        styles = self._styles()
        text = Text(no_wrap=True)
        for at, one in enumerate(lines):
            text.append("\n" if at else "")
            for words, role in one:
                text.append(as_shown(self, words), styles.get(role, ""))
        self.query_one("#page", Static).update(text)

    def _styles(self) -> dict[str, Style | str]:
        """Colours beside the shapes; none that says more than its shape.

        The colour is the one of what is chosen in lists. An alarm's red, as which a terminal of few
        colours may show the theme's accent, would say the wrong thing of what is settled.
        """
        colour = self.app.theme_variables.get("primary", "") if not self.app.no_color else ""
        tint = Style.parse(colour) if colour else Style()
        return {
            "head": "bold",
            "faint": "dim",
            "chosen": "bold reverse",
            "bar": tint,
            BarState.UNTOUCHED: "dim",
            BarState.WEAK: "bold reverse",
            BarState.HOLDING: "",
            BarState.SETTLED: tint + Style(bold=True),
        }
