"""A whole evening led from the piano: a real terminal, a real port, and no key of the computer."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from coach.playing.command_keys import ALONE_S, QUIET_S, PianoCommand, lay_command_keys
from coach.playing.notes import PlayedNote
from coach.score.reading import read_score
from tests.end_to_end.terminal import Terminal, terminal
from tests.jackrig import Pianist

__all__ = ["terminal"]

pytestmark = pytest.mark.real

COACH = (sys.executable, "-m", "coach")
SAMPLE = Path(__file__).parent.parent.parent / "sample_scores/1-low-tide.musicxml"
LOWEST = 21


class Evening:
    """A pianist who strikes one key after the other, and looks at the screen."""

    def __init__(self, terminal: Terminal, pianist: Pianist) -> None:
        self._terminal, self._pianist = terminal, pianist
        self._off_s = 0.0
        """When the hands went off the keys."""

    def strikes(
        self, *pitches: int, then: str | Callable[[str], object], within_s: float = 15
    ) -> str:
        """Strike keys with the hands off between them; the screen with what is to come of it."""
        for pitch in pitches:
            self._rest(max(ALONE_S, QUIET_S) + 0.1)
            self._pianist.play([PlayedNote(pitch, 60, 0.0, 0.1)])
            self._off_s = time.monotonic()
        return self._terminal.wait(then, within_s=15)

    def presses(self, pedal: int, then: str) -> str:
        """Press a pedal and let go."""
        self._rest(ALONE_S + 0.1)
        self._pianist.send(0xB0, pedal, 127)
        self._pianist.send(0xB0, pedal, 0)
        self._off_s = time.monotonic()
        return self._terminal.wait(then, within_s=15)

    def _rest(self, seconds: float) -> None:
        """Let the hands be off the keys for so long; what was waited for is part of it."""
        time.sleep(max(self._off_s + seconds - time.monotonic(), 0.0))


def test_an_evening_without_the_computer(
    terminal: Terminal, pianist: Pianist, tmp_path: Path
) -> None:
    data = tmp_path / "data"
    terminal.run(*COACH, "setup", "--data", str(data), columns=100, rows=30)
    terminal.wait("Strike any key", within_s=20)
    evening = Evening(terminal, pianist)

    # Set up: this piano takes no MIDI, so the sound and the tapping are passed over.
    evening.strikes(60, then="Strike the lowest")
    evening.strikes(LOWEST, then="Now the highest")
    evening.strikes(108, then="88 keys")
    evening.presses(66, then="the middle pedal: hear")
    evening.presses(67, then="the left pedal: next")
    evening.strikes(60, then="What will you play")

    # Home: down with the pedal that means next, up and choose with the lowest keys.
    assert "your lowest A: choose" in terminal.text()
    evening.presses(67, then="What will you play")
    evening.strikes(24, 21, then="play when ready")

    # The drill: a smaller window and back, what can't sound here, the reason, and on.
    assert "your lowest A: hear" in terminal.text()
    whole = asked(terminal.wait(asked))  # what is asked for may be painted after the rest
    evening.strikes(28, then=lambda now: asked(now) != whole)  # E: smaller
    evening.strikes(29, then=lambda now: asked(now) == whole)  # F: larger
    evening.presses(66, then="Nothing can sound here")
    evening.strikes(key_of(PianoCommand.WHY), then="So far:")
    evening.strikes(60, then="your lowest A: hear")  # playing on closes it
    evening.strikes(key_of(PianoCommand.NEXT), then="play when ready")

    # Home again, by the highest key that asks for it.
    evening.strikes(key_of(PianoCommand.HOME), then="What will you play")


def asked(screen: str) -> str:
    """The line that says what is asked for, without where it stands."""
    line = next((row for row in screen.splitlines() if "bpm" in row or "own tempo" in row), "")
    return line.split("   ")[0]


def key_of(command: PianoCommand) -> int:
    """The key that asks for it, as the piece leaves keys free."""
    pitches = [note.pitch for note in read_score(SAMPLE).notes]
    keys = lay_command_keys(min(pitches), max(pitches))
    return next(one.pitch for one in keys if one.command is command)
