"""Real MIDI: two processes, python-rtmidi's own ports, JACK between them."""

import os
import re
import subprocess
import sys
import time
from argparse import Namespace
from collections.abc import Iterator
from pathlib import Path

import pytest

from coach.cli.commands.ports import show_ports
from coach.playing.midi_events import (
    KeyDown,
    KeyUp,
    MidiEvent,
    OtherPianos,
    Pedal,
    PianoFound,
    PianoLost,
)
from coach.playing.notes import PlayedNote
from coach.playing.ports import driver
from coach.playing.ports.byte_stream import STEADY_COUNT
from coach.playing.ports.driver import CLIENT, NOT_YET, Driver, Port, PortsUnavailable, RtMidiDriver
from coach.playing.ports.own_sound import ASK
from coach.playing.ports.ports import Ports
from coach.playing.sounding import SoundingLine
from tests.jackrig import PIANO, JackServer, Pianist, wait_for

pytestmark = pytest.mark.real


REAL_PATIENCE_S = {name: getattr(driver, name) for name in ("LOST_S", "AT_ONCE_S")}
"""As it is outside tests, for those in which a server goes away."""
ANSWERS_S = 1.0
"""By then the process that ends messages has found our port."""


class Heard(list[MidiEvent]):
    """Everything posted."""

    def downs(self) -> list[KeyDown]:
        return [event for event in self if isinstance(event, KeyDown)]

    def last_is(self, kind: type) -> bool:
        """Of what is said of other pianos, or else of all besides."""
        apart = [e for e in self if isinstance(e, OtherPianos) == (kind is OtherPianos)]
        return bool(apart) and isinstance(apart[-1], kind)


@pytest.fixture
def ports(jack_server: JackServer) -> Iterator[Ports]:
    opened = Ports()
    try:
        yield opened
    finally:
        opened.close()


@pytest.fixture
def heard(ports: Ports, pianist: Pianist) -> Heard:
    """What is heard of a piano that has been found."""
    return heard_through(ports)


def heard_through(ports: Ports) -> Heard:
    """What is heard from now on, once a piano has been found."""
    events = Heard()
    ports.listen(None, events.append)
    wait_for(lambda: events.last_is(PianoFound))
    return events


def strike(player: Pianist, heard: Heard) -> None:
    """Strike a key, and see that it is heard."""
    player.send(0x90, 72, 64)
    wait_for(lambda: heard.last_is(KeyDown))


def test_notes_of_another_process_arrive_whole_in_order_and_stamped(
    heard: Heard, pianist: Pianist
) -> None:
    notes = [PlayedNote(40 + i % 40, 1 + i % 127, i * 0.004, 0.003) for i in range(300)]
    struck = pianist.play(notes)
    wait_for(lambda: sum(isinstance(event, KeyUp) for event in heard) == len(notes))
    downs = heard.downs()
    assert [(d.pitch, d.velocity) for d in downs] == [(n.pitch, n.velocity) for n in notes]
    late_ms = sorted((d.at_s - at_s) * 1e3 for d, at_s in zip(downs, struck, strict=True))
    # The first stamp is the middle of what is known of it, so it may come before the key by half of
    # one look at the port; those behind it lean on it until one that is read at once holds them.
    assert 0 < late_ms[len(late_ms) // 2] < 100  # a busy machine's; the script measures how late
    assert late_ms[0] > -100


def test_a_chord_of_ten_arrives_whole(heard: Heard, pianist: Pianist) -> None:
    chord = [PlayedNote(pitch, 64, 0.0, 0.2) for pitch in range(48, 68, 2)]
    pianist.play(chord)
    wait_for(lambda: len(heard.downs()) == 10)
    assert {d.pitch for d in heard.downs()} == {note.pitch for note in chord}


def test_clock_and_active_sensing_are_dropped_and_half_pedals_kept(
    heard: Heard, pianist: Pianist
) -> None:
    for message in ([0xF8], [0xFE], [0xB0, 88, 17], [0xB0, 64, 40], [0xFA], [0x90, 60, 64]):
        pianist.send(*message)
    wait_for(heard.downs)
    assert [type(event) for event in heard] == [PianoFound, Pedal, KeyDown]
    assert isinstance(heard[1], Pedal)
    assert (heard[1].controller, heard[1].value) == (64, 40)


def test_running_status_passes_through_jack(heard: Heard, pianist: Pianist) -> None:
    pianist.send(0x90, 60, 64)
    pianist.send(62, 64)
    pianist.send(62, 0)
    wait_for(lambda: heard.last_is(KeyUp))
    assert [down.pitch for down in heard.downs()] == [60, 62]


def test_notes_behind_an_unended_system_exclusive_come_through_in_time(
    heard: Heard, pianist: Pianist
) -> None:
    """rtmidi takes all that follows for its rest, and would hold every note back."""
    time.sleep(ANSWERS_S)
    for unended in ([0xF0, 0x7E, 0x7F], [0xF0], [0xF0, 0x43, 0x10]):
        heard.clear()
        pianist.send(*unended)
        time.sleep(0.1)
        notes = [PlayedNote(60 + k, 64, k * 0.06, 0.04) for k in range(12)]
        struck = pianist.play(notes)
        wait_for(lambda: sum(isinstance(event, KeyUp) for event in heard) == 12)
        downs = heard.downs()
        assert [down.pitch for down in downs] == [note.pitch for note in notes]
        late_ms = [(d.at_s - at_s) * 1e3 for d, at_s in zip(downs, struck, strict=True)]
        assert sorted(late_ms)[len(late_ms) // 2] < 50  # what a busy machine adds


def test_notes_at_once_after_an_unended_message_are_hardly_late(
    heard: Heard, pianist: Pianist
) -> None:
    late_ms = []
    time.sleep(ANSWERS_S)
    for k in range(10):
        pianist.send(0xF0, 0x7E)
        at_s = pianist.send(0x90, 60 + k, 64)
        wait_for(lambda: heard.last_is(KeyDown))
        late_ms.append((heard.downs()[-1].at_s - at_s) * 1e3)
        pianist.send(0x80, 60 + k, 0)
        wait_for(lambda: heard.last_is(KeyUp))
    assert [down.pitch for down in heard.downs()] == list(range(60, 70))
    assert sorted(late_ms)[5] < 50  # a fiftieth of a second, and what the machine adds


def test_a_long_system_exclusive_in_parts_is_no_key_and_leaves_none_deaf(
    heard: Heard, pianist: Pianist
) -> None:
    pianist.send(0xF0, 0x7E, 60, 64)
    for _ in range(4):
        time.sleep(0.05)
        pianist.send(60, 64, 0x10)
    pianist.send(60, 0xF7)
    pianist.send(0x90, 72, 64)
    wait_for(heard.downs)
    assert [down.pitch for down in heard.downs()] == [72]


def test_what_we_send_into_our_own_port_is_no_message_and_breaks_none(
    heard: Heard, pianist: Pianist
) -> None:
    pianist.send(0x90, 60, 64)
    time.sleep(0.1)
    pianist.send(62, 64)  # running status
    time.sleep(0.1)
    assert [type(event) for event in heard] == [PianoFound, KeyDown, KeyDown]


def test_a_key_that_hangs_on_a_second_channel_is_still_heard(
    heard: Heard, pianist: Pianist
) -> None:
    pianist.send(0x91, 60, 64)
    wait_for(heard.downs)
    time.sleep(0.1)
    for _ in range(2):
        pianist.send(0x90, 60, 64)
        wait_for(lambda: heard.last_is(KeyDown))
        pianist.send(0x80, 60, 0)
        wait_for(lambda: heard.last_is(KeyUp))
    assert len(heard.downs()) == 3


def test_a_layered_sound_is_one_key_also_in_a_chord(heard: Heard, pianist: Pianist) -> None:
    for channel in (0, 1):
        for pitch in range(60, 70):
            pianist.send(0x90 | channel, pitch, 64)
    for channel in (0, 1):
        for pitch in range(60, 70):
            pianist.send(0x80 | channel, pitch, 0)
    wait_for(lambda: sum(isinstance(event, KeyUp) for event in heard) == 10)
    time.sleep(0.05)
    assert [down.pitch for down in heard.downs()] == list(range(60, 70))
    assert len(heard) == 21


def test_a_stray_active_sensing_byte_makes_no_rest_the_end_of_the_piano(
    heard: Heard, pianist: Pianist
) -> None:
    pianist.send(0xFE)
    time.sleep(1.5)
    pianist.send(0x90, 60, 64)
    wait_for(heard.downs)
    assert [type(event) for event in heard] == [PianoFound, KeyDown]


def test_a_piano_that_senses_steadily_is_gone_when_it_stops_and_a_note_proves_it_there(
    heard: Heard, pianist: Pianist
) -> None:
    for _ in range(STEADY_COUNT + 1):
        pianist.send(0xFE)
        time.sleep(0.3)
    assert not heard.last_is(PianoLost)
    wait_for(lambda: heard.last_is(PianoLost))
    strike(pianist, heard)
    assert [type(event) for event in heard] == [PianoFound, PianoLost, PianoFound, KeyDown]


def test_a_piano_switched_off_is_noticed_and_its_return_heard(
    heard: Heard, pianist: Pianist
) -> None:
    for _ in range(3):
        pianist.unplug()
        wait_for(lambda: heard.last_is(PianoLost))
        pianist.plug()
        wait_for(lambda: heard.last_is(PianoFound))
        pianist.send(0x90, 60, 64)
        wait_for(lambda: heard.last_is(KeyDown))


def test_a_torn_out_cable_is_noticed_and_the_same_piano_taken_up_again(
    heard: Heard, pianist: Pianist
) -> None:
    pianist.send(0x90, 60, 64)
    wait_for(heard.downs)
    pianist.die()
    wait_for(lambda: heard.last_is(PianoLost))  # JACK itself may take 5 s to tell
    again = Pianist()
    try:
        wait_for(lambda: heard.last_is(PianoFound))
        again.send(0x90, 72, 64)
        wait_for(lambda: heard.last_is(KeyDown))
    finally:
        again.close()


def test_the_piano_is_chosen_by_part_of_its_name(ports: Ports, pianist: Pianist) -> None:
    other = Pianist("Stage Organ")
    try:
        events = Heard()
        ports.listen("organ", events.append)
        wait_for(lambda: events.last_is(PianoFound))
        assert ports.piano == "Stage Organ:out"
        pianist.send(0x90, 50, 64)
        other.send(0x90, 60, 64)
        wait_for(events.downs)
        assert [down.pitch for down in events.downs()] == [60]
    finally:
        other.close()


ODD_NAMES = ["Flügel ♪ 鋼琴", "Pi:ano", "\x1b[31mred", "two\nlines", "\u202eevil", "", "  a  ",
             "'\"`$(id)`", "Piano 20:0", "Keyhole Organ", "-organ"]  # fmt: skip


@pytest.mark.parametrize("name", ODD_NAMES, ids=ascii)
def test_a_piano_is_heard_and_asked_for_whatever_it_is_called(
    name: str, jack_server: JackServer
) -> None:
    player, ports = Pianist(name), Ports()
    try:
        events = heard_through(ports)
        strike(player, events)
        (listed,) = ports.names_in()
        assert listed.isprintable()
        events = Heard()
        ports.listen(listed, events.append)
        wait_for(lambda: events.last_is(PianoFound))
        strike(player, events)
    finally:
        ports.close()
        player.close()


def test_of_two_pianos_of_one_name_each_can_be_played(ports: Ports, pianist: Pianist) -> None:
    twin = Pianist(PIANO)
    try:
        events = heard_through(ports)
        wait_for(lambda: events.last_is(OtherPianos))
        (told,) = (event for event in events if isinstance(event, OtherPianos))
        (wish,) = told.names
        again = Heard()
        ports.listen(wish, again.append)
        wait_for(lambda: again.last_is(OtherPianos))
        # Under load JACK's first echo may come late: then it is lost, and found, before.
        found = {event.name for event in again if isinstance(event, PianoFound)}
        assert found
        assert told.heard not in found
        for player, pitch in ((pianist, 60), (twin, 72)) * 2:
            player.send(0x90, pitch, 64)
        wait_for(lambda: len(again.downs()) == 2)
        assert len({down.pitch for down in again.downs()}) == 1  # one of them, and not the other
    finally:
        twin.close()


def test_the_going_of_the_other_piano_is_told_and_this_one_is_still_heard(
    heard: Heard, pianist: Pianist
) -> None:
    organ = Pianist("Stage Organ")
    try:
        wait_for(lambda: heard.last_is(OtherPianos))
        assert heard[-1] == OtherPianos(f"{PIANO}:out", ("Stage Organ",))
        strike(pianist, heard)
    finally:
        organ.close()
    wait_for(lambda: OtherPianos(f"{PIANO}:out", ()) in heard)
    strike(pianist, heard)


def test_a_piano_that_comes_back_under_another_number_is_taken_up_again(
    ports: Ports, jack_server: JackServer
) -> None:
    """JACK numbers a client whose name is taken, as it is for a while after an unclean death."""
    first, second = Pianist(PIANO), Pianist(PIANO)
    try:
        events = Heard()
        ports.listen(f"{PIANO}:out", events.append)
        wait_for(lambda: events.last_is(OtherPianos))
        strike(first, events)
        first.close()
        wait_for(lambda: events.last_is(PianoFound))
        assert [e for e in events if isinstance(e, PianoFound)][-1].name == f"{PIANO}-01:out"
        strike(second, events)
    finally:
        first.close()
        second.close()


def test_names_are_listed_without_our_own(ports: Ports, pianist: Pianist) -> None:
    wait_for(lambda: ports.names_in() == (f"{PIANO}:out",))
    ports.listen(None, Heard().append)
    wait_for(lambda: ports.piano)
    assert not any(CLIENT in name for name in (*ports.names_in(), *ports.names_out()))


def test_the_click_reaches_a_port_of_another_program(ports: Ports, jack_server: JackServer) -> None:
    import rtmidi

    module = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, "Sound Module")
    module.open_virtual_port("in")
    try:
        wait_for(lambda: ports.names_out())
        name = ports.name_out("sound module")
        assert name == "Sound Module:in"
        line = SoundingLine(ports.api)
        assert line.play(name, [(time.perf_counter() + 3.0, (0x99, 76, 110))])
        got: list[list[int]] = []

        def has_come() -> bool:
            if one := module.get_message():
                got.append(one[0])
            return len(got) == 4

        wait_for(has_come)
        line.close()
        assert got == [*map(list, ASK), [0x99, 76, 110]]
    finally:
        module.close_port()
        module.delete()


def test_many_openings_leave_no_thread_or_handle(jack_server: JackServer) -> None:
    def handles() -> int:
        return len(list(Path("/proc/self/fd").iterdir()))

    if sys.platform != "linux":
        pytest.skip("counts handles in /proc")
    Ports().close()
    before = handles()
    for _ in range(10):
        Ports().close()
    assert handles() <= before + 1


@pytest.fixture
def mortal_server(
    jack_server: JackServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[JackServer]:
    """A second JACK server, which a test may stop and start; clients made from now on go to it."""
    for patience in REAL_PATIENCE_S.items():
        monkeypatch.setattr(driver, *patience)
    server = JackServer(tmp_path / "jackd.log", "mortal")
    monkeypatch.setenv("JACK_DEFAULT_SERVER", server.name)
    server.start()
    try:
        yield server
    finally:
        server.stop()


def knows_server(driver: Driver) -> bool:
    """Whether a message of its own has come back: only then a silence of the server tells."""
    assert isinstance(driver, RtMidiDriver)
    driver.names_out()
    beat = driver._clients._heartbeat if driver._clients else None
    return beat is not None and beat._known


def test_a_jack_server_that_dies_is_noticed_and_taken_up_again_when_it_is_back(
    mortal_server: JackServer, ports: Ports
) -> None:
    player = Pianist()
    try:
        events = heard_through(ports)
        for _ in range(2):
            wait_for(lambda: knows_server(ports._driver))
            mortal_server.stop()
            player.die()
            wait_for(lambda: events.last_is(PianoLost))
            assert isinstance(events[-1], PianoLost)
            assert "start it again" in events[-1].why
            assert ports.names_in() == ports.names_out() == ()
            mortal_server.start()
            player = Pianist()
            wait_for(lambda: events.last_is(PianoFound))
            strike(player, events)
    finally:
        player.close()


COMES_AND_GOES = """
import rtmidi
while True:
    out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, "Organ")
    out.open_virtual_port("out")
    out.delete()
"""


def test_ports_that_come_and_go_while_they_are_listed_end_nothing(ports: Ports) -> None:
    """Of a second's listings several meet a port that goes."""
    with subprocess.Popen([sys.executable, "-c", COMES_AND_GOES]) as organist:
        try:
            there = 0
            wait_for(lambda: "Organ:out" in ports.names_in())
            for _ in range(1000):
                there += "Organ:out" in ports.names_in()
        finally:
            organist.kill()
    assert 0 < there < 1000


def test_this_process_has_no_output_that_a_dead_jack_server_would_hold(ports: Ports) -> None:
    """rtmidi waits a second for each before it lets go, and the screen would stand still."""
    import rtmidi

    look = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, "Look")
    try:
        asking = re.compile(rf"{CLIENT} asks.*:heartbeat {os.getpid()}")
        wait_for(lambda: any(asking.match(name) for name in look.get_ports()))
        assert not any(re.match(rf"{CLIENT}(-\d+)?:", name) for name in look.get_ports())
    finally:
        look.delete()


def test_a_jack_server_that_hangs_holds_nothing_up_and_is_heard_when_it_goes_on(
    mortal_server: JackServer, ports: Ports
) -> None:
    player = Pianist()
    try:
        events = heard_through(ports)
        for _ in range(2):
            wait_for(lambda: knows_server(ports._driver))
            mortal_server.hang(True)
            wait_for(lambda: events.last_is(PianoLost))
            time.sleep(1.5)  # while it is asked whether there is a server
            assert ports.names_in() == ports.names_out() == ()  # it would be for ever
            mortal_server.hang(False)
            wait_for(lambda: events.last_is(PianoFound))
            strike(player, events)
    finally:
        mortal_server.hang(False)
        player.close()


def test_a_click_that_is_asked_for_as_the_jack_server_dies_is_silent(
    mortal_server: JackServer,
) -> None:
    import rtmidi

    driver = RtMidiDriver("jack")
    module = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, "Sound Module")
    module.open_virtual_port("in")
    wait_for(driver.names_out)
    wait_for(lambda: knows_server(driver))
    out = driver.open_out("Sound Module:in")
    assert isinstance(out, Port)
    mortal_server.stop()
    module.close_port()
    module.delete()
    assert driver.open_out("Sound Module:in") is None  # a new client now would end us all
    wait_for(lambda: driver.names_out() == ())
    with pytest.raises(OSError, match="gone"):
        out.send([0x99, 76, 110])
    out.close()
    wait_for(lambda: driver.names_out() or not out.is_open)
    driver.close()


def test_a_jack_server_that_is_not_there_at_the_start_is_found_when_it_comes(
    mortal_server: JackServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    mortal_server.stop()
    ports = Ports()
    player: Pianist | None = None
    try:
        events = Heard()
        ports.listen(None, events.append)
        wait_for(lambda: events.last_is(PianoLost))
        assert events == [PianoLost("", NOT_YET.format(name="JACK"))]
        mortal_server.start()
        player = Pianist()
        wait_for(lambda: events.last_is(PianoFound))
        assert ports.trouble == ""
        strike(player, events)
    finally:
        ports.close()
        if player:
            player.close()


def test_where_no_jack_server_answers_the_list_of_ports_says_what_to_do(
    jack_server: JackServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "nobody_is_there")
    monkeypatch.setattr("coach.cli.commands.ports.divert_noise", lambda: None)
    with pytest.raises(PortsUnavailable, match="start it, and I find it by myself"):
        show_ports(Namespace())


def test_an_unknown_midi_system_names_the_known_ones(jack_server: JackServer) -> None:
    with pytest.raises(PortsUnavailable, match=r"choose from: .*jack"):
        RtMidiDriver("pigeon post")


def test_an_unknown_midi_system_is_named_by_the_program_with_those_that_exist(
    jack_server: JackServer,
) -> None:
    for command in ("ports", "calibrate"):
        done = subprocess.run(
            [sys.executable, "-m", "coach", command],
            env={**os.environ, "KEYHOLE_MIDI_API": "pigeon post"},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 2
        (sentence,) = done.stderr.splitlines()
        assert "KEYHOLE_MIDI_API is 'pigeon post'" in sentence
        assert "jack" in sentence


@pytest.mark.parametrize("name", ["JACK", " jack "])
def test_a_midi_system_may_be_named_in_capitals(
    jack_server: JackServer, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setenv("KEYHOLE_MIDI_API", name)
    Ports().close()


def test_a_machine_without_libasound_is_told_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import importlib

    def cannot(name: str) -> None:
        raise ImportError("libasound.so.2: cannot open shared object file: No such file")

    monkeypatch.setattr(importlib, "import_module", cannot)
    monkeypatch.setattr(sys, "platform", "linux")
    with pytest.raises(PortsUnavailable, match="apt-get install libasound2"):
        Ports()
