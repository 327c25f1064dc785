"""What opening one score may cost, and the walls around the process that reads it.

The figures leave room for the longest piano scores (a sonata of 8,000 notes is 6 MB of MusicXML
and takes 120 MB of memory) and stop what only a broken or hostile file needs.
"""

from __future__ import annotations

import sys
from pathlib import PurePath
from typing import Any

FILE_BYTES = 32 << 20
"""The largest score file that is opened."""
INFLATED_BYTES = 64 << 20
"""What all the files of a compressed score may come to, unpacked."""
ARCHIVE_FILES = 256
"""Files in one compressed score."""
ARCHIVE_RATIO = 200
"""Unpacked size over packed size, where the unpacked size is over a megabyte."""
ANSWER_BYTES = 64 << 20
"""What the reading process may hand back."""
MEMORY_BYTES = 1 << 30
"""Address space of the reading process, where the system can limit it."""
SECONDS = 18.0
"""From the start of reading to its end."""

_FORBIDDEN = (
    "socket.",
    "subprocess.",
    "os.exec",
    "os.fork",
    "os.posix_spawn",
    "os.spawn",
    "os.startfile",
    "os.system",
    "urllib.",
)
_CHANGING = ("os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.symlink", "os.chmod")
_CODE_CACHE = "__pycache__"


def limit_process(memory_bytes: int = MEMORY_BYTES, seconds: float = SECONDS) -> None:
    """Bind this process to its memory and processor time, for good, where the system can.

    Windows has no such limits; there the parent's limits on time and size stand alone.
    """
    try:
        import resource
    except ImportError:
        return
    wanted = {
        resource.RLIMIT_AS: memory_bytes,
        resource.RLIMIT_CPU: int(seconds) + 1,
        resource.RLIMIT_CORE: 0,
    }
    for which, value in wanted.items():
        _, hard = resource.getrlimit(which)
        if hard != resource.RLIM_INFINITY:
            value = min(value, hard)
        try:
            resource.setrlimit(which, (value, value))
        except (ValueError, OSError):  # macOS refuses some; the parent's limits remain
            continue


def seal_process() -> None:
    """From here on this process can neither write a file, nor start a program, nor use a network.

    Python's own compiled modules are the exception. It is a second wall: nothing that reads a
    score means to do any of it.
    """
    sys.addaudithook(_refuse)


def _refuse(event: str, args: tuple[Any, ...]) -> None:
    changes = _opens_to_write(*args) if event == "open" else event.startswith(_CHANGING)
    if (changes and not _is_code_cache(args[0])) or event.startswith(_FORBIDDEN):
        raise PermissionError(f"reading a score may not use {event}")


def _opens_to_write(path: object, mode: str | None, flags: int) -> bool:
    if isinstance(path, int):
        return False
    if mode is not None:
        return any(letter in mode for letter in "wax+")
    import os

    return bool(flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT))


def _is_code_cache(path: object) -> bool:
    return isinstance(path, str) and _CODE_CACHE in PurePath(path).parts
