"""Directions: what is written above or below the notes, the tempo among it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element

from coach.score.model import Bar, TempoMark
from coach.score.reading.musicxml.facts import LineAt, PartFacts, TempoAt, WordsAt
from coach.score.reading.musicxml.notes import type_quarters
from coach.score.reading.safe import clean, number, whole

# Tempo out of MusicXML metronome marks, and out of words where there is nothing better.
#
# The tempo marks of a piece: printed numbers first, then playback's, words only as a guess.


SLOWEST_QPM, FASTEST_QPM = 5.0, 1000.0
"""Tempos outside these are taken for damage and left out."""
UNMARKED_QPM = 100.0
"""For a piece that says nothing about its tempo; always given as a guess."""

_WORDS_QPM = (
    ("larghetto", 63.0),
    ("largo", 50.0),
    ("grave", 45.0),
    ("lento", 52.0),
    ("adagio", 71.0),
    ("andantino", 84.0),
    ("andante", 84.0),
    ("moderato", 112.0),
    ("allegretto", 114.0),
    ("allegro", 138.0),
    ("vivace", 156.0),
    ("vivo", 156.0),
    ("prestissimo", 200.0),
    ("presto", 184.0),
)
"""Inside the ranges that trade pages agree on (largo 40-60, larghetto 60-66, adagio 66-76, andante
76-108, moderato 108-120, allegro 120-168, presto 168-200); the other words lie between their
neighbours, from memory. There is no standard: a guess, which any number on the page overrules."""

_FIRST_NUMBER = re.compile(r"\d{1,4}(?:\.\d{1,4})?")


def sensible(qpm: float | Fraction | None) -> float | None:
    """A tempo in quarters a minute, or None where it cannot be one."""
    if qpm is None or not SLOWEST_QPM <= qpm <= FASTEST_QPM:
        return None
    return float(qpm)


def sound_qpm(element: Element) -> float | None:
    """The tempo of a ``sound`` element (MusicXML 4.0: in quarter notes per minute)."""
    return sensible(number(element.get("tempo")))


def metronome(element: Element) -> tuple[float | None, Fraction | None]:
    """A metronome mark as (quarters a minute, None), or as (None, factor to the tempo before)."""
    units = _beat_units(element)
    if not units:
        return None, None
    per_minute = _FIRST_NUMBER.search(element.findtext("per-minute") or "")
    if per_minute:
        return sensible(Fraction(per_minute[0]) * units[0]), None
    return (None, units[1] / units[0]) if len(units) == 2 else (None, None)


def _beat_units(element: Element) -> list[Fraction]:
    """The mark's note lengths in quarters, dots included."""
    out: list[Fraction] = []
    dots = 0
    for child in element:
        if child.tag == "beat-unit":
            length = type_quarters(child.text)
            if length is None:
                return []
            out.append(length)
            dots = 0
        elif child.tag == "beat-unit-dot" and out:
            dots += 1
            out[-1] += out[-1] * Fraction(1, (1 << (dots + 1)) - 2)
    return out


def words_qpm(words: str, beat_quarters: Fraction) -> float | None:
    """A guess from a tempo word; the word's figure counts beats, so 6/8 has dotted quarters."""
    lowered = words.lower()
    found = [(lowered.find(word), -len(word), bpm) for word, bpm in _WORDS_QPM if word in lowered]
    return min(found)[2] * float(beat_quarters) if found else None


def tempo_marks(everyone: Sequence[PartFacts], bars: Sequence[Bar]) -> tuple[TempoMark, ...]:
    """One mark for each onset that has one; a guess at the start where the page has none."""
    placed: dict[Fraction, list[TempoAt]] = {}
    for part in everyone:
        for tempo in part.tempos:
            onset = bars[tempo.bar].onset_quarters + tempo.at
            placed.setdefault(onset, []).append(tempo)
    marks: list[TempoMark] = []
    for onset in sorted(placed):
        best = min(placed[onset], key=_rank)
        words = best.words or next((t.words for t in placed[onset] if t.words), "")
        mark = _mark(onset, best, words, bars[best.bar], marks)
        marks += [mark] if mark else []
    if not marks or marks[0].onset_quarters > 0:
        first = marks[0].qpm if marks else UNMARKED_QPM
        marks.insert(0, TempoMark(Fraction(0), first, "", True))
    return tuple(marks)


def _rank(tempo: TempoAt) -> int:
    return (tempo.qpm is None) * 4 + (not tempo.is_printed) * 2 + (not tempo.words)


def _mark(
    onset: Fraction, tempo: TempoAt, words: str, bar: Bar, before: list[TempoMark]
) -> TempoMark | None:
    if tempo.qpm is not None:
        return TempoMark(onset, tempo.qpm, words)
    if tempo.ratio is not None:
        if not before:
            return None
        qpm = sensible(before[-1].qpm * float(tempo.ratio))
        return TempoMark(onset, qpm, words, before[-1].is_guess) if qpm else None
    guess = words_qpm(words, bar.metre.beat_quarters)
    return TempoMark(onset, guess, words, True) if guess else None


# MusicXML directions: words, dynamics, rehearsal marks, tempo, octave lines, brackets.


_SIGNS = {"segno": "Segno", "coda": "Coda"}
_LINES = ("octave-shift", "bracket", "dashes", "wedge", "pedal")
_PEDAL_DOWN = ("start", "sostenuto", "change", "resume")
_OCTAVES = {"8": 1, "15": 2, "22": 3}


@dataclass
class _FoundTempo:
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


def _content(element: Element) -> _FoundTempo:
    found = _FoundTempo()
    for kind in element.iter("direction-type"):
        for child in kind:
            _take(child, found)
    return found


def _take(child: Element, found: _FoundTempo) -> None:
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
    elif tag in _LINES and child.get("type") != "continue":
        found.lines.append(child)


def _dynamics(element: Element) -> str:
    """``mf``, ``sfz``; what MusicXML has no name for, as printed."""
    return "".join(
        clean(child.text) if child.tag == "other-dynamics" else child.tag for child in element
    )


_KINDS = {
    **{"major": "", "minor": "m", "augmented": "+", "diminished": "dim", "dominant": "7"},
    **{"major-seventh": "maj7", "minor-seventh": "m7", "diminished-seventh": "dim7"},
    **{"augmented-seventh": "+7", "half-diminished": "m7b5", "major-minor": "m(maj7)"},
    **{"major-sixth": "6", "minor-sixth": "m6", "dominant-ninth": "9", "major-ninth": "maj9"},
    **{"minor-ninth": "m9", "dominant-11th": "11", "dominant-13th": "13", "power": "5"},
    **{"suspended-second": "sus2", "suspended-fourth": "sus4"},
}
"""MusicXML's kinds of chords as lead sheets write them (common practice)."""


def chord_symbol(element: Element) -> str:
    """``Bbm7``, ``C/E``; "" where it has no root."""
    if element.get("print-object") == "no" or not (root := _chord_tone(element, "root")):
        return ""
    kind = element.find("kind")
    name = clean(kind.text) if kind is not None else ""
    printed = kind.get("text") if kind is not None else None
    bass = _chord_tone(element, "bass")
    return (
        root
        + (_KINDS.get(name, "") if printed is None else clean(printed))
        + f"/{bass}" * bool(bass)
    )


def _chord_tone(element: Element, place: str) -> str:
    step = clean(element.findtext(f"{place}/{place}-step"))
    alter = whole(element.findtext(f"{place}/{place}-alter"), -2, 2) or 0
    return step + ("b" * -alter if alter < 0 else "#" * alter) if step else ""


def _line(element: Element, bar: int, at: Fraction, staff: int) -> LineAt:
    """MusicXML 4.0: an octave shift "down" is printed lower than it sounds (8va)."""
    kind = element.get("type", "")
    number_text = element.get("number", "1")
    if element.tag == "wedge":
        starts = kind in ("crescendo", "diminuendo")
        return LineAt(bar, at, staff, "wedge", starts, number_text, grows=kind == "crescendo")
    if element.tag == "pedal":
        return LineAt(bar, at, staff, "pedal", kind in _PEDAL_DOWN, number_text)
    if element.tag != "octave-shift":
        return LineAt(bar, at, staff, element.tag, kind == "start", number_text)
    octaves = _OCTAVES.get(element.get("size", "8"), 1) * (-1 if kind == "down" else 1)
    return LineAt(bar, at, staff, "octave", kind in ("up", "down"), number_text, octaves)


def _tempo(element: Element, found: _FoundTempo, facts: PartFacts, bar: int, at: Fraction) -> None:
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
