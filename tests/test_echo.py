"""The line to the process that sends a message through a MIDI system and back."""

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from coach.playing.ports.driver import Echo, ear
from tests.jackrig import wait_for

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
