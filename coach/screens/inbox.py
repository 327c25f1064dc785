"""From the MIDI thread to the screen: the only line that crosses threads."""

from __future__ import annotations

import asyncio
import contextvars
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

from coach.playing.midi_events import KeyEvent, MidiEvent, PianoFound, PianoLost

if TYPE_CHECKING:
    from coach.judging.judge import JudgingJob
    from coach.judging.model import Judgement


@dataclass(frozen=True, slots=True)
class VerdictArrived:
    """A repetition that was given out to be judged is judged, or can't be."""

    job: JudgingJob
    verdict: Future[Judgement]


InboxEvent = MidiEvent | VerdictArrived
"""Anything that comes from another thread."""
MOST_A_SECOND = 1000
"""More keys and pedals than this in a second are no playing. A MIDI cable carries about as many
(31,250 bits a second, 30 bits a message); ten fingers make a tenth of it."""
MOST_AT_ONCE = 40
"""Most events in one call: two chords of ten notes and the release of two others. The rest waits
until the event loop has looked at the computer's keys, too."""
TOO_MANY = (
    "More keys arrive than anyone can play: something else sends to this port. Stop it, or choose "
    "another port with --port."
)


QUIET_S = 1.5
"""A flood is over after this long without too many events. More than a second, because each second
is counted on its own."""


class Inbox:
    """Events from any thread, handed over on the event loop's thread in their order.

    A chord's ten notes make one call, so that the screen paints once. A flood that nobody can play
    is not handed over, for the computer's keys must still be heard: the piano counts as lost until
    the flood is over.
    """

    def __init__(
        self,
        handle: Callable[[tuple[InboxEvent, ...]], None],
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        """Call it on the loop's thread; ``handle`` is called there with all that has come."""
        self._handle = handle
        self._clock = clock
        self._loop = asyncio.get_running_loop()
        self._context = contextvars.copy_context()
        self._waiting: deque[InboxEvent] = deque()
        self._called = False
        self._closed = False
        self._piano: str | None = None
        """The piano that was found last."""
        self._second_s = clock()
        """When the second began in which events are counted."""
        self._count = 0
        self._flooded = False
        self._too_much_s = -inf
        """When there was last more than anyone can play."""

    def post(self, event: InboxEvent) -> None:
        """Hand an event on. Thread-safe: yes. Blocks: no. After closing it does nothing."""
        if self._closed:
            return
        if isinstance(event, PianoFound | PianoLost):
            self._piano = event.name if isinstance(event, PianoFound) else None
        elif isinstance(event, KeyEvent) and self._count_played():
            return
        self._waiting.append(event)
        self._wake_loop()

    def close(self) -> None:
        """Take no more."""
        self._closed = True

    def _wake_loop(self) -> None:
        if not self._called:  # if two threads meet here, one call finds nothing; no event is lost
            self._called = True
            try:
                self._loop.call_soon_threadsafe(self._drain, context=self._context)
            except RuntimeError:  # the loop has ended between the two lines
                self._closed = True

    def _count_played(self) -> bool:
        """Count a key or pedal; whether more come than anyone can play."""
        now_s = self._clock()
        if now_s - self._second_s >= 1.0:
            self._second_s, self._count = now_s, 0
        self._count += 1
        if self._count > MOST_A_SECOND:
            self._too_much_s = now_s
        if self._count > MOST_A_SECOND and not self._flooded:
            self._flooded = True
            self._waiting.append(PianoLost(self._piano or "", TOO_MANY))
            self._wake_loop()
        return self._flooded

    def _drain(self) -> None:
        # Set first: what is posted from now on is either taken below, or wakes the loop again.
        self._called = False
        events: list[InboxEvent] = []
        while self._waiting and len(events) < MOST_AT_ONCE:
            event = self._waiting.popleft()
            if not (self._flooded and isinstance(event, KeyEvent)):
                events.append(event)
        if self._waiting:
            self._wake_loop()
        if self._flooded:
            self._loop.call_later(1.0, self._check_quiet, context=self._context)
        if events and not self._closed:
            self._handle(tuple(events))

    def _check_quiet(self) -> None:
        """Hear the piano again, once the flood is over."""
        if self._closed or not self._flooded:
            return
        if self._clock() - self._too_much_s < QUIET_S:
            self._loop.call_later(1.0, self._check_quiet, context=self._context)
            return
        self._flooded = False
        if self._piano:
            self._waiting.append(PianoFound(self._piano))
            self._wake_loop()
