"""Breaks that are proposed."""

from __future__ import annotations

import pytest

from tests.screenfakes import FakeDrill, two_hands
from tests.seat import (
    RIGHT,
    SIZES,
    Seat,
    seated,
    words_of,
)

BREAK = (
    "You have played for 25 minutes: rest your hands for five minutes. "
    "If anything hurts, stop, and ask your teacher or a doctor."
)


@pytest.mark.parametrize("size", SIZES)
def test_a_break_is_proposed_beside_the_verdict_and_gone_after_the_next_repetition(
    size: tuple[int, int],
) -> None:
    drill = FakeDrill(two_hands(), required=9)
    drill.proposes = BREAK

    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT)
        assert seat.says_clean
        assert "rest your hands for" in words_of(seat)
        await seat.play(*RIGHT[:2])  # plays straight on: it has not been read yet
        assert "rest your hands for" in words_of(seat)
        await seat.play(*RIGHT[2:])
        assert "rest your hands" not in words_of(seat)
        assert "Play it as it is" in seat.text

    seated(size, run, drill=drill)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("answer", ["p", "n"])
def test_a_break_that_is_answered_is_not_proposed_any_longer(
    size: tuple[int, int], answer: str
) -> None:
    drill = FakeDrill(two_hands(), required=9)
    drill.proposes = BREAK

    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT)
        await seat.pilot.press(answer)
        await seat.pilot.pause()
        assert "rest your hands" not in words_of(seat)

    seated(size, run, drill=drill)


@pytest.mark.parametrize("size", SIZES)
def test_a_proposed_break_can_be_read_whole(size: tuple[int, int]) -> None:
    drill = FakeDrill(two_hands(), required=9)
    drill.proposes = BREAK

    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT)
        # What follows on the verdict's time in sight:
        seat.drill_screen.presenter.announcements._make_room()
        await seat.pilot.pause()
        assert BREAK in words_of(seat)

    seated(size, run, drill=drill)
