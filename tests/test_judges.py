"""Long takes judged in a process of their own, and what becomes of them when it dies."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import CancelledError, Future
from dataclasses import replace
from fractions import Fraction as F
from threading import Event
from typing import Any

import pytest

from coach.children import AnsweringChild, start_python
from coach.cli.judges import PROGRAM, Judges
from coach.judging.judge import JudgingJob
from coach.judging.model import Judgement, Stage
from coach.judging.timing.habits import Habits
from coach.judging.tolerance import USUAL
from coach.playing.notes import Take
from coach.score.build import score_from_notes
from coach.score.window import Excerpt
from tests.judging_help import both, play, tune, whole

LONG_S = 600.0
"""A busy machine takes its time."""


def job_of(part: Excerpt, number: int = 0, off: int = 0, stage: Stage = Stage.RHYTHM) -> JudgingJob:
    """One playing of a window, all of it so many semitones off."""
    keys = tuple(replace(key, pitch=key.pitch + off) for key in play(part))
    return JudgingJob(number, part, Take(keys), stage, 100.0, None, USUAL, Habits())


def long_job(number: int = 0) -> JudgingJob:
    """One that takes a while to judge: long, and every fourth key is a wrong one."""
    left = tune(40, F(1), hand="LH", start=36)
    part = whole(score_from_notes([*tune(80), *left]))
    keys = tuple(replace(key, pitch=key.pitch + (at % 4 == 0)) for at, key in enumerate(play(part)))
    return JudgingJob(number, part, Take(keys), Stage.RHYTHM, 100.0, None, USUAL, Habits())


@pytest.fixture
def judges() -> Iterator[Judges]:
    made = Judges(patience_s=LONG_S)
    yield made
    made.close()


def child_of(judges: Judges) -> subprocess.Popen[bytes]:
    for _ in range(int(LONG_S / 0.01)):
        if judges._child.process:
            return judges._child.process
        time.sleep(0.01)
    raise AssertionError("no child")


def test_a_child_judges_as_we_do(judges: Judges) -> None:
    job = job_of(whole(both(16)), off=1)
    verdict = judges.give(job).result(LONG_S)
    assert verdict == job.judge()
    assert verdict.excerpt is job.excerpt  # ours, not a copy


def test_jobs_are_done_in_the_order_in_which_they_were_given(judges: Judges) -> None:
    done: list[int] = []
    jobs = [long_job(0), job_of(whole(both(8)), 1), job_of(whole(both(16)), 2)]

    def given(job: JudgingJob) -> Future[Judgement]:
        return judges.give(job, lambda _: done.append(job.number))

    futures = list(map(given, jobs))
    assert [one.result(LONG_S).excerpt for one in futures] == [job.excerpt for job in jobs]
    assert done == [0, 1, 2]


def test_a_child_that_is_killed_is_started_anew_and_nothing_is_lost(judges: Judges) -> None:
    first, second = long_job(0), job_of(whole(both(8)), 1)
    child = child_of_started(judges)
    os.kill(child.pid, signal.SIGSTOP)  # however quick the machine: it never gets through
    verdicts = [judges.give(first), judges.give(second)]
    time.sleep(0.2)  # the first is on its way to it
    os.kill(child.pid, signal.SIGKILL)
    assert verdicts[0].result(LONG_S) == first.judge()
    assert verdicts[1].result(LONG_S) == second.judge()
    assert judges._child.process is not None
    assert judges._child.process.pid != child.pid


def child_of_started(judges: Judges) -> subprocess.Popen[bytes]:
    judges.start()
    return child_of(judges)


@pytest.mark.parametrize(
    "program",
    [
        ["-c", "raise SystemExit(1)"],  # ends at once
        ["-c", "import sys; sys.stdin.buffer.read(9)"],  # ends in mid-job
        ["-c", "import sys; sys.stdout.buffer.write(bytes(8)); sys.stdout.flush()"],  # says nothing
    ],
)
def test_where_no_child_is_of_use_we_judge_ourselves(program: list[str]) -> None:
    judges, job = Judges(program), job_of(whole(both(16)))
    assert judges.give(job).result(LONG_S) == job.judge()
    judges.close()


def test_where_no_process_can_be_started_we_judge_ourselves(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def none(*given: object, **how: object) -> None:
        raise OSError("no room")

    monkeypatch.setattr("coach.children.start_python", none)
    judges, job = Judges(), job_of(whole(both(16)))
    assert judges.give(job).result(LONG_S) == job.judge()
    judges.close()


def test_a_child_that_hangs_is_given_up() -> None:
    judges = Judges(["-c", "import time; time.sleep(1000)"], patience_s=0.2)
    job = job_of(whole(both(16)))
    assert judges.give(job).result(LONG_S) == job.judge()
    judges.close()


def test_closing_waits_for_nothing_and_leaves_no_process() -> None:
    judges = Judges(["-c", "import time; time.sleep(1000)"], patience_s=1000)
    child = child_of_started(judges)
    verdict = judges.give(long_job())
    judges.close()
    assert child.wait(LONG_S) is not None
    with pytest.raises(CancelledError):
        verdict.result(LONG_S)


def test_starting_returns_at_once(judges: Judges, monkeypatch: pytest.MonkeyPatch) -> None:
    """However long the process takes to begin."""
    has_returned = Event()

    def start_slowly(*given: Any, **how: Any) -> subprocess.Popen[bytes]:
        assert has_returned.wait(LONG_S)
        return start_python(*given, **how)

    monkeypatch.setattr("coach.children.start_python", start_slowly)
    judges.start()
    assert judges._child.process is None
    has_returned.set()
    child_of(judges)


def test_a_mistake_of_ours_comes_back_to_whoever_asked(
    judges: Judges, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = replace(job_of(whole(both(8))), stage=None)  # type: ignore[arg-type]
    monkeypatch.setattr(JudgingJob, "judge", lambda self: 1 / 0)
    monkeypatch.setattr(AnsweringChild, "ask", lambda self, exchange: None)
    verdict: Future[Judgement] = judges.give(broken)
    with pytest.raises(ZeroDivisionError):
        verdict.result(LONG_S)
    monkeypatch.undo()
    job = job_of(whole(both(8)))
    assert judges.give(job).result(LONG_S) == job.judge()


def test_a_child_ends_when_we_do() -> None:
    child = start_python(PROGRAM, stdin=subprocess.PIPE)
    assert child.stdin
    child.stdin.close()
    assert child.wait(LONG_S) == 0


def test_the_child_loads_nothing_but_the_judging() -> None:
    code = (
        "import coach.cli.judges, coach.judging.judge, sys;"
        "print(*{name.split('.')[0] for name in sys.modules})"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not {"textual", "rich", "rtmidi", "mido", "sqlite3"} & {*done.stdout.split()}


def test_what_goes_to_and_fro_is_small() -> None:
    """A page of music and its playing, there and back: a millisecond's work."""
    job = long_job()
    there = len(pickle.dumps(job, pickle.HIGHEST_PROTOCOL))
    assert there < 200 * (len(job.take.notes) + len(job.excerpt.notes))
