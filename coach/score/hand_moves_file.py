"""Hand moves kept with the piece: a small text file for each score, named by its content's key.

One move a line, as :mod:`coach.score.hand_moves` reads it; what follows ``//`` is for people. The
pianist may change the file by hand.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from coach.private_files import make_private_folder
from coach.score.errors import ScoreError
from coach.score.hand_moves import HandMove, MoveError, parse_move

_COMMENT = "//"
_LONGEST_BYTES = 1 << 20


def load_moves(folder: Path, key: str) -> tuple[HandMove, ...]:
    """The moves kept for the score with this key (see score_key), in order; () where none are.

    Raises ScoreError where the file can't be read, or a line in it is no hand move.
    """
    file = _file(folder, key)
    try:
        with file.open("rb") as opened:
            text = opened.read(_LONGEST_BYTES).decode("utf-8", "replace")
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise _trouble("cannot be read", file, error) from None
    lines = (line.partition(_COMMENT)[0].strip() for line in text.splitlines())
    try:
        return tuple(parse_move(line) for line in lines if line)
    except MoveError as error:
        raise ScoreError(f"Your hand moves in {file} cannot be used: {error}") from None


def save_moves(folder: Path, key: str, moves: Iterable[HandMove], name: str = "") -> None:
    """Keep these moves, and only these, for the score with this key; none of them: forget it.

    ``name`` is what people call the score. Raises ScoreError where the folder can't be written.
    """
    file, lines = _file(folder, key), [str(move) for move in moves]
    try:
        if lines:
            _write(file, "\n".join([f"{_COMMENT} Hand moves for {name or key}", *lines, ""]))
        else:
            file.unlink(missing_ok=True)
    except OSError as error:
        raise _trouble("cannot be kept", file, error) from None


def _write(file: Path, text: str) -> None:
    make_private_folder(file.parent)
    handle, written = tempfile.mkstemp(dir=file.parent, suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", errors="replace") as opened:
            opened.write(text)
        os.replace(written, file)
    except OSError:
        with contextlib.suppress(OSError):
            os.unlink(written)
        raise


def _file(folder: Path, key: str) -> Path:
    return folder / "hands" / f"{key}.txt"


def _trouble(what: str, file: Path, error: OSError) -> ScoreError:
    reason = (error.strerror or type(error).__name__).lower()
    return ScoreError(f"Your hand moves {what} in {file.parent} ({reason}): see to that folder.")
