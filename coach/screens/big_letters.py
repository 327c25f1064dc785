"""Letters and figures large enough to be read from the bench, drawn with blocks.

A letter is 3 dots wide, N one more, and 5 high. Three rows of half blocks hold one line of them;
where there is room a dot is a whole row high and two columns wide.
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
    "N": ("#  #", "## #", "# ##", "#  #", "#  #"),
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
    "&": (" ##  ", "#    ", " ## #", "#  # ", " ## #"),
    ":": (" ", "#", " ", "#", " "),
    "-": ("  ", "  ", "##", "  ", "  "),
    " ": ("  ", "  ", "  ", "  ", "  "),
}

_HALVES = {("#", "#"): "█", ("#", " "): "▀", (" ", "#"): "▄", (" ", " "): " "}


ROWS, TALL_ROWS = 3, 5
"""Rows of a line of letters, and of one of tall letters."""


_PLAIN = str.maketrans({"█": "#", "▀": '"', "▄": "o"})


def big_width(text: str, *, tall: bool = False) -> int:
    """Columns that a text takes when written large."""
    dots = max(sum(len(_DOTS[char][0]) + 1 for char in text.upper()) - 1, 0)
    return 2 * dots if tall else dots


def big(text: str, *, tall: bool = False, plain: bool = False) -> tuple[str, ...]:
    """A text in large letters: three rows, or five and twice as wide where it is ``tall``.

    ``plain``: of ASCII characters, for terminals without blocks.
    Knows the letters A to Z, figures, ampersand, colon, hyphen and space; raises KeyError on
    anything else.
    """
    if plain:
        return tuple(row.translate(_PLAIN) for row in big(text, tall=tall))
    lines = [" ".join(_DOTS[char][row] for char in text.upper()) for row in range(TALL_ROWS)]
    if tall:
        return tuple(line.replace("#", "██").replace(" ", "  ") for line in lines)
    lines.append(" " * len(lines[0]))
    return tuple(
        "".join(_HALVES[pair] for pair in zip(upper, lower, strict=True))
        for upper, lower in zip(lines[::2], lines[1::2], strict=True)
    )
