"""Numbers and words out of a file, without trusting it.

A hostile file may write 1e999999999, and exact arithmetic on that never ends: so a number is
taken only in the plain decimal form that the formats use, and only up to a sensible size.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

from coach.score.words import printable

_DECIMAL = re.compile(r"[+-]?\d{1,9}(\.\d{1,9})?|[+-]?\.\d{1,9}")
_LONGEST_WORDS = 200


@lru_cache(maxsize=4096)
def number(text: str | None) -> Fraction | None:
    """A plain decimal as an exact fraction; None for anything else."""
    stripped = (text or "").strip()
    return Fraction(stripped) if _DECIMAL.fullmatch(stripped) else None


@lru_cache(maxsize=4096)
def whole(text: str | None, low: int, high: int) -> int | None:
    """A whole number from low to high; None for anything else."""
    value = number(text)
    if value is None or value.denominator != 1 or not low <= value <= high:
        return None
    return int(value)


def clean(text: str | None) -> str:
    """Words on one line, without control characters, cut at 200 characters."""
    if not text:
        return ""
    return " ".join(printable(text, len(text), unseen=" ").split())[:_LONGEST_WORDS]


def count(number_of: int, thing: str) -> str:
    """``1 note``, ``2 notes``."""
    return f"{number_of} {thing}" + ("" if number_of == 1 else "s")
