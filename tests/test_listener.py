"""A piano that comes and goes, without a thread and without MIDI: a fake of our own driver."""

import sys
from collections.abc import Sequence

import pytest

from coach.playing.midi_events import KeyDown, MidiEvent, OtherPianos, Pedal, PianoFound, PianoLost
from coach.playing.ports.byte_stream import STEADY_COUNT
from coach.playing.ports.driver import InPort, OutPort, list_ports
from coach.playing.ports.ports import DEAF, LOOK_S, POLL_S, Listener, Ports
from tests.jackrig import wait_for


class FakeDriver:
    """A driver whose ports are lists of waiting messages."""

    api = "fake"

    def __init__(self, *names: str) -> None:
        self.names, self.closed, self.can_open = names, 0, True
        self.waiting: list[tuple[list[int], float]] = []
        self.said = ""

    def names_in(self) -> tuple[str, ...]:
        return self.names

    names_out = names_in

    def open_in(self, name: str) -> InPort | None:
        return self if self.can_open else None

    def open_out(self, name: str) -> OutPort | None:
        return None

    def get_message(self) -> tuple[Sequence[int], float] | None:
        return self.waiting.pop(0) if self.waiting else None

    def trouble(self) -> str:
        return self.said

    def close(self) -> None:
        self.closed += 1


class Room:
    """A listener, its driver, a clock that we turn, and what was posted."""

    def __init__(self, *names: str, wanted: str | None = None) -> None:
        self.driver, self.now_s = FakeDriver(*names), 100.0
        self.posted: list[MidiEvent] = []
        self.listener = Listener(self.driver, wanted, self.posted.append, lambda: self.now_s)

    def after(self, seconds: float, *messages: list[int]) -> list[MidiEvent]:
        """What is posted in the next step, ``seconds`` later, with these messages waiting."""
        self.now_s += seconds
        self.driver.waiting += [(message, 0.0) for message in messages]
        self.posted.clear()
        self.listener.step()
        return list(self.posted)


C4 = [0x90, 60, 64]
SENSING = [0xFE]


def test_the_piano_is_found_heard_lost_and_found_again() -> None:
    room = Room()
    assert room.after(0) == []
    room.driver.names = ("Piano",)
    assert room.after(LOOK_S) == [PianoFound("Piano")]
    assert room.after(0.001, C4) == [KeyDown(60, 64, room.now_s)]
    room.driver.names = ()
    assert room.after(LOOK_S) == [PianoLost("Piano")]
    assert room.driver.closed == 1
    room.driver.names = ("Piano",)
    assert room.after(LOOK_S) == [PianoFound("Piano")]


def test_a_chord_is_read_to_its_end_before_any_of_it_is_handed_on() -> None:
    room = Room("Piano")
    room.after(0)
    left: list[int] = []
    room.listener = Listener(
        room.driver, None, lambda event: left.append(len(room.driver.waiting)), lambda: room.now_s
    )
    room.after(LOOK_S)
    room.after(0.001, C4, [0x90, 64, 64], [0x90, 67, 64])
    assert left[1:] == [0, 0, 0]


def test_a_first_note_read_late_is_put_in_the_middle_of_when_it_may_have_come() -> None:
    room = Room("Piano")
    room.after(0)
    room.after(0.001)
    (down,) = room.after(0.006, C4)
    assert isinstance(down, KeyDown)
    assert abs(down.at_s - (room.now_s - 0.003)) < 1e-9


def test_the_last_notes_before_it_went_are_not_lost() -> None:
    room = Room("Piano")
    room.after(0)
    room.driver.names = ()
    assert room.after(LOOK_S, C4) == [KeyDown(60, 64, room.now_s), PianoLost("Piano")]


def test_the_same_piano_is_preferred_when_it_comes_back_beside_another() -> None:
    room = Room("First 20:0")
    room.after(0)
    room.driver.names = ()
    room.after(LOOK_S)
    room.driver.names = ("Other 24:0", "First 28:0")
    assert room.after(LOOK_S) == [PianoFound("First"), OtherPianos("First", ("Other",))]


def test_a_second_piano_is_told_of_once_and_so_is_its_going() -> None:
    room = Room("Piano")
    room.after(0)
    room.driver.names = ("Piano", "Organ", "Midi Through:Port-0")
    assert room.after(LOOK_S) == [OtherPianos("Piano", ("Organ",))]
    assert room.after(LOOK_S) == []
    room.driver.names = ("Piano",)
    assert room.after(LOOK_S) == [OtherPianos("Piano", ())]


def test_another_piano_is_taken_where_the_first_stays_away() -> None:
    room = Room("First")
    room.after(0)
    room.driver.names = ("Other",)
    assert room.after(LOOK_S) == [PianoLost("First"), PianoFound("Other")]


def test_a_port_that_cannot_be_opened_is_tried_again() -> None:
    room = Room("Piano")
    room.driver.can_open = False
    assert room.after(0) == []
    room.driver.can_open = True
    assert room.after(LOOK_S) == [PianoFound("Piano")]


def steadily_sensing() -> Room:
    """A piano that has sent active sensing for long enough to be held to it."""
    room = Room("Piano")
    room.after(0)
    for _ in range(STEADY_COUNT):
        assert room.after(0.3, SENSING) == []
    return room


def test_a_sensing_piano_that_falls_silent_is_lost_until_it_sends_again() -> None:
    room = steadily_sensing()
    assert room.after(0.35) == []
    assert room.after(0.65) == [PianoLost("Piano")]
    assert room.listener.name is None
    assert room.after(5.0) == []
    assert room.after(0.001, C4) == [PianoFound("Piano"), KeyDown(60, 64, room.now_s)]
    room.driver.names = ()
    assert room.after(LOOK_S) == [PianoLost("Piano")]


def test_one_stray_byte_of_active_sensing_makes_no_rest_the_end_of_the_piano() -> None:
    room = Room("Piano")
    room.after(0)
    assert room.after(0.3, SENSING) == []
    assert room.after(60.0) == []
    assert room.after(0.5, C4) == [KeyDown(60, 64, room.now_s)]


def test_a_silent_piano_whose_port_goes_too_is_not_lost_twice() -> None:
    room = steadily_sensing()
    assert room.after(1.0) == [PianoLost("Piano")]
    room.driver.names = ()
    assert room.after(LOOK_S) == []


def test_an_empty_message_tells_the_time_and_is_no_sign_of_life() -> None:
    room = steadily_sensing()
    for _ in range(10):
        posted = room.after(0.1, [])
    assert room.listener.name is None
    assert posted == []


OPEN_EXCLUSIVE = [0xF0, 0x7E, 0x7F]


def test_keys_held_back_for_long_behind_an_unended_message_are_not_judged() -> None:
    room = Room("Piano")
    room.after(0)
    room.after(0.1, [])
    lump = [*OPEN_EXCLUSIVE, *C4, 0x90, 62, 64, 0xB0, 64, 127, 0xF0, 0x7D, 0xF7]
    assert room.after(3.0, lump) == [Pedal(64, 127, room.now_s)]
    assert room.after(0.5, C4) == [KeyDown(60, 64, room.now_s)]


def test_keys_held_back_for_a_moment_are_heard() -> None:
    room = Room("Piano")
    room.after(0)
    room.after(0.1, [])
    room.after(0.02, [])
    (down,) = room.after(0.02, [*OPEN_EXCLUSIVE, *C4, 0xF0, 0x7D, 0xF7])
    assert isinstance(down, KeyDown)
    assert room.now_s - 0.021 < down.at_s <= room.now_s


def test_a_key_that_itself_ends_the_message_before_it_is_heard_in_time() -> None:
    room = Room("Piano")
    room.after(0)
    room.after(0.1, C4)
    assert room.after(3.0, [*OPEN_EXCLUSIVE, *C4]) == [KeyDown(60, 64, room.now_s)]


def test_a_message_cut_off_by_the_unplugging_does_not_spoil_the_next_one() -> None:
    room = Room("Piano")
    room.after(0)
    room.after(0.001, [0x90, 60])
    room.driver.names = ()
    room.after(LOOK_S)
    room.driver.names = ("Piano",)
    assert room.after(LOOK_S, [64]) == [PianoFound("Piano")]
    assert room.after(0.001) == []


def test_a_thread_that_computes_gives_way_as_often_as_the_port_is_read() -> None:
    usual_s = sys.getswitchinterval()
    ports = Ports(driver=FakeDriver("Piano"))
    try:
        sys.setswitchinterval(0.005)
        ports.listen(None, lambda event: None)
        assert abs(sys.getswitchinterval() - POLL_S) < 1e-6
    finally:
        ports.close()
        sys.setswitchinterval(usual_s)


def test_a_midi_system_that_goes_is_said_and_so_is_its_return_without_the_piano() -> None:
    room = Room("Piano")
    room.after(0)
    room.driver.names, room.driver.said = (), "JACK has stopped."
    assert room.after(LOOK_S) == [PianoLost("Piano", "JACK has stopped.")]
    assert room.after(LOOK_S) == []
    room.driver.said = ""
    assert room.after(LOOK_S) == [PianoLost("Piano")]
    room.driver.names, room.driver.said = (), "JACK has stopped."
    assert room.after(LOOK_S) == [PianoLost("Piano", "JACK has stopped.")]
    room.driver.names, room.driver.said = ("Piano",), ""
    assert room.after(LOOK_S) == [PianoFound("Piano")]


def test_a_midi_system_that_goes_before_there_was_a_piano_is_said_too() -> None:
    room = Room()
    room.after(0)
    room.driver.said = "JACK has stopped."
    assert room.after(LOOK_S) == [PianoLost("", "JACK has stopped.")]


class ChangingPorts:
    """An rtmidi client that is asked for its ports while they come and go."""

    def __init__(self, *lists: list[str | None] | None) -> None:
        self.lists = list(lists)

    def get_ports(self) -> list[str | None]:
        names = self.lists.pop(0) if len(self.lists) > 1 else self.lists[0]
        if names is None:
            raise ValueError("the 'portNumber' argument (1) is invalid")
        return names


def test_a_port_that_goes_while_the_ports_are_listed_ends_nothing() -> None:
    client = ChangingPorts(None, ["Piano", None], None, ["Piano", "Organ"])
    assert list_ports(client) == ["Piano", "Organ"]
    assert list_ports(ChangingPorts(["Piano", None])) == ["Piano"]
    assert list_ports(ChangingPorts(None)) == []


def test_whoever_plays_is_told_that_nothing_is_heard_any_more(
    capfd: pytest.CaptureFixture[str],
) -> None:
    class Broken(FakeDriver):
        def get_message(self) -> tuple[Sequence[int], float] | None:
            raise RuntimeError("what nobody thought of")

    posted: list[MidiEvent] = []
    ports = Ports(driver=Broken("Piano"))
    ports.listen(None, posted.append)
    wait_for(lambda: len(posted) == 2)
    ports.close()
    assert posted == [PianoFound("Piano"), PianoLost("Piano", DEAF)]
    assert "what nobody thought of" in capfd.readouterr().err
