"""What is played instead of the window, recognised while it is played: said once, when sure."""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.instead.key_sequence import count_onsets
from coach.judging.instead.recognise import SHORT_NOTES, recognise_live, recognise_other
from coach.judging.model import PlayedInstead
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt

REST_S = 1.0
"""After such a silence it is told from all keys so far, and after the next one it may be again. Own
choice, because few notes of a window in practice are longer."""
FORGET_S = 6.0
"""After such a silence the next key has nothing to do with those before. Own choice: a slow player
needs some four seconds for a long note."""
MOST_KEYS = 24
"""What was not known by then is not looked at again before a rest. Own choice, because each look
takes time while a key is waited for."""
LEAST_AT_REST = 3
"""Keys or chords that tell something, where the window has so many. Own choice, because two may be
any two."""


class LiveRecogniser:
    """The keys since the last repetition, or since a silence."""

    def __init__(self, excerpt: Excerpt, rest_s: float = REST_S) -> None:
        """``rest_s``: after such a silence the window may be begun; none written is as long."""
        self._excerpt = excerpt
        self._rest_s = rest_s
        self._least = min(LEAST_AT_REST, len(excerpt.onsets_quarters))
        self._goes_past = False
        """Whether the keys go on from the window's end: they are what comes after it."""
        self.forget()

    def note_end(self) -> None:
        """The window was played to its end: what comes without a rest is not meant for it."""
        self.forget()
        self._goes_past = True

    def note_rest(self) -> None:
        """The hands have rested."""
        if self._goes_past:
            self.forget()
        self._goes_past = False

    def forget(self) -> None:
        """A repetition begins."""
        self._keys: list[PlayedNote] = []
        """The first of them; of more than are ever compared the rest is not kept."""
        self._last_s = 0.0
        """When the last one was struck."""
        self._is_said = self._was_asked = False

    def adopt(self, keys: Sequence[PlayedNote], *, is_said: bool) -> None:
        """What seemed to be a repetition was none; perhaps it ``is_said`` already what it was."""
        self._keys = list(keys[: SHORT_NOTES + 1])
        self._last_s = keys[-1].onset_s if keys else 0.0
        self._is_said, self._was_asked = is_said, False

    def goes_on(self) -> bool:
        """Whether what was said still holds: a few right keys in it begin nothing."""
        return self._is_said and recognise_live(self._excerpt, self._keys) is not None

    def add_key(self, note: PlayedNote) -> None:
        """A key that may begin nothing."""
        quiet_s = note.onset_s - self._last_s if self._keys else 0.0
        if quiet_s >= FORGET_S or (self._is_said and quiet_s >= self._rest_s):
            self.forget()
        if len(self._keys) <= SHORT_NOTES:
            self._keys.append(note)
        self._last_s = note.onset_s
        self._was_asked = False

    def recognise_after_key(self) -> PlayedInstead | None:
        """What is being played instead of the window, once it is sure."""
        return self._recognise(so_far=True)

    def recognise_strange(self) -> PlayedInstead | None:
        """The same where the keys fit nothing: one hand may be right, and the other is not."""
        return self._recognise(so_far=False)

    def recognise_at_rest(self, now_s: float) -> PlayedInstead | None:
        """The same where the playing has stopped."""
        if self._was_asked or not self._keys or now_s - self._last_s < REST_S:
            return None
        self._was_asked = True
        return self._recognise(so_far=False) if count_onsets(self._keys) >= self._least else None

    def _recognise(self, *, so_far: bool) -> PlayedInstead | None:
        if self._is_said or self._goes_past or (so_far and len(self._keys) > MOST_KEYS):
            return None
        if so_far:
            said = recognise_other(self._excerpt, self._keys, so_far=True)
        else:
            said = recognise_live(self._excerpt, self._keys)
        self._is_said = said is not None
        return said
