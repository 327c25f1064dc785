"""Repetitions that are judged elsewhere, until their verdict is in."""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coach.judging.judge import JudgingJob
    from coach.judging.model import Judgement
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, TypeAlias


@dataclass(frozen=True, slots=True)
class Judged:
    """A job that was given out is done."""

    job: JudgingJob
    verdict: Future[Judgement]


Giving: TypeAlias = "Callable[[JudgingJob], Future[Judgement]]"
"""Have a job judged elsewhere; its verdict comes in as :class:`~coach.screens.judged.Judged`."""


class GivenOut:
    """What one drill waits for, in the order in which it was played."""

    def __init__(self, give: Giving) -> None:
        self._give = give
        self._waiting: list[tuple[JudgingJob, Future[Judgement]]] = []

    def add(self, job: JudgingJob) -> None:
        """Give a job out."""
        self._waiting.append((job, self._give(job)))

    def is_due(self, job: JudgingJob) -> bool:
        """Whether this very job's verdict is waited for; from now on it is not any more."""
        count = len(self._waiting)
        self._waiting = [one for one in self._waiting if one[0] is not job]
        return len(self._waiting) < count

    def rest(self, within_s: float) -> Iterator[tuple[JudgingJob, Judgement | None]]:
        """Every job still waited for, and its verdict, where it comes in time; waits for it."""
        until_s = time.monotonic() + within_s
        waiting, self._waiting = self._waiting, []
        for job, verdict in waiting:
            try:
                yield job, verdict.result(max(until_s - time.monotonic(), 0.0))
            except (
                Exception
            ):  # too late, given up, or a mistake of ours that is no reason to lose it
                yield job, None
