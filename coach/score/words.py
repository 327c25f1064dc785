"""Words about a score, safe to print on one line of a terminal."""

from __future__ import annotations

from fractions import Fraction

from coach.score.metre import Metre

_KEY_NAMES = {
    0: ("C", "A"),
    1: ("G", "E"),
    2: ("D", "B"),
    3: ("A", "F sharp"),
    4: ("E", "C sharp"),
    5: ("B", "G sharp"),
    6: ("F sharp", "D sharp"),
    7: ("C sharp", "A sharp"),
    -1: ("F", "D"),
    -2: ("B flat", "G"),
    -3: ("E flat", "C"),
    -4: ("A flat", "F"),
    -5: ("D flat", "B flat"),
    -6: ("G flat", "E flat"),
    -7: ("C flat", "A flat"),
}
BEAT_NAMES = {
    Fraction(1, 4): "sixteenth",
    Fraction(3, 8): "dotted sixteenth",
    Fraction(1, 2): "eighth",
    Fraction(3, 4): "dotted eighth",
    Fraction(1): "quarter",
    Fraction(3, 2): "dotted quarter",
    Fraction(2): "half",
    Fraction(3): "dotted half",
    Fraction(4): "whole",
}
"""The note values by their length in quarters."""


def printable(text: str, longest: int = 600, unseen: str = "?") -> str:
    """Words from outside on one line, as they may be shown anywhere: the one door for them.

    A port's name, a file's or a title may hold what a terminal obeys (escape sequences), what turns
    a line round (U+202E), or half a character (a file name that is no UTF-8). White space of any
    kind is a space, whatever else can't be seen is ``unseen``; cut to ``longest`` characters.
    """
    clean = text if text.isprintable() else "".join(_make_visible(char, unseen) for char in text)
    return clean if len(clean) <= longest else clean[: longest - 1] + "…"


def printable_lines(text: str, longest: int = 100_000) -> str:
    """The same of several lines; only a broken file has one longer than that (own choice)."""
    return "\n".join(printable(line, longest) for line in text.split("\n"))


def _make_visible(char: str, unseen: str) -> str:
    if char.isprintable():
        return char
    return " " if char.isspace() else unseen


def capitalise(words: str) -> str:
    """The words at the beginning of a sentence; what follows stays as it is, unlike by Python's
    own."""
    return words[:1].upper() + words[1:]


def count_of(number: int, one: str, several: str = "") -> str:
    """``1 note``, ``1,200 notes``."""
    return f"{number:,} {one if number == 1 else several or one + 's'}"


def mixed(value: Fraction) -> str:
    """A number as people write it: ``3``, ``1/2``, ``2 1/2``."""
    whole, part = divmod(value, 1)
    return " ".join(str(number) for number in (whole, part) if number) or "0"


def key_words(fifths: int) -> str:
    """A key signature: ``2 flats (B flat major or G minor)``."""
    signs = count_of(abs(fifths), "sharp" if fifths > 0 else "flat") if fifths else "no signs"
    names = _KEY_NAMES.get(fifths)
    return f"{signs} ({names[0]} major or {names[1]} minor)" if names else signs


def beat_name(length_quarters: Fraction) -> str:
    """A beat by the note that it is as long as: ``dotted quarter``."""
    return BEAT_NAMES.get(length_quarters, f"{length_quarters} quarters")


def parts_words(length_quarters: Fraction) -> str:
    """What is counted where beats are too slow: ``eighths``; ``halves``."""
    name = beat_name(length_quarters)
    return "halves" if name == "half" else f"{name}s"


# Places in words: bars, and what lies inside them.
#
# There is one way to name a place inside a bar, for every metre (:func:`name_in_bar`): ``beat 2``,
# ``the & of 2``, ``the last sixteenth of beat 2``. Nobody at a piano says "beat 2 3/4".


_ORDINALS = (
    "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth",
    "ninth", "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "fifteenth",
)  # fmt: skip
_NUMBERS = (
    "one", "two", "three", "four", "five", "six", "seven", "eight",
    "nine", "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen",
)  # fmt: skip
_VALUES = {
    Fraction(2): "half",
    Fraction(1): "quarter",
    Fraction(1, 2): "eighth",
    Fraction(1, 4): "sixteenth",
    Fraction(1, 8): "thirty-second",
    Fraction(1, 16): "sixty-fourth",
}
"""The plain note values by their length in quarters."""


def bar_words(number: str, is_pickup: bool, time: int = 0) -> str:
    """Nobody at a piano says "bar 0" for the notes before bar 1. ``time``: which time it is played,
    where that has to be said."""
    bar = "pickup" if is_pickup and number in ("", "0") else f"bar {number}"
    return f"{bar}, {time_words(time)}" if time else bar


def time_words(time: int) -> str:
    """``second time``."""
    return f"{_ORDINALS[time - 1] if time <= len(_ORDINALS) else f'{time}{_suffix(time)}'} time"


def count_of_beat(beat: Fraction, metre: Metre) -> Fraction:
    """A metre's beat as players count it.

    A bar of one dotted beat (3/8, 3/16) is counted in three, whatever the click gives.
    """
    return 1 + (beat - 1) * 3 if is_counted_in_three(metre) else beat


def name_in_bar(beat: Fraction, metre: Metre) -> str:
    """A place inside a bar, as it is counted: each has a name of its own, and none a fraction.

    On the beat ``beat 2``; half-way ``the & of 2``; else by the note value that divides the beat
    (``the last sixteenth of beat 2``; in 6/8 ``the second eighth of beat 1``), by its triplet
    (``the last triplet of beat 2``), or by its tuplet (``the second of five in beat 2``).
    """
    counted = count_of_beat(beat, metre)
    whole, part = divmod(counted, 1)
    if not part:
        return f"beat {whole}"
    in_thirds = metre.is_compound and not is_counted_in_three(metre)
    if in_thirds:
        return _name_in_dotted_beat(whole, part, metre)
    if part == Fraction(1, 2):
        return f"the & of {whole}"
    count = part.denominator
    length = metre.unit_quarters / count
    if length in _VALUES:
        return f"the {_nth(part, count)} {_VALUES[length]} of beat {whole}"
    if count == 3:
        return f"the {_nth(part, 3)} triplet of beat {whole}"
    return _name_in_tuplet(whole, part, count)


def _name_in_dotted_beat(whole: int, part: Fraction, metre: Metre) -> str:
    """A dotted beat has three of the lower number's notes, six of half of them, twelve ..."""
    count = part.denominator
    if count == 2:
        count = 6  # the middle of a dotted beat is its fourth sixteenth
    length = metre.beat_quarters / count
    if length in _VALUES:
        return f"the {_nth(part, count)} {_VALUES[length]} of beat {whole}"
    return _name_in_tuplet(whole, part, count)


def _name_in_tuplet(whole: int, part: Fraction, count: int) -> str:
    """``the second of five in beat 2``."""
    of = _NUMBERS[count - 1] if count <= len(_NUMBERS) else str(count)
    return f"the {_nth(part, count)} of {of} in beat {whole}"


def _nth(part: Fraction, count: int) -> str:
    """Which of so many equal notes begins there: ``second``, ``last``, ``17th``."""
    index = int(part * count)
    if index == count - 1:
        return "last"
    return _ORDINALS[index] if index < len(_ORDINALS) else f"{index + 1}{_suffix(index + 1)}"


def _suffix(number: int) -> str:
    if number % 100 in (11, 12, 13):
        return "th"
    return {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")


def is_counted_in_three(metre: Metre) -> bool:
    """Whether a bar is one dotted beat: 3/8, 3/16."""
    return metre.is_compound and metre.beats_in_bar == 1


def beat_figure(beat: Fraction) -> str:
    """A beat as a figure, for tables and hand moves: ``2``, ``2 1/2``. Never in a sentence."""
    whole, part = divmod(beat, 1)
    return str(whole) if not part else f"{whole} {part}"
