"""Files and folders that only their owner may read: what somebody practises is nobody else's.

On Windows a folder in the user's own profile is private already, and these modes mean nothing.
"""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from pathlib import Path

FOLDER_MODE, FILE_MODE = 0o700, 0o600
_OTHERS = 0o077
"""What anybody but the owner may do."""


def make_private_folder(folder: Path) -> None:
    """Make the folder, and those above it, where they are missing. Raises OSError."""
    missing = []
    above = folder
    while not above.exists() and above != above.parent:
        missing.append(above)
        above = above.parent
    for one in reversed(missing):
        with suppress(FileExistsError):  # another program was quicker
            one.mkdir(mode=FOLDER_MODE)
    folder.mkdir(exist_ok=True, mode=FOLDER_MODE)  # says so where a file is in the way


def make_private_file(path: Path) -> bool:
    """Make an empty file where there is none; whether it was made. Raises OSError."""
    try:
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE_MODE))
    except FileExistsError:
        return False
    return True


def write_private(path: Path, text: str) -> None:
    """Write a file of text, in place of what was there. Raises OSError."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, FILE_MODE)
    with os.fdopen(handle, "w", encoding="utf-8", errors="replace") as file:
        file.write(text)
    tighten(path)


def replace_private(path: Path, text: str) -> None:
    """The same, whole or not at all: whoever reads meanwhile sees what was there before. Raises
    OSError."""
    handle, written = tempfile.mkstemp(dir=path.parent, prefix=path.name, suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", errors="replace") as file:
            file.write(text)
        os.replace(written, path)
    except OSError:
        with suppress(OSError):
            os.unlink(written)
        raise


def tighten(path: Path) -> None:
    """Take from all others what they may do with it; as it is where it isn't ours to change."""
    with suppress(OSError, NotImplementedError):
        mode = path.stat().st_mode
        if mode & _OTHERS:
            path.chmod(mode & ~_OTHERS & 0o7777)
