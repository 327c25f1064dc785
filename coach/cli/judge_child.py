"""The process in which long takes are judged, so that the screen never stands still for one.

It is told jobs and answers with verdicts, each a pickle with its length before it, until its input
ends: so it never outlives the program that started it.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress

from coach.cli.judge_wire import read_job, write_verdict

LESS_URGENT = 5
"""By how much this process is nicer than ours: a verdict may wait, a key may not. Own choice."""


def main() -> None:
    """Judge until there is nothing more to be judged."""
    out = os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)  # whatever prints, it is no verdict
    with suppress(AttributeError, OSError):  # no such thing on Windows
        os.nice(LESS_URGENT)
    with suppress(BrokenPipeError, KeyboardInterrupt):
        while (job := read_job(sys.stdin.buffer)) is not None:
            write_verdict(out, job, job.judge())


if __name__ == "__main__":
    main()
