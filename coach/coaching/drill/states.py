"""The drill's states and every move between them: one table, with no pair left out.

Where nothing happens the table says so: no pair of state and event can raise.
"""

from __future__ import annotations

from enum import StrEnum

from coach.coaching.drill.drill_events import State


class Event(StrEnum):
    """What moves the drill from state to state."""

    FIRST_NOTE = "first note"
    CLICK_STARTS = "click starts"
    CLICK_RUNS_OUT = "click runs out"
    """Nobody played to the click: it stops until a key is struck."""
    OVER = "over"
    """The repetition ended, or what was played was no repetition."""
    GOAL_REACHED = "goal reached"
    """With the repetition just ended; while another is in hand it waits until that is over."""
    PIANO_LOST = "piano lost"
    PIANO_FOUND = "piano found"
    PAUSE = "pause"
    GO_ON = "go on"


TABLE: dict[State, dict[Event, State]] = {
    State.READY: {
        Event.FIRST_NOTE: State.PLAYING,
        Event.CLICK_STARTS: State.COUNT_IN,
        Event.CLICK_RUNS_OUT: State.READY,
        Event.OVER: State.READY,
        Event.GOAL_REACHED: State.FINISHED,
        Event.PIANO_LOST: State.NO_PIANO,
        Event.PIANO_FOUND: State.READY,
        Event.PAUSE: State.RESTING,
        Event.GO_ON: State.READY,
    },
    State.COUNT_IN: {
        Event.FIRST_NOTE: State.PLAYING,
        Event.CLICK_STARTS: State.COUNT_IN,
        Event.CLICK_RUNS_OUT: State.READY,
        Event.OVER: State.READY,
        Event.GOAL_REACHED: State.COUNT_IN,
        Event.PIANO_LOST: State.NO_PIANO,
        Event.PIANO_FOUND: State.COUNT_IN,
        Event.PAUSE: State.RESTING,
        Event.GO_ON: State.COUNT_IN,
    },
    State.PLAYING: {
        Event.FIRST_NOTE: State.PLAYING,
        Event.CLICK_STARTS: State.PLAYING,
        Event.CLICK_RUNS_OUT: State.PLAYING,
        Event.OVER: State.READY,
        Event.GOAL_REACHED: State.FINISHED,
        Event.PIANO_LOST: State.NO_PIANO,
        Event.PIANO_FOUND: State.PLAYING,
        Event.PAUSE: State.RESTING,
        Event.GO_ON: State.PLAYING,
    },
    State.NO_PIANO: {
        Event.FIRST_NOTE: State.NO_PIANO,
        Event.CLICK_STARTS: State.NO_PIANO,
        Event.CLICK_RUNS_OUT: State.NO_PIANO,
        Event.OVER: State.NO_PIANO,
        Event.GOAL_REACHED: State.NO_PIANO,
        Event.PIANO_LOST: State.NO_PIANO,
        Event.PIANO_FOUND: State.READY,
        Event.PAUSE: State.NO_PIANO,
        Event.GO_ON: State.NO_PIANO,
    },
    State.RESTING: {
        Event.FIRST_NOTE: State.RESTING,
        Event.CLICK_STARTS: State.RESTING,
        Event.CLICK_RUNS_OUT: State.RESTING,
        Event.OVER: State.RESTING,
        Event.GOAL_REACHED: State.RESTING,
        Event.PIANO_LOST: State.NO_PIANO,
        Event.PIANO_FOUND: State.RESTING,
        Event.PAUSE: State.RESTING,
        Event.GO_ON: State.READY,
    },
    State.FINISHED: {
        Event.FIRST_NOTE: State.FINISHED,
        Event.CLICK_STARTS: State.FINISHED,
        Event.CLICK_RUNS_OUT: State.FINISHED,
        Event.OVER: State.FINISHED,
        Event.GOAL_REACHED: State.FINISHED,
        Event.PIANO_LOST: State.NO_PIANO,
        Event.PIANO_FOUND: State.FINISHED,
        Event.PAUSE: State.FINISHED,
        Event.GO_ON: State.READY,
    },
}
"""For each state, the state that each event leads to; its own where nothing happens."""


def moved(state: State, event: Event) -> State:
    """The state after an event."""
    return TABLE[state][event]


def as_markdown() -> str:
    """The table as it stands in DEVELOPERS.md: a row for each event, a column for each state."""
    rows = ["| on | " + " | ".join(State) + " |", "| --- |" + " --- |" * len(State)]
    for event in Event:
        after = [("stays" if moved(s, event) is s else str(moved(s, event))) for s in State]
        rows.append(f"| {event} | " + " | ".join(after) + " |")
    return "\n".join(rows)
