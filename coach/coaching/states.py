"""The drill's states and every move between them: one table.

Rule: a pair that is not in the table is a mistake in our code, and raises. What may happen at any
time without changing the state (a stray key while the piano is resting) is not an event here.
"""

from __future__ import annotations

from enum import StrEnum

from coach.coaching.outcomes import State


class Event(StrEnum):
    """What moves the drill from state to state."""

    FIRST_NOTE = "first note"
    CLICK_STARTS = "click starts"
    CLICK_RUNS_OUT = "click runs out"
    """Nobody played to the click: it stops until a key is struck."""
    OVER = "over"
    """The repetition ended, or what was played was no repetition."""
    GOAL_REACHED = "goal reached"
    PIANO_LOST = "piano lost"
    PIANO_FOUND = "piano found"
    PAUSE = "pause"
    GO_ON = "go on"


TABLE: dict[State, dict[Event, State]] = {
    State.READY: {
        Event.FIRST_NOTE: State.PLAYING,
        Event.CLICK_STARTS: State.COUNT_IN,
        Event.OVER: State.READY,
        Event.GOAL_REACHED: State.FINISHED,
        Event.PIANO_LOST: State.NO_PIANO,
        Event.PAUSE: State.RESTING,
        Event.GO_ON: State.READY,
    },
    State.COUNT_IN: {
        Event.FIRST_NOTE: State.PLAYING,
        Event.CLICK_RUNS_OUT: State.READY,
        Event.OVER: State.READY,
        Event.PIANO_LOST: State.NO_PIANO,
        Event.PAUSE: State.RESTING,
    },
    State.PLAYING: {
        Event.OVER: State.READY,
        Event.GOAL_REACHED: State.FINISHED,
        Event.PIANO_LOST: State.NO_PIANO,
        Event.PAUSE: State.RESTING,
    },
    State.NO_PIANO: {
        Event.PIANO_FOUND: State.READY,
    },
    State.RESTING: {
        Event.GO_ON: State.READY,
        Event.PIANO_LOST: State.NO_PIANO,
    },
    State.FINISHED: {
        Event.GO_ON: State.READY,
        Event.PIANO_LOST: State.NO_PIANO,
    },
}
"""For each state, the state that each event leads to."""


def moved(state: State, event: Event) -> State:
    """The state after an event; LookupError where the table has no such move."""
    try:
        return TABLE[state][event]
    except KeyError:
        raise LookupError(f"no move from {state.value!r} on {event.value!r}") from None


def as_markdown() -> str:
    """The table as it stands in DEVELOPERS.md; ``tests/test_states.py`` keeps the two the same."""
    rows = ["| state | on | becomes |", "| --- | --- | --- |"]
    for state, moves in TABLE.items():
        rows += [f"| {state} | {event} | {after} |" for event, after in moves.items()]
    return "\n".join(rows)
