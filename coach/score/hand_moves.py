"""A hand move in one line, as a pianist says it.

A line names bars as printed, then what is meant in them, then where it goes::

    bar 3 beat 2 F4 to LH           one note (every F4 on that beat)
    bar 3 beat 2 1/2 to RH          whatever begins there
    bars 5-8 voice 2 to RH          a voice in a passage
    bars 5-8 staff 1 voice 2 to LH  a voice of one staff
    bars 9-12 above C4 to RH        what lies higher than C4 (or: below)
    bars 9-12 split C4              C4 and higher to RH, the rest to LH
    all bars staff 2 to LH          the whole piece
    all bars to home staff          each voice to the hand of the staff that it mostly lies on

Where numbers are printed twice, a bar may be named by its place: ``bar #17`` is the seventeenth.

Moving notes to the other hand: what a hand move means in a score, and the score after it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from coach.score.kept_lines import KeptLines
from coach.score.model import Bar, Hand, Place, Remark, Score, ScoreNote
from coach.score.pitch import Spelling
from coach.score.words import beat_figure


class MoveError(ValueError):
    """A line that is no hand move, or finds nothing; one sentence for the pianist."""


@dataclass(frozen=True, slots=True)
class HandMove:
    """Which notes go to which hand. What is None does not narrow the choice."""

    hand: Hand | None
    """Where they go; None for a split, and for the home staff."""
    first_bar: str | None = None
    """Printed number of the first bar, or ``#n`` for the n-th; None for the whole piece."""
    last_bar: str | None = None
    """The last bar; None where it is the first bar alone."""
    beat: Fraction | None = None
    staff: int | None = None
    voice: str | None = None
    pitch: Spelling | None = None
    """Only this key, however it is spelled."""
    above: Spelling | None = None
    below: Spelling | None = None
    split: Spelling | None = None
    """This key and higher go to RH, lower to LH."""
    home_staff: bool = False
    """Each goes to the hand of its voice's home staff."""

    def __str__(self) -> str:
        parts = [
            self._bars(),
            f"beat {beat_figure(self.beat)}" if self.beat is not None else "",
            f"staff {self.staff}" if self.staff is not None else "",
            f"voice {self.voice}" if self.voice is not None else "",
            f"above {self.above.symbol}" if self.above else "",
            f"below {self.below.symbol}" if self.below else "",
            self.pitch.symbol if self.pitch else "",
            f"split {self.split.symbol}" if self.split else "",
            "to home staff" if self.home_staff else "",
            f"to {self.hand}" if self.hand else "",
        ]
        return " ".join(filter(None, parts))

    def _bars(self) -> str:
        if self.first_bar is None:
            return "all bars"
        if self.last_bar is None:
            return f"bar {self.first_bar}"
        return f"bars {self.first_bar}-{self.last_bar}"


_NOTE = r"[a-g](?:bb|b|\#\#|\#|x)?-?\d"
_MOVE = re.compile(
    rf"""\s*
    (?: all\s+bars | bars?\s+(?P<first>\#?[^\s-]+) (?:\s*-\s*(?P<last>\#?[^\s-]+))? )
    (?: \s+beat\s+ (?P<beat>\d+ (?: \.\d+ | (?:\s+|\s*\+\s*) \d+/\d+ )? )
      | \s+staff\s+(?P<staff>\d+) | \s+voice\s+(?P<voice>\S+)
      | \s+above\s+(?P<above>{_NOTE}) | \s+below\s+(?P<below>{_NOTE})
      | \s+(?P<pitch>{_NOTE}) )*
    (?: \s+split\s+(?:at\s+)?(?P<split>{_NOTE})
      | \s+to\s+(?P<home>home\s+staff)
      | \s+to\s+(?:the\s+)?(?P<hand>RH|LH|right|left)(?:\s+hand)? )
    \s*""",
    re.IGNORECASE | re.VERBOSE,
)
_PART = re.compile(r"\s(beat|staff|voice|above|below)\s")
_EXAMPLE = '"bars 5-8 voice 2 to RH", "bar 3 beat 2 F4 to LH" or "bars 9-12 split C4"'
_ALTERS = {"": 0, "b": -1, "bb": -2, "#": 1, "##": 2, "x": 2}


def parse_move(text: str) -> HandMove:
    """The move that a line asks for; raises MoveError."""
    found = _MOVE.fullmatch(text.replace("–", "-"))
    said = _PART.findall(text.lower())
    if not found or len(said) > len(set(said)):
        raise MoveError(f'"{text.strip()}" is not a hand move: write it like {_EXAMPLE}.')
    staff, hand = found["staff"], found["hand"]
    return HandMove(
        hand=Hand.RIGHT if hand and hand[0] in "Rr" else Hand.LEFT if hand else None,
        first_bar=found["first"],
        last_bar=found["last"],
        beat=_beat(found["beat"], text),
        staff=int(staff) if staff else None,
        voice=found["voice"],
        home_staff=bool(found["home"]),
        **{name: _spelling(found[name]) for name in ("pitch", "above", "below", "split")},
    )


def _beat(text: str | None, line: str) -> Fraction | None:
    if text is None:
        return None
    try:
        return sum((Fraction(part) for part in re.split(r"[\s+]+", text)), Fraction(0))
    except ZeroDivisionError:
        raise MoveError(f'"{line.strip()}" names a beat that there is not: {text}.') from None


def _spelling(text: str | None) -> Spelling | None:
    if not text:
        return None
    middle, octave = re.fullmatch(r"(.*?)(-?\d)", text[1:]).groups()  # type: ignore[union-attr]
    return Spelling(text[0].upper(), _ALTERS[middle.lower()], int(octave))


def apply(score: Score, moves: Iterable[HandMove]) -> Score:
    """The score with its notes in the hands that the moves give them, one move after the other.

    What was moved is no guess any more. Each move leaves a remark, also where it finds no note.
    """
    for move in moves:
        chosen = _destinations(score, move)
        notes = tuple(
            replace(note, hand=chosen[note.id], hand_is_guess=False) if note.id in chosen else note
            for note in score.notes
        )
        score = replace(score, notes=notes, remarks=(*score.remarks, _remark(move, len(chosen))))
    return score


def _destinations(score: Score, move: HandMove) -> dict[str, Hand]:
    """The hand of each note that the move means, by the note's id."""
    notes = select_notes(score, move)
    if move.hand:
        return dict.fromkeys((note.id for note in notes), move.hand)
    if move.split:
        lowest = move.split.midi
        return {n.id: Hand.RIGHT if n.pitch >= lowest else Hand.LEFT for n in notes}
    from coach.score.reading import hands_by_voice

    homes = {note.id: note.hand for note in hands_by_voice(score).notes}
    return {note.id: homes[note.id] for note in notes}


def _remark(move: HandMove, count: int) -> Remark:
    if not count:
        return Remark("note", f'The hand move "{move}" finds no note.')
    notes = "1 note" if count == 1 else f"{count} notes"
    return Remark("note", f"Hands as you asked: {move} ({notes}).")


def add_moves(moves: Sequence[HandMove], by: Sequence[HandMove]) -> tuple[HandMove, ...]:
    """The moves followed by others; without those that a later one of the same notes undoes."""
    kept: list[HandMove] = []
    for move in (*moves, *by):
        kept = [one for one in kept if not _undoes(move, one)]
        kept.append(move)
    return tuple(kept)


def _undoes(move: HandMove, earlier: HandMove) -> bool:
    """Whether nothing is left of an earlier move: a home staff depends on what was before it."""
    if move.home_staff:
        return move == earlier
    here, there = (replace(m, hand=None, split=None, home_staff=False) for m in (move, earlier))
    return here == there


def check(score: Score, move: HandMove) -> None:
    """Raise MoveError where the move names bars that there are not, or finds no note."""
    if not _bars(score, move):
        if all(any(_is_named(bar, name) for bar in score.bars) for name in _names(move)):
            raise MoveError(f'"{move}" ends before it begins: name the earlier bar first.')
        last = score.bars[-1].number if score.bars else "0"
        raise MoveError(
            f'"{move}" names bars that this score does not have: its last is bar {last}.'
        )
    if not select_notes(score, move):
        raise MoveError(f'"{move}" finds no note: "coach score FILE --notes" lists them all.')


TO_HOME_STAFF = "all bars to home staff"
"""Each voice of the piece to the hand of the staff that it mostly lies on."""


def changes_hands(score: Score, move: HandMove) -> bool:
    """Whether any note would be played by the other hand."""
    to = _destinations(score, move)
    return any(to.get(note.id, note.hand) is not note.hand for note in score.notes)


def select_notes(score: Score, move: HandMove) -> tuple[ScoreNote, ...]:
    """The notes that a move means, in the score's order."""
    bars = {bar.index for bar in _bars(score, move)}
    return tuple(n for n in score.notes if n.bar_index in bars and _means(score, move, n))


def _bars(score: Score, move: HandMove) -> tuple[Bar, ...]:
    """From the first bar so named to the last so named after it."""
    if move.first_bar is None:
        return score.bars
    first = [bar.index for bar in score.bars if _is_named(bar, move.first_bar)]
    if not first:
        return ()
    name = move.last_bar or move.first_bar
    last = [b.index for b in score.bars[first[0] :] if _is_named(b, name)]
    return score.bars[first[0] : last[-1] + 1] if last else ()


def _names(move: HandMove) -> tuple[str, ...]:
    return tuple(filter(None, (move.first_bar, move.last_bar)))


def _is_named(bar: Bar, name: str) -> bool:
    return name in (bar.number, f"#{bar.index + 1}")


def _means(score: Score, move: HandMove, note: ScoreNote) -> bool:
    return (
        (move.staff is None or note.staff == move.staff)
        and (move.voice is None or note.voice == move.voice)
        and (move.pitch is None or note.pitch == move.pitch.midi)
        and (move.above is None or note.pitch > move.above.midi)
        and (move.below is None or note.pitch < move.below.midi)
        and (move.beat is None or _is_at(score.place(note.onset_quarters), move.beat))
    )


def _is_at(place: Place, beat: Fraction) -> bool:
    """Whether a place is that beat: the metre's, or in a bar of one dotted beat the counted one."""
    return beat in (place.beat, place.counted if beat >= _BEYOND_ONE_BEAT else None)


_BEYOND_ONE_BEAT = 2
"""From this beat on a bar of one beat has no other than the counted ones."""


# Hand moves kept with the piece, named by the score's content (see score_key).


FOLDER = "hands"
_KEPT = KeptLines(FOLDER, "Your hand moves", earlier_folder=f"{FOLDER}/{FOLDER}")


def load_moves(folder: Path, key: str) -> tuple[HandMove, ...]:
    """The moves kept for the score with this key, in order; ``folder`` is the data folder. Raises
    ScoreError (see KeptLines)."""
    return _KEPT.load(folder, key, parse_move)


def save_moves(folder: Path, key: str, moves: Iterable[HandMove], name: str = "") -> None:
    """Keep these moves, and only these; ``name`` is what people call the score. Raises ScoreError
    (see KeptLines)."""
    _KEPT.save(folder, key, moves, f"Hand moves for {name or key}")
