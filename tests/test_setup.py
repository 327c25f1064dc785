"""Setting a piano up from its keys: what is asked, what is found, what is kept."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from coach.playing.command_keys import PianoCommand, Trigger, TriggerKind
from coach.playing.midi_events import ButtonDown, KeyDown, Pedal
from coach.playing.piano_check import PianoCheck, name_shift
from coach.record.settings import StoredSettings, bound_of, load_settings, save_settings
from coach.screens.dialogs.setup import SetupScreen
from coach.screens.interfaces import Start
from coach.screens.setup_steps import (
    BEAT_S,
    NO_WAY_OUT,
    NOT_HEARD,
    PianoSetup,
    SetupStep,
)
from tests.screenfakes import FakeClick
from tests.seat import Seat, seated

MIDDLE, LEFT = Trigger(TriggerKind.PEDAL, 66), Trigger(TriggerKind.PEDAL, 67)


def strike(setup: PianoSetup, *pitches: int, at_s: float = 1.0) -> PianoSetup:
    for pitch in pitches:
        setup.hear(KeyDown(pitch, 64, at_s))
    return setup


def asked(setup: PianoSetup) -> SetupStep:
    return setup.step


def tap_along(setup: PianoSetup, late_s: float) -> None:
    """Begin, tap with every click, and wait for its end."""
    strike(setup, 60, at_s=20.0)
    clicks = setup.take_sound()
    assert clicks
    for at_s, _ in clicks:
        strike(setup, 60, at_s=at_s + late_s)
    setup.tick(clicks[-1][0] + 2 * BEAT_S)


def test_all_of_it_is_done_by_playing() -> None:
    setup = strike(PianoSetup(can_sound=True), 60, 21, 108)
    assert setup.step is SetupStep.SOUND
    sound = setup.take_sound()
    assert sound
    assert [message[0] for _, message in sound] == [0x90, 0x80]
    strike(setup, 60)
    tap_along(setup, 0.03)
    setup.hear(Pedal(66, 127, 90.0))
    setup.hear(ButtonDown(20, 91.0))
    assert setup.is_over
    found = setup.found
    assert (found.piano_keys, found.is_heard, found.remedies) == (88, True, [])
    assert found.offset_ms == pytest.approx(30, abs=1)
    button = Trigger(TriggerKind.BUTTON, 20)
    assert found.bound == {MIDDLE: PianoCommand.HEAR, button: PianoCommand.NEXT}
    assert "the middle pedal: hear" in setup.done


def test_where_nothing_can_sound_the_sound_and_the_tapping_are_passed_over() -> None:
    setup = strike(PianoSetup(can_sound=False), 60, 36, 96)
    assert setup.step is SetupStep.HEAR
    assert setup.found.remedies == [NO_WAY_OUT]
    assert setup.said == NO_WAY_OUT


def test_who_does_not_hear_the_soft_note_is_told_what_to_look_at() -> None:
    setup = strike(PianoSetup(can_sound=True), 60, 36, 96)
    setup.tick(1.0 + 8.0 / 2)
    assert asked(setup) is SetupStep.SOUND
    setup.tick(1.1 + 8.0)
    assert setup.step is SetupStep.HEAR
    assert setup.found.is_heard is False
    assert setup.said == NOT_HEARD


def test_a_key_in_the_middle_binds_nothing_and_one_thing_means_one_thing() -> None:
    setup = strike(PianoSetup(can_sound=False), 60, 21, 108, 60)
    assert setup.step is SetupStep.NEXT
    assert not setup.found.bound
    again = strike(PianoSetup(can_sound=False), 60, 21, 108, 21)
    strike(again, 21)
    assert "already means" in again.said
    again.hear(Pedal(64, 127, 1.0))  # the right pedal never asks
    assert again.step is SetupStep.NEXT
    again.hear(Pedal(67, 127, 1.0))
    assert again.found.bound[LEFT] is PianoCommand.NEXT


def test_the_wrong_end_of_the_keyboard_is_asked_for_again() -> None:
    setup = strike(PianoSetup(can_sound=False), 60, 90)
    assert asked(setup) is SetupStep.LOWEST
    assert setup.said
    strike(setup, 21, 30)
    assert setup.step is SetupStep.HIGHEST


@pytest.mark.outside
@pytest.mark.parametrize(
    ("keys", "size", "said"),
    [
        ((21, 108), 88, ""),
        ((36, 96), 61, ""),
        ((48, 108), 61, "an octave up"),
        ((12, 72), 61, "2 octaves down"),
        ((23, 110), 88, "by +2 semitones"),
        ((21, 105), 85, ""),
        ((24, 108), 85, "by +3 semitones"),
        ((36, 99), 61, ""),
    ],
)
def test_the_lowest_and_the_highest_key_tell_size_and_shift(
    keys: tuple[int, int], size: int, said: str
) -> None:
    """Ranges of common keyboards (common practice)."""
    found, sentence = name_shift(*keys)
    assert found == size
    assert said in sentence
    assert bool(sentence) is bool(said)


def checked(*messages: tuple[int, ...]) -> str:
    check = PianoCheck()
    for at, (status, *data) in enumerate(messages):
        check.take(status, tuple(data), at * 0.005)
    return " ".join(check.findings)


SCALE = (60, 62, 64, 65, 67, 69, 71)


@pytest.mark.parametrize(
    ("messages", "said"),
    [
        ([(0x90, key, 100) for key in SCALE], "loudness 100: set the touch"),
        ([(0x90, key, 112 + k) for k, key in enumerate(SCALE)], "very loud"),
        ([(0x90, key, 111 + k) for k, key in enumerate(SCALE)], ""),
        ([(0x90, key, 24 - k) for k, key in enumerate(SCALE)], "very soft"),
        ([(0x90, key, 25 - k) for k, key in enumerate(SCALE)], ""),
        ([(0x90, key, 100) for key in SCALE[:6]], "set the touch"),
        ([(0x90, key, 100) for key in SCALE[:5]], ""),
        ([(0x90 | c, key, 60 + key % 9) for key in SCALE for c in (0, 1)], "layered"),
        ([(0x91, 40, 60), (0x91, 45, 66), (0x90, 60, 61), (0x90, 72, 70)], "split"),
        ([(0x99, 60, 70)], "for drums"),
        ([(0xB0, 64, 0), (0xB0, 64, 127)], "half-pedalling is not sent"),
        ([(0xB0, 64, 0), (0xB0, 64, 50), (0xB0, 64, 127)], "half-pedalling is heard"),
        ([(0xF8,), (0xFE,)], "a clock and active sensing: passed over"),
        ([(0x90, key, 50 + 3 * k) for k, key in enumerate(SCALE)], ""),
    ],
)
def test_what_arrives_tells_how_the_piano_is_set(
    messages: list[tuple[int, ...]], said: str
) -> None:
    found = checked(*messages)
    assert said in found
    assert bool(found) is bool(said)


def test_what_was_found_is_kept_and_read_again(tmp_path: Path) -> None:
    kept = StoredSettings(port="Stage piano:out", commands={"pedal 66": "hear", "key 21": "next"})
    save_settings(tmp_path, kept)
    again, damage = load_settings(tmp_path)
    assert (again, damage) == (kept, "")
    low = Trigger(TriggerKind.KEY, 21)
    assert bound_of(again) == {MIDDLE: PianoCommand.HEAR, low: PianoCommand.NEXT}


def test_damaged_commands_are_set_aside_and_said(tmp_path: Path) -> None:
    (tmp_path / "settings.json").write_text('{"commands": {"pedal 66": "explode"}, "port": "P"}')
    kept, said = load_settings(tmp_path)
    assert kept == StoredSettings(port="P")
    assert "set the piano up again" in said


def test_on_the_screen_what_arrives_is_shown_and_what_was_found_holds_at_once() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("s")
        await seat.until(SetupScreen)
        watching = seat.staging.ports.watching
        assert watching
        watching(0x90, (60, 64), 0.0)
        await seat.play(60)
        await asyncio.sleep(0.2)
        assert "Arrives: C 4, loudness 64, channel 1" in seat.text
        assert SetupStep.LOWEST.value in seat.text
        await seat.play(36, 96)
        assert "61 keys" in seat.text
        seat.staging.ports.post(Pedal(66, 127, 0.0))
        seat.staging.ports.post(Pedal(67, 127, 0.0))
        await seat.play(60)
        await seat.pilot.pause()
        assert seat.app.settings.piano_keys == 61
        assert seat.app.settings.bound == {MIDDLE: PianoCommand.HEAR, LEFT: PianoCommand.NEXT}
        assert "your lowest C: choose" in seat.text

    seated((80, 24), run, start=Start(), click=FakeClick(sounds=False))


def test_it_can_be_left_at_once() -> None:
    async def run(seat: Seat) -> None:
        await seat.until(SetupScreen)
        await seat.pilot.press("escape")
        await seat.pilot.pause()
        assert "What will you play" in seat.text
        assert seat.app.settings.piano_keys == 88

    seated((60, 18), run, start=Start(sets_up=True), piano=False)


@pytest.mark.parametrize("ports", [True, False])
def test_where_no_piano_can_be_heard_it_says_why(ports: bool) -> None:
    """Nobody plugs in a piano that this machine can't hear."""

    async def run(seat: Seat) -> None:
        await seat.until(SetupScreen)
        await seat.until_said("plug it in" if ports else "Install libasound2")
        assert ("plug it in" in seat.text) is ports
        assert ("Install libasound2" in seat.text) is not ports

    seated((80, 24), run, start=Start(sets_up=True), piano=False, ports=ports)
