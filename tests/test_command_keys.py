"""Keys beyond the piece's range ask for something, and nothing else does."""

from __future__ import annotations

from random import Random

import pytest

from coach.coaching.model import Request
from coach.playing.command_keys import (
    ALONE_S,
    RANGES,
    WHITE,
    CommandListener,
    PianoCommand,
    lay_command_keys,
)
from coach.playing.end_key import CLEAR_SEMITONES
from coach.screens.keymap import help_line
from tests.screenfakes import FakeClick, FakeDrill
from tests.seat import RIGHT, Seat, seated


def test_they_lie_side_by_side_from_the_lowest_key() -> None:
    keys = lay_command_keys(60, 72)
    assert [one.command for one in keys] == list(PianoCommand)
    assert [(one.name, one.pitch) for one in keys[:4]] == [
        ("A", 21),
        ("B", 23),
        ("C", 24),
        ("D", 26),
    ]


@pytest.mark.parametrize("size", RANGES)
@pytest.mark.parametrize(
    ("lowest", "highest"), [(60, 72), (36, 84), (21, 108), (28, 60), (48, 103)]
)
def test_none_lies_within_reach_of_the_piece(size: int, lowest: int, highest: int) -> None:
    first, last = RANGES[size]
    for one in lay_command_keys(lowest, highest, size):
        assert first <= one.pitch <= last
        assert one.pitch % 12 in WHITE
        assert one.pitch <= lowest - CLEAR_SEMITONES or one.pitch >= highest + CLEAR_SEMITONES


def test_a_piece_that_needs_every_key_leaves_none() -> None:
    assert lay_command_keys(21, 108) == ()


def test_where_the_low_end_is_needed_the_high_end_serves() -> None:
    keys = lay_command_keys(24, 72)
    assert keys[0].pitch == 108
    assert keys[0].command is PianoCommand.HEAR


def test_nothing_fires_while_one_plays_or_by_several_keys_at_once() -> None:
    listener = CommandListener(lay_command_keys(60, 72))
    assert listener.hear(21, 10.0, is_playing=True) is None
    assert listener.hear(60, 20.0, is_playing=False) is None
    assert listener.hear(21, 20.0 + ALONE_S / 2, is_playing=False) is None
    assert listener.hear(21, 30.0, is_playing=False) is PianoCommand.HEAR


@pytest.mark.parametrize("seed", range(3))
def test_a_hundred_thousand_notes_of_playing_fire_nothing(seed: int) -> None:
    """Slips go two keys off at most; now and then the player stops, and begins anew."""
    dice = Random(seed)
    lowest, highest = 41, 79
    listener = CommandListener(lay_command_keys(lowest, highest))
    at_s, is_playing = 0.0, False
    for _ in range(100_000):
        at_s += dice.choice((0.0, 0.05, 0.3, 2.0))
        pitch = dice.randint(lowest, highest) + dice.choice((0, 0, 0, -2, 2, 1))
        assert listener.hear(pitch, at_s, is_playing=is_playing) is None
        is_playing = dice.random() < 0.9


def test_the_screen_says_them_where_a_piano_is() -> None:
    said = help_line(110, piano=lay_command_keys(60, 72))
    assert said.startswith("your lowest A: hear  B: mine  C: slower  D: faster")
    assert said.endswith("? keys")


def test_they_are_obeyed_at_the_piano_and_are_no_music() -> None:
    click = FakeClick()

    async def run(seat: Seat) -> None:
        assert "your lowest A: hear" in seat.text
        await seat.play(21)
        assert [one[1] for _, one in click.played if one[0] == 0x90] == list(RIGHT)
        assert "heard: A" not in seat.text
        await seat.play(*RIGHT)
        assert seat.clean_run == "1 of 3 clean"
        seat.drill_screen._commands._last_s = -10.0  # some time has passed
        await seat.play(24)
        assert isinstance(seat.staging.drill, FakeDrill)
        assert seat.staging.drill.asked == [Request.SLOWER]

    seated((120, 40), run, click=click)
