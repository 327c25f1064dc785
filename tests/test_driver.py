"""Whether the MIDI system still carries anything, with a system that can be made to fail.

A message is sent through it and comes back, or a process of its own asks whether it is there; what
plays never waits for either.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from coach.playing.ports import driver
from coach.playing.ports.driver import (
    AT_ONCE_S,
    EVERY_S,
    LOST_S,
    MESSAGE,
    Clients,
    Echo,
    Heartbeat,
    Probe,
    RtMidiDriver,
    ear,
)
from coach.playing.ports.ports import LOOK_S
from tests.jackrig import wait_for


@pytest.fixture(autouse=True)
def as_patient_as_for_a_pianist(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tests with a real server, in the same process, wait longer."""
    monkeypatch.setattr(driver, "AT_ONCE_S", AT_ONCE_S)
    monkeypatch.setattr(driver, "LOST_S", LOST_S)


class System:
    """Carries what is sent after a while, or not at all."""

    def __init__(self, takes_s: float = 0.01) -> None:
        self.now_s, self.takes_s, self.carries = 0.0, takes_s, True
        self.under_way: list[float] = []
        self.sent = 0
        self.beat = Heartbeat(self.send, self.receive, lambda: self.now_s, self.sleep)

    def send(self) -> None:
        self.sent += 1
        if self.carries:
            self.under_way.append(self.now_s + self.takes_s)

    def receive(self) -> float | None:
        due = self.under_way and self.under_way[0] <= self.now_s
        return self.under_way.pop(0) if due else None

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds

    def beating_for(self, seconds: float) -> float | None:
        """Asked as often as the listener asks; after how long it stopped beating."""
        for step in range(round(seconds / 0.1)):
            self.now_s += 0.1
            if not self.beat.is_beating():
                return (step + 1) / 10
        return None


def test_a_system_that_carries_beats_and_is_asked_twice_a_second() -> None:
    system = System()
    assert system.beating_for(60) is None
    assert abs(system.sent - 60 / EVERY_S) <= 60 / EVERY_S / 5


def test_a_system_that_dies_is_known_within_two_seconds() -> None:
    system = System()
    system.beating_for(10)
    system.carries = False
    after_s = system.beating_for(5)
    assert after_s is not None
    assert LOST_S <= after_s <= LOST_S + EVERY_S + 0.2


def test_a_system_that_is_slow_for_a_moment_has_not_died() -> None:
    system = System()
    system.beating_for(5)
    system.takes_s = 0.8 * LOST_S
    assert system.beating_for(20) is None


def test_a_system_that_never_carried_anything_is_not_held_to_it() -> None:
    system = System()
    system.carries = False
    assert system.beating_for(20) is None
    assert system.beat.answers()


def test_one_message_lost_on_a_busy_machine_is_no_end_of_the_system() -> None:
    system = System()
    assert system.beat.answers()
    system.carries = False

    def sleep(seconds: float) -> None:
        system.now_s += seconds
        system.carries = system.sent > 1

    system.beat._sleep = sleep
    assert system.beat.answers()
    assert system.sent == 3


def test_an_answer_that_is_needed_at_once_is_waited_for_no_longer_than_that() -> None:
    system = System()
    assert system.beat.answers()
    system.carries = False
    start_s = system.now_s
    assert not system.beat.answers()
    assert system.now_s - start_s <= AT_ONCE_S + 0.01
    assert system.beat.is_beating()  # not for so long that it would be lost
    assert not system.beat.came_back()
    system.under_way.append(system.now_s)
    assert system.beat.came_back()


def test_one_message_missed_by_whoever_did_not_look_is_no_end_of_the_system() -> None:
    """A machine so busy that neither we nor the answer came to anything for a second and a half."""
    system = System()
    system.beating_for(5)
    system.takes_s = 1.55 + EVERY_S
    system.now_s += EVERY_S
    sent = system.sent
    assert system.beat.is_beating()
    system.takes_s = 0.01
    system.now_s += 1.5
    assert system.beat.is_beating()
    assert system.sent == sent + 2
    assert system.beating_for(5) is None


class Room:
    """The driver of a machine with one piano, in a system that can be made to fail."""

    def __init__(self) -> None:
        self.system = System()
        self.clients = Clients.__new__(Clients)
        self.clients._heartbeat = self.system.beat
        self.clients._opened, self.clients._echo = [], None
        self.driver = RtMidiDriver("jack")  # asked for by name it is waited for
        if self.driver._clients:  # a real server runs, for other tests
            self.driver._clients.end()
        self.driver._clients = self.clients
        self.driver._probe = Probe(["-c", "import time; time.sleep(9)"])

    def looks_for(self, seconds: float) -> float | None:
        """Looks for a port to open as often as the listener; after how long it was called gone."""
        start_s = self.system.now_s
        while self.system.now_s - start_s < seconds:
            self.system.now_s += LOOK_S
            with self.driver._lock:
                self.driver._alive()
                self.driver._alive(now=True)
            if self.driver.trouble():
                return self.system.now_s - start_s
        return None


@pytest.fixture
def room() -> Iterator[Room]:
    room = Room()
    yield room
    room.driver._clients = None
    room.driver.close()


def test_a_system_that_is_slow_to_answer_is_not_called_gone(room: Room) -> None:
    """On a busy machine: the port is not opened then, and nothing is said."""
    assert room.looks_for(2) is None
    room.system.takes_s = 2 * AT_ONCE_S
    with room.driver._lock:
        assert room.driver._alive(now=True) is None
    assert not room.driver.trouble()
    assert room.looks_for(10) is None


def test_a_system_that_has_gone_is_called_so_within_two_seconds(room: Room) -> None:
    room.looks_for(2)
    room.system.carries = False
    gone_s = room.looks_for(5)
    assert gone_s is not None
    assert LOST_S <= gone_s <= 2.0


def test_an_answer_from_before_the_system_died_does_not_count() -> None:
    system = System()
    system.beat.answers()
    system.now_s += EVERY_S
    system.beat.is_beating()
    system.now_s += 0.1  # its answer waits, unread
    system.carries = False
    assert not system.beat.answers()


def test_what_is_sent_means_nothing_to_another_instrument() -> None:
    """MIDI 1.0: F0 ... F7 is system exclusive, and 7D the number for uses outside commerce."""
    assert MESSAGE[0] == 0xF0
    assert MESSAGE[1] == 0x7D
    assert MESSAGE[-1] == 0xF7
    assert all(byte < 0x80 for byte in MESSAGE[1:-1])


def test_a_system_that_takes_nothing_is_given_no_more_and_one_that_only_hung_is_known() -> None:
    """A full buffer would hold whoever sends, for as long as the system hangs."""
    system = System()
    system.beating_for(5)
    system.carries = False
    system.beating_for(5)
    sent = system.sent
    assert [system.beating_for(1) for _ in range(60)] == [0.1] * 60
    assert system.sent == sent
    system.under_way.append(system.now_s)  # what was sent last comes out at last
    system.carries = True
    assert system.beating_for(10) is None


def test_what_asks_a_system_that_has_gone_is_ended_with_the_program(room: Room) -> None:
    line = Echo(["-c", "import time; time.sleep(60)"])
    room.clients._echo = line
    room.looks_for(2)
    room.system.carries = False
    assert room.looks_for(5) is not None
    room.driver.close()
    assert line._child.returncode is not None


def asked(code: str, monkeypatch: pytest.MonkeyPatch, within_s: float = 20.0) -> bool | None:
    """The first answer of a process that runs this, or None where there is none."""
    monkeypatch.setattr(driver, "ASK_PATIENCE_S", 0.3 if "sleep" in code else 20.0)
    asking = Probe(["-c", code])
    end_s = time.perf_counter() + within_s
    try:
        while time.perf_counter() < end_s:
            if (answer := asking.answer()) is not None:
                return answer
            time.sleep(0.01)
        return None
    finally:
        asking.stop()


def test_a_system_that_answers_is_there_and_one_that_refuses_is_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert asked("pass", monkeypatch) is True
    assert asked("raise SystemExit(3)", monkeypatch) is False


@pytest.mark.parametrize("code", ["raise SystemExit(9)", "import time; time.sleep(60)"])
def test_of_one_that_fails_or_hangs_nothing_is_known(
    code: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert asked(code, monkeypatch, within_s=1.5) is None


def test_a_process_that_hangs_is_ended_and_another_asks(monkeypatch: pytest.MonkeyPatch) -> None:
    now_s = [0.0]
    asking = Probe(["-c", "import time; time.sleep(60)"], lambda: now_s[0])
    children = []
    for _ in range(3):
        assert asking.answer() is None
        children.append(asking._child)
        now_s[0] += driver.ASK_PATIENCE_S
        assert asking.answer() is None
        assert children[-1] is not None
        assert children[-1].returncode not in (None, 0)
        now_s[0] += driver.ASK_EVERY_S
    assert len(set(map(id, children))) == 3
    asking.stop()


ANSWERS = "import os\nwhile got := os.read(0, 1): os.write(1, got)"
ENDS = "pass"
HANGS = "import time; time.sleep(60)"


@contextmanager
def echo(program: str) -> Iterator[Echo]:
    made = Echo(["-c", program])
    try:
        yield made
    finally:
        made.stop()


def test_each_message_comes_back_once() -> None:
    with echo(ANSWERS) as line:
        line.send()
        line.send()
        wait_for(line.receive)
        wait_for(line.receive)
        assert line.receive() is None


@pytest.mark.parametrize("program", [ENDS, HANGS])
def test_one_that_has_ended_or_hangs_answers_nothing_and_holds_nobody_up(program: str) -> None:
    with echo(program) as line:
        start_s = time.perf_counter()
        while time.perf_counter() - start_s < 0.5:
            line.send()
            assert line.receive() is None


def test_a_full_line_drops_what_it_cannot_take() -> None:
    with echo(HANGS) as line:
        for _ in range(100_000):  # more than a pipe holds
            line.send()
        assert line.receive() is None


A_PORT_GOES_IN_BETWEEN = """
RtMidiError = type("RtMidiError", (Exception,), {})
class MidiOut:
    refused = heard = None
    def __init__(self, *_): pass
    def open_virtual_port(self, name): MidiOut.own = "asks:" + name
    def ignore_types(self, **_): pass
    def close_port(self): pass
    def set_callback(self, came): MidiOut.heard = staticmethod(came)
    def get_ports(self): return [MidiOut.own, "Keyhole:EAR"]
    def send_message(self, message): MidiOut.heard()
    def open_port(self, number, name):
        if number == 1 and not MidiOut.refused:
            MidiOut.refused = True
            raise RtMidiError("the 'portNumber' argument (1) is invalid")
MidiIn = MidiOut
"""
"""In place of rtmidi: our own port is no longer where the list had it, the first time."""


def test_a_port_that_goes_while_ours_is_looked_for_does_not_end_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "rtmidi.py").write_text(A_PORT_GOES_IN_BETWEEN.replace("EAR", ear()))
    monkeypatch.setenv("PYTHONPATH", os.fspath(tmp_path))
    line = Echo.of(0)
    try:
        line.end_exclusives()
        for _ in range(2):  # what it sends into our port comes back as well
            wait_for(line.receive)
    finally:
        line.stop()
