"""Judging long takes beside the screen: a process that lives as long as we do, and its queue.

A thread of ours waits for it, so that nothing else has to. A process that dies is started anew and
asked again; where that is of no use either, the thread judges by itself: slower, for it takes
turns with the screen, but no repetition goes without its verdict.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from contextlib import suppress
from typing import IO, TYPE_CHECKING, TypeAlias

from coach.children import AnsweringChild

if TYPE_CHECKING:
    from coach.judging.judge import JudgingJob
    from coach.judging.model import Judgement

PROGRAM = ("-X", "utf8", "-m", "coach.cli.judge_process")
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
        from coach.cli.judge_process import read_verdict, write_job

        def exchange(to_child: IO[bytes], from_child: IO[bytes]) -> Judgement | None:
            write_job(to_child, job)
            return read_verdict(from_child, job)

        for _ in range(2):
            judgement = self._child.ask(exchange)
            if judgement is not None or self._child.is_given_up:
                return judgement
        return job.judge()
