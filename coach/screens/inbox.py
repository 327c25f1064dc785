"""From other threads to the screen: the only line that crosses them."""

from __future__ import annotations

import asyncio
import contextvars
from collections import deque
from collections.abc import Callable

from coach.playing.events import MidiEvent
from coach.screens.judged import Judged

InboxEvent = MidiEvent | Judged
"""Anything that comes from another thread."""


class Inbox:
    """Events from any thread, handed over on the event loop's thread in their order.

    A chord's ten notes cause one call, so that the screen paints once.
    """

    def __init__(self, handle: Callable[[tuple[InboxEvent, ...]], None]) -> None:
        """Call it on the loop's thread; ``handle`` is called there with all that has come."""
        self._handle = handle
        self._loop = asyncio.get_running_loop()
        self._context = contextvars.copy_context()
        self._waiting: deque[InboxEvent] = deque()
        self._called = False
        self._closed = False

    def post(self, event: InboxEvent) -> None:
        """Hand an event on. Thread-safe: yes. Blocks: no. After closing it does nothing."""
        if self._closed:
            return
        self._waiting.append(event)
        if not self._called:  # a race here costs one empty call, never an event
            self._called = True
            try:
                self._loop.call_soon_threadsafe(self._drain, context=self._context)
            except RuntimeError:  # the loop has ended between the two lines
                self._closed = True

    def close(self) -> None:
        """Take no more."""
        self._closed = True

    def _drain(self) -> None:
        # Lowered first: what is posted from now on either is taken below or calls again.
        self._called = False
        events = []
        while self._waiting:
            events.append(self._waiting.popleft())
        if events and not self._closed:
            self._handle(tuple(events))
