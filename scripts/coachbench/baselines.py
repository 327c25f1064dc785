"""What a pianist could do without the coach, by plain rules; and a coach that is told the fault."""

from __future__ import annotations

from collections import Counter
from math import log2

from coach.coaching.practice.tempo import quicker, slower
from coach.judging.model import Outcome
from coach.playing.simulated.player import SimulatedPianist
from coach.score.model import Hands, Score
from coach.score.window import Transition, Window, excerpt
from scripts.coachbench.sections import QPM, moves, whole
from scripts.coachbench.sessions import Session, play_once

CLEAN = 3
START_SHARE = 0.6
"""The ladder begins at three fifths of the tempo."""
STEP_MARKS = 2
"""Metronome marks of a step, where the faults are told."""


def ladder(score: Score, pianist: SimulatedPianist, minutes: float) -> Session:
    """The whole section, up a mark after three clean ones, down one after two that were not."""
    session, qpm, clean, unclean = Session(), QPM * START_SHARE, 0, 0
    while session.playing_s < 60 * minutes:
        if play_once(score, pianist, whole(score), qpm, session).clean:
            clean, unclean = clean + 1, 0
        else:
            clean, unclean = 0, unclean + 1
        beat = score.bars[0].metre.beat_quarters
        if clean == CLEAN:
            if qpm >= QPM:
                session.finished = True
                break
            qpm, clean = min(quicker(qpm, beat), QPM), 0
        elif unclean == 2:
            qpm, unclean = max(slower(qpm, beat), QPM / 2), 0
    return session


def bar_by_bar(score: Score, pianist: SimulatedPianist, minutes: float) -> Session:
    """Every bar five times at tempo, then the whole until it breaks; and again."""
    session = Session()
    while session.playing_s < 60 * minutes and not session.finished:
        for bar in score.bars:
            for _ in range(5):
                window = Window(bar.onset_quarters, bar.end_quarters)
                play_once(score, pianist, window, QPM, session)
        session.finished = _whole_holds(score, pianist, session)
    return session


def told(
    score: Score, pianist: SimulatedPianist, faults: tuple[Transition, ...], minutes: float
) -> Session:
    """Knows the faults: each alone with a beat of run-up until it holds, then the whole."""
    session = Session()
    while session.playing_s < 60 * minutes and not session.finished:
        for move in faults:
            clean = 0
            while clean < CLEAN and session.playing_s < 60 * minutes:
                window = around(score, move)
                clean = clean + 1 if play_once(score, pianist, window, QPM, session).clean else 0
        session.finished = _whole_holds(score, pianist, session)
    return session


def told_slowly(
    score: Score, pianist: SimulatedPianist, faults: tuple[Transition, ...], minutes: float
) -> Session:
    """The same, and it goes slower after an unclean one and quicker after two that were clean."""
    session, beat = Session(), score.bars[0].metre.beat_quarters
    while session.playing_s < 60 * minutes and not session.finished:
        for move in faults:
            clean, qpm, window = 0, QPM, around(score, move)
            while session.playing_s < 60 * minutes:
                if not play_once(score, pianist, window, qpm, session).clean:
                    clean, qpm = 0, max(slower(qpm, beat, STEP_MARKS), QPM / 2)
                    continue
                clean += 1
                if clean == CLEAN and qpm >= QPM:
                    break
                if clean >= CLEAN - 1 and qpm < QPM:
                    clean, qpm = 0, min(quicker(qpm, beat, STEP_MARKS), QPM)
        session.finished = _whole_holds(score, pianist, session)
    return session


def around(score: Score, move: Transition) -> Window:
    """The move with a beat of run-up, both hands: always something to play."""
    step = move.to_quarters - move.from_quarters
    return Window(max(move.from_quarters - step, score.bars[0].onset_quarters), move.to_quarters)


def _whole_holds(score: Score, pianist: SimulatedPianist, session: Session) -> bool:
    whole_piece = whole(score)
    return all(play_once(score, pianist, whole_piece, QPM, session).clean for _ in range(CLEAN))


def counter(score: Score, pianist: SimulatedPianist, plays: int) -> Transition | None:
    """The place with the most failures after so many whole plays, with our own ear."""
    failed: Counter[Transition] = Counter()
    session = Session()
    for _ in range(plays):
        judgement = play_once(score, pianist, whole(score), QPM, session)
        for result in judgement.transitions:
            if result.outcome not in (Outcome.CLEAN, Outcome.NOT_REACHED):
                failed[result.transition] += 1
    return failed.most_common(1)[0][0] if failed else None


def pass_fail_search(score: Score, pianist: SimulatedPianist, chance: float, most: int) -> Session:
    """Hears only clean or not: asks for the window and hands that tell most, by Bayes' rule.

    Any window between two beats, with one hand or both; stops when one move has 0.95 of the belief.
    """
    everything = moves(excerpt(score, whole(score)))
    belief = {move: 1 / len(everything) for move in everything}
    session = Session()
    queries = _queries(score, everything)
    while session.repetitions < most:
        window, inside = max(queries, key=lambda query: _tells(belief, query[1], chance))
        clean = play_once(score, pianist, window, QPM, session).clean
        for move in belief:
            fails = chance if move in inside else 0.02
            belief[move] *= 1 - fails if clean else fails
        total = sum(belief.values())
        belief = {move: share / total for move, share in belief.items()}
        best = max(belief, key=lambda move: belief[move])
        if belief[best] >= 0.95:
            session.named[best] = session.repetitions
            break
    return session


def _queries(
    score: Score, everything: tuple[Transition, ...]
) -> list[tuple[Window, frozenset[Transition]]]:
    beats = sorted({move.to_quarters for move in everything})
    out = []
    for i, first in enumerate(beats):
        for last in beats[i:]:
            step = everything[0].to_quarters - everything[0].from_quarters
            for hands in (Hands.RIGHT, Hands.LEFT, Hands.TOGETHER):
                window = Window(first - step, last, hands)
                inside = frozenset(
                    move
                    for move in everything
                    if first <= move.to_quarters <= last and move.hands.members <= hands.members
                )
                if inside and score.notes_between(first - step, last, hands):
                    out.append((window, inside))
    return out


def _tells(belief: dict[Transition, float], inside: frozenset[Transition], chance: float) -> float:
    """Bits that a clean-or-not answer is expected to give."""
    share = sum(belief[move] for move in inside)
    fails = share * chance + (1 - share) * 0.02
    return _entropy(fails) - share * _entropy(chance) - (1 - share) * _entropy(0.02)


def _entropy(p: float) -> float:
    return 0.0 if p in (0.0, 1.0) else -p * log2(p) - (1 - p) * log2(1 - p)
