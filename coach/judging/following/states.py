"""The follower as a finite-state machine: one table, with no pair of state and input left out.

An input is what a key, or the silence after it, turns out to mean (``begin_end``). Where nothing
happens the table says so: no pair of state and input can raise.
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


class FollowerInput(StrEnum):
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
    FLOODED = "more keys than hands can play"


_S, _I = FollowerState, FollowerInput

FOLLOWER_TABLE: dict[FollowerState, dict[FollowerInput, FollowerState]] = {
    _S.SILENT: {
        _I.KEY: _S.LISTENING,
        _I.RESTED: _S.SILENT,
        _I.STRANGE: _S.SILENT,
        _I.BEGUN: _S.FOLLOWING,
        _I.BEGUN_AGAIN: _S.SILENT,
        _I.FALSE_START: _S.SILENT,
        _I.LEFT: _S.SILENT,
        _I.AT_END: _S.SILENT,
        _I.BROKEN_OFF: _S.SILENT,
        _I.FLOODED: _S.ELSEWHERE,
    },
    _S.LISTENING: {
        _I.KEY: _S.LISTENING,
        _I.RESTED: _S.SILENT,
        _I.STRANGE: _S.ELSEWHERE,
        _I.BEGUN: _S.FOLLOWING,
        _I.BEGUN_AGAIN: _S.LISTENING,
        _I.FALSE_START: _S.LISTENING,
        _I.LEFT: _S.LISTENING,
        _I.AT_END: _S.LISTENING,
        _I.BROKEN_OFF: _S.LISTENING,
        _I.FLOODED: _S.ELSEWHERE,
    },
    _S.ELSEWHERE: {
        _I.KEY: _S.ELSEWHERE,
        _I.RESTED: _S.SILENT,
        _I.STRANGE: _S.ELSEWHERE,
        _I.BEGUN: _S.FOLLOWING,
        _I.BEGUN_AGAIN: _S.ELSEWHERE,
        _I.FALSE_START: _S.ELSEWHERE,
        _I.LEFT: _S.ELSEWHERE,
        _I.AT_END: _S.ELSEWHERE,
        _I.BROKEN_OFF: _S.ELSEWHERE,
        _I.FLOODED: _S.ELSEWHERE,
    },
    _S.FOLLOWING: {
        _I.KEY: _S.FOLLOWING,
        _I.RESTED: _S.FOLLOWING,
        _I.STRANGE: _S.FOLLOWING,
        _I.BEGUN: _S.FOLLOWING,
        _I.BEGUN_AGAIN: _S.FOLLOWING,
        _I.FALSE_START: _S.FOLLOWING,
        _I.LEFT: _S.ELSEWHERE,
        _I.AT_END: _S.SILENT,
        _I.BROKEN_OFF: _S.SILENT,
        _I.FLOODED: _S.ELSEWHERE,
    },
}
"""For each state, the state that each input leads to; its own where nothing happens."""


def follower_moves_as_markdown() -> str:
    """The table as it stands in DEVELOPERS.md: a row for each input, a column for each state."""
    rows = [
        "| on | " + " | ".join(FollowerState) + " |",
        "| --- |" + " --- |" * len(FollowerState),
    ]
    for one in FollowerInput:
        after = [FOLLOWER_TABLE[state][one] for state in FollowerState]
        cells = [
            "stays" if new is state else str(new)
            for state, new in zip(FollowerState, after, strict=True)
        ]
        rows.append(f"| {one} | " + " | ".join(cells) + " |")
    return "\n".join(rows)
