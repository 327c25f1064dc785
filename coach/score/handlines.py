"""A hand move in one line, as a pianist says it.

A line names bars as printed, then what is meant in them, then where it goes::

    bar 3 beat 2 F4 to LH           one note (every F4 on that beat)
    bar 3 beat 2 1/2 to RH          whatever begins there
    bars 5-8 voice 2 to RH          a voice in a passage
    bars 5-8 staff 1 voice 2 to LH  a voice of one staff
    bars 9-12 above C4 to RH        what lies higher than C4 (or: below)
    bars 9-12 split C4              C4 and higher to RH, the rest to LH
    all bars staff 2 to LH          the whole piece
    all bars to home staff          each voice to the hand of the staff that it mostly lies on

Where numbers are printed twice, a bar may be named by its place: ``bar #17`` is the seventeenth.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from coach.score.model import Hand
from coach.score.pitch import Spelling
from coach.score.place import beat_words


class MoveError(ValueError):
    """A line that is no hand move, or finds nothing; one sentence for the pianist."""


@dataclass(frozen=True, slots=True)
class HandMove:
    """Which notes go to which hand. What is None does not narrow the choice."""

    hand: Hand | None
    """Where they go; None for a split, and for the home staff."""
    first_bar: str | None = None
    """Printed number of the first bar, or ``#n`` for the n-th; None for the whole piece."""
    last_bar: str | None = None
    """The last bar; None where it is the first bar alone."""
    beat: Fraction | None = None
    staff: int | None = None
    voice: str | None = None
    pitch: Spelling | None = None
    """Only this key, however it is spelled."""
    above: Spelling | None = None
    below: Spelling | None = None
    split: Spelling | None = None
    """This key and higher go to RH, lower to LH."""
    home_staff: bool = False
    """Each goes to the hand of its voice's home staff."""

    def __str__(self) -> str:
        parts = [
            self._bars(),
            f"beat {beat_words(self.beat)}" if self.beat is not None else "",
            f"staff {self.staff}" if self.staff is not None else "",
            f"voice {self.voice}" if self.voice is not None else "",
            f"above {self.above.symbol}" if self.above else "",
            f"below {self.below.symbol}" if self.below else "",
            self.pitch.symbol if self.pitch else "",
            f"split {self.split.symbol}" if self.split else "",
            "to home staff" if self.home_staff else "",
            f"to {self.hand}" if self.hand else "",
        ]
        return " ".join(filter(None, parts))

    def _bars(self) -> str:
        if self.first_bar is None:
            return "all bars"
        if self.last_bar is None:
            return f"bar {self.first_bar}"
        return f"bars {self.first_bar}-{self.last_bar}"


_NOTE = r"[a-g](?:bb|b|\#\#|\#|x)?-?\d"
_MOVE = re.compile(
    rf"""\s*
    (?: all\s+bars | bars?\s+(?P<first>\#?[^\s-]+) (?:\s*-\s*(?P<last>\#?[^\s-]+))? )
    (?: \s+beat\s+ (?P<beat>\d+ (?: \.\d+ | (?:\s+|\s*\+\s*) \d+/\d+ )? )
      | \s+staff\s+(?P<staff>\d+) | \s+voice\s+(?P<voice>\S+)
      | \s+above\s+(?P<above>{_NOTE}) | \s+below\s+(?P<below>{_NOTE})
      | \s+(?P<pitch>{_NOTE}) )*
    (?: \s+split\s+(?:at\s+)?(?P<split>{_NOTE})
      | \s+to\s+(?P<home>home\s+staff)
      | \s+to\s+(?:the\s+)?(?P<hand>RH|LH|right|left)(?:\s+hand)? )
    \s*""",
    re.IGNORECASE | re.VERBOSE,
)
_PART = re.compile(r"\s(beat|staff|voice|above|below)\s")
_EXAMPLE = '"bars 5-8 voice 2 to RH", "bar 3 beat 2 F4 to LH" or "bars 9-12 split C4"'
_ALTERS = {"": 0, "b": -1, "bb": -2, "#": 1, "##": 2, "x": 2}


def parse_move(text: str) -> HandMove:
    """The move that a line asks for; raises MoveError."""
    found = _MOVE.fullmatch(text.replace("–", "-"))
    said = _PART.findall(text.lower())
    if not found or len(said) > len(set(said)):
        raise MoveError(f'"{text.strip()}" is not a hand move: write it like {_EXAMPLE}.')
    staff, hand = found["staff"], found["hand"]
    return HandMove(
        hand=Hand.RIGHT if hand and hand[0] in "Rr" else Hand.LEFT if hand else None,
        first_bar=found["first"],
        last_bar=found["last"],
        beat=_beat(found["beat"], text),
        staff=int(staff) if staff else None,
        voice=found["voice"],
        home_staff=bool(found["home"]),
        **{name: _spelling(found[name]) for name in ("pitch", "above", "below", "split")},
    )


def _beat(text: str | None, line: str) -> Fraction | None:
    if text is None:
        return None
    try:
        return sum((Fraction(part) for part in re.split(r"[\s+]+", text)), Fraction(0))
    except ZeroDivisionError:
        raise MoveError(f'"{line.strip()}" names a beat that there is not: {text}.') from None


def _spelling(text: str | None) -> Spelling | None:
    if not text:
        return None
    middle, octave = re.fullmatch(r"(.*?)(-?\d)", text[1:]).groups()  # type: ignore[union-attr]
    return Spelling(text[0].upper(), _ALTERS[middle.lower()], int(octave))
