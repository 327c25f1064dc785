"""Painting at once: what is written by itself is what Textual would paint."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Awaitable, Callable
from fractions import Fraction as F
from pathlib import Path

import pytest
from textual.app import App, ComposeResult
from textual.drivers.headless_driver import HeadlessDriver
from textual.geometry import Region
from textual.pilot import Pilot
from textual.strip import Strip
from textual.widget import Widget

from coach.playing.midi_events import KeyDown, PianoFound
from coach.score.model import Hands
from coach.score.window import Window
from coach.screens.app import KeyholeApp
from coach.screens.drill.screen import DrillScreen
from coach.screens.interfaces import Start
from coach.screens.marks import MarkKind
from coach.screens.terminal import painter as painting
from coach.screens.terminal.painter import paint_now
from coach.screens.widgets.staff_view import StaffView
from tests.breadth import every
from tests.glass import Glass, textuals_own
from tests.screenfakes import FakeDrill, Staging, two_hands

SIZES = [(120, 40), (80, 24)]
BARS = 12
"""More than a page of either size holds."""


class Lamp(Widget):
    """One cell that changes."""

    drawn = 0

    def render_line(self, y: int) -> Strip:
        self.drawn += 1
        return Strip.blank(self.size.width)


class Room(App[None]):
    def compose(self) -> ComposeResult:
        yield Lamp()


def test_what_is_to_be_repainted_is_painted_before_anything_else_runs() -> None:
    drawn: list[int] = []

    async def paint() -> None:
        app = Room()
        async with app.run_test(size=(20, 5)) as pilot:
            await pilot.pause()
            lamp = app.query_one(Lamp)
            lamp.drawn = 0
            lamp.refresh(Region(0, 0, 1, 1))
            drawn.append(lamp.drawn)
            paint_now(lamp)
            drawn.append(lamp.drawn)
            await pilot.pause()
            drawn.append(lamp.drawn)

    asyncio.run(paint())
    assert drawn == [0, 1, 1]  # Textual's own way is later; and nothing is painted twice


class Seat:
    """The program at a terminal whose cells can be read, in the middle of a long window."""

    def __init__(self, app: KeyholeApp, staging: Staging, pilot: Pilot[None], glass: Glass) -> None:
        self.app, self.staging, self.pilot, self.glass = app, staging, pilot, glass

    @property
    def staff(self) -> StaffView:
        return self.app.screen_stack[-1].query_one(StaffView)

    async def play(self, *pitches: int) -> None:
        for pitch in pitches:
            self.staging.ports.post(KeyDown(pitch, 64, 0.0))
        await asyncio.sleep(0)

    async def settle(self) -> None:
        await self.pilot.pause(0.04)

    def is_true(self) -> bool:
        """Whether what is in sight is what Textual would paint anew."""
        return not self.glass.differences(textuals_own(self.app))

    def assert_true(self) -> None:
        """What is in sight is what Textual would paint anew."""
        assert self.glass.differences(textuals_own(self.app)) == {}


@pytest.fixture
def at_the_piano(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Runs ``run(seat)`` in the program, at a terminal of some size that keeps its cells."""
    glass = Glass()
    monkeypatch.setattr(HeadlessDriver, "is_headless", False)
    monkeypatch.setattr(HeadlessDriver, "write", lambda driver, text: glass.write(text))

    def seated(size: tuple[int, int], run: Callable[[Seat], Awaitable[None]]) -> None:
        async def main() -> None:
            score = two_hands(BARS)
            staging = Staging(
                drill=FakeDrill(score, window=Window(F(0), F(4 * BARS), Hands.TOGETHER))
            )
            app = KeyholeApp(staging.given, None, Start(Path("tune.musicxml")))
            async with app.run_test(size=size, notifications=True) as pilot:
                staging.ports.post(PianoFound("Test piano"))
                for _ in range(100):
                    await pilot.pause(0.01)
                    if isinstance(app.screen, DrillScreen):
                        break
                seat = Seat(app, staging, pilot, glass)
                await seat.play(60)  # begun: from here on only marks change
                await seat.settle()
                await run(seat)

        asyncio.run(main())

    return seated


AtThePiano = Callable[[tuple[int, int], Callable[[Seat], Awaitable[None]]], None]


@pytest.mark.parametrize("size", SIZES)
def test_a_mark_is_written_at_once_and_alone_and_as_textual_would(
    size: tuple[int, int], at_the_piano: AtThePiano
) -> None:
    async def run(seat: Seat) -> None:
        for pitch in (48, 62, 61, 43):  # the third is wrong
            before = len(seat.glass.writes)
            await seat.play(pitch)
            (written,) = seat.glass.writes[before:]
            assert 20 < len(written) < 400
            await seat.settle()
        seat.assert_true()
        seat.app.screen.refresh()
        await seat.settle()
        seat.assert_true()

    at_the_piano(size, run)


@pytest.mark.parametrize("size", SIZES)
def test_a_mark_taken_back_leaves_nothing_behind(
    size: tuple[int, int], at_the_piano: AtThePiano
) -> None:
    async def run(seat: Seat) -> None:
        untouched = dict(seat.glass.cells)
        seat.staff.mark({3: MarkKind.WRONG, 4: MarkKind.RIGHT})
        assert seat.glass.cells != untouched
        seat.staff.mark({3: None, 4: None})
        assert seat.glass.cells == untouched
        seat.assert_true()

    at_the_piano(size, run)


async def _help(seat: Seat) -> None:
    await seat.pilot.press("question_mark")


async def _toast(seat: Seat) -> None:
    rows = seat.app.size.height - 6  # as tall as the staff
    seat.app.notify("Have a break.\n" * rows, title="A proposal", timeout=60)
    await seat.settle()


async def _layout_to_come(seat: Seat) -> None:
    seat.staff.refresh(layout=True)


async def _another_size(seat: Seat) -> None:
    await seat.pilot.resize_terminal(100, 30)


async def _page_turned(seat: Seat) -> None:
    seat.staff.turn(1)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    "happens", every(2, [_help, _toast, _layout_to_come, _another_size, _page_turned])
)
def test_a_mark_never_shows_through_what_is_over_the_staff_or_is_about_to_move(
    size: tuple[int, int],
    happens: Callable[[Seat], Awaitable[None]],
    at_the_piano: AtThePiano,
) -> None:
    async def run(seat: Seat) -> None:
        staff = seat.staff
        await happens(seat)
        notes = range(len(seat.staging.drill.excerpt.notes))
        here = [note for note in notes if staff._shown and staff._shown.cells_of([note])]
        here = here[:-3:3]  # at the last onset the page would turn
        staff.mark(dict.fromkeys(here, MarkKind.LATE))
        await asyncio.sleep(0)
        seat.glass.writes.clear()
        staff.mark(dict.fromkeys(here, MarkKind.WRONG))
        if happens is _help:
            assert seat.glass.writes == []
        elif happens is _toast:
            seat.assert_true()
        await seat.settle()
        seat.assert_true()
        await seat.pilot.press("escape")
        await seat.settle()
        seat.assert_true()
        assert any(char == "W" for char, _ in seat.glass.cells.values())

    at_the_piano(size, run)


@pytest.mark.parametrize(("size", "seed"), zip(SIZES, (1, 2), strict=True))
def test_whatever_happens_in_whatever_order_the_terminal_shows_what_textual_would(
    size: tuple[int, int], seed: int, at_the_piano: AtThePiano
) -> None:
    chance = random.Random(seed)
    marks = [*MarkKind, None]

    async def step(seat: Seat) -> None:
        staff = next(s for s in seat.app.screen_stack if isinstance(s, DrillScreen)).presenter.staff
        notes = chance.sample(range(len(seat.staging.drill.excerpt.notes)), 6)
        match chance.randrange(10):
            case 0:
                at_the_drill = isinstance(seat.app.screen, DrillScreen)
                await seat.pilot.press("question_mark" if at_the_drill else "escape")
            case 1:
                await seat.pilot.resize_terminal(*chance.choice([(120, 40), (80, 24), (100, 30)]))
                seat.glass.cells.clear()  # what was written before is scrambled
                seat.app.screen.refresh()
            case 2:
                seat.app.theme = chance.choice(["textual-dark", "textual-light", "nord"])
            case 3:
                staff.mark_all({note: chance.choice(list(MarkKind)) for note in notes})
            case 4:
                staff.turn(chance.choice([-1, 1]))
            case 5:
                seat.app.notify("Have a break.\n" * 15, timeout=chance.choice([0.1, 9]))
            case _:
                staff.mark({note: chance.choice(marks) for note in notes})

    async def run(seat: Seat) -> None:
        for _ in range(30):
            await step(seat)
            if chance.random() < 0.5:
                await asyncio.sleep(chance.choice([0, 0.003]))
            else:
                await seat.settle()
                if not seat.is_true():  # what was told for a moment goes just now
                    await asyncio.sleep(0.3)
                    await seat.settle()
                seat.assert_true()

    at_the_piano(size, run)


def test_with_another_textual_marks_are_painted_in_its_own_time(
    at_the_piano: AtThePiano, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def run(seat: Seat) -> None:
        names = {kind: f"{names} _not_there" for kind, names in painting._NAMES.items()}
        monkeypatch.setattr(painting, "_NAMES", names)
        monkeypatch.setattr(painting, "_known", set())
        before = len(seat.glass.writes)
        seat.staff.mark({3: MarkKind.WRONG})
        assert len(seat.glass.writes) == before
        await seat.settle()
        seat.assert_true()
        assert any(char == "W" for char, _ in seat.glass.cells.values())

    at_the_piano((120, 40), run)
