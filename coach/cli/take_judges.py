"""Judging many takes: a process for each core, their verdicts in the order of the takes.

Run as ``python -m coach.cli.take_judges``, a process is told once what to judge for, then one path
a line, and answers each with one line of JSON. It ends when its input does, however the program
ended. A take that can't be read, or that a process dies of, costs its own line and no other.
"""

from __future__ import annotations

import base64
import json
import os
import pickle
import sys
import threading
from collections.abc import Generator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TextIO

from coach.children import AnsweringChild
from coach.judging.judge import judge
from coach.judging.model import Stage
from coach.judging.serialize import judgement_to_plain
from coach.judging.tolerance import Strictness, Tolerance
from coach.playing.takes import TakeError, read_take
from coach.score.window import Excerpt

PROGRAM = ("-X", "utf8", "-m", "coach.cli.take_judges")
DIED = "Judging this take took the process down; look at it alone: coach judge SCORE TAKE."
ANSWER_S = 120.0
"""A process that takes longer over one take hangs: thousands of keys need ten seconds. Own
choice."""


@dataclass(frozen=True, slots=True)
class Measure:
    """What takes are judged for."""

    excerpt: Excerpt
    stage: Stage
    qpm: float | None
    strictness: Strictness

    def judge_file(self, path: str) -> dict[str, object]:
        """The verdict on a recorded take as data; why there is none under ``error``."""
        try:
            take = read_take(Path(path))
            judgement = judge(
                self.excerpt,
                take.notes,
                stage=self.stage,
                qpm=self.qpm,
                tolerance=Tolerance.of(self.strictness),
            )
        except TakeError as error:
            return {"take": path, "error": str(error)}
        except Exception as error:  # ours: the other takes are judged all the same
            return {"take": path, "error": f"An error in Keyhole itself: {error!r}"}
        return {"take": path, **judgement_to_plain(judgement)}


def judge_takes(
    paths: Sequence[str],
    measure: Measure,
    processes: int | None = None,
    *,
    program: Sequence[str] = PROGRAM,
    answer_s: float = ANSWER_S,
) -> Generator[str, None, None]:
    """A line of JSON for each take, in order, each as soon as all before it are there."""
    work = _Work(paths)
    told = base64.b64encode(pickle.dumps(measure)) + b"\n"
    count = min(processes or os.cpu_count() or 1, len(paths))
    lanes = [
        _Lane(work, AnsweringChild(program, greeting=told, patience_s=answer_s))
        for _ in range(count)
    ]
    try:
        for lane in lanes:
            lane.start()
        for at in range(len(paths)):
            yield work.wait_for(at)
    finally:
        work.give_up()
        for lane in lanes:
            lane.close()


class _Work:
    """The takes still to be given out, and the lines that came back."""

    def __init__(self, paths: Sequence[str]) -> None:
        self._left = iter(enumerate(paths))
        self._lines: dict[int, str] = {}
        self._changed = threading.Condition()
        self._given_up = False

    def take_next(self) -> tuple[int, str] | None:
        with self._changed:
            return None if self._given_up else next(self._left, None)

    def put(self, at: int, line: str) -> None:
        with self._changed:
            self._lines[at] = line
            self._changed.notify_all()

    def wait_for(self, at: int) -> str:
        with self._changed:
            self._changed.wait_for(lambda: at in self._lines)
            return self._lines.pop(at)

    def give_up(self) -> None:
        with self._changed:
            self._given_up = True


class _Lane:
    """One process, and the thread that gives it one take after the other."""

    def __init__(self, work: _Work, child: AnsweringChild) -> None:
        self._work, self._child = work, child
        self._thread = threading.Thread(target=self._run, name="take judge", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def close(self) -> None:
        """Give up what is in hand."""
        self._child.give_up()
        self._thread.join()

    def _run(self) -> None:
        while not self._child.is_given_up and (given := self._work.take_next()) is not None:
            at, path = given
            line = self._ask(path)
            self._work.put(at, line or json.dumps({"take": path, "error": DIED}))
        self._child.end()

    def _ask(self, path: str) -> str | None:
        """Its line; None where the process died of it, or took too long."""

        def exchange(to_child: IO[bytes], from_child: IO[bytes]) -> str | None:
            to_child.write(json.dumps(path).encode() + b"\n")
            to_child.flush()
            return from_child.readline().decode("utf-8").strip() or None

        return self._child.ask(exchange)


def bar_words(done: int, every: int, width: int = 30) -> str:
    """A bar of what is done: ``[######----] 60 of 100 takes``."""
    full = width * done // every if every else width
    return f"[{'#' * full}{'-' * (width - full)}] {done:,} of {every:,} takes"


def main(orders: TextIO, out: TextIO) -> None:
    """Judge until there are no more takes."""
    measure: Measure = pickle.loads(base64.b64decode(orders.readline()))
    for line in orders:
        out.write(json.dumps(measure.judge_file(json.loads(line))) + "\n")
        out.flush()


if __name__ == "__main__":
    with suppress(BrokenPipeError, KeyboardInterrupt):
        main(sys.stdin, sys.stdout)
