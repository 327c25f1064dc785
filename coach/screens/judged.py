"""A verdict from elsewhere, as it comes in beside the piano's keys."""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coach.judging.facts import Judgement
    from coach.judging.job import JudgingJob


@dataclass(frozen=True, slots=True)
class Judged:
    """A job that was given out is done."""

    job: JudgingJob
    verdict: Future[Judgement]
