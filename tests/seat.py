"""A seat at the running app, for tests of the screens: keys of the piano, and what is seen."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any, Unpack

from textual.pilot import Pilot
from textual.screen import Screen

from coach.playing.midi_events import KeyDown, KeyUp, PianoFound
from coach.screens.app import KeyholeApp
from coach.screens.big_letters import big
from coach.screens.dialogs.connect import ConnectScreen
from coach.screens.drill.screen import DrillScreen
from coach.screens.interfaces import Settings, Start
from coach.screens.staff import Sheet
from coach.screens.widgets.result import CleanRun
from coach.screens.widgets.staff_view import StaffView
from tests.screenfakes import Staging, StagingOptions

SIZES = [(80, 24), (120, 40)]


RIGHT = (60, 62, 64, 65, 62)


WRONG = (60, 62, 66, 65, 62)


def text_of(app: KeyholeApp) -> str:
    """What is on the screen, as text. A private name of Textual's, used here only."""
    return "\n".join(strip.text.rstrip() for strip in app.screen._compositor.render_strips())


class Seat:
    """A running app at a fake piano."""

    def __init__(self, app: KeyholeApp, staging: Staging, pilot: Pilot[None]) -> None:
        self.app, self.staging, self.pilot = app, staging, pilot

    @property
    def drill_screen(self) -> DrillScreen:
        """The drill's screen, also where something stands over it."""
        assert self.app.drill
        return self.app.drill

    @property
    def staff(self) -> StaffView:
        """The staff on the screen."""
        return self.app.screen.query_one("#staff", StaffView)

    @property
    def clean_run(self) -> str:
        """The words of the clean run."""
        return self.app.screen.query_one("#clean-run", CleanRun).words

    @property
    def sheet(self) -> Sheet:
        """What is drawn on the staff."""
        assert self.staff.sheet
        return self.staff.sheet

    @property
    def says_clean(self) -> bool:
        """Whether ``Clean`` stands there, in large letters or in words."""
        return "Clean" in self.text or self.is_large("CLEAN")

    async def play(self, *pitches: int) -> None:
        for at, pitch in enumerate(pitches):
            self.staging.ports.post(KeyDown(pitch, 64, 0.5 * at))
            self.staging.ports.post(KeyUp(pitch, 0.5 * at + 0.4))
        await asyncio.sleep(0)  # the inbox hands over
        await self.pilot.pause()

    async def until(self, screen: type[Screen[Any]]) -> None:
        for _ in range(1000):  # a busy machine takes its time
            if isinstance(self.app.screen, screen):
                await self.pilot.pause()
                return
            await asyncio.sleep(0.01)
        raise AssertionError(f"still at {self.app.screen}")

    async def until_ended(self) -> None:
        for _ in range(1000):  # a busy machine takes its time
            if not self.app.is_running:
                return
            await asyncio.sleep(0.01)
        raise AssertionError(f"still at {self.app.screen}")

    async def opened(self, times: int) -> None:
        """Wait until a piece has been opened so many times."""
        for _ in range(1000):  # a busy machine takes its time
            if len(self.staging.errands) == times:
                return await self.until(DrillScreen)
            await asyncio.sleep(0.01)
        raise AssertionError(f"opened for {self.staging.errands}")

    async def until_said(self, words: str) -> None:
        for _ in range(300):  # a busy machine takes its time
            if words in self.text:
                return
            await asyncio.sleep(0.01)
        raise AssertionError(self.text)

    async def until_large(self, words: str) -> None:
        for _ in range(300):  # a busy machine takes its time
            if self.is_large(words):
                return
            await asyncio.sleep(0.01)
        raise AssertionError(self.text)

    def is_large(self, words: str, *, plain: bool = False) -> bool:
        """Whether it is on the screen in large letters."""
        lines = self.text.splitlines()
        for tall in (False, True):
            rows = [row.rstrip() for row in big(words, tall=tall, plain=plain)]
            rows = rows[: len(rows) if tall else 3]
            for at, line in enumerate(lines):
                for column in range(len(line)):
                    under = [one[column:] for one in lines[at : at + len(rows)]]
                    if all(map(str.startswith, under, rows)) and len(under) == len(rows):
                        return True
        return False

    @property
    def text(self) -> str:
        return text_of(self.app)


def seated(
    size: tuple[int, int],
    run: Callable[[Seat], Awaitable[None]],
    *,
    start: Start | None = None,
    settings: Settings | None = None,
    piano: bool = True,
    **how: Unpack[StagingOptions],
) -> Staging:
    """Run ``run(seat)`` in an app of this size, with a piano unless told otherwise."""

    async def main() -> Staging:
        staging = Staging(**how)
        app = KeyholeApp(staging.given, settings, start or Start(Path("tune.musicxml")))
        async with app.run_test(size=size) as pilot:
            seat = Seat(app, staging, pilot)
            if piano:
                staging.ports.post(PianoFound("Test piano:out"))
            if start is None:
                await seat.until(DrillScreen if piano else ConnectScreen)
            await pilot.pause()
            await run(seat)
        return staging

    return asyncio.run(main())


def words_of(seat: Seat) -> str:
    """The verdict and the reason, as far as they are shown."""
    lines = [seat.app.screen.query_one(name) for name in ("#verdict", "#reason")]
    return " ".join(str(line.render()) for line in lines if line.display)


def top_line(seat: Seat) -> str:
    return str(seat.app.screen.query_one("#assignment").render())


def strip_line(seat: Seat) -> str:
    return str(seat.app.screen.query_one("#strip").render())


def reason_line(seat: Seat) -> str:
    return str(seat.app.screen.query_one("#reason").render())


def line_of(seat: Seat, words: str) -> str:
    """The line of the screen with these words in it."""
    return next(line for line in seat.text.splitlines() if words in line)
