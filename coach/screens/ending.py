"""How the app ends in order: by an error of our own, or because the system asks for it.

When an error ends an app, Textual prints a long coloured traceback on the terminal. Our app ends in
order, and hands the error to whoever ran it. Textual has no public way to do that. So private names
of Textual's are used, in this file alone. The system's signals keep the drill and give the terminal
back as the quit key does.
"""

from __future__ import annotations

import asyncio
import signal
from contextlib import suppress
from functools import partial

from textual.app import App

SIGNALLED = 128
"""A shell says that a signal ended a program by this and the signal's number."""


class AppWithoutTraceback(App[None]):
    """An app that ends by an error without a traceback on the terminal."""

    @property
    def mistake(self) -> Exception | None:
        """The error of our own that ended the app, for whoever ran it to say."""
        return self._exception

    def end_by(self, mistake: Exception) -> None:
        """End by an error that Textual did not see, because the event loop itself called us."""
        self._handle_exception(mistake)

    def _fatal_error(self) -> None:
        """Textual's own, called once the error is in hand: it would print the traceback."""
        self._close_messages_no_wait()


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
