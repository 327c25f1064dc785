"""A repetition that is judged elsewhere, as it is seen: what stands meanwhile, and what is kept."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest

from coach.cli.sessions import Recorder
from coach.coaching.drill.drill import Drill
from coach.coaching.drill.drill_events import DrillState
from coach.coaching.model import Goal
from coach.judging.judge import JudgingJob
from coach.judging.model import Judgement
from coach.judging.tolerance import USUAL
from coach.playing.midi_events import KeyDown, KeyUp
from coach.playing.takes import read_take
from coach.record.pieces import PieceKey
from coach.record.store import Store
from coach.score.build import score_from_notes
from coach.score.window import Window
from coach.screens.drill import screen as drill_screen
from tests.screenfakes import DrillOfScore, Staging
from tests.seat import Seat, seated, words_of

LINE = (60, 62, 64, 65)


class SlowJudges:
    """Judges when it is told to."""

    def __init__(self) -> None:
        self.asked: list[tuple[JudgingJob, Future[Judgement]]] = []
        self.started, self.closed = 0, False

    def start(self) -> None:
        self.started += 1

    def give(self, job: JudgingJob, done: Callable[[Future[Judgement]], None]) -> Future[Judgement]:
        verdict: Future[Judgement] = Future()
        verdict.add_done_callback(done)
        self.asked.append((job, verdict))
        return verdict

    def judge(self) -> None:
        job, verdict = self.asked.pop(0)
        verdict.set_result(job.judge())

    def close(self) -> None:
        self.closed = True


@pytest.fixture
def judges(monkeypatch: pytest.MonkeyPatch) -> SlowJudges:
    """Every take is a large one, and the app is given slow judges."""
    slow, made = SlowJudges(), Staging.__init__
    monkeypatch.setattr("coach.coaching.drill.drill.LARGE", 0)

    def with_judges(self: Staging, drill: Drill) -> None:
        made(self, drill=drill)
        self.given = replace(self.given, judges=slow)

    monkeypatch.setattr(Staging, "__init__", with_judges)
    return slow


def a_drill(required: int = 3) -> Drill:
    notes = [{"pitch": p, "onset": i, "length": 1, "hand": "RH"} for i, p in enumerate(LINE)]
    score = score_from_notes(notes, qpm=120, title="Line")
    return Drill(
        score,
        Goal(Window(F(0), F(4)), 120.0, clean_required=required),
        tolerance=USUAL,
        judges_elsewhere=True,
    )


async def play(seat: Seat, drill: DrillOfScore, *pitches: int, at_s: float) -> None:
    """Keys at half-second steps, and the silence after them."""
    for step, pitch in enumerate(pitches):
        seat.staging.ports.post(KeyDown(pitch, 64, at_s + 0.5 * step))
        seat.staging.ports.post(KeyUp(pitch, at_s + 0.5 * step + 0.4))
    await seat.pilot.pause()
    seat.drill_screen.show(drill.tick(at_s + 0.5 * len(pitches) + 0.2))
    await seat.pilot.pause()


def test_what_is_judged_elsewhere_is_said_and_its_verdict_comes(judges: SlowJudges) -> None:
    async def run(seat: Seat) -> None:
        drill = seat.staging.drill
        assert judges.started == 1
        now_s = seat.app._clock() + 1000
        await play(seat, drill, *LINE, at_s=now_s)
        assert "Listening back ..." in words_of(seat)
        assert drill.state is DrillState.READY
        assert not seat.staging.kept
        judges.judge()
        await seat.pilot.pause()
        assert seat.says_clean
        assert "Listening back" not in words_of(seat)
        assert len(seat.staging.kept) == 1

    seated((80, 24), run, drill=a_drill())


def test_the_next_repetition_may_begin_before_the_verdict(judges: SlowJudges) -> None:
    """The marks of the one in hand stay, and both are kept, each with its own keys."""

    async def run(seat: Seat) -> None:
        drill = seat.staging.drill
        now_s = seat.app._clock() + 1000
        await play(seat, drill, 60, 62, 64, 66, at_s=now_s)
        await play(seat, drill, 60, 62, at_s=now_s + 4)
        assert drill.state is DrillState.PLAYING
        marked = dict(seat.drill_screen.presenter.staff._marks)
        judges.judge()
        await seat.pilot.pause()
        assert "F sharp for F at beat 4" in words_of(seat)
        assert dict(seat.drill_screen.presenter.staff._marks) == marked
        assert drill.state is DrillState.PLAYING
        await play(seat, drill, 64, 65, at_s=now_s + 5)
        judges.judge()
        await seat.pilot.pause()
        kept = seat.staging.kept
        assert [one.judgement.clean for one in kept] == [False, True]
        assert [[key.pitch for key in one.take.notes] for one in kept] == [
            [60, 62, 64, 66],
            [60, 62, 64, 65],
        ]

    seated((80, 24), run, drill=a_drill())


def test_leaving_waits_for_the_verdict_and_keeps_it(
    judges: SlowJudges, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(drill_screen, "LEAVE_S", 30.0)

    async def run(seat: Seat) -> None:
        await play(seat, seat.staging.drill, *LINE, at_s=seat.app._clock() + 1000)
        judges.judge()  # it is done, and yet not heard of
        seat.drill_screen.action_home()
        assert len(seat.staging.kept) == 1
        assert seat.staging.left == 1
        await seat.pilot.pause()
        assert len(seat.staging.kept) == 1

    seated((80, 24), run, drill=a_drill())


def test_what_can_not_be_judged_in_time_is_kept_as_it_was_played(
    judges: SlowJudges, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also on ending the program; what was judged after it is kept with its verdict."""
    monkeypatch.setattr(drill_screen, "LEAVE_S", 0.05)
    unjudged = []

    def keep(job: JudgingJob) -> str:
        unjudged.append(job)
        return ""

    async def run(seat: Seat) -> None:
        screen = seat.drill_screen
        screen.session = replace(screen.session, keep_unjudged=keep)
        now_s = seat.app._clock() + 1000
        await play(seat, seat.staging.drill, *LINE, at_s=now_s)
        await play(seat, seat.staging.drill, *LINE, at_s=now_s + 4)
        second = judges.asked[1]
        second[1].set_result(second[0].judge())
        await seat.pilot.press("ctrl+q")

    staging = seated((80, 24), run, drill=a_drill())
    assert [job.number for job in unjudged] == [0]
    assert [one.judgement.clean for one in staging.kept] == [True]
    assert staging.left == 1


def test_a_verdict_of_a_drill_that_was_left_says_nothing(
    judges: SlowJudges, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(drill_screen, "LEAVE_S", 0.05)

    async def run(seat: Seat) -> None:
        await play(seat, seat.staging.drill, *LINE, at_s=seat.app._clock() + 1000)
        seat.drill_screen.action_home()
        judges.judge()
        await seat.pilot.pause()
        assert not seat.staging.kept
        assert seat.app.mistake is None

    seated((80, 24), run, drill=a_drill())


def test_an_unjudged_take_is_a_midi_file_beside_the_record(tmp_path: Path) -> None:
    drill = a_drill()
    store = Store(tmp_path)
    recorder = Recorder(store, PieceKey("key", "Line", "line.musicxml"), drill)
    for step, pitch in enumerate(LINE):
        drill.key_down(pitch, 64, 0.5 * step)
        drill.key_up(pitch, 0.5 * step + 0.4)
    job: JudgingJob = drill._ear.job(7, drill._ear.follower._copy_take(4), None)
    said = recorder.keep_unjudged(job)
    (path,) = tmp_path.glob("unjudged-*-7.mid")
    assert str(path) in said
    assert [key.pitch for key in read_take(path).notes] == list(LINE)
    assert path.stat().st_mode & 0o077 == 0
    store.close()
