"""The parent's side of reading in a child process: start it, wait for it, never be harmed by it."""

from __future__ import annotations

import contextlib
import json
import subprocess
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import IO, Any

from coach.children import start_python
from coach.score.opening.limits import ANSWER_BYTES, SECONDS

READER = ("-X", "utf8", "-m", "coach.score.opening.child")
"""The reading program: arguments of Python."""

_GLANCE_S = 0.05


class Stopped(Exception):
    """The child gave no answer."""


class Cancelled(Stopped):
    """The pianist no longer wants it."""


class OutOfTime(Stopped):
    """It took longer than it may."""


class TooMuch(Stopped):
    """Its answer was larger than it may be."""


class Died(Stopped):
    """It ended without an answer: killed by the system, or crashed inside a library."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What one child may take."""

    seconds: float = SECONDS
    answer_bytes: int = ANSWER_BYTES


def ask(
    request: dict[str, Any],
    *,
    program: Sequence[str] = READER,
    limits: Limits = Limits(),
    waiting: Callable[[float], None] = lambda seconds: None,
    cancelled: Callable[[], bool] = lambda: False,
) -> bytes:
    """What the program answers to the request, both as bytes of JSON or text.

    ``waiting`` is called with the seconds since the start, every twentieth of a second.
    Raises Stopped (one of its kinds), or OSError where no process can be started. The child never
    outlives the call.
    """
    child = _start(program)
    answer = _Answer(child.stdout, limits.answer_bytes)
    try:
        _tell(child, request)
        _wait(child, answer, limits, waiting, cancelled)
    finally:
        _end(child, answer)
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
    waiting: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> None:
    start = time.monotonic()
    while not answer.over.wait(_GLANCE_S):
        passed = time.monotonic() - start
        if cancelled():
            raise Cancelled
        if passed > limits.seconds:
            raise OutOfTime
        waiting(passed)
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
