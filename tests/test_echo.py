"""The line to the process that sends a message through a MIDI system and back."""

import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from coach.playing.ports.jack import Echo
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
