"""A score's file before anybody reads it: is it there, is it a file, can it be read, how large."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

from coach.score.errors import ScoreError
from coach.score.opening.limits import FILE_BYTES
from coach.score.words import printable

_REASONS = {
    errno.ENOENT: "is not there: check the name and the folder.",
    errno.ENOTDIR: "is not there: a part of its path is a file, not a folder.",
    errno.EACCES: "may not be read by you: change its permissions.",
    errno.EPERM: "may not be read by you: change its permissions.",
    errno.ELOOP: "is a link that leads back to itself: name the score's own file.",
    errno.ENAMETOOLONG: "is too long a name for a file: check it.",
}


def shown(path: Path) -> str:
    """The file's name as it can be printed on one line."""
    return printable(path.name or str(path), 100)


def file_bytes(path: Path) -> bytes:
    """The content of a score file; raises ScoreError where it can't be had or is too large."""
    try:
        _check_kind(path, _status(path))
        with path.open("rb") as file:
            data = file.read(FILE_BYTES + 1)
    except OSError as error:
        raise _refusal(path, _REASONS.get(error.errno or 0, _in_system_words(error))) from None
    if not data:
        raise _refusal(path, "is empty: export or download the score again.")
    if len(data) > FILE_BYTES:
        raise _too_large(path)
    return data


def _status(path: Path) -> os.stat_result:
    try:
        return os.stat(path)
    except ValueError:  # what Python says to a NUL in a path
        raise _refusal(path, "cannot be a file's name: it holds a NUL character.") from None


def _check_kind(path: Path, status: os.stat_result) -> None:
    if stat.S_ISDIR(status.st_mode):
        raise _refusal(path, "is a folder: name a score file in it.")
    if not stat.S_ISREG(status.st_mode):  # opening a pipe would wait for ever
        raise _refusal(path, "is a device or a pipe, not a file: save the score as a file first.")
    if status.st_size > FILE_BYTES:
        raise _too_large(path)


def _too_large(path: Path) -> ScoreError:
    return _refusal(path, f"is larger than {FILE_BYTES >> 20} MiB, which no score needs: refused.")


def _in_system_words(error: OSError) -> str:
    words = (error.strerror or type(error).__name__).lower()
    return f"cannot be read ({words}): copy it to another place and try again."


def _refusal(path: Path, reason: str) -> ScoreError:
    return ScoreError(f"{shown(path)} {reason}")
