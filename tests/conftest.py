"""Fixtures that several test files share, and what keeps many tests in one process quick."""

import gc
import os
import sys

import pytest

from tests.jackrig import jack_server, pianist

__all__ = [
    "jack_server",
    "pianist",
    "pytest_collection_finish",
    "pytest_xdist_auto_num_workers",
]

gc.disable()  # loading all tests makes no garbage; it is on again once they are loaded
MOST_NEW = 100_000
"""After so many new objects Python collects: as the program has it (``gc_pause``)."""
IDLE_SHARE = 0.2
"""A screen that works less than so much of the time is done with what it was asked for. Textual
says a twentieth, which the drill's clock and the demo's player always take: each key that a test
presses would wait two seconds for them. Own choice."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One more than there are processors: in each file some tests wait for real parts."""
    return len(os.sched_getaffinity(0)) + 1 if sys.platform == "linux" else os.cpu_count() or 1


def pytest_collection_finish(session: pytest.Session) -> None:
    """Take what all tests have loaded out of garbage collection.

    The program does so for each piece that is opened, and so do the made evenings. In a process
    with everything that any test loads that takes longer than the test itself, and there are
    hundreds. ``test_memory`` tries what the program does. Besides that the collector runs as seldom
    as it does for a pianist.
    """
    if idle := sys.modules.get("textual._wait"):
        idle.SLEEP_IDLE = IDLE_SHARE * idle.SLEEP_GRANULARITY  # type: ignore[attr-defined]
    gc.collect()
    gc.freeze()
    gc.set_threshold(MOST_NEW, 10, 10)
    gc.enable()
    for name in ("coach.screens.app", "scripts.eveningbench.desk"):
        if settles := sys.modules.get(name):
            settles.settle_memory = lambda: None  # type: ignore[attr-defined]


@pytest.fixture(scope="module", autouse=True)
def _files_before_leave_no_work() -> None:
    """What earlier files have left is not looked through again: whenever the hands of a test rest
    the program collects, and by the last file that would take a second."""
    gc.collect()
    gc.freeze()
