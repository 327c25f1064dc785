"""Four lessons from beginning to end, line by line, as a teacher would lead them.

Each line is one thing that is asked for: how it was played (``.`` clean, ``x`` not), what it is,
and why. What a place does each time that it is met is written in the same signs.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction as F
from itertools import groupby
from random import Random
from textwrap import fill

import pytest

from coach.coaching.model import Assignment
from coach.coaching.wording import HANDS, stretch_words, tempo_words
from coach.score.model import Hand, Hands
from tests.lessons import Lesson, Weak

MOST = 80
"""A lesson with more repetitions than these has no end."""


@dataclass(frozen=True)
class Place(Weak):
    """A hand's arrival on a beat, or that of both at once, and what comes of it each time."""

    met: str = ""
    """``x.x``: wrong, right, wrong; right from then on."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "_to_come", iter(self.met))

    def fails(self, asked: Assignment, random: Random) -> bool:
        window = asked.window
        is_made = Hand(self.hand) in window.hands and (not self.only_together) | (
            window.hands is Hands.TOGETHER
        )
        is_inside = window.start_quarters < F(self.beat) <= window.end_quarters
        return is_made and is_inside and next(self._to_come, ".") == "x"  # type: ignore[attr-defined]


def told(weak: list[Weak]) -> str:
    """The lesson in lines, up to its end."""
    lesson, played = Lesson(weak), list[tuple[str, str]]()
    while not (lesson.decision.finished or lesson.decision.enough) and len(played) < MOST:
        asked = lesson.asked
        beat = lesson.score.bar_at(asked.window.start_quarters).metre.beat_quarters
        what = f"{HANDS[asked.window.hands]}, {stretch_words(lesson.score, asked.window)}"
        line = f"{what}, {tempo_words(asked.qpm, beat)}. {asked.reason}"
        played.append((line, "x."[lesson.plays().judgement.clean]))
    lines = [
        f"{''.join(sign for _, sign in some):<6} {line}"
        for line, some in groupby(played, key=lambda one: one[0])
    ]
    last = lesson.decision
    ends = [f"       {one}" for one in (*last.proposals, last.note) if one]
    return "\n".join(fill(one, 96, subsequent_indent=9 * " ") for one in [*lines, *ends])


A_SLIP = """
.      hands together, bars 1 to 4, at 96. Play it as you would, so that I hear where it breaks.
x      hands together, bars 1 to 4, at 96. It held: twice more like that.
.      hands together, bar 2, beats 1 to 4, at 96. Only this, once, so that I hear it: is it bar
         2, beat 2 → 3? From beat 1 to beat 4.
.      hands together, bar 2, beats 1 to 4, at 96. Only this, once more, to be sure: is it bar
         2, beat 2 → 3? From beat 1 to beat 4.
...    hands together, bars 1 to 4, at 96. That holds: the whole of it again.
.....  hands together, bar 2, beats 1 to 4, at 96. Clean; but it broke at bar 2 beat 3 before:
         that by itself, 5 times, to be sure.
.      hands together, bars 1 to 4, at 96. That holds: the whole of it, once more.
       It holds. A night's sleep does most for it now.
"""
"""It broke once, and was clean by itself. A teacher forgives a slip, but does not forget it: after
the clean run the place is played five times by itself, and the whole once more."""

ONE_HAND = """
x      hands together, bars 1 to 4, at 96. Play it as you would, so that I hear where it breaks.
x      left hand alone, bar 2, beats 1 to 4, at 96. Left hand alone, twice, so that I hear it:
         is it bar 2, beat 2 → 3? From beat 1 to beat 4.
xx     hands together, bars 1 to 4, at 96. All of it once more: is there another place?
.x..   left hand alone, bar 2, beats 1 to 3, at 69. LH bar 2, beat 2 → 3: at 69, twice running.
         Begin at beat 1.
.x     left hand alone, bar 2, beats 1 to 3, at 72. It holds: at 72.
..     left hand alone, bar 2, beats 1 to 3, at 72. Once more at 72, until it holds.
..     left hand alone, bar 2, beats 1 to 3, at 80. It holds: at 80.
...    left hand alone, bar 2, beats 1 to 3, at 96. It holds: at 96.
.      left hand alone, bar 2, at 96. It holds. A little more of it.
...    hands together, bar 2, beats 1 to 3, at 96. It holds. Hands together now, 3 times
         running.
.      hands together, bar 2, at 96. It holds. A little more of it.
.      hands together, bars 1 to 4, at 96. Back to the whole of it.
...    hands together, bar 2, beats 1 to 4, at 96. Clean; but it broke at bar 2 beat 3 before:
         that by itself, 3 times, to be sure.
..     hands together, bars 1 to 4, at 96. That holds: the whole of it, twice more.
       It holds. A night's sleep does most for it now.
       LH bar 2, beat 2 → 3: held today. Hear that first tomorrow.
"""
"""Named after four, in its own hand; slower, up again, then both hands, the bar, the whole. What
was mended is heard by itself between two of the whole: three clean ones tell little of one move."""

TOGETHER_ONLY = """
x      hands together, bars 1 to 4, at 96. Play it as you would, so that I hear where it breaks.
..     left hand alone, bar 2, beats 1 to 4, at 96. Left hand alone, twice, so that I hear it:
         is it bar 2, beat 2 → 3? From beat 1 to beat 4.
x      hands together, bar 2, beats 1 to 4, at 96. Only this, once, so that I hear it: is it bar
         2, beat 2 → 3? From beat 1 to beat 4.
x      hands together, bars 1 to 4, at 96. There it is: the whole of it again.
..     left hand alone, bar 2, beats 1 to 4, at 96. Left hand alone, twice, so that I hear it:
         is it bar 2, beat 2 → 3? From beat 1 to beat 4.
.x     hands together, bars 1 to 4, at 96. All of it once more: is there another place?
.x..... hands together, bar 2, beats 1 to 3, at 96. Both hands, bar 2, beat 2 → 3: at 96, 5
         times running. Begin at beat 1.
.      hands together, bar 2, at 96. It holds. A little more of it.
.      hands together, bars 1 to 4, at 96. Back to the whole of it.
...    hands together, bar 2, beats 1 to 4, at 96. Clean; but it broke at bar 2 beat 3 before:
         that by itself, 3 times, to be sure.
..     hands together, bars 1 to 4, at 96. That holds: the whole of it, twice more.
       It holds. A night's sleep does most for it now.
       Both hands, bar 2, beat 2 → 3: held today. Hear that first tomorrow.
"""
"""Alone the hand that failed is clean, time and again, and both together break: so it is not
drilled alone. What comes off alone once or twice may yet be that hand's own: alone is easier."""

TWO_PLACES = """
x      hands together, bars 1 to 4, at 96. Play it as you would, so that I hear where it breaks.
x      right hand alone, bar 2, beat 4 to bar 3, beat 3, at 96. Right hand alone, twice, so that
         I hear it: is it bar 3, beat 1 → 2? From bar 2, beat 4 to bar 3, beat 3.
x      hands together, bars 1 to 4, at 96. All of it once more: is there another place?
.x     left hand alone, bar 1, beat 2 to bar 2, beat 1, at 96. Left hand alone, twice, so that I
         hear it: is it bar 1, beat 3 → 4? From beat 2 to bar 2, beat 1.
x      hands together, bars 1 to 4, at 96. All of it once more: is there another place?
..     left hand alone, bar 1, beats 2 to 4, at 72. LH bar 1, beat 3 → 4: at 72, twice running.
         Begin at beat 2.
.      left hand alone, bar 1, beats 2 to 4, at 96. It holds: try it once at the tempo asked
         for.
..     left hand alone, bar 1, beats 2 to 4, at 96. Clean at tempo: hold it there.
.      left hand alone, bar 1, at 96. It holds. A little more of it.
.....  hands together, bar 1, beats 2 to 4, at 96. It holds. Hands together now, 5 times
         running.
.      hands together, bar 1, at 96. It holds. A little more of it.
.      hands together, bars 1 to 2, at 96. It holds. A little more of it.
.      hands together, bars 1 to 4, at 96. Back to the whole of it.
..     right hand alone, bar 2, beat 4 to bar 3, beat 2, at 72. It broke before, too. RH bar 3,
         beat 1 → 2: at 72, twice running. Begin at bar 2, beat 4.
.      right hand alone, bar 2, beat 4 to bar 3, beat 2, at 96. It holds: try it once at the
         tempo asked for.
..     right hand alone, bar 2, beat 4 to bar 3, beat 2, at 96. Clean at tempo: hold it there.
.      right hand alone, bar 3, at 96. It holds. A little more of it.
...    hands together, bar 2, beat 4 to bar 3, beat 2, at 96. It holds. Hands together now, 3
         times running.
.      hands together, bar 3, at 96. It holds. A little more of it.
.      hands together, bars 1 to 4, at 96. Back to the whole of it.
...    hands together, bar 1, beat 2 to bar 2, beat 1, at 96. Clean; but it broke at bar 1 beat
         4 before: that by itself, 3 times, to be sure.
.      hands together, bars 1 to 4, at 96. That holds: the whole of it, twice more.
...    hands together, bar 2, beat 4 to bar 3, beat 3, at 96. Clean; but it broke at bar 3 beat
         2 before: that by itself, 3 times, to be sure.
.      hands together, bars 1 to 4, at 96. That holds: the whole of it, once more.
       It holds. A night's sleep does most for it now.
       LH bar 1, beat 3 → 4 and RH bar 3, beat 1 → 2: held today. Hear that first tomorrow.
"""
"""The whole is heard until a third place is unlikely, for one may hide another. One is mended and
put back before the other is begun on, and both are heard by themselves at the end."""


@pytest.mark.parametrize(
    ("weak", "lesson"),
    [
        ([Place("LH", 6, met=".x")], A_SLIP),
        ([Place("LH", 6, met="xxxx.x...x")], ONE_HAND),
        ([Place("LH", 6, only_together=True, met="xxx.x.x")], TOGETHER_ONLY),
        ([Place("RH", 9, met="xxx"), Place("LH", 3, met=".x.xx")], TWO_PLACES),
    ],
    ids=["a slip", "one hand", "together only", "two places"],
)
def test_a_lesson_goes_as_a_teacher_would_lead_it(weak: list[Weak], lesson: str) -> None:
    assert told(weak) == lesson.strip("\n")
