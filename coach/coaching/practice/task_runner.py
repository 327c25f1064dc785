"""The task in hand: one window to be got clean at its tempo, and the troubles met on the way.

A task is played as it is, its trouble looked for (``locating``), repaired and put back
(``repair``); then the window's own clean run is asked for again. :class:`TaskRunner` turns from one
to the other after each repetition:

=========  ==============================================================================
whole      the task's window as it is, and its tempo on the way to the one asked for
probe      a suspect's surroundings, to learn whether something stands there and in which hand
check      a place that broke before, by itself, once the whole was clean
ladder     a rung of the trouble under repair
exercise   the place under repair in another way (:mod:`~coach.coaching.practice.exercises`)
requested  what the pianist asked for instead (:mod:`~coach.coaching.practice.requests`)
=========  ==============================================================================
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from coach.coaching.diagnosis import Diagnosis, Evidence
from coach.coaching.model import (
    USUAL_CLEAN,
    Assignment,
    AssignmentKind,
    Exercise,
    Trouble,
    TroubleKind,
)
from coach.coaching.practice.exercises import (
    MOST_TRIES,
    choose_exercise,
    make_exercise,
)
from coach.coaching.practice.locating import (
    CHECKED,
    CHECKED_MENDED,
    SURER,
    Locating,
    PlaceCheck,
)
from coach.coaching.practice.patience import PlaceWork
from coach.coaching.practice.repair import Repair, RepairLadder
from coach.coaching.practice.task import (
    TOO_HARD,
    NextWindow,
    RunCounts,
    Task,
    third_of,
    two_thirds_of,
)
from coach.coaching.practice.tempo import MOST_MARKS, NEARLY_A_MARK, TempoLadder, slower
from coach.coaching.windows import PracticeMap
from coach.coaching.wording import (
    ALL_OVER,
    BACK_AS_WRITTEN,
    HERE_AND_THERE,
    HOLD_IT_THERE,
    NOT_TOLD,
    NOW_HOLD_IT,
    ON_FROM_WHERE_WE_WERE,
    READ_AGAIN,
    UntilBroken,
    arrival_words,
    broke_before_words,
    check_words,
    off_pace_words,
    on_with_all_words,
    once_more_words,
    surer_words,
    tempo_words,
    trial_failed_words,
    unbroken_words,
    up_words,
)
from coach.judging.model import Stage
from coach.score.model import Hands
from coach.score.window import Transition, Window

HEARD_ONCE_BEATS = 96.0
"""A longer whole that slips twice in one take isn't heard again before its parts. Own choice, 24
bars of four: it takes a minute, in which a part is got."""


class TaskRunner:
    """One task under way."""

    def __init__(self, task: Task, practice_map: PracticeMap, evidence: Evidence) -> None:
        self.task, self.practice_map = task, practice_map
        self.locating = Locating(task, practice_map, evidence)
        self.repair = Repair(task, practice_map, evidence)
        self.tempo = TempoLadder.start(task.qpm, task.start_qpm)
        """The tempo of the task's window; a repair ladder has its own."""
        self.run = RunCounts()
        self.troubles: tuple[Trouble, ...] = ()
        """What is named, as it was decided upon last."""
        self.requested: Assignment | None = None
        """What is played instead: the pianist's wish, until its clean run is full; an exercise."""
        self.exercise: Exercise | None = None
        """The other way in which the place under repair is practised now."""
        self.pace_note = ""
        """What is said of the tempo of the last repetition."""
        self.is_surer = False
        """More clean ones were asked for than usual, since a place was in doubt."""
        self.wholes_left = 0
        """Clean ones of the whole that are left, after a place held by itself; 0: a full run."""
        self.stays = False
        """The pianist wants to stay: nothing else is asked for."""
        self.broke = False
        """Something in it was unclean since it was begun."""
        self.too_much = False
        """So much at once breaks so often that it is to be taken apart."""
        self.hand_first: Hands | None = None
        """The hand that fails everywhere, and is to be taken alone."""
        self.hands_taken: set[Hands] = set()
        """Those that were."""
        self.slips = 0
        """Moves that failed when the whole was played last."""
        self.given_up = False
        """It slips here and there, and it got no better: it is left for today."""
        self.work = PlaceWork()
        """What was done at the task's window as it is."""
        self.done = False
        self.assignment = self._make_assignment(NextWindow(task.window, task.kind, task.reason))

    @property
    def ladder(self) -> RepairLadder | None:
        """The trouble that is under repair."""
        return self.repair.ladder

    @property
    def is_plain(self) -> bool:
        """Nothing is being looked for, repaired or asked for: what is played is the task itself."""
        return self.ladder is None and self.locating.probe is None and self.requested is None

    @property
    def tempo_now(self) -> TempoLadder:
        """The tempo of what is being played: the ladder's, or the task's."""
        return self.ladder.tempo if self.ladder else self.tempo

    # -- after a repetition ------------------------------------------------------------------

    def count_repetition(self, clean: bool, now_s: float, played_qpm: float | None = None) -> None:
        """Count a repetition, without deciding anything yet.

        ``played_qpm`` is its tempo, where it was far from the one asked for.
        """
        self.pace_note = ""
        if clean and played_qpm is not None:
            self._hear_other_tempo(played_qpm)
        self.run.count(clean)
        self.broke = self.broke or not clean
        self.wholes_left = self.wholes_left if clean else 0
        self.done, self.given_up = self.done and clean, False
        if self.exercise is not None and self.ladder is not None:
            self.repair.work_at(self.ladder).count(now_s, clean, as_written=False)
        elif self.requested is not None:
            return
        elif self.ladder is not None:
            self.repair.count_repetition(self.ladder, clean, now_s)
        elif self.assignment.window == self.task.window:
            self.tempo.count_repetition(clean)
            self.work.count(now_s, clean, as_written=True)
            self.work.hear_chance(0, self.tempo.chance_at_target)

    def _hear_other_tempo(self, played_qpm: float) -> None:
        """Clean, at another tempo: quicker counts for the one asked for, slower at that tempo."""
        asked, tempo = self.assignment, self.tempo_now
        if asked.qpm is None or self.requested is not None:
            return
        beat = self._beat_quarters(asked.window)
        slow = played_qpm < asked.qpm
        self.pace_note = off_pace_words(played_qpm, asked.qpm, beat)
        is_probe = self.ladder is None and asked.window != self.task.window
        if slow and not is_probe and tempo.slowest_qpm is not None:
            nearest = slower(played_qpm * NEARLY_A_MARK, beat)
            tempo.stand_at(min(max(nearest, tempo.slowest_qpm), asked.qpm))
            self._assign(NextWindow(asked.window, AssignmentKind.SLOWER, self.pace_note))
            self.run, self.pace_note = RunCounts(), ""

    def stop_probing_for_nothing(self) -> None:
        """Where too many probes told nothing the whole is asked for again."""
        if self.locating.is_probed_enough:
            self.locating.stop_probing()
            self._assign(NextWindow(self.task.window, AssignmentKind.WIDEN, NOT_TOLD))

    def choose_next(self, clean: bool, diagnosis: Diagnosis) -> None:
        """Decide what comes next after the last repetition that was heard, clean or not."""
        self.troubles = diagnosis.troubles
        if self.stays:
            return
        if self.exercise is not None:
            if self._exercise_is_over:
                self.resume(BACK_AS_WRITTEN)
        elif self.requested is not None:
            if self._run_is_full:
                self.resume(ON_FROM_WHERE_WE_WERE)
        elif self.ladder is not None:
            # What told nothing is not decided upon: so patience may end at a clean one, too.
            is_over = self.repair.work_at(self.ladder).is_over and not self._run_is_full
            if not clean and self._check_hand(self.ladder, diagnosis):
                return
            if (is_over or not clean) and self._lose_patience(self.ladder):
                return
            self._assign(self.repair.choose_next(self.ladder, clean, self.run))
            if self.ladder is None:
                self.tempo.tries.clear()  # it is another passage now
        elif isinstance(self.locating.probe, PlaceCheck):
            self._follow_check(self.locating.probe, clean, diagnosis)
        elif self.task.is_reading and not clean:
            self._follow_broken_reading()
        elif self.assignment.window == self.task.window:
            self.locating.count_searching(diagnosis)
            self.slips = 0 if clean else self.locating.count_last_slips()
            self._follow_whole(clean, diagnosis)
        else:
            self.locating.count_searching(diagnosis)
            if clean and not self._run_is_full:
                self.locating.hear_on()
            else:
                self._locate(clean, diagnosis)

    def _check_hand(self, ladder: RepairLadder, diagnosis: Diagnosis) -> bool:
        """Where both together won't hold, first hear again whether it is one hand alone."""
        if ladder.transition.hands is not Hands.TOGETHER or ladder.is_join:
            return False
        if not self.run.asks_for_change:
            return False
        check = self.locating.hand_to_check(diagnosis, ladder.transition)
        if check is not None:
            self.repair.ladder = None
            self._assign(self.locating.look_into(check))
        return check is not None

    def _lose_patience(self, ladder: RepairLadder) -> bool:
        """Where nothing is gained: another way of practising it; in the end it is left."""
        work = self.repair.work_at(ladder)
        if ladder.tempo.on_trial:
            return False
        if work.is_over:
            self._leave(ladder)
            return True
        as_easy_as_it_gets = ladder.at == 0 and ladder.tempo.at_floor and self.run.asks_for_change
        wants = work.wants_another_way or as_easy_as_it_gets
        if wants and ladder.tempo.at_target and not ladder.tempo.at_floor:
            self._assign(self.repair.slow_down(ladder))
            return True
        if wants and self.practise_otherwise(ladder):
            return True
        if as_easy_as_it_gets:  # no way is left, and the same isn't asked for again for nothing
            self._leave(ladder)
        return as_easy_as_it_gets

    def _leave(self, ladder: RepairLadder) -> None:
        """It got no better: it is left for today, and with it a hand that fails elsewhere, too."""
        wanted = self.repair.leave(ladder)
        if self.task.is_one_hand and not self.locating.holds_mostly:
            self.repair.left, self.given_up = None, True
        self._assign(wanted)

    @property
    def _exercise_is_over(self) -> bool:
        tried_enough = self.run.played >= MOST_TRIES or self.run.asks_for_change
        return self._run_is_full or tried_enough

    def practise_otherwise(self, ladder: RepairLadder) -> bool:
        """Ask for a place in another way; False where none is left."""
        work = self.repair.work_at(ladder)
        kind = self.kind_of(ladder.transition)
        move = ladder.transition
        windows = (
            ladder.window,
            ladder.rungs[ladder.start],
            self.practice_map.bar(move, move.hands),
        )
        used = [*work.used, *[Exercise.NOTES] * (self.task.stage is Stage.NOTES)]
        chosen = choose_exercise(
            self.practice_map, windows, kind, [*used, *work.before]
        ) or choose_exercise(self.practice_map, windows, kind, used)
        if chosen is None:
            return False
        exercise, window = chosen
        work.used.append(exercise)
        as_written = self._make_assignment(NextWindow(window, AssignmentKind.DRILL, ""))
        self.assign_instead(make_exercise(exercise, as_written, ladder.tempo.slowest_qpm))
        self.exercise = exercise
        return True

    def kind_of(self, move: Transition) -> TroubleKind | None:
        """What sort of trouble a move is, as far as that is known."""
        named = (t for t in self.troubles if t.transition.to_quarters == move.to_quarters)
        return next((trouble.kind for trouble in named), None)

    def _follow_broken_reading(self) -> None:
        """A reading may slip once; what breaks nearly everywhere is too much at once."""
        self.too_much = self.run.asks_for_change or self.locating.is_all_loose
        if not self.too_much:
            self._assign(NextWindow(self.task.window, self.task.kind, READ_AGAIN))

    def _follow_whole(self, clean: bool, diagnosis: Diagnosis) -> None:
        surer = self._ask_to_be_sure(diagnosis) if clean else None
        if surer is not None:
            self._assign(surer)
        elif clean and self._run_is_full:
            self._assign(self._raise_or_finish())
        elif self.tempo.on_trial:
            self._assign(self._follow_trial(clean))
        elif not clean or self._surely_breaks(diagnosis):
            # What is only in doubt does not break into a clean run: the run may show it, too.
            self._locate(clean, diagnosis)

    def _surely_breaks(self, diagnosis: Diagnosis) -> bool:
        named = bool(self.locating.named_troubles(diagnosis))
        return named or self.locating.has_open_hand(diagnosis)

    def _ask_to_be_sure(self, diagnosis: Diagnosis) -> NextWindow | None:
        """Where a place broke before: it by itself, or the whole some more times, once."""
        if self.task.is_part or not self.tempo.at_target:
            return None
        if not self._run_is_full and self.locating.named_troubles(diagnosis):
            return None
        mended = self.locating.check_next(
            self.repair.mended, self._asks(CHECKED_MENDED), self._wholes_to_go
        )
        if mended or not self._run_is_full:
            return self._ask_for_check(mended)
        doubtful = self.locating.is_not_cleared(diagnosis)
        check = self.locating.check_next(doubtful, self._asks(CHECKED), self._wholes_to_go)
        if check or self.is_surer or self.wholes_left:
            return self._ask_for_check(check)
        if not doubtful and not self._has_not_shown(diagnosis):
            return None
        self.is_surer = True
        places = [arrival_words(self.practice_map.score, move) for move in doubtful]
        reason = surer_words(places[0], SURER) if places else unbroken_words(SURER)
        return NextWindow(self.task.window, AssignmentKind.DRILL, reason)

    def _has_not_shown(self, diagnosis: Diagnosis) -> bool:
        """What was brought so that it is heard where it breaks never did, and may all the same.

        A long one tells enough by three: it takes minutes.
        """
        task = self.task
        was_brought = task.kind is AssignmentKind.TRY and not (task.is_new or task.is_set_work)
        may_be_asked = task.clean_required >= USUAL_CLEAN and not task.is_long
        return (
            was_brought and may_be_asked and not self.broke and self.locating.is_unproved(diagnosis)
        )

    def _asks(self, count: int) -> int:
        """So many clean ones; who set fewer than usual is never asked for more."""
        return count if self.task.clean_required >= USUAL_CLEAN else self.task.clean_required

    @property
    def _wholes_to_go(self) -> int:
        """Clean ones of the whole that are left to play; one at the least."""
        return max(self._full_run - self.run.clean, 1)

    def _ask_for_check(self, check: PlaceCheck | None) -> NextWindow | None:
        if check is None:
            return None
        place = arrival_words(self.practice_map.score, check.transition)
        reason = check_words(place, check.clean_required)
        return NextWindow(check.window, AssignmentKind.NARROW, reason)

    def _follow_check(self, check: PlaceCheck, clean: bool, diagnosis: Diagnosis) -> None:
        """What keeps breaking by itself is looked into; where it holds the whole goes on."""
        if not clean and (self.run.asks_for_change or self.locating.named_troubles(diagnosis)):
            self.locating.proved.discard(check.transition.to_quarters)
            self.locating.probe = None
            self._locate(clean, diagnosis)
        elif not clean:
            self._assign(None)
        elif self._run_is_full:
            self.locating.probe = None
            self.wholes_left = check.wholes_left
            reason = on_with_all_words(check.wholes_left)
            self._assign(NextWindow(self.task.window, AssignmentKind.WIDEN, reason))

    @property
    def _run_is_full(self) -> bool:
        return self.run.clean >= self.assignment.clean_required

    def _raise_or_finish(self) -> NextWindow | None:
        window = self.task.window
        self.work.hear_hold(0, self.tempo.share)
        if self.tempo.on_trial:
            self.tempo.keep_trial()
        if self.tempo.at_target:
            self.done = self._run_is_full and self.run.clean >= self._full_run
            hold = NextWindow(window, AssignmentKind.QUICKEN, NOW_HOLD_IT)
            return None if self.done else hold
        if self._held_at_once and self.tempo.target_qpm is not None:
            self.tempo.stand_at(self.tempo.target_qpm)
            kind = AssignmentKind.QUICKEN
        else:
            kind = self.tempo.raise_tempo(self._beat_quarters(window))
        return NextWindow(window, kind, up_words(kind, self._say_tempo()))

    def _follow_trial(self, clean: bool) -> NextWindow:
        window = self.task.window
        if clean:
            self.tempo.keep_trial()
            return NextWindow(window, AssignmentKind.QUICKEN, HOLD_IT_THERE)
        self.tempo.undo_trial()
        return NextWindow(window, AssignmentKind.SLOWER, trial_failed_words(self._say_tempo()))

    def _locate(self, clean: bool, diagnosis: Diagnosis) -> None:
        """Look for the trouble; mend it where it is named and little else is in doubt."""
        on_all = self.assignment.window == self.task.window
        is_too_long = self.task.is_long and self._times_slipped >= TOO_HARD
        must_change = self.run.asks_for_change or (on_all and is_too_long)
        must_act = on_all and must_change  # the same is not asked for a third time
        if on_all and self.locating.is_loose:
            self._follow_loose(must_change=must_change)
            return
        probe = self.locating.best_probe(diagnosis, self.assignment.window if must_change else None)
        named = self.locating.named_troubles(diagnosis)
        looks_on = self.locating.searches_on(diagnosis) and not (must_act and probe is None)
        if probe is not None and (looks_on or not named):
            self._assign(self.locating.look_into(probe))
        elif named:
            more = self._hear_more(named[0], diagnosis, same_again=not must_act)
            self._assign(more or self._begin_repair(named[0], clean))
        elif not looks_on and (unknown := self.locating.trouble_of_unknown_hand(diagnosis)):
            self._assign(self._begin_repair(unknown, clean))
        elif not on_all and not is_too_long:
            self._assign(self.locating.back_to_all(clean, diagnosis))
        else:
            self._assign(self._make_easier() if must_change or is_too_long else None)

    def _follow_loose(self, *, must_change: bool) -> None:
        """It fails everywhere: the hand that does alone, where the other holds; else easier."""
        hand = self.locating.hand_at_fault if must_change and not self.task.is_long else None
        if hand is None or hand in self.hands_taken:
            self._assign(self._make_easier() if must_change else None)
            return
        self.hands_taken.add(hand)
        self.hand_first, self.too_much = hand, True

    def hand_first_qpm(self, window: Window) -> float | None:
        """The tempo to take a hand at that failed everywhere: slower where keys were wrong."""
        now_qpm, slowest_qpm = self.tempo.now_qpm, self.tempo.slowest_qpm
        if now_qpm is None or slowest_qpm is None or not self.locating.has_failed_keys(window):
            return now_qpm
        slower_qpm = slower(now_qpm, self._beat_quarters(window), MOST_MARKS)
        return max(slower_qpm, slowest_qpm)

    @property
    def _times_slipped(self) -> int:
        """Takes of the whole running in which it slipped; of a very long one the slips in one."""
        is_heard_once = self.practice_map.beats(self.task.window) > HEARD_ONCE_BEATS
        return max(self.work.unclean, self.slips if is_heard_once else 0)

    def _hear_more(
        self, named: Trouble, diagnosis: Diagnosis, *, same_again: bool
    ) -> NextWindow | None:
        again = named.transition.to_quarters in self.repair.mended_beats
        if again or self.locating.has_heard_enough(diagnosis):
            return None
        return self.locating.hear_more(
            named.transition,
            same_again=same_again,
            has_open_hand=self.locating.has_open_hand(diagnosis),
        )

    def _begin_repair(self, trouble: Trouble, clean: bool) -> NextWindow:
        """Begin on a trouble; where nothing broke a moment ago it is said that it did before."""
        on_all, self.wholes_left = self.assignment.window == self.task.window, 0
        self.locating.stop_looking()
        wanted = self.repair.open_trouble(trouble, self.new_repair_tempo())
        return (
            wanted._replace(reason=broke_before_words(wanted.reason))
            if clean and on_all
            else wanted
        )

    def _make_easier(self) -> NextWindow | None:
        """Nothing stands out and it can't be had.

        What is long is taken apart. Else it is taken slower, or smaller where it can't be slower;
        what gets no better is left for today. Of what held in parts that is said soon: nothing in
        it is too hard.
        """
        made_easier = not self.tempo.at_target or self.work.unclean >= 2 * TOO_HARD
        broke_again = self.task.parts_held and made_easier
        self.too_much = self.task.is_long or self.task.has_parts
        is_over = self.work.is_over or broke_again or self._is_beyond_this_hand
        self.given_up = is_over and not self.too_much
        if self.too_much or self.given_up:
            return None
        if self.tempo.at_floor:
            worst = self.locating.worst_move()
            if worst is None:
                return None
            return self.repair.open_worst(worst, self.new_repair_tempo())
        self.tempo.lower_tempo(self._beat_quarters(self.task.window))
        words = ALL_OVER if self.locating.is_loose else HERE_AND_THERE
        reason = words.format(tempo=self._say_tempo())
        return NextWindow(self.task.window, AssignmentKind.SLOWER, reason)

    @property
    def _is_beyond_this_hand(self) -> bool:
        """Alone and slowly, too, it fails everywhere: at half tempo; soon, where keys are right."""
        if not (self.task.is_one_hand and self.locating.is_loose):
            return False
        is_slower = not self.tempo.at_target
        keys_fail = self.locating.has_failed_keys(self.task.window)
        return self.tempo.at_floor or (is_slower and not keys_fail)

    def new_repair_tempo(self) -> TempoLadder:
        """The tempo for a repair that begins now: from the whole's, up to the one asked for.

        However slow the whole is taken at the moment: a slowed tempo is nothing to go back to.
        """
        now = self.assignment.qpm if self.tempo.on_trial else self.tempo.now_qpm
        return TempoLadder(self.tempo.target_qpm, now, self.tempo.slowest_qpm)

    # -- assignments -------------------------------------------------------------------------

    def begin_again(self, task: Task) -> None:
        """The same window after its parts were got; what was mended in it stays known."""
        self.task = self.locating.task = self.repair.task = task
        self.tempo = TempoLadder.start(task.qpm, task.start_qpm)
        self.locating.stop_looking()
        self.run, self.work, self.too_much = RunCounts(), PlaceWork(), False
        self.hand_first = None
        self.assignment = self._make_assignment(NextWindow(task.window, task.kind, task.reason))

    def resume(self, reason: str, kind: AssignmentKind = AssignmentKind.JOIN) -> None:
        """Back from a request or an exercise to where the task stood."""
        self.requested = self.exercise = self.locating.probe = None
        self._assign(
            NextWindow(self.ladder.window if self.ladder else self.task.window, kind, reason)
        )

    def assign_instead(self, wished: Assignment) -> None:
        """Follow a request, until its clean run is full."""
        self.requested = self.assignment = wished
        self.exercise = None
        self.run = RunCounts()

    def assign(self, window: Window, kind: AssignmentKind, reason: str) -> None:
        """Ask for a window, at the tempo that stands."""
        self._assign(NextWindow(window, kind, reason))

    def _beat_quarters(self, window: Window) -> Fraction:
        return self.practice_map.beat_quarters(window)

    def reason_once_broken(self, asked: Assignment) -> str:
        """Why something is asked for still, after it broke: that it held is no reason any more."""
        if not isinstance(asked.reason, UntilBroken):
            return asked.reason
        return once_more_words(tempo_words(asked.qpm, self._beat_quarters(asked.window)))

    def _say_tempo(self) -> str:
        return tempo_words(self.tempo.now_qpm, self._beat_quarters(self.task.window))

    def _required(self, window: Window) -> int:
        if isinstance(self.locating.probe, PlaceCheck):
            return self.locating.probe.clean_required
        if self.locating.probe is not None:
            return self.locating.times
        if self.tempo_now.on_trial:
            return 1
        if self.ladder is not None:
            return self.ladder.required(self.task.clean_required)
        if window != self.task.window:
            return self.locating.times
        if self.tempo.at_target:
            return self._full_run + SURER * self.is_surer
        once = self._held_at_once or self.task.parts_held
        return 1 if once else two_thirds_of(self.task.clean_required)

    @property
    def _held_at_once(self) -> bool:
        """New music in which nothing broke yet."""
        return self.task.is_new and not self.broke

    @property
    def _full_run(self) -> int:
        """Clean ones running that the task asks for at its tempo."""
        if self.task.is_reading or (self.task.is_part and self._held_at_once):
            return 1
        asked = self.task.clean_required
        is_short_run = self.task.parts_held and not self.task.is_set_work
        return self.wholes_left or (third_of(asked) if is_short_run else asked)

    def _make_assignment(self, wanted: NextWindow) -> Assignment:
        qpm = self.tempo_now.now_qpm
        return Assignment(
            window=wanted.window,
            qpm=qpm,
            stage=self.task.stage,
            clean_required=self._required(wanted.window),
            kind=wanted.kind,
            reason=wanted.reason,
            click=self.task.stage.has_click and qpm is not None,
        )

    def _assign(self, wanted: NextWindow | None) -> None:
        """Ask for something; None: the same again, for as many as it now takes."""
        before = self.assignment
        reason = self.reason_once_broken(before) if self.run.unclean else before.reason
        wanted = wanted or NextWindow(before.window, before.kind, reason)
        given = self._make_assignment(wanted)
        if before.qpm and given.qpm and self.run.unclean and given.qpm > before.qpm:
            # After an unclean repetition the tempo never rises; a probe does not slow the whole.
            if self.locating.probe is None:
                self.tempo_now.now_qpm = before.qpm
            given = replace(self._make_assignment(wanted), qpm=before.qpm)
        self.assignment = given
        if before.to_play != given.to_play:
            self.run = RunCounts()
