"""A warm-up over two pieces, played from key to key: which spot when, and for how long."""

from __future__ import annotations

from collections.abc import Callable, Iterable
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
from coach.coaching.drill.warmup_drill import REST_S, WarmUpDrill, dues_of
from coach.coaching.model import Goal, Observation, Request
from coach.coaching.planning.warmup import (
    MOST_TRIES,
    MOST_TURNS,
    REPETITIONS,
    DueSpot,
    WarmUpItem,
    WarmUpRound,
    WeakSpot,
    expected_s,
    next_turn,
    plan_warm_up,
)
from coach.coaching.wording import ENOUGH
from coach.judging.model import Outcome
from coach.playing.midi_events import KeyDown, KeyUp
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.reading import read_score
from coach.score.window import Transition, Window
from scripts.fuzz_drill import Watched, make_warm_up, play
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
            10.0 * time,
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
    return score_from_notes(tune(64, F(1, 2), start=start), qpm=90)


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
        given = dict(zip("ab", beats, strict=True))
        self.spots = {key: plan_warm_up(self.scores[key], observed(given[key])) for key in "ab"}
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

        def make(spot: WarmUpItem, window: Window, at_s: float) -> Drill:
            goal = Goal(window, spot.qpm, clean_required=2, reason=spot.reason)
            return Drill(self.scores[key], goal, now_s=at_s)

        self.drill = WarmUpDrill(self.round, spots, make, self.now_s)
        self.hear(self.drill.start(self.now_s))

    def hear(self, outcomes: Iterable[DrillEvent]) -> None:
        for one in outcomes:
            if isinstance(one, Proposed):
                self.said.append(one.text)
            if isinstance(one, AssignmentGiven) and self.played:
                self.rests_s.append(self.now_s - self.last_key_s)
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

    def repetition(self) -> None:
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
        self.wait(self.now_s + 3.2)

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
    def running(self) -> int:
        """The most repetitions of one window running."""
        return max(len([*some]) for _, some in groupby(self.played))


def test_a_pianist_for_whom_all_holds_plays_every_spot_of_both_pieces_and_its_bar() -> None:
    evening = TwoPieces(lambda key, at: True, minutes=60).play()
    small, wide = evening.played[: 2 * 7], evening.played[2 * 7 :]
    assert [at for _, at, _ in small] == [at for at in range(7) for _ in range(2)]
    assert sorted(at for _, at, _ in wide) == [at for at in range(7) for _ in range(2)]
    assert min(length for *_, length in wide) >= 4
    assert evening.said == [
        "Every weak spot held, and its bar with it: nothing is left to warm up."
    ]
    assert evening.took_min < 10  # it ends early
    assert evening.moves >= 2  # there and back for the bars


def test_it_moves_on_by_itself_after_the_clean_ones_and_a_rest() -> None:
    evening = TwoPieces(lambda key, at: True, minutes=60).play()
    moved = [rest for rest in evening.rests_s if rest > 1.6]
    assert len(moved) == len(evening.rests_s)
    assert all(REST_S <= rest < REST_S + 0.3 for rest in moved)
    assert ENOUGH not in evening.said


@pytest.mark.parametrize("minutes", [2, 3, 4])
@pytest.mark.parametrize("chance", ["all", "none", "every third"])
def test_the_minutes_that_are_given_are_used(minutes: float, chance: str) -> None:
    """Within a fifth, where there is enough to do: 4 minutes are too many where all holds."""
    minutes = 2.5 if chance == "all" and minutes == 4 else minutes
    count = 0

    def holds(key: str, at: int) -> bool:
        nonlocal count
        count += 1
        return chance == "all" or (chance == "every third" and count % 3 == 0)

    evening = TwoPieces(holds, minutes).play()
    assert 0.8 * minutes <= evening.took_min <= 1.2 * minutes
    assert evening.said == [f"The {minutes:g} minutes are over."]


def test_no_window_is_played_more_than_three_times_running() -> None:
    for share in (0, 2, 3, 5):
        count = 0

        def holds(key: str, at: int, share: int = share) -> bool:
            nonlocal count
            count += 1
            return bool(share) and count % share == 0

        assert TwoPieces(holds, 6).play().running <= MOST_TRIES == 3


def test_a_spot_that_does_not_hold_is_left_and_comes_back_at_the_end() -> None:
    evening = TwoPieces(lambda key, at: at != 1, minutes=60).play()
    turns = [at for at, _ in groupby(at for _, at, _ in evening.played)]
    assert turns[:8] == [0, 1, 2, 3, 4, 5, 6, 1]
    assert turns.count(1) == MOST_TURNS
    assert turns[-1] != 1 or turns[-2] != 1
    assert evening.said == ["One spot does not hold yet, and the rest does: enough of a warm-up."]


def test_what_holds_when_it_comes_back_comes_with_its_bar_too() -> None:
    tries: dict[int, int] = {}

    def holds(key: str, at: int) -> bool:
        tries[at] = tries.get(at, 0) + 1
        return at != 2 or tries[at] > 3

    evening = TwoPieces(holds, minutes=60).play()
    assert evening.said[-1].startswith("Every weak spot held")
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
    return [DueSpot(key, weak(beat)) for beat in beats]


def test_the_planner_ends_where_too_little_is_left() -> None:
    (due,) = dues(5)
    assert next_turn([due], expected_s(due.spot), None) == 0
    assert next_turn([due], 0.4 * expected_s(due.spot), None) is None


def test_the_planner_prefers_what_is_on_the_desk() -> None:
    rows = [*dues(5, 9), *dues(3, key="b")]
    held = [DueSpot(one.piece, one.spot, held=1) for one in rows]
    assert next_turn(held, 1000.0, last=1) == 0
    assert next_turn(held, 1000.0, last=2) == 0


def test_the_same_spot_comes_twice_running_only_where_no_other_is_left() -> None:
    one, other = dues(5, 9)
    failed = DueSpot("a", one.spot, failed=1)
    assert next_turn([failed, other], 1000.0, last=0) == 1
    assert next_turn([failed], 1000.0, last=0) == 0
    assert next_turn([DueSpot("a", one.spot, failed=MOST_TURNS)], 1000.0, last=0) is None


def test_what_a_spot_takes_is_told_without_its_score() -> None:
    for spot in plan_warm_up(piece(60), observed((5, 13, 21))):
        assert expected_s(spot.spot) == pytest.approx(spot.expected_s, rel=0.35)
        assert spot.expected_s > 3.0 * REPETITIONS


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
    while watched.seen["RepetitionEnded"] <= MOST_TRIES:
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
