"""The characters that music is written with.

Only characters that the common monospace fonts have: no musical symbols (U+1D100 and after are
in none of them). A head is a block, open in the middle where it is hollow, and looks alike at every
size. ``█─`` are of ambiguous width in some East Asian terminals, so there is a
second set of plain ASCII.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coach.score.model import Barline, NoteMark

Look = tuple[str, str]
"""A barline between two lines of the staff, and on one."""


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
    """A head of two columns, one row to a step."""
    hollow: str
    low_filled: str
    """The same in the compact form: on the line (the lower half of its row)."""
    low_hollow: str
    high_filled: str
    """In the space above the line (the upper half)."""
    high_hollow: str
    large_filled: tuple[str, str, str]
    """The same over three rows, for two rows to a step."""
    large_hollow: tuple[str, str, str]
    grace: str
    line: str
    crossing: str
    """Where a stem crosses one."""
    barlines: Mapping[Barline, Look]
    """What closes a bar, in a column or two."""
    repeats: tuple[Look, Look, Look]
    """Where a repeat begins, ends, or ends and another begins; dots stand beside."""
    cut: Look
    """The dashed line where the window cuts a bar."""
    stem: str
    beams: tuple[Beam, Beam, Beam, Beam]
    """Eighths, sixteenths, 32nds, and all that is shorter."""
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
    rolled: str
    """Before a chord that is broken upwards, at each of its rows."""
    touch: Mapping[NoteMark, str]
    """What is written over or under a note, in this order from the left: what changes the notes
    before what shapes them."""


_TOUCH = {
    NoteMark.TRILL: "tr",
    NoteMark.TURN: "S",
    NoteMark.MORDENT: "w",
    NoteMark.TREMOLO: "//",
    NoteMark.GLISSANDO: "gl",
    NoteMark.ACCENT: ">",
    NoteMark.MARCATO: "^",
    NoteMark.TENUTO: "-",
    NoteMark.STACCATO: ".",
    NoteMark.STACCATISSIMO: "'",
    NoteMark.FERMATA: "U",
}


UNICODE = Glyphs(
    filled="██",
    hollow="▌▐",
    low_filled="▄▄",
    low_hollow="▖▗",
    high_filled="▀▀",
    high_hollow="▘▝",
    large_filled=("▄▄▄▄", "████", "▀▀▀▀"),
    large_hollow=("▄▄▄▄", "█  █", "▀▀▀▀"),
    grace="•",
    line="─",
    crossing="┼",
    barlines={
        Barline.SINGLE: ("│", "┼"),
        Barline.DOUBLE: ("││", "┼┼"),
        Barline.FINAL: ("│┃", "┼╂"),
        Barline.HEAVY: ("┃", "╂"),
        Barline.DASHED: ("│", "┼"),
        Barline.DOTTED: ("·", "·"),
        Barline.NONE: (" ", "─"),
    },
    repeats=(("┃│", "╂┼"), ("│┃", "┼╂"), ("┃", "╂")),
    cut=("┊", "┊"),
    stem="│",
    beams=(
        Beam("━", ("┏", "┳", "┓"), ("┗", "┻", "┛")),
        Beam("═", ("╔", "╦", "╗"), ("╚", "╩", "╝")),
        Beam("≡", ("╔", "╦", "╗"), ("╚", "╩", "╝")),
        Beam("≣", ("╔", "╦", "╗"), ("╚", "╩", "╝")),
    ),
    tie="~",
    dot="·",
    whole_rest="▀",
    half_rest="▄",
    low_whole_rest="¯",
    low_half_rest="_",
    quarter_rest="ξ",
    short_rest="7",
    rolled="{",
    touch={**_TOUCH, NoteMark.TURN: "∞", NoteMark.FERMATA: "∩"},
)

ASCII = Glyphs(
    filled="@@",
    hollow="()",
    low_filled="@,",
    low_hollow="o,",
    high_filled="@'",
    high_hollow="o'",
    large_filled=("/@@\\", "@@@@", "\\@@/"),
    large_hollow=("/--\\", "|  |", "\\--/"),
    grace="*",
    line="-",
    crossing="+",
    barlines={
        Barline.SINGLE: ("|", "+"),
        Barline.DOUBLE: ("||", "++"),
        Barline.FINAL: ("|H", "+H"),
        Barline.HEAVY: ("H", "H"),
        Barline.DASHED: ("|", "+"),
        Barline.DOTTED: (".", "."),
        Barline.NONE: (" ", "-"),
    },
    repeats=(("H|", "H+"), ("|H", "+H"), ("H", "H")),
    cut=(":", ":"),
    stem="|",
    beams=(
        Beam("_", ("_", "_", "_"), ("_", "_", "_")),
        Beam("=", ("=", "=", "="), ("=", "=", "=")),
        Beam("#", ("#", "#", "#"), ("#", "#", "#")),
        Beam("%", ("%", "%", "%"), ("%", "%", "%")),
    ),
    tie="~",
    dot=".",
    whole_rest="w",
    half_rest="h",
    low_whole_rest="w",
    low_half_rest="h",
    quarter_rest="z",
    short_rest="7",
    rolled="{",
    touch=_TOUCH,
)
