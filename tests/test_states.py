"""The state tables of drill and follower are whole, and DEVELOPERS.md shows them as they are."""

from pathlib import Path

import pytest

from coach.coaching.drill.drill_events import DrillState
from coach.coaching.drill.states import TABLE, DrillInput, as_markdown, next_state
from coach.judging.following.states import (
    FOLLOWER_TABLE,
    FollowerInput,
    FollowerState,
    follower_moves_as_markdown,
)


def test_every_state_can_be_left_and_every_state_can_be_reached() -> None:
    assert set(TABLE) == set(DrillState)
    reached = {after for moves in TABLE.values() for after in moves.values()}
    assert reached == set(DrillState)


def test_every_event_changes_something_somewhere() -> None:
    assert all(
        any(next_state(state, event) is not state for state in DrillState) for event in DrillInput
    )


def test_the_piano_may_vanish_in_any_state_that_has_one() -> None:
    assert all(
        next_state(state, DrillInput.PIANO_LOST) is DrillState.NO_PIANO
        for state in DrillState
        if state is not DrillState.NO_PIANO
    )


@pytest.mark.parametrize("state", DrillState)
def test_every_event_may_come_in_every_state(state: DrillState) -> None:
    assert set(TABLE[state]) == set(DrillInput)
    assert {next_state(state, event) for event in DrillInput} <= set(DrillState)


@pytest.mark.parametrize("state", FollowerState)
def test_every_event_of_the_follower_may_come_in_every_state(state: FollowerState) -> None:
    assert set(FOLLOWER_TABLE[state]) == set(FollowerInput)
    assert set(FOLLOWER_TABLE[state].values()) <= set(FollowerState)


def test_a_repetition_in_hand_is_not_ended_by_a_goal_that_only_a_late_verdict_reached() -> None:
    assert next_state(DrillState.COUNT_IN, DrillInput.GOAL_REACHED) is DrillState.COUNT_IN


def test_developers_md_shows_both_tables() -> None:
    page = Path(__file__).parent.parent / "DEVELOPERS.md"
    text = page.read_text(encoding="utf-8")
    assert as_markdown() in text
    assert follower_moves_as_markdown() in text
