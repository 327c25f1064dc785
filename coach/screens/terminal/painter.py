"""Painting at once: the only place that reaches into how Textual paints and writes.

A note's mark changes one or two cells. For that, Textual draws every widget of the screen anew and
writes half a row for each cell. Here only those cells are written. They look as Textual would paint
them, because each look is taken from Textual's own rendering. And Textual keeps no picture of the
terminal: it draws from the widgets, so whatever it paints later is the same.

Textual hands every write to a thread, so that a slow terminal does not hold it up. On a busy
machine that thread waits for its turn, and so does the mark of a note: some milliseconds now and
then. So what is short, and what the terminal can take now, is written at once. All else goes
through a thread as before, in its order.

Textual (8.2) has no public way to do either. Where its names are others, or wherever a cell might
be covered or about to move, nothing is painted here and Textual paints in its own time.
"""

from __future__ import annotations

import os
import select
import threading
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from queue import Full, Queue
from typing import Any

from textual.geometry import Region
from textual.widget import Widget

_NAMES = {
    "app": "_batch_count _closed _driver _sync_available ansi_theme native_ansi_color",
    "screen": "_compositor _dirty_widgets _layout_required _on_timer_update _recompose_required "
    "_repaint_required _scroll_required selections",
    "widget": "_layout_required _repaint_regions _repaint_required _styles_cache "
    "background_colors get_line_filters opacity",
    "compositor": "_dirty_regions _visible_widgets",
}
"""Private names of Textual's that are used here."""

_SYNC_START, _SYNC_END = "\x1b[?2026h", "\x1b[?2026l"
"""Around what the terminal is to show in one piece (synchronised output, DEC private mode 2026)."""

_LARGEST = 8192
"""Most characters in one write. Textual cuts longer ones for Windows. Own choice: a screenful of
cells is no small change any more."""


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
class _WidgetPlace:
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
        self._place: _WidgetPlace | None = None
        self._appearances: dict[Hashable, str] = {}
        self._conditions: tuple[object, ...] = ()

    def forget(self) -> None:
        """Other styles from now on."""
        self._appearances.clear()
        self._conditions = ()

    def paint(self, cells: Mapping[tuple[int, int], Hashable]) -> bool:
        """Write cells (row and column in the widget) in one piece; False where Textual has to.

        Each comes with its appearance: cells of the same appearance look alike. The widget must
        draw these cells so when Textual asks it to.
        """
        place = self._find_place() if cells else None
        if place is None:
            return False
        self._widget._styles_cache.set_dirty(
            *(Region(0, row, 1, 1) for row in {r for r, _ in cells})
        )
        if not self._conditions:
            self._check_conditions()
        x, y = place.region.offset
        written = "".join(
            f"\x1b[{y + row + 1};{x + column + 1}H{self._render_cell(row, column, appearance)}"
            for (row, column), appearance in sorted(cells.items())
        )
        is_written = len(written) <= _LARGEST and self._write(written)
        # Colours seldom change: check them once the mark is out, and paint again if they did.
        return not self._check_conditions() and is_written

    def _render_cell(self, row: int, column: int, appearance: Hashable) -> str:
        """A cell as Textual writes it."""
        if appearance not in self._appearances:
            (strip,) = self._widget.render_lines(Region(column, row, 1, 1))
            self._appearances[appearance] = strip.render(self._widget.app.console)
        return self._appearances[appearance]

    def _check_conditions(self) -> bool:
        """Forget all appearances where colours have changed; whether any was known, and wrong."""
        widget, app = self._widget, self._widget.app
        colours = (widget.background_colors, widget.opacity, app.console.color_system)
        conditions = (*colours, app.ansi_theme, app.native_ansi_color, *widget.get_line_filters())
        if conditions == self._conditions:
            return False
        self._conditions, were_known = conditions, bool(self._conditions)
        self._appearances.clear()
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

    def _find_place(self) -> _WidgetPlace | None:
        """Where the widget is, if it can be painted there now."""
        if (
            not self._widget.is_attached
            or not _knows_all(self._widget)
            or _is_unsettled(self._widget)
        ):
            return None
        visible: dict[Widget, tuple[Region, Region]] | None
        visible = self._widget.screen._compositor._visible_widgets
        if visible is None or self._widget not in visible:
            return None
        if self._place is None or self._place.layout is not visible:
            self._place = _WidgetPlace(
                visible, visible[self._widget][0], _is_clear(self._widget, visible)
            )
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
    """Whether Textual is about to paint something that a cell written now would disturb."""
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


def _is_clear(widget: Widget, visible: Mapping[Widget, tuple[Region, Region]]) -> bool:
    """Whether a widget is wholly in sight, without frame or scrolling, and nothing lies over it."""
    region, clip = visible[widget]
    if not clip.contains_region(region) or widget.content_region.size != region.size:
        return False
    under = set(widget.ancestors_with_self)
    others = (
        place.intersection(cut) for other, (place, cut) in visible.items() if other not in under
    )
    return not widget.is_scrollable and not any(region.overlaps(other) for other in others)


LONGEST_BYTES = 8192
"""Longer writes go through the thread: a terminal may not take them at once. Own choice: a mark
takes some hundred bytes, a chord of ten 2,000."""
_MOST_WAITING = 30
"""Writes that may wait, as with Textual: whoever writes more has to wait, too."""


def write_at_once(app: Any) -> None:
    """Let what this app writes go to the terminal at once, where possible. Cheap to call again.

    After a suspension Textual has a thread of its own again.
    """
    driver = app._driver
    theirs = getattr(driver, "_writer_thread", None)
    if theirs is None or isinstance(theirs, PromptWriter) or not hasattr(select, "poll"):
        return
    if not all(hasattr(theirs, name) for name in ("write", "flush", "stop", "fileno", "isatty")):
        return
    theirs.stop()  # all that was written before is out now
    driver._writer_thread = PromptWriter(theirs.fileno())


class PromptWriter:
    """Writes to a terminal; in place of Textual's ``WriterThread``.

    Thread-safe: yes.
    """

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._room = select.poll()
        self._room.register(descriptor, select.POLLOUT)
        self._lock = threading.Lock()
        self._behind = 0
        """Writes that the thread has still to do: nothing may overtake them."""
        self._queue: Queue[bytes | None] = Queue(_MOST_WAITING)
        self._thread = threading.Thread(target=self._run, name="keyhole-output", daemon=True)
        self._thread.start()

    def write(self, text: str) -> None:
        """Write now, or after what still waits."""
        data = text.encode("utf-8", "replace")
        with self._lock:
            if not self._behind and len(data) <= LONGEST_BYTES and self._has_room():
                data = data[self._send(data) :]
            if not data:
                return
            self._behind += 1
        self._queue_up(data)

    def flush(self) -> None:
        """Nothing is held back."""

    def isatty(self) -> bool:
        """It is one."""
        return True

    def fileno(self) -> int:
        """The terminal's descriptor."""
        return self._descriptor

    def stop(self) -> None:
        """Write what waits, and end."""
        self._queue_up(None)
        self._thread.join()

    def _queue_up(self, data: bytes | None) -> None:
        while self._thread.is_alive():  # else the terminal has gone
            try:
                self._queue.put(data, timeout=0.1)
                return
            except Full:
                continue

    def _has_room(self) -> bool:
        return any(event & select.POLLOUT for _, event in self._room.poll(0))

    def _send(self, data: bytes) -> int:
        try:
            return os.write(self._descriptor, data)
        except OSError:  # the thread will meet it too, and end
            return 0

    def _run(self) -> None:
        while (data := self._queue.get()) is not None:
            while data:
                try:
                    data = data[os.write(self._descriptor, data) :]
                except BlockingIOError:  # a descriptor that does not wait by itself
                    select.select([], [self._descriptor], [], 1.0)
                except OSError:  # nobody reads any more
                    return
            with self._lock:
                self._behind -= 1
