"""Having a score read by a process of its own, and what goes wrong with it in words."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path

from coach.score.errors import ScoreError
from coach.score.model import Score
from coach.score.opening import process
from coach.score.opening.files import shown
from coach.score.opening.limits import ANSWER_BYTES, SECONDS
from coach.score.opening.refusals import OpeningCancelled, ReaderFault
from coach.score.plain import score_from_plain
from coach.score.words import printable


def read_apart(
    path: Path,
    reader: Sequence[str] | None,
    progress: Callable[[str], None],
    cancelled: Callable[[], bool],
) -> bytes:
    """The score's plain data as JSON bytes, from the reading process; raises ScoreError."""
    name = shown(path)
    progress(f"Reading {name}")

    def waiting(seconds: float) -> None:
        if seconds >= 1:
            progress(f"Reading {name}: {seconds:.0f} s")

    try:
        request = {"path": str(path.absolute())}
        program = reader or process.READER
        answer = process.ask(request, program=program, waiting=waiting, cancelled=cancelled)
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


def understood(path: Path, body: bytes) -> Score:
    """The score in what the reading process answered; raises ScoreError."""
    try:
        return score_from_plain(json.loads(body))
    except (ValueError, RecursionError) as error:
        raise _fault(shown(path), repr(error)) from None
