"""Garbage collection only while the hands rest, so that no note waits for it."""

from __future__ import annotations

import gc

from textual._styles_cache import StylesCache

REST_S = 0.5
"""How long after a key the hands count as resting. Own choice: longer than any note of a passage,
shorter than the breath between two repetitions."""

_MOST_NEW = 100_000
"""After so many new objects Python collects even while the hands play. That is for minutes without
a rest. Own choice."""


def settle_memory() -> None:
    """Take all that is loaded by now out of garbage collection, and turn it on.

    Collecting is off while the screens are being loaded. From here on it is on, but it runs seldom
    (see :class:`RestCollector`). Left to itself it takes 0.5 ms of every third chord, and 3 ms now
    and then; a full collection of all that is loaded would hold a note up for 4 to 11 ms. What was
    taken out before is looked at once more, so a piece that has been left is let go of.
    """
    gc.unfreeze()
    gc.collect()
    gc.freeze()
    gc.set_threshold(_MOST_NEW, 10, 10)
    gc.enable()


class RestCollector:
    """Collects once in each rest of the hands; time is an argument."""

    def __init__(self) -> None:
        self._collected_after_s: float | None = None
        """The last key before the rest that was used last."""

    def tick(self, now_s: float, last_key_s: float | None) -> bool:
        """Collect, if the hands rest and this rest was not used yet; whether it collected."""
        if last_key_s is None or now_s - last_key_s < REST_S:
            return False
        if last_key_s == self._collected_after_s:
            return False
        self._collected_after_s = last_key_s
        if gc.isenabled():
            gc.collect()
        return True


def forget_pictures() -> None:
    """Let go of the pictures of widgets that are gone.

    Textual (8.2) remembers the colours of the last 1,024 widgets, gone or not, and with each the
    picture of all its rows. After an evening with many dialogs that is some ten megabytes. There is
    no public way to clear it; a Textual without these names is left alone.
    """
    forget = getattr(getattr(StylesCache, "get_inner_outer", None), "cache_clear", None)
    if forget:
        forget()
