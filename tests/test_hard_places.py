"""A place that won't come: other ways of practising it, leaving it, and its coming back."""

from __future__ import annotations

from fractions import Fraction as F
from itertools import pairwise

import pytest

from coach.coaching.coach import Coach
from coach.coaching.model import AssignmentKind, Exercise, Request, TroubleKind
from coach.coaching.practice.exercises import choose_exercise
from coach.coaching.practice.patience import PlaceWork
from coach.coaching.practice.tempo import TempoLadder, quicker, slower
from coach.coaching.windows import PracticeMap
from coach.coaching.wording import STAYING, tempo_words
from coach.drill import Drill, repair
from coach.playing.notes import PlayedNote
from coach.score.counting import counted_quarters
from coach.score.forms import WrittenForm
from coach.score.model import Hands
from coach.score.window import Transition, Window
from tests.lessons import QPM, Lesson, Weak, piece, place, tempo_of

NEVER = (Weak("LH", 6),)


def left_lesson() -> Lesson:
    """A lesson up to the moment when the place is left."""
    lesson = Lesson(NEVER)
    lesson.until(lambda ended: "for today" in ended.decision.assignment.reason)
    return lesson


class TestAnEnd:
    def test_a_place_that_never_comes_is_left_with_what_to_try(self) -> None:
        lesson = left_lesson()
        assert "Another day try another fingering" in lesson.asked.reason
        assert lesson.drill.coach._runner.ladder is None

    def test_what_is_asked_for_then_does_not_make_the_move_that_was_left(self) -> None:
        lesson = left_lesson()
        while not lesson.decision.enough:
            window = lesson.asked.window
            assert window.end_quarters <= 5 or window.start_quarters >= 6
            lesson.plays()

    def test_of_two_neighbouring_places_that_were_left_neither_is_asked_for_again(self) -> None:
        lesson = Lesson((Weak("LH", 6), Weak("LH", 7)))
        lesson.until(lambda ended: ended.decision.enough)
        left = [one.transition.to_quarters for one in lesson.drill.coach._left]
        assert sorted(left) == [6, 7]

    def test_the_session_says_when_enough_has_been_done_and_that_is_no_goal(self) -> None:
        lesson = left_lesson()
        ended = lesson.until(lambda ended: ended.decision.enough)
        (said,) = ended.decision.proposals
        assert said.startswith("That is enough for today: all but LH bar 2, beat 2 → 3 holds.")
        assert not ended.decision.finished
        assert lesson.plays().decision.proposals == ()

    def test_it_is_practised_in_other_ways_before_it_is_left(self) -> None:
        lesson, kinds = Lesson(NEVER), []
        while "for today" not in lesson.asked.reason:
            kinds.append((lesson.asked.kind, lesson.asked.window.form))
            lesson.plays()
        assert (AssignmentKind.OTHER_WAY, WrittenForm.AS_WRITTEN) in kinds
        assert (AssignmentKind.OTHER_WAY, WrittenForm.DOTTED) in kinds

    def test_what_fails_at_its_easiest_in_every_way_is_left_and_not_asked_for_again(self) -> None:
        """Also where some of the exercises came off: as it is written it came no better."""
        lesson, running = Lesson([Weak("LH", 6)]), 0
        lesson.until(lambda ended: lesson.asked.window.form is WrittenForm.DOTTED)
        while "for today" not in lesson.asked.reason:
            before, is_exercise = lesson.asked, lesson.asked.kind is AssignmentKind.OTHER_WAY
            lesson.plays(clean=is_exercise)
            same = before.to_play == lesson.asked.to_play and not is_exercise
            running = running + 1 if same else 0
            assert running < 2, lesson.asked.reason

    def test_it_is_left_also_where_only_clean_ones_could_be_told(self) -> None:
        """All others were so unclear that they counted for nothing: else it would never end."""
        lesson = Lesson([Weak("LH", 6)])
        lesson.until(lambda ended: lesson.drill.coach._runner.ladder is not None)
        runner = lesson.drill.coach._runner
        assert runner.ladder is not None
        runner.repair.work_at(runner.ladder).tries = 18
        lesson.plays(clean=True)
        assert lesson.asked.reason.startswith("Leave LH bar 2, beat 2 → 3 for today")

    def test_two_unclean_ones_running_end_an_exercise(self) -> None:
        lesson = Lesson(NEVER)
        lesson.until(lambda ended: lesson.asked.kind is AssignmentKind.OTHER_WAY)
        lesson.plays(clean=False)
        assert lesson.asked.kind is AssignmentKind.OTHER_WAY
        lesson.plays(clean=False)
        assert lesson.asked.reason == "Now as it is written."

    def test_the_third_repetition_of_an_exercise_is_its_last(self) -> None:
        """Its use is the change, and not that it holds."""
        lesson = Lesson(NEVER)
        lesson.until(lambda ended: lesson.asked.kind is AssignmentKind.OTHER_WAY)
        for clean in (True, False):
            lesson.plays(clean=clean)
            assert lesson.asked.kind is AssignmentKind.OTHER_WAY
        lesson.plays(clean=True)
        assert lesson.asked.reason == "Now as it is written."

    def test_the_print_is_wrong_where_it_is_asked_for_dotted(self) -> None:
        lesson = Lesson(NEVER)
        lesson.until(lambda ended: lesson.asked.window.form is WrittenForm.DOTTED)
        asked = lesson.drill.excerpt
        lesson.heals()
        assert lesson.plays().judgement.clean
        plain = Lesson()
        plain.drill = lesson.drill
        plain.now_s = lesson.now_s + 10
        onsets = [round(note.onset_quarters) for note in asked.notes]
        assert onsets != [note.onset_quarters for note in asked.notes]

    def test_a_dotted_repetition_is_no_evidence_of_the_move_as_written(self) -> None:
        lesson = Lesson(NEVER)
        lesson.until(lambda ended: lesson.asked.window.form is WrittenForm.DOTTED)
        before = lesson.drill.coach.evidence.counts_at(F(6)).failed
        assert lesson.plays().observed == ()
        assert lesson.drill.coach.evidence.counts_at(F(6)).failed == before

    @pytest.mark.parametrize("is_left", [True, False])
    def test_it_stays_left_to_the_end_of_the_day_and_is_asked_for_on_another(
        self, is_left: bool
    ) -> None:
        """However long the pause: an evening after a morning is still the same day."""
        lesson = left_lesson()
        state = lesson.drill.coach.state()
        later_s = lesson.now_s + 10 * 3600.0
        began_s = 0.0 if is_left else lesson.now_s + 1.0
        coach = Coach.resume(lesson.score, state, now_s=later_s, today_began_s=began_s)
        again = Drill(lesson.score, coach.goal, coach=coach)
        window = again.assignment.window
        assert (window.end_quarters <= 5 or window.start_quarters >= 6) is is_left


class TestPatience:
    def test_eighteen_without_gain_end_it_and_twelve_unclean_running(self) -> None:
        work = PlaceWork()
        for number in range(17):
            work.count(0.0, clean=number % 3 == 0, as_written=True)
        assert not work.is_over
        work.count(0.0, clean=False, as_written=True)
        assert work.is_over
        work = PlaceWork()
        for _ in range(11):
            work.count(0.0, clean=False, as_written=True)
        assert not work.is_over
        work.count(0.0, clean=False, as_written=True)
        assert work.is_over

    def test_six_minutes_without_gain_end_it_and_a_long_pause_is_none_of_them(self) -> None:
        work = PlaceWork()
        for number in range(12):
            work.count(29.0 * number, clean=number % 2 == 0, as_written=True)
        assert not work.is_over
        for number in range(12, 15):
            work.count(29.0 * number, clean=number % 2 == 0, as_written=True)
        assert work.is_over
        talked = PlaceWork()
        for number in range(12):
            talked.count(600.0 * number, clean=number % 2 == 0, as_written=True)
        assert not talked.is_over

    def test_twelve_minutes_end_it_gain_or_not_and_never_before_nine_tries(self) -> None:
        for wait_s, is_over in ((29.0, False), (30.0, True)):
            work = PlaceWork(in_all_s=690.0, tries=8, last_s=0.0)
            work.count(wait_s, clean=False, as_written=True)
            assert work.is_over is is_over
        work = PlaceWork(in_all_s=720.0)
        for _ in range(8):
            work.count(0.0, clean=False, as_written=True)
        assert not work.is_over
        work.count(0.0, clean=False, as_written=True)
        assert work.is_over

    def test_a_rise_of_the_chance_by_a_twentieth_is_a_gain(self) -> None:
        work = PlaceWork()
        for chance, tries in ((0.5, 1), (0.54, 2), (0.56, 0)):
            work.count(0.0, clean=False, as_written=True)
            work.hear_chance(1, chance)
            assert work.tries == tries

    def test_a_tempo_that_held_for_the_first_time_is_a_gain_and_an_older_one_none(self) -> None:
        work = PlaceWork()
        for share, tries in ((0.6, 0), (0.6, 1), (0.7, 0)):
            work.count(0.0, clean=True, as_written=True)
            work.hear_hold(1, share)
            assert work.tries == tries

    def test_another_way_comes_after_six_and_after_three_where_it_was_said_to_be_hard(self) -> None:
        for is_hard, after in ((False, 6), (True, 3)):
            work = PlaceWork(is_hard=is_hard)
            for _ in range(after - 1):
                work.count(0.0, clean=False, as_written=True)
            assert not work.wants_another_way
            work.count(0.0, clean=False, as_written=True)
            assert work.wants_another_way
            work.slowed = True  # that was a way, too
            assert not work.wants_another_way

    def test_a_clock_that_is_put_back_takes_no_time_away(self) -> None:
        work = PlaceWork()
        for at_s in (100.0, 130.0, 70.0):
            work.count(at_s, clean=False, as_written=True)
        assert (work.since_gain_s, work.in_all_s) == (30.0, 30.0)


class TestExercises:
    def test_a_leap_is_gripped_first_and_what_can_t_be_gripped_is_read(self) -> None:
        score = piece()
        window = Window(F(0), F(4), Hands.LEFT)
        practice_map = PracticeMap(score, Window(F(0), score.end_quarters))
        chosen = choose_exercise(practice_map, (window,), TroubleKind.REACH, ())
        assert chosen == (Exercise.NOTES, window)  # quarters: no chord to a beat
        chosen = choose_exercise(practice_map, (window,), None, (Exercise.NOTES,))
        assert chosen == (Exercise.DOTTED, window)

    def test_slower_comes_before_another_way(self) -> None:
        """Where both hands fail now and then at full tempo, and never twice running."""
        lesson = Lesson()
        lesson.plays()
        runner = lesson.drill.coach._runner
        move = Transition(Hands.TOGETHER, F(5), F(6))
        runner._assign(runner.repair.open_worst(move, runner.new_repair_tempo()))
        kinds = []
        for number in range(14):
            kinds.append(lesson.plays(clean=number % 2 == 0).decision.assignment.kind)
        slower, other = kinds.index(AssignmentKind.SLOWER), AssignmentKind.OTHER_WAY
        assert other not in kinds[:slower]
        assert runner.repair.works[F(6)].slowed

    def test_none_is_left_when_all_were_used(self) -> None:
        score = piece()
        practice_map = PracticeMap(score, Window(F(0), score.end_quarters))
        window = Window(F(0), F(4), Hands.LEFT)
        assert choose_exercise(practice_map, (window,), None, tuple(Exercise)) is None


class TestWishes:
    def test_this_is_hard_is_answered_with_another_way(self) -> None:
        lesson = Lesson(NEVER)
        lesson.until(lambda ended: lesson.drill.coach._runner.ladder is not None)
        lesson.drill.ask(Request.HARD, lesson.now_s)
        assert lesson.asked.kind is AssignmentKind.OTHER_WAY
        assert lesson.asked.clean_required == 2
        assert lesson.drill.coach._runner.repair.works[F(6)].is_hard

    def test_this_is_hard_leaves_the_other_ways_tempo_alone(self) -> None:
        """Only where no way is left is it answered with a slower tempo."""
        lesson = Lesson(NEVER)
        lesson.until(lambda ended: lesson.drill.coach._runner.ladder is not None)
        runner = lesson.drill.coach._runner
        assert runner.ladder is not None
        runner.repair.work_at(runner.ladder).used.append(Exercise.NOTES)
        tempo_qpm = tempo_of(lesson.asked)
        lesson.drill.ask(Request.HARD, lesson.now_s)
        assert lesson.asked.window.form is WrittenForm.DOTTED
        assert lesson.asked.qpm == pytest.approx(0.8 * tempo_qpm)

    @pytest.mark.parametrize("request_", [Request.SLOWER, Request.FASTER])
    def test_an_exercise_gets_slower_and_quicker_itself(self, request_: Request) -> None:
        """And stays that exercise, though the place is taken at another tempo as it is written."""
        lesson = Lesson(NEVER)
        lesson.until(lambda ended: lesson.asked.window.form is WrittenForm.DOTTED)
        runner, before = lesson.drill.coach._runner, lesson.asked
        runner.tempo_now.now_qpm = QPM
        lesson.drill.ask(request_, lesson.now_s)
        step = slower if request_ is Request.SLOWER else quicker
        assert lesson.asked.qpm == step(tempo_of(before), F(1), 2)
        assert (lesson.asked.window, lesson.asked.stage) == (before.window, before.stage)

    def test_stay_here_asks_for_the_same_until_something_else_is_asked_for(self) -> None:
        lesson = Lesson(NEVER)
        lesson.until(lambda ended: lesson.drill.coach._runner.ladder is not None)
        lesson.drill.ask(Request.STAY, lesson.now_s)
        window = lesson.asked.window
        for _ in range(30):
            asked = lesson.plays().decision.assignment
            assert (asked.window, asked.reason) == (window, STAYING)
        lesson.drill.ask(Request.LARGER, lesson.now_s)
        assert lesson.asked.window != window

    def test_with_a_new_fingering_the_old_failures_count_for_less(self) -> None:
        lesson = Lesson(NEVER)
        lesson.until(lambda ended: lesson.drill.coach._runner.ladder is not None)
        before = lesson.drill.coach.evidence.counts_at(F(6)).failed
        lesson.drill.ask(Request.FINGERING, lesson.now_s)
        assert lesson.drill.coach.evidence.counts_at(F(6)).failed < 0.5 * before


class TestTempo:
    @staticmethod
    def played_at(share: float, times: int = 1) -> Lesson:
        """A lesson in which all is clean, at this share of the tempo asked for."""
        lesson = Lesson()
        for _ in range(times):
            quarter_s = 60 / (tempo_of(lesson.asked) * share)
            keys = [
                (n.pitch, 64, lesson.now_s + float(n.onset_quarters) * quarter_s, 0.9 * quarter_s)
                for n in lesson.drill.excerpt.notes
            ]
            from coach.drill import played

            lesson.drill.repetition(played(keys), now_s=lesson.now_s + 60)
            lesson.now_s += 60
        return lesson

    def test_half_the_tempo_asked_for_is_said_and_is_not_the_goal(self) -> None:
        lesson = self.played_at(0.5, times=1)
        assert lesson.asked.reason == "Clean at 48, where 96 was asked: on from there."
        assert not self.played_at(0.5, times=4).decision.finished

    def test_eight_in_a_hundred_off_is_still_the_tempo(self) -> None:
        assert tempo_of(self.played_at(0.93).asked) == QPM
        assert tempo_of(self.played_at(0.91).asked) < QPM

    def test_quicker_is_said_and_counts_for_the_tempo_asked_for(self) -> None:
        lesson = self.played_at(1.2)
        assert lesson.decision.clean_run == 1
        assert "no need to hurry" in lesson.decision.note
        assert self.played_at(1.2, times=5).decision.finished

    def test_under_forty_the_beat_s_parts_are_counted(self) -> None:
        assert counted_quarters(40.0, F(1)) == 1
        assert counted_quarters(39.0, F(1)) == F(1, 2)
        assert counted_quarters(57.0, F(3, 2)) == F(1, 2)
        assert tempo_words(38.0, F(1)) == "at 76, counted in eighths"
        assert slower(40.0, F(1)) == 38.0  # eighths at 76, the mark below 80

    def test_a_slowed_tempo_never_becomes_what_a_repair_goes_back_to(self) -> None:
        lesson = Lesson()
        runner = lesson.drill.coach._runner
        runner.tempo.now_qpm = 60.0
        assert runner.new_repair_tempo().target_qpm == QPM

    @pytest.mark.parametrize(
        ("heard", "wanted", "until"),
        [("", 0.68, 1), ("", 0.69, 2), ("xx", 0.68, 3), ("xx.", 0.68, 3), ("xx....", 0.68, 3)],
    )
    def test_so_many_clean_ones_make_the_next_as_likely_as_wanted(
        self, heard: str, wanted: float, until: int
    ) -> None:
        """None heard is even; x is an unclean one at tempo. Those that run already are counted."""
        tempo = TempoLadder.start(100.0, 100.0)
        for one in heard:
            tempo.count_repetition(clean=one == ".")
        assert tempo.clean_until(wanted, 5) == until
        assert tempo.clean_until(0.999, 5) == 5

    def test_what_another_window_showed_counts_half(self) -> None:
        tempo = TempoLadder.start(100.0, 60.0)
        for _ in range(4):
            tempo.count_repetition(clean=True)
        here = tempo.chance_at_target
        tempo.turn_to_other_window()
        assert 0.5 < tempo.chance_at_target < here


class TestAsking:
    def test_a_probe_asks_for_as_many_as_are_meant_and_says_so(self) -> None:
        """A hand alone twice, for alone is easier; who breaks at once is not asked for more."""
        lesson = Lesson(NEVER)
        lesson.plays()
        alone = lesson.asked
        assert (alone.window.hands, alone.clean_required) == (Hands.LEFT, 2)
        assert alone.reason.startswith("Left hand alone, twice, so that I hear it")
        lesson.heals()
        assert lesson.plays().decision.assignment == alone
        assert lesson.plays().decision.assignment.window.hands is Hands.TOGETHER
        lesson = Lesson(NEVER)
        lesson.plays()
        assert lesson.plays().decision.assignment != alone
        lesson = Lesson([Weak("LH", 6)])
        lesson.heals()
        lesson.plays()
        lesson.weak = [Weak("LH", 6)]
        lesson.plays()
        only_this = lesson.asked
        assert (only_this.window.hands, only_this.clean_required) == (Hands.TOGETHER, 1)
        assert only_this.reason.startswith("Only this, once, so that I hear it")

    def test_the_same_probe_again_says_that_it_is_asked_for_again(self) -> None:
        """Else who played it clean would see the same words, and wait for what comes."""
        said: list[tuple[Window, str]] = []
        """As it is asked for anew; a hand alone is asked for twice at once."""
        for seed in range(12):
            lesson = Lesson(slip=0.3, seed=seed)
            for _ in range(12):
                if lesson.plays().decision.clean_run == 0 or lesson.asked.clean_required == 1:
                    said.append((lesson.asked.window, lesson.asked.reason))
        again = [
            now
            for before, now in pairwise(said)
            if before[0] == now[0] and "so that I hear it" in before[1] and "is it" in now[1]
        ]
        assert again
        assert all("once more, to be sure" in reason for _, reason in again)

    def test_one_slip_is_never_claimed(self) -> None:
        lesson = Lesson([Weak("LH", 3)], score=piece(1))
        lesson.plays()
        assert lesson.decision.troubles == ()

    def test_no_more_than_four_probes_run(self) -> None:
        for seed in range(4):
            lesson, running = Lesson(slip=0.6, seed=seed), 0
            for _ in range(30):
                running = running + 1 if ": is it " in lesson.asked.reason else 0
                assert running <= 4
                lesson.plays()

    def test_a_probe_that_was_broken_off_is_one_of_them(self) -> None:
        lesson = Lesson(NEVER)
        lesson.plays()
        locating = lesson.drill.coach._runner.locating
        probe, first = locating.probed[:1], lesson.drill.excerpt.notes[0]
        broken_off = [PlayedNote(first.pitch, 64, lesson.now_s, 0.4)]
        ended = lesson.drill.repetition(broken_off, now_s=lesson.now_s + 5)
        assert not ended.decision.changed
        assert locating.probed == 2 * probe
        coach = lesson.drill.coach
        for count in (3, 4):
            assert not coach.observe_and_decide(ended.judgement, 10.0 * count).changed
            assert locating.probed == count * probe
        said = coach.observe_and_decide(ended.judgement, 50.0)
        assert said.changed
        assert said.assignment.window == coach._runner.task.window
        assert said.assignment.reason == "I could not hear it there: the whole of it again."

    def test_what_told_nothing_while_the_hands_go_on_leaves_the_window_until_they_rest(
        self,
    ) -> None:
        lesson = Lesson(NEVER)
        lesson.plays()
        coach, first = lesson.drill.coach, lesson.drill.excerpt.notes[0]
        ended = lesson.drill.repetition(
            [PlayedNote(first.pitch, 64, lesson.now_s, 0.4)], now_s=lesson.now_s + 5
        )
        asked = coach.assignment
        for count in range(4):
            assert coach.observe(ended.judgement, 60.0 + count).assignment == asked
        said = coach.decide()
        assert said.changed
        assert said.assignment.window == coach._runner.task.window

    def test_nothing_is_said_to_hold_after_an_unclean_one(self) -> None:
        for seed in range(4):
            lesson = Lesson([Weak("LH", 6, chance=0.6)], seed=seed)
            for _ in range(40):
                ended = lesson.plays()
                if not ended.judgement.clean:
                    assert not lesson.asked.reason.startswith("It holds")

    def test_a_place_that_broke_before_asks_for_more_than_the_usual_run(self) -> None:
        """It failed once, and was never named: three clean ones of the whole do not clear it."""
        lesson = Lesson([Weak("LH", 6)])
        lesson.plays(clean=True)
        lesson.plays()
        lesson.heals()
        asked = [lesson.asked]
        while not lesson.decision.finished and len(asked) < 30:
            asked += [lesson.plays().decision.assignment]
        by_itself = (
            "Clean; but it broke at bar 2 beat 3 before: that by itself, 5 times, to be sure."
        )
        assert [one.clean_required for one in asked if one.reason == by_itself] == 5 * [5]
        assert asked[-2].reason == "That holds: the whole of it, once more."
        assert (lesson.decision.finished, asked[-1].reason) == (True, "")

    def test_a_place_that_was_mended_is_heard_by_itself_between_two_of_the_whole(self) -> None:
        lesson = Lesson([Weak("LH", 6)])
        lesson.until(lambda ended: lesson.drill.coach._runner.ladder is not None)
        lesson.heals()
        whole, asked = Window(F(0), lesson.score.end_quarters), [lesson.asked]
        while not lesson.decision.finished and len(asked) < 60:
            asked += [lesson.plays().decision.assignment]
        back = next(at for at, one in enumerate(asked) if at and one.window == whole)
        kinds = [(one.window == whole, one.clean_required) for one in asked[back:]]
        assert kinds == [(True, 3), *3 * [(False, 3)], *3 * [(True, 2)]]  # the last: it is reached
        assert lesson.decision.note == (
            "LH bar 2, beat 2 → 3: held today. Hear that first tomorrow."
        )

    def test_who_set_fewer_than_usual_is_never_asked_for_more(self) -> None:
        lesson = Lesson([Weak("LH", 6)])
        whole = Window(F(0), lesson.score.end_quarters)
        lesson.drill = Drill(lesson.score, repair(lesson.score, whole, qpm=QPM, clean_required=2))
        lesson.until(lambda ended: lesson.drill.coach._runner.ladder is not None)
        lesson.heals()
        asked = [lesson.asked]
        while not lesson.decision.finished and len(asked) < 60:
            asked += [lesson.plays().decision.assignment]
        assert lesson.decision.finished
        assert any(one.reason.startswith("Clean; but it broke") for one in asked)
        assert max(one.clean_required for one in asked) == 2

    def test_what_breaks_by_itself_then_is_looked_into(self) -> None:
        lesson = Lesson([Weak("LH", 6)])
        lesson.until(lambda ended: lesson.drill.coach._runner.ladder is not None)
        lesson.heals()
        lesson.until(lambda ended: lesson.asked.reason.startswith("Clean; but it broke"))
        lesson.weak = [Weak("LH", 6)]
        by_itself = lesson.asked.window
        lesson.plays()
        assert place(lesson.asked) == (by_itself, QPM)
        assert lesson.asked.reason == "Once more at 96, until it holds."
        lesson.plays()
        assert lesson.asked.reason.startswith("Left hand alone, twice, so that I hear it")
        lesson.plays()
        assert lesson.asked.reason.startswith("LH bar 2, beat 2 → 3: hands together, at ")

    @pytest.mark.parametrize("request_", list(Request))
    def test_a_wish_is_followed_while_a_place_is_heard_by_itself(self, request_: Request) -> None:
        lesson = Lesson([Weak("LH", 6)])
        lesson.until(lambda ended: lesson.drill.coach._runner.ladder is not None)
        lesson.heals()
        lesson.until(lambda ended: lesson.asked.reason.startswith("Clean; but it broke"))
        lesson.drill.ask(request_, lesson.now_s)
        if request_ is Request.STAY:
            lesson.drill.ask(Request.LARGER, lesson.now_s)
        lesson.until(lambda ended: ended.decision.finished)
