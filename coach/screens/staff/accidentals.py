"""Accidentals: which notes carry a sign, by the key signature and what the bar has had.

An accidental holds for its line or space, on its staff, to the end of the bar (common practice).
In a window that begins inside a bar, what stood before it is out of sight: a sign is shown where
the page has one and also where the reader of the window alone would need one.
"""

from __future__ import annotations

from collections.abc import Sequence

from coach.score.model import Score, ScoreNote
from coach.screens.staff.clefs import key_alters

SIGNS = {-2: "bb", -1: "b", 0: "n", 1: "#", 2: "x"}
"""The signs as they are shown; the musical ones are in few fonts."""

Memory = dict[tuple[int, str, int], int]
"""Staff, letter and written octave to the alteration now in force."""


def accidentals(score: Score, notes: Sequence[ScoreNote]) -> tuple[str, ...]:
    """The sign of each of ``notes`` (an excerpt's notes, in order): "" where none is needed."""
    if not notes:
        return ()
    on_page = _page_signs(score, notes)
    seen: Memory = {}
    bar_index = -1
    out = []
    for note in notes:
        if note.bar_index != bar_index:
            bar_index, seen = note.bar_index, {}
        needed = _needs(score, note, seen)
        out.append(SIGNS.get(note.spelling.alter, "") if needed or note.id in on_page else "")
    return tuple(out)


def _page_signs(score: Score, notes: Sequence[ScoreNote]) -> set[str]:
    """Ids of the notes that carry a sign on the page, where all of the bar is in sight."""
    first, last = score.bars[notes[0].bar_index], score.bars[notes[-1].bar_index]
    signed: set[str] = set()
    memory: Memory = {}
    bar_index = -1
    for note in score.notes_between(first.onset_quarters, last.end_quarters):
        if note.bar_index != bar_index:
            bar_index, memory = note.bar_index, {}
        if _needs(score, note, memory):
            signed.add(note.id)
    return signed


def _needs(score: Score, note: ScoreNote, memory: Memory) -> bool:
    """Whether this note needs a sign after what ``memory`` holds; remembers it."""
    spelling = note.spelling
    place = (note.staff, spelling.step, spelling.octave + note.octave_shift)
    key = key_alters(score.bars[note.bar_index].key_fifths)
    in_force = memory.get(place, key.get(spelling.step, 0))
    memory[place] = spelling.alter
    return in_force != spelling.alter
