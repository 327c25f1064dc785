"""Keeping what C libraries print off the screen.

ALSA and JACK print to file descriptor 2, and the screen is drawn there too.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path


def divert_noise(log: Path | None = None) -> None:
    """Send what is written to descriptor 2 to ``log`` (else nowhere); ``sys.stderr`` still works.

    Call it once, first of all: before anything imports textual, which draws on ``__stderr__``, or
    rtmidi. Python's own errors and the screen go to a duplicate of the terminal's descriptor.
    """
    screen = os.fdopen(os.dup(2), "w", encoding="utf-8", errors="backslashreplace", buffering=1)
    target = os.open(log or os.devnull, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.dup2(target, 2)
    os.close(target)
    sys.stderr = sys.__stderr__ = screen  # type: ignore[misc]
