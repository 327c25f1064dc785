"""Keys beyond the piece's range ask for something, the one at the edge to go on; no other does."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction as F
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.model import Request
from coach.playing.command_keys import (
    ALONE_S,
    RANGES,
    WHITE,
    CommandListener,
    Edge,
    ListKeys,
    ListStep,
    PianoCommand,
    Trigger,
    TriggerKind,
    is_at_an_end,
    lay_command_keys,
    leave_out_music,
    trigger_of,
)
from coach.playing.midi_events import ButtonDown, KeyDown, Pedal
from coach.playing.simulated.player import NOVICE, SimulatedPianist
from coach.score.build import score_from_notes
from coach.score.model import Direction
from coach.score.pitch import HIGHEST_KEY, LOWEST_KEY
from coach.score.window import excerpt, whole_piece
from coach.screens.dialogs.click import ClickScreen
from coach.screens.dialogs.commands import LearnScreen
from coach.screens.dialogs.dialog import Choices
from coach.screens.dialogs.home import FindScreen, HomeScreen
from coach.screens.dialogs.texts import help_text
from coach.screens.drill.screen import DrillScreen
from coach.screens.interfaces import Settings, Start
from coach.screens.keymap import COMMANDS, help_line, how_to_ask, key_beside_letters
from tests.live import SAMPLES, sample
from tests.screenfakes import FakeClick, FakeDrill, two_hands
from tests.seat import RIGHT, Seat, seated

Given = KeyDown | Pedal | ButtonDown


def down(pitch: int, at_s: float) -> KeyDown:
    return KeyDown(pitch, 64, at_s)


def test_they_lie_side_by_side_from_the_lowest_key() -> None:
    keys = lay_command_keys(60, 72)
    assert [*(one.command for one in keys), PianoCommand.MORE] == list(PianoCommand)
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
        assert one.pitch <= lowest - 15 or one.pitch >= highest + 15


def test_a_piece_that_needs_every_key_leaves_none() -> None:
    assert lay_command_keys(21, 108) == ()


def test_where_the_low_end_is_needed_the_high_end_serves() -> None:
    keys = lay_command_keys(30, 72)
    assert keys[0].pitch == 108
    assert keys[0].command is PianoCommand.HEAR


def test_nothing_fires_while_one_plays_or_by_several_keys_at_once() -> None:
    listener = CommandListener(lay_command_keys(60, 72))
    assert listener.hear(down(21, 10.0), is_playing=True) is None
    assert listener.hear(down(60, 20.0), is_playing=False) is None
    assert listener.hear(down(21, 20.39), is_playing=False) is None
    assert listener.hear(down(21, 20.8), is_playing=False) is PianoCommand.HEAR
    assert listener.hear(down(21, 30.0), is_playing=False) is PianoCommand.HEAR


def test_fifty_thousand_notes_of_playing_fire_nothing() -> None:
    """The sample scores in every place of the keyboard, with slips, hands an octave off among them.

    As if nothing were ever followed: any key might be a command. With keys laid within an octave of
    the piece the same playing does fire some.
    """
    dice = Random(1)
    fired = too_near = count = 0
    while count < 50_000:
        name, by = dice.choice(SAMPLES), dice.randint(-24, 24)
        pitches = [note.pitch + by for note in sample(name).notes]
        if min(pitches) < LOWEST_KEY or max(pitches) > HIGHEST_KEY:
            continue
        size = dice.choice(list(RANGES))
        listener = CommandListener(lay_command_keys(min(pitches), max(pitches), size))
        near = CommandListener(lay_command_keys(min(pitches) + 7, max(pitches) - 7, size))
        for pitch, at_s in play_badly(name, by, dice):
            fired += listener.hear(down(pitch, at_s), is_playing=False) is not None
            too_near += near.hear(down(pitch, at_s), is_playing=False) is not None
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


@pytest.mark.parametrize(
    ("lowest", "asked"),
    [
        (36, [PianoCommand.MORE]),
        (38, [PianoCommand.HEAR, PianoCommand.MORE]),
        (39, [PianoCommand.HEAR, PianoCommand.HEAR_MINE, PianoCommand.MORE]),
    ],
)
def test_where_few_keys_are_free_the_last_of_them_leads_to_all(
    lowest: int, asked: list[PianoCommand]
) -> None:
    assert [one.command for one in lay_command_keys(lowest, 100)] == asked


def test_a_pedal_or_button_asks_once_when_it_goes_down_and_not_while_one_plays() -> None:
    left, button = Trigger(TriggerKind.PEDAL, 67), Trigger(TriggerKind.BUTTON, 20)
    bound = {left: PianoCommand.NEXT, button: PianoCommand.HEAR}
    listener = CommandListener((), bound)
    moves = [Pedal(67, value, 1.0) for value in (20, 64, 100, 127, 30, 0, 90)]
    heard = [listener.hear(move, is_playing=False) for move in moves]
    assert [one for one in heard if one] == [PianoCommand.NEXT] * 2
    assert listener.hear(ButtonDown(20, 2.0), is_playing=False) is PianoCommand.HEAR
    assert listener.hear(ButtonDown(20, 2.0), is_playing=True) is None
    assert listener.hear(down(60, 3.0), is_playing=False) is None
    assert listener.hear(Pedal(67, 0, 3.1), is_playing=False) is None
    assert listener.hear(Pedal(67, 127, 3.2), is_playing=False) is None  # right after a key


def test_the_right_pedal_can_not_be_chosen() -> None:
    assert trigger_of(Pedal(64, 127, 0.0)) is None
    assert trigger_of(Pedal(66, 127, 0.0)) == Trigger(TriggerKind.PEDAL, 66)


def test_what_was_chosen_is_kept_as_words() -> None:
    for kept in ("key 21", "pedal 67", "button 130"):
        trigger = Trigger.read(kept)
        assert trigger
        assert str(trigger) == kept
    for damaged in ("", "key", "key x", "foot 3", "key -1"):
        assert Trigger.read(damaged) is None


@pytest.mark.outside
@pytest.mark.parametrize(("words", "left"), [("una corda", False), ("dolce", True)])
def test_the_music_takes_its_keys_and_its_pedal_back(words: str, left: bool) -> None:
    """Common practice: una corda asks for the left pedal."""
    score = score_from_notes([{"pitch": 60, "onset": 0, "length": 1, "hand": "RH"}])
    score = replace(score, directions=(Direction(F(0), 1, words),))
    bound = {
        Trigger(TriggerKind.KEY, 60 - 15): PianoCommand.HEAR,
        Trigger(TriggerKind.KEY, 61 - 15): PianoCommand.AGAIN,
        Trigger(TriggerKind.PEDAL, 67): PianoCommand.NEXT,
    }
    kept = leave_out_music(bound, score)
    assert PianoCommand.HEAR in kept.values()
    assert PianoCommand.AGAIN not in kept.values()
    assert (PianoCommand.NEXT in kept.values()) is left


def test_five_hundred_of_five_hundred_commands_are_heard() -> None:
    """Between repetitions, with the hands off: keys, pedals and buttons."""
    dice = Random(5)
    keys = lay_command_keys(60, 72)
    pedal, button = Trigger(TriggerKind.PEDAL, 66), Trigger(TriggerKind.BUTTON, 22)
    listener = CommandListener(keys, {pedal: PianoCommand.NEXT, button: PianoCommand.PAUSE})
    at_s, heard = 0.0, 0
    for _ in range(500):
        for pitch in (60, 64, 67):
            listener.hear(down(pitch, at_s), is_playing=True)
        at_s += dice.uniform(ALONE_S, 3.0)
        struck = [down(one.pitch, at_s) for one in keys]
        choices: list[Given] = [*struck, Pedal(66, 127, at_s), ButtonDown(22, at_s)]
        given = dice.choice(choices)
        heard += listener.hear(given, is_playing=False) is not None
        listener.hear(Pedal(66, 0, at_s), is_playing=False)
        at_s += 1.0
    assert heard == 500


def test_a_list_is_led_by_the_lowest_keys_and_not_by_trying_the_piano_out() -> None:
    keys = ListKeys(61, {Trigger(TriggerKind.PEDAL, 66): PianoCommand.NEXT})
    assert [keys.hear(down(pitch, 1.0)) for pitch in (36, 38, 38, 40, 41)] == [
        ListStep.CHOOSE, ListStep.DOWN, ListStep.DOWN, ListStep.UP, ListStep.BACK,
    ]  # fmt: skip
    assert keys.hear(down(60, 2.0)) is None
    assert keys.hear(down(36, 2.5)) is None
    assert keys.hear(down(36, 3.5)) is ListStep.CHOOSE
    assert keys.hear(Pedal(66, 127, 9.0)) is ListStep.DOWN


def test_on_the_screen_one_key_leads_to_all_and_the_next_chooses() -> None:
    drill = FakeDrill(two_hands())

    async def run(seat: Seat) -> None:
        seat.drill_screen.obey(PianoCommand.MORE)
        await seat.pilot.pause()
        assert "your lowest A" in seat.text
        assert "not this" in seat.text
        seat.app._list_keys._other_s = -10.0
        await seat.play(24)  # C: slower
        assert drill.asked == [Request.SLOWER]
        seat.drill_screen.obey(PianoCommand.MORE)
        await seat.pilot.pause()
        await seat.play(60)  # music
        assert isinstance(seat.app.screen, DrillScreen)
        assert len(drill.struck) == 1

    seated((80, 24), run, drill=drill)


def test_home_and_a_finder_are_led_from_the_piano() -> None:
    async def run(seat: Seat) -> None:
        await seat.until(HomeScreen)
        await asyncio.sleep(0.1)
        assert "your lowest A: choose" in seat.text
        choices = seat.app.screen.query_one("#choices", Choices)
        await seat.play(23)
        assert choices.highlighted == 1
        await seat.play(24)
        assert choices.highlighted == 0
        for _ in range(3):
            await seat.play(23)
        await seat.play(21)  # another score …
        await seat.until(FindScreen)
        await seat.play(26)  # back
        await seat.until(HomeScreen)
        await seat.play(21)
        await seat.opened(1)

    seated((80, 24), run, start=Start())


def test_what_is_not_a_piece_is_at_the_end_of_homes_list_and_led_to_from_the_piano() -> None:
    async def run(seat: Seat) -> None:
        for words in ("Set the piano up", "The click", "own", "That is all for today"):
            assert words in seat.text
        await seat.pilot.press("end", "up", "up")
        await seat.play(21)
        await seat.until(ClickScreen)
        await seat.play(26)
        await seat.until(HomeScreen)
        await seat.pilot.press("u")
        await seat.until(LearnScreen)
        await seat.pilot.press("enter")
        assert "near either end" in seat.text
        await seat.play(60)
        assert "The music needs" in seat.text
        seat.staging.ports.post(Pedal(66, 127, 5.0))
        await seat.until(HomeScreen)
        bound = {Trigger(TriggerKind.PEDAL, 66): PianoCommand.HEAR}
        assert seat.app.settings.bound == {**kept, **bound}

    kept = {Trigger(TriggerKind.PEDAL, 67): PianoCommand.NEXT}
    seated((80, 24), run, start=Start(), settings=Settings(bound=kept))


def test_a_pedal_that_was_chosen_asks_in_the_drill() -> None:
    drill = FakeDrill(two_hands())
    bound = {Trigger(TriggerKind.PEDAL, 67): PianoCommand.NEXT}

    async def run(seat: Seat) -> None:
        seat.staging.ports.post(Pedal(67, 127, 5.0))
        await asyncio.sleep(0)
        await seat.pilot.pause()
        assert drill.asked == [Request.NEXT]

    seated((80, 24), run, drill=drill, settings=Settings(bound=bound))


def test_a_command_is_learnt_by_example_and_the_music_keeps_its_keys() -> None:
    drill = FakeDrill(two_hands())

    async def run(seat: Seat) -> None:
        await seat.pilot.press("u")
        await seat.until(LearnScreen)
        again = list(PianoCommand).index(PianoCommand.AGAIN)
        await seat.pilot.press(*["down"] * again, "enter")
        assert "what shall mean “again”" in seat.text
        seat.staging.ports.post(Pedal(64, 127, 1.0))  # the right pedal never
        await seat.play(60)
        assert "The music needs" in seat.text
        assert not drill.struck
        seat.staging.ports.post(ButtonDown(20, 2.0))
        await seat.until(DrillScreen)
        seat.staging.ports.post(ButtonDown(20, 3.0))
        await asyncio.sleep(0)
        await seat.pilot.pause()
        assert drill.asked == [Request.AGAIN]
        assert str(next(iter(seat.app.settings.bound))) == "button 20"

    seated((80, 24), run, drill=drill)


@pytest.mark.parametrize(
    ("key", "may_be_chosen"), [(40, True), (41, False), (88, False), (89, True)]
)
def test_a_key_may_be_chosen_within_twenty_of_an_end_where_no_piece_is_at_hand(
    key: int, may_be_chosen: bool
) -> None:
    """Of 88 keys, from 21 to 108."""
    assert is_at_an_end(Trigger(TriggerKind.KEY, key), 21, 108) is may_be_chosen


KEYBOARDS = [(21, 108), (28, 103), (36, 96)]
"""Lowest and highest key of keyboards of 88, 76 and 61 keys (common practice)."""
TUNE = range(48, 80)


@pytest.mark.parametrize("keyboard", KEYBOARDS)
@pytest.mark.parametrize(("played", "edge"), [(TUNE, "lowest"), (range(36, 80), "highest")])
def test_the_outermost_key_of_every_keyboard_asks(
    keyboard: tuple[int, int], played: range, edge: str
) -> None:
    found = Edge.clear_of(played)
    assert found == edge
    assert found.is_struck(keyboard[edge == "highest"], played)


def test_music_to_both_ends_leaves_the_keys_below_it() -> None:
    played = range(28, 108)
    assert Edge.clear_of(played).is_struck(21, played)


@pytest.mark.property
@given(st.sets(st.integers(21, 108), min_size=1))
def test_no_key_that_is_played_asks(played: set[int]) -> None:
    edge = Edge.clear_of(played)
    assert not [pitch for pitch in played if edge.is_struck(pitch, played)]


@pytest.mark.parametrize(("lowest", "edge"), [(41, "lowest"), (40, "highest")])
def test_the_lowest_key_asks_only_where_the_music_keeps_a_fourth_away(
    lowest: int, edge: str
) -> None:
    """From the lowest key of 61, which is C2."""
    assert Edge.clear_of(range(lowest, 80)) == edge


@pytest.mark.parametrize(("highest", "edge"), [(91, "highest"), (92, "lowest")])
def test_the_highest_key_serves_only_where_the_music_keeps_a_fourth_away(
    highest: int, edge: str
) -> None:
    assert Edge.clear_of(range(36, highest + 1)) == edge
