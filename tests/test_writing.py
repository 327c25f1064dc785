"""Writing to the terminal at once, or in its turn: nothing is lost, nothing overtakes anything."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from textual.drivers._writer_thread import WriterThread

from coach.screens.terminal.painter import LONGEST_BYTES, PromptWriter, write_at_once

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Textual writes by itself there")


class Terminal:
    """The other end of a line that holds 64 KB: read by a thread, once it is told to."""

    def __init__(self) -> None:
        self._end, self.line = os.pipe()
        self.shown = b""
        self._reader = threading.Thread(target=self._read, daemon=True)

    def read(self) -> None:
        self._reader.start()

    def take(self) -> bytes:
        """What is there already."""
        return os.read(self._end, 1 << 20)

    def hang_up(self) -> None:
        os.close(self._end)

    def all_of_it(self) -> bytes:
        os.close(self.line)
        self._reader.join(5)
        os.close(self._end)
        return self.shown

    def _read(self) -> None:
        while got := os.read(self._end, 1 << 16):
            self.shown += got


@pytest.fixture
def terminal() -> Terminal:
    return Terminal()


def test_what_is_short_is_there_before_anything_else_runs(terminal: Terminal) -> None:
    writer = PromptWriter(terminal.line)
    writer.write("a mark ●")
    assert terminal.take() == "a mark ●".encode()
    writer.stop()


def test_what_is_long_goes_by_the_thread_and_what_is_short_after_it(terminal: Terminal) -> None:
    writer = PromptWriter(terminal.line)
    writer.write("x" * (1 << 20))  # more than the line holds; nobody reads it, or ever would
    writer.write("after")
    terminal.read()
    writer.stop()
    assert terminal.all_of_it() == b"x" * (1 << 20) + b"after"


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.sampled_from("a●é"), st.integers(1, 3 * LONGEST_BYTES)), max_size=12))
def test_everything_comes_out_in_its_order(writes: list[tuple[str, int]]) -> None:
    terminal = Terminal()
    terminal.read()
    writer = PromptWriter(terminal.line)
    for char, count in writes:
        writer.write(char * count)
    writer.stop()
    assert terminal.all_of_it().decode() == "".join(char * count for char, count in writes)


def test_a_terminal_that_has_gone_holds_nobody_up(terminal: Terminal) -> None:
    writer = PromptWriter(terminal.line)
    terminal.hang_up()
    for _ in range(100):
        writer.write("x" * 2 * LONGEST_BYTES)
        time.sleep(0.001)
    writer.stop()
    os.close(terminal.line)


class Driver:
    def __init__(self, writer: object) -> None:
        self._writer_thread = writer


class App:
    def __init__(self, driver: object) -> None:
        self._driver = driver


@pytest.fixture
def theirs(terminal: Terminal) -> Iterator[WriterThread]:
    with open(terminal.line, "w", encoding="utf-8", closefd=False) as file:
        thread = WriterThread(file)
        thread.start()
        yield thread
    os.close(terminal.line)
    terminal.hang_up()


def test_textuals_own_thread_is_replaced_once_what_it_has_is_out(
    terminal: Terminal, theirs: WriterThread
) -> None:
    driver = Driver(theirs)
    theirs.write("first ")
    write_at_once(App(driver))
    ours = driver._writer_thread
    assert isinstance(ours, PromptWriter)
    ours.write("second")
    assert terminal.take() == b"first second"
    write_at_once(App(driver))
    assert driver._writer_thread is ours
    ours.stop()


@pytest.mark.parametrize("driver", [None, object(), Driver(None), Driver(object())])
def test_another_textual_is_left_as_it_is(driver: object) -> None:
    before = getattr(driver, "_writer_thread", None)
    write_at_once(App(driver))
    assert getattr(driver, "_writer_thread", None) is before
