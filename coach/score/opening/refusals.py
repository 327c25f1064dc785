"""What opening a score can end in besides a score."""

from __future__ import annotations

from coach.score.errors import ScoreError


class OpeningCancelled(ScoreError):
    """The pianist no longer wanted this score."""


class ReaderFault(ScoreError):
    """Our reader failed at a score in a way that it should not: a bug of ours.

    ``detail`` is for those who mend it; the text is for the pianist, as always.
    """

    def __init__(self, sentence: str, detail: str) -> None:
        super().__init__(sentence)
        self.detail = detail
