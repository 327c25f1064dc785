"""A judgement as plain data, for the record, the command line and other programs."""

from __future__ import annotations

from coach.judging.model import Fault, Judgement, PlayedLabel, ScoreLabel, TransitionResult
from coach.score.window import Transition


def judgement_to_plain(judgement: Judgement) -> dict[str, object]:
    """JSON-ready: strings, numbers, booleans, lists and dicts only.

    Positions are in quarters from the piece's start, as exact fractions in text ("7/2").
    """
    return {
        "stage": judgement.stage.value,
        "is_repetition": judgement.is_repetition,
        "clean": judgement.clean,
        "complete": judgement.complete,
        "unsure": judgement.unsure,
        "why": judgement.sentence,
        "details": list(judgement.details),
        "notices": list(judgement.notices),
        "qpm": _round(judgement.qpm, 2),
        "offset_ms": _round(judgement.offset_ms, 1),
        "notes": [_score_note(judgement, label) for label in judgement.score],
        "played": [_played_note(judgement, label) for label in judgement.played],
        "transitions": [_result(result) for result in judgement.transitions],
        "faults": [_fault(judgement, fault) for fault in judgement.faults],
    }


def _score_note(judgement: Judgement, label: ScoreLabel) -> dict[str, object]:
    note = judgement.excerpt.notes[label.note]
    return {
        "id": note.id,
        "pitch": note.pitch,
        "name": note.spelling.symbol,
        "onset_quarters": str(note.onset_quarters),
        "hand": note.hand.value,
        "label": label.label.value,
        "played": label.played,
        "reached": label.reached,
        "error_ms": _round(label.error_ms, 1),
        "error_beats": _round(label.error_beats, 3),
    }


def _played_note(judgement: Judgement, label: PlayedLabel) -> dict[str, object]:
    note = None if label.note is None else judgement.excerpt.notes[label.note].id
    hand = None if label.hand is None else label.hand.value
    return {"played": label.played, "label": label.label.value, "note": note, "hand": hand}


def _transition(transition: Transition) -> dict[str, object]:
    return {
        "hands": transition.hands.value,
        "from_quarters": str(transition.from_quarters),
        "to_quarters": str(transition.to_quarters),
    }


def _result(result: TransitionResult) -> dict[str, object]:
    return {
        **_transition(result.transition),
        "outcome": result.outcome.value,
        "error_ms": _round(result.error_ms, 1),
        "note": result.note,
    }


def _fault(judgement: Judgement, fault: Fault) -> dict[str, object]:
    return {
        **_transition(fault.transition),
        "onset_quarters": str(fault.onset_quarters),
        "from_beat": fault.from_beat,
        "to_beat": fault.to_beat,
        "family": fault.family.value,
        "cause": fault.cause.value,
        "words": fault.words,
        "weight": _round(fault.weight, 3),
        "size_ms": _round(fault.size_ms, 1),
        "note": None if fault.note is None else judgement.excerpt.notes[fault.note].id,
        "forgiven": fault.forgiven,
    }


def _round(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
