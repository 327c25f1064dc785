"""Sending MIDI messages when their time comes, and leaving nothing that sounds.

rtmidi can't schedule, and a sleep of a given length drifts (130 ms in 15 s, measured), so one
thread sleeps until each message's own moment. Beside a busy screen even that is late by 1.4 to
16 ms, which is why it runs in a small process of its own (:mod:`coach.playing.sounding.process`).
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Sequence

from coach.playing.click_schedule import Timed
from coach.playing.midi_events import ALL_NOTES_OFF, CONTROL, DAMPER, NOTE_OFF, NOTE_ON
from coach.playing.ports import ASK, OutPort

LATE_S = 0.05
"""A message this long past its time is left out when it is given: a beat too late is worse than
none. Own choice, because on its way here a list takes some milliseconds, seldom tens."""
_SPIN_S = 0.0003
"""The last stretch before a message's moment is not slept but waited through: a sleep wakes up to
0.2 ms late (measured)."""


class TimedSender:
    """Sends timed messages through one output, one list at a time.

    Thread-safe: yes. ``play`` returns at once. An output whose other side has gone takes the
    messages and nothing sounds.
    """

    def __init__(self, out: OutPort, clock: Callable[[], float] = time.perf_counter) -> None:
        self._out, self._clock = out, clock
        self._wake = threading.Condition()
        self._waiting: list[Timed] = []
        self._sounding: set[tuple[int, int]] = set()
        """Channel and key of every note that was begun and not ended."""
        self._channels: set[int] = set()
        """Those that anything was sent on."""
        self._pedalled: set[int] = set()
        """Those on which we hold the damper pedal."""
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="keyhole-sender", daemon=True)
        self._thread.start()

    def play(self, messages: Sequence[Timed], from_s: float | None = None) -> None:
        """Send these from now on, in place of any that still wait; those past are left out.

        What sounds is let go of: no messages are silence. With ``from_s`` they take the place only
        of those that wait for then or later, and what sounds goes on.
        """
        earliest_s = self._clock() - LATE_S
        coming = [timed for timed in messages if timed[0] >= earliest_s]
        with self._wake:
            if from_s is None:
                self._end_notes()
            else:
                coming += [timed for timed in self._waiting if timed[0] < from_s]
            self._waiting = sorted(coming)
            self._wake.notify()

    def ask(self) -> None:
        """Send what tells whether anything that we send comes back; it makes no sound."""
        with self._wake:
            for message in ASK:
                self._send(message)

    def silence_every_channel(self) -> None:
        """All notes off and pedal up on all of them: for an output that was away meanwhile, for
        what it last heard may hang."""
        with self._wake:
            self._silence_channels(range(16))

    def close(self) -> None:
        """Silence, and let go of the output."""
        with self._wake:
            self._waiting, self._closing = [], True
            self._end_notes()
            self._silence_channels(sorted(self._channels))
            self._wake.notify()
        self._thread.join()
        self._out.close()

    def _run(self) -> None:
        with self._wake:
            while not self._closing:
                if not self._waiting:
                    self._wake.wait()
                elif (ahead_s := self._waiting[0][0] - self._clock()) > _SPIN_S:
                    self._wake.wait(ahead_s - _SPIN_S)
                elif ahead_s <= 0:
                    self._send(self._waiting.pop(0)[1])

    def _send(self, message: tuple[int, ...]) -> None:
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == NOTE_ON and message[2] > 0:
            self._sounding.add((channel, message[1]))
        elif kind in (NOTE_OFF, NOTE_ON):
            self._sounding.discard((channel, message[1]))
        elif kind == CONTROL and message[1] == DAMPER:
            (self._pedalled.add if message[2] else self._pedalled.discard)(channel)
        self._channels.add(channel)
        try:
            self._out.send(message)
        except OSError:  # unplugged: the listener tells the pianist
            self._waiting = []

    def _end_notes(self) -> None:
        for channel, key in sorted(self._sounding):
            self._send((NOTE_OFF | channel, key, 0))
        for channel in sorted(self._pedalled):
            self._send((CONTROL | channel, DAMPER, 0))

    def _silence_channels(self, channels: Iterable[int]) -> None:
        for channel in channels:
            self._send((CONTROL | channel, DAMPER, 0))
            self._send((CONTROL | channel, ALL_NOTES_OFF, 0))
