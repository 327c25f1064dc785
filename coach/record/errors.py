"""What can go wrong with the record."""

from __future__ import annotations

UNTIL_THEN = "Till then all is kept in memory."
"""What is to be said after an error of the record, where its ``Store`` goes on."""


class RecordError(Exception):
    """The record can't be used as asked; its text is one sentence that says what to do."""

    def __init__(self, sentence: str, brief: str = "") -> None:
        """``brief`` says the same in half a row, for a pianist who goes on playing."""
        super().__init__(sentence)
        self.brief = brief or sentence


class NotOurs(RecordError):
    """The record's file is another program's, and nothing will ever join it."""
