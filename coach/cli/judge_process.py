"""The process in which long takes are judged, so that the screen never stands still for one.

It is told jobs and answers with verdicts, each a pickle with its length before it, until its input
ends: so it never outlives the program that started it.
"""

from __future__ import annotations

import io
import os
import pickle
import struct
import sys
from contextlib import suppress
from typing import IO, TYPE_CHECKING, Any

if TYPE_CHECKING:
    from coach.judging.judge import JudgingJob
    from coach.judging.model import Judgement


# How a job goes to the process that judges, and its verdict comes back.
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
