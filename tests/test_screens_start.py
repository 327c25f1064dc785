"""Home, opening a score, and no piano."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from coach.playing.midi_events import OtherPianos, PianoFound, PianoLost
from coach.score.formats import ScoreError
from coach.score.model import Score
from coach.screens import demo
from coach.screens.dialogs.connect import ConnectScreen
from coach.screens.dialogs.dialog import NoticeScreen
from coach.screens.dialogs.home import HomeScreen
from coach.screens.dialogs.opening import OpeningScreen
from coach.screens.drill.screen import DrillScreen
from coach.screens.interfaces import Errand, Start
from tests.screenfakes import FakeDrill, Staging, two_hands
from tests.seat import (
    RIGHT,
    SIZES,
    Seat,
    seated,
    words_of,
)


@pytest.mark.parametrize("start", [None, Start()])
def test_the_piano_is_called_by_its_name(start: Start | None) -> None:
    async def run(seat: Seat) -> None:
        assert "Test piano\n" in f"{seat.text}\n"
        assert ":out" not in seat.text

    seated((80, 24), run, start=start)


def test_a_notice_at_the_start_waits_until_the_score_is_open(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def run(seat: Seat) -> None:
        await seat.until(NoticeScreen)
        assert [type(one) for one in seat.app.screen_stack][1:] == [
            HomeScreen,
            DrillScreen,
            NoticeScreen,
        ]
        await seat.pilot.press("enter", "escape")
        assert isinstance(seat.app.screen, HomeScreen)

    def slowly(self: Staging, *_: object) -> Score:
        time.sleep(0.2)
        return self.score

    monkeypatch.setattr(Staging, "_open", slowly)
    seated((80, 24), run, start=Start(Path("tune.musicxml")), notices=("The settings are gone.",))


@pytest.mark.parametrize("size", SIZES)
def test_home_offers_the_warm_up_first_then_the_last_piece(size: tuple[int, int]) -> None:
    async def run(seat: Seat) -> None:
        lines = [line.strip() for line in seat.text.splitlines()]
        offers = [line for line in lines if line.startswith(("Warm-up", "Fake tune", "Another"))]
        assert offers[0].startswith("Warm-up   2 weak spots")
        assert offers[1].startswith("Fake tune   go on")
        assert offers[2].startswith("Another score")
        assert "Pain means stop" in seat.text
        assert "What your teacher or your doctor tells you comes first." in seat.text
        await seat.pilot.press("down", "enter")
        await seat.until(DrillScreen)
        assert seat.staging.errands == [Errand.GO_ON]
        await seat.pilot.press("escape")
        assert isinstance(seat.app.screen, HomeScreen)

    assert seated(size, run, start=Start()).left == 1


def test_a_score_that_cannot_be_opened_is_said_in_its_own_sentence() -> None:
    async def run(seat: Seat) -> None:
        await seat.until(NoticeScreen)
        assert "broken.musicxml is empty; choose another file." in seat.text

    seated((80, 24), run, start=Start(Path("broken.musicxml")))


def test_without_ports_the_demo_and_the_letters_are_offered() -> None:
    async def run(seat: Seat) -> None:
        await seat.until(ConnectScreen)
        assert "Install libasound2" in seat.text
        assert "I notice it by myself" not in seat.text  # without MIDI nothing is noticed
        assert "demo" in seat.text
        await seat.pilot.press("down", "down", "enter")
        await seat.pilot.pause()
        await seat.pilot.press("q", "w", "e", "r", "w")  # C D E F D on the upper row
        await seat.pilot.pause()
        assert seat.clean_run == "1 of 3 clean"

    seated((80, 24), run, piano=False, ports=False)


def test_a_midi_system_that_goes_is_said_instead_of_a_piano_to_be_plugged_in(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("coach.screens.app.PIANO_WAIT_S", 1000.0)  # it is asked for nothing else

    async def run(seat: Seat) -> None:
        gone, post = "JACK has stopped: start it again.", seat.staging.ports.post
        post(PianoLost("Test piano", gone))
        await seat.pilot.pause()
        assert gone in seat.text
        assert "Plug it in" not in seat.text
        await seat.pilot.press("escape", "enter")  # another piece, meanwhile
        await seat.until(DrillScreen)
        assert gone in seat.text
        post(PianoLost("Test piano"))  # it is back, but the piano is not
        await seat.pilot.pause()
        assert gone not in seat.text
        assert "Plug it in" in seat.text
        post(PianoFound("Test piano"))
        await seat.pilot.pause()
        assert "play when ready" in seat.text

    seated((120, 40), run)


def test_a_port_that_is_not_there_is_said_with_those_that_are() -> None:
    async def run(seat: Seat) -> None:
        seat.app.collaborators = replace(seat.app.collaborators, port_wanted="organ")
        await seat.until(ConnectScreen)
        assert "No port has “organ” in its name. There is: Test piano." in seat.text

    seated((80, 24), run, start=Start(), piano=False)


@pytest.fixture
def _fast(monkeypatch: pytest.MonkeyPatch) -> None:
    """Slow, or far faster than anybody could watch: as few keys as can be, each waits long."""
    monkeypatch.setattr(demo, "SPEEDS", (0.25, 200.0))
    for name in ("presenter.HOLD_S", "foot.READ_S"):
        monkeypatch.setattr(f"coach.screens.drill.{name}", 0.05)


@pytest.mark.usefixtures("_fast")
def test_the_demo_says_that_its_player_is_simulated_and_plays_by_itself() -> None:
    async def run(seat: Seat) -> None:
        await seat.until(DrillScreen)
        assert "SIMULATED PLAYER" in seat.text
        for _ in range(200):
            if seat.staging.kept:
                break
            await asyncio.sleep(0.02)
        await seat.pilot.pause()
        assert seat.clean_run != "0 of 3 clean"

    start = Start(Path("tune.musicxml"), Errand.DEMO, demo_speed=200)
    assert seated((80, 24), run, start=start, piano=False).kept


@pytest.mark.usefixtures("_fast")
@pytest.mark.parametrize("way", ["piano", "k", "n"])
def test_once_the_demo_is_over_whoever_watched_plays_the_same_passage(way: str) -> None:
    async def run(seat: Seat) -> None:
        await seat.until(DrillScreen)
        if way == "piano":
            await seat.pilot.press("s")  # stops the player
            await seat.play(60)  # in the middle of the lesson it is theirs
            await seat.pilot.press("k")
            assert seat.drill_screen.is_demo
            await seat.pilot.press("]", "s")
        for _ in range(1000):
            if "Now you" in words_of(seat):
                break
            await asyncio.sleep(0.02)
        assert "Now you" in words_of(seat)
        if way == "piano":
            await seat.play(60)
        else:
            await seat.pilot.press(way)
        await seat.pilot.pause()
        assert not seat.drill_screen.is_demo
        assert seat.drill_screen.player.uses_letters is (way == "k")

    start = Start(Path("tune.musicxml"), Errand.DEMO, demo_speed=0.25 if way == "piano" else 200)
    after = FakeDrill(two_hands(), required=3)
    seated((120, 40), run, start=start, after=after, drill=FakeDrill(two_hands(), required=2))


@pytest.mark.parametrize("size", [(60, 18), *SIZES])
def test_while_a_long_score_is_read_it_says_for_how_long_and_how_to_give_up(
    size: tuple[int, int],
) -> None:
    def opener(
        path: Path,
        moves: Sequence[str],
        on_progress: Callable[[str], None],
        cancelled: Callable[[], bool],
    ) -> Score:
        on_progress("Reading tune.musicxml: 3 s")
        while not cancelled():
            time.sleep(0.01)
        raise ScoreError("Given up.")

    async def run(seat: Seat) -> None:
        await seat.until(HomeScreen)
        opening = OpeningScreen(opener, Path("tune.musicxml"), Errand.DRILL)
        await seat.app.push_screen(opening)
        for _ in range(500):
            await seat.pilot.pause()
            if "Reading tune.musicxml: 3 s" in seat.text:
                break
        assert "Reading tune.musicxml: 3 s" in seat.text
        assert "Esc: give up" in seat.text
        await seat.pilot.press("escape")
        await seat.until(HomeScreen)

    seated(size, run, start=Start())


def test_a_notice_at_the_start_goes_when_the_pianist_plays() -> None:
    async def run(seat: Seat) -> None:
        await seat.until(NoticeScreen)
        await seat.play(RIGHT[0])
        await seat.until(DrillScreen)

    seated(SIZES[0], run, start=Start(Path("tune.musicxml")), notices=("The record is locked.",))


@pytest.mark.parametrize("size", SIZES)
def test_home_says_which_of_two_pianos_is_heard_as_long_as_there_are_two(
    size: tuple[int, int],
) -> None:
    async def run(seat: Seat) -> None:
        seat.staging.ports.post(OtherPianos("Test piano:out", ("Organ",)))
        await seat.pilot.pause()
        assert "I hear Test piano. Organ is connected too" in seat.text
        assert "--port Organ" in " ".join(seat.text.split())
        seat.staging.ports.post(OtherPianos("Test piano:out", ()))
        await seat.pilot.pause()
        assert "Organ" not in seat.text

    seated(size, run, start=Start())


def test_a_second_piano_that_was_there_before_is_told_of_when_a_piece_is_opened() -> None:
    async def run(seat: Seat) -> None:
        seat.staging.ports.post(OtherPianos("Test piano:out", ("Organ",)))
        await seat.pilot.pause()
        seat.app.open(Path("tune.musicxml"), Errand.DRILL)
        await seat.opened(1)
        await seat.pilot.pause()
        assert "Organ is connected too" in seat.text

    seated((80, 24), run, start=Start())


def test_why_there_is_no_midi_stands_on_the_drill_screen_too() -> None:
    async def run(seat: Seat) -> None:
        await seat.until(ConnectScreen)
        await seat.pilot.press("escape")
        await seat.pilot.pause()
        assert "Install libasound2 to use a piano." in seat.text
        assert "Plug it in" not in seat.text

    seated((80, 24), run, piano=False, ports=False)


@pytest.mark.parametrize("size", SIZES)
def test_that_there_is_no_piano_stands_once_in_small_letters(size: tuple[int, int]) -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("enter")  # look at the piece without one
        await seat.until(DrillScreen)
        assert seat.text.count("no piano") == 1

    seated(size, run, piano=False, ports=False)
