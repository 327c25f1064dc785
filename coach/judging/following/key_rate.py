"""How many keys come: more than two hands can play are no playing, and nobody reads them."""

from __future__ import annotations

from collections import deque
from math import inf

MOST_KEYS = 200
"""Keys in a second, at the most. Own choice, because ten fingers that strike together seven times a
second make 70, two glissandi about as many, and both forearms, laid on the keys four times, 160."""
QUIET_S = 1.0
"""After so long without a key it may be a player again. Own choice, because whoever plays on does
not stop for so long (as ``begin_end.FRESH_S``)."""


class KeyRate:
    """Tells a flood of keys from playing, by when the last of them came; nothing else is kept."""

    def __init__(self) -> None:
        self._times_s: deque[float] = deque(maxlen=MOST_KEYS)
        self._last_s = -inf
        self.is_flood = False
        """Whether more keys come than two hands can play, until there is a silence."""

    def count_key(self, at_s: float) -> None:
        """A key went down."""
        if at_s - self._last_s >= QUIET_S:
            self.is_flood = False
            self._times_s.clear()
        self._last_s = at_s
        is_full = len(self._times_s) == MOST_KEYS
        self.is_flood = self.is_flood or (is_full and at_s - self._times_s[0] < 1.0)
        self._times_s.append(at_s)
