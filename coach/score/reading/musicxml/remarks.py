"""What the pianist is told of a reading: what was left out, repaired or guessed."""

from __future__ import annotations

from coach.score.printed import Remark
from coach.score.reading.musicxml.piano_part import Piano
from coach.score.reading.safe import count

_MOST_BARS_NAMED = 8


def remarks_of(piano: Piano) -> list[Remark]:
    """The remarks on the piano's own part or parts."""
    out: list[Remark] = []
    hidden = sum(part.hidden_notes for part in piano.parts) + piano.hidden_staff_notes
    cues = sum(part.cue_notes for part in piano.parts)
    unpitched = sum(part.unpitched_notes for part in piano.parts)
    if hidden:
        text = f"{count(hidden, 'note')} that the page does not show: not to be played from it."
        out.append(Remark("left out", text))
    if cues:
        out.append(Remark("left out", f"{count(cues, 'cue note')}: another player's part."))
    if unpitched:
        out.append(Remark("left out", f"{count(unpitched, 'note')} without a pitch."))
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
