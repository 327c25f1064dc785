"""The judgement on playing that was no repetition: a sentence, and nothing else."""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.model import (
    Judgement,
    Label,
    Outcome,
    PlayedInstead,
    PlayedLabel,
    ScoreLabel,
    Stage,
    TransitionResult,
)
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt


def judge_no_repetition(
    excerpt: Excerpt, played: Sequence[PlayedNote], stage: Stage, instead: PlayedInstead
) -> Judgement:
    """Not clean, nothing at fault, nothing reached; ``instead`` says what was played."""
    return Judgement(
        excerpt=excerpt,
        stage=stage,
        score=tuple(
            ScoreLabel(note, Label.MISSED, reached=False) for note in range(len(excerpt.notes))
        ),
        played=tuple(PlayedLabel(key, Label.EXTRA) for key in range(len(played))),
        qpm=None,
        transitions=tuple(
            TransitionResult(transition, Outcome.NOT_REACHED) for transition in excerpt.transitions
        ),
        faults=(),
        clean=False,
        complete=False,
        unsure=False,
        sentence=instead.sentence,
        is_repetition=False,
        instead=instead.what,
    )
