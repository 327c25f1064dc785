"""How a job goes to the process that judges, and its verdict comes back.

The excerpt goes there once, with the job, and does not come back: the verdict is given the one
that is here, and is as small as what was found out.
"""

from __future__ import annotations

import io
import pickle
import struct
from typing import TYPE_CHECKING, Any, BinaryIO

if TYPE_CHECKING:
    from coach.judging.judge import JudgingJob
    from coach.judging.model import Judgement

_LENGTH = struct.Struct("<Q")
_EXCERPT = "excerpt"


class _Writer(pickle.Pickler):
    def __init__(self, file: BinaryIO, job: JudgingJob) -> None:
        super().__init__(file, pickle.HIGHEST_PROTOCOL)
        self._job = job

    def persistent_id(self, obj: Any) -> str | None:
        """What the other side has."""
        return _EXCERPT if obj is self._job.excerpt else None


class _Reader(pickle.Unpickler):
    def __init__(self, file: BinaryIO, job: JudgingJob) -> None:
        super().__init__(file)
        self._job = job

    def persistent_load(self, name: Any) -> Any:
        """What we have."""
        return self._job.excerpt


def write_job(pipe: BinaryIO, job: JudgingJob) -> None:
    """Send a job. Raises OSError where nobody is there to read it."""
    _write(pipe, pickle.dumps(job, pickle.HIGHEST_PROTOCOL))


def read_job(pipe: BinaryIO) -> JudgingJob | None:
    """The next job; None where there are no more."""
    data = _read(pipe)
    job: JudgingJob | None = pickle.loads(data) if data else None
    return job


def write_verdict(pipe: BinaryIO, job: JudgingJob, judgement: Judgement) -> None:
    """Send what was found out about a job."""
    data = io.BytesIO()
    _Writer(data, job).dump(judgement)
    _write(pipe, data.getvalue())


def read_verdict(pipe: BinaryIO, job: JudgingJob) -> Judgement | None:
    """The verdict on a job; None where the other side is gone."""
    data = _read(pipe)
    judgement: Judgement | None = _Reader(io.BytesIO(data), job).load() if data else None
    return judgement


def _write(pipe: BinaryIO, data: bytes) -> None:
    pipe.write(_LENGTH.pack(len(data)) + data)
    pipe.flush()


def _read(pipe: BinaryIO) -> bytes:
    head = pipe.read(_LENGTH.size)
    if len(head) < _LENGTH.size:
        return b""
    (length,) = _LENGTH.unpack(head)
    data = pipe.read(length)
    return data if len(data) == length else b""
