"""The sounding process: at its time, found again after unplugging, silent when its parent dies."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence

import pytest

from coach.cli.wiring import PianoSound
from coach.playing.click_schedule import Timed
from coach.playing.midi_events import KeyDown
from coach.playing.ports import ASK, Ports
from coach.playing.ports.driver import InPort
from coach.playing.sounding import SoundingLine
from coach.playing.sounding.process import Outlet, run
from tests.jackrig import JackServer, wait_for

ON, OFF = (0x90, 60, 70), (0x80, 60, 0)
PARENT = """
import os, sys, time
from coach.playing.sounding import SoundingLine
line = SoundingLine("jack")
now_s = time.perf_counter()
line.play("Sound Module:in", [
    (now_s + 3, (0x90, 60, 70)), (now_s + 3, (0xB0, 64, 127)), (now_s + 60, (0x80, 60, 0))])
print("ready", flush=True)
time.sleep(60)
"""


class FakePort:
    """An output that keeps what it was sent."""

    def __init__(self) -> None:
        self.sent: list[tuple[int, ...]] = []
        self.is_closed = False

    def send(self, message: Sequence[int]) -> None:
        self.sent.append(tuple(message))

    def close(self) -> None:
        self.is_closed = True


class FakeDriver:
    """One output that can be unplugged; it comes back as another port of the same name."""

    api = "fake"

    def __init__(self) -> None:
        self.ports = [FakePort()]
        self.is_there = True

    def names_in(self) -> tuple[str, ...]:
        return ()

    def names_out(self) -> tuple[str, ...]:
        return ("Piano 20:0",) if self.is_there else ()

    def open_in(self, name: str) -> InPort | None:
        return None

    def open_out(self, name: str) -> FakePort | None:
        return self.ports[-1] if self.is_there else None

    def trouble(self) -> str:
        return ""

    def close(self) -> None:
        pass

    def replug(self) -> None:
        self.is_there = True
        self.ports.append(FakePort())


def test_orders_are_obeyed_until_they_end_and_then_nothing_sounds() -> None:
    driver, now_s = FakeDriver(), time.perf_counter()
    sent = driver.ports[0].sent

    def orders() -> Iterator[str]:
        yield json.dumps({"to": "Piano"})
        yield json.dumps({"play": [[now_s + 0.02, ON], [now_s + 60, OFF]], "from": None})
        wait_for(lambda: ON in sent)

    run(driver, orders())
    assert sent[3:5] == [ON, OFF]  # after what asks whether it comes back
    assert (0xB0, 123, 0) in sent  # all notes off (MIDI 1.0)
    assert (0xB0, 64, 0) in sent  # the damper pedal is up
    assert driver.ports[0].is_closed


def test_a_line_that_breaks_off_ends_it_in_silence() -> None:
    """The program was killed while it wrote."""
    driver, now_s = FakeDriver(), time.perf_counter()
    sent = driver.ports[0].sent

    def orders() -> Iterator[str]:
        yield json.dumps({"to": "Piano"})
        yield json.dumps({"play": [[now_s + 0.01, ON]], "from": None})
        wait_for(lambda: ON in sent)
        yield '{"play": [[12'

    run(driver, orders())
    assert OFF in sent


def test_a_piano_that_is_plugged_in_again_is_silenced_first() -> None:
    driver = FakeDriver()
    outlet = Outlet(driver)
    outlet.obey({"to": "Piano"})
    assert driver.ports[0].sent == list(ASK)  # nothing has sounded yet
    driver.is_there = False
    outlet.look()
    assert driver.ports[0].is_closed
    driver.replug()
    outlet.look()
    again = driver.ports[1].sent
    assert {message for message in again if message[1] == 123} == {
        (0xB0 | channel, 123, 0) for channel in range(16)
    }
    assert (0xB0, 64, 0) in again
    outlet.obey({"play": [[time.perf_counter(), ON]], "from": None})
    wait_for(lambda: ON in again)
    outlet.close()


@pytest.fixture
def module(jack_server: JackServer) -> Iterator[list[tuple[float, tuple[int, ...]]]]:
    """A sound module: what it was sent, and when that came (perf_counter)."""
    import rtmidi

    port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, "Sound Module")
    got: list[tuple[float, tuple[int, ...]]] = []

    def hear(event: tuple[list[int], float], _: object) -> None:
        if tuple(event[0]) not in ASK:
            got.append((time.perf_counter(), tuple(event[0])))

    port.set_callback(hear)
    port.open_virtual_port("in")
    yield got
    port.close_port()
    port.delete()


Module = list[tuple[float, tuple[int, ...]]]


@pytest.mark.real
def test_the_real_process_plays_in_order_and_stops_when_told(module: Module) -> None:
    line = SoundingLine("jack")
    try:
        start_s = time.perf_counter() + 3.0
        assert line.play(
            "Sound Module:in",
            [(start_s + 0.05 * k, (0x90, 60 + k, 64)) for k in range(4)]
            + [(start_s + 60, (0x90, 80, 64))],
        )
        wait_for(lambda: len(module) == 4)
        assert [message[1] for _, message in module] == [60, 61, 62, 63]
        assert all(at_s >= start_s + 0.05 * k for k, (at_s, _) in enumerate(module))
        line.play("Sound Module:in", ())
        wait_for(lambda: len(module) == 8)
        assert {message for _, message in module[4:]} == {(0x80, 60 + k, 0) for k in range(4)}
    finally:
        line.close()


@pytest.mark.real
def test_a_list_longer_than_the_pipe_does_not_make_the_screen_wait(module: Module) -> None:
    line = SoundingLine("jack")
    try:
        line.prepare("Sound Module:in")
        later_s = time.perf_counter() + 60
        long = [(later_s + k, (0x90, 60, 64)) for k in range(20_000)]
        returned = threading.Event()

        def give() -> None:
            line.play("Sound Module:in", long)
            returned.set()

        threading.Thread(target=give, daemon=True).start()
        wait_for(returned.is_set)
        line.play("Sound Module:in", [(time.perf_counter() + 3.0, ON)])
        wait_for(lambda: [one for _, one in module] == [ON])
    finally:
        line.close()


@pytest.mark.real
def test_when_the_program_is_killed_nothing_goes_on_sounding(module: Module) -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", PARENT], stdout=subprocess.PIPE, env={**os.environ}
    )
    assert child.stdout
    child.stdout.readline()
    wait_for(lambda: (0xB0, 64, 127) in [one for _, one in module])
    child.send_signal(signal.SIGKILL)
    child.wait()
    child.stdout.close()
    wait_for(lambda: (0xB0, 123, 0) in [one for _, one in module])
    assert OFF in [one for _, one in module]
    assert (0xB0, 64, 0) in [one for _, one in module]


def test_a_process_that_ended_is_begun_anew() -> None:
    """No MIDI system of that name: the process can't begin, and nobody is held up."""
    line = SoundingLine("no such system")
    line.play("Piano", [(time.perf_counter(), ON)])
    line.play("Piano", ())
    line.play("Piano", [(time.perf_counter(), ON)])
    line.close()


class EchoingPiano:
    """A piano over JACK that sends on whatever it is sent, and can be struck besides."""

    def __init__(self) -> None:
        import rtmidi

        self._out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, "Digital Piano")
        self._out.open_virtual_port("out")
        self._in = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, "Digital Piano")
        self._in.open_virtual_port("in")
        self.was_sent = 0
        self._in.set_callback(self._echo)

    def _echo(self, event: tuple[list[int], float], _: object) -> None:
        self.was_sent += 1
        self._out.send_message(event[0])

    def strike(self, pitch: int, velocity: int) -> None:
        self._out.send_message([0x90, pitch, velocity])
        self._out.send_message([0x80, pitch, 0])

    def close(self) -> None:
        for port in (self._in, self._out):
            port.close_port()
            port.delete()


@pytest.mark.real
def test_a_piano_that_sends_on_what_it_is_sent_is_heard_only_where_it_is_struck(
    jack_server: JackServer,
) -> None:
    piano, ports = EchoingPiano(), Ports("jack")
    heard: list[KeyDown] = []
    sound = PianoSound(ports)
    try:
        ports.listen(
            None, lambda event: heard.append(event) if isinstance(event, KeyDown) else None
        )
        wait_for(lambda: ports.piano and ports.name_out())
        sound.prepare()
        wait_for(lambda: ports.own.comes_back)
        start_s = time.perf_counter() + 0.2
        notes: list[Timed] = []
        for k in range(40):
            at_s = start_s + 0.04 * k
            notes += [(at_s, (0x90, 60 + k % 12, 64)), (at_s + 0.03, (0x80, 60 + k % 12, 0))]
        assert sound.play(notes)
        for k in range(20):
            time.sleep(max(start_s + 0.08 * k - time.perf_counter(), 0))
            piano.strike(60 + 2 * k % 12, 65)  # the same keys, some at the same moment
        wait_for(lambda: piano.was_sent >= 3 + 80)
        time.sleep(0.2)
        assert [key.velocity for key in heard] == [65] * 20
    finally:
        sound.close()
        ports.close()
        piano.close()
