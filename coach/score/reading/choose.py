"""Which part of a score is the piano.

A piano may stand in one part of two or more staves, or in two parts of one staff each. Where the
score says nothing, a part of two staves is taken for it, then the only part that there is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise

from coach.score.errors import ScoreError
from coach.score.printed import Remark
from coach.score.reading.parts import Part
from coach.score.reading.raw import PartFacts

_KEYBOARD = re.compile(
    r"piano|klavier|pno|pft?e?\b|keyboard|clavier|clavi|cembal|harpsi|clavecin|tast|fl[uü]gel"
    r"|organ\b|orgel|orgue|celest|fortep|keys\b",
    re.IGNORECASE,
)
_SIDE = re.compile(
    r"\b(right|left|r\.?\s?h|l\.?\s?h|rh|lh|upper|lower|treble|bass|destra|sinistra|m\.?d|m\.?s"
    r"|droite|gauche|rechts?|links?|oben|unten|staff|hand)\b",
    re.IGNORECASE,
)
OTHER_PLAYERS = re.compile(
    r"voice|voix|gesang|singstimme|cant|sopran|alto?\b|tenor|bariton|vocal|choir|chor"
    r"|violin|viola|cello|contrab|flute|fl[oö]te|oboe|clarinet|bassoon|horn|trumpet|tromb|tuba"
    r"|guitar|drum|percussion|timpan",
    re.IGNORECASE,
)
"""Other players: their parts often carry a piano's sound, which exporters write by default."""
_PIANO_PROGRAMS = range(1, 9)


@dataclass(frozen=True)
class Choice:
    """The part or the pair of parts that is to be played."""

    indexes: tuple[int, ...]
    """One part, or the upper and the lower of two."""
    remarks: tuple[Remark, ...] = ()


def choose_piano(parts: list[Part], facts: list[PartFacts], name: str) -> Choice:
    """The piano among the parts.

    Raises ScoreError where there is no note with a pitch, or only parts of other instruments.
    """
    pitched = [i for i, fact in enumerate(facts) if fact.notes]
    if not pitched:
        raise ScoreError(f"{name} holds no note that could be played: export the score again.")
    choices = _choices(parts, facts, pitched)
    if not choices:
        others = ", ".join(parts[i].name for i in pitched[:4])
        raise ScoreError(
            f"{name} has no piano part, only {others}: open a score in which the piano has two"
            " staves or is named so."
        )
    chosen = choices[0]
    remarks = _left_out(parts, pitched, chosen, choices)
    return Choice(chosen, tuple(remarks))


def _choices(
    parts: list[Part], facts: list[PartFacts], pitched: list[int]
) -> list[tuple[int, ...]]:
    """All possible pianos, best first."""
    wide = [i for i in pitched if facts[i].staves > 1]
    named = [(i,) for i in wide if _is_keyboard(parts[i])]
    pairs = _pairs(parts, [i for i in pitched if facts[i].staves == 1])
    single = [(i,) for i in pitched if facts[i].staves == 1 and _is_keyboard(parts[i])]
    loose = [single_part for single_part in single if not any(single_part[0] in p for p in pairs)]
    ranked = [*named, *pairs, *[(i,) for i in wide if (i,) not in named], *loose]
    if ranked:
        return ranked
    if len(pitched) == 2 and len(parts) == 2 and _are_unnamed(parts):
        return [(pitched[0], pitched[1])]
    return [(pitched[0],)] if len(pitched) == 1 else []


def _is_keyboard(part: Part) -> bool:
    if any(_KEYBOARD.search(name) for name in part.names):
        return True
    if any(OTHER_PLAYERS.search(name) for name in part.names):
        return False
    if any(sound.startswith("keyboard") for sound in part.sounds):
        return True
    return not part.sounds and _is_nameless(part) and _has_piano_program(part)


def _has_piano_program(part: Part) -> bool:
    return any(program in _PIANO_PROGRAMS for program in part.programs)


def _is_nameless(part: Part) -> bool:
    plain = re.compile(r"(music\s?xml |midi |solo |voice|part|staff|track|instrument)?\s*\d*", re.I)
    return all(plain.fullmatch(name) or _SIDE.search(name) for name in part.names)


def _are_unnamed(parts: list[Part]) -> bool:
    return all(_is_nameless(part) for part in parts)


def _pairs(parts: list[Part], single: list[int]) -> list[tuple[int, ...]]:
    """Neighbours of one staff each that are the two staves of one piano."""
    pairs: list[tuple[int, ...]] = []
    used: set[int] = set()
    for upper, lower in pairwise(single):
        if upper not in used and lower == upper + 1 and _is_pair(parts[upper], parts[lower]):
            pairs.append((upper, lower))
            used |= {upper, lower}
    return pairs


def _is_pair(upper: Part, lower: Part) -> bool:
    keyboard = _is_keyboard(upper) and _is_keyboard(lower)
    braced = upper.brace and upper.brace == lower.brace
    sides = all(any(_SIDE.search(name) for name in part.names) for part in (upper, lower))
    return keyboard or sides or bool(braced and (_is_keyboard(upper) or _are_unnamed([lower])))


def _left_out(
    parts: list[Part], pitched: list[int], chosen: tuple[int, ...], choices: list[tuple[int, ...]]
) -> list[Remark]:
    remarks = []
    pianos = {i for choice in choices[1:] for i in choice} - set(chosen)
    others = [parts[i].name for i in pitched if i not in chosen and i not in pianos]
    chosen_name = parts[chosen[0]].name
    if pianos:
        names = ", ".join(parts[i].name for i in sorted(pianos))
        text = f"The score has more than one piano: {chosen_name} was read, {names} was left out."
        remarks.append(Remark("left out", text))
    if others:
        text = f"Only {chosen_name} is to be played; left out: {', '.join(others[:12])}."
        remarks.append(Remark("left out", text))
    if len(chosen) == 2:
        text = (
            f"{chosen_name} and {parts[chosen[1]].name} were taken as the two staves of one piano."
        )
        remarks.append(Remark("guess", text))
    return remarks
