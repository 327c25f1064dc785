"""The lease on a record: of several Keyholes at the same piano, only one keeps what is played.

The system's own lock on a file is the lease, so that a program that crashes gives it back.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

FILE = "in-use.lock"
"""Its contents mean nothing, and it may stay behind: only the lock on it counts."""

if sys.platform == "win32":
    import msvcrt

    def _lock(file: int) -> None:
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)

    _TAKEN: tuple[type[OSError], ...] = (OSError,)
else:
    import fcntl

    def _lock(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)

    _TAKEN = (BlockingIOError, PermissionError)
    """Other errors mean a file system without locks, where nothing can be known."""


class Lease:
    """The right to keep what is played in one record, held by one drill at a time.

    Where it can't be known who else is there (a folder that can't be written to, a file system
    without locks) it is ours: then the record itself says what is wrong, or nothing is.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE
        self._file: int | None = None
        self._ours = False

    def take(self) -> bool:
        """Take it where it is free; whether it is ours now. Returns at once."""
        if not self._ours:
            self._ours = self._try()
        return self._ours

    @property
    def ours(self) -> bool:
        """Whether it was taken, and not given back."""
        return self._ours

    def give_back(self) -> None:
        """Let another have it."""
        self._ours = False
        if self._file is not None:
            os.close(self._file)  # the lock goes with it
            self._file = None

    def _try(self) -> bool:
        try:
            file = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError:
            return True
        try:
            _lock(file)
        except _TAKEN:
            os.close(file)
            return False
        except OSError:
            os.close(file)
            return True
        self._file = file
        return True
