"""Opening a score file, whoever made it: from the cache, or read in a process with limits.

``open_score`` is the door. Nothing that a file contains is ever executed, and nothing in it can
make the coach hang, fill the memory or write a file: see :mod:`coach.score.opening.limits`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from coach.score.model import Score
from coach.score.opening.limits import file_bytes
from coach.score.opening.process import OpeningCancelled, ReaderFault

__all__ = ["OpeningCancelled", "ReaderFault", "find_read", "open_score", "score_key"]


def open_score(
    path: Path,
    *,
    cache_dir: Path | None = None,
    on_progress: Callable[[str], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
    reader: Sequence[str] | None = None,
    part: str = "",
) -> Score:
    """The score in a file of any kind that can be read.

    ``cache_dir`` is where scores already read are kept (default: the system's cache folder).
    ``on_progress`` is given a short text now and again while a new score is read; ``cancelled``
    is asked about twenty times a second whether to give up. Blocks meanwhile, so a screen calls
    it from a worker thread. ``reader`` is the program that reads, where it is not ours. ``part``
    names the part that is asked for, where it isn't the piano that is found.

    Raises ScoreError, one sentence for the pianist; OpeningCancelled where it was given up.
    """
    # Not above: the reading process, which lies in this package, starts sooner without them.
    from coach.score.opening import cache
    from coach.score.opening.process import read_apart, score_in_answer

    data = file_bytes(path)
    folder = cache_dir or cache.default_folder()
    entry = _entry(path, data, part)
    score = cache.load(folder, entry)
    if score is None:
        body = read_apart(path, reader, on_progress or _silent, cancelled or _never, part)
        score = score_in_answer(path, body)
        if file_bytes(path) == data:  # else it was written to meanwhile
            cache.store(folder, entry, body)
    return replace(score, source=path.name)


def find_read(path: Path, *, cache_dir: Path | None = None, part: str = "") -> Score | None:
    """The score in a file where it was read before; None where reading it would take its time.

    Raises ScoreError where there is no such file.
    """
    from coach.score.opening import cache

    score = cache.load(cache_dir or cache.default_folder(), _entry(path, file_bytes(path), part))
    return score and replace(score, source=path.name)


def _entry(path: Path, data: bytes, part: str) -> str:
    from coach.score.opening import cache

    name = f"{path.name}\n{part}" if part else path.name
    return cache.entry_name(cache.content_key(data), name)


def score_key(path: Path) -> str:
    """A key of the file's content, whatever its name; raises ScoreError as open_score does."""
    from coach.score.opening import cache

    return cache.content_key(file_bytes(path))


def _silent(text: str) -> None:
    pass


def _never() -> bool:
    return False
