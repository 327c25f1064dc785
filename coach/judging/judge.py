"""Judging a repetition: from what was played to the verdict."""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.alignment import match, match_exactly
from coach.judging.articulation import shape
from coach.judging.completion import is_complete, with_reach
from coach.judging.faults import (
    FaultContext,
    find_faults,
    find_stop_again,
    find_tempo_off,
    is_asked,
    sort_by_weight,
)
from coach.judging.instead import (
    OTHER_NOTES,
    TOO_FAST,
    is_too_fast,
    is_unrelated,
    judge_no_repetition,
    recognise_other,
)
from coach.judging.model import Cause, Fault, Judgement, Matching, Stage
from coach.judging.notices import notices
from coach.judging.timing import Click, Habits, Timing, measure
from coach.judging.tolerance import USUAL, Tolerance
from coach.judging.transition_results import transition_results, with_errors
from coach.judging.verdict import details, forgive_unasked, is_clean, sentence
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt


def judge(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    *,
    stage: Stage = Stage.RHYTHM,
    qpm: float | None = None,
    click_s: float | None = None,
    tolerance: Tolerance = USUAL,
    habits: Habits | None = None,
) -> Judgement:
    """Judge one repetition of the excerpt for a stage.

    Where something else was played (another octave, one hand of two, all at once) it is no
    repetition, and the sentence says what it was.
    ``qpm`` is the tempo asked for, in quarters a minute; ``click_s`` the clock time of the
    window's first grid beat where a click ran; ``habits`` what earlier repetitions of this
    player showed at each onset. Played notes are in the order of their onsets.
    """
    played, click_s = _since_the_first(played, click_s)
    instead = recognise_other(excerpt, played)
    if instead is not None:
        return judge_no_repetition(excerpt, played, stage, instead)
    stops = habits.stops if habits else ()
    matching = match_exactly(excerpt, played, stops[-1] if stops else None)
    return judge_matched(
        excerpt,
        played,
        matching or match(excerpt, played, qpm=qpm),
        stage=stage,
        qpm=qpm,
        click_s=click_s,
        tolerance=tolerance,
        habits=habits,
    )


def judge_matched(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    *,
    stage: Stage = Stage.RHYTHM,
    qpm: float | None = None,
    click_s: float | None = None,
    tolerance: Tolerance = USUAL,
    habits: Habits | None = None,
) -> Judgement:
    """The same from a matching that is already there."""
    played, click_s = _since_the_first(played, click_s)
    if is_too_fast(excerpt, played, matching, qpm):
        return judge_no_repetition(excerpt, played, stage, TOO_FAST)
    if is_unrelated(excerpt, played, matching):
        return judge_no_repetition(excerpt, played, stage, OTHER_NOTES)
    matching = with_reach(excerpt, matching)
    with_click = qpm is not None and click_s is not None and stage.has_click
    click = Click(qpm, click_s) if with_click and qpm and click_s is not None else None
    timing = measure(excerpt, played, matching, tolerance, habits, click, qpm)
    formed = shape(excerpt, played, matching, timing, tolerance)
    faults = find_faults(FaultContext(excerpt, played, matching, timing, formed, tolerance))
    if is_asked(Cause.SLOWER_THAN_ASKED, stage):
        faults += _tempo_faults(excerpt, timing, qpm, tolerance)
    stop = find_stop_again(excerpt, matching.score, habits.stops if habits else ())
    if stop is not None:
        faults.append(stop)
    told = forgive_unasked(sort_by_weight(faults), stage)
    complete = is_complete(excerpt, matching)
    clean = is_clean(told, complete)
    return Judgement(
        excerpt=excerpt,
        stage=stage,
        score=with_errors(excerpt, played, matching, timing),
        played=matching.played,
        qpm=timing.qpm,
        transitions=transition_results(excerpt, matching, told),
        faults=told,
        clean=clean,
        complete=complete,
        unsure=matching.unsure,
        sentence=sentence(excerpt, told, matching, clean=clean),
        details=details(excerpt, told, timing),
        notices=notices(excerpt, timing, formed, tolerance),
        offset_ms=timing.click.offset_s * 1000 if timing.click else 0.0,
    )


def _since_the_first(
    played: Sequence[PlayedNote], click_s: float | None
) -> tuple[Sequence[PlayedNote], float | None]:
    """Times from the first key on, so that no verdict hangs on how the clock's figures round."""
    zero_s = played[0].onset_s if played else 0.0
    if not zero_s:
        return played, click_s
    moved = [
        PlayedNote(note.pitch, note.velocity, note.onset_s - zero_s, note.length_s)
        for note in played
    ]
    return moved, None if click_s is None else click_s - zero_s


def _tempo_faults(
    excerpt: Excerpt, timing: Timing, asked_qpm: float | None, tolerance: Tolerance
) -> list[Fault]:
    """Whether the tempo found is the one asked for, within the tolerance."""
    if asked_qpm is None or timing.qpm is None:
        return []
    ratio = timing.qpm / asked_qpm
    if 1 - tolerance.slow_share <= ratio <= 1 + tolerance.fast_share:
        return []
    return [find_tempo_off(excerpt, timing.qpm, asked_qpm)]
