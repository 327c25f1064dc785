"""Fitting words into few rows: the most important first, whole sentences, no word cut."""

from __future__ import annotations

import re
from textwrap import wrap

_PARTS = re.compile(r"(?<=[.?!;]) ")
_MORE = "..."
"""As wide as its plain form, so that both fit."""


def fitted(verdict: str, reason: str, width: int, rows: int) -> tuple[str, str]:
    """Verdict and reason for so many rows of so many columns: the verdict before the reason."""
    first = shortened_to(verdict, width, rows)
    return first, shortened_to(reason, width, rows - rows_of(first, width))


def rows_of(text: str, width: int) -> int:
    """Rows that a text takes."""
    return len(wrap(text, max(width, 1)))


def shortened_to(text: str, width: int, rows: int) -> str:
    """As many of a text's sentences as fit whole; of a first one that is too long, whole words."""
    if rows <= 0:
        return ""
    if rows_of(text, width) <= rows:
        return text
    parts = _PARTS.split(text)
    for count in range(len(parts) - 1, 0, -1):
        some = " ".join(parts[:count]).rstrip(";")
        if rows_of(some, width) <= rows:
            return some
    words = parts[0].split()
    while words and rows_of(" ".join(words) + _MORE, width) > rows:
        words.pop()
    return " ".join(words).rstrip(",;:") + _MORE if words else ""
