"""Sending MIDI messages when their time comes.

rtmidi can't schedule, and a sleep of a given length drifts (130 ms in 15 s, measured), so one
thread sleeps until each message's own moment (0.1 ms late, 1.4 to 3 ms at worst beside a busy
screen). It plays the click, and anything else that is written down as timed messages.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence

from coach.playing.click_schedule import Timed
from coach.playing.ports import OutPort

_NOTE_OFF, _NOTE_ON = 0x80, 0x90


class ClickThread:
    """Plays timed messages through one output, one list at a time.

    Thread-safe: yes. ``play`` and ``stop`` return at once. An output whose other side has gone
    takes the messages and nothing sounds; the click is still seen.
    """

    def __init__(self, out: OutPort, clock: Callable[[], float] = time.perf_counter) -> None:
        self._out, self._clock = out, clock
        self._wake = threading.Condition()
        self._waiting: list[Timed] = []
        self._sounding: set[tuple[int, int]] = set()  # channel and key
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="keyhole-click", daemon=True)
        self._thread.start()

    def play(self, messages: Sequence[Timed]) -> None:
        """Play these from now on, in place of any that still wait; those past are left out."""
        now_s = self._clock()
        with self._wake:
            self._waiting = sorted(timed for timed in messages if timed[0] >= now_s)
            self._silence()
            self._wake.notify()

    def stop(self) -> None:
        """Silence: nothing more sounds, and what sounds is let go."""
        self.play(())

    def close(self) -> None:
        """Silence, and let go of the output."""
        with self._wake:
            self._waiting, self._closing = [], True
            self._silence()
            self._wake.notify()
        self._thread.join()
        self._out.close()

    def _run(self) -> None:
        with self._wake:
            while not self._closing:
                if not self._waiting:
                    self._wake.wait()
                elif (ahead_s := self._waiting[0][0] - self._clock()) > 0:
                    self._wake.wait(ahead_s)
                else:
                    self._send(self._waiting.pop(0)[1])

    def _send(self, message: tuple[int, ...]) -> None:
        kind, voice = message[0] & 0xF0, (message[0] & 0x0F, message[1])
        if kind == _NOTE_ON:
            self._sounding.add(voice)
        elif kind == _NOTE_OFF:
            self._sounding.discard(voice)
        try:
            self._out.send(message)
        except OSError:  # unplugged: the listener tells the pianist
            self._waiting = []

    def _silence(self) -> None:
        for channel, key in sorted(self._sounding):
            self._send((_NOTE_OFF | channel, key, 0))
        self._sounding.clear()
