"""The headless door: everything the screen can do, a program can.

Open a score or build one from a list of notes, start a drill, feed it played notes, and read
verdicts, the trouble, the next assignment and the reasons, as facts or as plain data. No screen,
no file, no clock: time is an argument, so a loop may run a thousand sessions.

>>> from coach.drill import Drill, played, repair, score_from_notes, window
>>> score = score_from_notes([dict(pitch=60 + i, onset=i, length=1, hand="RH") for i in range(8)])
>>> drill = Drill(score, repair(score, window(score, bars="1-2"), qpm=80))
>>> ended = drill.repetition(played([(60 + i, 64, 0.75 * i, 0.7) for i in range(8)]))
>>> ended.judgement.clean, ended.decision.clean_run
(True, 1)

A score file is opened with ``coach.score.opening.open_score`` (it needs the file system, so it
is not part of this door).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from coach.coaching.diagnosis import Evidence, describe_trouble, diagnose
from coach.coaching.drill import Drill, RepetitionEnded
from coach.coaching.model import (
    Assignment,
    Decision,
    Goal,
    Order,
    PlanChange,
    Request,
    Trouble,
    Way,
)
from coach.coaching.observations import observe_transitions
from coach.coaching.serialize import assignment_to_plain, decision_to_plain, trouble_to_plain
from coach.coaching.windows import PracticeMap
from coach.judging.judge import judge
from coach.judging.model import Judgement, Stage
from coach.judging.serialize import judgement_to_plain
from coach.judging.tolerance import Strictness, Tolerance
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Window, excerpt
from coach.score.window import choose_window as window

# Hearing a passage several times and saying where it breaks, without drilling it.


_APART_S = 20.0
"""Seconds between repetitions, so that none counts as old."""


def where_it_breaks(
    score: Score, window: Window, judgements: Iterable[Judgement], qpm: float | None = None
) -> tuple[Trouble, ...]:
    """Every place that may stand at fault, the likeliest first, each with how sure we are.

    The judgements are repetitions of the window or of parts of it, in their order; ``qpm`` is the
    tempo that it is to be played at (None: whatever was played). Unlike a decision's troubles,
    these are also told when they are only suspected: look at ``sure``.
    """
    evidence, practice_map = Evidence(), PracticeMap(score, window)
    heard = (judgement for judgement in judgements if judgement.is_repetition)
    for count, judgement in enumerate(heard):
        evidence.add(observe_transitions(judgement, count * _APART_S), qpm)
    found = diagnose(evidence, practice_map)
    return tuple(describe_trouble(suspect, evidence, practice_map) for suspect in found.suspects)


__all__ = [
    "Assignment",
    "Decision",
    "Drill",
    "Goal",
    "Hands",
    "Judgement",
    "Order",
    "PlanChange",
    "RepetitionEnded",
    "Request",
    "Score",
    "Stage",
    "Strictness",
    "Tolerance",
    "Trouble",
    "Way",
    "Window",
    "assignment_to_plain",
    "decision_to_plain",
    "excerpt",
    "judge",
    "judge_window",
    "judgement_to_plain",
    "learn",
    "played",
    "repair",
    "score_from_notes",
    "trouble_to_plain",
    "where_it_breaks",
    "window",
]


def played(notes: Iterable[Sequence[Any] | Mapping[str, Any]]) -> tuple[PlayedNote, ...]:
    """Played notes from plain data, sorted by onset.

    Each is ``(pitch, velocity, onset_s, length_s)`` or a mapping with those keys; the length may
    be left out or None.
    """
    made = [_one(note) for note in notes]
    return tuple(sorted(made, key=lambda note: note.onset_s))


def _one(note: Sequence[Any] | Mapping[str, Any]) -> PlayedNote:
    if isinstance(note, Mapping):
        note = (note["pitch"], note["velocity"], note["onset_s"], note.get("length_s"))
    pitch, velocity, onset_s, *length = note
    length_s = None if not length or length[0] is None else float(length[0])
    return PlayedNote(int(pitch), int(velocity), float(onset_s), length_s)


def judge_window(
    score: Score,
    chosen: Window,
    notes: Sequence[PlayedNote],
    *,
    stage: Stage | str = Stage.RHYTHM,
    qpm: float | None = None,
    click_s: float | None = None,
    strictness: Strictness | str = Strictness.USUAL,
) -> Judgement:
    """The verdict on one playing of a window; ``judgement_to_plain`` makes data of it."""
    return judge(
        excerpt(score, chosen),
        notes,
        stage=Stage(stage),
        qpm=qpm,
        click_s=click_s,
        tolerance=Tolerance.of(Strictness(strictness)),
    )


def repair(
    score: Score, chosen: Window, *, qpm: float | None = None, clean_required: int = 3
) -> Goal:
    """The goal of known music: this window clean at this tempo (the piece's own if not given)."""
    tempo = qpm or score.tempo_at(chosen.start_quarters)
    return Goal(chosen, tempo, clean_required=clean_required, way=Way.REPAIR)


def learn(
    score: Score,
    chosen: Window,
    *,
    qpm: float | None = None,
    clean_required: int = 3,
    order: Order = Order.FORWARD,
) -> Goal:
    """The goal of new music: read, learnt where it breaks, joined, up to this tempo."""
    tempo = qpm or score.tempo_at(chosen.start_quarters)
    return Goal(chosen, tempo, clean_required=clean_required, way=Way.LEARN, order=order)
