"""What good players do passes as clean: scatter, evenness, melody lead, spread chords."""

import random
from fractions import Fraction as F
from itertools import pairwise
from statistics import fmean, stdev

import pytest

from coach.judging.judge import judge
from coach.judging.model import Judgement
from coach.judging.timing.evenness import clock_and_motor
from coach.judging.timing.habits import Habits
from coach.score.build import score_from_notes
from coach.score.model import Hand, Hands
from coach.score.window import Excerpt
from tests.judging_help import both, play, tune, whole

SCALE = whole(score_from_notes(tune(29, F(1, 4))), Hands.RIGHT)
FIFTY = whole(both(34), Hands.TOGETHER)


def scattered(window: Excerpt, sd_ms: float, rng: random.Random, qpm: float = 100.0) -> Judgement:
    """A repetition whose onsets scatter, hands apart from each other."""
    late = {i: rng.gauss(0, sd_ms / 1000) for i in range(len(window.notes))}
    return judge(window, play(window, late=late, qpm=qpm))


@pytest.mark.outside
def test_a_professionals_scale_is_clean() -> None:
    """Jabusch 2006: 13 pianists, sixteenths at 120, SD of intervals 8.1 ms = 5.73 ms an onset."""
    rng = random.Random(6)
    gaps = []
    for _ in range(40):
        late = {i: rng.gauss(0, 0.00573) for i in range(len(SCALE.notes))}
        notes = play(SCALE, qpm=120, late=late)
        assert judge(SCALE, notes).clean
        gaps += [(b.onset_s - a.onset_s) * 1000 for a, b in pairwise(notes)]
    assert fmean(gaps) == pytest.approx(125, rel=0.01)
    assert stdev(gaps) == pytest.approx(8.1, rel=0.1)


@pytest.mark.outside
@pytest.mark.parametrize("sd_ms", [8, 15])
def test_healthy_scatter_is_clean_in_97_of_100(sd_ms: float) -> None:
    """Design figure: SD up to 15 ms, 50 notes: at most 3 % unclean, with and without a history."""
    rng = random.Random(13)
    unclean, habits = 0, Habits()
    for count in range(100):
        late = {i: rng.gauss(0, sd_ms / 1000) for i in range(len(FIFTY.notes))}
        take = judge(FIFTY, play(FIFTY, late=late), habits=habits if count >= 5 else None)
        habits = habits.with_(take)
        unclean += not take.clean
    assert len(FIFTY.notes) > 50
    assert unclean <= 0.03 * 100


@pytest.mark.outside
def test_an_unsteady_players_floor_is_wider() -> None:
    """At SD 20 ms the 50 ms floor alone would call 11 to 15 % unclean."""
    rng = random.Random(20)
    unclean, habits = 0, Habits()
    for count in range(100):
        late = {i: rng.gauss(0, 0.02) for i in range(len(FIFTY.notes))}
        take = judge(FIFTY, play(FIFTY, late=late), habits=habits if count >= 5 else None)
        habits = habits.with_(take)
        unclean += not take.clean
    assert unclean <= 0.05 * 100


def chords() -> Excerpt:
    notes = [
        {"pitch": p, "onset": F(i), "length": F(1), "hand": "RH"}
        for i, steps in enumerate((0, 5, 7, 0, 9, 5, 7, 0))
        for p in (48 + steps, 52 + steps, 67 + i)
    ]
    return whole(score_from_notes(notes), Hands.RIGHT)


def led(window: Excerpt, seconds: float) -> dict[int, float]:
    """The top note of every chord moved."""
    return {i: seconds for i, n in enumerate(window.notes) if n.pitch >= 67}


@pytest.mark.outside
@pytest.mark.parametrize("lead_ms", [-30, -50, 50])
def test_melody_lead_and_small_spread_say_nothing(lead_ms: float) -> None:
    """Goebl 2001: 30 ms lead; chord tones within 50 ms are one chord."""
    take = judge(chords(), play(chords(), late=led(chords(), lead_ms / 1000)))
    assert take.clean
    assert take.notices == ()


@pytest.mark.outside
def test_a_spread_of_60_ms_is_a_notice_only() -> None:
    """Beyond certain order (60 ms), short of two events; the float edge is not asked for."""
    take = judge(chords(), play(chords(), late=led(chords(), 0.061)))
    assert take.clean
    assert take.notices[0] == "RH chord spread at bar 1 beat 1 (0.06 s)"


@pytest.mark.outside
def test_120_ms_apart_are_two_events() -> None:
    """Twice the distance at which order is certain; Goebl & Parncutt 2002 tested to 54 ms."""
    take = judge(chords(), play(chords(), qpm=120, late={4: 0.125}))
    assert [fault.cause for fault in take.faults] == ["split chord"]
    assert take.sentence == "A after its chord (0.1 s) at bar 1 beat 2"


@pytest.mark.outside
def test_left_hand_120_ms_late_is_late_and_60_is_not() -> None:
    window = whole(both())
    index = next(
        i for i, n in enumerate(window.notes) if n.hand is Hand.LEFT and n.onset_quarters == 3
    )
    assert judge(window, play(window, late={index: 0.06})).clean
    assert not judge(window, play(window, late={index: 0.125})).clean


@pytest.mark.outside
def test_wing_and_kristoffersons_model_is_recovered() -> None:
    """Wing & Kristofferson 1973: I = C + D - D before; clock SD 20, motor SD 10."""
    rng = random.Random(1973)
    before, intervals = rng.gauss(0, 10), []
    for _ in range(200_000):
        now = rng.gauss(0, 10)
        intervals.append(rng.gauss(500, 20) + now - before)
        before = now
    clock, motor = clock_and_motor(intervals)
    assert clock == pytest.approx(20, abs=0.5)
    assert motor == pytest.approx(10, abs=0.5)


def test_the_evenness_of_a_long_row_is_in_the_details() -> None:
    take = scattered(SCALE, 6, random.Random(1), qpm=120)
    assert take.details[-1].startswith("RH: equal notes vary by ")
    assert "pulse" in take.details[-1]
