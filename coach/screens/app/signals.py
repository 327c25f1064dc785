"""Ending in order when the system asks for it: the drill is kept, the terminal is given back."""

from __future__ import annotations

import asyncio
import signal
from contextlib import suppress
from functools import partial
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from textual.app import App

SIGNALLED = 128
"""A shell says that a signal ended a program by this and the signal's number."""


def end_on_signal(app: App[None]) -> None:
    """Leave as by the quit key when the system ends the program or closes its terminal.

    Nothing changes where there are no such signals (Windows), or where the app does not run in the
    main thread.
    """
    loop = asyncio.get_running_loop()
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None:
            with suppress(NotImplementedError, RuntimeError, ValueError):
                leave = partial(app.exit, return_code=SIGNALLED + number)
                loop.add_signal_handler(number, leave)
