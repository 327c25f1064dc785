"""What was read from a score, as plain data for JSON: ``coach score FILE --json``."""

from __future__ import annotations

from typing import Any

from coach.score.model import Bar, Hand, Score, ScoreNote
from coach.score.notelist import flags
from coach.score.place import beat_words


def report_plain(score: Score) -> dict[str, Any]:
    """The report as data, bars and all; the notes themselves are in ``notes_plain``."""
    return {
        "title": score.title,
        "composer": score.composer,
        "source": score.source,
        "bars": [_bar_plain(bar) for bar in score.bars],
        "tempos": [
            {
                "onset_quarters": str(mark.onset_quarters),
                "qpm": mark.qpm,
                "words": mark.words,
                "is_guess": mark.is_guess,
            }
            for mark in score.tempos
        ],
        "notes_by_hand": {
            hand.value: sum(1 for note in score.notes if note.hand is hand) for hand in Hand
        },
        "fingered_notes": sum(1 for note in score.notes if note.fingering),
        "guessed_hands": sum(1 for note in score.notes if note.hand_is_guess),
        "remarks": [{"kind": remark.kind, "text": remark.text} for remark in score.remarks],
    }


def _bar_plain(bar: Bar) -> dict[str, Any]:
    return {
        "bar_index": bar.index,
        "bar_number": bar.number,
        "onset_quarters": str(bar.onset_quarters),
        "length_quarters": str(bar.length_quarters),
        "lead_quarters": str(bar.lead_quarters),
        "metre": str(bar.metre),
        "key_fifths": bar.key_fifths,
        "repeat_start": bar.repeat_start,
        "repeat_end": bar.repeat_end,
        "ending": bar.ending,
        "section": bar.section,
    }


def notes_plain(score: Score) -> list[dict[str, Any]]:
    """Every note in the score's order; positions as ``"n/d"`` in quarters."""
    return [_plain(score, note) for note in score.notes]


def _plain(score: Score, note: ScoreNote) -> dict[str, Any]:
    bar = score.bars[note.bar_index]
    return {
        "id": note.id,
        "bar_index": bar.index,
        "bar_number": bar.number,
        "beat": beat_words(score.place(note.onset_quarters).beat),
        "onset_in_bar_quarters": str(note.onset_quarters - bar.onset_quarters),
        "onset_quarters": str(note.onset_quarters),
        "length_quarters": str(note.length_quarters),
        "pitch": note.pitch,
        "spelling": note.spelling.symbol,
        "step": note.spelling.step,
        "alter": note.spelling.alter,
        "octave": note.spelling.octave,
        "staff": note.staff,
        "voice": note.voice,
        "hand": note.hand.value,
        "hand_is_guess": note.hand_is_guess,
        "fingering": list(note.fingering),
        "grace": note.grace.value if note.grace else None,
        "segments_quarters": [str(length) for length in note.segments_quarters],
        "octave_shift": note.octave_shift,
        "marks": sorted(mark.value for mark in note.marks),
        "flags": list(flags(note)),
    }
