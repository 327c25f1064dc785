"""Active sensing: a piano that says every 300 ms that it is there, and then no more."""

from __future__ import annotations

SILENCE_S = 0.7
"""Longest silence after active sensing was seen. MIDI 1.0 asks for a message within 300 ms;
receivers in the field wait 420 ms; a busy machine may add some."""


class Sensing:
    """Tells when a piano that sends active sensing has fallen silent for good.

    A piano that never sends it is never taken for lost: its silence means nothing.
    """

    def __init__(self) -> None:
        self._seen = False
        self._last_s = 0.0

    def heard(self, at_s: float, *, sensing: bool) -> None:
        """Any message came; ``sensing`` where it was active sensing."""
        self._seen = self._seen or sensing
        self._last_s = at_s

    def is_lost(self, now_s: float) -> bool:
        """True where the piano ought to have sent something by now."""
        return self._seen and now_s - self._last_s > SILENCE_S
