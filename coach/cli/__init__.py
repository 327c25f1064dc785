"""The command line: the one place that wires the rooms together."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from coach.cli.parser import PIANIST, make_parser

if TYPE_CHECKING:
    from pathlib import Path

    from coach.cli.errors import Ran


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status (0 done, 2 could not)."""
    from coach.cli.errors import say_errors_plainly
    from coach.cli.terminal import flush, let_go_of_output, open_what_is_shut

    open_what_is_shut()
    with say_errors_plainly() as ran:
        ran.status = _run(argv, ran)
        flush()
    if ran.status:
        let_go_of_output()
    return ran.status


def _run(argv: Sequence[str] | None, ran: Ran) -> int:
    try:
        options = make_parser().parse_args(argv)
    except SystemExit as done:  # help was asked for, or the words are none of ours
        return int(done.code or 0)
    from coach.cli import commands

    options.shared_data = options.data
    if options.pianist is None:
        options.pianist = os.environ.get(PIANIST) or None
    if options.pianist is not None:
        options.data = _folder_of(options.pianist, options.data)
    ran.data = options.data
    return commands.RUN[options.command or "home"](options)


def _folder_of(pianist: str, data: Path | None) -> Path:
    """Where the record of one of several pianists lies. Raises CannotDo."""
    from coach.cli.errors import CannotDo
    from coach.record.folder import RecordError, pianist_folder

    try:
        return pianist_folder(pianist, data)
    except RecordError as error:
        raise CannotDo(str(error)) from error
