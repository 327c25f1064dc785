"""What opening one score may cost, and the walls around the process that reads it.

The figures leave room for the longest piano scores (a sonata of 8,000 notes is 6 MB of MusicXML
and takes 120 MB of memory) and stop what only a broken or hostile file needs.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
import zipfile
from io import BytesIO
from pathlib import Path, PurePath, PurePosixPath, PureWindowsPath
from typing import Any

from coach.score.formats import ScoreError
from coach.score.words import printable

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
WORK_S = 18.0
"""Processor time that reading may take: a busy machine makes it wait, and the score is no worse."""
PATIENCE_S = 120.0
"""From the start of reading to its end; it can be cancelled. Own choice: beside eight others on two
cores 18 s of work are some 80."""

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


def limit_process(memory_bytes: int = MEMORY_BYTES, work_s: float = WORK_S) -> None:
    """Bind this process to its memory and processor time, for good, where the system can.

    Out of processor time it gets SIGXCPU, which tells the parent why it ended, and a second later
    it is killed. Windows has no such limits; there the parent's own stand alone.
    """
    try:
        import resource
    except ImportError:
        return
    wanted = {
        resource.RLIMIT_AS: (memory_bytes, memory_bytes),
        resource.RLIMIT_CPU: (int(work_s) + 1, int(work_s) + 2),
        resource.RLIMIT_CORE: (0, 0),
    }
    for which, (soft, most) in wanted.items():
        _, hard = resource.getrlimit(which)
        if hard != resource.RLIM_INFINITY:
            soft, most = min(soft, hard), min(most, hard)
        try:
            resource.setrlimit(which, (soft, most))
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


# A score's file before anybody reads it: is it there, is it a file, can it be read, how large.
#
# A compressed score (.mxl) is looked over before anything in it is unpacked.
#
# A MusicXML archive is a zip file (MusicXML 4.0, "Compressed .mxl files"). zipfile never inflates
# a member beyond the size that the archive's directory states, so limits on the stated sizes hold.


_REASONS = {
    errno.ENOENT: "is not there: check the name and the folder.",
    errno.ENOTDIR: "is not there: a part of its path is a file, not a folder.",
    errno.EACCES: "may not be read by you: change its permissions.",
    errno.EPERM: "may not be read by you: change its permissions.",
    errno.ELOOP: "is a link that leads back to itself: name the score's own file.",
    errno.ENAMETOOLONG: "is too long a name for a file: check it.",
}


def printable_name(path: Path) -> str:
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
    return ScoreError(f"{printable_name(path)} {reason}")


_DIRECTORY_ENTRY = b"PK\x01\x02"
_ENCRYPTED = 0x1
_SMALL = 1 << 20
"""Bytes: an archive that unpacks to less can do no harm, however well it was packed. Own choice."""


def is_archive(data: bytes) -> bool:
    """Whether these bytes begin as a zip file does."""
    return data.startswith(b"PK")


def check_archive(data: bytes, name: str) -> None:
    """Raise ScoreError where the archive ``name`` is broken or could do harm by being unpacked."""
    # Counted before zipfile makes an object for each.
    if data.count(_DIRECTORY_ENTRY) > ARCHIVE_FILES:
        raise ScoreError(
            f"{name} is an archive of more than {ARCHIVE_FILES} files, not a score: refused."
        )
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            members = archive.infolist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise ScoreError(
            f"{name} is a damaged archive: export or download the score again."
        ) from error
    for member in members:
        _check_member(member, name)
    _check_sizes(members, len(data), name)


def _check_member(member: zipfile.ZipInfo, name: str) -> None:
    inside = printable(member.filename, 60)
    path, windows = PurePosixPath(member.filename), PureWindowsPath(member.filename)
    if path.is_absolute() or windows.anchor or ".." in windows.parts:
        raise ScoreError(
            f"{name} is an archive that names a file outside itself ({inside}): refused."
        )
    if member.flag_bits & _ENCRYPTED:
        raise ScoreError(f"{name} is locked with a password ({inside}): unpack it first.")
    if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise ScoreError(
            f"{name} is packed in a way that MusicXML does not use ({inside}): export it again."
        )


def _check_sizes(members: list[zipfile.ZipInfo], packed: int, name: str) -> None:
    total = sum(member.file_size for member in members)
    if total > INFLATED_BYTES:
        raise ScoreError(
            f"{name} unpacks to {total / (1 << 20):,.0f} MiB,"
            f" and no score needs more than {INFLATED_BYTES >> 20}: refused."
        )
    if total > _SMALL and total > ARCHIVE_RATIO * packed:
        raise ScoreError(
            f"{name} unpacks to {total / packed:,.0f} times its size, as no score does: refused."
        )
