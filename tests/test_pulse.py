"""The beats that are seen: the count-in's and the window's, numbered as in their bar."""

from __future__ import annotations

from fractions import Fraction as F
from functools import partial

import pytest

from coach.coaching.drill.drill_events import CountIn
from coach.score.counting import CountingSystem, syllables
from coach.score.window import Window, excerpt
from coach.screens.drill.click import BeatQueue, plan_clicks, plan_counts
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


@pytest.mark.parametrize(
    ("beat_s", "system", "said"),
    [
        (1.5, CountingSystem.TRADITIONAL, "1 2 3 4 1"),  # 40 a minute is the slowest that is felt
        (1.6, CountingSystem.TRADITIONAL, "1 & 2 & 3 & 4 & 1"),
        (1.6, CountingSystem.EASTMAN, "1 te 2 te 3 te 4 te 1"),
        (1.6, CountingSystem.TAKADIMI, "1 di 2 di 3 di 4 di 1"),
        (3.2, CountingSystem.TRADITIONAL, "1 e & a 2 e & a 3 e & a 4 e & a 1"),
    ],
)
def test_of_a_beat_too_slow_to_be_felt_the_parts_are_counted(
    beat_s: float, system: CountingSystem, said: str
) -> None:
    score = two_hands()
    window, click = excerpt(score, Window(F(0), F(4))), CountIn(10.0, beat_s, 4, 9)
    counts = plan_counts(score, window, click, partial(syllables, system=system))
    assert " ".join(beat.said for beat in counts[: len(said.split())]) == said
    times_s = [beat.at_s for beat in counts]
    assert times_s == sorted(times_s)
    queue = BeatQueue()
    queue.start(counts)
    assert queue.times_s == [beat.at_s for beat in plan_clicks(score, window, click)]
