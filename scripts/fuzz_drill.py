"""Plays anything at all to drills, at any moment: does one raise, or break its own rules?

    python -m scripts.fuzz_drill --minutes 20 --seed 1
    python -m scripts.fuzz_drill --seed 1 --round 812      # one round again, told in full
    python -m scripts.fuzz_drill --seed 1 --from 5000      # go on where a run was stopped

A round is one drill, or one warm-up of several, on the sample scores or a made one, and some
hundred things that happen to it in any order: keys (mostly the window's), key-ups, pedals, silences
of any length, wishes, changes of the plan, a pause, a piano lost and found, verdicts that come late
and in any order. Its seed is the run's with the round's number. The rules are those of
:class:`Watched`.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import count

from coach.coaching.drill import drill as drill_module
from coach.coaching.drill.drill import REST_S, Drill
from coach.coaching.drill.drill_events import (
    AssignmentGiven,
    DrillEvent,
    DrillState,
    NoteMarked,
    RepetitionBegan,
    RepetitionEnded,
    SetAside,
    StateChanged,
    ToJudge,
)
from coach.coaching.drill.states import TABLE
from coach.coaching.drill.warmup_drill import WarmUpDrill
from coach.coaching.model import Goal, Order, PlanChange, Request, Way
from coach.coaching.planning import WarmUpItem, WarmUpRound, WeakSpot, dues_of
from coach.judging.judge import JudgingJob
from coach.judging.model import Stage
from coach.playing.midi_events import KeyDown, KeyUp, Pedal
from coach.score.model import Hands, Score
from coach.score.window import Window, excerpt
from scripts.judge_material import made_score, sample_scores

REPORT_S = 60.0
STEPS = 150
FRAME_S = 0.05


@dataclass
class Watched:
    """A drill with everything that it answers held against its rules.

    Every repetition that is begun ends once: judged, given out to be judged, or set aside; every
    one that is given out is judged once, in the order played; nothing is asked for anew with a
    repetition in hand, nor by the clock alone before the hands have rested; every change of state
    is one of the table; marks are of notes that are in the window.
    """

    drill: Drill | WarmUpDrill
    now_s: float = 10.0
    state: DrillState = DrillState.READY
    in_hand: bool = False
    waiting: list[JudgingJob] = field(default_factory=list)
    """Given out to be judged, and not answered yet."""
    unseen: list[JudgingJob] = field(default_factory=list)
    """Given out, and its end not told yet."""
    last_key_s: float = float("-inf")
    notes: int = 0
    """In the window that was given last."""
    seen: Counter[str] = field(default_factory=Counter)
    told: Callable[[str], None] = lambda text: None

    def start(self) -> None:
        self.take(self.drill.start(self.now_s))

    def take(self, outcomes: Iterable[DrillEvent], *, by_clock: bool = False) -> None:
        """Look at what was answered."""
        for one in outcomes:
            self.told(f"{self.now_s:9.2f}    {type(one).__name__} {brief(one)}")
            self.seen[type(one).__name__] += 1
            self._look_at(one, by_clock=by_clock)
        assert self.state is self.drill.state, f"{self.state} shown, {self.drill.state} it is"
        playing = self.drill.state is DrillState.PLAYING
        assert self.in_hand == playing, f"in hand: {self.in_hand}, state: {self.drill.state}"

    def _look_at(self, one: DrillEvent, *, by_clock: bool) -> None:
        match one:
            case StateChanged(state):
                after = {*TABLE[self.state].values()}
                reached = state in after or any(state in TABLE[s].values() for s in after)
                assert reached, f"from {self.state} to {state}"
                self.state = state
            case RepetitionBegan():
                assert not self.in_hand, "begun with another in hand"
                self.in_hand = True
            case ToJudge(job):
                assert self.in_hand, "given out, but never begun"
                self.in_hand = False
                self.waiting.append(job)
                self.unseen.append(job)
            case RepetitionEnded(take=take):
                given_out = [job for job in self.unseen if job.take is take]
                if given_out:
                    self._is_told(given_out[0])
                else:
                    assert self.in_hand, "ended, but never begun"
                    self.in_hand = False
            case SetAside(job=None):
                self.in_hand = False
            case SetAside(job=JudgingJob() as job):
                self._is_told(job)
            case AssignmentGiven(excerpt=given):
                assert not self.in_hand, "asked for anew with a repetition in hand"
                self.notes = len(given.notes)
                rested = self.now_s - self.last_key_s >= REST_S - 1e-6
                assert rested or not by_clock, "asked for anew under the hands"
            case NoteMarked(note):
                assert 0 <= note < self.notes, "a mark on a note that isn't there"

    def _is_told(self, job: JudgingJob) -> None:
        """The end of one that was given out; in a warm-up each spot's have their own order."""
        first = self.unseen.index(job) == 0
        assert first or isinstance(self.drill, WarmUpDrill), "out of order"
        self.unseen.remove(job)

    # -- what happens -----------------------------------------------------------------------

    def key(self, pitch: int, velocity: int = 64) -> None:
        before, self.last_key_s = self.last_key_s, self.last_key_s
        self.take(self.drill.hear(KeyDown(pitch, velocity, self.now_s)), by_clock=True)
        self.last_key_s = self.now_s if self.drill.state is not DrillState.NO_PIANO else before

    def up(self, pitch: int) -> None:
        self.take(self.drill.hear(KeyUp(pitch, self.now_s)), by_clock=True)

    def pedal(self, controller: int, value: int) -> None:
        self.take(self.drill.hear(Pedal(controller, value, self.now_s)), by_clock=True)

    def wait(self, seconds: float, frame_s: float = FRAME_S) -> None:
        end_s = self.now_s + seconds
        while self.now_s < end_s:
            self.now_s = min(self.now_s + frame_s, end_s)
            self.take(self.drill.tick(self.now_s), by_clock=True)

    def ask(self, request: Request) -> None:
        self.take(self.drill.ask(request, self.now_s))

    def pause(self) -> None:
        self.take(self.drill.pause(self.now_s))

    def resume(self) -> None:
        self.take(self.drill.resume(self.now_s))

    def lose_piano(self) -> None:
        self.take(self.drill.piano_lost(self.now_s))

    def find_piano(self) -> None:
        self.take(self.drill.piano_found(self.now_s))

    def judge(self, at: int = 0) -> None:
        """Hand in the verdict on one that was given out."""
        if self.waiting:
            job = self.waiting.pop(at % len(self.waiting))
            self.take(self.drill.take_verdict(job, job.judge(), self.now_s))

    def finish(self) -> None:
        """Everything comes to its end: nothing is lost, nothing hangs."""
        self.wait(20.0, 0.25)
        while self.waiting:
            self.judge(-1)
        self.wait(2.0)
        assert not self.unseen, "given out, and no end told"
        assert self.state is not DrillState.PLAYING, "a repetition without an end"


def brief(one: DrillEvent) -> str:
    match one:
        case RepetitionEnded(judgement=judgement):
            return judgement.sentence
        case AssignmentGiven(assignment=asked):
            return f"{asked.window} {asked.qpm} {asked.reason}"
        case ToJudge(job):
            return f"{job.number}"
        case _:
            return str(one).partition("(")[2].rstrip(")")[:100]


# -- a round ------------------------------------------------------------------------------------


def make_drill(rng: random.Random, score: Score, *, now_s: float = 0.0) -> Drill:
    """A drill of a stretch of a score, for any goal."""
    bars = list(score.bars)
    first = rng.randrange(len(bars))
    last = min(first + rng.choice([0, 0, 0, 1, 1, 3, 7]), len(bars) - 1)
    window = Window(bars[first].onset_quarters, bars[last].end_quarters, rng.choice(list(Hands)))
    if not _playable(score, window):
        window = Window(Fraction(0), score.end_quarters)
    goal = Goal(
        window,
        rng.choice([40.0, 72.0, 100.0, 160.0]),
        stage=rng.choice([Stage.NOTES, Stage.RHYTHM, Stage.RHYTHM, Stage.PULSE, Stage.SHAPE]),
        clean_required=rng.choice([1, 2, 3]),
        way=rng.choice(list(Way)),
        order=rng.choice(list(Order)),
        own_pace=rng.random() < 0.15,
    )
    return Drill(score, goal, now_s=now_s, judges_elsewhere=rng.random() < 0.5)


def _playable(score: Score, window: Window) -> bool:
    if not score.notes_between(window.start_quarters, window.end_quarters, window.hands):
        return False
    return len(excerpt(score, window).notes) > 0


def make_watched(rng: random.Random, samples: list[Score]) -> Watched:
    def score() -> Score:
        return rng.choice(samples) if rng.random() < 0.7 else made_score(rng)

    if rng.random() < 0.25:
        return Watched(make_warm_up(rng, score(), elsewhere=rng.random() < 0.5))
    return Watched(make_drill(rng, score()))


def make_warm_up(
    rng: random.Random, score: Score, *, elsewhere: bool = False, spots: int | None = None
) -> WarmUpDrill:
    """A warm-up of up to three spots of a score, each in one bar."""
    bars = rng.sample(list(score.bars), min(len(score.bars), spots or rng.choice([1, 2, 3])))
    windows = [Window(bar.onset_quarters, bar.end_quarters) for bar in bars]
    windows = [window for window in windows if _playable(score, window)]
    windows = windows or [Window(Fraction(0), score.end_quarters)]
    given = [_spot(window, score) for window in windows]

    def make(spot: WarmUpItem, window: Window, clean: int, now_s: float) -> Drill:
        goal = Goal(window, spot.qpm, clean_required=1)
        return Drill(score, goal, now_s=now_s, judges_elsewhere=elsewhere)

    round_ = WarmUpRound(dues_of("piece", given), rng.choice([0.5, 5.0]))
    return WarmUpDrill(round_, dict(enumerate(given)), make, 0.0)


def _spot(window: Window, score: Score) -> WarmUpItem:
    move = excerpt(score, window).transitions[0]
    spot = WeakSpot(move, 2, 3, mended=False, qpm=80.0)
    return WarmUpItem(spot, window, window, 80.0)


def one_step(rng: random.Random, watched: Watched) -> None:
    """Something happens."""
    kind = rng.choices(
        [
            "window",
            "part",
            "keys",
            "wait",
            "ups",
            "pedal",
            "ask",
            "pause",
            "piano",
            "judge",
            "plan",
        ],
        [10, 8, 8, 12, 3, 2, 2, 1, 1, 6, 1],
    )[0]
    watched.told(f"{watched.now_s:9.2f} {kind}")
    match kind:
        case "window":
            play(rng, watched, 0, None, slip=rng.choice([0, 0, 0.1, 0.5]))
        case "part":
            number = len(watched.drill.excerpt.onsets_quarters)
            first = rng.choice([0, 0, rng.randrange(number)])
            play(rng, watched, first, first + rng.randrange(1, 8), slip=rng.choice([0, 0, 0.2]))
        case "keys":
            for _ in range(rng.choice([1, 1, 2, 4, 20])):
                watched.key(rng.choice([rng.randrange(128), _some_key(rng, watched)]), _touch(rng))
                watched.wait(rng.choice([0.0, 0.01, 0.2, 1.2]))
        case "wait":
            watched.wait(
                rng.choice([0.1, 0.3, 0.6, 1.0, 1.6, 3.5, 8.0, 30.0]), rng.choice([0.05, 1])
            )
        case "ups":
            for pitch in range(128):
                watched.up(pitch)
        case "pedal":
            watched.pedal(rng.choice([64, 66, 67]), rng.randrange(128))
        case "ask":
            watched.ask(rng.choice(list(Request)))
        case "pause":
            rng.choice([watched.pause, watched.resume])()
        case "piano":
            rng.choice([watched.lose_piano, watched.find_piano, watched.find_piano])()
        case "judge":
            watched.judge(rng.choice([0, 0, -1]))
        case "plan":
            change_plan(rng, watched)


def change_plan(rng: random.Random, watched: Watched) -> None:
    drill = watched.drill
    if isinstance(drill, Drill):
        row, change = rng.randrange(len(drill.coach.plan())), rng.choice(list(PlanChange))
        watched.take(drill.change_plan(row, change, watched.now_s))
        if rng.random() < 0.3:
            watched.take(drill.reorder(rng.choice(list(Order)), watched.now_s))


def play(
    rng: random.Random, watched: Watched, first: int, last: int | None, *, slip: float
) -> None:
    """Some onsets of the window that stands, in order, rightly but for slips."""
    part, asked = watched.drill.excerpt, watched.drill.assignment
    onsets = part.onsets_quarters[first:last]
    quarter_s = 60.0 / (asked.qpm or part.qpm) * rng.choice([1.0, 1.0, 1.0, 0.4, 2.5])
    before = onsets[0]
    for onset in onsets:
        watched.wait(max(float(onset - before) * quarter_s - 0.01, 0.0), rng.choice([0.05, 0.25]))
        before = onset
        for note in part.notes:
            if note.onset_quarters == onset:
                wrong = rng.choice([-12, -2, -1, 1, 2, 12]) if rng.random() < slip else 0
                watched.key(min(max(note.pitch + wrong, 0), 127), _touch(rng))
                if rng.random() < 0.7:
                    watched.up(note.pitch)


def _some_key(rng: random.Random, watched: Watched) -> int:
    return rng.choice(watched.drill.excerpt.notes).pitch


def _touch(rng: random.Random) -> int:
    return rng.choice([1, 20, 64, 64, 64, 127])


def run_round(seed: int, number: int, samples: list[Score], *, told: bool = False) -> Counter[str]:
    """One round; raises where a rule is broken."""
    rng = random.Random(f"{seed}:{number}")
    watched = make_watched(rng, samples)
    if told:
        watched.told = print
    watched.start()
    for _ in range(rng.randrange(10, STEPS)):
        one_step(rng, watched)
    watched.finish()
    return watched.seen


def main() -> int:
    args = _arguments()
    samples, seen, failures = sample_scores(), Counter[str](), []
    drill_module.LARGE = 60  # so that most takes are judged elsewhere, where that is allowed
    start = time.monotonic()
    report_at, slowest = start + REPORT_S, (0.0, 0)
    print(f"seed {args.seed}, from round {args.start}", flush=True)
    rounds = 0
    for number in count(args.start) if args.round is None else [args.round]:
        begun = time.process_time()
        try:
            seen += run_round(args.seed, number, samples, told=args.round is not None)
        except Exception:
            failures.append(number)
            print(
                f"FAILURE at seed {args.seed}, round {number}:\n{traceback.format_exc()}",
                flush=True,
            )
        rounds += 1
        slowest = max(slowest, (time.process_time() - begun, number))
        now = time.monotonic()
        if now > start + 60 * args.minutes:
            break
        if now > report_at:
            print(f"up to round {number}: failures {len(failures)}", flush=True)
            report_at = now + REPORT_S
    kinds = ", ".join(f"{many:,} {kind}" for kind, many in seen.most_common())
    print(
        f"{args.minutes:g} minutes, seed {args.seed}: {rounds} rounds: {kinds}; slowest "
        f"{slowest[0]:.1f} s (round {slowest[1]}); failures: {len(failures)} {failures[:20]}"
    )
    return 1 if failures else 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--round", type=int, help="only this one, told in full")
    parser.add_argument("--from", dest="start", type=int, default=0, help="the first round")
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())
