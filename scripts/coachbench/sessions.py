"""A pianist in front of the coach: what it names, when, and how long the mending takes."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field

from coach.drill import Drill, Stage, Window, excerpt, judge, repair
from coach.judging.model import Judgement
from coach.playing.notes import PlayedNote
from coach.playing.simulated.player import SimulatedPianist
from coach.score.model import Score
from coach.score.window import Transition
from scripts.coachbench.sections import QPM, whole

PAUSE_S = 3.0
"""Between two repetitions."""


@dataclass
class Session:
    """One session, as far as it went."""

    repetitions: int = 0
    unclean: int = 0
    playing_s: float = 0.0
    finished: bool = False
    named: dict[Transition, int] = field(default_factory=dict)
    """Each move that was claimed to be at fault, and after how many repetitions."""
    decided_s: list[float] = field(default_factory=list)
    spent_s: dict[str, float] = field(default_factory=dict)
    """Playing time by what it was for: finding, mending or proving."""

    def count(self, notes: Sequence[PlayedNote], judgement: Judgement, what: str = "") -> None:
        """Take in one repetition."""
        played_s = notes[-1].onset_s - notes[0].onset_s + 0.5 if notes else 0.0
        self.repetitions += 1
        self.unclean += not judgement.clean
        self.playing_s += played_s
        self.spent_s[what] = self.spent_s.get(what, 0.0) + played_s


def coached(
    score: Score,
    pianist: SimulatedPianist,
    *,
    most: int = 20,
    until_named: frozenset[Transition] = frozenset(),
    minutes: float = 1e9,
) -> Session:
    """Led by the coach for so many repetitions or minutes of playing at most.

    It ends when all of ``until_named`` is named; without that, when the goal is reached.
    """
    drill = Drill(score, repair(score, whole(score), qpm=QPM))
    session, now_s, has_mended = Session(), 0.0, False
    while session.repetitions < most and session.playing_s < 60 * minutes:
        notes = pianist.play(drill.excerpt, drill.assignment.qpm, start_s=now_s)
        is_whole = drill.assignment.window == whole(score)
        has_mended = has_mended or (not is_whole and bool(session.named))
        what = ("proving" if is_whole else "mending") if has_mended else "finding"
        begun = time.perf_counter()
        ended = drill.repetition(notes, now_s=now_s)
        session.decided_s.append(time.perf_counter() - begun)
        session.count(notes, ended.judgement, what)
        now_s += (notes[-1].onset_s - now_s if notes else 0.0) + PAUSE_S
        for trouble in ended.decision.troubles:
            session.named.setdefault(trouble.transition, session.repetitions)
        session.finished = ended.decision.finished
        if until_named <= session.named.keys() if until_named else session.finished:
            break
    return session


def play_once(
    score: Score, pianist: SimulatedPianist, window: Window, qpm: float, session: Session
) -> Judgement:
    """One repetition of a window as a baseline asks for it, judged by the same ear."""
    sight = excerpt(score, window)
    notes = pianist.play(sight, qpm)
    judgement = judge(sight, notes, stage=Stage.RHYTHM, qpm=qpm)
    session.count(notes, judgement)
    return judgement
