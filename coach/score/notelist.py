"""Every note that was read, one a line, so that anyone can hold it against the page."""

from __future__ import annotations

from coach.score.marks import Grace
from coach.score.model import Score, ScoreNote
from coach.score.place import beat_words
from coach.score.words import printable

_HEADS = (
    *("bar", "no.", "beat", "in bar", "onset", "length", "key"),
    *("name", "staff", "voice", "hand", "finger", "flags"),
)
_GRACES = {Grace.BEFORE: "grace before its note", Grace.AFTER: "grace after its note"}
_WORDS_FROM = _HEADS.index("name")
"""From this column on, entries stand at the left."""


def notes_table(score: Score) -> str:
    """The notes, a line each.

    ``bar`` is the bar's index from 0 and ``no.`` its printed number; ``in bar``, ``onset`` (from
    the piece's start) and ``length`` are exact, in quarters; ``key`` is the MIDI key number.
    """
    rows = [_HEADS, *(_row(score, note) for note in score.notes)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(_line(row, widths) for row in rows)


def _row(score: Score, note: ScoreNote) -> tuple[str, ...]:
    bar = score.bars[note.bar_index]
    return (
        str(bar.index),
        printable(bar.number, 12) or "-",
        beat_words(score.place(note.onset_quarters).beat),
        str(note.onset_quarters - bar.onset_quarters),
        str(note.onset_quarters),
        str(note.length_quarters),
        str(note.pitch),
        note.spelling.symbol,
        str(note.staff),
        printable(note.voice, 12) or "-",
        note.hand.value,
        printable(" ".join(note.fingering), 24) or "-",
        ", ".join(flags(note)),
    )


def _line(row: tuple[str, ...], widths: list[int]) -> str:
    cells = (
        cell.ljust(width) if column >= _WORDS_FROM else cell.rjust(width)
        for column, (cell, width) in enumerate(zip(row, widths, strict=True))
    )
    return "  ".join(cells).rstrip()


def flags(note: ScoreNote) -> tuple[str, ...]:
    """What else is to be known of a note, in words."""
    tied = " + ".join(map(str, note.segments_quarters))
    octaves = f"written {_octaves(note.octave_shift)}" if note.octave_shift else ""
    return tuple(
        filter(
            None,
            (
                _GRACES[note.grace] if note.grace else "",
                f"tied {tied}" if len(note.segments_quarters) > 1 else "",
                *sorted(mark.value for mark in note.marks),
                octaves,
                "hand is a guess" if note.hand_is_guess else "",
            ),
        )
    )


def _octaves(shift: int) -> str:
    size = "an octave" if abs(shift) == 1 else f"{abs(shift)} octaves"
    return f"{size} {'higher' if shift > 0 else 'lower'}"
