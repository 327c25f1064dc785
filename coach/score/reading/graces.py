"""Small notes: whether they belong to the note after them or to the one before."""

from __future__ import annotations

from coach.score.marks import Grace, Mark
from coach.score.reading.raw import RawNote


class Graces:
    """The small notes of a bar that wait for what follows them."""

    def __init__(self) -> None:
        self._waiting: list[RawNote] = []
        self._is_slashed = False
        self._last_main: dict[str, RawNote] = {}

    def small(self, note: RawNote, has_slash: bool) -> None:
        """A small note."""
        note.grace = Grace.BEFORE
        self._waiting.append(note)
        self._is_slashed |= has_slash

    def main(self, note: RawNote) -> None:
        """A note of full size."""
        self.settle(note)
        self._last_main[note.voice] = note

    def end_bar(self) -> None:
        """The bar is over: nothing follows in it."""
        self.settle(None)
        self._last_main.clear()

    def settle(self, main: RawNote | None) -> None:
        """Decide for the small notes that wait; ``main`` follows them, or a rest or a step.

        They belong before where nothing of their voice follows at their place, and where two or
        more without a slash follow a trill: its ending (common practice).
        """
        waiting, slashed = self._waiting, self._is_slashed
        self._waiting, self._is_slashed = [], False
        before = self._last_main.get(waiting[0].voice) if waiting else None
        if before is None:
            return
        first = waiting[0]
        is_led_to = main is not None and main.voice == first.voice and main.at == first.at
        ends_trill = Mark.TRILL in before.marks and len(waiting) > 1 and not slashed
        if ends_trill or not is_led_to:
            for note in waiting:
                note.grace = Grace.AFTER
