"""Opening a piece to be drilled: from where the pianist stands, and what is kept of it."""

from __future__ import annotations

import json
import time
from argparse import Namespace
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from coach.cli.open_score import goal_from, open_piece
from coach.cli.parser import WARM_UP_MIN
from coach.cli.passages import DONE, PassageFollower, SetPassage, find_today
from coach.cli.warmup import OpenScore, WarmUpPiece, WarmUpPieces, find_due, warm_up_plan
from coach.coaching.coach import Coach
from coach.coaching.diagnosis import MOST_OBSERVATIONS
from coach.coaching.drill import Drill, RepetitionEnded, WarmUpDrill
from coach.coaching.model import USUAL_CLEAN, Goal, Observation, Way
from coach.coaching.planning import WarmUpItem, find_new_ground, find_next_goal, list_due
from coach.coaching.wording import stretch_words
from coach.judging.judge import JudgingJob
from coach.judging.timing import Habits
from coach.judging.tolerance import Strictness, Tolerance
from coach.playing.simulated import demo_fault_words, demo_window
from coach.record.calendar import begin_of_day_s, day_of
from coach.record.folder import UNTIL_THEN, RecordError
from coach.record.lock import Lease
from coach.record.pieces import PieceKey, piece_key
from coach.record.store import Store
from coach.score.model import Score
from coach.score.window import Window, whole_piece
from coach.screens.interfaces import DrillSession, Errand, NextDrill

# What is kept of one drill, and what is said where it can't be.


HABITS = "habits"
"""Under this name the player's own way stands beside where the drill stands."""
ELSEWHERE = "Nothing is kept while another Keyhole drills with this record: close that one."


class Recorder:
    """Keeps a piece's repetitions and where the pianist stands; says what goes wrong.

    While another Keyhole has the record's lease nothing is kept: both may hear the same piano, and
    every repetition would count twice. What is played once the lease is free is kept again.
    """

    def __init__(
        self,
        store: Store | None,
        piece: PieceKey,
        drill: Drill | WarmUpDrill,
        lease: Lease | None = None,
        *,
        keeps_place: bool = True,
    ) -> None:
        self._store, self._piece, self._drill, self._lease = store, piece, drill, lease
        self._keeps_place = keeps_place
        self._begun = json.dumps(self._place())

    def keep(self, ended: RepetitionEnded) -> str:
        """Keep a repetition and where the drill now stands."""
        if self._store and self._lease and not self._lease.ours:
            return ELSEWHERE
        return self._brief(
            lambda store: store.save_repetition(self._piece, ended, time.time(), self._place())
        )

    def keep_unjudged(self, job: JudgingJob) -> str:
        """Keep what was played where there was no time for a verdict; says where, in a sentence.

        Once, to be heard again or judged from the command line; it is no evidence.
        """
        if self._store is None:
            return ""
        from coach.playing.takes import TakeError, write_take

        stamp = time.strftime("%Y-%m-%d-%H%M%S")
        path = self._store.folder / f"unjudged-{stamp}-{job.number}.mid"
        try:
            write_take(job.take, path)
            path.chmod(0o600)
        except (TakeError, OSError) as error:
            return f"The last repetition was not judged, and its take is lost: {error}"
        return f"The last repetition was not judged yet; its take is {path} (see coach judge)."

    def save(self) -> str:
        """Take the lease, keep what could not be kept before; "" once all of it is."""
        if self._store and self._lease and not self._lease.take():
            return ELSEWHERE
        return self._brief(Store.save_unsaved)

    def leave(self) -> str:
        """Keep where the drill stands, where it has moved, and give the lease back.

        A piece that was only looked at is not the last one that was played.
        """
        if self._store is None or (self._lease and not self._lease.ours):
            return ""
        said = self._keep_place(self._store)
        said, self._store.notices[:] = [*said, *self._store.notices], []
        if self._lease:
            self._lease.give_back()
        return " ".join(said)

    def _keep_place(self, store: Store) -> list[str]:
        place = self._place()
        try:
            store.save_unsaved()
            if place is not None and json.dumps(place) != self._begun:
                store.save_session_state(self._piece, place)
        except RecordError as error:
            return [f"{error} {UNTIL_THEN}" if store.unsaved else str(error)]
        return []

    def _brief(self, work: Callable[[Store], None]) -> str:
        """What goes wrong with it, in a row that stands while the pianist plays on."""
        try:
            if self._store:
                work(self._store)
        except RecordError as error:
            return f"{error.brief} {UNTIL_THEN}"
        return ""

    def _place(self) -> dict[str, object] | None:
        if not self._keeps_place or isinstance(self._drill, WarmUpDrill):
            return None
        return {**self._drill.coach.state(), HABITS: self._drill.habits.to_plain()}


class SessionMaker:
    """Makes sessions; ``options`` are those of ``coach drill``, or None.

    ``lease``: the record's, taken by each session that keeps anything.
    """

    def __init__(
        self,
        store: Store | None,
        lease: Lease | None = None,
        *,
        options: Namespace | None = None,
        minutes: Callable[[], float] = lambda: WARM_UP_MIN,
        click_offset_ms: Callable[[], float] = float,
        judges_elsewhere: bool = False,
        open_score: OpenScore = open_piece,
    ) -> None:
        self._store, self._options, self._minutes = store, options, minutes
        self._lease = lease
        self._judges_elsewhere = judges_elsewhere
        self._open_score = open_score
        self._click_offset_ms = click_offset_ms
        strictness = options.strictness if options else "usual"
        self._tolerance = Tolerance.of(Strictness(strictness))

    def make(
        self, score: Score, path: Path, errand: Errand, now_s: float, goal: Goal | None = None
    ) -> DrillSession:
        """The session for an errand, or for a goal that the pianist goes on to.

        Raises ValueError, one sentence, where there is nothing to drill.
        """
        piece = piece_key(score, path)
        epoch_s = time.time() - now_s
        store = None if errand is Errand.DEMO else self._store
        if errand is Errand.PLAN and goal is None:
            return self._begin_plan(score, path, piece, now_s)
        if errand is Errand.WARM_UP:
            return self._begin_warm_up(score, path, piece, now_s)
        history: tuple[Observation, ...] = ()
        with suppress(RecordError):  # what is wrong is said when the drill is kept
            history = store.history(piece, newest=MOST_OBSERVATIONS) if store else ()
        if errand is Errand.DEMO:
            goal = _demo_goal(score)
        state = self._kept_state(piece, errand)
        if goal and errand is not Errand.PLAN:
            coach = Coach(score, goal, history=history, now_s=now_s + epoch_s)
        else:
            asked = goal or self._goal(score, errand)
            coach = _resume(score, asked, state, history, now_s + epoch_s)
        elsewhere = self._judges_elsewhere and errand is not Errand.DEMO
        habits = _habits_in(state)
        drill = self._drill(score, coach.goal, now_s, epoch_s, coach, habits, elsewhere=elsewhere)
        recorder = Recorder(store, piece, drill, self._lease)
        learns = coach.goal.way is Way.LEARN
        return DrillSession(
            score, drill, piece.title, recorder.keep, recorder.leave, coach.plan,
            drill.change_plan if learns else None,
            drill.reorder if learns else None,
            recorder.save,
            self._after_demo(score, path, coach.goal)
            if errand is Errand.DEMO
            else self._after(score, path, coach.goal),
            recorder.keep_unjudged,
        )  # fmt: skip

    def _after(self, score: Score, path: Path, goal: Goal) -> NextDrill | None:
        """The bars that come after a goal."""
        after = find_next_goal(score, goal)
        if after is None:
            return None
        where = stretch_words(score, after.window)
        return NextDrill(where, lambda at_s: self.make(score, path, Errand.DRILL, at_s, after))

    def _after_demo(self, score: Score, path: Path, goal: Goal) -> NextDrill:
        """The same passage, played by whoever watched."""
        yours = replace(goal, reason="")
        return NextDrill(
            stretch_words(score, goal.window),
            lambda at_s: self.make(score, path, Errand.DRILL, at_s, yours),
            "It was found, made small, slowed down, and put back.",
        )

    def _kept_state(self, piece: PieceKey, errand: Errand) -> Mapping[str, Any] | None:
        with suppress(RecordError):
            if self._store and self._resumes(errand):
                return self._store.session_state(piece)
        return None

    def _resumes(self, errand: Errand) -> bool:
        afresh = self._options is not None and self._options.afresh
        return errand in (Errand.GO_ON, Errand.DRILL, Errand.PLAN) and not afresh

    def _goal(self, score: Score, errand: Errand) -> Goal | None:
        """What the command line asks for; None where it leaves it to where the pianist stands."""
        options = self._options
        if options is None or errand is not Errand.DRILL or not asks_for_something(options):
            return None
        return goal_from(options, score)

    def _begin_plan(self, score: Score, path: Path, piece: PieceKey, now_s: float) -> DrillSession:
        """The session for what the plan asks for today, one passage after the other."""
        part = None
        with suppress(RecordError):
            if self._store:
                part = find_today(self._store, piece, score)
        if part is None or part.is_done:
            raise ValueError(f"{DONE} Go on with the piece, or with another one.")
        goals = part.goals()
        passages = [
            SetPassage(goal, f"{at} of {len(goals)} today")
            for at, goal in enumerate(goals, start=1)
        ]

        def make(score: Score, path: Path, at_s: float, goal: Goal) -> DrillSession:
            return self.make(score, path, Errand.PLAN, at_s, goal)

        return PassageFollower(path, passages, make, DONE).begin(score, now_s)

    def _begin_warm_up(
        self, score: Score, path: Path, piece: PieceKey, now_s: float
    ) -> DrillSession:
        unix_s = time.time()
        try:
            due = find_due(self._store, unix_s)
            own = next((one.due for one in due.pieces if one.piece == piece), None)
            if own is None:
                spots = self._store.weak_spots(piece) if self._store else ()
                own = list_due(spots, day_of(unix_s), unix_s)
        except RecordError as error:
            raise ValueError(str(error)) from error
        first = WarmUpPiece(piece, path, own, score)
        warming = WarmUpPieces(first, due, self._minutes(), self._open_score, self._store)
        return self._warm_up(warming, piece.key, now_s)

    def _warm_up(self, warming: WarmUpPieces, key: str, now_s: float) -> DrillSession:
        """The session for one piece of a warm-up; the next one comes after it, by itself."""
        one, spots = warming.piece(key), warming.spots(key)
        score = one.score
        assert score
        epoch_s = time.time() - now_s

        def make(spot: WarmUpItem, window: Window, clean: int, at_s: float) -> Drill:
            goal = Goal(window, spot.qpm, clean_required=clean, reason=spot.reason)
            return self._drill(score, goal, at_s, epoch_s, elsewhere=self._judges_elsewhere)

        drill = WarmUpDrill(warming.round, spots, make, now_s)
        recorder = Recorder(self._store, one.piece, drill, self._lease, keeps_place=False)
        return DrillSession(
            score, drill, f"Warm-up: {one.piece.title}",
            recorder.keep, recorder.leave,
            lambda: warm_up_plan(score, [*spots.values()], drill.states),
            save=recorder.save, keep_unjudged=recorder.keep_unjudged,
            next_drill=NextDrill(
                self._ground_words(score, one.piece),
                lambda at_s: self._after_warm_up(warming, one, at_s),
                "The warm-up is done.",
            ),
            path=one.path,
            what_remains=lambda: drill.what_remains,
        )  # fmt: skip

    def _after_warm_up(
        self, warming: WarmUpPieces, last: WarmUpPiece, now_s: float
    ) -> DrillSession:
        """The next piece of a warm-up; once that is over, the piece itself that it ended with."""
        coming = warming.next_piece(now_s)
        if coming is not None and coming.score is not None:
            return self._warm_up(warming, coming.piece.key, now_s)
        assert last.score
        ground = self._find_new_ground(last.score, last.piece)
        return self.make(last.score, last.path, Errand.GO_ON, now_s, ground)

    def _find_new_ground(self, score: Score, piece: PieceKey) -> Goal | None:
        """The next bars that were never played, unless the pianist is amid learning others."""
        if self._store is None:
            return None
        with suppress(RecordError):
            ground = find_new_ground(score, self._store.windows_played(piece))
            if ground and not self._is_learning(score, piece):
                return ground
        return None

    def _is_learning(self, score: Score, piece: PieceKey) -> bool:
        """Whether new bars were begun where the pianist stands, and are not learnt yet."""
        state = self._kept_state(piece, Errand.GO_ON)
        coach = _resume(score, None, state, (), time.time())
        return coach.goal.way is Way.LEARN

    def _ground_words(self, score: Score, piece: PieceKey) -> str:
        ground = self._find_new_ground(score, piece)
        if ground is None:
            return "the piece itself"
        return f"{stretch_words(score, ground.window)}, which are new"

    def _drill(
        self,
        score: Score,
        goal: Goal,
        now_s: float,
        epoch_s: float,
        coach: Coach | None = None,
        habits: Habits | None = None,
        *,
        elsewhere: bool = False,
    ) -> Drill:
        return Drill(
            score,
            goal,
            coach=coach,
            tolerance=self._tolerance,
            now_s=now_s,
            epoch_s=epoch_s,
            click_offset_s=self._click_offset_ms() / 1000.0,
            judges_elsewhere=elsewhere,
            habits=habits,
        )


def _resume(
    score: Score,
    asked: Goal | None,
    state: Mapping[str, Any] | None,
    history: tuple[Observation, ...],
    unix_s: float,
) -> Coach:
    """A coach that goes on from a kept state, where that is of what is asked for; else a new one.

    ``asked`` is None where it is left to where the pianist stands.
    """
    if state is not None:
        try:
            began_s = begin_of_day_s(day_of(unix_s))
            resumed = Coach.resume(
                score, state, history=history, now_s=unix_s, today_began_s=began_s
            )
            resumed.why()
        except Exception:  # of another version, or by another hand: whatever it is, begin anew
            resumed = None
        if resumed and not resumed.decision.finished and asked in (None, resumed.goal):
            return resumed
    return Coach(score, asked or _whole(score), history=history, now_s=unix_s)


def _habits_in(state: Mapping[str, Any] | None) -> Habits:
    """How the player played this piece before, whatever was the goal then."""
    try:
        return Habits.from_plain((state or {})[HABITS])
    except (KeyError, TypeError, ValueError):  # none were kept, or by another version
        return Habits()


def _demo_goal(score: Score) -> Goal:
    """What the demo's player sets out to play: the passage round the planted fault."""
    window = demo_window(score)
    tempo_qpm = score.tempo_at(window.start_quarters)
    return Goal(window, tempo_qpm, clean_required=DEMO_CLEAN, reason=demo_fault_words(score))


DEMO_CLEAN = 2
"""Clean repetitions running that the demo asks for. Own choice: fewer than a drill, so that it is
over in two minutes."""


def _whole(score: Score) -> Goal:
    window = whole_piece(score)
    return Goal(window, score.tempo_at(window.start_quarters))


def asks_for_something(options: Namespace) -> bool:
    """Whether ``coach drill`` names a window, tempo or way, and not only a score."""
    plain: dict[str, object] = {
        "bars": None,
        "beats": None,
        "hand": "both",
        "tempo": None,
        "stage": "rhythm",
    }
    plain |= {"clean": USUAL_CLEAN, "learn": False, "order": "forward", "own_pace": False}
    return any(getattr(options, name) != value for name, value in plain.items())
