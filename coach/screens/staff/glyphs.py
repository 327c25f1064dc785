"""The characters that music is written with.

Only characters that the common monospace fonts have: no musical symbols (U+1D100 and after are
in none of them). ``●○─`` are of ambiguous width in some East Asian terminals, so there is a
second set of plain ASCII.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Beam:
    """One form of beam: its line, and the corners where stems meet it from below or above."""

    line: str
    up: tuple[str, str, str]
    """First, middle and last note of a beam above the notes."""
    down: tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class Glyphs:
    """One set of characters."""

    filled: str
    hollow: str
    grace: str
    low_filled: str
    """Compact form: a head on the line (the lower half of its row)."""
    low_hollow: str
    high_filled: str
    """Compact form: a head in the space above the line (the upper half)."""
    high_hollow: str
    line: str
    bar: str
    crossing: str
    cut: str
    """The dashed line where the window cuts a bar."""
    stem: str
    beams: tuple[Beam, Beam, Beam]
    """Eighths, sixteenths, and all that is shorter."""
    tie: str
    dot: str
    whole_rest: str
    half_rest: str
    low_whole_rest: str
    """Compact form: half blocks are heads there."""
    low_half_rest: str
    quarter_rest: str
    short_rest: str
    """One for each hook: eighth one, sixteenth two, stacked."""


UNICODE = Glyphs(
    filled="●",
    hollow="○",
    grace="•",
    low_filled="▄",
    low_hollow="o",
    high_filled="▀",
    high_hollow="°",
    line="─",
    bar="│",
    crossing="┼",
    cut="┊",
    stem="│",
    beams=(
        Beam("─", ("┌", "┬", "┐"), ("└", "┴", "┘")),
        Beam("═", ("╒", "╤", "╕"), ("╘", "╧", "╛")),
        Beam("━", ("┏", "┳", "┓"), ("┗", "┻", "┛")),
    ),
    tie="~",
    dot="·",
    whole_rest="▀",
    half_rest="▄",
    low_whole_rest="¯",
    low_half_rest="_",
    quarter_rest="ξ",
    short_rest="7",
)

ASCII = Glyphs(
    filled="@",
    hollow="O",
    grace="*",
    low_filled="@",
    low_hollow="o",
    high_filled="*",
    high_hollow='"',
    line="-",
    bar="|",
    crossing="+",
    cut=":",
    stem="|",
    beams=(
        Beam("_", ("_", "_", "_"), ("_", "_", "_")),
        Beam("=", ("=", "=", "="), ("=", "=", "=")),
        Beam("#", ("#", "#", "#"), ("#", "#", "#")),
    ),
    tie="~",
    dot=".",
    whole_rest="w",
    half_rest="h",
    low_whole_rest="w",
    low_half_rest="h",
    quarter_rest="z",
    short_rest="7",
)
