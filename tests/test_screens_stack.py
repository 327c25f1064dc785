"""Screens over screens: each closes itself alone, at any moment, in a terminal of any size."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest
from textual._compositor import Compositor
from textual.command import CommandList, CommandPalette
from textual.events import Key
from textual.geometry import Size
from textual.screen import Screen
from textual.strip import Strip
from textual.widgets import OptionList

from coach.playing.midi_events import KeyDown
from coach.score.model import Hands
from coach.screens.dialogs.dialog import NoticeScreen, TooSmallScreen
from coach.screens.dialogs.home import HomeScreen
from coach.screens.dialogs.opening import OpeningScreen
from coach.screens.drill.screen import DrillScreen
from coach.screens.interfaces import Errand, Start
from scripts.fuzz_app import run_round, warmed
from tests.breadth import every
from tests.screenfakes import FakeDrill, StillOpening, two_hands
from tests.seat import RIGHT, Seat, seated

DIALOGS = ["", "ctrl+p", "m", "t", "d", "w", "question_mark"]


def strike(seat: Seat, *keys: str) -> None:
    """Keys that come before anything has been made of the ones before."""
    for key in keys:
        seat.app.post_message(Key(key, key if len(key) == 1 else None))


def kinds(seat: Seat) -> list[type[Screen[Any]]]:
    return [type(screen) for screen in seat.app.screen_stack[1:]]


@pytest.mark.parametrize(
    "keys",
    [
        ["ctrl+p"] * 2,
        ["ctrl+p"] * 5,
        ["ctrl+p", "escape", "ctrl+p", "escape", "ctrl+p"],
        ["question_mark", "ctrl+p", "ctrl+p"],
        ["ctrl+p", "question_mark", "ctrl+p"],
        ["ctrl+p", "escape", "escape", "escape", "ctrl+p", "ctrl+p"],
    ],
    ids=" ".join,
)
def test_the_palette_is_there_once_whenever_it_is_asked_for(keys: list[str]) -> None:
    async def run(seat: Seat) -> None:
        seat.app.push_screen(NoticeScreen("Read this."))
        strike(seat, *keys)
        await seat.pilot.pause(0.05)
        strike(seat, *keys)
        await seat.pilot.pause(0.2)
        assert sum(issubclass(one, CommandPalette) for one in kinds(seat)) <= 1

    seated((80, 24), run)


def test_a_notice_over_the_palette_and_the_palette_asked_for_again() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("ctrl+p")
        seat.app.push_screen(NoticeScreen("Read this."))
        await seat.pilot.press("ctrl+p")
        await seat.pilot.pause()
        assert "Read this." in seat.text

    seated((80, 24), run)


@pytest.mark.parametrize("dialog", ["question_mark", "m", "d", "t", "ctrl+p"])
def test_two_quick_escapes_close_the_dialog_and_not_what_lies_under_it(dialog: str) -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press(dialog)
        dialog_screen = seat.app.screen
        dialog_screen.dismiss()
        dialog_screen.dismiss()
        await seat.pilot.pause(0.1)
        assert kinds(seat) == [HomeScreen, DrillScreen]

    seated((80, 24), run)


def test_enter_struck_twice_opens_a_piece_once() -> None:
    async def run(seat: Seat) -> None:
        await seat.until(HomeScreen)
        seat.app.open(Path("tune.musicxml"), Errand.DRILL)
        seat.app.open(Path("tune.musicxml"), Errand.DRILL)
        await seat.until(DrillScreen)
        await seat.pilot.pause(0.1)
        assert kinds(seat) == [HomeScreen, DrillScreen]

    assert len(seated((80, 24), run, start=Start()).errands) == 1


def test_a_score_that_opens_under_other_screens_takes_its_waiting_screen_along() -> None:
    async def run(seat: Seat) -> None:
        waits = StillOpening(Path("tune.musicxml"))
        seat.app.push_screen(waits)
        await seat.pilot.press("ctrl+p")
        seat.app.push_screen(NoticeScreen("Read this."))
        await seat.pilot.pause()
        seat.app._close_opening()
        await seat.pilot.pause(0.1)
        assert kinds(seat) == [HomeScreen, DrillScreen, NoticeScreen]
        assert "Read this." in seat.text

    seated((80, 24), run)


@pytest.mark.parametrize("dialog", every(2, DIALOGS))
def test_any_size_while_notes_come_and_all_is_back_in_a_large_one(dialog: str) -> None:
    """Each dialog at three of the sizes; every size comes with some of them."""
    drill = FakeDrill(two_hands(4), hands=Hands.TOGETHER)
    sizes = ((1, 1), (2, 1), (1, 60), (200, 1), (3, 3), (59, 18), (12, 40), (60, 17), (1, 2))

    async def run(seat: Seat) -> None:
        if dialog:
            await seat.pilot.press(dialog)
        stack = kinds(seat)
        for at, size in enumerate(sizes[DIALOGS.index(dialog) % 3 :: 3]):
            await seat.pilot.resize_terminal(*size)
            assert isinstance(seat.app.screen, TooSmallScreen)
            seat.staging.ports.post(KeyDown(RIGHT[at % 5], 64, float(at)))
            strike(seat, "ctrl+p", "escape", "d")
            await seat.pilot.pause(0.02)
            assert isinstance(seat.app.screen, TooSmallScreen)
        await seat.pilot.resize_terminal(80, 24)
        await seat.pilot.pause()
        assert kinds(seat) == stack

    seated((80, 24), run, drill=drill)


@pytest.mark.parametrize("size", [(1, 1), (2, 40), (200, 1)])
@pytest.mark.parametrize("piano", every(2, [True, False]))
def test_it_may_also_be_started_in_the_smallest_terminal(
    size: tuple[int, int], piano: bool
) -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.pause(0.3)
        assert isinstance(seat.app.screen, TooSmallScreen)
        await seat.pilot.resize_terminal(80, 24)
        for _ in range(300):
            if not isinstance(seat.app.screen, TooSmallScreen | OpeningScreen):
                break
            await asyncio.sleep(0.01)
        assert TooSmallScreen not in kinds(seat)
        assert DrillScreen in kinds(seat)

    seated(size, run, start=Start(Path("tune.musicxml")), piano=piano)


def test_what_is_said_while_the_terminal_is_too_small_is_there_to_be_read_afterwards() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.resize_terminal(20, 5)
        seat.app.push_screen(NoticeScreen("Read this."))
        await seat.pilot.pause()
        assert "too small" in seat.text.replace("\n", " ")
        await seat.pilot.resize_terminal(80, 24)
        await seat.pilot.pause()
        assert "Read this." in seat.text
        assert isinstance(seat.app.screen, NoticeScreen)

    seated((80, 24), run)


def test_random_evenings_end_nothing(tmp_path: Path) -> None:
    """A short run of ``scripts/fuzz_app.py``."""
    warm = warmed(tmp_path)
    assert run_round(7, 0, warm, steps=80) == []


def test_only_one_dialog_deep_is_looked_through(monkeypatch: pytest.MonkeyPatch) -> None:
    """Textual draws what lies under a dialog with it: over many it may never come to an end."""

    async def run(seat: Seat) -> None:
        drawn: set[int] = set()
        for number in range(8):
            seat.app.push_screen(NoticeScreen(f"Notice {number}."))
            await seat.pilot.press("ctrl+p")
        usual = Compositor.render_strips

        def noting(self: Compositor, size: Size | None = None) -> list[Strip]:
            drawn.add(id(self))
            return usual(self, size)

        monkeypatch.setattr(Compositor, "render_strips", noting)
        await seat.pilot.resize_terminal(100, 30)
        await seat.pilot.pause()
        assert len(drawn) <= 2
        assert "Notice 7." in seat.text

    seated((80, 24), run)


def test_keys_struck_before_the_drill_stands_or_after_it_is_left_come_to_nothing() -> None:
    async def run(seat: Seat) -> None:
        drill = seat.drill_screen
        await seat.pilot.press("escape")
        for action in ("home", "keyboard", "details", "request('SLOWER')"):
            await drill.run_action(action)
        await seat.pilot.pause()
        assert kinds(seat) == [HomeScreen]
        drill._is_left, drill._is_up = False, False
        assert not drill.check_action("keyboard", ())

    seated((80, 24), run)


def test_what_was_to_be_shown_later_comes_to_nothing_once_the_drill_is_left() -> None:
    async def run(seat: Seat) -> None:
        drill, shown = seat.drill_screen, list[str]()
        drill.set_timer(0.05, lambda: shown.append("once"))
        drill.set_interval(0.05, lambda: shown.append("again"))
        drill._call_while_there(lambda: shown.append("now"))
        await seat.pilot.press("escape")
        drill._call_while_there(lambda: shown.append("too late"))
        await asyncio.sleep(0.2)
        assert "too late" not in shown
        assert shown[0] == "now"

    seated((80, 24), run)


def test_a_drill_that_is_left_before_it_stands_shows_nothing() -> None:
    async def run(seat: Seat) -> None:
        drill = seat.drill_screen
        await seat.pilot.press("escape")
        await drill.query("*").remove()
        drill.on_mount()  # as where it comes after it was left
        assert drill not in seat.app.screen_stack

    seated((80, 24), run)


@pytest.mark.parametrize("key", ["page_up", "page_down"])
def test_a_list_may_be_asked_for_a_page_before_its_rows_are_counted(key: str) -> None:
    async def run(seat: Seat) -> None:
        choices = seat.app.screen_stack[1].query_one("#choices", OptionList)
        choices.clear_options()
        choices.add_options(["one", "two", "three"])
        choices.highlighted = 0
        getattr(choices, f"action_{key}")()
        assert choices.highlighted == (0 if key == "page_up" else 2)
        await seat.pilot.press("ctrl+p")
        await seat.pilot.pause(0.1)
        palette = seat.app.screen
        assert isinstance(palette, CommandPalette)
        palette.query_one(CommandList).add_options(["one", "two"])
        palette._action_command_list(key)

    seated((80, 24), run)


def test_a_palette_looks_for_its_parts_also_where_they_are_gone() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("ctrl+p")
        palette = seat.app.screen
        await palette.query("*").remove()
        assert palette.query_one(CommandList) is not None
        assert palette.query_one("#--input") is not None

    seated((80, 24), run)
