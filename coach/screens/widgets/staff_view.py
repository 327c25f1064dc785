"""The staff of the window, with marks on single notes."""

from __future__ import annotations

from collections import OrderedDict, defaultdict
from collections.abc import Callable, Iterable, Mapping
from fractions import Fraction
from functools import partial
from typing import ClassVar

from rich.color import Color, ColorSystem
from rich.control import Control
from rich.segment import ControlType, Segment
from rich.style import Style
from textual.events import Resize
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.widget import Widget

from coach.engraving import KITTY_GONE
from coach.score.fingering import FingerAdvice
from coach.score.model import Score
from coach.score.window import Excerpt, Window
from coach.screens.marks import MarkKind
from coach.screens.messages import PageTurned
from coach.screens.staff import (
    BLANK,
    FORMS,
    LOOKS,
    SIZES,
    Cell,
    Counts,
    EngravedSheet,
    Glyphs,
    MarkedPage,
    PlacedPicture,
    Sheet,
    WindowLayout,
)
from coach.screens.terminal import CellPainter, Protocol, paint_now
from coach.screens.widgets.window_engraver import Engraver, WindowEngraver, WindowWish

ENGRAVED_ROWS = (12, 20)
"""Rows that a picture is given of one staff, and of two, where there are so many: a space of the
staff is then about a row. Own choice, because that can be read from a metre."""


LAYOUTS_KEPT = 8
"""Windows that are kept as they are written. Own choice: some that were seen, and all that may
come next."""
RowsNeeded = Callable[[int, int], int]
"""What a window needs of so many columns and rows."""


class StaffView(Widget):
    """Shows one page of a sheet; a mark writes the cells of one note and nothing else."""

    COMPONENT_CLASSES: ClassVar[set[str]] = set(LOOKS)
    """One style for each role, and for the heads and marks of notes played right or not."""

    DEFAULT_CSS = """
    StaffView {
        height: 1fr;
        & > .staff--line, & > .staff--stem, & > .staff--tie, & > .staff--held {
            text-style: dim;
        }
        & > .staff--barline { color: $text; }
        & > .staff--beam, & > .staff--rest, & > .staff--sign { color: $text; }
        & > .staff--head { color: $text; text-style: bold; }
        & > .staff--finger { color: $text-accent; }
        & > .staff--print { color: $text; text-style: bold; }
        & > .staff--beat { text-style: bold; }
        & > .staff--count, & > .staff--number { text-style: dim; }
        & > .staff--hand { text-style: bold; }
        & > .staff--right { color: $text-primary; text-style: bold; }
        & > .staff--fault { background: $foreground 30%; text-style: bold; }
        & > .staff--fault-mark { text-style: bold reverse; }
    }
    """

    def __init__(
        self,
        counts: Counts,
        glyphs: Glyphs,
        *,
        engraver: Engraver | None = None,
        id: str | None = None,
    ) -> None:
        """``counts`` says what is counted aloud, ``glyphs`` what music is drawn with in cells.

        ``engraver`` makes pictures, where the terminal shows them; cells are shown until they come.
        """
        super().__init__(id=id)
        self._counts, self._glyphs = counts, glyphs
        self._engraver = engraver and WindowEngraver(engraver, counts, self._show_engraved)
        self._pictures: tuple[PlacedPicture, ...] = ()
        """One for each page; none where the staff is drawn in cells."""
        self._window_layout: WindowLayout | None = None
        """The window as it is written: laid out anew for every size."""
        self._layouts: OrderedDict[Window, WindowLayout] = OrderedDict()
        """The same of windows that were shown lately, or may be shown next."""
        self._rows_ahead: dict[Window, int] = {}
        """For how many rows the pictures of such a window were asked for ahead."""
        self._laid: tuple[WindowLayout, Size] | None = None
        """Which of them is on the sheet, and for which size."""
        self._sheet: Sheet | None = None
        self._advice: FingerAdvice | None = None
        self._music_size = 0
        """Larger or smaller than the largest that fits; see :meth:`WindowLayout.lay_out`."""
        self._page = 0
        self._at = Fraction(0)
        """The onset whose page is in sight: the next to play, or the first of a page turned to."""
        self._shown: MarkedPage | None = None
        self._top = 0
        """Rows left free above the page."""
        self._marks: dict[int, MarkKind] = {}
        self._strips: dict[int, Strip] = {}
        self._styles: dict[str, Style] = {}
        self._painter = CellPainter(self)

    @property
    def sheet(self) -> Sheet | None:
        """What is shown, None before the first window or size."""
        return self._sheet

    @property
    def excerpt(self) -> Excerpt | None:
        """The window that is shown, None before the first."""
        return self._window_layout.excerpt if self._window_layout else None

    def rows_needed(self, columns: int, rows: int) -> int:
        """Rows that the window takes in a space of so many columns and rows; 0 without a window."""
        layout = self._window_layout
        return self._rows_needed_by(layout, columns, rows) if layout else 0

    def _rows_needed_by(self, layout: WindowLayout, columns: int, rows: int) -> int:
        needed = layout.rows_needed(columns, rows, self._music_size)
        if self._engraver:
            staves = len({note.staff for note in layout.excerpt.notes})
            needed = max(needed, min(ENGRAVED_ROWS[min(staves, 2) - 1], rows))
        return needed

    @property
    def is_marked(self) -> bool:
        """Whether any note has a mark."""
        return bool(self._marks)

    @property
    def page_words(self) -> str:
        """Which page of how many; "" where there is one."""
        many = len(self._sheet.pages) if self._sheet else 1
        return f"page {self._page + 1} of {many}" if many > 1 else ""

    @property
    def is_engraved(self) -> bool:
        """Whether pictures are shown, or are to be."""
        return self._engraver is not None

    def is_expected(self, window: Window) -> bool:
        """Whether it is in sight, or was engraved ahead."""
        shown = self.excerpt
        return window in self._rows_ahead or (shown is not None and shown.window == window)

    def expect_window(
        self, score: Score, excerpt: Excerpt, share_rows: Callable[[RowsNeeded], int]
    ) -> None:
        """This window may be shown next: its picture is made, so that it is there then.

        ``share_rows``: how many rows it will have, by what it needs of columns and rows.
        """
        if self._engraver and self.size.width:
            layout = self._lay(score, excerpt)
            rows = share_rows(partial(self._rows_needed_by, layout))
            self._rows_ahead[excerpt.window] = rows
            self._engraver.engrave_ahead(self._wish(self._engraver, layout, rows))

    def forget_expected(self) -> None:
        """What may come next will have other rows, or look otherwise."""
        self._rows_ahead.clear()

    def show_window(self, score: Score, excerpt: Excerpt) -> None:
        """Show another window, without marks, from its first page."""
        self._window_layout = self._lay(score, excerpt)
        self._marks.clear()
        self._at = excerpt.window.start_quarters
        rows = self._rows_ahead.get(excerpt.window, 0)
        if self._engraver and rows != self.size.height and self._find_kept(self._engraver, rows):
            # Cells would be painted for nothing, and slowly: the rows are about to change.
            self._shown = None
            self.call_after_refresh(self._make_sheet_if_other)
        else:
            self._make_sheet()

    def mark(self, changes: Mapping[int, MarkKind | None]) -> None:
        """Mark notes, or take marks back, and show it at once; the page follows the playing."""
        latest = None
        for note, mark in changes.items():
            if mark is None:
                self._marks.pop(note, None)
            else:
                self._marks[note] = mark
                latest = note
        if latest is not None:  # of a chord the last note: a page is turned once
            self._follow(latest)
        self._repaint(changes)

    def mark_all(self, marks: Mapping[int, MarkKind]) -> None:
        """These marks in place of all others."""
        before = dict(self._marks)
        changed = [n for n in {*before, *marks} if before.get(n) is not marks.get(n)]
        self._marks.clear()
        self._marks.update(marks)
        # The next repetition's first note must not wait until all these are painted.
        self.call_after_refresh(self._repaint, changed)

    def turn_to(self, page: int) -> None:
        """Show a page, counted from 0; outside the sheet the nearest."""
        if self._sheet:
            starts = self._sheet.starts_quarters
            self._turn_to_onset(starts[min(max(page, 0), len(starts) - 1)])

    def turn(self, by: int) -> None:
        """Turn pages forward or back."""
        self.turn_to(self._page + by)

    @property
    def suggests_fingers(self) -> bool:
        """Whether fingers are suggested where none are printed."""
        return self._advice is not None

    def suggest_fingers(self, advice: FingerAdvice | None) -> None:
        """Suggest fingers where none are printed, or no more; the place and the marks stay."""
        self._advice = advice
        self._layouts.clear()
        self.forget_expected()
        if layout := self._window_layout:
            self._window_layout = self._lay(layout.score, layout.excerpt)
            self._make_sheet()

    def _lay(self, score: Score, excerpt: Excerpt) -> WindowLayout:
        """The window as it is written; kept from before where it was laid out lately."""
        layout = self._layouts.pop(excerpt.window, None)
        if layout is None or layout.score is not score:
            fingers = self._advice.suggest(excerpt.notes) if self._advice else None
            layout = WindowLayout(score, excerpt, self._counts, fingers)
        self._layouts[excerpt.window] = layout
        while len(self._layouts) > LAYOUTS_KEPT:
            self._layouts.popitem(last=False)
        return layout

    def resize_music(self, by: int) -> None:
        """Notes a step larger or smaller, as far as there are forms; the place stays."""
        low, high = SIZES if self._engraver else (-len(FORMS), 1)
        self._music_size = min(max(self._music_size + by, low), high)
        self.forget_expected()
        self._make_sheet()

    def on_resize(self, event: Resize) -> None:
        """Another size is another sheet; marks stay, and so does the place."""
        if self._laid and self._laid[1].width != self.size.width:
            self.forget_expected()
        self._make_sheet_if_other()

    def notify_style_update(self) -> None:
        """Another theme: every row is drawn anew, and the pictures in its colours."""
        super().notify_style_update()
        self.forget_expected()
        if self._pictures:
            self._engrave()
        self._strips.clear()
        self._styles.clear()
        self._painter.forget()

    def render_lines(self, crop: Region) -> list[Strip]:
        """Rows of the page, and behind the last of them the picture where any lies under it.

        The cells under a picture are blank: writing them takes it away, so it is put there anew.
        """
        strips = super().render_lines(crop)
        if strips and self._engraver and (code := self._picture_code(crop)):
            last, at = strips[-1], self.region
            back = Control.move_to(at.x + crop.right, at.y + crop.bottom - 1).segment.text
            after = [Segment(code + back, None, [(ControlType.CURSOR_FORWARD, 0)])]
            strips[-1] = Strip([*last, *after], last.cell_length)
        return strips

    def _picture_code(self, crop: Region) -> str:
        """What puts the page's picture on the terminal; "" where the rows show nothing of it."""
        assert self._engraver
        is_kitty = self._engraver.graphics.protocol is Protocol.KITTY
        if not self._pictures:
            return KITTY_GONE if is_kitty else ""
        placed = self._pictures[self._page]
        top = self._top + placed.row
        if crop.bottom <= top or crop.y >= top + placed.rows or not self.screen.is_active:
            return ""
        start = Control.move_to(self.region.x + placed.column, self.region.y + top)
        return start.segment.text + placed.picture.code

    def render_line(self, y: int) -> Strip:
        """One row of the page."""
        if y not in self._strips:
            self._strips[y] = self._draw(y)
        return self._strips[y]

    def _make_sheet(self) -> None:
        width, height = self.size
        layout, engraver = self._window_layout, self._engraver
        if not layout or not width or not height:
            return
        self._laid = layout, self.size
        if engraver and (kept := self._find_kept(engraver, height)):
            self._sheet, self._pictures = kept.sheet, kept.pictures
        else:
            self._sheet = layout.lay_out(width, height, self._glyphs, self._music_size)
            self._pictures = ()
        self._show_sheet()
        if engraver and not self._pictures:  # once it is known how many rows the foot leaves
            self.call_after_refresh(self._engrave)

    def _make_sheet_if_other(self) -> None:
        """Another window or another size than that of the sheet."""
        if self._laid != (self._window_layout, self.size):
            self._make_sheet()

    def _find_kept(self, engraver: WindowEngraver, rows: int) -> EngravedSheet | None:
        """The window in so many rows as pictures, where those are made already."""
        layout = self._window_layout
        return engraver.find(self._wish(engraver, layout, rows)) if layout and rows else None

    def _show_sheet(self) -> None:
        if self._sheet:
            self._top = max(self.size.height - self._sheet.height, 0) // 2
            self._page = self._sheet.page_at(self._at)
            self._show_page()

    def _engrave(self) -> None:
        engraver, layout = self._engraver, self._window_layout
        if engraver and layout:
            engraver.engrave(self._wish(engraver, layout, self.size.height))

    def _wish(self, engraver: WindowEngraver, layout: WindowLayout, rows: int) -> WindowWish:
        ink, ground = self._colours(engraver)
        return WindowWish(
            layout.score,
            layout.excerpt,
            self.size.width,
            rows,
            ink,
            ground,
            layout.fingers,
            min(max(self._music_size, SIZES[0]), SIZES[1]),
        )

    def _colours(self, engraver: WindowEngraver) -> tuple[str, str]:
        """Ink and ground, as the terminal shows the cells around the picture."""
        if self.app.ansi_color:  # then the terminal's own are seen
            return engraver.graphics.ink, engraver.graphics.ground
        _, _, ground, ink = self.colors
        system = _COLOUR_SYSTEMS.get(self.app.console.color_system or "", ColorSystem.TRUECOLOR)
        shown = (_as_shown(colour.rich_color, system) for colour in (ground + ink, ground))
        ink_hex, ground_hex = shown
        return ink_hex, ground_hex

    def _show_engraved(self, wish: WindowWish, engraved: EngravedSheet) -> None:
        """The pictures have come, in place of the cells that were shown till now."""
        if self.is_mounted and wish.part is self.excerpt and self.size == (wish.columns, wish.rows):
            self._sheet, self._pictures = engraved.sheet, engraved.pictures
            self._show_sheet()

    def _show_page(self) -> None:
        if self._sheet:
            self._shown = MarkedPage(self._sheet.pages[self._page], self._marks)
        self._strips.clear()
        self.refresh()
        self.post_message(PageTurned())

    def _follow(self, note: int) -> None:
        """Turn the page at its last onset, as a page turner does for a pianist."""
        if self._window_layout:
            excerpt = self._window_layout.excerpt
            following = excerpt.onset_numbers[note] + 1
            onsets = excerpt.onsets_quarters
            self._turn_to_onset(onsets[min(following, len(onsets) - 1)])

    def _turn_to_onset(self, onset_quarters: Fraction) -> None:
        """Show the page of this onset, now and after any change of size."""
        self._at = onset_quarters
        if self._sheet and (page := self._sheet.page_at(onset_quarters)) != self._page:
            self._page = page
            self._show_page()

    def _repaint(self, notes: Iterable[int]) -> None:
        """Paint the cells of these notes at once; where that can't be, have Textual paint them."""
        page, height = self._shown, self.size.height
        if page is None:
            return
        # Below the staff's own height other rows would be written over.
        cells = {
            (row + self._top, column): page.appearance((row, column))
            for row, column in page.cells_of(notes)
            if row + self._top < height
        }
        for row, _ in cells:
            self._strips.pop(row, None)
        if cells and not self._painter.paint(cells):
            self.refresh(*_find_regions(cells))
            paint_now(self)

    def _draw(self, y: int) -> Strip:
        page, row = self._shown, y - self._top
        if page is None or not 0 <= row < page.rows or page.is_blank(row):
            return Strip.blank(self.size.width, self.rich_style)
        return self._make_strip(*page.row(row))

    def _make_strip(self, text: str, looks: list[str]) -> Strip:
        """Text whose every cell has a look."""
        segments, start = [], 0
        for end in range(1, len(text) + 1):
            if end == len(text) or looks[end] != looks[start]:
                segments.append(Segment(text[start:end], self._style(looks[start])))
                start = end
        strip, width = Strip(segments, len(text)), self.size.width
        fits = len(text) == width
        return strip if fits else strip.adjust_cell_length(width, self._style(BLANK))

    def _style(self, look: str) -> Style:
        if look not in self._styles:
            self._styles[look] = self.get_component_rich_style(look)
        return self._styles[look]


_COLOUR_SYSTEMS = {
    "standard": ColorSystem.STANDARD,
    "256": ColorSystem.EIGHT_BIT,
    "windows": ColorSystem.WINDOWS,
}


def _as_shown(colour: Color, system: ColorSystem) -> str:
    """A colour as a terminal of few colours shows it."""
    return colour.downgrade(system).get_truecolor().hex


def _find_regions(cells: Iterable[Cell]) -> list[Region]:
    """One stretch of each row that has cells."""
    columns: dict[int, list[int]] = defaultdict(list)
    for row, column in cells:
        columns[row].append(column)
    return [Region(min(at), row, max(at) - min(at) + 1, 1) for row, at in columns.items()]
