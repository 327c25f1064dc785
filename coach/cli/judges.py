"""Judging long takes beside the screen: a process that lives as long as we do, and its queue.

A thread of ours waits for it, so that nothing else has to. A process that dies is started anew and
asked again; where that is of no use either, the thread judges by itself: slower, for it takes
turns with the screen, but no repetition goes without its verdict.

Run as ``python -m coach.cli.judges``, this file is that process. It is told jobs and answers with
verdicts, each a pickle with its length before it, until its input ends: so it never outlives the
program that started it.
"""

from __future__ import annotations

import io
import os
import pickle
import queue
import struct
import sys
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from contextlib import suppress
from typing import IO, TYPE_CHECKING, Any, TypeAlias

from coach.children import AnsweringChild

if TYPE_CHECKING:
    from coach.judging.judge import JudgingJob
    from coach.judging.model import Judgement

PROGRAM = ("-X", "utf8", "-m", "coach.cli.judges")
PATIENCE_S = 60.0
"""A process that takes longer over one job hangs: thousands of keys in one take need ten seconds.
Own choice."""

_Asked: TypeAlias = "tuple[JudgingJob, Future[Judgement]]"


class Judges:
    """Judges what it is given, one after the other.

    ``start``, ``give`` and ``close`` return at once, and belong to one thread; futures are done by
    another.
    """

    def __init__(self, program: Sequence[str] = PROGRAM, *, patience_s: float = PATIENCE_S) -> None:
        """``program``: what the Python of the child is started with."""
        self._child = AnsweringChild(program, patience_s=patience_s)
        self._asked: queue.SimpleQueue[_Asked | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Start the process, in the background; it is there when it is first needed."""
        if self._thread is None and not self._child.is_given_up:
            self._thread = threading.Thread(target=self._work, name="judges", daemon=True)
            self._thread.start()

    def give(
        self, job: JudgingJob, done: Callable[[Future[Judgement]], None] | None = None
    ) -> Future[Judgement]:
        """Have a job judged; ``done`` is called with its future, on another thread."""
        self.start()
        future: Future[Judgement] = Future()
        if done:
            future.add_done_callback(done)
        self._asked.put((job, future))
        return future

    def close(self) -> None:
        """Judge nothing more; what is in hand is given up."""
        self._child.give_up()
        self._asked.put(None)

    # -- on the thread ----------------------------------------------------------------------

    def _work(self) -> None:
        with suppress(OSError):  # no room for another process: then we judge here
            self._child.start()
        while (asked := self._asked.get()) is not None:
            job, future = asked
            try:
                judgement = self._judge(job)
            except Exception as mistake:  # ours: whoever asked ends the program by it
                future.set_exception(mistake)
                continue
            if judgement is None:
                future.cancel()
            else:
                future.set_result(judgement)
        self._child.end()

    def _judge(self, job: JudgingJob) -> Judgement | None:
        """The verdict; None where it is given up."""

        def exchange(to_child: IO[bytes], from_child: IO[bytes]) -> Judgement | None:
            write_job(to_child, job)
            return read_verdict(from_child, job)

        for _ in range(2):
            judgement = self._child.ask(exchange)
            if judgement is not None or self._child.is_given_up:
                return judgement
        return job.judge()


# -- how a job goes to that process, and its verdict comes back ------------------------------------
#
# The excerpt goes there once, with the job, and does not come back: the verdict is given the one
# that is here, and is as small as what was found out.


_LENGTH = struct.Struct("<Q")
_EXCERPT = "excerpt"


class _VerdictWriter(pickle.Pickler):
    def __init__(self, file: IO[bytes], job: JudgingJob) -> None:
        super().__init__(file, pickle.HIGHEST_PROTOCOL)
        self._job = job

    def persistent_id(self, obj: Any) -> str | None:
        """What the other side has."""
        return _EXCERPT if obj is self._job.excerpt else None


class _VerdictReader(pickle.Unpickler):
    def __init__(self, file: IO[bytes], job: JudgingJob) -> None:
        super().__init__(file)
        self._job = job

    def persistent_load(self, name: Any) -> Any:
        """What we have."""
        return self._job.excerpt


def write_job(pipe: IO[bytes], job: JudgingJob) -> None:
    """Send a job. Raises OSError where nobody is there to read it."""
    _write(pipe, pickle.dumps(job, pickle.HIGHEST_PROTOCOL))


def read_job(pipe: IO[bytes]) -> JudgingJob | None:
    """The next job; None where there are no more."""
    data = _read(pipe)
    job: JudgingJob | None = pickle.loads(data) if data else None
    return job


def write_verdict(pipe: IO[bytes], job: JudgingJob, judgement: Judgement) -> None:
    """Send what was found out about a job."""
    data = io.BytesIO()
    _VerdictWriter(data, job).dump(judgement)
    _write(pipe, data.getvalue())


def read_verdict(pipe: IO[bytes], job: JudgingJob) -> Judgement | None:
    """The verdict on a job; None where the other side is gone."""
    data = _read(pipe)
    judgement: Judgement | None = _VerdictReader(io.BytesIO(data), job).load() if data else None
    return judgement


def _write(pipe: IO[bytes], data: bytes) -> None:
    pipe.write(_LENGTH.pack(len(data)) + data)
    pipe.flush()


def _read(pipe: IO[bytes]) -> bytes:
    head = pipe.read(_LENGTH.size)
    if len(head) < _LENGTH.size:
        return b""
    (length,) = _LENGTH.unpack(head)
    data = pipe.read(length)
    return data if len(data) == length else b""


LESS_URGENT = 5
"""By how much this process is nicer than ours: a verdict may wait, a key may not. Own choice."""


def main() -> None:
    """Judge until there is nothing more to be judged."""
    out = os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)  # whatever prints, it is no verdict
    with suppress(AttributeError, OSError):  # no such thing on Windows
        os.nice(LESS_URGENT)
    with suppress(BrokenPipeError, KeyboardInterrupt):
        while (job := read_job(sys.stdin.buffer)) is not None:
            write_verdict(out, job, job.judge())


if __name__ == "__main__":
    main()
