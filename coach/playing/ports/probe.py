"""Asking in a process of its own whether a MIDI system takes new programs.

A JACK server that hangs holds whoever speaks to it, and rtmidi lets nothing of Python run
meanwhile: the screen would stand still. So another process asks, and is ended if it gets no answer.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from math import inf
from subprocess import Popen

from coach.children import start_python

EVERY_S = 1.0
PATIENCE_S = 3.0
"""After this long the system hangs: an answer takes a tenth of a second, most of it Python's."""

_THERE, _NOT_THERE = 0, 3
_ASK = """
import sys, rtmidi
try:
    rtmidi.MidiIn(int(sys.argv[1]), "Keyhole asks").delete()
except OSError:
    sys.exit(3)
"""


class Probe:
    """Asks again and again, as long as it is looked at."""

    def __init__(
        self,
        program: Sequence[str],
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        """``program``: Python's arguments for what exits with 0 where it answers, 3 where not."""
        self._program, self._clock = program, clock
        self._child: Popen[bytes] | None = None
        self._start_s = -inf

    @classmethod
    def of(cls, api: int) -> Probe:
        """For one of rtmidi's MIDI systems."""
        return cls(["-c", _ASK, str(api)])

    def answer(self) -> bool | None:
        """Whether the system is there; None where it is not known (yet). Returns at once."""
        if self._child is None:
            self._ask()
            return None
        status = self._child.poll()
        if status is None and self._clock() - self._start_s < PATIENCE_S:
            return None
        self.stop()
        return None if status not in (_THERE, _NOT_THERE) else status == _THERE

    def stop(self) -> None:
        """Ask no more."""
        if self._child:
            self._child.kill()
            self._child.wait()
        self._child = None

    def _ask(self) -> None:
        if self._clock() - self._start_s < EVERY_S:
            return
        self._start_s = self._clock()
        self._child = start_python(self._program)
