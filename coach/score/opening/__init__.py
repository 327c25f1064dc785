"""Opening a score file, whoever made it: from the cache, or read in a process with limits.

``open_score`` is the door. Nothing that a file contains is ever executed, and nothing in it can
make the coach hang, fill the memory or write a file: see :mod:`coach.score.opening.limits`.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from coach.score.errors import ScoreError
from coach.score.model import Score
from coach.score.opening import cache, process
from coach.score.opening.files import file_bytes, shown
from coach.score.opening.limits import ANSWER_BYTES, SECONDS
from coach.score.plain import score_from_plain
from coach.score.words import printable

__all__ = ["OpeningCancelled", "ReaderFault", "open_score", "score_key"]


class OpeningCancelled(ScoreError):
    """The pianist no longer wanted this score."""


class ReaderFault(ScoreError):
    """Our reader failed at a score in a way that it should not: a bug of ours.

    ``detail`` is for those who mend it; the text is for the pianist, as always.
    """

    def __init__(self, sentence: str, detail: str) -> None:
        super().__init__(sentence)
        self.detail = detail


def open_score(
    path: Path,
    *,
    cache_dir: Path | None = None,
    on_progress: Callable[[str], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
    reader: Sequence[str] = process.READER,
) -> Score:
    """The score in a file of any kind that can be read.

    ``cache_dir`` is where scores already read are kept (default: the system's cache folder).
    ``on_progress`` is given a short text now and again while a new score is read; ``cancelled``
    is asked about twenty times a second whether to give up. Blocks meanwhile, so a screen calls
    it from a worker thread. ``reader`` is the program that reads.

    Raises ScoreError, one sentence for the pianist; OpeningCancelled where it was given up.
    """
    data = file_bytes(path)
    folder = cache_dir or cache.default_folder()
    entry = cache.entry_name(cache.content_key(data), path.name)
    score = cache.load(folder, entry)
    if score is None:
        body = _read(path, reader, on_progress or _silent, cancelled or _never)
        score = _understood(path, body)
        if file_bytes(path) == data:  # else it was written to meanwhile
            cache.store(folder, entry, body)
    return replace(score, source=path.name)


def score_key(path: Path) -> str:
    """A key of the file's content, whatever its name; raises ScoreError as open_score does."""
    return cache.content_key(file_bytes(path))


def _silent(text: str) -> None:
    pass


def _never() -> bool:
    return False


def _read(
    path: Path,
    reader: Sequence[str],
    progress: Callable[[str], None],
    cancelled: Callable[[], bool],
) -> bytes:
    """The score's plain data as JSON bytes, from the reading process."""
    name = shown(path)
    progress(f"Reading {name}")

    def waiting(seconds: float) -> None:
        if seconds >= 1:
            progress(f"Reading {name}: {seconds:.0f} s")

    try:
        request = {"path": str(path.absolute())}
        answer = process.ask(request, program=reader, waiting=waiting, cancelled=cancelled)
    except process.Stopped as reason:
        raise _stopped(name, reason) from None
    except OSError as error:
        raise ScoreError(
            f"{name} cannot be read now: the system starts no further program"
            f" ({error.strerror or error}); close some and try again."
        ) from None
    return _body(name, answer)


def _stopped(name: str, reason: process.Stopped) -> ScoreError:
    match reason:
        case process.Cancelled():
            return OpeningCancelled(f"Reading {name} was cancelled.")
        case process.OutOfTime():
            return ScoreError(f"{name} takes longer than {SECONDS:.0f} seconds to read: refused.")
        case process.TooMuch():
            most = ANSWER_BYTES >> 20
            return ScoreError(f"{name} holds more than {most} MiB of music: refused.")
        case _:
            sentence = (
                f"{name} could not be read: the reader broke off, as it does when memory runs"
                " out; export the score again, or in parts."
            )
            return ReaderFault(sentence, str(reason))


def _body(name: str, answer: bytes) -> bytes:
    kind, _, body = answer.partition(b"\n")
    if kind == b"score":
        return body
    text = body.decode("utf-8", "replace")
    if kind == b"refused":
        raise ScoreError(printable(text.strip()))
    raise _fault(name, text)


def _fault(name: str, detail: str) -> ReaderFault:
    return ReaderFault(
        f"{name} holds something that the reader does not understand: export it as MusicXML again.",
        detail,
    )


def _understood(path: Path, body: bytes) -> Score:
    try:
        return score_from_plain(json.loads(body))
    except (ValueError, RecursionError) as error:
        raise _fault(shown(path), repr(error)) from None
