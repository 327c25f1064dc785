"""Fixtures that several test files share."""

from jackrig import jack_server, pianist

__all__ = ["jack_server", "pianist"]
