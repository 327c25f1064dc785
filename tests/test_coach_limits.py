"""The coach's figures, each held by a case on either side of its limit."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.coaching.diagnosis.evidence import (
    AttemptCounts,
    BeatCounts,
    Evidence,
    clean_weight,
    fold_history,
)
from coach.coaching.diagnosis.probe_selection import TroubleProbe, _chance_to_name
from coach.coaching.diagnosis.troubles import (
    Diagnosis,
    Posterior,
    SlipRate,
    Suspect,
    beat_posterior,
    describe_trouble,
    fault_prior,
)
from coach.coaching.drill import Drill
from coach.coaching.model import AssignmentKind, Observation
from coach.coaching.practice.locating import Locating
from coach.coaching.practice.repair import build_rungs
from coach.coaching.practice.task import RunCounts, Task
from coach.coaching.practice.task_runner import TaskRunner
from coach.coaching.practice.tempo import TempoLadder
from coach.coaching.windows import PracticeMap
from coach.coaching.wording import A_SLIP, THERE_IT_IS
from coach.drill import repair
from coach.judging.model import Outcome, Stage
from coach.score.build import score_from_notes
from coach.score.model import Hand, Hands, Score
from coach.score.window import Transition, Window
from tests.lessons import QPM, piece

LH, BOTH = Hands.LEFT, frozenset({Hands.RIGHT, Hands.LEFT})
DAY_S = 86400.0


def arriving(beat: int, hands: Hands = LH) -> Transition:
    return Transition(hands, F(beat - 1), F(beat))


def observed(
    beat: int, outcome: Outcome, at_s: float = 10.0, qpm: float = QPM, hands: Hands = LH
) -> Observation:
    return Observation(at_s, arriving(beat), F(beat), hands, outcome, qpm)


def all_of(score: Score) -> Window:
    return Window(F(0), score.end_quarters)


def counts_of(*repetitions: list[Observation], beat: int = 6) -> AttemptCounts:
    """The left hand's counts of a beat, played alone, after some repetitions."""
    evidence = Evidence()
    for one in repetitions:
        evidence.add(one, QPM)
    return evidence.counts_at(F(beat)).alone[Hand.LEFT]


class TestEvidence:
    def test_a_failure_right_after_another_counts_half(self) -> None:
        wrong = observed(6, Outcome.WRONG)
        assert counts_of([observed(5, Outcome.CLEAN), wrong]).failed == 1.0
        assert counts_of([observed(5, Outcome.WRONG), wrong]).failed == 0.5

    def test_half_of_an_attempt_s_weight_is_left_after_23_more(self) -> None:
        first, then = [observed(6, Outcome.WRONG)], [observed(6, Outcome.CLEAN)]
        assert counts_of(first, *[then] * 22).failed > 0.5
        assert counts_of(first, *[then] * 23).failed < 0.5

    def test_half_of_a_weight_is_left_after_nearly_two_days(self) -> None:
        def left(days: float) -> float:
            later = [observed(6, Outcome.CLEAN, 10.0 + days * DAY_S)]
            return counts_of([observed(6, Outcome.WRONG)], later).failed

        assert left(1.8) > 0.5 > left(1.9)

    def test_three_weeks_ago_is_read_and_what_came_before_is_not(self) -> None:
        wrong = [observed(6, Outcome.WRONG, 10.0)]
        assert F(6) in fold_history(wrong, QPM, 10.0 + 20.9 * DAY_S).beats
        assert F(6) not in fold_history(wrong, QPM, 10.0 + 21.1 * DAY_S).beats

    def test_a_full_clean_run_leaves_two_fifths_of_what_failed(self) -> None:
        evidence = Evidence()
        evidence.add([observed(6, Outcome.WRONG)], QPM)
        evidence.discount_mended(F(6), LH)
        assert evidence.counts_at(F(6)).alone[Hand.LEFT].failed == pytest.approx(0.4)

    def test_a_clean_move_counts_from_a_third_of_the_tempo_to_nearly_all_of_it(self) -> None:
        assert clean_weight(0.35) == 0.05 < clean_weight(0.37)
        assert clean_weight(0.94) < 1.0 == clean_weight(0.955)


class TestFaultModel:
    @staticmethod
    def best(clean_alone: float) -> Hands:
        """Whose fault: the right failed in three of six together, then each was clean alone."""
        clean = {hand: AttemptCounts(clean_alone, 0.0, clean_alone) for hand in Hand}
        counts = BeatCounts(6.0, 3.0, alone=clean)
        return beat_posterior(counts, SlipRate.of_mean(0.005), fault_prior(16), BOTH).best

    def test_so_many_clean_ones_alone_make_it_a_fault_of_both_together(self) -> None:
        assert self.best(2.25) is Hands.RIGHT
        assert self.best(2.3) is Hands.TOGETHER

    def test_a_place_is_claimed_from_92_in_100(self) -> None:
        def is_claimed(fault: float) -> bool:
            return Suspect(arriving(6), Posterior(1 - fault, 0.0, fault, 0.0)).is_claimed

        assert not is_claimed(0.915)
        assert is_claimed(0.925)

    def test_a_place_is_never_sure_by_one_failure(self) -> None:
        """A failure weighs 1 at the most, and the next one something, whatever was between."""
        found = Posterior(0.01, 0.0, 0.99, 0.0)
        assert not Suspect(arriving(6), found, 1.19).is_sure
        assert Suspect(arriving(6), found, 1.21).is_sure

    def test_before_anything_is_heard_a_beat_is_as_likely_sound_as_not(self) -> None:
        """However few the moves: in a window of a single one, too."""
        assert (
            beat_posterior(BeatCounts(), SlipRate.of_mean(0.005), fault_prior(2), BOTH).fault == 0.5
        )
        assert (
            beat_posterior(BeatCounts(), SlipRate.of_mean(0.005), fault_prior(5), BOTH).fault < 0.5
        )

    @pytest.mark.parametrize(("fault", "chance"), [(0.49, 0.0), (0.51, 0.306), (0.8, 0.48)])
    def test_a_fault_that_is_likelier_than_not_is_worth_naming(
        self, fault: float, chance: float
    ) -> None:
        """It fails in six of ten repetitions."""
        suspect = Suspect(arriving(6), Posterior(1 - fault, 0.0, fault, 0.0))
        assert _chance_to_name(suspect, LH) == pytest.approx(chance)

    def test_a_hand_is_claimed_from_73_in_100(self) -> None:
        def is_claimed(share: float) -> bool:
            return Suspect(arriving(6), Posterior(0.0, 1 - share, share, 0.0)).is_claimed

        assert not is_claimed(0.725)
        assert is_claimed(0.735)

    def test_both_together_are_claimed_from_7_in_10(self) -> None:
        def is_claimed(share: float) -> bool:
            both = replace(arriving(6), hands=Hands.TOGETHER)
            return Suspect(both, Posterior(0.0, 0.0, 1 - share, share)).is_claimed

        assert not is_claimed(0.69)
        assert is_claimed(0.71)

    def test_the_chance_of_a_fault_is_shared_among_240_moves_at_the_most(self) -> None:
        assert fault_prior(238) > fault_prior(240) == fault_prior(300)


class TestLocating:
    @staticmethod
    def runner(
        doubt: float, searched: int = 0, *, clean: bool = False, is_named: bool = True
    ) -> TaskRunner:
        """Beat 6 is named; of another suspect it is so likely that it is at fault."""
        score = piece()
        whole, evidence = all_of(score), Evidence()
        practice_map = PracticeMap(score, whole)
        heard = {2: Outcome.CLEAN, 3: Outcome.CLEAN, 6: Outcome.WRONG}
        for at_s in (10.0, 30.0, 50.0):
            both = Hands.TOGETHER
            evidence.add([observed(b, o, at_s, hands=both) for b, o in heard.items()], QPM)
        runner = TaskRunner(Task(whole, QPM, Stage.RHYTHM, 3, QPM), practice_map, evidence)
        runner.locating.searched = searched
        named = Suspect(arriving(6), Posterior(0.01, 0.0, 0.99, 0.0))
        other = Suspect(arriving(12), Posterior(1 - doubt, doubt / 2, doubt / 2, 0.0))
        probe = TroubleProbe(other, practice_map.around(other.transition, LH))
        runner.locating.best_probe = lambda *_: probe  # type: ignore[method-assign]
        found = describe_trouble(named, evidence, practice_map)
        troubles, suspects = ((found,), (named, other)) if is_named else ((), (other,))
        runner.count_repetition(clean, 60.0)
        runner.choose_next(clean, Diagnosis(troubles, suspects, SlipRate.of_mean(0.005), 0.18))
        return runner

    def test_what_is_only_in_doubt_does_not_break_into_a_clean_run(self) -> None:
        after = self.runner(0.5, clean=True, is_named=False)
        assert after.locating.probe is None
        assert (after.assignment.window, after.run.clean) == (after.task.window, 1)
        assert self.runner(0.5, clean=False, is_named=False).locating.probe

    def test_what_surely_breaks_is_searched_on_after_a_clean_one(self) -> None:
        """Its hand is not known yet, and by clean ones it is not told."""
        assert self.runner(0.91, clean=True, is_named=False).locating.probe is None
        assert self.runner(0.93, clean=True, is_named=False).locating.probe

    @pytest.mark.parametrize(
        ("sure", "searched", "bars", "is_asked"),
        [(0.93, 15, 6, True), (0.91, 15, 6, False), (0.93, 16, 6, False), (0.93, 15, 7, False)],
    )
    def test_the_hand_of_a_second_place_is_searched_for_before_the_first_is_mended(
        self, sure: float, searched: int, bars: int, is_asked: bool
    ) -> None:
        """As long as anything is, in a whole that is heard more than once; however often before."""
        score = piece(bars)
        task = Task(all_of(score), QPM, Stage.RHYTHM, 3, QPM)
        locating = Locating(task, PracticeMap(score, task.window), Evidence())
        locating.searched, locating.heard_more = searched, 2
        second = Suspect(arriving(12), Posterior(1 - sure, sure / 2, sure / 2, 0.0))
        diagnosis = Diagnosis((), (second,), SlipRate.of_mean(0.005), 0.1)
        is_open = locating.has_open_hand(diagnosis)
        more = locating.hear_more(arriving(6), same_again=True, has_open_hand=is_open)
        asks = more is not None and not locating.has_heard_enough(diagnosis)
        assert asks is is_asked

    def test_a_suspect_is_looked_into_before_the_repair_from_2_in_10(self) -> None:
        assert self.runner(0.19).ladder is not None
        assert self.runner(0.21).ladder is None

    @pytest.mark.parametrize(
        ("moves", "failing", "is_loose"), [(6, 4, True), (6, 3, False), (5, 4, False)]
    )
    def test_a_hand_that_fails_in_most_of_six_moves_fails_everywhere(
        self, moves: int, failing: int, is_loose: bool
    ) -> None:
        """The other hand makes none of them badly."""
        score, evidence = piece(), Evidence()
        for beat in range(1, 1 + moves):
            outcome = Outcome.WRONG if beat <= failing else Outcome.CLEAN
            left = observed(beat, outcome, at_s=20.0 * beat, hands=Hands.TOGETHER)
            right = replace(left, transition=arriving(beat, Hands.RIGHT), outcome=Outcome.CLEAN)
            evidence.add([left, right], QPM)
        task = Task(all_of(score), QPM, Stage.RHYTHM, 3, QPM)
        locating = Locating(task, PracticeMap(score, task.window), evidence)
        assert not locating.is_all_loose
        assert locating.is_loose is is_loose

    def test_after_16_repetitions_of_searching_the_repair_begins(self) -> None:
        assert self.runner(0.5, searched=14).ladder is None
        assert self.runner(0.5, searched=15).ladder is not None

    @pytest.mark.parametrize(("fault", "said"), [(0.91, A_SLIP), (0.93, THERE_IT_IS)])
    def test_what_surely_breaks_is_called_no_slip(self, fault: float, said: str) -> None:
        task = Task(all_of(piece()), QPM, Stage.RHYTHM, 3, QPM)
        locating = Locating(task, PracticeMap(piece(), task.window), Evidence())
        half = Suspect(arriving(6), Posterior(1 - fault, fault / 2, fault / 2, 0.0))
        diagnosis = Diagnosis((), (half,), SlipRate.of_mean(0.005))
        assert locating.back_to_all(False, diagnosis).reason == said

    def test_a_whole_of_24_beats_is_heard_until_little_is_unheard_and_a_longer_one_once(
        self,
    ) -> None:
        def is_enough(bars: int, unheard: float) -> bool:
            score = piece(bars)
            task = Task(all_of(score), QPM, Stage.RHYTHM, 3, QPM)
            locating = Locating(task, PracticeMap(score, task.window), Evidence())
            return locating.has_heard_enough(Diagnosis((), (), SlipRate.of_mean(0.005), unheard))

        assert not is_enough(6, 0.18 + 0.01)
        assert is_enough(6, 0.18)
        assert is_enough(7, 1.0)

    def test_beside_a_named_place_more_is_heard_twice_and_four_beats_at_the_least(self) -> None:
        def heard_beside(beat: int, bars: int) -> list[str]:
            score = piece(bars)
            task = Task(all_of(score), QPM, Stage.RHYTHM, 3, QPM)
            locating = Locating(task, PracticeMap(score, task.window), Evidence())
            asked = [
                locating.hear_more(arriving(beat), same_again=again)
                for again in (False, True, True)
            ]
            return [f"{w.window.start_quarters} to {w.window.end_quarters}" for w in asked if w]

        assert heard_beside(4, bars=2) == ["4 to 8", "0 to 8"]
        assert heard_beside(5, bars=2) == ["0 to 4", "0 to 8"]
        assert heard_beside(4, bars=1) == ["0 to 4", "0 to 4"]
        assert heard_beside(3, bars=1) == ["0 to 4", "0 to 4"]

    @pytest.mark.parametrize(("unheard", "is_unproved"), [(0.11, True), (0.1, False)])
    def test_what_never_broke_is_unproved_until_little_is_unheard(
        self, unheard: float, is_unproved: bool
    ) -> None:
        task = Task(all_of(piece()), QPM, Stage.RHYTHM, 3, QPM)
        locating = Locating(task, PracticeMap(piece(), task.window), Evidence())
        heard = Diagnosis((), (), SlipRate.of_mean(0.005), unheard)
        assert locating.is_unproved(heard) is is_unproved


class TestRepair:
    @pytest.mark.parametrize(("beats", "has_three_bars"), [(20, True), (19, False)])
    def test_a_rung_of_more_than_six_tenths_of_the_whole_is_passed_over(
        self, beats: int, has_three_bars: bool
    ) -> None:
        score = piece(5)
        whole = Window(F(0), F(beats))
        windows, _ = build_rungs(PracticeMap(score, whole), arriving(6), whole)
        lengths = [window.end_quarters - window.start_quarters for window in windows]
        assert (12 in lengths) is has_three_bars

    def test_two_unclean_ones_running_ask_for_a_change_and_one_does_not(self) -> None:
        run = RunCounts()
        run.count(clean=False)
        assert not run.asks_for_change
        run.count(clean=False)
        assert run.asks_for_change


class TestTempo:
    @staticmethod
    def after(*clean: bool, now_qpm: float = 100.0) -> TempoLadder:
        tempo = TempoLadder.start(100.0, now_qpm)
        for one in clean:
            tempo.count_repetition(one)
        return tempo

    def test_nothing_slower_than_half_is_asked_for(self) -> None:
        assert not self.after(now_qpm=50.1).at_floor
        assert self.after(now_qpm=49.9).at_floor

    def test_a_passage_is_begun_at_the_mark_over_seven_tenths_however_often_it_failed(self) -> None:
        tempo = self.after(*[False] * 12)
        tempo.begin_at_likely(F(1))
        assert tempo.now_qpm == 72.0
        tempo = TempoLadder.start(90.0, 90.0)  # 63 is a mark
        tempo.tries = [(1.0, False)] * 12
        tempo.begin_at_likely(F(1))
        assert tempo.now_qpm == 63.0

    @staticmethod
    def record(fails: int, slow_clean: int, now_qpm: float) -> TempoLadder:
        """So many failures at the tempo asked for, then so many clean ones at six tenths of it."""
        tempo = TempoLadder.start(100.0, now_qpm)
        tempo.tries = [(1.0, False)] * fails + [(0.6, True)] * slow_clean
        return tempo

    def test_the_tempo_asked_for_is_tried_where_two_in_three_come_off(self) -> None:
        assert self.record(2, 5, 72.0).raise_tempo(F(1)) is AssignmentKind.TRIAL
        assert self.record(3, 5, 72.0).raise_tempo(F(1)) is AssignmentKind.QUICKEN

    def test_nobody_jumps_from_under_seven_tenths_to_the_tempo_asked_for(self) -> None:
        assert self.record(0, 5, 70.0).raise_tempo(F(1)) is AssignmentKind.TRIAL
        assert self.record(0, 5, 69.0).raise_tempo(F(1)) is AssignmentKind.QUICKEN

    def test_a_step_that_nobody_feels_is_none(self) -> None:
        """To 46 from 45, the slowest at 90; and from 48 to 46, which is 45 then."""
        tempo = TempoLadder.start(90.0, 45.0)
        tempo.raise_tempo(F(1))
        assert tempo.now_qpm == 48.0
        tempo.tries = [(0.5, False)] * 12
        tempo.lower_tempo(F(1))
        assert tempo.now_qpm == 45.0

    def test_a_tempo_that_is_less_likely_than_not_is_left_after_one_unclean(self) -> None:
        assert not self.record(3, 3, 100.0).is_unlikely
        assert self.record(4, 3, 100.0).is_unlikely

    def test_a_tempo_is_chosen_at_which_about_seven_in_ten_are_clean(self) -> None:
        assert self.record(2, 7, 60.0).likely_qpm(F(1)) == 100.0
        assert self.record(3, 7, 60.0).likely_qpm(F(1)) == 96.0

    def test_a_step_down_is_of_four_marks_at_the_most(self) -> None:
        tempo = self.record(12, 0, 100.0)
        tempo.lower_tempo(F(1))
        assert tempo.now_qpm == 84.0


class TestRests:
    @staticmethod
    def drill(qpm: float) -> Drill:
        score = score_from_notes(
            [{"pitch": 60 + k % 5, "onset": k, "length": 1, "hand": "RH"} for k in range(8)],
            qpm=qpm,
        )
        return Drill(score, repair(score, all_of(score), qpm=qpm))

    @pytest.mark.parametrize(
        ("qpm", "rests_s"), [(120.0, 1.8), (60.0, 1.8), (30.0, 2.8), (20.0, 4.2), (12.0, 6.0)]
    )
    def test_after_a_stray_key_the_hands_rest_a_beat_and_some_but_1_8_to_6_seconds(
        self, qpm: float, rests_s: float
    ) -> None:
        drill = self.drill(qpm)
        drill.key_down(90, 64, 10.0)
        drill.key_up(90, 10.1)
        assert not drill.may_turn(10.0 + rests_s - 0.02)
        assert drill.may_turn(10.0 + rests_s + 0.02)
