"""Facts to the record's rows, and back."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from fractions import Fraction
from functools import lru_cache
from typing import Any

from coach.coaching.facts import Observation
from coach.coaching.observing import observations
from coach.coaching.outcomes import RepetitionEnded
from coach.coaching.plain import assignment_to_plain, trouble_to_plain
from coach.judging.facts import Fault, Judgement, Label, Outcome
from coach.score.model import Hands
from coach.score.window import Transition

Row = dict[str, Any]


def repetition_row(ended: RepetitionEnded, at_s: float) -> Row:
    """The repetition itself: what was asked for, what it was worth, what followed."""
    asked, judgement = ended.assignment, ended.judgement
    window = judgement.excerpt.window
    return {
        "at_s": at_s,
        "start_quarters": str(window.start_quarters),
        "end_quarters": str(window.end_quarters),
        "landing": window.landing,
        "hands": window.hands.value,
        "asked_qpm": asked.qpm,
        "stage": judgement.stage.value,
        "clean_required": asked.clean_required,
        "kind": asked.kind.value,
        "click": asked.click,
        "reason": asked.reason,
        "clean": judgement.clean,
        "complete": judgement.complete,
        "unsure": judgement.unsure,
        "qpm": judgement.qpm,
        "offset_ms": judgement.offset_ms,
        "sentence": judgement.sentence,
        "missed": json.dumps(_missed(judgement)),
        "faults": json.dumps([_fault(fault) for fault in judgement.faults]),
        "decision": json.dumps(_decision(ended)),
    }


def note_rows(ended: RepetitionEnded) -> Iterator[Row]:
    """Each key struck, and what it was judged to be."""
    labels = {label.played: label for label in ended.judgement.played}
    errors = {label.played: label.error_ms for label in ended.judgement.score}
    for n, note in enumerate(ended.take.notes):
        label = labels.get(n)
        yield {
            "n": n,
            "pitch": note.pitch,
            "velocity": note.velocity,
            "onset_s": note.onset_s,
            "length_s": note.length_s,
            "label": label and label.label.value,
            "score_note": label and label.note,
            "hand": label and label.hand and label.hand.value,
            "error_ms": errors.get(n),
        }


def pedal_rows(ended: RepetitionEnded) -> Iterator[Row]:
    """Each move of a pedal."""
    for n, move in enumerate(ended.take.pedals):
        yield {"n": n, "controller": move.controller, "value": move.value, "at_s": move.at_s}


def observation_rows(ended: RepetitionEnded, at_s: float) -> Iterator[Row]:
    """What happened in each transition of each hand."""
    for n, seen in enumerate(observations(ended.judgement, at_s)):
        yield {
            "n": n,
            "hand": seen.transition.hands.value,
            "from_quarters": str(seen.transition.from_quarters),
            "to_quarters": str(seen.transition.to_quarters),
            "onset_quarters": str(seen.onset_quarters),
            "outcome": seen.outcome.value,
            "error_ms": seen.error_ms,
            "hears_late": seen.hears_late,
        }


HISTORY = """
SELECT r.at_s, o.hand, o.from_quarters, o.to_quarters, o.onset_quarters, r.hands, o.outcome,
       r.qpm, o.error_ms, o.hears_late
FROM repetition r JOIN observation o ON o.repetition_id = r.id
WHERE r.piece_id = ? AND r.at_s >= ? ORDER BY r.at_s DESC, r.id DESC, o.n DESC LIMIT ?
"""
"""The newest first, so that a long record can be cut short; -1 is no limit."""


def history(rows: Iterable[tuple[Any, ...]]) -> Iterator[Observation]:
    """The rows of :data:`HISTORY` as observations."""
    for at_s, hand, start, end, onset, hands, outcome, qpm, error_ms, hears_late in rows:
        yield Observation(
            at_s,
            _transition(hand, start, end),
            _quarters(onset),
            _HANDS[hands],
            _OUTCOMES[outcome],
            qpm,
            error_ms,
            hears_late,
        )


_HANDS = {hands.value: hands for hands in Hands}
_OUTCOMES = {outcome.value: outcome for outcome in Outcome}


# A long history names the same few places over and over.
@lru_cache(maxsize=1 << 16)
def _quarters(text: str) -> Fraction:
    return Fraction(text)


@lru_cache(maxsize=1 << 16)
def _transition(hand: str, start: str, end: str) -> Transition:
    return Transition(_HANDS[hand], _quarters(start), _quarters(end))


def _missed(judgement: Judgement) -> list[int]:
    return [label.note for label in judgement.score if label.label is Label.MISSED]


def _fault(fault: Fault) -> Row:
    return {
        "hands": fault.hands.value,
        "from_quarters": str(fault.transition.from_quarters),
        "to_quarters": str(fault.transition.to_quarters),
        "onset_quarters": str(fault.onset_quarters),
        "family": fault.family.value,
        "cause": fault.cause,
        "words": fault.words,
        "weight": fault.weight,
        "size_ms": fault.size_ms,
        "note": fault.note,
        "forgiven": fault.forgiven,
    }


def _decision(ended: RepetitionEnded) -> Row:
    decision = ended.decision
    return {
        "changed": decision.changed,
        "clean_run": decision.clean_run,
        "finished": decision.finished,
        "trouble": decision.trouble and trouble_to_plain(decision.trouble),
        "assignment": assignment_to_plain(decision.assignment) if decision.changed else None,
        "note": decision.note,
    }
