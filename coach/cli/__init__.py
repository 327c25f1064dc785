"""The command line: the one place that wires the rooms together."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from coach.cli.parser import make_parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status (0 done, 2 could not)."""
    options = make_parser().parse_args(argv)
    from coach.cli import commands
    from coach.cli.errors import said_plainly

    with said_plainly(getattr(options, "data", None)) as outcome:
        outcome.status = commands.RUN[options.command or "home"](options)
    sys.stdout.flush()
    return outcome.status
