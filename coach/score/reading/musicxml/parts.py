"""The file's parts: which of them is the piano's, and what is said where it isn't plain."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from xml.etree.ElementTree import Element

from coach.score.formats import ScoreError
from coach.score.model import NoteMark, Remark
from coach.score.reading.musicxml.facts import (
    ClefAt,
    LineAt,
    PartFacts,
    RawNote,
    RestAt,
    WordsAt,
)
from coach.score.reading.safe import clean, whole
from coach.score.words import count_of

# The parts of a MusicXML score, partwise or timewise, and what the part list says of them.


_MOST_BARS = 20_000
"""Own choice: ten times the bars of the longest piano works."""


@dataclass
class Part:
    """One part: its names and its bars, not yet read."""

    id: str
    names: list[str] = field(default_factory=list)
    """Part name, abbreviation and the names of its instruments."""
    sounds: list[str] = field(default_factory=list)
    """MusicXML instrument sounds, such as ``keyboard.piano``."""
    programs: list[int] = field(default_factory=list)
    """General MIDI programs, 1 to 128."""
    brace: int = 0
    """Number of the braced part group that it belongs to; 0 for none."""
    measures: list[Element] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Its name for people."""
        return next(iter(self.names), "a part without a name")


def parts_of(root: Element, name: str) -> list[Part]:
    """All parts with their bars, in score order.

    Raises ScoreError where the root is no score, or the score has no or too many bars.
    """
    if root.tag == "opus":
        raise ScoreError(
            f"{name} is only a list of other score files: open the score files themselves."
        )
    listed = {part.id: part for part in _list_parts(root)}
    if root.tag == "score-timewise":
        held = [(part, measure) for measure in root.iter("measure") for part in measure]
        for element, measure in held:
            _add(listed, element, [_bar_of(element, measure)])
    else:
        for element in root.findall("part"):
            _add(listed, element, element.findall("measure"))
    parts = [part for part in listed.values() if part.measures]
    if not parts:
        raise ScoreError(f"{name} holds no bars: export the score again.")
    if max(len(part.measures) for part in parts) > _MOST_BARS:
        raise ScoreError(f"{name} has more than {_MOST_BARS} bars, which no score needs: refused.")
    return parts


def _add(listed: dict[str, Part], element: Element, measures: list[Element]) -> None:
    identity = element.get("id", "")
    listed.setdefault(identity, Part(identity)).measures.extend(measures)


def _bar_of(part: Element, measure: Element) -> Element:
    """A timewise score's bar of one part, in the form of a partwise one."""
    part.attrib = {**measure.attrib}
    return part


def _list_parts(root: Element) -> list[Part]:
    parts: list[Part] = []
    open_braces: dict[str, int] = {}
    groups = 0
    part_list = root.find("part-list")
    for element in part_list if part_list is not None else ():
        if element.tag == "part-group":
            groups += 1
            _group(element, groups, open_braces)
        elif element.tag == "score-part":
            part = _score_part(element)
            part.brace = max(open_braces.values(), default=0)
            parts.append(part)
    return parts


def _group(element: Element, serial: int, open_braces: dict[str, int]) -> None:
    number = element.get("number", "1")
    if element.get("type") == "stop":
        open_braces.pop(number, None)
    elif (element.findtext("group-symbol") or "").strip() == "brace":
        open_braces[number] = serial


def _score_part(element: Element) -> Part:
    part = Part(element.get("id", ""))
    for child in element.iter():
        if child.tag in ("part-name", "part-abbreviation", "instrument-name"):
            part.names += [text] if (text := clean(child.text)) else []
        elif child.tag == "instrument-sound":
            part.sounds.append(clean(child.text))
        elif child.tag == "midi-program":
            program = whole(child.text, 1, 128)
            part.programs += [program] if program else []
    return part


# Which part of a score is the piano, and the facts of that part.


_KEYBOARD = re.compile(
    r"piano|klavier|pno|pft?e?\b|keyboard|clavier|clavi|cembal|harpsi|clavecin|tast|fl[uü]gel"
    r"|organ\b|orgel|orgue|celest|fortep|keys\b",
    re.IGNORECASE,
)
_SIDE = re.compile(
    r"\b(right|left|r\.?\s?h|l\.?\s?h|rh|lh|upper|lower|treble|bass|destra|sinistra|m\.?d|m\.?s"
    r"|droite|gauche|rechts?|links?|oben|unten|derecha|izquierda|staff|hand|hände?)\b",
    re.IGNORECASE,
)
_LEFT = re.compile(
    r"\b(left|l\.?\s?h|lh|lower|bass|sinistra|m\.?s|gauche|m\.?g|linke?|links|unten|izquierda)\b",
    re.IGNORECASE,
)
_RIGHT = re.compile(
    r"\b(right|r\.?\s?h|rh|upper|treble|destra|m\.?d|droite|rechte?|rechts|oben|derecha)\b",
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


def choose_piano(parts: list[Part], facts: list[PartFacts], name: str, wanted: str = "") -> Choice:
    """The piano among the parts; ``wanted`` names a part, or gives its number from the top.

    Raises ScoreError where there is no note with a pitch, or only parts of other instruments.
    """
    pitched = [i for i, fact in enumerate(facts) if fact.notes]
    if not pitched and any(fact.unpitched_notes for fact in facts):
        raise ScoreError(
            f"{name} is written for percussion alone, without pitches: open a score with a piano."
        )
    if not pitched:
        raise ScoreError(f"{name} holds no note that could be played: export the score again.")
    choices = _choices(parts, facts, pitched)
    if wanted:
        at = _find_part(parts, pitched, wanted, name)
        chosen = next((one for one in choices if at in one), (at,))
        choices = [chosen, *(one for one in choices if one != chosen)]
    if not choices:
        others = ", ".join(parts[i].name for i in pitched[:4])
        raise ScoreError(
            f"{name} has no piano part, only {others}: open a score in which the piano has two"
            " staves or is named so."
        )
    chosen = choices[0]
    remarks = _list_left_out(parts, pitched, chosen, choices)
    return Choice(chosen, tuple(remarks))


def _find_part(parts: list[Part], pitched: list[int], wanted: str, name: str) -> int:
    """The part of this number or name; of several whose name holds it the first."""
    number = whole(wanted, 1, len(parts))
    if number and number - 1 in pitched:
        return number - 1
    asked = wanted.casefold()
    names = {i: [one.casefold() for one in parts[i].names] for i in pitched}
    whole_name = (i for i in pitched if asked in names[i])
    in_name = (i for i in pitched if any(asked in one for one in names[i]))
    found = next(whole_name, next(in_name, None))
    if found is None:
        there = ", ".join(f"{i + 1} {parts[i].name}" for i in pitched[:12])
        raise ScoreError(f"{name} has no part “{wanted}”: it has {there}.")
    return found


def _choices(
    parts: list[Part], facts: list[PartFacts], pitched: list[int]
) -> list[tuple[int, ...]]:
    """All possible pianos, best first."""
    pitched = [i for i in pitched if not _is_ossia(parts[i])] or pitched
    wide = [i for i in pitched if facts[i].staves > 1]
    named = [_with_third_staff(parts, facts, i, pitched) for i in wide if _is_keyboard(parts[i])]
    joined = {i for several in named for i in several if len(several) > 1}
    pitched = [i for i in pitched if i not in joined or i in wide]
    pairs = _pairs(parts, [i for i in pitched if facts[i].staves == 1])
    single = [(i,) for i in pitched if facts[i].staves == 1 and _is_keyboard(parts[i])]
    loose = [single_part for single_part in single if not any(single_part[0] in p for p in pairs)]
    others = [(i,) for i in wide if not any(i in several for several in named)]
    ranked = [*named, *pairs, *others, *loose]
    if ranked:
        return ranked
    if len(pitched) == 2 and len(parts) == 2 and _are_unnamed(parts):
        return [(pitched[0], pitched[1])]
    return [(pitched[0],)] if len(pitched) == 1 else []


_OSSIA = re.compile(r"\bossia", re.IGNORECASE)


def _is_ossia(part: Part) -> bool:
    """Another version of some bars, on a staff of its own."""
    return any(_OSSIA.search(name) for name in part.names)


def _with_third_staff(
    parts: list[Part], facts: list[PartFacts], wide: int, pitched: list[int]
) -> tuple[int, ...]:
    """A piano of two staves with a third one that is written as a part of its own beside it.

    In the same brace, or of the same name. Another part of two staves is another piano.
    """

    def belongs(other: int) -> bool:
        braced = parts[wide].brace and parts[wide].brace == parts[other].brace
        same_name = bool(parts[wide].names) and parts[wide].names[:1] == parts[other].names[:1]
        is_other = any(OTHER_PLAYERS.search(name) for name in parts[other].names)
        narrow = other in pitched and facts[other].staves == 1
        return narrow and not is_other and bool(braced or same_name)

    return tuple(
        i for i in (wide - 1, wide, wide + 1) if i == wide or (0 <= i < len(parts) and belongs(i))
    )


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
            is_upside_down = _is_side(parts[upper], _LEFT) and _is_side(parts[lower], _RIGHT)
            pairs.append((lower, upper) if is_upside_down else (upper, lower))
            used |= {upper, lower}
    return pairs


def _is_side(part: Part, side: re.Pattern[str]) -> bool:
    return any(side.search(name) for name in part.names)


def _is_pair(upper: Part, lower: Part) -> bool:
    keyboard = _is_keyboard(upper) and _is_keyboard(lower)
    braced = upper.brace and upper.brace == lower.brace
    sides = all(any(_SIDE.search(name) for name in part.names) for part in (upper, lower))
    return keyboard or sides or bool(braced and (_is_keyboard(upper) or _are_unnamed([lower])))


def _list_left_out(
    parts: list[Part], pitched: list[int], chosen: tuple[int, ...], choices: list[tuple[int, ...]]
) -> list[Remark]:
    remarks = []
    pianos = {i for choice in choices[1:] for i in choice} - set(chosen)
    others = [parts[i].name for i in pitched if i not in chosen and i not in pianos]
    chosen_name = parts[chosen[0]].name
    if pianos:
        names = ", ".join(parts[i].name for i in sorted(pianos))
        text = (
            f"The score has more than one piano: {chosen_name} was read, {names} was left out; "
            "--part chooses another."
        )
        remarks.append(Remark("left out", text))
    if others:
        text = f"Only {chosen_name} is to be played; left out: {', '.join(others[:12])}."
        remarks.append(Remark("left out", text))
    if len(chosen) == 3 or (len(chosen) == 2 and parts[chosen[0]].name == parts[chosen[1]].name):
        text = f"{count_of(len(chosen), 'part')} were taken as the staves of one piano."
        remarks.append(Remark("guess", text))
    elif len(chosen) == 2:
        text = (
            f"{chosen_name} and {parts[chosen[1]].name} were taken as the two staves of one piano."
        )
        remarks.append(Remark("guess", text))
    return remarks


@dataclass
class Piano:
    """What is to be played and shown; staves are numbered from the top of the whole piano."""

    parts: list[PartFacts]
    staves: int
    """Down to the lowest that has notes, but two where there are two."""
    notes: list[RawNote] = field(default_factory=list)
    clefs: list[ClefAt] = field(default_factory=list)
    words: list[WordsAt] = field(default_factory=list)
    lines: list[LineAt] = field(default_factory=list)
    rests: list[RestAt] = field(default_factory=list)
    hidden_staff_notes: int = 0
    """Notes on staves that the file never shows: left out."""
    ossia_notes: int = 0
    """Notes of other versions of a place: left out."""
    cue_notes: int = 0
    """Small notes of other players: left out."""


def piano_of(parts: Sequence[PartFacts], *, is_solo: bool = True) -> Piano:
    """Join the parts; the second part's staves and chords are numbered on from the first's.

    Exporters write the sign of a cue at any note in small print. In a solo there is nobody else
    whose part it could be: there such notes are the pianist's.
    """
    piano = Piano(list(parts), 0)
    below = 0
    chords = 0
    for part in parts:
        # A piano shows two staves at least: a file that hides more only hides empty ones.
        never_shown = part.hidden_staves if part.staves - len(part.hidden_staves) > 1 else set()
        for note in part.notes:
            if note.staff in part.ossia_staves:
                piano.ossia_notes += 1
                continue
            if note.staff in never_shown:
                piano.hidden_staff_notes += 1
                continue
            if NoteMark.SMALL_PRINT in note.marks and not is_solo:
                piano.cue_notes += 1
                continue
            note.staff += below
            note.chord += chords
            piano.notes.append(note)
        piano.clefs += [replace(clef, staff=clef.staff + below) for clef in part.clefs]
        piano.words += [replace(word, staff=word.staff + below) for word in part.words]
        piano.lines += [replace(line, staff=line.staff + below) for line in part.lines]
        piano.rests += [replace(rest, staff=rest.staff + below) for rest in part.rests]
        below += part.staves
        chords = max((note.chord for note in part.notes), default=chords)
    highest = max((note.staff for note in piano.notes), default=1)
    piano.staves = min(below, max(2, highest))
    return piano


# What the pianist is told of a reading: what was left out, repaired or guessed.


_MOST_BARS_NAMED = 8
"""In a remark; more are counted, since nobody reads a longer list. Own choice."""


def remarks_of(piano: Piano) -> list[Remark]:
    """The remarks on the piano's own part or parts."""
    out: list[Remark] = []
    hidden = sum(part.hidden_notes for part in piano.parts) + piano.hidden_staff_notes
    small = sum(NoteMark.SMALL_PRINT in note.marks for note in piano.notes)
    unpitched = sum(part.unpitched_notes for part in piano.parts)
    if hidden:
        text = f"{count_of(hidden, 'note')} that the page does not show: not to be played from it."
        out.append(Remark("left out", text))
    if piano.ossia_notes:
        text = f"{count_of(piano.ossia_notes, 'note')} of an ossia: the main version is asked for."
        out.append(Remark("left out", text))
    if piano.cue_notes:
        text = f"{count_of(piano.cue_notes, 'cue note')}: another player's part."
        out.append(Remark("left out", text))
    if small:
        text = f"{count_of(small, 'note')} in small print: played freely, and no fault if left out."
        out.append(Remark("note", text))
    if unpitched:
        out.append(Remark("left out", f"{count_of(unpitched, 'note')} without a pitch."))
    for part in piano.parts:
        for what, bars in part.repairs.items():
            out.append(Remark("repaired", f"In {_bars(bars)} {what}."))
    if piano.staves == 1:
        text = "The score has one staff: all notes were given to one hand."
        out.append(Remark("guess", text))
    elif piano.staves > 2:
        text = "Of more than two staves, those between were given to hands by their clefs."
        out.append(Remark("guess", text))
    return out


def _bars(numbers: list[str]) -> str:
    named = ", ".join(numbers[:_MOST_BARS_NAMED])
    more = len(numbers) - _MOST_BARS_NAMED
    word = "bar" if len(numbers) == 1 else "bars"
    return f"{word} {named}" + (f" and {more} more" if more > 0 else "")
