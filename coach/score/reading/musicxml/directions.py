"""MusicXML directions: words, dynamics, rehearsal marks, tempo, octave lines, brackets."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element

from coach.score.reading.musicxml.found import LineAt, PartFacts, TempoAt, WordsAt
from coach.score.reading.musicxml.tempo import metronome, sensible, sound_qpm, words_qpm
from coach.score.reading.safe import clean, number, whole

_SIGNS = {"segno": "Segno", "coda": "Coda"}
_OCTAVES = {"8": 1, "15": 2, "22": 3}


@dataclass
class _Found:
    """What one ``direction`` element holds."""

    words: list[str] = field(default_factory=list)
    dynamics: list[str] = field(default_factory=list)
    lines: list[Element] = field(default_factory=list)
    section: str = ""
    printed_qpm: float | None = None
    ratio: Fraction | None = None


def read_direction(
    element: Element, facts: PartFacts, bar: int, at: Fraction, divisions: Fraction
) -> None:
    """Add what a ``direction`` at ``at`` says to the part's facts."""
    offset = number(element.findtext("offset")) or Fraction(0)
    place = max(at + offset / divisions, Fraction(0))
    staff = whole(element.findtext("staff"), 1, 16) or 1
    voice = clean(element.findtext("voice"))
    found = _content(element)
    if found.words:
        facts.words.append(WordsAt(bar, place, staff, " ".join(found.words), voice))
    facts.words += [WordsAt(bar, place, staff, text, voice, True) for text in found.dynamics]
    facts.lines += [_line(line, bar, place, staff) for line in found.lines]
    facts.bars[bar].section = facts.bars[bar].section or found.section
    _tempo(element, found, facts, bar, at)


def _content(element: Element) -> _Found:
    found = _Found()
    for kind in element.iter("direction-type"):
        for child in kind:
            _take(child, found)
    return found


def _take(child: Element, found: _Found) -> None:
    tag = child.tag
    if tag == "words":
        found.words += [text] if (text := clean(child.text)) else []
    elif tag == "dynamics":
        found.dynamics.append(_dynamics(child))
    elif tag == "rehearsal":
        found.section = found.section or clean(child.text)
    elif tag in _SIGNS:
        found.words.append(_SIGNS[tag])
    elif tag == "metronome" and child.get("print-object") != "no":
        found.printed_qpm, found.ratio = metronome(child)
    elif tag in ("octave-shift", "bracket", "dashes") and child.get("type") != "continue":
        found.lines.append(child)


def _dynamics(element: Element) -> str:
    """``mf``, ``sfz``; what MusicXML has no name for, as printed."""
    return "".join(
        clean(child.text) if child.tag == "other-dynamics" else child.tag for child in element
    )


def _line(element: Element, bar: int, at: Fraction, staff: int) -> LineAt:
    """MusicXML 4.0: an octave shift "down" is printed lower than it sounds (8va)."""
    kind = element.get("type", "")
    number_text = element.get("number", "1")
    if element.tag != "octave-shift":
        return LineAt(bar, at, staff, element.tag, kind == "start", number_text)
    octaves = _OCTAVES.get(element.get("size", "8"), 1) * (-1 if kind == "down" else 1)
    return LineAt(bar, at, staff, "octave", kind in ("up", "down"), number_text, octaves)


def _tempo(element: Element, found: _Found, facts: PartFacts, bar: int, at: Fraction) -> None:
    sound = element.find("sound")
    played = sound_qpm(sound) if sound is not None else None
    words = " ".join(found.words)
    printed = sensible(found.printed_qpm)
    if printed or played:
        qpm = printed or played
        facts.tempos.append(TempoAt(bar, at, qpm, words, printed is not None))
    elif found.ratio or words_qpm(words, Fraction(1)):
        facts.tempos.append(TempoAt(bar, at, None, words, found.ratio is not None, found.ratio))


def read_sound(element: Element, facts: PartFacts, bar: int, at: Fraction) -> None:
    """Add the tempo of a ``sound`` element that stands by itself in the bar."""
    qpm = sound_qpm(element)
    if qpm:
        facts.tempos.append(TempoAt(bar, at, qpm, "", False))
