"""Painting at once."""

import asyncio

from textual.app import App, ComposeResult
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from coach.screens.painting import paint_now


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
