"""What goes wrong is said in one sentence on stderr, with a non-zero exit, never a traceback.

The traceback of what should not have happened goes to a file in the data folder.
"""

from __future__ import annotations

import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

COULD_NOT = 2
"""Exit status where a command could not do its work."""
OUR_FAULT = 70
"""Exit status after an error in Keyhole itself (EX_SOFTWARE of BSD's sysexits)."""


class CannotDo(Exception):
    """A command can't go on; the message is one sentence that says what to do."""


@dataclass
class Ran:
    """How a command ended."""

    status: int = 0
    data: Path | None = None
    """The data folder that was asked for."""


@contextmanager
def say_errors_plainly(data: Path | None = None) -> Iterator[Ran]:
    """Turn every error into a sentence; ``data`` is the data folder, if it is known already."""
    from coach.cli.terminal import let_go_of_output, warn

    ran = Ran(data=data)
    try:
        yield ran
    except KeyboardInterrupt:
        ran.status = 130
    except BrokenPipeError:  # the reader of our output (head, a pager) went away: not an error
        let_go_of_output()
    except Exception as error:
        plain = isinstance(error, _list_expected_errors())
        warn(str(error) if plain else _keep_traceback(error, ran.data))
        ran.status = COULD_NOT if plain else OUR_FAULT


def _list_expected_errors() -> tuple[type[BaseException], ...]:
    """Imported only once something went wrong: start-up stays quick."""
    from coach.playing.ports import PortsUnavailable
    from coach.playing.takes import TakeError
    from coach.record.folder import RecordError
    from coach.score.formats import ScoreError
    from coach.score.hand_moves import MoveError
    from coach.score.window import WindowError

    return (CannotDo, ScoreError, MoveError, WindowError, TakeError, PortsUnavailable, RecordError)


def _keep_traceback(error: Exception, data: Path | None) -> str:
    """Keep the traceback of an error of ours; the sentence that says where."""
    from coach.private_files import write_private
    from coach.record.folder import data_folder

    told = "".join(traceback.format_exception(error))
    said = "Keyhole stopped because of a mistake of its own; every repetition up to it is kept."
    try:
        file = data_folder(data) / f"mistake-{time.strftime('%Y-%m-%d-%H%M%S')}.txt"
        write_private(file, told)
    except Exception:  # the folder itself may be what is wrong
        return f"{said} It was: {type(error).__name__}: {error}. Start it again."
    return f"{said} Start it again; {file} tells its makers what happened."
