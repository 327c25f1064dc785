"""The piano's own facts, out of one part or of two parts of one staff each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from coach.score.reading.raw import ClefAt, LineAt, PartFacts, RawNote, WordsAt


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
    hidden_staff_notes: int = 0
    """Notes on staves that the file never shows: left out."""


def piano_of(parts: Sequence[PartFacts]) -> Piano:
    """Join the parts; the second part's staves and chords are numbered on from the first's."""
    piano = Piano(list(parts), 0)
    below = 0
    chords = 0
    for part in parts:
        # A piano shows two staves at least: a file that hides more only hides empty ones.
        never_shown = part.hidden_staves if part.staves - len(part.hidden_staves) > 1 else set()
        for note in part.notes:
            if note.staff in never_shown:
                piano.hidden_staff_notes += 1
                continue
            note.staff += below
            note.chord += chords
            piano.notes.append(note)
        piano.clefs += [replace(clef, staff=clef.staff + below) for clef in part.clefs]
        piano.words += [replace(word, staff=word.staff + below) for word in part.words]
        piano.lines += [replace(line, staff=line.staff + below) for line in part.lines]
        below += part.staves
        chords = max((note.chord for note in part.notes), default=chords)
    highest = max((note.staff for note in piano.notes), default=1)
    piano.staves = min(below, max(2, highest))
    return piano
