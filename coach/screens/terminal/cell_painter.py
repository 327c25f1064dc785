"""Painting at once: the one place that reaches into how Textual paints.

A note's mark changes one or two cells. Textual draws every widget of the screen anew for that and
writes half a row for each cell; here only those cells are written. They look as Textual would paint
them, because each look is taken from Textual's own rendering; and since Textual keeps no picture of
the terminal but draws from the widgets, whatever it paints later is the same.

Textual (8.2) has no public way to do either. Where its names are others, or wherever a cell might
be covered or about to move, nothing is written here and Textual paints in its own time.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

from textual.geometry import Region
from textual.widget import Widget

from coach.screens.terminal.writing import write_at_once

_NAMES = {
    "app": "_batch_count _closed _driver _sync_available ansi_theme native_ansi_color",
    "screen": "_compositor _dirty_widgets _layout_required _on_timer_update _recompose_required "
    "_repaint_required _scroll_required selections",
    "widget": "_layout_required _repaint_regions _repaint_required _styles_cache "
    "background_colors get_line_filters opacity",
    "compositor": "_dirty_regions _visible_widgets",
}
"""What is used of Textual that it does not promise."""

_SYNC_START, _SYNC_END = "\x1b[?2026h", "\x1b[?2026l"
"""Around what the terminal is to show in one piece (synchronised output, DEC private mode 2026)."""

_LARGEST = 8192
"""Characters in one write: Textual cuts longer ones for Windows, and so much is no longer small."""


def paint_now(widget: Widget) -> None:
    """Put what a widget wants repainted on the terminal now, not some messages and a frame later.

    That saves half a millisecond, and in a fast passage up to a frame. A Textual without these
    names paints in its own time.
    """
    screen = widget.screen
    if _has_names(screen, "screen"):
        screen._dirty_widgets.add(widget)
        screen._on_timer_update()


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a widget is on the terminal, as long as the layout is ``layout``."""

    layout: object
    region: Region
    clear: bool
    """Whether all of it is in sight, with nothing over it."""


class CellPainter:
    """Writes single cells of one widget, which has neither border nor padding nor scrolling.

    The widget must draw itself by ``render_line``, and each cell by itself: how it looks may depend
    on its character and style, not on its neighbours.
    """

    def __init__(self, widget: Widget) -> None:
        self._widget = widget
        self._place: _Place | None = None
        self._faces: dict[Hashable, str] = {}
        self._conditions: tuple[object, ...] = ()

    def forget(self) -> None:
        """Other styles from now on."""
        self._faces.clear()
        self._conditions = ()

    def paint(self, cells: Mapping[tuple[int, int], Hashable]) -> bool:
        """Write cells (row and column in the widget) in one piece; False where Textual has to.

        Each comes with its face: cells of the same face look alike. The widget must draw these
        cells so when Textual asks it to.
        """
        place = self._find() if cells else None
        if place is None:
            return False
        self._widget._styles_cache.set_dirty(
            *(Region(0, row, 1, 1) for row in {r for r, _ in cells})
        )
        if not self._conditions:
            self._mind_conditions()
        x, y = place.region.offset
        written = "".join(
            f"\x1b[{y + row + 1};{x + column + 1}H{self._look(row, column, face)}"
            for (row, column), face in sorted(cells.items())
        )
        is_written = len(written) <= _LARGEST and self._write(written)
        # Seldom anything else: looked at when the mark is out, and put right where it was so.
        return not self._mind_conditions() and is_written

    def _look(self, row: int, column: int, face: Hashable) -> str:
        """A cell as Textual writes it."""
        if face not in self._faces:
            (strip,) = self._widget.render_lines(Region(column, row, 1, 1))
            self._faces[face] = strip.render(self._widget.app.console)
        return self._faces[face]

    def _mind_conditions(self) -> bool:
        """Whatever else decides how a cell looks: where it has changed, faces are drawn anew.

        Whether it was so, and faces drawn before are wrong.
        """
        widget, app = self._widget, self._widget.app
        colours = (widget.background_colors, widget.opacity, app.console.color_system)
        conditions = (*colours, app.ansi_theme, app.native_ansi_color, *widget.get_line_filters())
        if conditions == self._conditions:
            return False
        self._conditions, were_known = conditions, bool(self._conditions)
        self._faces.clear()
        return were_known

    def _write(self, written: str) -> bool:
        app: Any = self._widget.app
        x, y = app.screen.outer_size.clamp_offset(app.cursor_position)
        written += f"\x1b[{y + 1};{x + 1}H"  # where Textual leaves it, too
        if app._sync_available:
            written = f"{_SYNC_START}{written}{_SYNC_END}"
        write_at_once(app)
        app._driver.write(written)
        app._driver.flush()
        return True

    def _find(self) -> _Place | None:
        """Where the widget is, if it can be painted there now."""
        if (
            not self._widget.is_attached
            or not _knows_all(self._widget)
            or _is_unsettled(self._widget)
        ):
            return None
        seen: dict[Widget, tuple[Region, Region]] | None
        seen = self._widget.screen._compositor._visible_widgets
        if seen is None or self._widget not in seen:
            return None
        if self._place is None or self._place.layout is not seen:
            self._place = _Place(seen, seen[self._widget][0], _is_clear(self._widget, seen))
        return self._place if self._place.clear else None


def _has_names(thing: object, kind: str) -> bool:
    return all(hasattr(thing, name) for name in _NAMES[kind].split())


_known: set[type] = set()


def _knows_all(widget: Widget) -> bool:
    """Whether this Textual has all the names; looked up once for each kind of widget."""
    if type(widget) not in _known:
        screen, app = widget.screen, widget.app
        named = _has_names(widget, "widget") and _has_names(screen, "screen")
        named = named and _has_names(app, "app")
        if not (named and _has_names(screen._compositor, "compositor")):
            return False
        _known.add(type(widget))
    return True


def _is_unsettled(widget: Widget) -> bool:
    """Whether Textual has something in hand that a cell written now could get in the way of."""
    app: Any = widget.app
    screen: Any = widget.screen
    pending: Any = widget
    return bool(
        app.screen is not screen  # another screen is over this one
        or app._driver is None
        or app._driver.is_inline
        or app._batch_count
        or not app.is_running
        or app._closed
        or screen._layout_required
        or screen._scroll_required
        or screen._repaint_required
        or screen._recompose_required
        or screen._compositor._dirty_regions
        or screen.selections
        or pending._repaint_regions
        or pending._repaint_required
        or pending._layout_required
    )


def _is_clear(widget: Widget, seen: Mapping[Widget, tuple[Region, Region]]) -> bool:
    """Whether a widget is wholly in sight, without frame or scrolling, and nothing lies over it."""
    region, clip = seen[widget]
    if not clip.contains_region(region) or widget.content_region.size != region.size:
        return False
    under = set(widget.ancestors_with_self)
    others = (place.intersection(cut) for other, (place, cut) in seen.items() if other not in under)
    return not widget.is_scrollable and not any(region.overlaps(other) for other in others)
