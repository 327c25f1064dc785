"""What can go wrong with the record."""

from __future__ import annotations


class RecordError(Exception):
    """The record can't be used as asked; its text is one sentence that says what to do."""
