"""A final ritard is expression, whatever it does to the last notes; a misreading in it is none."""

import random
from fractions import Fraction as F
from itertools import pairwise
from math import cbrt

import pytest

from coach.judging.judge import judge
from coach.judging.model import Cause, Judgement
from coach.judging.timing import Habits
from coach.judging.timing.noise import Strokes, TimingEvidence
from coach.judging.timing.ritard import Ritards, late_share
from coach.score.model import Score
from tests.judging_help import play, whole
from tests.test_note_values import BEAT_S, QPM, TUNE, causes, written

SIXTEENTHS = written(*[F(1, 4)] * 32, 1)
MIXED = written(1, 1, *[F(1, 2)] * 2, 1, 1, *[F(1, 2)] * 2, 1, *[F(1, 4)] * 4, 1, 1, 2)


def slowing(
    score: Score,
    final: float,
    start: float,
    seed: int,
    scatter_s: float = 0.015,
    longer: dict[int, float] | None = None,
    habits: Habits | None = None,
) -> Judgement:
    """The tempo sinks from a place to the end, by a player whose strokes scatter.

    By the published form (Friberg & Sundberg 1999): the tempo is (1 + (w^3 - 1) x)^(1/3) of what
    it was, which is summed up here step by step. ``longer``: beats that single notes have too many.
    """
    window, dice = whole(score), random.Random(seed)
    last, steps = float(window.notes[-1].onset_quarters), 200
    span = last - start
    tempos = [cbrt(1 + (final**3 - 1) * (k + 0.5) / steps) for k in range(steps)]

    def at(x: float) -> float:
        done = round(steps * max(x - start, 0.0) / span)
        return (min(x, start) + sum(span / steps / tempo for tempo in tempos[:done])) * BEAT_S

    late = {i: dice.gauss(0, scatter_s) for i in range(len(window.notes))}
    for note, beats in (longer or {}).items():
        for i in range(note + 1, len(late)):
            late[i] += beats * BEAT_S
    return judge(window, play(window, qpm=QPM, at=at, late=late), habits=habits)


def known_to_scatter(score: Score, scatter_s: float, seed: int) -> Habits:
    """What four takes in time show of a player's scatter."""
    window, habits = whole(score), Habits()
    for k in range(4):
        dice = random.Random(f"{seed}/{k}")
        late = {i: dice.gauss(0, scatter_s) for i in range(len(window.notes))}
        habits = habits.with_(judge(window, play(window, qpm=QPM, late=late), habits=habits))
    return Habits(scatter=habits.scatter)


def test_its_shape_is_the_published_one() -> None:
    """Half-way through a ritard to half the tempo it is at .825 of it: (1 - .875 / 2)^(1/3)."""
    late = [late_share(x / 1000, 0.5) for x in (0, 499, 501, 1000)]
    assert late[0] == 0
    assert 1 + (late[2] - late[1]) / 0.002 == pytest.approx(1 / 0.825, abs=0.002)
    assert late == sorted(late)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("start", [9.5, 10.5, 12.0])
def test_the_last_notes_may_slow_to_a_third(start: float, seed: int) -> None:
    assert slowing(TUNE, 0.35, start, seed).clean


@pytest.mark.parametrize("seed", range(1, 9))
def test_short_notes_that_slow_are_not_at_half_their_speed(seed: int) -> None:
    assert slowing(SIXTEENTHS, 0.35, 5.0, seed, 0.03).clean


@pytest.mark.parametrize(
    ("score", "start", "final", "scatter_s", "seed"),
    [(SIXTEENTHS, 5.0, 0.35, 0.035, 23), (TUNE, 9.5, 0.35, 0.035, 15)],
)
def test_nothing_else_stands_out_because_the_end_slows(
    score: Score, start: float, final: float, scatter_s: float, seed: int
) -> None:
    """The ritard explains most, so that it is taken out first; the rest is in time."""
    assert slowing(score, final, start, seed, scatter_s).clean


def test_a_short_note_before_a_ritard_is_not_too_short_for_it() -> None:
    """Of a player who is known to be steady: beside the slow notes it seems so."""
    halves, quarters = [F(1, 2)] * 2, [F(1, 4)] * 2
    score = written(halves[0], *quarters, 1, *halves, 1, 1)
    habits = known_to_scatter(score, 0.02, seed=5)
    assert slowing(score, 0.5, 3.5, 5, 0.025, habits=habits).clean


def test_a_value_misread_near_the_end_is_told_beside_a_ritard() -> None:
    take = slowing(TUNE, 0.6, 9.5, 1, longer={8: 2.0})
    fault = next(fault for fault in take.faults if not fault.forgiven)
    assert (fault.cause, fault.onset_quarters) == (Cause.HESITATION, F(12))  # of no simple ratio


@pytest.mark.parametrize(("start", "scatter_s", "seed"), [(6, 0.015, 1), (7, 0.03, 2)])
def test_half_the_speed_to_the_end_is_no_ritard(start: int, scatter_s: float, seed: int) -> None:
    """Not of a bar's half, and not of its last beat."""
    window, dice = whole(SIXTEENTHS), random.Random(seed)
    late = {i: dice.gauss(0, scatter_s) for i in range(len(window.notes))}
    take = judge(
        window, play(window, qpm=QPM, at=lambda x: (x + max(x - start, 0.0)) * BEAT_S, late=late)
    )
    assert causes(take) == [Cause.MISREAD_PACE]


@pytest.mark.parametrize(("score", "start", "seed"), [(MIXED, 8.0, 1), (SIXTEENTHS, 6.0, 8)])
def test_a_ritard_is_no_rare_thing(score: Score, start: float, seed: int) -> None:
    """Strokes scatter so much that it hardly shows as one."""
    assert slowing(score, 0.35, start, seed, 0.045).clean


def test_nor_is_it_what_every_long_value_is() -> None:
    take = slowing(TUNE, 1 - 1e-6, 15.0, 1, 0.03, longer={10: 1.0})
    assert take.sentence == "Quarter note at bar 4 beat 2 got two beats, not one"


def ritards(times: list[float]) -> tuple[Ritards, TimingEvidence]:
    none = [False] * len(times)
    strokes = Strokes([float(x) for x in range(len(times))], times, none, none)
    evidence = TimingEvidence(strokes)
    return Ritards(strokes, evidence), evidence


def test_a_ritard_explains_an_end_that_slows_and_no_even_one() -> None:
    slows, _ = ritards([x * 0.5 + max(x - 7, 0.0) ** 2.5 * 0.03 for x in range(12)])
    even, _ = ritards([x * 0.5 for x in range(12)])
    assert slows.best is not None
    assert even.best is not None
    assert slows.best.evidence > 3
    assert even.best.evidence < 0
    assert max(slows.best.lateness_s) == pytest.approx(4**2.5 * 0.03, abs=0.15)
    assert all(a <= b for a, b in pairwise(slows.best.lateness_s))


def test_what_no_ritard_does_stays_to_be_explained() -> None:
    """One long interval and the tempo as before; and one that slowing leads to."""
    shape = [float(x >= 8) for x in range(12)]
    once, evidence = ritards([x * 0.5 + 0.5 * late for x, late in enumerate(shape)])
    assert not once.explain(shape, evidence.find_step(8).evidence, 3.0, is_step=True)
    slows, evidence = ritards([x * 0.5 + max(x - 6, 0.0) ** 2.5 * 0.02 for x in range(12)])
    last = [float(x >= 11) for x in range(12)]
    assert slows.explain(last, evidence.find_step(11).evidence, 3.0, is_step=True)


def test_two_lateness_shapes_together_explain_at_least_as_much_as_either() -> None:
    times = [x * 0.5 + max(x - 6, 0.0) ** 2 * 0.03 + (0.3 if x >= 4 else 0.0) for x in range(12)]
    _, evidence = ritards(times)
    step = [float(x >= 4) for x in range(12)]
    bend = [max(x - 6, 0.0) ** 2 for x in range(12)]
    both = evidence.weigh_beside(step, [bend], 1.0, is_step=False)
    assert both > evidence.find_shape(step).evidence + 1
    assert both > evidence.find_shape(bend).evidence + 1
    assert evidence.weigh_beside(step, [bend], 0.0, is_step=False) == pytest.approx(
        evidence.find_shape(step).evidence
    )
