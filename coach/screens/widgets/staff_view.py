"""The staff of the window, with marks on single notes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual.events import Resize
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from coach.score.model import Score
from coach.score.window import Excerpt
from coach.screens.marks import FACES, Mark
from coach.screens.messages import PageTurned
from coach.screens.painting import paint_now
from coach.screens.staff.canvas import Role
from coach.screens.staff.page import Page, Sheet

_BLANK = f"staff--{Role.BLANK.value}"

LayOut = Callable[[Score, Excerpt, int, int], Sheet]
"""Score, excerpt, columns, rows."""


class StaffView(Widget):
    """Shows one page of a sheet; a mark repaints the cells of one note and nothing else."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"staff--{role.value}" for role in Role} | {
        "staff--right",
        "staff--fault",
        "staff--fault-mark",
    }
    """One style for each role, and for the heads and marks of notes played right or not."""

    DEFAULT_CSS = """
    StaffView {
        height: 1fr;
        & > .staff--line, & > .staff--stem, & > .staff--tie { text-style: dim; }
        & > .staff--barline { color: $text; }
        & > .staff--beam, & > .staff--rest, & > .staff--sign { color: $text; }
        & > .staff--head { color: $text; text-style: bold; }
        & > .staff--finger { color: $text-accent; }
        & > .staff--beat { text-style: bold; }
        & > .staff--count, & > .staff--number { text-style: dim; }
        & > .staff--hand { text-style: bold; }
        & > .staff--right { color: $text-primary; text-style: bold; }
        & > .staff--fault { text-style: bold reverse; }
        & > .staff--fault-mark { text-style: bold reverse; }
    }
    """

    def __init__(self, lay_out: LayOut, *, id: str | None = None) -> None:
        """``lay_out`` makes the sheet for a window and a size."""
        super().__init__(id=id)
        self._lay_out = lay_out
        self._window: tuple[Score, Excerpt] | None = None
        self._sheet: Sheet | None = None
        self._page = 0
        self._marks: dict[int, Mark] = {}
        self._on_row: dict[int, list[tuple[int, int, bool]]] = {}
        self._strips: dict[int, Strip] = {}
        self._styles: dict[str, Style] = {}
        self._plain: dict[int, tuple[str, list[str]]] = {}

    @property
    def sheet(self) -> Sheet | None:
        """What is shown, None before the first window or size."""
        return self._sheet

    @property
    def is_marked(self) -> bool:
        """Whether any note has a mark."""
        return bool(self._marks)

    @property
    def page_words(self) -> str:
        """Which page of how many; "" where there is one."""
        many = len(self._sheet.pages) if self._sheet else 1
        return f"page {self._page + 1} of {many}" if many > 1 else ""

    def show_window(self, score: Score, excerpt: Excerpt) -> None:
        """Show another window, without marks, from its first page."""
        self._window = score, excerpt
        self._marks = {}
        self._make_sheet()

    def mark(self, note: int, mark: Mark | None) -> None:
        """Mark one note, or take its mark back; the page follows the playing."""
        if mark is None:
            self._marks.pop(note, None)
        else:
            self._marks[note] = mark
            self._follow(note)
        self._repaint(note)

    def mark_all(self, marks: Mapping[int, Mark]) -> None:
        """These marks in place of all others."""
        changed = {
            note for note in {*self._marks, *marks} if self._marks.get(note) is not marks.get(note)
        }
        self._marks = dict(marks)
        # A first note's own mark is not to wait until all marks of the last repetition are gone.
        self.call_after_refresh(self._repaint, *changed)

    def paint_now(self) -> None:
        """Put what is to be repainted on the terminal at once."""
        paint_now(self)

    def turn_to(self, page: int) -> None:
        """Show a page, counted from 0; outside the sheet the nearest."""
        if self._sheet and (nearest := min(max(page, 0), len(self._sheet.pages) - 1)) != self._page:
            self._page = nearest
            self._show_page()

    def turn(self, by: int) -> None:
        """Turn pages forward or back."""
        self.turn_to(self._page + by)

    def on_resize(self, event: Resize) -> None:
        """Another size is another sheet; marks stay."""
        self._make_sheet()

    def notify_style_update(self) -> None:
        """Another theme: every row is drawn anew."""
        super().notify_style_update()
        self._strips.clear()
        self._styles.clear()

    def render_line(self, y: int) -> Strip:
        """One row of the page."""
        if y not in self._strips:
            self._strips[y] = self._draw(y)
        return self._strips[y]

    def _make_sheet(self) -> None:
        if self._window and self.size.width and self.size.height:
            self._sheet = self._lay_out(*self._window, self.size.width, self.size.height)
            self._page = 0
            self._show_page()

    def _show_page(self) -> None:
        self._index_rows()
        self._strips.clear()
        self._plain.clear()
        self.refresh()
        self.post_message(PageTurned())

    def _follow(self, note: int) -> None:
        if self._sheet and self._window and len(self._sheet.pages) > 1:
            page = self._sheet.page_at(self._window[1].notes[note].onset_quarters)
            if page != self._page:
                self.turn_to(page)

    def _current(self) -> Page | None:
        return self._sheet.pages[self._page] if self._sheet else None

    @property
    def _top(self) -> int:
        """Rows left free above the page."""
        return max(self.size.height - self._sheet.height, 0) // 2 if self._sheet else 0

    def _index_rows(self) -> None:
        rows: dict[int, list[tuple[int, int, bool]]] = defaultdict(list)
        page = self._current()
        for note, cells in page.notes.items() if page else ():
            for row, column in cells.heads:
                rows[row].append((note, column, False))
            rows[cells.mark[0]].append((note, cells.mark[1], True))
        self._on_row = rows

    def _repaint(self, *notes: int) -> None:
        """Have the cells of these notes painted anew: one stretch of each row that they are on."""
        page = self._current()
        height, top = self.size.height, self._top  # Textual works them out anew each time
        columns: dict[int, list[int]] = defaultdict(list)
        for note in notes:
            cells = page.notes.get(note) if page else None
            for row, column in (*cells.heads, cells.mark) if cells else ():
                columns[row + top].append(column)
        for row in columns:
            self._strips.pop(row, None)
        # Below the staff's own height other rows would be written over.
        regions = [
            Region(min(here), row, max(here) - min(here) + 1, 1)
            for row, here in columns.items()
            if row < height
        ]
        if regions:
            self.refresh(*regions)

    def _draw(self, y: int) -> Strip:
        page, row = self._current(), y - self._top
        if page is None or not 0 <= row < len(page.rows):
            return Strip.blank(self.size.width, self.rich_style)
        plain, looks = self._plain_row(page, row)
        text, looks = list(plain), list(looks)
        self._put_marks(row, text, looks)
        return self._strip("".join(text), looks)

    def _strip(self, text: str, looks: list[str]) -> Strip:
        """Text whose every cell has a look."""
        segments, start = [], 0
        for end in range(1, len(text) + 1):
            if end == len(text) or looks[end] != looks[start]:
                segments.append(Segment(text[start:end], self._style(looks[start])))
                start = end
        strip, width = Strip(segments, len(text)), self.size.width
        fits = len(text) == width
        return strip if fits else strip.adjust_cell_length(width, self._style(_BLANK))

    def _plain_row(self, page: Page, row: int) -> tuple[str, list[str]]:
        """A row's text and looks, without marks."""
        if row not in self._plain:
            looks = [f"staff--{role.value}" for role in page.rows[row].roles]
            # A blank goes with what is before it: fewer changes of style, a mark is out sooner.
            for column in range(1, len(looks)):
                if looks[column] == _BLANK:
                    looks[column] = looks[column - 1]
            self._plain[row] = page.rows[row].text, looks
        return self._plain[row]

    def _style(self, look: str) -> Style:
        if look not in self._styles:
            style = self.get_component_rich_style(look, partial=True)
            self._styles[look] = self.rich_style + style
        return self._styles[look]

    def _put_marks(self, row: int, text: list[str], looks: list[str]) -> None:
        here = [
            (self._marks[note], column, in_lane)
            for note, column, in_lane in self._on_row.get(row, ())
            if note in self._marks
        ]
        for mark, column, in_lane in sorted(here):
            fault = mark is not Mark.RIGHT
            if in_lane:
                text[column] = FACES[mark].char
            looks[column] = "staff--right"
            if fault:
                looks[column] = "staff--fault-mark" if in_lane else "staff--fault"
