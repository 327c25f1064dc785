"""What is shown at a note: what is worse hides what is better; what is forgiven is not shown."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from typing import Any

from coach.judging.model import Cause, Family, Fault, Judgement, Label, ScoreLabel, Stage
from coach.score.model import Hands
from coach.score.window import Window, excerpt
from coach.screens.marks import MARK_SYMBOLS, MarkKind, marks_of
from tests.screenfakes import two_hands


def judged(*labels: Label, faults: tuple[Fault, ...] = ()) -> Judgement:
    part = excerpt(two_hands(), Window(F(0), F(4), Hands.RIGHT))
    score = tuple(ScoreLabel(i, label, i) for i, label in enumerate(labels))
    return Judgement(
        part, Stage.RHYTHM, score, (), None, (), faults, False, True, False, "Not clean."
    )


def fault(at: int, family: Family, **more: Any) -> Fault:
    part = excerpt(two_hands(), Window(F(0), F(4), Hands.RIGHT))
    move = part.transition_to(F(at), Hands.RIGHT)
    return Fault(move, F(at), family, 1.0, "", cause=Cause.HESITATION, **more)


def test_every_label_has_its_letter() -> None:
    marks = marks_of(judged(Label.MATCHED, Label.WRONG, Label.MISSED, Label.MATCHED))
    assert "".join(MARK_SYMBOLS[marks[i]].char for i in range(4)) == "=WM="


def test_letters_are_all_different() -> None:
    assert len({face.char for face in MARK_SYMBOLS.values()}) == len(MarkKind)


def test_a_late_note_is_late_and_an_early_one_early() -> None:
    both = (fault(1, Family.TIMING, size_ms=300.0), fault(2, Family.TIMING, size_ms=-200.0))
    marks = marks_of(judged(*[Label.MATCHED] * 4, faults=both))
    assert (marks[1], marks[2], marks[3]) == (MarkKind.LATE, MarkKind.EARLY, MarkKind.RIGHT)


def test_a_wrong_key_hides_its_lateness() -> None:
    late = (fault(1, Family.TIMING, size_ms=300.0),)
    marks = marks_of(judged(Label.MATCHED, Label.WRONG, faults=late))
    assert marks[1] is MarkKind.WRONG


def test_a_wrong_key_that_was_put_right_is_shown_at_the_note_it_stood_for() -> None:
    corrected = (fault(1, Family.PITCH, note=1),)
    assert marks_of(judged(*[Label.MATCHED] * 4, faults=corrected))[1] is MarkKind.WRONG


def test_what_is_forgiven_is_not_shown() -> None:
    late = (fault(1, Family.TIMING, size_ms=300.0, forgiven=True),)
    assert marks_of(judged(Label.MATCHED, Label.MATCHED, faults=late))[1] is MarkKind.RIGHT


def test_what_was_not_reached_has_no_mark() -> None:
    judgement = judged(Label.MATCHED, Label.MISSED)
    score = (judgement.score[0], judgement.score[1]._replace(reached=False))
    assert set(marks_of(replace(judgement, score=score))) == {0}
