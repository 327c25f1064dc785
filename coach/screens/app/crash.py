"""Errors of our own on the screen: the only place that reaches into how Textual ends an app.

When an error ends an app, Textual prints a long coloured traceback on the terminal. Our app ends in
order, and hands the error to whoever ran it. Textual has no public way to do that. So private names
of Textual's are used, in this file alone.
"""

from __future__ import annotations

from textual.app import App


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
