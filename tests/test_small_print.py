"""Small print: played in its own time, and no fault where it is left out."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from coach.judging.judge import judge
from coach.judging.model import Label, Stage
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import NoteMark, Score
from coach.score.window import Excerpt, Window, excerpt
from tests.judging_help import tune

SMALL = range(4, 8)


def cadenza() -> Excerpt:
    """Eight quarters, of which the fifth to the eighth are in small print, and a last note."""
    score: Score = score_from_notes(tune(9, Fraction(1)), metre="4/4")
    notes = tuple(
        replace(note, marks=frozenset({NoteMark.SMALL_PRINT})) if at in SMALL else note
        for at, note in enumerate(score.notes)
    )
    score = replace(score, notes=notes)
    return excerpt(score, Window(Fraction(0), score.end_quarters))


def played(part: Excerpt, left_out: range = range(0), hurried: float = 1.0) -> list[PlayedNote]:
    """At 60, the small notes so many times as fast."""
    out, at_s = [], 1.0
    for at, note in enumerate(part.notes):
        if at not in left_out:
            out.append(PlayedNote(note.pitch, 60, at_s, 0.3))
            at_s += 1.0 / hurried if at in SMALL else 1.0
        elif not left_out:
            at_s += 1.0
    return out


def test_small_print_that_is_left_out_is_no_fault() -> None:
    part = cadenza()
    verdict = judge(part, played(part, left_out=SMALL), stage=Stage.NOTES)
    assert verdict.clean, verdict.details
    missed = [one.note for one in verdict.score if one.label is Label.MISSED]
    assert missed == list(SMALL)
    assert not any(one.reached for one in verdict.score if one.note in missed)


def test_another_note_that_is_left_out_is_one() -> None:
    part = cadenza()
    assert not judge(part, played(part, left_out=range(2, 3)), stage=Stage.NOTES).clean


def test_small_print_is_played_in_its_own_time() -> None:
    part = cadenza()
    for hurried in (1.0, 2.5):
        verdict = judge(part, played(part, hurried=hurried), stage=Stage.RHYTHM)
        assert verdict.clean, (hurried, verdict.sentence)


def test_a_wrong_key_in_small_print_is_a_wrong_key() -> None:
    part = cadenza()
    notes = played(part)
    notes[5] = replace(notes[5], pitch=notes[5].pitch + 1)
    assert not judge(part, notes, stage=Stage.NOTES).clean
