"""What the pianist or the teacher writes into a piece: own fingerings, and notes on a passage.

One line each, as one would say it, with bars as printed (``#17`` is the seventeenth)::

    bar 3 beat 2 F4 finger 4           one note
    bar 3 beat 1 LH fingers 5 2 1      a chord, from the lowest note up
    bars 5-8 RH C5 finger 1            every C5 of the right hand there
    bars 5-8 note Think the leap before you play it.

They are kept with the piece, known by its notes.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from coach.score.hand_moves import HandMove, MoveError, check, parse_move, select_notes
from coach.score.kept_lines import KeptLines
from coach.score.model import Hand, OwnNote, Score, ScoreNote

FOLDER = "markings"
_EXAMPLE = '"bar 3 beat 2 F4 finger 4" or "bars 5-8 note Think the leap."'
_FINGERS = re.compile(r"(?P<where>.*?)\s+fingers?\s+(?P<fingers>[1-5](?:[\s,]+[1-5])*)\s*", re.I)
_HAND = re.compile(r"\s+(RH|LH)\b", re.I)
_NOTE = re.compile(
    r"\s*bars?\s+(?P<first>\#?[^\s-]+)(?:\s*-\s*(?P<last>\#?[^\s-]+))?\s+note:?\s+(?P<words>\S.*)",
    re.I,
)


@dataclass(frozen=True, slots=True)
class Fingering:
    """Which finger plays which notes."""

    where: HandMove
    """The notes, named as those of a hand move are; where they go doesn't count."""
    fingers: tuple[str, ...]
    """One for all of them, or one for each, the lowest note's first."""
    hand: Hand | None = None
    """Only this hand's notes."""

    def __str__(self) -> str:
        place = str(self.where).removesuffix(f" to {_ANY}")
        whose = f" {self.hand}" if self.hand else ""
        finger = "finger" if len(self.fingers) == 1 else "fingers"
        return f"{place}{whose} {finger} {' '.join(self.fingers)}"


@dataclass(frozen=True, slots=True)
class PassageNote:
    """Words on some bars."""

    first_bar: str
    last_bar: str
    words: str

    def __str__(self) -> str:
        several = self.last_bar != self.first_bar
        bars = f"bars {self.first_bar}-{self.last_bar}" if several else f"bar {self.first_bar}"
        return f"{bars} note {self.words}"


Marking = Fingering | PassageNote
_ANY = Hand.RIGHT
"""A hand move goes somewhere; here it only says where its notes are."""


def is_marking(text: str) -> bool:
    """Whether a line means one; it may still be wrong."""
    return bool(re.search(r"\s(note:?|fingers?)\s", text, re.I))


def parse_marking(text: str) -> Marking:
    """The marking that a line means. Raises MoveError, one sentence."""
    line = " ".join(text.replace("–", "-").split())
    if found := _NOTE.fullmatch(line):
        first = found["first"]
        return PassageNote(first, found["last"] or first, found["words"])
    if not (found := _FINGERS.fullmatch(line)):
        raise MoveError(f'"{line}" is neither a fingering nor a note: write it like {_EXAMPLE}.')
    place, hand = found["where"], None
    if named := _HAND.search(place):
        hand = Hand(named[1].upper())
        place = place[: named.start()] + place[named.end() :]
    try:
        where = parse_move(f"{place} to {_ANY}")
    except MoveError:
        raise MoveError(f'"{line}" names no notes: write it like {_EXAMPLE}.') from None
    return Fingering(where, tuple(re.findall(r"[1-5]", found["fingers"])), hand)


def check_marking(score: Score, marking: Marking) -> None:
    """Raise MoveError where it names bars that there are not, finds no note, or wants fingers."""
    if isinstance(marking, PassageNote):
        _own_note(score, marking)
        return
    try:
        check(score, marking.where)
    except MoveError as error:
        raise MoveError(str(error).replace(str(marking.where), str(marking))) from None
    notes, fingers = _fingered(score, marking), len(marking.fingers)
    if not notes:
        raise MoveError(f'"{marking}" finds no note of that hand.')
    if fingers not in (1, len(notes)):
        raise MoveError(f'"{marking}" has {fingers} fingers for {len(notes)} notes.')


def apply_markings(score: Score, markings: Iterable[Marking]) -> Score:
    """The score with these fingers in place of the printed ones, and with these notes; what finds
    nothing in it any more is passed over."""
    fingers: dict[str, str] = {}
    own: list[OwnNote] = []
    for marking in markings:
        try:
            check_marking(score, marking)
        except MoveError:
            continue
        if isinstance(marking, PassageNote):
            own.append(_own_note(score, marking))
            continue
        notes = _fingered(score, marking)
        each = marking.fingers * (len(notes) if len(marking.fingers) == 1 else 1)
        fingers |= {note.id: finger for note, finger in zip(notes, each, strict=True)}
    if not (fingers or own):
        return score
    written = tuple(
        replace(note, fingering=(fingers[note.id],)) if note.id in fingers else note
        for note in score.notes
    )
    return replace(score, notes=written, own_notes=(*score.own_notes, *own))


def _fingered(score: Score, marking: Fingering) -> tuple[ScoreNote, ...]:
    """Its notes, of one onset the lowest first."""
    notes = select_notes(score, marking.where)
    mine = (note for note in notes if marking.hand in (None, note.hand))
    return tuple(sorted(mine, key=lambda note: (note.onset_quarters, note.pitch)))


def _own_note(score: Score, marking: PassageNote) -> OwnNote:
    place = HandMove(_ANY, marking.first_bar, marking.last_bar)
    notes = select_notes(score, place)
    if not notes:
        check(score, place)
    first, last = score.bars[notes[0].bar_index], score.bars[notes[-1].bar_index]
    return OwnNote(first.onset_quarters, last.end_quarters, first.words_to(last), marking.words)


def add_markings(kept: Sequence[Marking], fresh: Iterable[Marking]) -> tuple[Marking, ...]:
    """Those kept and then these; of two on the same notes the later holds, and none is there
    twice."""
    out = list(kept)
    for marking in fresh:
        out = [one for one in out if not _replaces(marking, one)]
        out.append(marking)
    return tuple(out)


def _replaces(marking: Marking, earlier: Marking) -> bool:
    if isinstance(marking, Fingering) and isinstance(earlier, Fingering):
        return (marking.where, marking.hand) == (earlier.where, earlier.hand)
    return marking == earlier


# -- kept with the piece --------------------------------------------------------------------------


_KEPT = KeptLines(FOLDER, "Your markings", "can't")


def load_markings(folder: Path, key: str) -> tuple[Marking, ...]:
    """Those kept for the piece with this key; ``folder`` is the data folder. Raises ScoreError (see
    KeptLines)."""
    return _KEPT.load(folder, key, parse_marking)


def save_markings(folder: Path, key: str, markings: Sequence[Marking], name: str = "") -> None:
    """Keep these, and only these. Raises ScoreError (see KeptLines)."""
    _KEPT.save(folder, key, markings, name or key)


def markings_file(folder: Path, key: str) -> Path:
    """Where they are kept."""
    return _KEPT.file(folder, key)
