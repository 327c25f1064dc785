"""Moving notes to the other hand: what a hand move means in a score, and the score after it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from coach.score.handlines import HandMove, MoveError
from coach.score.model import Bar, Hand, Score, ScoreNote
from coach.score.printed import Remark


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
    notes = selected(score, move)
    if move.hand:
        return dict.fromkeys((note.id for note in notes), move.hand)
    if move.split:
        lowest = move.split.midi
        return {n.id: Hand.RIGHT if n.pitch >= lowest else Hand.LEFT for n in notes}
    from coach.score.reading.hands import hands_by_voice  # the readers are not needed before

    homes = {note.id: note.hand for note in hands_by_voice(score).notes}
    return {note.id: homes[note.id] for note in notes}


def _remark(move: HandMove, count: int) -> Remark:
    if not count:
        return Remark("note", f'The hand move "{move}" finds no note.')
    notes = "1 note" if count == 1 else f"{count} notes"
    return Remark("note", f"Hands as you asked: {move} ({notes}).")


def followed(moves: Sequence[HandMove], by: Sequence[HandMove]) -> tuple[HandMove, ...]:
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
    if not selected(score, move):
        raise MoveError(f'"{move}" finds no note: "coach score FILE --notes" lists them all.')


def selected(score: Score, move: HandMove) -> tuple[ScoreNote, ...]:
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
        and (move.beat is None or score.place(note.onset_quarters).beat == move.beat)
    )
