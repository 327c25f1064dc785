"""The drill's states and every move between them: one table, with no pair left out.

Where nothing happens the table says so: no pair of state and event can raise.
"""

from __future__ import annotations

from enum import StrEnum

from coach.coaching.drill.drill_events import DrillState


class DrillInput(StrEnum):
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


TABLE: dict[DrillState, dict[DrillInput, DrillState]] = {
    DrillState.READY: {
        DrillInput.FIRST_NOTE: DrillState.PLAYING,
        DrillInput.CLICK_STARTS: DrillState.COUNT_IN,
        DrillInput.CLICK_RUNS_OUT: DrillState.READY,
        DrillInput.OVER: DrillState.READY,
        DrillInput.GOAL_REACHED: DrillState.FINISHED,
        DrillInput.PIANO_LOST: DrillState.NO_PIANO,
        DrillInput.PIANO_FOUND: DrillState.READY,
        DrillInput.PAUSE: DrillState.RESTING,
        DrillInput.GO_ON: DrillState.READY,
    },
    DrillState.COUNT_IN: {
        DrillInput.FIRST_NOTE: DrillState.PLAYING,
        DrillInput.CLICK_STARTS: DrillState.COUNT_IN,
        DrillInput.CLICK_RUNS_OUT: DrillState.READY,
        DrillInput.OVER: DrillState.READY,
        DrillInput.GOAL_REACHED: DrillState.COUNT_IN,
        DrillInput.PIANO_LOST: DrillState.NO_PIANO,
        DrillInput.PIANO_FOUND: DrillState.COUNT_IN,
        DrillInput.PAUSE: DrillState.RESTING,
        DrillInput.GO_ON: DrillState.COUNT_IN,
    },
    DrillState.PLAYING: {
        DrillInput.FIRST_NOTE: DrillState.PLAYING,
        DrillInput.CLICK_STARTS: DrillState.PLAYING,
        DrillInput.CLICK_RUNS_OUT: DrillState.PLAYING,
        DrillInput.OVER: DrillState.READY,
        DrillInput.GOAL_REACHED: DrillState.FINISHED,
        DrillInput.PIANO_LOST: DrillState.NO_PIANO,
        DrillInput.PIANO_FOUND: DrillState.PLAYING,
        DrillInput.PAUSE: DrillState.RESTING,
        DrillInput.GO_ON: DrillState.PLAYING,
    },
    DrillState.NO_PIANO: {
        DrillInput.FIRST_NOTE: DrillState.NO_PIANO,
        DrillInput.CLICK_STARTS: DrillState.NO_PIANO,
        DrillInput.CLICK_RUNS_OUT: DrillState.NO_PIANO,
        DrillInput.OVER: DrillState.NO_PIANO,
        DrillInput.GOAL_REACHED: DrillState.NO_PIANO,
        DrillInput.PIANO_LOST: DrillState.NO_PIANO,
        DrillInput.PIANO_FOUND: DrillState.READY,
        DrillInput.PAUSE: DrillState.NO_PIANO,
        DrillInput.GO_ON: DrillState.NO_PIANO,
    },
    DrillState.RESTING: {
        DrillInput.FIRST_NOTE: DrillState.RESTING,
        DrillInput.CLICK_STARTS: DrillState.RESTING,
        DrillInput.CLICK_RUNS_OUT: DrillState.RESTING,
        DrillInput.OVER: DrillState.RESTING,
        DrillInput.GOAL_REACHED: DrillState.RESTING,
        DrillInput.PIANO_LOST: DrillState.NO_PIANO,
        DrillInput.PIANO_FOUND: DrillState.RESTING,
        DrillInput.PAUSE: DrillState.RESTING,
        DrillInput.GO_ON: DrillState.READY,
    },
    DrillState.FINISHED: {
        DrillInput.FIRST_NOTE: DrillState.FINISHED,
        DrillInput.CLICK_STARTS: DrillState.FINISHED,
        DrillInput.CLICK_RUNS_OUT: DrillState.FINISHED,
        DrillInput.OVER: DrillState.FINISHED,
        DrillInput.GOAL_REACHED: DrillState.FINISHED,
        DrillInput.PIANO_LOST: DrillState.NO_PIANO,
        DrillInput.PIANO_FOUND: DrillState.FINISHED,
        DrillInput.PAUSE: DrillState.FINISHED,
        DrillInput.GO_ON: DrillState.READY,
    },
}
"""For each state, the state that each event leads to; its own where nothing happens."""


def next_state(state: DrillState, event: DrillInput) -> DrillState:
    """The state after an event."""
    return TABLE[state][event]


def as_markdown() -> str:
    """The table as it stands in DEVELOPERS.md: a row for each event, a column for each state."""
    rows = ["| on | " + " | ".join(DrillState) + " |", "| --- |" + " --- |" * len(DrillState)]
    for event in DrillInput:
        after = [
            ("stays" if next_state(s, event) is s else str(next_state(s, event)))
            for s in DrillState
        ]
        rows.append(f"| {event} | " + " | ".join(after) + " |")
    return "\n".join(rows)
