"""Faults of time: hesitations, hands apart, uneven rows and figures, a tempo that runs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from coach.judging.completion import stopped_before
from coach.judging.faults.catalogue import SCATTERED_WEIGHT, weigh
from coach.judging.faults.context import (
    TOGETHER_S,
    FaultContext,
    FaultSpan,
    hands_of,
    make_fault,
)
from coach.judging.model import Cause, Fault, ScoreLabel
from coach.judging.timing import Moment, NoteValue, Pause, Timing
from coach.judging.wording import (
    LONG_TO_SHORT,
    NOTE,
    NOTE_AND_REST,
    SCATTERED_BY,
    beat_around,
    describe,
    describe_delay,
    describe_lateness,
    describe_length,
    describe_length_in_short,
    describe_pace,
    name_value,
    name_way,
    place,
    seconds,
)
from coach.score.model import Hands
from coach.score.window import Excerpt

# A fault of one onset that came late or early, in full words and in short ones.


def make_lateness(
    context: FaultContext,
    cause: Cause,
    moment: int,
    error_s: float,
    *,
    explained: bool,
    hands: Hands | None = None,
) -> Fault:
    """``late to beat 2 (0.4 s)``; ``hands`` None are those that have an onset there."""
    excerpt, row = context.excerpt, context.timing.row[moment]
    onset = row.onset_quarters
    whose = hands_of([hand.hand for hand in row.hands]) if hands is None else hands
    around = beat_around(excerpt, onset)
    return make_fault(
        excerpt,
        cause,
        FaultSpan.at(onset, whose),
        describe_lateness(cause, f"to {place(excerpt, onset)}", error_s),
        weight=weigh(cause, size_s=error_s, explained=explained),
        size_ms=error_s * 1000,
        short_words=(describe_lateness(cause, f"in {around}", error_s),),
    )


# Faults of the hands together: one late or early, a chord fallen apart, hands that drift.


def find_hands_apart(context: FaultContext) -> Iterator[Fault]:
    """One hand against the other, and within its chords; where they drift, that alone."""
    yield from _find_displaced_hand(context)
    yield from _find_drift(context) if context.timing.drift else _find_one_hand_off(context)
    yield from _find_split_chords(context)


def onset_of(timing: Timing, moment: int) -> Fraction:
    """The onset of a moment, in quarters."""
    return timing.row[moment].onset_quarters


def list_explained_moments(timing: Timing) -> set[int]:
    """Moments whose lateness something larger explains.

    Those in a row that was played unevenly, and those that one hand has alone where hands drift.
    """
    sure = [row for row in timing.uneven if row.sure]
    out = {i for row in sure for i in range(row.first, row.last + 2)}
    if timing.drift is not None:
        out |= {i for i, moment in enumerate(timing.row) if len(moment.hands) == 1}
    return out


def _find_one_hand_off(context: FaultContext) -> Iterator[Fault]:
    timing = context.timing
    explained = list_explained_moments(timing) | timing.lengths.moments
    waited = timing.lengths.moments | {pause.moment for pause in timing.pauses}
    for one in timing.parted:
        if one.moment in waited and abs(timing.row[one.moment].apart_s or 0.0) < TOGETHER_S:
            continue  # all that struck here moved, which is told already
        cause = Cause.ONE_HAND_LATE if one.error_s > 0 else Cause.ONE_HAND_EARLY
        yield make_lateness(
            context,
            cause,
            one.moment,
            one.error_s,
            explained=one.moment in explained,
            hands=Hands(one.hand),
        )


def _find_split_chords(context: FaultContext) -> Iterator[Fault]:
    timing, excerpt = context.timing, context.excerpt
    for split in timing.splits:
        name = excerpt.notes[split.note].spelling.words
        yield make_fault(
            excerpt,
            Cause.SPLIT_CHORD,
            FaultSpan.at(onset_of(timing, split.moment), split.hand),
            describe(Cause.SPLIT_CHORD, note=name, size=seconds(split.gap_s)),
            weight=weigh(Cause.SPLIT_CHORD, size_s=split.gap_s),
            note=split.note,
            size_ms=split.gap_s * 1000,
        )


def _find_displaced_hand(context: FaultContext) -> Iterator[Fault]:
    """Told where it left: the move into that onset is at fault, and the rest came of it."""
    timing, displaced = context.timing, context.timing.displaced
    if displaced is None:
        return
    excerpt, onset = context.excerpt, onset_of(timing, displaced.first)
    beat_s = float(excerpt.beat_quarters) * 60 / (timing.qpm or excerpt.qpm)
    gaps = {
        "size": describe_delay(displaced.shift_s, beat_s),
        "way": name_way(displaced.shift_s),
        "other": displaced.hand.other,
    }
    full, short = (
        describe(Cause.HAND_DISPLACED, place=where, **gaps)
        for where in (place(excerpt, onset), beat_around(excerpt, onset))
    )
    yield make_fault(
        excerpt,
        Cause.HAND_DISPLACED,
        FaultSpan.at(onset, Hands(displaced.hand)),
        full,
        size_ms=displaced.shift_s * 1000,
        short_words=(short,),
    )


def _find_drift(context: FaultContext) -> Iterator[Fault]:
    """The drift spans all the onsets that it took; its own onset is the last, where it is worst."""
    timing, drift = context.timing, context.timing.drift
    if drift is None:
        return
    first, last = onset_of(timing, drift.first), onset_of(timing, drift.last)
    way = name_way(drift.total_s)
    fault = make_fault(
        context.excerpt,
        Cause.HANDS_DRIFT,
        FaultSpan(first, last, Hands(drift.hand)),
        describe(Cause.HANDS_DRIFT, way=way, other=drift.hand.other, size=seconds(drift.total_s)),
        size_ms=drift.total_s * 1000,
    )
    yield replace(fault, onset_quarters=last)


def find_timing_faults(context: FaultContext) -> list[Fault]:
    """What the timing shows, in no order."""
    return [
        *_find_hesitations(context),
        *_find_misread_values(context),
        *_find_misread_pace(context),
        *_find_entries(context),
        *find_hands_apart(context),
        *_find_uneven_rows(context),
        *_find_scattered_rows(context),
        *_find_wrong_proportions(context),
        *_find_tempo_drift(context),
        *_find_off_click(context),
    ]


def find_tempo_off(excerpt: Excerpt, qpm: float, asked_qpm: float) -> Fault:
    """The tempo as a whole, slower or faster than asked, told in beats a minute."""
    first, last = excerpt.notes[0].onset_quarters, excerpt.notes[-1].onset_quarters
    beat_quarters = float(excerpt.beat_quarters)
    bpm, asked_bpm = (f"{one / beat_quarters:.0f}" for one in (qpm, asked_qpm))
    cause = Cause.SLOWER_THAN_ASKED if qpm < asked_qpm else Cause.FASTER_THAN_ASKED
    words = describe(cause, bpm=bpm, asked_bpm=asked_bpm)
    return make_fault(excerpt, cause, FaultSpan(first, last, excerpt.hands), words)


def _find_hesitations(context: FaultContext) -> Iterator[Fault]:
    explained = list_explained_moments(context.timing)
    for pause in context.timing.pauses:
        if pause.at_barlines:
            yield _make_barline_wait(context, pause)
            continue
        yield make_lateness(
            context,
            Cause.HESITATION,
            pause.moment,
            pause.excess_s,
            explained=pause.moment in explained,
        )


def _make_barline_wait(context: FaultContext, pause: Pause) -> Fault:
    moment = context.timing.row[pause.moment]
    return make_fault(
        context.excerpt,
        Cause.BARLINE_WAIT,
        FaultSpan.at(moment.onset_quarters, hands_of([hand.hand for hand in moment.hands])),
        describe(Cause.BARLINE_WAIT),
        size_ms=pause.excess_s * 1000,
    )


def _find_misread_values(context: FaultContext) -> Iterator[Fault]:
    """Lengths that are not as written; a long one near no simple ratio is a hesitation."""
    explained = list_explained_moments(context.timing)
    for value in context.timing.lengths.values:
        is_explained = value.moment in explained
        if value.ratio is None and value.shift_s > 0:
            yield make_lateness(
                context, Cause.HESITATION, value.moment, value.shift_s, explained=is_explained
            )
        else:
            yield _make_misread_value(context, value, is_explained)


def _make_misread_value(context: FaultContext, value: NoteValue, explained: bool) -> Fault:
    timing, excerpt = context.timing, context.excerpt
    before, moment = timing.row[value.moment - 1], timing.row[value.moment]
    begun, onset = before.onset_quarters, moment.onset_quarters
    note = _name_note(excerpt, before, onset)
    beat_quarters = excerpt.beat_quarters
    got = describe_length(value.ratio, (onset - begun) / beat_quarters)
    cause = Cause.MISREAD_VALUE
    return make_fault(
        excerpt,
        cause,
        FaultSpan.at(onset, hands_of([hand.hand for hand in moment.hands])),
        describe(cause, note=note, place=place(excerpt, begun), got=got),
        weight=weigh(cause, surprise=abs(value.z), explained=explained),
        size_ms=value.shift_s * 1000,
        short_words=describe_length_in_short(excerpt, note, begun, got, value.shift_s),
    )


def _name_note(excerpt: Excerpt, moment: Moment, until_quarters: Fraction) -> str:
    """The note that fills the way to the next onset, by its value; else what it is held against."""
    length = until_quarters - moment.onset_quarters
    notes = [excerpt.notes[note] for hand in moment.hands for note in hand.notes]
    if any(note.length_quarters == length for note in notes):
        return name_value(length) or NOTE
    if notes and all(note.length_quarters < length for note in notes):
        return NOTE_AND_REST
    return NOTE


def _find_entries(context: FaultContext) -> Iterator[Fault]:
    """Single onsets out of place."""
    explained = list_explained_moments(context.timing)
    for entry in context.timing.lengths.entries:
        cause = Cause.LATE_ENTRY if entry.error_s > 0 else Cause.EARLY_ENTRY
        yield make_lateness(
            context, cause, entry.moment, entry.error_s, explained=entry.moment in explained
        )


def _find_uneven_rows(context: FaultContext) -> Iterator[Fault]:
    """Rows written even in which long and short alternate; forgiven where it may be chance."""
    timing = context.timing
    told = {moment for pattern in timing.lengths.patterns for moment in pattern.moments}
    for row in timing.uneven:
        if told & set(range(row.first, row.last + 1)):
            continue  # a rule of the whole row says more
        fault = make_fault(
            context.excerpt,
            Cause.UNEVEN,
            FaultSpan(onset_of(timing, row.first), onset_of(timing, row.last), Hands(row.hand)),
            describe(Cause.UNEVEN, measure=LONG_TO_SHORT.format(ratio=row.ratio)),
            weight=weigh(Cause.UNEVEN, surprise=row.surprise, doubtful=not row.sure),
            size_ms=row.size_s * 1000,
        )
        yield replace(fault, forgiven=not row.sure)


def _find_scattered_rows(context: FaultContext) -> Iterator[Fault]:
    """Rows written even whose notes scatter, in hands of which no pattern was told."""
    timing, tolerance = context.timing, context.tolerance
    patterned = {row.hand for row in timing.uneven}
    if timing.lengths.patterns:
        return
    for even in timing.evenness:
        scattered = even.cv > tolerance.ragged_cv and even.sd_ms > tolerance.late_floor_ms
        if scattered and even.hand not in patterned:
            yield make_fault(
                context.excerpt,
                Cause.UNEVEN,
                FaultSpan(
                    onset_of(timing, even.first), onset_of(timing, even.last), Hands(even.hand)
                ),
                describe(Cause.UNEVEN, measure=SCATTERED_BY.format(cv=even.cv)),
                weight=SCATTERED_WEIGHT,
                size_ms=even.sd_ms,
            )


def _find_misread_pace(context: FaultContext) -> Iterator[Fault]:
    """A stretch at half or twice the speed."""
    timing, excerpt, pace = context.timing, context.excerpt, context.timing.lengths.pace
    if pace is None:
        return
    moments = timing.row[pace.first : pace.last + 1]
    hands = hands_of([hand.hand for moment in moments for hand in moment.hands])
    lengths = [b.onset_quarters - a.onset_quarters for a, b in pairwise(moments)]
    usual_quarters = min(lengths, key=lambda x: (-lengths.count(x), x))
    yield make_fault(
        excerpt,
        Cause.MISREAD_PACE,
        FaultSpan(moments[0].onset_quarters, moments[-1].onset_quarters, hands),
        describe_pace(usual_quarters, pace.ratio),
        size_ms=pace.late_s * 1000,
    )


def _find_wrong_proportions(context: FaultContext) -> Iterator[Fault]:
    """Figures of a kind that were played as others; of single ones what no such rule explains."""
    timing, excerpt = context.timing, context.excerpt
    patterns = timing.lengths.patterns
    for pattern in patterns:
        moments = [timing.row[i] for i in pattern.moments]
        both = hands_of([hand.hand for moment in moments for hand in moment.hands])
        yield make_fault(
            excerpt,
            Cause.WRONG_PROPORTIONS,
            FaultSpan(
                moments[0].onset_quarters,
                moments[-1].onset_quarters,
                Hands(pattern.hand) if pattern.hand else both,
            ),
            describe(Cause.WRONG_PROPORTIONS, figure=pattern.words),
            size_ms=pattern.late_s * 1000,
        )
    told = {moment for pattern in patterns for moment in pattern.moments}
    for figure in timing.figures:
        if figure.moment not in told:
            yield make_fault(
                excerpt,
                Cause.WRONG_PROPORTIONS,
                FaultSpan.at(onset_of(timing, figure.moment), figure.hand),
                describe(Cause.WRONG_PROPORTIONS, figure=figure.words),
                size_ms=figure.error_s * 1000,
            )


def _find_tempo_drift(context: FaultContext) -> Iterator[Fault]:
    """A tempo that rises or sinks over the whole; its onset is the last, where it got to."""
    timing, excerpt, drift = context.timing, context.excerpt, context.timing.tempo_drift
    if drift is None:
        return
    faster = drift.ratio > 1
    cause = Cause.TEMPO_DRIFT if faster else Cause.SLOWING_DOWN
    times = drift.ratio if faster else 1 / drift.ratio
    last = onset_of(timing, -1)
    fault = make_fault(
        excerpt,
        cause,
        FaultSpan(onset_of(timing, 1), last, excerpt.hands),
        describe(cause, times=f"{times:.1f}"),
        weight=weigh(cause, doubtful=not drift.sure),
    )
    yield replace(fault, onset_quarters=last, forgiven=not drift.sure)


def _find_off_click(context: FaultContext) -> Iterator[Fault]:
    """Stretches behind or ahead of the click.

    Not those with a hesitation: it is told already, and being behind is what came of it.
    """
    timing = context.timing
    paused = {pause.moment for pause in timing.pauses}
    paused |= {value.moment for value in timing.lengths.values if value.shift_s > 0}
    for run in timing.click.off if timing.click else ():
        if paused & set(range(run.first, run.last + 1)):
            continue
        moment = timing.row[run.first]
        hands = hands_of([hand.hand for hand in moment.hands])
        cause = Cause.BEHIND_THE_CLICK if run.error_s > 0 else Cause.AHEAD_OF_THE_CLICK
        yield make_fault(
            context.excerpt,
            cause,
            FaultSpan(moment.onset_quarters, onset_of(timing, run.last), hands),
            describe(cause, size=seconds(run.error_s)),
            weight=weigh(cause, size_s=run.error_s),
            size_ms=run.error_s * 1000,
        )


# A stop before an onset where this player stopped before: a hesitation there.


def find_stop_again(
    excerpt: Excerpt,
    labels: Sequence[ScoreLabel],
    before: Sequence[Fraction | None],
    found: Sequence[Fault],
) -> Fault | None:
    """A stop where the player stopped in one of the repetitions before: a hesitation there.

    One stop alone is a break, and tells nothing. A stop right after what went wrong is nothing but
    its end: whoever stops there has not tried the next move.
    """
    onset = stopped_before(excerpt, labels)
    if onset is None or onset not in before:
        return None
    end = max((at for at in excerpt.onsets_quarters if at < onset), default=onset)
    if any(fault.onset_quarters == end for fault in found):
        return None
    hands = hands_of([note.hand for note in excerpt.notes if note.onset_quarters == onset])
    words = describe(Cause.STOPPED_AGAIN)
    return make_fault(excerpt, Cause.STOPPED_AGAIN, FaultSpan.at(onset, hands), words)
