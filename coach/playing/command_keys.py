"""Commands from the piano: keys beyond the piece's range ask for something, and are no music.

They lie side by side from the lowest white key up, where the piece leaves them free, and go on from
the highest down. A pianist finds them without looking, as steps from the end of the keyboard.

Nothing is fired while a repetition is played, nor by a key that comes along with others: a slip off
the music, an arm on the keys, a child.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from coach.score.pitch import Spelling

RANGES: Mapping[int, tuple[int, int]] = {
    88: (21, 108),
    76: (28, 103),
    73: (28, 100),
    61: (36, 96),
    49: (36, 84),
}
"""Lowest and highest key of keyboards of so many keys (MIDI numbers; common practice)."""
WHITE = frozenset({0, 2, 4, 5, 7, 9, 11})
"""Pitch classes of the white keys."""
ALONE_S = 0.4
"""A key is a command only where no other came so shortly before it. Own choice, because nobody who
reaches from the music to the end of the keyboard is quicker."""


REACH_SEMITONES = 15
"""How far a command key is at least from what the piece needs. Own choice, because a hand that
begins an octave too low, and slips a step beside that, still strikes none."""


class PianoCommand(StrEnum):
    """What can be asked for from the piano, the most wanted first."""

    HEAR = "hear"
    HEAR_MINE = "mine"
    SLOWER = "slower"
    FASTER = "faster"
    SMALLER = "smaller"
    LARGER = "larger"
    OTHER_HAND = "other hand"
    NEXT = "next"
    PAUSE = "pause"


@dataclass(frozen=True, slots=True)
class CommandKey:
    """A key and what it asks for."""

    pitch: int
    command: PianoCommand

    @property
    def name(self) -> str:
        """The key's name, without its octave."""
        return Spelling.of(self.pitch).words


def lay_command_keys(lowest: int, highest: int, size: int = 88) -> tuple[CommandKey, ...]:
    """The command keys of a piece that needs the keys from ``lowest`` to ``highest``.

    As many commands as there are free white keys, those at the low end first, in order from it;
    then from the high end down. A key has to be :data:`REACH_SEMITONES` away from the piece.
    """
    first, last = RANGES[size]
    low = [key for key in range(first, lowest - REACH_SEMITONES + 1) if key % 12 in WHITE]
    high = [key for key in range(last, highest + REACH_SEMITONES - 1, -1) if key % 12 in WHITE]
    return tuple(
        CommandKey(key, command) for key, command in zip([*low, *high], PianoCommand, strict=False)
    )


class CommandListener:
    """Tells which struck key is a command; time is an argument."""

    def __init__(self, keys: tuple[CommandKey, ...]) -> None:
        self._commands = {one.pitch: one.command for one in keys}
        self._last_s = float("-inf")

    def hear(self, pitch: int, at_s: float, *, is_playing: bool) -> PianoCommand | None:
        """What the key asks for, where it asks for anything; to be told of every key."""
        alone = at_s - self._last_s >= ALONE_S
        self._last_s = at_s
        return self._commands.get(pitch) if alone and not is_playing else None
