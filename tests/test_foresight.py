"""What the pianist may ask for next is engraved before, and nothing is disturbed by it."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from coach.coaching.drill import DrillState
from coach.coaching.model import Request
from coach.drill import Drill, played, repair, score_from_notes, window
from coach.score.model import Hands, Score
from coach.score.window import Excerpt, Window
from coach.screens.drill.presenter import LIKELY, Foresight

SCORE = score_from_notes(
    [
        {"pitch": low + at % 5, "onset": at, "length": 1, "hand": hand}
        for at in range(16)
        for low, hand in ((72, "RH"), (48, "LH"))
    ]
)


def practised(slips: int) -> Drill:
    """A drill at which the same key went wrong so often."""
    drill = Drill(SCORE, repair(SCORE, window(SCORE, bars="1-4"), qpm=80))
    for _ in range(slips):
        notes = drill.excerpt.notes
        keys = [
            (
                n.pitch + (n.onset_quarters == 9 and n.pitch > 60),
                64,
                0.75 * float(n.onset_quarters),
                0.5,
            )
            for n in notes
        ]
        drill.repetition(played(keys))
    return drill


@pytest.mark.parametrize("slips", [0, 1, 3])
@pytest.mark.parametrize("request_", LIKELY)
def test_what_is_foreseen_is_what_comes_and_changes_nothing(slips: int, request_: Request) -> None:
    drill = practised(slips)
    before = json.dumps(drill.coach.state(), default=str), drill.decision
    foreseen = drill.foresee(request_)
    assert (json.dumps(drill.coach.state(), default=str), drill.decision) == before
    drill.ask(request_, 0.0)
    assert drill.excerpt == foreseen


class Stage:
    """A drill that stands still, and a staff that remembers what it should expect."""

    def __init__(self) -> None:
        self.state, self.drill, self.score, self.is_engraved = DrillState.READY, self, SCORE, True
        self.expected: list[Window] = []
        self.looked = 0
        """How often it was asked what would come."""
        self.real = practised(0)

    def foresee(self, request: Request) -> Excerpt:
        self.looked += 1
        return self.real.foresee(request)

    def is_expected(self, wanted: Window) -> bool:
        return wanted in (self.real.excerpt.window, *self.expected)

    def expect_window(self, score: Score, excerpt: Excerpt) -> None:
        self.expected.append(excerpt.window)


def walk(stage: Stage, steps: int, key_s: Callable[[float], float | None]) -> None:
    foresight = Foresight(stage, stage, stage)  # type: ignore[arg-type]
    for at in range(steps):
        now_s = at * 0.2
        foresight.take_step(now_s, key_s(now_s))


def test_in_quiet_the_likely_windows_are_engraved_each_once() -> None:
    stage = Stage()
    walk(stage, 20, lambda _: None)
    assert len(stage.expected) == len(set(stage.expected))
    assert any(one.hands is not Hands.TOGETHER for one in stage.expected)
    assert stage.looked == len(LIKELY)


@pytest.mark.parametrize("how", ["playing", "struck just now", "no pictures", "just asked"])
def test_nothing_is_done_while_it_could_disturb(how: str) -> None:
    stage = Stage()
    stage.state = DrillState.PLAYING if how == "playing" else DrillState.READY
    stage.is_engraved = how != "no pictures"
    steps = round(0.5 / 0.2) if how == "just asked" else 20
    walk(stage, steps, lambda now_s: now_s - 0.5 / 2 if how == "struck just now" else None)
    assert not stage.looked
    assert not stage.expected
