"""What was no repetition is said in the verdict's place, and stands there until it is read."""

from __future__ import annotations

import asyncio

import pytest

from coach.coaching.drill.drill_events import DrillState, RepetitionBegan, SetAside, StateChanged
from coach.judging.model import Instead
from tests.screenfakes import FakeDrill, two_hands
from tests.seat import RIGHT, SIZES, Seat, seated, words_of

LOW = "The left hand is an octave too low: move it up."


def set_aside(seat: Seat) -> None:
    """The drill says so, and is ready again."""
    seat.drill_screen.show([SetAside(LOW, what=Instead.OCTAVE), StateChanged(DrillState.READY)])


@pytest.mark.parametrize("size", SIZES)
def test_what_was_played_instead_is_written_large_and_in_words(size: tuple[int, int]) -> None:
    async def run(seat: Seat) -> None:
        set_aside(seat)
        await seat.until_large("OCTAVE")
        assert LOW in " ".join(words_of(seat).split())

    seated(size, run)


def test_it_stands_while_other_keys_are_tried_and_while_it_is_played_again() -> None:
    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT)  # a clean repetition before
        set_aside(seat)
        seat.drill_screen.presenter.announcements.name_key(61)
        seat.drill_screen.presenter.announcements.name_stray_key(61)
        await asyncio.sleep(0.1)
        seat.drill_screen.show([StateChanged(DrillState.PLAYING), RepetitionBegan(1.0)])
        await seat.pilot.pause()
        assert LOW in " ".join(words_of(seat).split())

    seated(SIZES[1], run)


def test_at_a_reached_goal_it_stands_until_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coach.screens.drill.foot.READ_S", 0.3)
    score = two_hands(4)
    first, then = FakeDrill(score, required=1), FakeDrill(score)

    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT)
        first.state = DrillState.READY
        set_aside(seat)
        await seat.pilot.pause()
        assert LOW in " ".join(words_of(seat).split())
        await asyncio.sleep(0.5)
        await seat.pilot.pause()
        assert "Your lowest key goes on" in words_of(seat)

    seated(SIZES[1], run, drill=first, after=then)
