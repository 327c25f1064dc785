"""Our end of the line to the sounding process."""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Sequence
from contextlib import suppress
from subprocess import PIPE, Popen, TimeoutExpired
from typing import Any

from coach.children import end_python, start_python
from coach.playing.click_schedule import Timed

PATIENCE_S = 2.0
"""How long the process may take to silence the piano when we end. Own choice, because letting go
of an output at a dead JACK server takes a second."""


class SoundingLine:
    """Starts the sounding process when something is to sound, and gives it orders.

    Nothing here waits, but for ``close``. Where the process could not begin or has ended, nothing
    sounds, and the next order begins another. Every order is written by a thread of its own, after
    the one before it: the pipe holds 64 kB, some 2,500 messages, and the screen must not wait for
    a longer list.

    Thread-safe: no.
    """

    def __init__(self, api: str) -> None:
        """``api``: the MIDI system's name, as rtmidi has it."""
        self._api = api
        self._child: Popen[bytes] | None = None
        self._to: str | None = None
        self._writing: threading.Thread | None = None

    def play(self, port: str, messages: Sequence[Timed], from_s: float | None = None) -> bool:
        """Sound these through a port, in place of all that was to sound; nothing: silence.

        With ``from_s`` in place of what was to be sent from then on: what sounds goes on. Answers
        whether there is a process that will.
        """
        self.prepare(port)
        plain = [[at_s, list(one)] for at_s, one in messages]
        return self._write({"play": plain, "from": from_s})

    def prepare(self, port: str) -> None:
        """Have the process ready for a port: what is played next then comes at once."""
        if not self._is_running():
            self._start()
        if port != self._to and self._write({"to": port}):
            self._to = port

    def close(self) -> None:
        """End the process, which leaves nothing that sounds."""
        child, self._child, self._to = self._child, None, None
        if child is None:
            return
        if self._writing:
            self._writing.join(PATIENCE_S)
        assert child.stdin
        with suppress(OSError):
            child.stdin.close()
        try:
            child.wait(PATIENCE_S)
        except TimeoutExpired:
            end_python(child)

    def _is_running(self) -> bool:
        return self._child is not None and self._child.poll() is None

    def _start(self) -> None:
        self.close()
        with suppress(OSError):
            self._child = start_python(
                ["-m", "coach.playing.sounding.process", self._api],
                stdin=PIPE,
                buffered=False,
                own_session=True,
            )

    def _write(self, order: dict[str, Any]) -> bool:
        child = self._child
        if child is None:
            return False
        assert child.stdin
        text = f"{json.dumps(order)}\n".encode()
        before, descriptor = self._writing, child.stdin.fileno()

        def write() -> None:
            if before:
                before.join()
            left = text
            with suppress(OSError):  # it has ended: the next order begins another
                while left:
                    left = left[os.write(descriptor, left) :]

        self._writing = threading.Thread(target=write, name="keyhole-orders", daemon=True)
        self._writing.start()
        return True
