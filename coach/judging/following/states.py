"""The follower's states and every move between them: one table, with no pair left out.

An event is what a key, or the silence after it, turns out to mean (``following_rules``). Where
nothing happens the table says so: no pair of state and event can raise.
"""

from __future__ import annotations

from enum import StrEnum


class FollowerState(StrEnum):
    """What is being heard."""

    SILENT = "silent"
    """Nothing since the last repetition, or since a rest."""
    LISTENING = "listening"
    """Keys, not yet a repetition."""
    ELSEWHERE = "elsewhere"
    """Keys of which it was said that they are not this window's."""
    FOLLOWING = "following"
    """A repetition."""


class FollowerEvent(StrEnum):
    """What a key or a silence turns out to mean."""

    KEY = "a key that decides nothing"
    RESTED = "a key after a rest"
    """The keys before it are forgotten; in a repetition a short rest is only a hesitation."""
    STRANGE = "many keys that do not fit"
    BEGUN = "the window is begun"
    BEGUN_AGAIN = "begun again from its start"
    """The attempt before is over, and the next is in hand already."""
    FALSE_START = "a false start, begun again"
    """The same, after so little that the attempt tells nothing."""
    LEFT = "something else is played"
    AT_END = "its last notes are over"
    BROKEN_OFF = "broken off by silence"


_S, _E = FollowerState, FollowerEvent

FOLLOWER_TABLE: dict[FollowerState, dict[FollowerEvent, FollowerState]] = {
    _S.SILENT: {
        _E.KEY: _S.LISTENING,
        _E.RESTED: _S.SILENT,
        _E.STRANGE: _S.SILENT,
        _E.BEGUN: _S.FOLLOWING,
        _E.BEGUN_AGAIN: _S.SILENT,
        _E.FALSE_START: _S.SILENT,
        _E.LEFT: _S.SILENT,
        _E.AT_END: _S.SILENT,
        _E.BROKEN_OFF: _S.SILENT,
    },
    _S.LISTENING: {
        _E.KEY: _S.LISTENING,
        _E.RESTED: _S.SILENT,
        _E.STRANGE: _S.ELSEWHERE,
        _E.BEGUN: _S.FOLLOWING,
        _E.BEGUN_AGAIN: _S.LISTENING,
        _E.FALSE_START: _S.LISTENING,
        _E.LEFT: _S.LISTENING,
        _E.AT_END: _S.LISTENING,
        _E.BROKEN_OFF: _S.LISTENING,
    },
    _S.ELSEWHERE: {
        _E.KEY: _S.ELSEWHERE,
        _E.RESTED: _S.SILENT,
        _E.STRANGE: _S.ELSEWHERE,
        _E.BEGUN: _S.FOLLOWING,
        _E.BEGUN_AGAIN: _S.ELSEWHERE,
        _E.FALSE_START: _S.ELSEWHERE,
        _E.LEFT: _S.ELSEWHERE,
        _E.AT_END: _S.ELSEWHERE,
        _E.BROKEN_OFF: _S.ELSEWHERE,
    },
    _S.FOLLOWING: {
        _E.KEY: _S.FOLLOWING,
        _E.RESTED: _S.FOLLOWING,
        _E.STRANGE: _S.FOLLOWING,
        _E.BEGUN: _S.FOLLOWING,
        _E.BEGUN_AGAIN: _S.FOLLOWING,
        _E.FALSE_START: _S.FOLLOWING,
        _E.LEFT: _S.ELSEWHERE,
        _E.AT_END: _S.SILENT,
        _E.BROKEN_OFF: _S.SILENT,
    },
}
"""For each state, the state that each event leads to; its own where nothing happens."""


def follower_moves_as_markdown() -> str:
    """The table as it stands in DEVELOPERS.md: a row for each event, a column for each state."""
    rows = [
        "| on | " + " | ".join(FollowerState) + " |",
        "| --- |" + " --- |" * len(FollowerState),
    ]
    for event in FollowerEvent:
        after = [FOLLOWER_TABLE[state][event] for state in FollowerState]
        cells = [
            "stays" if new is state else str(new)
            for state, new in zip(FollowerState, after, strict=True)
        ]
        rows.append(f"| {event} | " + " | ".join(cells) + " |")
    return "\n".join(rows)
