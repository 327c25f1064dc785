"""What a teacher says to what was played instead: what was heard, and what to do."""

from __future__ import annotations

from collections.abc import Mapping

from coach.judging.model import Instead
from coach.score.model import Hand

OTHER_NOTES = "These are not the notes of this window."
OTHER_PLACE = "That is another place of the piece."
UNCLEAR = "Too little came through to say what was meant: play all of it."
TOO_FAST = "Too fast to hear a rhythm: play what you can count."

_NAME = {Hand.RIGHT: "right hand", Hand.LEFT: "left hand"}
_OTHER = {Hand.RIGHT: Hand.LEFT, Hand.LEFT: Hand.RIGHT}
_NUMBERS = (
    "no", "one", "two", "three", "four", "five",
    "six", "seven", "eight", "nine", "ten", "eleven",
)  # fmt: skip


def octave_words(by: Mapping[Hand, int]) -> str:
    """``The left hand is an octave too low: move it up.``; ``by`` in half steps for each hand."""
    moved = {hand: steps for hand, steps in by.items() if steps}
    if len(set(moved.values())) > 1:
        right, left = _octaves(moved[Hand.RIGHT]), _octaves(moved[Hand.LEFT])
        return f"Right hand {right}, left hand {left}."
    steps = next(iter(moved.values()))
    way = "down" if steps > 0 else "up"
    if len(moved) == 2:
        return f"Both hands are {_octaves(steps)}: move them {way}."
    return f"The {_NAME[next(iter(moved))]} is {_octaves(steps)}: move it {way}."


def _octaves(steps: int) -> str:
    way = "too high" if steps > 0 else "too low"
    return f"an octave {way}" if abs(steps) == 12 else f"two octaves {way}"


def transposed_words(steps: int) -> str:
    """``All of it is two half steps too high: is transpose on?``."""
    way = "too high" if steps > 0 else "too low"
    count = f"{_NUMBERS[abs(steps)]} half step{'s' if abs(steps) > 1 else ''}"
    return f"All of it is {count} {way}. Is the piano's transpose switched on?"


def clef_words(hand: Hand, clef: str) -> str:
    """``The left hand read the treble clef: it is the bass clef.``."""
    other = "bass" if clef == "treble" else "treble"
    return f"The {_NAME[hand]} read the {clef} clef: read the {other} clef."


def one_hand_words(heard: Hand) -> str:
    """Both hands are asked for, and one was heard."""
    return f"Both hands are asked for: only the {_NAME[heard]} was heard."


def both_hands_words(asked: Hand) -> str:
    """One hand is asked for, and the other played too."""
    return f"{_NAME[asked].capitalize()} alone: the {_NAME[_OTHER[asked]]} played too."


def other_hand_words(heard: Hand) -> str:
    """One hand is asked for, and the other was heard."""
    return f"The {_NAME[_OTHER[heard]]} is asked for: the {_NAME[heard]} was heard."


_SHORT = {
    Instead.OCTAVE: "OCTAVE",
    Instead.TRANSPOSED: "TRANSPOSED",
    Instead.CLEF: "THE CLEF",
    Instead.ONE_HAND: "BOTH HANDS",
    Instead.NOT_RIGHT_ALONE: "RH ALONE",
    Instead.NOT_LEFT_ALONE: "LH ALONE",
    Instead.TOO_FAST: "TOO FAST",
    Instead.OTHER_NOTES: "OTHER NOTES",
    Instead.OTHER_PLACE: "ANOTHER PLACE",
    Instead.UNCLEAR: "NOT CLEAR",
}


def name_in_short(what: Instead | None) -> str:
    """What was played, or what is asked for, in a word or two, to be read from afar."""
    return _SHORT[what] if what else ""
