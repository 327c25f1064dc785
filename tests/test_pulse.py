"""The beats that are seen: the count-in's and the window's, numbered as in their bar."""

from __future__ import annotations

from fractions import Fraction as F

from coach.coaching.drill.drill_events import CountIn
from coach.score.window import Window, excerpt
from coach.screens.drill.click import BeatQueue, plan_clicks
from tests.screenfakes import two_hands


def beat_due(queue: BeatQueue, now_s: float) -> int:
    click = queue.take_due(now_s)
    assert click
    return click.beat


def test_every_beat_is_due_once_and_a_late_look_gets_the_newest() -> None:
    score = two_hands()
    pulse = BeatQueue()
    pulse.start(plan_clicks(score, excerpt(score, Window(F(0), F(4))), CountIn(10.0, 0.5, 4, 9)))
    assert pulse.take_due(9.9) is None
    assert [beat_due(pulse, 10.0 + 0.5 * k) for k in range(4)] == [1, 2, 3, 4]
    assert pulse.take_due(11.6) is None
    assert beat_due(pulse, 13.1) == 3  # beats 1 and 2 of the window have gone by unseen
    pulse.stop()
    assert pulse.take_due(99) is None
