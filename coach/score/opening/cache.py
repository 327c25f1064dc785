"""Scores already read, kept as plain data so that they open again in milliseconds.

An entry is one file: a line with its format and the SHA-256 of the rest, then the score as JSON
(:mod:`coach.score.serialize`). Its name is made from the score file's content and from what read
it, so an entry is never out of date, and the folder may be deleted at any time. What can't be read
or written is as if it weren't there: a cache must never keep a pianist from a score.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import tempfile
from functools import cache
from pathlib import Path

import coach.score
from coach.private_files import make_private_folder
from coach.score.model import Score
from coach.score.opening.limits import ANSWER_BYTES
from coach.score.serialize import FORMAT, score_from_plain

_MOST_ENTRIES = 500
"""Scores that are kept read; the least lately used go first. Own choice: more than a pianist owns,
and some tens of megabytes."""
_SUFFIX = ".score"


def default_folder() -> Path:
    """Where the operating system keeps a program's cache."""
    from platformdirs import user_cache_path  # 20 ms that only a first call should pay

    return user_cache_path("keyhole", appauthor=False) / "scores"


def content_key(data: bytes) -> str:
    """What tells one score file's content from every other's: its SHA-256, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def entry_name(content: str, name: str) -> str:
    """The entry of a score file with this content key and file name.

    The name counts, because its ending may decide how a file is read, and a score without a
    title is called by it.
    """
    whole = f"{FORMAT}\n{_reader()}\n{content}\n{name}"
    return hashlib.sha256(whole.encode("utf-8", "surrogatepass")).hexdigest() + _SUFFIX


@cache
def _reader() -> str:
    """The reading program as it is installed: size and date of each of its files."""
    files = sorted(Path(coach.score.__file__).parent.rglob("*.py"))
    stats = [(file.name, file.stat()) for file in files]
    return ";".join(f"{name} {stat.st_size} {stat.st_mtime_ns}" for name, stat in stats)


def load(folder: Path, entry: str) -> Score | None:
    """The score in an entry; None where there is none, or it is damaged."""
    try:
        with (folder / entry).open("rb") as file:
            head, body = file.readline(100), file.read(ANSWER_BYTES + 1)
        if head != _head(body):
            return None
        return score_from_plain(json.loads(body))
    except (OSError, ValueError, RecursionError):
        return None


def store(folder: Path, entry: str, body: bytes) -> None:
    """Keep a score's plain data, JSON as bytes; whoever reads meanwhile sees all of it or none."""
    with contextlib.suppress(OSError):
        make_private_folder(folder)
        handle, written = tempfile.mkstemp(dir=folder, suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(_head(body) + body)
            os.replace(written, folder / entry)
        except OSError:
            os.unlink(written)
            raise
        _drop_oldest(folder)


def _head(body: bytes) -> bytes:
    return f"score {FORMAT} {hashlib.sha256(body).hexdigest()}\n".encode()


def _drop_oldest(folder: Path) -> None:
    """Keep the folder small: the entries written longest ago go first."""
    entries = list(folder.glob(f"*{_SUFFIX}"))
    if len(entries) > _MOST_ENTRIES:
        for entry in sorted(entries, key=lambda e: e.stat().st_mtime)[:-_MOST_ENTRIES]:
            entry.unlink(missing_ok=True)
