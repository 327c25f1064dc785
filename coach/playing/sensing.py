"""Active sensing: a piano that says every 300 ms that it is there, and then no more."""

from __future__ import annotations

SILENCE_S = 0.7
"""Longest silence of a piano that sends active sensing. MIDI 1.0 asks for a message within 300 ms;
receivers in the field wait 420 ms; a busy machine may add some."""

STEADY_COUNT = 8
"""After so many, with no silence between, a piano is believed to go on sending them: two seconds of
its 300 ms. A byte that strays in, or a few when it is switched on, are no promise. Our choice."""

PAUSE_S = 0.1
"""It is sent where nothing else was: one that comes sooner after another message is not counted."""


class Sensing:
    """Tells when a piano that sends active sensing steadily has fallen silent for good.

    A piano that does not is never taken for lost: its silence means nothing. Nor is one that was
    taken for lost and came back, until it has been steady anew.
    """

    def __init__(self) -> None:
        self._count = 0
        self._last_s = 0.0

    def heard(self, at_s: float, *, sensing: bool) -> None:
        """Any message came; ``sensing`` where it was active sensing."""
        quiet_s = at_s - self._last_s
        if quiet_s > SILENCE_S:
            self._count = 0
        if sensing and quiet_s >= PAUSE_S:
            self._count += 1
        self._last_s = at_s

    def is_lost(self, now_s: float) -> bool:
        """True where the piano ought to have sent something by now."""
        return self._count >= STEADY_COUNT and now_s - self._last_s > SILENCE_S
