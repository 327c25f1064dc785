"""A warm-up over two pieces, played from key to key: which spot when, and for how long."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import replace
from fractions import Fraction as F
from itertools import groupby
from pathlib import Path
from random import Random

import pytest

from coach.cli.warmup import warm_up_plan
from coach.coaching.drill.drill import Drill
from coach.coaching.drill.drill_events import (
    AssignmentGiven,
    DrillEvent,
    DrillState,
    MovedOn,
    Proposed,
    RepetitionEnded,
)
from coach.coaching.drill.warmup_drill import WarmUpDrill
from coach.coaching.model import Goal, Observation, Request
from coach.coaching.planning import (
    DueSpot,
    Turn,
    WarmUpItem,
    WarmUpRound,
    WeakSpot,
    due_spot,
    dues_of,
    follow_spots,
    list_due,
    plan_warm_up,
)
from coach.coaching.planning.warmup import next_turn
from coach.coaching.wording import ENOUGH, NOT_NOW, STILL_HOLDS
from coach.judging.model import Outcome
from coach.playing.midi_events import KeyDown, KeyUp
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.reading import read_score
from coach.score.window import Transition, Window
from scripts.fuzz_drill import Watched, make_warm_up, play
from tests.breadth import every
from tests.judging_help import tune

TICK_S = 0.05
SAMPLE = Path(__file__).parents[1] / "sample_scores" / "1-low-tide.musicxml"


def weak(beat: int, failures: int = 2, tries: int = 3) -> WeakSpot:
    move = Transition(Hands.RIGHT, F(beat - 1), F(beat))
    return WeakSpot(move, failures, tries, mended=False, qpm=80.0)


def observed(beats: tuple[int, ...]) -> list[Observation]:
    """These beats failed twice each, when the piece was last played."""
    return [
        Observation(
            100.0 * beat + 10.0 * time,
            Transition(Hands.RIGHT, F(beat - 1), F(beat)),
            F(beat),
            Hands.RIGHT,
            Outcome.LATE,
            80.0,
        )
        for beat in beats
        for time in range(2)
    ]


def piece(start: int) -> Score:
    return score_from_notes(tune(256, F(1, 2), start=start), qpm=90)


MANY = (tuple(range(5, 120, 8)), tuple(range(9, 120, 8)))
"""More weak spots than there is time for, in both pieces."""


class TwoPieces:
    """A pianist at two pieces: ``holds`` says whether the next repetition of a spot is right."""

    def __init__(
        self,
        holds: Callable[[str, int], bool],
        minutes: float = 5.0,
        beats: tuple[tuple[int, ...], tuple[int, ...]] = ((5, 13, 21, 28), (9, 18, 26)),
    ) -> None:
        self.holds, self.now_s = holds, 100.0
        self.scores = {"a": piece(60), "b": piece(55)}
        self.spots = {}
        for key, failed in zip("ab", beats, strict=True):
            due = list_due(follow_spots(observed(failed), lambda _: 0), 1, 0.0)
            self.spots[key] = plan_warm_up(self.scores[key], due, 1)
        dues = [*dues_of("a", self.spots["a"]), *dues_of("b", self.spots["b"])]
        self.round = WarmUpRound(dues, minutes)
        self.played: list[tuple[str, int, F]] = []
        """Piece, spot and window's length of each repetition."""
        self.said: list[str] = []
        self.rests_s: list[float] = []
        self.moves = 0
        self.put("a")

    def put(self, key: str) -> None:
        """A piece on the desk."""
        first = 0 if key == "a" else len(self.spots["a"])
        spots = {first + at: spot for at, spot in enumerate(self.spots[key])}
        self.key = key

        def make(spot: WarmUpItem, window: Window, clean: int, at_s: float) -> Drill:
            goal = Goal(window, spot.qpm, clean_required=clean, reason=spot.reason)
            return Drill(self.scores[key], goal, now_s=at_s)

        self.drill = WarmUpDrill(self.round, spots, make, self.now_s)
        self.hear(self.drill.start(self.now_s))

    def hear(self, outcomes: Iterable[DrillEvent]) -> None:
        for one in outcomes:
            if isinstance(one, Proposed):
                self.said.append(one.text)
            if isinstance(one, AssignmentGiven) and self.played:
                self.rests_s.append(self.now_s - self.last_key_s)
            if isinstance(one, RepetitionEnded):
                self.ended = one
            if isinstance(one, MovedOn):
                self.moves += 1
                assert self.round.now is not None
                due = self.round.dues[self.round.now]
                self.put(due.piece)

    def wait(self, until_s: float) -> None:
        while self.now_s + TICK_S <= until_s and self.drill.state is not DrillState.FINISHED:
            self.now_s += TICK_S
            self.hear(self.drill.tick(self.now_s))
        self.now_s = max(self.now_s, until_s)

    def repetition(self, rest_s: float = 3.2) -> None:
        """What is asked for, once; then hands in the lap until it is over and read."""
        excerpt, at = self.drill.excerpt, self.round.now
        assert at is not None
        right = self.holds(self.key, at)
        window = excerpt.window
        self.played.append((self.key, at, window.end_quarters - window.start_quarters))
        pace_s = 60.0 / (self.drill.assignment.qpm or excerpt.qpm)
        start_s = self.now_s
        for place, note in enumerate(excerpt.notes):
            wrong = not right and place == len(excerpt.notes) - 2
            when_s = start_s + float(note.onset_quarters - window.start_quarters) * pace_s
            self.wait(when_s)
            self.last_key_s = self.now_s
            self.hear(self.drill.hear(KeyDown(note.pitch + wrong, 64, self.now_s)))
            self.hear(self.drill.hear(KeyUp(note.pitch + wrong, self.now_s + 0.1)))
        self.wait(self.now_s + rest_s)

    def play(self, most: int = 400) -> TwoPieces:
        for _ in range(most):
            if self.drill.state is DrillState.FINISHED:
                return self
            self.repetition()
        raise AssertionError("it never ended")

    @property
    def took_min(self) -> float:
        return (self.now_s - 100.0) / 60.0

    @property
    def turns(self) -> list[int]:
        """Whose turn it was, one after the other."""
        return [at for at, _ in groupby(at for _, at, _ in self.played)]

    @property
    def running(self) -> int:
        """The most repetitions of one spot running."""
        return max(len([*some]) for _, some in groupby(at for _, at, _ in self.played))


def test_a_pianist_for_whom_all_holds_plays_every_spot_its_bar_and_it_once_more() -> None:
    evening = TwoPieces(lambda key, at: True, minutes=60).play()
    small, wide, again = evening.played[:14], evening.played[14:28], evening.played[28:]
    assert [at for _, at, _ in small] == [at for at in range(7) for _ in range(2)]
    assert sorted(at for _, at, _ in wide) == [at for at in range(7) for _ in range(2)]
    assert min(length for *_, length in wide) >= 4
    assert sorted(at for _, at, _ in again) == [*range(7)]
    assert evening.took_min < 12
    assert evening.said == ["All that was due holds, after 4 minutes: no more is due today."]
    assert evening.drill.decision.assignment.reason == evening.said[0]
    assert evening.moves >= 2  # there and back for the bars


def test_the_last_is_the_first_spot_once_more() -> None:
    for minutes in (2, 4, 60):
        evening = TwoPieces(lambda key, at: True, minutes).play()
        assert evening.turns[0] == evening.turns[-1] == 0
        assert [at for _, at, _ in evening.played[-2:]].count(0) == 1


def test_it_moves_on_by_itself_after_the_clean_ones_and_a_rest() -> None:
    evening = TwoPieces(lambda key, at: True, minutes=60).play()
    moved = [rest for rest in evening.rests_s if rest > 1.6]
    assert len(moved) == len(evening.rests_s)
    assert all(3.0 <= rest < 3.0 + 0.3 for rest in moved)
    assert ENOUGH not in evening.said


@pytest.mark.parametrize("minutes", every(2, [3, 5, 10]))
@pytest.mark.parametrize("chance", every(2, [0.0, 0.3, 0.7, 1.0]))
def test_the_minutes_that_are_given_are_used(minutes: float, chance: float) -> None:
    """Within a tenth, where enough is due, whoever plays; and no spot more than three times
    running."""
    dice = Random(minutes)
    evening = TwoPieces(lambda key, at: dice.random() < chance, minutes, MANY).play()
    assert 0.9 * minutes <= evening.took_min <= 1.1 * minutes
    assert evening.running <= 3
    (said,) = evening.said
    assert said.startswith(f"The {minutes:g} minutes are over. ")
    assert said.endswith("more spots wait for another day.")


def test_turns_are_interleaved() -> None:
    """No spot has two turns running, and each comes again after all others had theirs."""
    evening = TwoPieces(lambda key, at: True, 10, MANY).play()
    firsts = list(dict.fromkeys(evening.turns))
    assert evening.turns[: len(firsts)] == firsts
    assert evening.turns[0] == 0
    assert len(firsts) >= 6


def test_what_remains_is_in_sight() -> None:
    evening = TwoPieces(lambda key, at: True, minutes=60)
    assert evening.drill.what_remains == "0 of 7 hold, about 5 minutes"
    for _ in range(6):
        evening.repetition()
    evening.wait(evening.now_s + 4)
    assert evening.drill.what_remains.startswith("3 of 7 hold, about ")
    evening.play()
    assert evening.drill.what_remains == ""
    many = TwoPieces(lambda key, at: True, 5, MANY)
    assert many.drill.what_remains.endswith("about 5 minutes")


@pytest.mark.parametrize("chance", [0.5, 0.7, 1.0])
def test_what_holds_never_goes_back(chance: float) -> None:
    """In whatever order the spots come, and however many still fit into the minutes."""
    dice = Random(7)
    evening = TwoPieces(lambda key, at: dice.random() < chance, 10, MANY)
    held = []
    while what_remains := evening.drill.what_remains:
        found = re.match(r"(?:once more: )?(\d+) of (\d+) hold, ", what_remains)
        assert found, what_remains
        held.append(int(found[1]))
        assert held[-1] <= int(found[2])
        evening.repetition()
        evening.wait(evening.now_s + 4)
    assert held == sorted(held)
    assert held[0] == 0 < held[-1]


def test_a_spot_that_does_not_hold_is_left_and_comes_back_after_the_others() -> None:
    evening = TwoPieces(lambda key, at: at != 1, minutes=60).play()
    assert evening.turns[:8] == [0, 1, 2, 3, 4, 5, 6, 1]
    assert evening.turns.count(1) == 3
    assert evening.said == [
        "One spot does not hold yet, the rest does, after 4 minutes: no more is due today."
    ]


@pytest.mark.parametrize(
    ("clean", "said"), [("xxx", NOT_NOW), ("x==", NOT_NOW), ("==", STILL_HOLDS)]
)
def test_once_a_turn_is_over_no_more_of_it_is_asked_for(clean: str, said: str) -> None:
    """The coach would: "twice more, to be sure"."""
    played = iter(clean)
    evening = TwoPieces(lambda key, at: next(played) == "=", minutes=60)
    told = []
    for _ in clean:
        evening.repetition(rest_s=2.0)
        told.append(evening.ended.decision.assignment.reason)
        assert evening.round.now == 0
    assert told[-1] == evening.drill.decision.assignment.reason == said
    assert said not in told[:-1]


def test_what_holds_when_it_comes_back_comes_with_its_bar_too() -> None:
    tries: dict[int, int] = {}

    def holds(key: str, at: int) -> bool:
        tries[at] = tries.get(at, 0) + 1
        return at != 2 or tries[at] > 3

    evening = TwoPieces(holds, minutes=60).play()
    assert evening.said[-1].startswith("All that was due holds")
    assert len({length for _, at, length in evening.played if at == 2}) >= 2


def test_no_spot_is_two_notes() -> None:
    for spot in TwoPieces(lambda key, at: True).spots["a"]:
        excerpt = Drill(piece(60), Goal(spot.window, 80.0)).excerpt
        assert len(excerpt.onsets_quarters) >= 4
        assert spot.around.contains(spot.window)
        assert spot.around.end_quarters - spot.around.start_quarters >= 4


def test_who_passes_a_spot_over_does_not_meet_it_again() -> None:
    evening = TwoPieces(lambda key, at: True, minutes=60)
    evening.hear(evening.drill.ask(Request.NEXT, evening.now_s))
    evening.play()
    assert 0 not in {at for _, at, _ in evening.played}


def test_a_piece_that_is_not_open_yet_is_waited_for() -> None:
    evening = TwoPieces(lambda key, at: True, minutes=60, beats=((5,), (9,)))
    ready = False
    evening.round.is_ready = lambda key: ready
    evening.repetition()
    evening.repetition()
    evening.wait(evening.now_s + 5)
    assert evening.moves == 0
    assert evening.drill.state is DrillState.READY
    ready = True
    evening.wait(evening.now_s + 0.2)
    assert evening.moves == 1
    assert evening.key == "b"


def test_the_plan_names_each_spot_s_stretch_and_where_it_stands() -> None:
    evening = TwoPieces(lambda key, at: True)
    evening.repetition()
    evening.repetition()
    rows = warm_up_plan(evening.scores["a"], evening.spots["a"], evening.drill.states)
    assert [row.state for row in rows] == ["held", "now", "to come", "to come"]
    assert all("right hand alone" in row.what for row in rows)


# -- the planner alone ------------------------------------------------------------------------


def dues(*beats: int, key: str = "a") -> list[DueSpot]:
    """Spots that have come already, in this order."""
    return [
        replace(due_spot(key, weak(beat)), number=number) for number, beat in enumerate(beats, 1)
    ]


def test_the_planner_ends_where_too_little_is_left() -> None:
    (due,) = dues(5)
    assert next_turn([due], due.turn_s, None) == Turn(0, 0)
    assert next_turn([due], 0.4 * due.turn_s, None) is None


def test_the_planner_prefers_what_is_on_the_desk() -> None:
    held = [replace(one, held=1) for one in [*dues(5, 9), *dues(3, key="b")]]
    assert next_turn(held, 1000.0, last=1) == Turn(0, 1)
    assert next_turn(held, 1000.0, last=2) == Turn(0, 1)


def test_the_same_spot_comes_twice_running_only_where_no_other_is_left() -> None:
    one, other = dues(5, 9)
    failed = replace(one, failed=1)
    assert next_turn([failed, other], 1000.0, last=0) == Turn(1, 0)
    assert next_turn([failed], 1000.0, last=0) == Turn(0, 0)
    assert next_turn([replace(one, failed=3)], 1000.0, last=0) is None


def test_time_is_kept_for_the_replay_at_the_end() -> None:
    held = [replace(one, held=1) for one in dues(5, 9, 13)]
    end_s = sum(one.again_s for one in held)
    assert next_turn(held, end_s + held[0].turn_s, last=2) == Turn(0, 1)
    assert next_turn(held, end_s, last=2) == Turn(1, 0, is_again=True)
    rest = [replace(held[0], held=2), *(replace(one, played_again=True) for one in held[1:])]
    assert next_turn(rest, 10.0, last=2) == Turn(0, 1, is_again=True)
    done = [rest[0], *(replace(one, held=2) for one in rest[1:])]
    waits = due_spot("a", weak(17))
    assert next_turn([*done, waits], 30.0, last=2) == Turn(3, 0)
    assert next_turn([*done, waits], 10.0, last=2) == Turn(0, 1, is_again=True)


def test_every_repetition_is_handed_on_to_be_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    evening = TwoPieces(lambda key, at: True)
    kept: list[RepetitionEnded] = []
    hear = evening.hear

    def keep(some: Iterable[DrillEvent]) -> None:
        some = list(some)
        kept.extend(one for one in some if isinstance(one, RepetitionEnded))
        hear(some)

    monkeypatch.setattr(evening, "hear", keep)
    evening.play()
    assert len(kept) == len(evening.played)


def two_spots() -> Watched:
    """A warm-up of two bars of a sample, watched."""
    watched = Watched(make_warm_up(Random(5), read_score(SAMPLE), spots=2))
    watched.start()
    return watched


def test_a_spot_that_is_passed_over_in_mid_bar_is_set_aside() -> None:
    watched = two_spots()
    play(Random(0), watched, 0, 3, slip=0.0)
    assert watched.in_hand
    watched.ask(Request.NEXT)
    assert not watched.in_hand
    assert watched.seen["SetAside"] == 1


def test_whoever_plays_a_spot_once_more_plays_what_is_seen() -> None:
    """Its turn is over, but the next has not come: the window that stands is the one heard."""
    watched = two_spots()
    window = watched.drill.excerpt
    while watched.seen["RepetitionEnded"] <= 3:
        play(Random(1), watched, 0, None, slip=0.3)
        for pitch in range(128):
            watched.up(pitch)
        watched.wait(2.0)
        assert watched.drill.excerpt is window
    watched.wait(20.0)
    assert watched.drill.excerpt is not window


def test_no_piano_is_no_piano_in_the_next_spot_too() -> None:
    watched = two_spots()
    watched.lose_piano()
    watched.ask(Request.NEXT)
    state = watched.drill.state
    assert state is DrillState.NO_PIANO
    watched.find_piano()
    assert watched.drill.state is DrillState.READY
