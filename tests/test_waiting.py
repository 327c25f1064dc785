"""The line that says what takes so long."""

import io

from coach.cli.terminal import waiting_line


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_each_text_takes_the_place_of_the_last_and_nothing_is_left_of_it() -> None:
    terminal = Terminal()
    with waiting_line(terminal) as write:
        write("Reading a.xml: 1 s")
        write("Reading a.xml: 2 s")
    parts = terminal.getvalue().split("\r\x1b[K")
    assert parts == ["", "Reading a.xml: 1 s", "Reading a.xml: 2 s", ""]


def test_nothing_is_written_where_nobody_looks_or_nothing_took_long() -> None:
    file, terminal = io.StringIO(), Terminal()
    with waiting_line(file) as write:
        write("Reading a.xml: 1 s")
    with waiting_line(terminal):
        pass
    assert file.getvalue() == terminal.getvalue() == ""
