"""The parent's side of reading in a child process: start it, wait for it, never be harmed by it.

What opening a score can end in besides a score.

Having a score read by a process of its own, and what goes wrong with it in words.
"""

from __future__ import annotations

import contextlib
import json
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from coach.children import start_python
from coach.score.formats import ScoreError
from coach.score.model import Score
from coach.score.opening.limits import ANSWER_BYTES, PATIENCE_S, WORK_S, printable_name
from coach.score.serialize import score_from_plain
from coach.score.words import printable

READER = ("-X", "utf8", "-m", "coach.score.opening.child")
"""The reading program: arguments of Python."""

_GLANCE_S = 0.05
"""So often it is asked whether the pianist gave up: soon enough to seem at once. Own choice."""
_OUT_OF_WORK = -getattr(signal, "SIGXCPU", 0) or None
"""How a child ends that has used its processor time up; None where the system has no such end."""


class Stopped(Exception):
    """The child gave no answer."""


class Cancelled(Stopped):
    """The pianist no longer wants it."""


class OutOfTime(Stopped):
    """It took longer than it may by the clock."""


class OutOfWork(Stopped):
    """It took more processor time than it may."""


class TooMuch(Stopped):
    """Its answer was larger than it may be."""


class Died(Stopped):
    """It ended without an answer: killed by the system, or crashed inside a library."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What one child may take."""

    seconds: float = PATIENCE_S
    answer_bytes: int = ANSWER_BYTES


def ask(
    request: dict[str, Any],
    *,
    program: Sequence[str] = READER,
    limits: Limits = Limits(),
    show_wait: Callable[[float], None] = lambda seconds: None,
    cancelled: Callable[[], bool] = lambda: False,
) -> bytes:
    """What the program answers to the request, both as bytes of JSON or text.

    ``show_wait`` is called with the seconds since the start, every twentieth of a second.
    Raises Stopped (one of its kinds), or OSError where no process can be started. The child never
    outlives the call.
    """
    child = _start(program)
    answer = _Answer(child.stdout, limits.answer_bytes)
    try:
        _tell(child, request)
        _wait(child, answer, limits, show_wait, cancelled)
    finally:
        _end(child, answer)
    if child.returncode == _OUT_OF_WORK:
        raise OutOfWork
    if not answer.data:
        raise Died(f"exit status {child.returncode}")
    return bytes(answer.data)


class _Answer(threading.Thread):
    """Collects what the child writes, up to a limit. A thread, because Windows can't poll pipes."""

    def __init__(self, pipe: IO[bytes] | None, most: int) -> None:
        super().__init__(name="score answer", daemon=True)
        self._pipe, self._most = pipe, most
        self.data = bytearray()
        self.over = threading.Event()
        self.start()

    @property
    def too_much(self) -> bool:
        return len(self.data) > self._most

    def run(self) -> None:
        assert self._pipe is not None
        while not self.too_much and (chunk := self._pipe.read1(1 << 16)):  # type: ignore[attr-defined]
            self.data += chunk
        self.over.set()


def _start(program: Sequence[str]) -> subprocess.Popen[bytes]:
    # One thread is enough, and each would claim address space.
    alone = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    return start_python(program, stdin=subprocess.PIPE, stdout=subprocess.PIPE, environment=alone)


def _tell(child: subprocess.Popen[bytes], request: dict[str, Any]) -> None:
    assert child.stdin is not None
    with contextlib.suppress(OSError), child.stdin:  # if it is gone, the answer will be missing
        child.stdin.write(json.dumps(request).encode())


def _wait(
    child: subprocess.Popen[bytes],
    answer: _Answer,
    limits: Limits,
    show_wait: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> None:
    start = time.monotonic()
    while not answer.over.wait(_GLANCE_S):
        passed = time.monotonic() - start
        if cancelled():
            raise Cancelled
        if passed > limits.seconds:
            raise OutOfTime
        show_wait(passed)
    if answer.too_much:
        raise TooMuch


def _end(child: subprocess.Popen[bytes], answer: _Answer) -> None:
    if not answer.over.is_set() or answer.too_much:
        child.kill()
    try:
        child.wait(timeout=1)
    except subprocess.TimeoutExpired:  # answered, and yet it lingers
        child.kill()
        child.wait()
    answer.join()
    assert child.stdout is not None
    child.stdout.close()


class OpeningCancelled(ScoreError):
    """The pianist no longer wanted this score."""


class ReaderFault(ScoreError):
    """Our reader failed at a score in a way that it should not: a bug of ours.

    ``detail`` is for those who mend it; the text is for the pianist, as always.
    """

    def __init__(self, sentence: str, detail: str) -> None:
        super().__init__(sentence)
        self.detail = detail


def read_apart(
    path: Path,
    reader: Sequence[str] | None,
    progress: Callable[[str], None],
    cancelled: Callable[[], bool],
    part: str = "",
) -> bytes:
    """The score's plain data as JSON bytes, from the reading process; raises ScoreError."""
    name = printable_name(path)
    progress(f"Reading {name}")

    def show_wait(seconds: float) -> None:
        if seconds >= 1:
            progress(f"Reading {name}: {seconds:.0f} s")

    try:
        request = {"path": str(path.absolute()), "part": part}
        program = reader or READER
        answer = ask(request, program=program, show_wait=show_wait, cancelled=cancelled)
    except Stopped as reason:
        raise _explain_stop(name, reason) from None
    except OSError as error:
        raise ScoreError(
            f"{name} cannot be read now: the system starts no further program"
            f" ({error.strerror or error}); close some and try again."
        ) from None
    return _body(name, answer)


def _explain_stop(name: str, reason: Stopped) -> ScoreError:
    match reason:
        case Cancelled():
            return OpeningCancelled(f"Reading {name} was cancelled.")
        case OutOfTime():
            return ScoreError(
                f"{name} was not read within {PATIENCE_S:.0f} seconds: close other programs and try"
                " again, or export the score in parts."
            )
        case OutOfWork():
            return ScoreError(
                f"{name} takes longer than {WORK_S:.0f} seconds of work to read: export the score"
                " as MusicXML, or in parts."
            )
        case TooMuch():
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


def score_in_answer(path: Path, body: bytes) -> Score:
    """The score in what the reading process answered; raises ScoreError."""
    try:
        return score_from_plain(json.loads(body))
    except (ValueError, RecursionError) as error:
        raise _fault(printable_name(path), repr(error)) from None
