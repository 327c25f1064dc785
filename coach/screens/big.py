"""Letters and figures large enough to be read from the bench, drawn with blocks.

A letter is 3 dots wide and 5 high. Three rows of half blocks hold one line of them.
"""

from __future__ import annotations

_DOTS = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": ("## ", " # ", " # ", " # ", "###"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", " ##", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", "  #", "  #", "  #"),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    "A": ("###", "# #", "###", "# #", "# #"),
    "B": ("## ", "# #", "## ", "# #", "## "),
    "C": ("###", "#  ", "#  ", "#  ", "###"),
    "D": ("## ", "# #", "# #", "# #", "## "),
    "E": ("###", "#  ", "## ", "#  ", "###"),
    "F": ("###", "#  ", "## ", "#  ", "#  "),
    "G": ("###", "#  ", "# #", "# #", "###"),
    "H": ("# #", "# #", "###", "# #", "# #"),
    "I": ("###", " # ", " # ", " # ", "###"),
    "J": ("  #", "  #", "  #", "# #", "###"),
    "K": ("# #", "# #", "## ", "# #", "# #"),
    "L": ("#  ", "#  ", "#  ", "#  ", "###"),
    "M": ("# #", "###", "###", "# #", "# #"),
    "N": ("###", "# #", "# #", "# #", "# #"),
    "O": ("###", "# #", "# #", "# #", "###"),
    "P": ("###", "# #", "###", "#  ", "#  "),
    "Q": ("###", "# #", "# #", "###", "  #"),
    "R": ("## ", "# #", "## ", "# #", "# #"),
    "S": ("###", "#  ", "###", "  #", "###"),
    "T": ("###", " # ", " # ", " # ", " # "),
    "U": ("# #", "# #", "# #", "# #", "###"),
    "V": ("# #", "# #", "# #", "# #", " # "),
    "W": ("# #", "# #", "###", "###", "# #"),
    "X": ("# #", "# #", " # ", "# #", "# #"),
    "Y": ("# #", "# #", " # ", " # ", " # "),
    "Z": ("###", "  #", " # ", "#  ", "###"),
    " ": ("  ", "  ", "  ", "  ", "  "),
}

_HALVES = {("#", "#"): "█", ("#", " "): "▀", (" ", "#"): "▄", (" ", " "): " "}


def big_width(text: str) -> int:
    """Columns that a text takes when written large."""
    return max(sum(len(_DOTS[char][0]) + 1 for char in text.upper()) - 1, 0)


def big(text: str, *, ascii_only: bool = False) -> tuple[str, ...]:
    """A text in large letters: three rows, or five of ``#`` where only ASCII may be used.

    Knows the letters A to Z, figures and the space; raises KeyError on anything else.
    """
    lines = [" ".join(_DOTS[char][row] for char in text.upper()) for row in range(5)]
    if ascii_only:
        return tuple(lines)
    lines.append(" " * len(lines[0]))
    return tuple(
        "".join(_HALVES[pair] for pair in zip(upper, lower, strict=True))
        for upper, lower in zip(lines[::2], lines[1::2], strict=True)
    )
