"""Memory made quiet, so that no note waits for a garbage collection."""

from __future__ import annotations

import gc

from textual._styles_cache import StylesCache

REST_S = 0.5
"""So long after a key the hands rest: then there is time to collect. Our choice: longer than any
note of a passage, shorter than the breath between repetitions."""

_MOST_NEW = 100_000
"""New objects after which it is collected even while the hands play, for minutes without a rest."""


def settle_memory() -> None:
    """Take what is loaded by now out of garbage collection: a full one stops a note for 4-11 ms.

    Collecting, which is off while the screens are being loaded, is on from here, but seldom (see
    :class:`RestCollector`). Left to itself it takes 0.5 ms of every third chord, and 3 ms now and
    then.
    What was taken out before is looked at once more: a piece that has been left since is let go of.
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
        """The last key before the rest in which was collected last."""

    def tick(self, now_s: float, last_key_s: float | None) -> bool:
        """Time passed, and the last key was struck at ``last_key_s``; whether it was collected."""
        if last_key_s is None or now_s - last_key_s < REST_S:
            return False
        if last_key_s == self._collected_after_s:
            return False
        self._collected_after_s = last_key_s
        if gc.isenabled():
            gc.collect()
        return True


def forget_pictures() -> None:
    """Let go of how widgets looked that are gone.

    Textual (8.2) remembers the colours of the last 1,024 widgets, gone or not, and with each the
    picture of all its rows: some ten megabytes after an evening with many dialogs. It says nothing
    of this in public; a Textual without these names keeps what it likes.
    """
    forget = getattr(getattr(StylesCache, "get_inner_outer", None), "cache_clear", None)
    if forget:
        forget()
