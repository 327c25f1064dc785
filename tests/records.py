"""Repetitions for tests of the record, made by hand."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from fractions import Fraction
from pathlib import Path

from coach.coaching.drill.drill_events import RepetitionEnded
from coach.coaching.model import Assignment, AssignmentKind, Decision, Trouble, TroubleKind
from coach.coaching.observations import observe_transitions
from coach.judging.model import (
    Cause,
    Family,
    Fault,
    Judgement,
    Label,
    Outcome,
    PlayedLabel,
    ScoreLabel,
    Stage,
    TransitionResult,
)
from coach.playing.notes import PedalMove, PlayedNote, Take
from coach.score.build import score_from_notes
from coach.score.model import Hand, Hands
from coach.score.window import Window, excerpt

SCORE = score_from_notes(
    [
        {"pitch": pitch, "onset": k, "length": 1, "hand": hand}
        for k in range(4)
        for pitch, hand in ((72 + 2 * k, "RH"), (48 + k, "LH"))
    ],
    title="Two Hands",
)
WINDOW = Window(Fraction(0), Fraction(4))


def ended(*, clean: bool = True, sentence: str = "Clean.") -> RepetitionEnded:
    """Both hands of a bar of quarters; unclean where the left hand's beat 3 was missed."""
    part = excerpt(SCORE, WINDOW)
    lost = next(
        i
        for i, note in enumerate(part.notes)
        if note.hand is Hand.LEFT and note.onset_quarters == 2
    )
    played = [i for i in range(len(part.notes)) if clean or i != lost]
    take = Take(
        tuple(
            PlayedNote(part.notes[i].pitch, 60 + i, 10.0 + float(part.notes[i].onset_quarters), 0.9)
            for i in played
        ),
        (PedalMove(64, 127, 10.5),),
    )
    at_fault = part.transition_to(Fraction(2), Hands.LEFT)
    judgement = Judgement(
        excerpt=part,
        stage=Stage.RHYTHM,
        score=tuple(
            ScoreLabel(i, Label.MATCHED, played.index(i), 1.5)
            if i in played
            else ScoreLabel(i, Label.MISSED)
            for i in range(len(part.notes))
        ),
        played=tuple(
            PlayedLabel(n, Label.MATCHED, i, part.notes[i].hand) for n, i in enumerate(played)
        ),
        qpm=60.0,
        transitions=tuple(
            TransitionResult(t, Outcome.WRONG if not clean and t == at_fault else Outcome.CLEAN)
            for t in part.transitions
        ),
        faults=()
        if clean
        else (
            Fault(
                at_fault,
                Fraction(2),
                Family.MISSING,
                1.0,
                "D missed",
                note=lost,
                cause=Cause.MISSED_NOTE,
            ),
        ),
        clean=clean,
        complete=True,
        unsure=False,
        sentence=sentence,
    )
    asked = Assignment(WINDOW, 60.0, Stage.RHYTHM, 3, AssignmentKind.TRY, "Play it as it is.")
    trouble = Trouble(
        at_fault, Fraction(2), TroubleKind.ONE_HAND, 0.8, "1 of 1: missed", "LH bar 1, beat 2 → 3"
    )
    decision = Decision(asked, False, int(clean), None if clean else trouble)
    return RepetitionEnded(take, judgement, decision, asked, observe_transitions(judgement, 0.0))


def select(file: Path, query: str) -> list[tuple[object, ...]]:
    """What a query finds in a record's file."""
    with closing(sqlite3.connect(file)) as db:
        return db.execute(query).fetchall()


def foreign(path: Path, *, application_id: int = 0, version: int = 0, wal: bool = True) -> None:
    """Another program's SQLite file."""
    with closing(sqlite3.connect(path)) as db, db:
        db.execute(f"PRAGMA application_id = {application_id}")
        db.execute(f"PRAGMA user_version = {version}")
        if wal:
            db.execute("PRAGMA journal_mode = WAL")
        db.execute("CREATE TABLE recipes (id INTEGER PRIMARY KEY, cake TEXT)")
        db.execute("INSERT INTO recipes VALUES (1, 'sponge')")
