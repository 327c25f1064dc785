"""What goes wrong is said in one sentence on stderr, with a non-zero exit, never a traceback."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

COULD_NOT = 2
"""Exit status where a command could not do its work."""


class CannotDo(Exception):
    """A command can't go on; the message is one sentence that says what to do."""


@dataclass
class Ran:
    """How a command ended."""

    status: int = 0


@contextmanager
def said_plainly() -> Iterator[Ran]:
    """Turn the errors that a pianist can cause or mend into a sentence."""
    ran = Ran()
    try:
        yield ran
    except KeyboardInterrupt:
        ran.status = 130
    except BrokenPipeError:  # the reader of our output (head, a pager) went away: not an error
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except Exception as error:
        if not isinstance(error, _expected()):
            raise
        print(f"coach: {error}", file=sys.stderr)
        ran.status = COULD_NOT


def _expected() -> tuple[type[BaseException], ...]:
    """Imported only once something went wrong: start-up stays quick."""
    from coach.playing.midifile import TakeError
    from coach.playing.ports import PortsUnavailable
    from coach.record.errors import RecordError
    from coach.score.choose import WindowError
    from coach.score.errors import ScoreError
    from coach.score.handmoves import MoveError

    return (CannotDo, ScoreError, MoveError, WindowError, TakeError, PortsUnavailable, RecordError)
