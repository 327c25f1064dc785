"""An evening takes no more memory than its first minutes: nothing that is over is kept."""

from __future__ import annotations

import asyncio
import gc
import weakref
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

from coach.coaching.drill.drill_events import RepetitionEnded
from coach.playing.midi_events import KeyDown
from coach.screens.drill.screen import DrillScreen
from coach.screens.gc_pause import settle_memory
from coach.screens.interfaces import Errand
from tests.breadth import every
from tests.screenfakes import FakeDrill, two_hands
from tests.seat import RIGHT, WRONG, Seat, seated

Action = Callable[[Seat], Awaitable[None]]
"""What a pianist does at a seat, over and over."""


@pytest.fixture(autouse=True)
def _what_was_there_counts_for_nothing() -> None:
    gc.collect()
    gc.freeze()


@pytest.fixture(autouse=True)
def _soon_over(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coach.screens.drill.presenter.HOLD_S", 0.1)


TIMERS_S = 0.3
"""By then what stands on the screen for a moment after a repetition has gone, and its timer."""


def objects() -> int:
    """How many objects have come since the test began, once all that is over has been let go of."""
    gc.collect()
    return len(gc.get_objects())


async def grown(seat: Seat, once: Action, settle: int, times: int) -> float:
    """How many objects more there are for each time, after a few times to settle in."""
    for _ in range(settle):
        await once(seat)
    await asyncio.sleep(TIMERS_S)
    before = objects()
    for _ in range(times):
        await once(seat)
    await asyncio.sleep(TIMERS_S)
    return (objects() - before) / times


async def play(seat: Seat) -> None:
    """Ten repetitions, some of them wrong."""
    for keys in (RIGHT, WRONG, *[(60, 66)] * 8):
        for at, pitch in enumerate(keys):
            seat.staging.ports.post(KeyDown(pitch, 64, 0.5 * at))
        await asyncio.sleep(0)  # the inbox hands over
    await seat.pilot.pause()


async def look_at(seat: Seat) -> None:
    for key in ("d", "t", "ctrl+p"):
        await seat.pilot.press(key)
        await seat.pilot.press("escape")


async def resize(seat: Seat) -> None:
    for size in ((120, 40), (20, 5), (80, 24)):
        await seat.pilot.resize_terminal(*size)


@pytest.mark.parametrize(
    ("once", "settle", "times", "most"),
    every(3, [(play, 6, 10, 20.0), (look_at, 3, 4, 100.0), (resize, 3, 5, 100.0)]),
)
def test_whatever_is_done_over_and_over_leaves_nothing_behind(
    once: Action, settle: int, times: int, most: float
) -> None:
    """``most``: objects each time; a widget or a picture that is kept is hundreds. Ten repetitions
    leave some nine small ones, however many went before."""

    async def run(seat: Seat) -> None:
        seat.staging.kept = _Nothing()
        more = await grown(seat, once, settle, times)
        assert more < most

    seated((80, 24), run, drill=FakeDrill(two_hands(), required=10**6))


class _Nothing(list[RepetitionEnded]):
    """Keeps nothing, unlike the fake of the record."""

    def append(self, _: RepetitionEnded) -> None:
        pass


def test_a_piece_that_was_left_is_let_go_of_when_the_next_is_opened() -> None:
    drills: list[weakref.ref[DrillScreen]] = []

    async def run(seat: Seat) -> None:
        for number in range(2, 5):
            drills.append(weakref.ref(seat.drill_screen))
            await seat.pilot.press("escape")
            await seat.pilot.pause()
            seat.app.open(Path("tune.musicxml"), Errand.DRILL)
            await seat.opened(number)
            await seat.pilot.pause()
        settle_memory()
        assert sum(one() is not None for one in drills) <= 1

    seated((80, 24), run)
