"""The rules of common practice, as a teacher would hold the coach to them.

Each is marked with what it rests on; where nothing is named, it is the trade's common practice.
"""

import json
from dataclasses import replace
from fractions import Fraction as F
from itertools import pairwise
from random import Random
from typing import NamedTuple

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from coach.coaching.coach import Coach
from coach.coaching.model import Assignment, AssignmentKind, Decision, Goal, Request
from coach.coaching.practice.tempo import quicker, slower
from coach.drill import Drill
from coach.score.forms import WrittenForm
from coach.score.model import Hands
from coach.score.window import Excerpt, Window, excerpt
from tests.lessons import QPM, Lesson, Weak, is_smaller, piece, place, tempo_of

LESSONS = settings(max_examples=20, deadline=None, derandomize=True)


class Step(NamedTuple):
    """One repetition in a lesson: what was asked for, how it went, and what comes next."""

    asked: Assignment
    clean: bool
    decision: Decision
    view: Excerpt
    """Of what comes next."""

    @property
    def after(self) -> Assignment:
        return self.decision.assignment


Course = tuple[Lesson, list[Step]]
"""A lesson, and all that was played in it."""


def some_lesson(seed: int) -> Lesson:
    """Up to three weak places of all sorts, with slips or none, with or without a pickup."""
    random = Random(seed)
    weak = [
        Weak(
            random.choice(["RH", "LH"]),
            random.randrange(16),
            random.choice([0.4, 0.7, 1.0]),
            random.choice([0.0, 0.0, 60.0, 80.0]),
            random.random() < 0.25,
        )
        for _ in range(random.randrange(4))
    ]
    return Lesson(weak, random.choice([0.0, 0.1, 0.5]), seed, piece(pickup=seed % 2))


def walked(lesson: Lesson, repetitions: int = 25) -> list[Step]:
    steps = []
    for _ in range(repetitions):
        asked, clean = lesson.asked, lesson.plays().judgement.clean
        steps.append(Step(asked, clean, lesson.decision, lesson.drill.excerpt))
    return steps


def arrival(view: Excerpt) -> set[int]:
    """The pitches that a window ends with."""
    return {note.pitch for note in view.notes if note.onset_quarters == view.onsets_quarters[-1]}


LESSON = st.integers(0, 199).map(some_lesson)


@st.composite
def midway(draw: st.DrawFn) -> Lesson:
    """A lesson after some repetitions and perhaps a wish."""
    lesson = draw(LESSON)
    for _ in range(draw(st.integers(0, 12))):
        lesson.plays()
    for request in draw(st.lists(st.sampled_from(Request), max_size=2)):
        lesson.drill.ask(request, lesson.now_s)
    return lesson


@pytest.fixture(scope="module")
def courses() -> list[Course]:
    """Two dozen lessons, played through once for all the rules: (lesson, steps)."""
    lessons = [some_lesson(seed) for seed in range(24)]
    return [(lesson, walked(lesson)) for lesson in lessons]


class TestWhatIsAskedFor:
    def test_after_two_unclean_repetitions_something_changes(self, courses: list[Course]) -> None:
        """The same is never asked for a third time, for nothing."""
        for lesson, steps in courses:
            for one, two in pairwise(steps):
                if not one.clean and not two.clean and place(one.asked) == place(two.asked):
                    assert place(two.after) != place(two.asked), lesson

    def test_the_whole_that_cannot_be_had_twice_gets_smaller_or_slower(
        self, courses: list[Course]
    ) -> None:
        """Two in a row not to be had: it is too long or too fast."""
        for lesson, steps in courses:
            for one, two in pairwise(steps):
                if one.clean or two.clean or place(one.asked) != place(two.asked):
                    continue
                if two.asked.window == lesson.drill.goal.window:
                    smaller = is_smaller(two.after.window, two.asked.window)
                    assert smaller or tempo_of(two.after) < tempo_of(two.asked), lesson

    def test_the_tempo_never_rises_after_an_unclean_repetition(self, courses: list[Course]) -> None:
        """Of the same place: the keys alone have no tempo, so it is that of before them. What comes
        once a place was left for today is other music, without it, and has its own tempo."""
        for lesson, steps in courses:
            tempo = QPM
            for step in steps:
                tempo = step.asked.qpm or tempo
                if "for today" in step.after.reason and step.after.reason != step.asked.reason:
                    assert not step.after.window.contains(step.asked.window), lesson
                elif not step.clean and step.after.qpm is not None:
                    assert step.after.qpm <= tempo, lesson

    def test_nothing_is_ever_asked_for_below_half_the_tempo(self) -> None:
        """Also where one place after the other won't hold: the whole gets slower, they with it.
        Keys alone, without rhythm, have no tempo."""
        lesson = Lesson([Weak("RH", 3), Weak("LH", 10)])
        steps = walked(lesson, 60)
        tempi = [step.after.qpm for step in steps if step.after.qpm is not None]
        assert min(tempi) == QPM / 2

    def test_what_was_clean_twice_when_it_was_looked_into_is_not_asked_for_again(
        self, courses: list[Course]
    ) -> None:
        for lesson, steps in courses:
            for one, two in pairwise(steps):
                looked_into = "is it" in two.asked.reason and place(one.asked) == place(two.asked)
                if looked_into and one.clean and two.clean:
                    assert place(two.after) != place(two.asked), lesson

    def test_a_narrowing_keeps_the_note_arrived_at_and_a_run_up(
        self, courses: list[Course]
    ) -> None:
        """There is always somewhere to come from, and the arrival is in it. Where a window is asked
        for in another rhythm the arrival comes earlier or later, but it is the same notes."""
        for lesson, steps in courses:
            last = lesson.score.notes[-1].onset_quarters
            for step in steps:
                window, onsets = step.after.window, step.view.onsets_quarters
                assert len(onsets) >= 2, lesson
                written = excerpt(lesson.score, replace(window, form=WrittenForm.AS_WRITTEN))
                assert written.onsets_quarters[-1] >= min(window.end_quarters, last), lesson
                assert arrival(written) <= arrival(step.view), lesson

    def test_what_is_mended_is_played_with_its_departure(self, courses: list[Course]) -> None:
        """Of the named trouble: from the note before it, as soon as its hand plays it at all."""
        for lesson, steps in courses:
            for step in steps:
                window, trouble = step.after.window, step.decision.trouble
                if trouble is None or step.after.kind not in (
                    AssignmentKind.NARROW,
                    AssignmentKind.DRILL,
                ):
                    continue
                move = trouble.transition
                inside = window.start_quarters < move.to_quarters <= window.end_quarters
                if inside and move.hands.members <= window.hands.members:
                    assert window.start_quarters <= max(move.from_quarters, F(0)), lesson

    def test_a_pickup_belongs_to_its_bar(self, courses: list[Course]) -> None:
        for lesson, steps in courses:
            pickup, *bars = lesson.score.bars
            if pickup.is_pickup:
                windows = [step.after.window for step in steps]
                starts = [
                    w.start_quarters
                    for w in windows
                    if w.end_quarters in {bar.end_quarters for bar in bars}
                    and w.end_quarters - w.start_quarters >= bars[0].length_quarters
                ]
                assert pickup.end_quarters not in starts, lesson

    def test_nothing_is_said_to_hold_that_was_not_clean(self, courses: list[Course]) -> None:
        for lesson, steps in courses:
            for step in steps:
                if not step.clean:
                    assert not step.decision.finished, lesson
                    assert step.decision.clean_run == 0, lesson
                    if step.decision.changed:
                        assert step.after.kind is not AssignmentKind.QUICKEN, lesson
                        assert "It holds" not in step.after.reason, lesson

    def test_finished_is_the_whole_at_its_tempo_and_nothing_less(
        self, courses: list[Course]
    ) -> None:
        finished = [(lesson, s) for lesson, steps in courses for s in steps if s.decision.finished]
        assert finished
        for lesson, step in finished:
            assert place(step.asked) == (lesson.drill.goal.window, QPM), lesson
            assert step.decision.clean_run >= 3, lesson

    def test_whoever_can_play_everything_now_gets_to_the_end(self) -> None:
        """From any state, clean playing alone leads to the goal: no dead end, no loop."""
        for seed in range(16):
            lesson = some_lesson(seed)
            walked(lesson, 12)
            lesson.heals()
            lesson.until(lambda ended: ended.decision.finished, most=90)


def until_it_changes(lesson: Lesson, most: int) -> None:
    """Play on until something else is asked for, or the goal is reached."""
    first = place(lesson.asked)
    lesson.until(lambda ended: ended.decision.finished or place(lesson.asked) != first, most)


def test_half_clean_playing_is_made_easier_long_before_fourteen() -> None:
    """At p = .5 three running take 14 repetitions on average: (1 - p^r) / (p^r (1 - p))."""
    for seed in range(20):
        lesson = Lesson(slip=0.5, seed=seed)
        until_it_changes(lesson, most=13)


class TestNarrowing:
    """Smaller and smaller: bars, a bar, less than a bar, one hand, one transition."""

    def windows(self, lesson: Lesson) -> list[Window]:
        seen = [lesson.asked.window]
        while True:
            lesson.drill.ask(Request.SMALLER, lesson.now_s)
            if lesson.asked.window == seen[-1]:
                return seen
            seen.append(lesson.asked.window)

    def test_at_the_bottom_is_one_hand_and_one_transition(self) -> None:
        lesson = Lesson([Weak("LH", 6)])
        lesson.plays()
        bottom = self.windows(lesson)[-1]
        assert bottom.hands is Hands.LEFT
        assert (bottom.start_quarters, bottom.end_quarters) == (F(5), F(6))
        assert "as small as it gets" in lesson.asked.reason

    def test_every_step_is_smaller_and_half_a_bar_comes_below_a_bar(self) -> None:
        lesson = Lesson([Weak("LH", 6)])
        lesson.plays()
        lesson.drill.ask(Request.LARGER, lesson.now_s)
        seen = self.windows(lesson)
        assert all(is_smaller(after, before) for before, after in pairwise(seen))
        lengths = [w.end_quarters - w.start_quarters for w in seen if w.hands is Hands.TOGETHER]
        assert 4 in lengths
        assert min(lengths) <= 2
        assert lengths == sorted(lengths, reverse=True)


class TestMending:
    """One place that fails until it has been drilled: narrowed to, held, put back."""

    def to_the_drill(self, above_qpm: float = 0.0) -> Lesson:
        """A lesson in which the left hand's arrival on beat 3 of bar 2 is being drilled alone."""
        lesson = Lesson([Weak("LH", 6, above_qpm=above_qpm)])
        lesson.until(
            lambda _: (
                lesson.asked.window.hands is Hands.LEFT
                and lesson.decision.trouble is not None
                and lesson.asked.kind in (AssignmentKind.NARROW, AssignmentKind.DRILL)
            )
        )
        return lesson

    def test_it_is_named_and_drilled_in_its_hand_with_a_run_up(self) -> None:
        lesson = self.to_the_drill()
        assert lesson.decision.trouble
        assert lesson.decision.trouble.place == "LH bar 2, beat 2 → 3"
        window = lesson.asked.window
        assert (window.start_quarters, window.end_quarters) == (F(4), F(6))

    def test_hands_apart_are_followed_by_hands_together_at_the_same_tempo(self) -> None:
        """Hands separate finds and mends, then it is rejoined (the studies contradict each other:
        Scarlatti study, Percepta, for it; Brown 1933, from memory, against)."""
        lesson = self.to_the_drill()
        lesson.heals()
        while lesson.asked.window.hands is Hands.LEFT:
            tempo = lesson.asked.qpm
            lesson.plays()
        assert lesson.asked.window.hands is Hands.TOGETHER
        assert lesson.asked.qpm == tempo
        assert lesson.asked.window.end_quarters - lesson.asked.window.start_quarters <= 4

    def test_it_goes_back_step_by_step_each_wider_than_the_one_before(self) -> None:
        lesson = self.to_the_drill()
        lesson.heals()
        seen = [lesson.asked.window]
        while lesson.asked.window != lesson.drill.goal.window:
            lesson.plays()
            if lesson.asked.window != seen[-1]:
                seen.append(lesson.asked.window)
        assert len(seen) >= 3
        assert all(is_smaller(before, after) for before, after in pairwise(seen))

    def test_the_tempo_comes_back_by_single_marks_at_first(self) -> None:
        """After what held slowly, and a trial at tempo that fails, one mark more at most."""
        lesson = Lesson([Weak("LH", 6, above_qpm=70.0)])
        held = lesson.until(lambda _: lesson.asked.kind is AssignmentKind.TRIAL).assignment
        lesson.until(lambda _: lesson.asked.kind is not AssignmentKind.TRIAL)
        assert tempo_of(lesson.asked) <= quicker(tempo_of(held), F(1)) + 1e-6

    def test_a_relapse_goes_back_only_as_far_as_it_must(self) -> None:
        lesson = self.to_the_drill()
        lesson.heals()
        seen = [lesson.asked.window]
        while len(seen) < 4:
            lesson.plays()
            if lesson.asked.window != seen[-1]:
                seen.append(lesson.asked.window)
        broken = lesson.asked.window
        while lesson.asked.window == broken:
            lesson.plays(clean=False)
        assert lesson.asked.window == seen[-2]

    def test_a_mended_place_that_holds_lets_the_goal_be_reached(self) -> None:
        lesson = self.to_the_drill()
        lesson.heals()
        lesson.until(lambda ended: ended.decision.finished)

    def test_only_together_is_drilled_together(self) -> None:
        lesson = Lesson([Weak("LH", 6, only_together=True)])
        lesson.until(
            lambda _: (
                lesson.decision.trouble is not None
                and lesson.asked.window != lesson.drill.goal.window
                and lesson.asked.kind
                in (AssignmentKind.NARROW, AssignmentKind.DRILL, AssignmentKind.SLOWER)
                and lesson.asked.window.hands is Hands.TOGETHER
            )
        )
        assert lesson.decision.trouble
        assert lesson.decision.trouble.hands is Hands.TOGETHER


@pytest.mark.property
class TestThePianistIsInCharge:
    """What is asked for is given at once, from any state, and never argued with."""

    @LESSONS
    @given(midway())
    def test_smaller(self, lesson: Lesson) -> None:
        before = lesson.asked
        lesson.drill.ask(Request.SMALLER, lesson.now_s)
        after = lesson.asked
        if after.window == before.window:
            assert "as small as it gets" in after.reason
        else:
            assert is_smaller(after.window, before.window)

    @LESSONS
    @given(midway())
    def test_larger(self, lesson: Lesson) -> None:
        before = lesson.asked
        lesson.drill.ask(Request.LARGER, lesson.now_s)
        after = lesson.asked
        if after.window == before.window:
            assert before.window == lesson.drill.goal.window
        else:
            assert is_smaller(before.window, after.window)

    @LESSONS
    @given(midway())
    def test_slower(self, lesson: Lesson) -> None:
        before = lesson.asked
        lesson.drill.ask(Request.SLOWER, lesson.now_s)
        if before.qpm is None:  # keys alone, without rhythm: said, since nothing can be slower
            assert lesson.asked.qpm is None
            assert "own pace" in lesson.asked.reason
        else:
            assert tempo_of(lesson.asked) <= slower(before.qpm, F(1)) + 1e-6
        assert lesson.asked.window == before.window

    @LESSONS
    @given(midway())
    def test_faster(self, lesson: Lesson) -> None:
        before = lesson.asked
        lesson.drill.ask(Request.FASTER, lesson.now_s)
        if before.qpm is None:  # keys alone, without rhythm
            assert lesson.asked.qpm is None
            assert "own pace" in lesson.asked.reason
        else:
            assert tempo_of(lesson.asked) >= quicker(before.qpm, F(1)) - 1e-6
        assert lesson.asked.window == before.window

    @LESSONS
    @given(midway())
    def test_the_other_hand(self, lesson: Lesson) -> None:
        before = lesson.asked.window
        lesson.drill.ask(Request.OTHER_HAND, lesson.now_s)
        after = lesson.asked.window
        assert after.hands is not before.hands
        assert (after.start_quarters, after.end_quarters) == (
            before.start_quarters,
            before.end_quarters,
        )

    @LESSONS
    @given(midway())
    def test_again(self, lesson: Lesson) -> None:
        before = place(lesson.asked)
        lesson.drill.ask(Request.AGAIN, lesson.now_s)
        assert place(lesson.asked) == before
        assert lesson.decision.clean_run == 0

    @LESSONS
    @given(midway(), st.sampled_from([Request.NEXT, Request.NOT_THIS]))
    def test_not_this_but_the_next(self, lesson: Lesson, request_: Request) -> None:
        before, whole = lesson.asked.window, lesson.drill.goal.window
        lesson.drill.ask(request_, lesson.now_s)
        assert lesson.asked.window == whole or lesson.asked.window != before

    @LESSONS
    @given(midway(), st.sampled_from([Request.SMALLER, Request.SLOWER, Request.OTHER_HAND]))
    def test_the_wish_stands_until_it_has_been_played(
        self, lesson: Lesson, request_: Request
    ) -> None:
        """The coach does not take it back by itself: a first clean repetition is not the last."""
        before = place(lesson.asked)
        lesson.drill.ask(request_, lesson.now_s)
        wished = lesson.asked
        assume(place(wished) != before and wished.clean_required > 1)
        lesson.plays(clean=True)
        assert wished.qpm is None or tempo_of(lesson.asked) <= wished.qpm
        assert request_ is Request.SLOWER or lesson.asked.window == wished.window

    def test_what_is_declined_is_not_taken_up_again(self) -> None:
        lesson = Lesson([Weak("LH", 6)])
        lesson.until(lambda _: lesson.asked.window.hands is Hands.LEFT)
        lesson.until(lambda _: lesson.asked.kind in (AssignmentKind.NARROW, AssignmentKind.DRILL))
        narrow = lesson.asked.window
        lesson.drill.ask(Request.NOT_THIS, lesson.now_s)
        for _ in range(12):
            lesson.plays()
            assert lesson.asked.window != narrow

    def test_slower_is_slower_than_a_probe_that_is_slower_than_the_whole(self) -> None:
        score = piece(pickup=1)
        weak = [Weak("LH", 11, chance=0.4, above_qpm=80.0), Weak("RH", 11, only_together=True)]
        lesson = Lesson(weak, slip=0.1, seed=173, score=score)
        lesson.until(lambda _: lesson.asked.qpm == 69.0 and "alone, twice" in lesson.asked.reason)
        lesson.drill.ask(Request.SLOWER, lesson.now_s)
        assert lesson.asked.qpm == 63.0

    def test_a_wish_is_the_reason_until_it_breaks(self) -> None:
        lesson = Lesson()
        lesson.plays(clean=False)
        lesson.drill.ask(Request.SMALLER, lesson.now_s)
        said = [lesson.asked.reason]
        said += [lesson.plays(clean).decision.assignment.reason for clean in (True, False)]
        assert said == 2 * ["Smaller, as you asked."] + ["Once more at 96, until it holds."]
        lesson.drill.ask(Request.SLOWER, lesson.now_s)
        assert lesson.asked.reason == "As you asked."

    @pytest.mark.parametrize("is_resumed", [False, True])
    def test_what_is_gone_on_from_twice_is_not_taken_up_again(self, *, is_resumed: bool) -> None:
        """Once is to hear the whole; twice is a wish, and a pianist does not say it ten times."""
        lesson = Lesson([Weak("LH", 6)])
        lesson.until(lambda _: lesson.asked.kind in (AssignmentKind.NARROW, AssignmentKind.DRILL))
        lesson.drill.ask(Request.NEXT, lesson.now_s)
        lesson.plays(clean=True)
        lesson.until(lambda _: lesson.asked.kind in (AssignmentKind.NARROW, AssignmentKind.DRILL))
        if is_resumed:
            state = json.loads(json.dumps(lesson.drill.coach.state()))
            coach = Coach.resume(lesson.score, state, history=lesson.history, now_s=lesson.now_s)
            lesson.drill = Drill(lesson.score, lesson.drill.goal, coach=coach)
        lesson.drill.ask(Request.NEXT, lesson.now_s)
        assert lesson.asked.reason == "As you asked: that place is left alone today."
        asked = [lesson.asked.window]
        while not lesson.decision.finished and len(asked) < 12:
            asked.append(lesson.plays(clean=True).decision.assignment.window)
        assert set(asked) == {lesson.drill.goal.window}
        assert lesson.decision.finished

    @LESSONS
    @given(midway())
    def test_why_is_always_answered(self, lesson: Lesson) -> None:
        why = lesson.drill.coach.why()
        assert why.startswith(lesson.asked.reason)
        trouble = lesson.decision.trouble
        assert trouble is None or trouble.evidence in why


@pytest.mark.property
class TestStoppingAnywhere:
    @LESSONS
    @given(LESSON, st.integers(0, 15))
    def test_closed_and_opened_again_it_asks_for_the_same(
        self, lesson: Lesson, repetitions: int
    ) -> None:
        for _ in range(repetitions):
            lesson.plays()
        state = json.loads(json.dumps(lesson.drill.coach.state()))
        again = Coach.resume(lesson.score, state, history=lesson.history, now_s=lesson.now_s)
        before, after = lesson.decision, again.decision
        if before.assignment.kind is AssignmentKind.OTHER_WAY:  # it is of the moment: on as written
            ladder = lesson.drill.coach._runner.ladder
            assert ladder is not None
            assert place(after.assignment) == (ladder.window, ladder.tempo.now_qpm)
            assert after.clean_run == 0
            return
        assert place(after.assignment) == place(before.assignment)
        assert after.assignment.clean_required == before.assignment.clean_required
        assert after.assignment.stage == before.assignment.stage
        assert (after.clean_run, after.finished) == (before.clean_run, before.finished)
        assert again.goal == lesson.drill.goal

    @LESSONS
    @given(LESSON, st.integers(0, 15))
    def test_a_pause_changes_nothing(self, lesson: Lesson, repetitions: int) -> None:
        for _ in range(repetitions):
            lesson.plays()
        before = lesson.decision
        lesson.drill.pause(lesson.now_s + 1)
        lesson.drill.resume(lesson.now_s + 600)
        assert lesson.decision == before
        assert lesson.drill.excerpt == excerpt(lesson.score, before.assignment.window)

    def test_the_same_repetition_then_leads_to_the_same_decision(self) -> None:
        """Stopped in the middle of looking for a trouble, and of mending it."""
        for repetitions in range(8):
            lesson = Lesson([Weak("LH", 6)])
            for _ in range(repetitions):
                lesson.plays()
            other = Lesson([Weak("LH", 6)])
            state = json.loads(json.dumps(lesson.drill.coach.state()))
            resumed = Coach.resume(lesson.score, state, history=lesson.history, now_s=lesson.now_s)
            other.drill = Drill(lesson.score, lesson.drill.goal, coach=resumed)
            other.now_s = lesson.now_s
            lesson.plays()
            other.plays()
            assert place(other.asked) == place(lesson.asked), repetitions


def test_three_running_is_enough_unless_more_is_asked_for() -> None:
    """Rawson & Dunlosky (2011), JEP:General 140, 283-302: three correct at first, then relearn
    on later days. No published basis was found for five, seven or ten in a row. But in what was
    brought so that it is heard where it breaks, and never broke, the place was not found yet:
    that is listened to for longer (``tests/test_coach.py``)."""
    score = piece()
    assert Goal(Lesson().drill.goal.window, QPM).clean_required == 3
    for wanted in (1, 3, 7):
        goal = Goal(Lesson().drill.goal.window, QPM, clean_required=wanted, reason="Once more.")
        lesson = Lesson(score=score)
        lesson.drill = Drill(score, goal)
        counts = [lesson.plays().decision.finished for _ in range(wanted)]
        assert counts == [False] * (wanted - 1) + [True]
