"""The verdict: clean or not at this stage, and the sentence that says why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from coach.judging.facts import Family, Fault, Stage
from coach.score.model import Hands, beat_words
from coach.score.window import Excerpt

MOST_WORDS = 12
"""A sentence of more is not read in a glance (the issue's own figure)."""

_ASKED: dict[Stage, frozenset[Family]] = {
    Stage.NOTES: frozenset({Family.PITCH, Family.MISSING, Family.EXTRA, Family.REPEAT}),
}
_ASKED[Stage.RHYTHM] = _ASKED[Stage.NOTES] | {Family.TIMING, Family.TEMPO}
_ASKED[Stage.PULSE] = _ASKED[Stage.RHYTHM]
_ASKED[Stage.TEMPO] = _ASKED[Stage.PULSE]
_ASKED[Stage.SHAPE] = _ASKED[Stage.TEMPO] | {Family.RELEASE}


def at_stage(faults: Sequence[Fault], stage: Stage) -> tuple[Fault, ...]:
    """Faults that the stage asks for as they are, the others forgiven and last."""
    asked = _ASKED[stage]
    told = [fault if fault.family in asked else replace(fault, forgiven=True) for fault in faults]
    return tuple(sorted(told, key=lambda fault: fault.forgiven))


def is_clean(faults: Sequence[Fault], complete: bool) -> bool:
    """Reached the end with nothing that the stage asks for amiss."""
    return complete and not any(not fault.forgiven for fault in faults)


def fault_words(excerpt: Excerpt, fault: Fault) -> str:
    """One fault with its hand and place: ``LH late to beat 2 (0.4 s)``."""
    hand = "" if fault.hands is Hands.TOGETHER else f"{fault.hands.value} "
    if fault.family in (Family.TIMING,) and fault.words.startswith(("late", "early")):
        head, _, size = fault.words.partition(" ")
        return f"{hand}{head} to {place(excerpt, fault.onset_quarters)} {size}"
    return f"{hand}{fault.words} at {place(excerpt, fault.onset_quarters)}"


def place(excerpt: Excerpt, onset: Fraction) -> str:
    """``beat 2``, counted in the window."""
    beat = Fraction(excerpt.beat_of(onset)).limit_denominator(48) + 1
    return f"beat {beat_words(beat)}"


def sentence(excerpt: Excerpt, faults: Sequence[Fault], clean: bool, complete: bool) -> str:
    """At most twelve words, the most important thing first."""
    if clean:
        return "Clean"
    told = [fault_words(excerpt, fault) for fault in faults if not fault.forgiven]
    if not complete:
        told.append("not played to the end")
    out: list[str] = []
    for words in told:
        if len(" ".join([*out, words]).split()) > MOST_WORDS:
            break
        out.append(words)
    text = "; ".join(out) if out else told[0]
    return text[0].upper() + text[1:]
