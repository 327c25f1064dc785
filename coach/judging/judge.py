"""Judging a repetition: from what was played to the verdict.

In this order: is it a repetition of the window at all (``instead/``); which key was for which
note (``alignment/``); how far it came (``completion.py``); when the notes came (``timing/``) and
how long they were held (``touch.py``); what of all that is a fault (``faults/``); which
faults the stage asks for and the sentence on them (``verdict.py``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from coach.judging.alignment import match, match_exactly
from coach.judging.completion import is_complete, mark_unreached, stopped_before
from coach.judging.faults import (
    FaultContext,
    find_faults,
    find_stop_again,
    find_tempo_off,
    is_asked,
    sort_by_weight,
)
from coach.judging.instead import (
    TELLING_ONSETS,
    Surroundings,
    add_other_keys,
    explain_otherwise,
    find_own_keys,
    is_too_fast,
    recognise_hand_alone,
    recognise_other,
)
from coach.judging.model import (
    Cause,
    Fault,
    Instead,
    Judgement,
    Label,
    Matching,
    Outcome,
    PlayedInstead,
    PlayedLabel,
    ScoreLabel,
    Stage,
    TransitionResult,
)
from coach.judging.timing import Click, Habits, Timing, measure
from coach.judging.tolerance import USUAL, Tolerance
from coach.judging.touch import shape
from coach.judging.verdict import (
    add_errors,
    forgive_unasked,
    is_clean,
    judge_transitions,
    list_details,
    list_notices,
    make_sentence,
)
from coach.judging.wording import TOO_FAST, UNCLEAR, UNJUDGED
from coach.playing.notes import PedalMove, PlayedNote, Take
from coach.score.window import Excerpt

CLEAR_SHARE = 2 / 3
"""A part that was broken off is clear where so much of it was right. Own choice, because with every
third note wrong, and no end, it may as well be something else."""
CLEAR_SHARE_TO_END = 0.55
"""One that reached the end is clear where so much was right of what was no plain slip. Own choice,
because with as many keys left out or too many the end was reached by chance."""


@dataclass(frozen=True, slots=True)
class _Asked:
    """What a repetition is judged against, but for the notes."""

    stage: Stage
    qpm: float | None
    """The tempo asked for."""
    click_s: float | None
    """When the window's first grid beat was clicked, in seconds from the first key."""
    tolerance: Tolerance
    habits: Habits | None
    """What earlier repetitions showed; None where nothing is known of the player."""
    surroundings: Surroundings | None
    """What else is written than the window; None where that is not known."""
    pedals: Sequence[PedalMove] | None = None
    """The pedals' moves, in seconds from the first key; None where they are not known."""

    @property
    def stops(self) -> Sequence[Fraction | None]:
        """The onset that each of the last repetitions broke off before; None for the end."""
        return self.habits.stops if self.habits else ()

    @property
    def click(self) -> Click | None:
        """The click to judge against; None where none ran, or where the stage has none."""
        if self.click_s is None or not self.qpm or not self.stage.has_click:
            return None
        return Click(self.qpm, self.click_s)


def judge(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    *,
    stage: Stage = Stage.RHYTHM,
    qpm: float | None = None,
    click_s: float | None = None,
    tolerance: Tolerance = USUAL,
    habits: Habits | None = None,
    surroundings: Surroundings | None = None,
    pedals: Sequence[PedalMove] | None = None,
) -> Judgement:
    """Judge one repetition of the excerpt for a stage.

    Where something else was played (another octave, one hand of two, all at once) it is no
    repetition, and the sentence says what it was.
    ``qpm`` is the tempo asked for, in quarters a minute; ``click_s`` the clock time of the
    window's first grid beat where a click ran; ``habits`` what earlier repetitions of this
    player showed at each onset; ``surroundings`` what else is written; ``pedals`` how the pedals
    moved, None where nobody knows. Played notes are in the order of their onsets.
    """
    asked = _Asked(stage, qpm, click_s, tolerance, habits, surroundings, pedals)
    return _judge_keys(excerpt, played, asked, may_cut=True)


def _judge_keys(
    excerpt: Excerpt, played: Sequence[PlayedNote], asked: _Asked, *, may_cut: bool
) -> Judgement:
    """The verdict on these keys; ``may_cut``: they may hold more than was for the window."""
    zero_s = played[0].onset_s if played else 0.0
    played, asked = _count_from(zero_s, played), _ask_from(zero_s, asked)
    instead = recognise_other(excerpt, played)
    if instead is not None:
        return _judge_no_repetition(excerpt, played, asked.stage, instead)
    matching = match_exactly(excerpt, played, asked.stops[-1] if asked.stops else None)
    matching = matching or match(excerpt, played, qpm=asked.qpm)
    return _judge_matched(excerpt, played, matching, asked, may_cut=may_cut)


def _judge_matched(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    asked: _Asked,
    *,
    may_cut: bool,
) -> Judgement:
    """The verdict, once it is known which key was for which note.

    A take is cut once: what is left was for the window, and cutting on could go on key by key.
    """
    stage, tolerance = asked.stage, asked.tolerance
    if is_too_fast(excerpt, played, matching, asked.qpm):
        return _judge_no_repetition(
            excerpt, played, stage, PlayedInstead(Instead.TOO_FAST, TOO_FAST)
        )
    other = explain_otherwise(excerpt, played, matching, asked.surroundings)
    if other is not None and other.part is None:
        return _judge_no_repetition(excerpt, played, stage, other.instead)
    if may_cut:
        own = find_own_keys(excerpt, played, matching, asked.surroundings)
        part = own if other is None else other.part
        if part is not None:
            return _judge_part(excerpt, played, part, asked)
    alone = recognise_hand_alone(excerpt, matching)
    if alone is not None:
        return _judge_no_repetition(excerpt, played, stage, alone)
    matching = mark_unreached(excerpt, matching)
    if _is_unclear(excerpt, matching):
        return _judge_no_repetition(excerpt, played, stage, PlayedInstead(Instead.UNCLEAR, UNCLEAR))
    timing = measure(excerpt, played, matching, tolerance, asked.habits, asked.click, asked.qpm)
    held = shape(excerpt, played, matching, timing, tolerance, asked.habits, asked.pedals)
    context = FaultContext(excerpt, played, matching, timing, held, tolerance, asked.pedals)
    found = find_faults(context)
    found += _judge_tempo(excerpt, timing, asked)
    stop = find_stop_again(excerpt, matching.score, asked.stops, found)
    if stop is not None:
        found.append(stop)
    faults = forgive_unasked(sort_by_weight(found), stage)
    complete = is_complete(excerpt, matching)
    clean = is_clean(faults, complete)
    return Judgement(
        excerpt=excerpt,
        stage=stage,
        score=add_errors(excerpt, played, matching, timing),
        played=matching.played,
        qpm=timing.qpm,
        transitions=_judge_moves(excerpt, matching, faults),
        faults=faults,
        clean=clean,
        complete=complete,
        unsure=matching.unsure,
        sentence=make_sentence(excerpt, faults, matching, clean=clean),
        details=list_details(excerpt, faults, timing),
        notices=list_notices(excerpt, matching, timing, held, tolerance),
        offset_ms=timing.click.offset_s * 1000 if timing.click else 0.0,
        lengths=timing.lengths.heard,
        held=held.shares,
    )


def _judge_moves(
    excerpt: Excerpt, matching: Matching, faults: Sequence[Fault]
) -> tuple[TransitionResult, ...]:
    """What happened in each transition; where nobody can say what was played none failed.

    That is where a note is in doubt, and on the next beat, whose time is measured from it. What is
    told of it is said to be unsure. A failure elsewhere is one by every reading.
    """
    results = judge_transitions(excerpt, matching, faults)
    arrivals = {excerpt.arrivals[excerpt.onset_numbers[note]] for note in matching.doubtful}
    in_doubt = arrivals | {arrival + 1 for arrival in arrivals}
    return tuple(
        TransitionResult(one.transition, Outcome.NOT_REACHED)
        if arrival in in_doubt and one.outcome is not Outcome.CLEAN
        else one
        for one, (arrival, _) in zip(results, excerpt.moves, strict=True)
    )


def _is_unclear(excerpt: Excerpt, matching: Matching) -> bool:
    """Whether what was played may have been two things, and hardly was this one.

    A few right notes, then a wrong one and a stop: that is clear, and where practice begins.
    """
    if _is_one_onset_amid_others(excerpt, matching):
        return True
    if not matching.unsure:
        return False
    strange = sum(one.label is Label.EXTRA for one in matching.played)
    strange += sum(one.label is Label.MISSED and one.reached for one in matching.score)
    wrong = sum(one.label is Label.WRONG for one in matching.played)
    right = sum(one.label is Label.MATCHED for one in matching.played)
    again = sum(one.label is Label.REPEATED for one in matching.played)
    if stopped_before(excerpt, matching.score) is not None:
        return right < CLEAR_SHARE * (right + again + wrong + strange)
    is_telling = len(excerpt.onsets_quarters) >= TELLING_ONSETS
    return is_telling and right + again < CLEAR_SHARE_TO_END * (right + again + strange)


def _is_one_onset_amid_others(excerpt: Excerpt, matching: Matching) -> bool:
    """Whether no more than one onset was played, with as many keys that are none of it."""
    struck = {excerpt.onset_numbers[one.note] for one in matching.score if one.played is not None}
    right = sum(one.label is Label.MATCHED for one in matching.played)
    extra = sum(one.label is Label.EXTRA for one in matching.played)
    return (
        len(excerpt.onsets_quarters) >= TELLING_ONSETS and len(struck) == 1 and extra >= right > 0
    )


def _judge_no_repetition(
    excerpt: Excerpt, played: Sequence[PlayedNote], stage: Stage, instead: PlayedInstead
) -> Judgement:
    """Not clean, nothing at fault, nothing reached: a sentence, and nothing else."""
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


def _judge_part(
    excerpt: Excerpt, played: Sequence[PlayedNote], part: Sequence[int], asked: _Asked
) -> Judgement:
    """The verdict on the keys that were for the window, where others came before or after."""
    judgement = _judge_keys(excerpt, [played[key] for key in part], asked, may_cut=False)
    return add_other_keys(judgement, part, len(played))


def _count_from(zero_s: float, played: Sequence[PlayedNote]) -> Sequence[PlayedNote]:
    """Times from the first key on, so that no verdict hangs on how the clock's figures round."""
    if not zero_s:
        return played
    return [
        PlayedNote(note.pitch, note.velocity, note.onset_s - zero_s, note.length_s)
        for note in played
    ]


def _ask_from(zero_s: float, asked: _Asked) -> _Asked:
    """The click and the pedals by the same clock."""
    if not zero_s:
        return asked
    click_s = None if asked.click_s is None else asked.click_s - zero_s
    moves = asked.pedals
    if moves:
        moves = [replace(move, at_s=move.at_s - zero_s) for move in moves]
    return replace(asked, click_s=click_s, pedals=moves)


def _judge_tempo(excerpt: Excerpt, timing: Timing, asked: _Asked) -> list[Fault]:
    """Whether the tempo found is the one asked for, at the stages that ask for one."""
    if not is_asked(Cause.SLOWER_THAN_ASKED, asked.stage):
        return []
    if asked.qpm is None or timing.qpm is None:
        return []
    least, most = 1 - asked.tolerance.slow_share, 1 + asked.tolerance.fast_share
    if least <= timing.qpm / asked.qpm <= most:
        return []
    return [find_tempo_off(excerpt, timing.qpm, asked.qpm)]


# A repetition to be judged: all that the judge needs, as a fact that other processes can take.


@dataclass(frozen=True, slots=True)
class JudgingJob:
    """One take of one window; picklable."""

    number: int
    """Which it is of those of its drill: verdicts are taken in this order."""
    excerpt: Excerpt
    """The window that stood when the repetition began."""
    take: Take
    stage: Stage
    qpm: float | None
    """The tempo asked for; None for the player's own pace."""
    click_s: float | None
    """When the window's first grid beat was clicked; None where no click ran."""
    tolerance: Tolerance
    habits: Habits
    surroundings: Surroundings | None = None
    """What else is written than the window, where that is known."""

    @property
    def size(self) -> int:
        """Keys times notes: what judging takes grows with it."""
        return len(self.take.notes) * len(self.excerpt.notes)

    def make_unjudged(self) -> Judgement:
        """What stands in a verdict's place where there is none: it counts for nothing."""
        return Judgement(
            excerpt=self.excerpt,
            stage=self.stage,
            score=(),
            played=(),
            qpm=None,
            transitions=(),
            faults=(),
            clean=False,
            complete=False,
            unsure=True,
            sentence=UNJUDGED,
            is_repetition=False,
        )

    def judge(self) -> Judgement:
        """The verdict, here and now."""
        return judge(
            self.excerpt,
            self.take.notes,
            stage=self.stage,
            qpm=self.qpm,
            click_s=self.click_s,
            tolerance=self.tolerance,
            habits=self.habits,
            surroundings=self.surroundings,
            pedals=self.take.pedals,
        )
