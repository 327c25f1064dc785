"""At the goal: what comes after it is asked for at the piano."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from coach.coaching.drill import DrillEvent, DrillState, SetAside
from coach.playing.midi_events import KeyDown, KeyEvent
from coach.score.model import Hands
from coach.score.window import Window
from coach.screens.dialogs import HomeScreen
from coach.screens.interfaces import Errand
from tests.screenfakes import FakeDrill, two_hands
from tests.seat import (
    RIGHT,
    SIZES,
    Seat,
    seated,
    top_line,
    words_of,
)


def going_on() -> tuple[FakeDrill, FakeDrill]:
    """A goal about to be reached, and what comes after it."""
    score = two_hands(4)
    return FakeDrill(score, required=1), FakeDrill(score, window=Window(F(8), F(16), Hands.RIGHT))


@pytest.mark.parametrize("size", SIZES)
def test_from_a_goal_the_lowest_key_of_the_piano_goes_on_to_the_next_bars(
    size: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coach.screens.drill.foot.READ_S", 0.05)
    first, then = going_on()

    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT)
        said = words_of(seat)
        assert "Your lowest key goes on to bars 3 to 4; or play this again." in said
        await seat.until_large("LOW KEY: ON")
        await seat.play(21)
        await seat.opened(2)
        assert "bars 3 to 4" in top_line(seat)
        assert seat.staging.left == 1

    seated(size, run, drill=first, after=then)


@pytest.mark.parametrize("size", SIZES)
def test_after_the_whole_piece_the_lowest_key_goes_home(
    size: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coach.screens.drill.foot.READ_S", 0.05)
    first, _ = going_on()

    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT)
        assert "Your lowest key goes home to your pieces; or play this again." in words_of(seat)
        await seat.until_large("LOW: HOME")
        await seat.play(21)
        await seat.until(HomeScreen)

    seated(size, run, drill=first)


def test_other_keys_at_the_goal_do_not_go_on_and_the_computer_s_key_for_on_does() -> None:
    first, then = going_on()

    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT)
        for pitch in (40, 61, 90):
            assert not seat.drill_screen.presenter.way_on.is_struck(pitch)
        await seat.pilot.press("n")
        await seat.opened(2)

    seated(SIZES[0], run, drill=first, after=then)


def test_the_lowest_key_asks_for_nothing_before_the_goal() -> None:
    async def run(seat: Seat) -> None:
        await seat.play(21)
        assert seat.staging.errands == [Errand.DRILL]

    first, then = going_on()
    seated(SIZES[0], run, drill=first, after=then)


class HearsAnOctaveOffAtTheGoal(FakeDrill):
    """Once its goal is reached, each key is one."""

    def hear(self, event: KeyEvent) -> tuple[DrillEvent, ...]:
        if self.state is not DrillState.FINISHED:
            return super().hear(event)
        said = SetAside("The right hand is an octave too high: move it down.")
        return (said,) if isinstance(event, KeyDown) else ()


def test_what_is_said_at_the_goal_gives_way_to_what_can_be_done_there(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Once there was time to read it."""
    monkeypatch.setattr("coach.screens.drill.foot.READ_S", 0.3)
    _, then = going_on()

    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT)
        await seat.play(72)
        assert "octave too high" in words_of(seat)
        await seat.until_said("Your lowest key")
        assert "octave too high" not in words_of(seat)
        await seat.until_large("LOW KEY: ON")

    seated(SIZES[0], run, drill=HearsAnOctaveOffAtTheGoal(two_hands(4), required=1), after=then)
