"""Writing at once: the one place that reaches into how Textual's bytes get to the terminal.

Textual hands every write to a thread, so that a slow terminal does not hold it up. On a busy
machine that thread waits for its turn, and the mark of a note with it: some milliseconds now and
then. So what is short and can be taken at once is written at once; all else goes by a thread as
before, in its order.

Textual (8.2) has no public way to do it. Where its names are others it goes on as it was.
"""

from __future__ import annotations

import os
import select
import threading
from queue import Full, Queue
from typing import Any

LONGEST_BYTES = 8192
"""What is longer goes by the thread: a terminal may not take it at once. Our choice: a mark takes
some hundred bytes, a chord of ten 2,000."""
_MOST_WAITING = 30
"""Writes that may wait, as with Textual: whoever writes more is held up."""


def write_at_once(app: Any) -> None:
    """Have what this app writes go to the terminal at once, where that can be; cheap to ask again.

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
