"""Fixtures that several test files share."""

from tests.jackrig import jack_server, pianist

__all__ = ["jack_server", "pianist"]
