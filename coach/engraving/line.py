"""Our end of the line to the engraving process: pictures asked for, made ahead and kept."""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from queue import Empty, SimpleQueue
from typing import IO, Any

from coach.children import AnsweringChild
from coach.engraving.engraver import Box

KEPT = 48
"""Pictures that are kept: those of an evening's last few windows and of what may come next, of each
several pages. Own choice, because each takes some 50 kB."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A picture to be made."""

    mei: str
    box: Box
    ink: str
    """``#rrggbb``, as ``ground``."""
    ground: str
    protocol: str = "svg"
    """How it is to be shown: ``sixel`` or ``kitty`` in a terminal, ``svg`` in a page."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A window's picture, and where its notes and staves stand in it, in pixels."""

    code: str
    """What puts it on the terminal from the cursor's place on, or in a page."""
    width_px: float
    height_px: float
    staff_px: float
    notes: Mapping[str, tuple[float, float]]
    staves: tuple[tuple[float, float], ...]


Done = Callable[[Wanted, Picture | None], None]
"""Told of a picture, on the line's own thread; None where it can't be made."""


class EngravingLine:
    """Asks the process for pictures, one after the other, the newest wish first.

    Thread-safe: ``ask`` and ``close`` are for one thread; ``done`` comes on another. Where the
    process can't begin, or dies twice over one picture, that picture is None.
    """

    def __init__(self) -> None:
        self._child = AnsweringChild(("-m", "coach.engraving.process"))
        self._wishes: SimpleQueue[tuple[Wanted, Done] | None] = SimpleQueue()
        self._kept: OrderedDict[Wanted, Picture] = OrderedDict()
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()

    def get(self, wanted: Wanted) -> Picture | None:
        """The picture, where it is made already."""
        with self._lock:
            if wanted in self._kept:
                self._kept.move_to_end(wanted)
            return self._kept.get(wanted)

    def ask(self, wanted: Wanted, done: Done) -> None:
        """Have it made; returns at once. Once the line is closed nothing is made any more."""
        if self._child.is_given_up:
            return
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="keyhole-engraving", daemon=True)
            self._thread.start()
        self._wishes.put((wanted, done))

    def close(self) -> None:
        """Make no more pictures; what is in hand is given up."""
        self._child.give_up()
        self._wishes.put(None)
        if self._thread:
            self._thread.join(2.0)

    # -- on the thread ----------------------------------------------------------------------

    def _run(self) -> None:
        waiting: list[tuple[Wanted, Done]] = []
        while not self._child.is_given_up and self._gather(waiting):
            wanted, done = waiting.pop()  # the newest: the older ones may be in sight no longer
            picture = self.get(wanted) or self._make(wanted)
            if not self._child.is_given_up:
                done(wanted, picture)
        self._child.end()

    def _gather(self, waiting: list[tuple[Wanted, Done]]) -> bool:
        """Add what is wished for by now, and wait where nothing is; False for the end."""
        if not waiting:
            wish = self._wishes.get()
            if wish is None:
                return False
            waiting.append(wish)
        with suppress(Empty):
            while (more := self._wishes.get_nowait()) is not None:
                waiting.append(more)
            return False
        return True

    def _make(self, wanted: Wanted) -> Picture | None:
        order = (json.dumps(asdict(wanted)) + "\n").encode()

        def exchange(to_child: IO[bytes], from_child: IO[bytes]) -> dict[str, Any] | None:
            to_child.write(order)
            to_child.flush()
            told = json.loads(from_child.readline())
            return told if isinstance(told, dict) else None

        told = self._child.ask(exchange) or self._child.ask(exchange)
        if told is None or "failed" in told:
            return None
        picture = Picture(
            told["code"],
            told["width_px"],
            told["height_px"],
            told["staff_px"],
            {name: (left, middle) for name, (left, middle) in told["notes"].items()},
            tuple((top, bottom) for top, bottom in told["staves"]),
        )
        with self._lock:
            self._kept[wanted] = picture
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return picture
