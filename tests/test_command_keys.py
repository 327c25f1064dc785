"""Keys beyond the piece's range ask for something, and nothing else does."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

import pytest

from coach.coaching.model import Request
from coach.playing.command_keys import (
    ALONE_S,
    RANGES,
    REACH_SEMITONES,
    WHITE,
    CommandListener,
    PianoCommand,
    lay_command_keys,
)
from coach.playing.simulated.player import NOVICE, SimulatedPianist
from coach.score.pitch import HIGHEST_KEY, LOWEST_KEY
from coach.score.window import excerpt, whole_piece
from coach.screens.dialogs.texts import help_text
from coach.screens.keymap import COMMANDS, help_line, how_to_ask, key_beside_letters
from tests.live import SAMPLES, sample
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
        assert one.pitch <= lowest - REACH_SEMITONES or one.pitch >= highest + REACH_SEMITONES


def test_a_piece_that_needs_every_key_leaves_none() -> None:
    assert lay_command_keys(21, 108) == ()


def test_where_the_low_end_is_needed_the_high_end_serves() -> None:
    keys = lay_command_keys(30, 72)
    assert keys[0].pitch == 108
    assert keys[0].command is PianoCommand.HEAR


def test_nothing_fires_while_one_plays_or_by_several_keys_at_once() -> None:
    listener = CommandListener(lay_command_keys(60, 72))
    assert listener.hear(21, 10.0, is_playing=True) is None
    assert listener.hear(60, 20.0, is_playing=False) is None
    assert listener.hear(21, 20.0 + ALONE_S / 2, is_playing=False) is None
    assert listener.hear(21, 30.0, is_playing=False) is PianoCommand.HEAR


def test_a_hundred_thousand_notes_of_playing_fire_nothing() -> None:
    """The sample scores in every place of the keyboard, with slips, hands an octave off among them.

    As if nothing were ever followed: any key might be a command. With keys laid within an octave of
    the piece the same playing does fire some.
    """
    dice = Random(1)
    fired = too_near = count = 0
    while count < 100_000:
        name, by = dice.choice(SAMPLES), dice.randint(-24, 24)
        pitches = [note.pitch + by for note in sample(name).notes]
        if min(pitches) < LOWEST_KEY or max(pitches) > HIGHEST_KEY:
            continue
        size = dice.choice(list(RANGES))
        listener = CommandListener(lay_command_keys(min(pitches), max(pitches), size))
        near = CommandListener(lay_command_keys(min(pitches) + 7, max(pitches) - 7, size))
        for pitch, at_s in play_badly(name, by, dice):
            fired += listener.hear(pitch, at_s, is_playing=False) is not None
            too_near += near.hear(pitch, at_s, is_playing=False) is not None
            count += 1
    assert fired == 0
    assert too_near > 0


def play_badly(name: str, by: int, dice: Random) -> Iterator[tuple[int, float]]:
    """A novice plays a piece somewhere on the keyboard; now and then a key is struck an octave off,
    or comes only after a stop."""
    score = sample(name)
    player = SimulatedPianist(score, seed=dice.randint(0, 10**6), level=NOVICE)
    stopped_s = 0.0
    for note in player.play(excerpt(score, whole_piece(score)), None):
        stopped_s += 2.0 if dice.random() < 0.05 else 0.0
        off = dice.choice((-12, 12)) if dice.random() < 0.03 else 0
        if LOWEST_KEY <= (pitch := note.pitch + by + off) <= HIGHEST_KEY:
            yield pitch, note.onset_s + stopped_s


def test_the_screen_says_them_where_a_piano_is() -> None:
    said = help_line(110, piano=lay_command_keys(60, 72))
    assert said.startswith("your lowest A: hear  B: mine  C: slower  D: faster")
    assert said.endswith("? keys")


def test_the_help_names_them_and_where_they_lie() -> None:
    said = help_text(piano=lay_command_keys(60, 72))
    assert "your lowest A: hear" in said
    assert "lowest B: mine" in said
    assert "second lowest A" in said
    assert "your lowest A" not in help_text()


def test_every_command_has_a_key_while_the_letters_are_a_piano() -> None:
    for one in COMMANDS:
        assert key_beside_letters(one) in help_text()
        keys = [key for key in one.keys.split(",") if key not in ("question_mark", "space")]
        assert any(len(key) > 1 for key in keys), one.name


@pytest.mark.parametrize(
    ("lowest", "letters", "said"),
    [
        (60, False, "Strike your lowest A, or press h."),
        (30, False, "Strike your highest C, or press h."),
        (None, False, "Press h."),
        (None, True, "Press F11."),
    ],
)
def test_it_is_said_by_which_key_to_ask(lowest: int | None, letters: bool, said: str) -> None:
    keys = lay_command_keys(lowest, 72) if lowest else ()
    assert how_to_ask("hear", PianoCommand.HEAR, keys, letters=letters) == said


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
