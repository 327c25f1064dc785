"""Whether the MIDI system still carries anything: what we send to ourselves through it comes back.

A JACK server that has died says nothing to python-rtmidi, which goes on listing its ports. So a
message of ours goes through the server and back, now and then. Other systems need none: ALSA's is
in the kernel, and those of macOS and Windows are the system's own.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from math import inf

EVERY_S = 0.5
LOST_S = 1.0
"""A message that takes longer is lost. JACK's takes two of its periods: 2.7 ms with 64 frames, 43
with 1024; a server that sets itself up anew is silent for some tenths of a second."""
AT_ONCE_S = 0.3
"""How long an answer is waited for where one is needed at once; twice what a server with periods of
4096 frames takes."""


class Heartbeat:
    """Sends a message through the system now and then, and sees to it that it comes back.

    A system that never brought one back is not held to it: then nothing can be known.

    Thread-safe: no.
    """

    def __init__(
        self,
        send: Callable[[], object],
        receive: Callable[[], object],
        clock: Callable[[], float] = time.perf_counter,
        sleep: Callable[[float], object] = time.sleep,
    ) -> None:
        """``receive`` returns None where nothing has come; neither of them waits."""
        self._send, self._receive, self._clock, self._sleep = send, receive, clock, sleep
        self._waits_since_s: float | None = None
        self._sent_s = -inf
        self._known = False

    def is_beating(self) -> bool:
        """Whether what was sent came back in time; sends anew when it is time. Returns at once."""
        now_s = self._clock()
        self._take(now_s)
        # Nothing more into a system that takes nothing out: its buffer would fill, and hold us.
        if now_s - self._sent_s >= EVERY_S and self._waited_s(now_s) < LOST_S:
            self._beat(now_s)
        return not self._known or self._waited_s(now_s) < LOST_S

    def came_back(self) -> bool:
        """Whether nothing that was sent is still on its way. Returns at once, and sends nothing."""
        self._take(self._clock())
        return self._waits_since_s is None

    def answers(self) -> bool:
        """Whether a message that is sent now comes back at once; waits for it."""
        start_s = self._clock()
        self._take(start_s)
        self._beat(start_s)
        while self._waits_since_s is not None:
            now_s = self._clock()
            if now_s - start_s > AT_ONCE_S:
                break
            self._sleep(0.001)
            self._take(now_s)
        return not self._known or self._waits_since_s is None

    def _waited_s(self, now_s: float) -> float:
        return 0.0 if self._waits_since_s is None else now_s - self._waits_since_s

    def _beat(self, now_s: float) -> None:
        self._send()
        self._sent_s = now_s
        if self._waits_since_s is None:
            self._waits_since_s = now_s

    def _take(self, now_s: float) -> None:
        while self._receive() is not None:
            self._waits_since_s, self._known = None, True
