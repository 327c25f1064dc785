"""The drill's states and every move between them: one table, with no pair left out.

Where nothing happens the table says so: no pair of state and event can raise.
"""

from __future__ import annotations

from enum import StrEnum

from coach.coaching.drill.drill_events import DrillState


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


TABLE: dict[DrillState, dict[Event, DrillState]] = {
    DrillState.READY: {
        Event.FIRST_NOTE: DrillState.PLAYING,
        Event.CLICK_STARTS: DrillState.COUNT_IN,
        Event.CLICK_RUNS_OUT: DrillState.READY,
        Event.OVER: DrillState.READY,
        Event.GOAL_REACHED: DrillState.FINISHED,
        Event.PIANO_LOST: DrillState.NO_PIANO,
        Event.PIANO_FOUND: DrillState.READY,
        Event.PAUSE: DrillState.RESTING,
        Event.GO_ON: DrillState.READY,
    },
    DrillState.COUNT_IN: {
        Event.FIRST_NOTE: DrillState.PLAYING,
        Event.CLICK_STARTS: DrillState.COUNT_IN,
        Event.CLICK_RUNS_OUT: DrillState.READY,
        Event.OVER: DrillState.READY,
        Event.GOAL_REACHED: DrillState.COUNT_IN,
        Event.PIANO_LOST: DrillState.NO_PIANO,
        Event.PIANO_FOUND: DrillState.COUNT_IN,
        Event.PAUSE: DrillState.RESTING,
        Event.GO_ON: DrillState.COUNT_IN,
    },
    DrillState.PLAYING: {
        Event.FIRST_NOTE: DrillState.PLAYING,
        Event.CLICK_STARTS: DrillState.PLAYING,
        Event.CLICK_RUNS_OUT: DrillState.PLAYING,
        Event.OVER: DrillState.READY,
        Event.GOAL_REACHED: DrillState.FINISHED,
        Event.PIANO_LOST: DrillState.NO_PIANO,
        Event.PIANO_FOUND: DrillState.PLAYING,
        Event.PAUSE: DrillState.RESTING,
        Event.GO_ON: DrillState.PLAYING,
    },
    DrillState.NO_PIANO: {
        Event.FIRST_NOTE: DrillState.NO_PIANO,
        Event.CLICK_STARTS: DrillState.NO_PIANO,
        Event.CLICK_RUNS_OUT: DrillState.NO_PIANO,
        Event.OVER: DrillState.NO_PIANO,
        Event.GOAL_REACHED: DrillState.NO_PIANO,
        Event.PIANO_LOST: DrillState.NO_PIANO,
        Event.PIANO_FOUND: DrillState.READY,
        Event.PAUSE: DrillState.NO_PIANO,
        Event.GO_ON: DrillState.NO_PIANO,
    },
    DrillState.RESTING: {
        Event.FIRST_NOTE: DrillState.RESTING,
        Event.CLICK_STARTS: DrillState.RESTING,
        Event.CLICK_RUNS_OUT: DrillState.RESTING,
        Event.OVER: DrillState.RESTING,
        Event.GOAL_REACHED: DrillState.RESTING,
        Event.PIANO_LOST: DrillState.NO_PIANO,
        Event.PIANO_FOUND: DrillState.RESTING,
        Event.PAUSE: DrillState.RESTING,
        Event.GO_ON: DrillState.READY,
    },
    DrillState.FINISHED: {
        Event.FIRST_NOTE: DrillState.FINISHED,
        Event.CLICK_STARTS: DrillState.FINISHED,
        Event.CLICK_RUNS_OUT: DrillState.FINISHED,
        Event.OVER: DrillState.FINISHED,
        Event.GOAL_REACHED: DrillState.FINISHED,
        Event.PIANO_LOST: DrillState.NO_PIANO,
        Event.PIANO_FOUND: DrillState.FINISHED,
        Event.PAUSE: DrillState.FINISHED,
        Event.GO_ON: DrillState.READY,
    },
}
"""For each state, the state that each event leads to; its own where nothing happens."""


def next_state(state: DrillState, event: Event) -> DrillState:
    """The state after an event."""
    return TABLE[state][event]


def as_markdown() -> str:
    """The table as it stands in DEVELOPERS.md: a row for each event, a column for each state."""
    rows = ["| on | " + " | ".join(DrillState) + " |", "| --- |" + " --- |" * len(DrillState)]
    for event in Event:
        after = [
            ("stays" if next_state(s, event) is s else str(next_state(s, event)))
            for s in DrillState
        ]
        rows.append(f"| {event} | " + " | ".join(after) + " |")
    return "\n".join(rows)
