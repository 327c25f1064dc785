"""The parts of the drill screen, each alone: who plays, what is asked for, what is waited for."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from fractions import Fraction as F
from types import SimpleNamespace
from typing import Any, cast

import pytest

from coach.coaching.drill import AssignmentGiven, RepetitionEnded
from coach.judging.judge import JudgingJob
from coach.judging.model import Judgement
from coach.playing.letter_keyboard import LENGTH_S, Layout
from coach.playing.midi_events import KeyUp
from coach.playing.ports import driver
from coach.score.window import Window
from coach.screens.big_letters import big_width
from coach.screens.drill.assignment import AssignmentInSight
from coach.screens.drill.player import LetterPiano, Player
from coach.screens.drill.screen import PendingJobs
from coach.screens.widgets.result import shorten_to
from tests.screenfakes import FakeDrill, two_hands
from tests.seat import RIGHT, Seat, seated

VERDICT = cast(Judgement, "a verdict")


def job(name: str) -> JudgingJob:
    return cast(JudgingJob, name)


@pytest.mark.parametrize(
    ("player", "words", "needs_piano"),
    [
        (Player(), "no piano", True),
        (Player("Stage piano:out"), "Stage piano", True),
        (Player("Stage piano:out", uses_letters=True), "letters as piano", False),
    ],
)
def test_who_plays_is_said_and_letters_need_no_piano(
    player: Player, words: str, needs_piano: bool
) -> None:
    assert (player.words, player.needs_piano) == (words, needs_piano)


def test_a_piano_that_is_lost_says_why_until_one_is_found() -> None:
    player = Player("Stage piano:out")
    player.lose_piano("The cable is out.")
    assert (player.words, player.why_none) == ("no piano", "The cable is out.")
    player.find_piano("Other:out")
    assert player.words == "Other"


def test_each_letter_is_held_for_its_time_and_released_once() -> None:
    letters = LetterPiano(Layout.QWERTY)
    assert letters.strike("?!", 1.0) is None
    first, second = letters.strike("q", 1.0), letters.strike("w", 1.1)
    assert first
    assert second
    assert letters.take_releases(1.0 + 0.9 * LENGTH_S) == []
    assert letters.take_releases(1.0 + LENGTH_S) == [KeyUp(first.pitch, 1.0 + LENGTH_S)]
    assert [up.pitch for up in letters.take_releases(9.0)] == [second.pitch]
    assert letters.take_releases(9.0) == []


class FakeTimers:
    """Timers that a test lets run out."""

    def __init__(self) -> None:
        self.running: list[SimpleNamespace] = []

    def set_timer(self, delay: float, callback: Callable[[], None]) -> SimpleNamespace:
        timer = SimpleNamespace(delay=delay, run_out=callback)
        timer.stop = lambda: self.running.remove(timer)
        self.running.append(timer)
        return timer


def given(drill: FakeDrill, end: int) -> AssignmentGiven:
    drill.window = Window(F(0), F(end))
    return drill.given()


def test_what_comes_next_waits_until_it_is_taken_and_the_screen_keeps_to_its_own() -> None:
    drill, timers = FakeDrill(two_hands()), FakeTimers()
    asked = AssignmentInSight(drill, cast(Any, timers))
    first = given(drill, 4)
    asked.put_next(first)
    assert asked.take_next() is first
    asked.put_next(given(drill, 8))  # the drill is ahead of the screen from here
    assert asked.assignment == first.assignment
    asked.take_next()
    assert asked.assignment.window.end_quarters == 8
    assert asked.take_next() is None


def test_what_is_held_in_sight_is_let_go_of_in_time_or_before() -> None:
    timers, shown = FakeTimers(), list[str]()
    asked = AssignmentInSight(FakeDrill(two_hands()), cast(Any, timers))
    asked.hold(1.2, lambda: shown.append("next"))
    assert asked.is_held
    assert [timer.delay for timer in timers.running] == [1.2]
    asked.hold(1.2, lambda: shown.append("next"))  # again: one timer only
    [timer] = timers.running
    timer.run_out()
    assert shown == ["next"]
    asked.let_go()
    assert not asked.is_held
    assert timers.running == []


def test_a_verdict_is_taken_once_and_only_if_it_is_waited_for() -> None:
    pending = PendingJobs(lambda job: Future())
    one, other = job("one"), job("other")
    pending.submit(one)
    assert not pending.remove(other)
    assert pending.remove(one)
    assert not pending.remove(one)


def test_on_leaving_each_verdict_comes_or_is_missed_in_its_order() -> None:
    futures: dict[JudgingJob, Future[Judgement]] = {}

    def submit(one: JudgingJob) -> Future[Judgement]:
        futures[one] = Future()
        return futures[one]

    pending = PendingJobs(submit)
    done, late, broken = job("done"), job("late"), job("broken")
    for one in (done, late, broken):
        pending.submit(one)
    futures[done].set_result(VERDICT)
    futures[broken].set_exception(ZeroDivisionError())
    waited = list(pending.wait_for_all(0.01))
    assert waited == [(done, VERDICT), (late, None), (broken, None)]
    assert list(pending.wait_for_all(0.01)) == []


def test_a_repetition_is_in_the_record_before_its_verdict_is_seen() -> None:
    seen: list[bool] = []

    async def run(seat: Seat) -> None:
        drill = seat.app.drill
        assert drill
        keep = drill.session.keep

        def note(ended: RepetitionEnded) -> str:
            seen.append(seat.says_clean)
            return keep(ended)

        drill.presenter._session = replace(drill.session, keep=note)
        await seat.play(*RIGHT)
        assert len(seat.staging.kept) == 1
        assert seat.says_clean

    seated((120, 40), run)
    assert seen == [False]


@pytest.mark.parametrize("system", ["linux", "darwin"])
def test_why_there_is_no_piano_is_read_whole_beside_the_large_letters(
    system: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In 80 columns three rows are left for it."""
    monkeypatch.setattr("sys.platform", system)
    columns = 80 - 4 - big_width("NO PIANO")
    for sentence in (driver._no_system(), driver._cannot_load("libasound.so.2: not found")):
        assert shorten_to(sentence, columns, 3) == sentence
