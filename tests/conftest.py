"""Fixtures that several test files share, and what keeps many tests in one process quick."""

import gc
import sys

import pytest

from tests.jackrig import jack_server, pianist

__all__ = ["jack_server", "pianist", "pytest_collection_finish"]


def pytest_collection_finish(session: pytest.Session) -> None:
    """Take what all tests have loaded out of garbage collection, once.

    The program does so for each piece that is opened. In a process with everything that any test
    loads that takes longer than the test itself, and there are hundreds. ``test_memory`` tries
    what the program does.
    """
    gc.collect()
    gc.freeze()
    if app := sys.modules.get("coach.screens.app.app"):
        app.settle_memory = lambda: None  # type: ignore[attr-defined]
