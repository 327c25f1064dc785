"""What the coach says: each of its sentences comes up in a lesson."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction as F
from functools import cache

import pytest

from coach.coaching.model import AssignmentKind, PlanChange, Request, Trouble, TroubleKind
from coach.coaching.wording import (
    A_LITTLE_MORE,
    BACK_AS_WRITTEN,
    BREAK,
    CLEAN_AT_TEMPO,
    ENOUGH,
    ENOUGH_TODAY,
    HOLD_IT_THERE,
    HOLDS,
    NO_ONE_PLACE,
    NOW_HOLD_IT,
    WHOLE_AT_LAST,
    UntilBroken,
    check_words,
    on_with_all_words,
    together_words,
    trouble_lines,
    up_words,
)
from coach.drill import Drill, learn
from coach.score.model import Hands
from coach.score.window import Transition, Window
from tests.lessons import QPM, Lesson, Weak, piece

LESSONS: dict[str, Callable[[], Lesson]] = {
    "left hand fails on bar 2 beat 3": lambda: Lesson((Weak("LH", 6),)),
    "right hand fails on bar 3 beat 2 above 70": lambda: Lesson((Weak("RH", 9, above_qpm=70),)),
    "fails only hands together on bar 2 beat 2": lambda: Lesson(
        (Weak("RH", 5, only_together=True),)
    ),
    "slips here and there": lambda: Lesson(slip=0.9, seed=1),
    "slips every second time": lambda: Lesson(slip=0.6, seed=1),
    "slips now and then": lambda: Lesson(slip=0.2, seed=1),
    "nothing fails": Lesson,
    "learned bar by bar": lambda: learned(),
}  # fmt: skip
HEALS_AFTER = 25
"""Repetitions after which nothing fails any more."""


def learned() -> Lesson:
    """A piece of two bars that is new: its second breaks where it is read too fast."""
    lesson = Lesson([Weak("LH", 6, above_qpm=80, only_together=True)], score=piece(2))
    whole = Window(F(0), lesson.score.end_quarters)
    lesson.drill = Drill(lesson.score, learn(lesson.score, whole, qpm=QPM))
    return lesson


@cache
def said_in(name: str) -> frozenset[str]:
    """All that is said in a lesson: reasons, proposals, notes."""
    return frozenset(_say(LESSONS[name]()))


def _say(lesson: Lesson) -> Iterator[str]:
    for count in range(70):
        decision = lesson.drill.decision
        yield decision.assignment.reason
        yield from decision.proposals
        yield decision.note
        yield from (trouble.evidence for trouble in decision.troubles)
        lesson.plays()
        if count == HEALS_AFTER:
            lesson.heals()


LEFT, RIGHT, BOTH, SLIPS, OFTEN, FEW, NONE, BARS = (
    "left hand fails on bar 2 beat 3",
    "right hand fails on bar 3 beat 2 above 70",
    "fails only hands together on bar 2 beat 2",
    "slips here and there",
    "slips every second time",
    "slips now and then",
    "nothing fails",
    "learned bar by bar",
)
SAID = (
    ("Play it as you would, so that I hear where it breaks.", LEFT),
    (
        "Left hand alone, twice, so that I hear it: "
        "is it bar 2, beat 2 → 3? From beat 1 to beat 4.",
        LEFT,
    ),
    (
        "Only this, once, so that I hear it: is it bar 1, beat 2 → 3? From beat 1 to beat 4.",
        FEW,
    ),
    ("That holds: the whole of it again.", SLIPS),
    ("That may have been a slip: the whole of it again.", FEW),
    ("All of it once more: is there another place?", LEFT),
    ("LH bar 2, beat 2 → 3: at 69, twice running. Begin at beat 1.", LEFT),
    ("Both hands, bar 2, beat 1 → 2: at 80, twice running. Begin at bar 1, beat 4.", BOTH),
    ("At 48 until it holds.", LEFT),
    ("Smaller still.", LEFT),
    ("Another way: only the keys, one after the other, without rhythm.", LEFT),
    ("Another way: the same notes dotted, long and short.", LEFT),
    ("Now the other way round: short and long.", LEFT),
    ("Now as it is written.", LEFT),
    (
        "Leave LH bar 2, beat 2 → 3 for today: it gets no better now. "
        "Another day try another fingering, or its notes gathered into chords.",
        LEFT,
    ),
    ("Now on from there.", LEFT),
    (ENOUGH_TODAY.format(places="LH bar 2, beat 2 → 3"), LEFT),
    ("Once more at 48, until it holds.", LEFT),
    ("It holds. A little more of it.", RIGHT),
    ("It holds. Hands together now, twice running.", RIGHT),
    (
        "Clean; but it broke at bar 3 beat 2 before: that by itself, 3 times, to be sure.",
        RIGHT,
    ),
    ("That holds: the whole of it, twice more.", RIGHT),
    ("It holds: at 69.", RIGHT),
    ("It holds: try it once at the tempo asked for.", RIGHT),
    ("Too soon: at 69 until it holds.", RIGHT),
    ("Clean at tempo: hold it there.", BOTH),
    ("That is the tempo: now hold it.", SLIPS),
    ("Back to the whole of it.", RIGHT),
    ("It slips here and there: at 80.", SLIPS),
    ("New: bars 1 to 2. Read it hands together, in time, as slowly as you need.", BARS),
    ("Once more, slower if you like: was that a slip?", BARS),
    ("Bar 2, left hand alone: the right keys, at your own pace.", BARS),
    ("Bar 2, hands together, slowly.", BARS),
    ("Now bars 1 to 2 again, in one.", BARS),
    ("You have all its bars: now the whole of it.", BARS),
    (ENOUGH, NONE),
    (NO_ONE_PLACE, FEW),
    ("2 of the last 2: wrong at bar 2 beat 3, LH", LEFT),
    ("5 of the last 8: wrong at bar 2 beat 2, together", BOTH),
)
"""A sentence of the coach, and a lesson in which it comes up."""

ASKED = (
    ("Smaller, as you asked.", Request.SMALLER),
    ("This is all that you set out to play.", Request.LARGER),
    ("As you asked.", Request.SLOWER),
    ("As you asked.", Request.FASTER),
    ("As you asked.", Request.OTHER_HAND),
    ("There is nothing after this.", Request.NEXT),
    ("There is nothing else to play here.", Request.NOT_THIS),
)
PLANNED = (
    ("Bars 1 to 2, first reading comes first already.", PlanChange.EARLIER),
    ("Bars 1 to 2, first reading after bars 1 to 2.", PlanChange.LATER),
    ("Left out: bars 1 to 2, first reading.", PlanChange.LEAVE_OUT),
)
"""What is answered to a wish for another assignment, and to one about the first row of a plan."""


@pytest.mark.parametrize(("sentence", "lesson"), SAID)
def test_the_coach_says_it_in_a_lesson(sentence: str, lesson: str) -> None:
    assert sentence in said_in(lesson)


@pytest.mark.parametrize("lesson", LESSONS)
def test_nothing_in_a_lesson_is_told_by_a_fraction_or_begins_small(lesson: str) -> None:
    for sentence in said_in(lesson):
        assert not re.search(r"\d/\d", sentence)
        assert not sentence[:1].islower()


@pytest.mark.parametrize(("sentence", "request_"), ASKED)
def test_a_wish_is_answered(sentence: str, request_: Request) -> None:
    lesson = Lesson()
    lesson.plays()
    lesson.drill.ask(request_, lesson.now_s)
    assert lesson.drill.decision.assignment.reason == sentence


@pytest.mark.parametrize(("sentence", "change"), PLANNED)
def test_a_change_of_the_plan_is_answered(sentence: str, change: PlanChange) -> None:
    assert learned().drill.coach.change_plan(0, change) == sentence


def test_after_25_minutes_a_rest_is_proposed() -> None:
    lesson = Lesson()
    said: list[str] = []
    while lesson.now_s < 26 * 60:
        lesson.plays()
        lesson.now_s += 10
        said += lesson.drill.decision.proposals
    assert BREAK.format(minutes=25, rest="five minutes") in said


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        (TroubleKind.ONE_HAND, []),
        (TroubleKind.TOGETHER_ONLY, ["Each hand alone holds there."]),
        (TroubleKind.READING, ["The keys are right, but late: it may be the reading."]),
        (TroubleKind.REACH, ["It comes in time, beside the key: it may be the reach."]),
    ],
)
def test_a_named_place_is_told_with_what_it_rests_on_and_its_sort(
    kind: TroubleKind, said: list[str]
) -> None:
    move, evidence = Transition(Hands.RIGHT, F(1), F(2)), "2 of the last 3: wrong at beat 3, RH"
    trouble = Trouble(move, F(2), kind, 0.97, evidence, "RH bar 1, beat 2 → 3")
    named = ["It breaks: RH bar 1, beat 2 → 3", evidence]
    assert trouble_lines(trouble) == [*named, *said]
    assert trouble_lines(replace(trouble, open_hand=True)) == named  # whose it is, is open


OVER_ONCE_BROKEN = ("It holds", "It held", "That holds", "Clean", "That is the tempo")


def lapses(name: str) -> set[str]:
    """The reasons that something was asked for with, and no more once it broke there."""
    lesson, over = LESSONS[name](), set()
    for count in range(70):
        asked, reason = lesson.asked, lesson.decision.assignment.reason
        ended = lesson.plays()
        still = lesson.decision.assignment
        if not ended.judgement.clean and still.to_play == asked.to_play:
            assert not still.reason.startswith(OVER_ONCE_BROKEN), still.reason
            over |= {reason} if reason.startswith(OVER_ONCE_BROKEN) else set()
        if count == HEALS_AFTER:
            lesson.heals()
    return over


def test_that_it_held_is_no_reason_once_it_broke() -> None:
    over = set[str]().union(*map(lapses, LESSONS))
    assert {"It holds: at 72.", "That holds: the whole of it again."} <= over


@pytest.mark.parametrize(
    "reason",
    [
        A_LITTLE_MORE,
        BACK_AS_WRITTEN,
        CLEAN_AT_TEMPO,
        HOLDS,
        HOLD_IT_THERE,
        NOW_HOLD_IT,
        WHOLE_AT_LAST,
        check_words("bar 2 beat 1", 5),
        on_with_all_words(2),
        together_words(2),
        up_words(AssignmentKind.QUICKEN, "at 72"),
        up_words(AssignmentKind.TRIAL, "at 72"),
    ],
)
def test_each_sentence_that_says_so_knows_it(reason: str) -> None:
    assert isinstance(reason, UntilBroken)
