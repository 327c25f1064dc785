"""Judging long takes beside the screen: a process that lives as long as we do, and its queue.

A thread of ours waits for it, so that nothing else has to. A process that dies is started anew and
asked again; where that is of no use either, the thread judges by itself: slower, for it takes
turns with the screen, but no repetition goes without its verdict.
"""

from __future__ import annotations

import queue
import subprocess
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from contextlib import suppress
from typing import TYPE_CHECKING, BinaryIO, TypeAlias, cast

from coach.children import end_python, start_python

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
        self._program, self._patience_s = program, patience_s
        self._asked: queue.SimpleQueue[_Asked | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._child: subprocess.Popen[bytes] | None = None
        self._closed = False

    def start(self) -> None:
        """Start the process, in the background; it is there when it is first needed."""
        if self._thread is None and not self._closed:
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
        self._closed = True
        self._asked.put(None)
        if child := self._child:
            child.kill()  # then whoever waits for it goes on

    # -- on the thread ----------------------------------------------------------------------

    def _work(self) -> None:
        self._start_child()
        while (asked := self._asked.get()) is not None:
            job, future = asked
            try:
                judgement = None if self._closed else self._judge(job)
            except Exception as mistake:  # ours: whoever asked ends the program by it
                future.set_exception(mistake)
                continue
            if judgement is None:
                future.cancel()
            else:
                future.set_result(judgement)
        self._end_child()

    def _judge(self, job: JudgingJob) -> Judgement | None:
        """The verdict; None where it is given up."""
        for _ in range(2):
            if self._child is None:
                self._start_child()
            judgement = self._ask(job)
            if judgement is not None:
                return judgement
            self._end_child()
            if self._closed:
                return None
        return job.judge()

    def _ask(self, job: JudgingJob) -> Judgement | None:
        from coach.cli.judge_process import read_verdict, write_job

        child = self._child
        if child is None:
            return None
        patience = threading.Timer(self._patience_s, child.kill)
        patience.daemon = True
        patience.start()
        try:
            write_job(cast(BinaryIO, child.stdin), job)
            return read_verdict(cast(BinaryIO, child.stdout), job)
        except (OSError, ValueError):  # it is gone; or was let go of meanwhile
            return None
        finally:
            patience.cancel()

    def _start_child(self) -> None:
        if self._closed:
            return
        with suppress(OSError):  # no room for another process: then we judge here
            self._child = start_python(
                self._program, stdin=subprocess.PIPE, stdout=subprocess.PIPE, own_session=True
            )
        if self._closed:  # meanwhile
            self._end_child()

    def _end_child(self) -> None:
        child, self._child = self._child, None
        if child:
            end_python(child)
