"""A MusicXML file as a Score."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from xml.etree.ElementTree import Element

from coach.score.formats import ScoreError
from coach.score.model import Bar, Clef, Direction, Grace, PrintedRest, Score, ScoreNote
from coach.score.reading.files import Source
from coach.score.reading.hands import (
    HandMark,
    apply_hand_marks,
    hand_of_words,
    say_guessed_hands,
    staff_hand,
)
from coach.score.reading.musicxml.bars import build_bars
from coach.score.reading.musicxml.directions import tempo_marks
from coach.score.reading.musicxml.part_walk import walk_part
from coach.score.reading.musicxml.parts import Piano, choose_piano, parts_of, piano_of, remarks_of
from coach.score.reading.musicxml.spanners import (
    Stretch,
    Tied,
    mark_slurs,
    merge_ties,
    printed_lines,
    shift_octaves,
    stretches,
)
from coach.score.reading.safe import clean, parse_xml

_MOST_NOTES = 200_000
"""Elements, other parts' included: an orchestral score's worth; more is refused. Own choice."""


def read_musicxml(source: Source) -> Score:
    """Read MusicXML 2.0 to 4.0, partwise or timewise.

    Raises ScoreError where the file is no score, is hostile, or has no piano part.
    """
    root, repairs = parse_xml(source.data, source.name)
    parts = parts_of(root, source.name)
    everyone = [walk_part(part.measures) for part in parts]
    choice = choose_piano(parts, everyone, source.name, source.part)
    chosen = [everyone[index] for index in choice.indexes]
    others = [part for at, part in enumerate(everyone) if at not in choice.indexes]
    piano = piano_of(chosen, is_solo=not any(part.notes for part in others))
    if len(piano.notes) > _MOST_NOTES:
        raise ScoreError(f"{source.name} has more than {_MOST_NOTES} notes: refused.")
    bars = build_bars(everyone, piano.parts)
    clefs = _clefs(piano, bars)
    score = Score(
        title=_title(root) or source.name.rsplit(".", 1)[0],
        bars=tuple(bars),
        notes=tuple(_notes(piano, bars, clefs)),
        composer=_composer(root),
        clefs=tuple(clefs),
        tempos=tempo_marks(everyone, bars),
        directions=_directions(piano, bars),
        lines=printed_lines(piano.lines, bars),
        rests=_rests(piano, bars),
        remarks=(*repairs, *choice.remarks, *remarks_of(piano)),
        source=source.name,
    )
    return say_guessed_hands(score)


def _notes(piano: Piano, bars: Sequence[Bar], clefs: Sequence[Clef]) -> list[ScoreNote]:
    placed = [(bars[note.bar].onset_quarters + note.at, note) for note in piano.notes]
    bar_ends = [bar.end_quarters for bar in bars]
    merged = merge_ties(placed, bar_ends)
    shift_octaves(merged, stretches(piano.lines, bars, ["octave"]))
    mark_slurs(merged)
    merged.sort(key=_score_order)
    identities = _identities(piano)
    has_beams = any(note.beams_to_next is not None for note in piano.notes if not note.grace)
    notes = [_score_note(tied, identities, piano.staves, clefs, has_beams) for tied in merged]
    marks = _hand_marks(piano, bars)
    return apply_hand_marks(notes, marks, bar_ends) if marks else notes


def _score_order(tied: Tied) -> tuple[Fraction, bool, bool, int, int]:
    """By onset; small notes first, as they are written; then by pitch."""
    first = tied.first
    is_small = first.grace is not None
    order = (first.bar, first.order) if is_small else (first.spelling.midi, first.order)
    return (tied.onset, not is_small, first.grace is Grace.BEFORE, *order)


def _identities(piano: Piano) -> dict[int, str]:
    """Names for the notes that stay from one opening to the next: bar index and place in it."""
    counts: dict[int, int] = {}
    names: dict[int, str] = {}
    for note in piano.notes:
        counts[note.bar] = counts.get(note.bar, 0) + 1
        names[id(note)] = f"b{note.bar}n{counts[note.bar]}"
    return names


def _score_note(
    tied: Tied, identities: dict[int, str], staves: int, clefs: Sequence[Clef], has_beams: bool
) -> ScoreNote:
    """``has_beams``: the file says which notes have beams, so that all others have flags."""
    first = tied.first
    hand, is_guess = staff_hand(first.staff, staves, clefs, tied.onset)
    return ScoreNote(
        id=identities[id(first)],
        pitch=first.spelling.midi,
        spelling=first.spelling,
        onset_quarters=tied.onset,
        length_quarters=tied.length,
        staff=first.staff,
        hand=hand,
        voice=first.voice,
        bar_index=first.bar,
        fingering=first.fingering,
        grace=first.grace,
        grace_quarters=first.grace_quarters if first.grace else Fraction(0),
        marks=frozenset(first.marks),
        segments_quarters=tuple(tied.segments) if len(tied.segments) > 1 else (),
        has_printed_sign=first.has_printed_sign,
        beams_to_next=tuple(beams or 0 for beams in tied.beams) if has_beams else (),
        octave_shift=first.octave_shift,
        strokes=first.strokes,
        hand_is_guess=is_guess,
    )


def _clefs(piano: Piano, bars: Sequence[Bar]) -> list[Clef]:
    placed = [
        Clef(clef.staff, bars[clef.bar].onset_quarters + clef.at, clef.sign, clef.line, clef.octave)
        for clef in piano.clefs
    ]
    return sorted(placed, key=lambda clef: (clef.onset_quarters, clef.staff))


def _directions(piano: Piano, bars: Sequence[Bar]) -> tuple[Direction, ...]:
    placed = [
        Direction(
            bars[word.bar].onset_quarters + word.at,
            word.staff,
            word.text,
            ends_bar=0 < bars[word.bar].length_quarters <= word.at,
        )
        for word in piano.words
    ]
    return tuple(sorted(placed, key=lambda direction: direction.onset_quarters))


def _rests(piano: Piano, bars: Sequence[Bar]) -> tuple[PrintedRest, ...]:
    placed = [
        PrintedRest(rest.staff, rest.voice, bars[rest.bar].onset_quarters + rest.at, rest.length)
        for rest in piano.rests
    ]
    return tuple(sorted(placed, key=lambda rest: (rest.onset_quarters, rest.staff, rest.voice)))


def _hand_marks(piano: Piano, bars: Sequence[Bar]) -> list[HandMark]:
    brackets = stretches(piano.lines, bars, ["bracket", "dashes"])
    marks = []
    for word in piano.words:
        hand = None if word.is_dynamic else hand_of_words(word.text)
        if hand:
            onset = bars[word.bar].onset_quarters + word.at
            until = _bracket_end(brackets, onset, word.staff)
            marks.append(HandMark(onset, word.staff, word.voice, hand, until))
    return marks


def _bracket_end(brackets: Sequence[Stretch], onset: Fraction, staff: int) -> Fraction | None:
    ends = (line.end for line in brackets if line.start == onset and line.staff == staff)
    return next(ends, None)


def _title(root: Element) -> str:
    work = clean(root.findtext("work/work-title"))
    movement = clean(root.findtext("movement-title"))
    if movement and movement != work:
        return ", ".join(filter(None, (work, movement)))
    return work or next((clean(c.findtext("credit-words")) for c in _titles(root)), "")


def _titles(root: Element) -> list[Element]:
    """The words on the first page that the file calls its title."""
    return [c for c in root.findall("credit") if c.findtext("credit-type") == "title"]


def _composer(root: Element) -> str:
    creators = root.findall("identification/creator")
    named = [clean(c.text) for c in creators if c.get("type", "composer") == "composer"]
    return ", ".join(filter(None, named))
