"""More keys than anyone can play: a sentence, no repetition, no memory, and next to no work."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

import pytest

from coach.coaching.drill.drill import Drill
from coach.coaching.drill.drill_events import DrillEvent, RepetitionEnded, SetAside
from coach.coaching.model import Goal
from coach.judging.alignment.transitions import Transitions
from coach.judging.following.begin_end import KeyRate
from coach.judging.following.live_alignment import FEW, FEWEST, MANY_KEYS, MOST_WORK
from coach.judging.instead.recognise import SHORT_NOTES
from coach.judging.wording import TOO_MANY_KEYS
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from tests.judging_help import play, tune, whole

SCORE = score_from_notes(tune(8))
PART = whole(SCORE)
A_SECOND = 10_000


def flood(seconds: float, start_s: float = 0.0, seed: int = 1) -> Iterator[PlayedNote]:
    """Random keys, ten thousand a second: a cable in a loop, a program that has run wild."""
    rng = random.Random(seed)
    for at in range(round(seconds * A_SECOND)):
        yield PlayedNote(rng.randrange(21, 109), rng.randrange(1, 128), start_s + at / A_SECOND)


def strike(drill: Drill, keys: Iterator[PlayedNote] | list[PlayedNote]) -> list[DrillEvent]:
    """Each key down, and up a moment later."""
    out: list[DrillEvent] = []
    for key in keys:
        out += drill.key_down(key.pitch, key.velocity, key.onset_s)
        out += drill.key_up(key.pitch, key.onset_s + 0.00005)
    return out


def test_a_flood_is_told_once_and_is_no_repetition() -> None:
    drill = Drill(SCORE, Goal(PART.window, 100.0))
    out = strike(drill, flood(3.0))
    assert [one.reason for one in out if isinstance(one, SetAside)].count(TOO_MANY_KEYS) == 1
    assert not any(isinstance(one, RepetitionEnded) for one in out)


def test_a_flood_leaves_nothing_behind_and_costs_next_to_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    extended = 0
    of = Transitions.extend

    def counting(self: Transitions, *given: Any) -> float:
        nonlocal extended
        extended += 1
        return of(self, *given)

    monkeypatch.setattr(Transitions, "extend", counting)
    drill = Drill(SCORE, Goal(PART.window, 100.0))
    strike(drill, flood(0.1))
    once = extended
    assert once <= 200 * (2 * MOST_WORK + max(FEW * MANY_KEYS, FEWEST * 200))
    follower = drill._ear.follower
    for second in range(5):
        drill.pedal(64, 127, 0.1 + second)
        strike(drill, flood(0.5, start_s=0.1 + 0.5 * second, seed=second))
        kept = (follower._take, follower._earlier, follower._recogniser._keys)
        assert not any(kept)
        assert not follower._held
        assert len(follower._pedals) == 1  # where it stands
    assert extended == once


def test_a_pedal_that_comes_up_in_a_flood_is_up_after_it() -> None:
    drill = Drill(SCORE, Goal(PART.window, 100.0))
    drill.pedal(64, 127, 0.0)
    strike(drill, flood(1.0, start_s=0.1))
    drill.pedal(64, 0, 1.05)
    strike(drill, flood(0.1, start_s=1.1))
    out = strike(drill, play(PART, start_s=3.7))
    out += [event for at in range(100) for event in drill.tick(20.0 + at)]
    [take] = [one.take for one in out if isinstance(one, RepetitionEnded)]
    assert [(move.controller, move.value) for move in take.pedals] == [(64, 0)]


def test_after_a_flood_and_a_silence_what_is_played_right_is_clean() -> None:
    drill = Drill(SCORE, Goal(PART.window, 100.0))
    strike(drill, flood(1.0))
    out: list[DrillEvent] = []
    for key in play(PART, start_s=3.5):
        out += drill.key_down(key.pitch, key.velocity, key.onset_s)
        out += drill.key_up(key.pitch, key.onset_s + 0.1)
    for at in range(100):
        out += drill.tick(key.onset_s + 0.05 * at)
    ended = [one.judgement for one in out if isinstance(one, RepetitionEnded)]
    assert [one.clean for one in ended] == [True]


@pytest.mark.parametrize(("keys", "strokes_a_second"), [(10, 12), (40, 4), (2, 30), (1, 60)])
def test_what_hands_and_arms_can_do_is_no_flood(keys: int, strokes_a_second: int) -> None:
    """Chords, forearms, both hands as fast as they go, two glissandi at once."""
    rate = KeyRate()
    for stroke in range(10 * strokes_a_second):
        for _ in range(keys):
            rate.count_key(stroke / strokes_a_second)
            assert not rate.is_flood


def test_minutes_of_noodling_without_a_rest_leave_only_the_first_keys() -> None:
    drill = Drill(SCORE, Goal(PART.window, 100.0))
    rng = random.Random(2)
    strike(drill, [PlayedNote(rng.randrange(90, 109), 64, 0.2 * at) for at in range(800)])
    follower = drill._ear.follower
    assert len(follower._recogniser._keys) <= SHORT_NOTES + 1
    assert len(follower._take) + len(follower._earlier) <= len(PART.notes) + 20
