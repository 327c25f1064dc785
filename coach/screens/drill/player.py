"""Who plays: a piano, the letters of the computer, or nobody yet."""

from __future__ import annotations

from coach.playing.letter_keyboard import LENGTH_S, VELOCITY, Layout, pitch_of
from coach.playing.midi_events import KeyDown, KeyUp
from coach.screens.interfaces import piano_words


class Player:
    """Who plays, and what to say where nobody can."""

    is_simulated = False
    """Whether it is the demo's player, whom nobody has to wait for."""

    def __init__(
        self, piano: str | None = None, *, why_none: str = "", uses_letters: bool = False
    ) -> None:
        """``why_none``: why there is no piano, where it is not just switched off."""
        self.piano = piano
        self.why_none = why_none
        self.uses_letters = uses_letters
        """Whether the computer keyboard stands in for the piano."""

    @property
    def needs_piano(self) -> bool:
        """Whether nobody can play while there is no piano."""
        return not self.uses_letters

    @property
    def words(self) -> str:
        """Who plays, as it stands on the screen."""
        if self.uses_letters:
            return "letters as piano"
        return piano_words(self.piano) if self.piano else "no piano"

    def find_piano(self, name: str) -> None:
        """A piano is there."""
        self.piano = name

    def lose_piano(self, why: str) -> None:
        """It is gone."""
        self.piano, self.why_none = None, why

    def toggle_letters(self) -> None:
        """Turn the letters into piano keys, or back."""
        self.uses_letters = not self.uses_letters


class LetterPiano:
    """The computer keyboard as a piano. It tells no release: each key is held for a fixed time."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._releases: list[KeyUp] = []

    def strike(self, character: str, at_s: float) -> KeyDown | None:
        """The key that a character stands for, struck now; None where it stands for none."""
        pitch = pitch_of(character, layout=self._layout)
        if pitch is None:
            return None
        self._releases.append(KeyUp(pitch, at_s + LENGTH_S))
        return KeyDown(pitch, VELOCITY, at_s)

    def take_releases(self, now_s: float) -> list[KeyUp]:
        """The keys whose time is over by now; each is given once."""
        count = sum(up.at_s <= now_s for up in self._releases)
        due, self._releases = self._releases[:count], self._releases[count:]
        return due
