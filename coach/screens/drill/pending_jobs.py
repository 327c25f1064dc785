"""Repetitions that are judged elsewhere, until their verdict is in."""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import Future
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coach.judging.judge import JudgingJob
    from coach.judging.model import Judgement
    from coach.screens.interfaces import SubmitJob


class PendingJobs:
    """What one drill waits for, in the order in which it was played."""

    def __init__(self, submit: SubmitJob) -> None:
        self._submit = submit
        self._pending: list[tuple[JudgingJob, Future[Judgement]]] = []

    def submit(self, job: JudgingJob) -> None:
        """Have a job judged elsewhere."""
        self._pending.append((job, self._submit(job)))

    def remove(self, job: JudgingJob) -> bool:
        """Wait for this job no longer; whether it was waited for."""
        count = len(self._pending)
        self._pending = [one for one in self._pending if one[0] is not job]
        return len(self._pending) < count

    def wait_for_all(self, within_s: float) -> Iterator[tuple[JudgingJob, Judgement | None]]:
        """Every job still waited for, with its verdict, or None where it does not come in time."""
        until_s = time.monotonic() + within_s
        pending, self._pending = self._pending, []
        for job, verdict in pending:
            try:
                yield job, verdict.result(max(until_s - time.monotonic(), 0.0))
            except Exception:  # too late, given up, or a fault of ours: no reason to lose the job
                yield job, None
