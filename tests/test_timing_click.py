"""Against the click: a constant offset is the player's own; leaving it is a fault."""

from fractions import Fraction as F

import pytest

from coach.judging.alignment.align import match
from coach.judging.calibration import calibrate
from coach.judging.judge import judge
from coach.judging.model import Stage
from coach.judging.timing.click import against_click
from coach.judging.timing.onsets import list_moments
from coach.judging.tolerance import USUAL
from tests.judging_help import after, both, play, whole

WINDOW = whole(both())


@pytest.mark.outside
@pytest.mark.parametrize("offset_ms", [-29, -60, 60])
def test_a_constant_offset_is_clean_and_a_notice(offset_ms: float) -> None:
    """Negative mean asynchrony: Repp 2005, Psychon. Bull. Rev. 12, 969-992."""
    notes = play(WINDOW, qpm=100, start_s=2.0 + offset_ms / 1000)
    take = judge(WINDOW, notes, stage=Stage.PULSE, qpm=100, click_s=2.0)
    assert take.clean
    assert take.offset_ms == pytest.approx(offset_ms, abs=0.1)
    assert bool(take.notices) == (abs(offset_ms) > 30)


@pytest.mark.parametrize(
    ("late_s", "words"),
    [
        (0.3, "Behind the click (0.2 s) all along"),
        (0.6, "Behind the click (0.5 s) all along"),
        (1.2, "Behind the click (1.1 s) all along"),
        (-0.3, "Ahead of the click (0.2 s) all along"),
    ],
)
def test_half_a_beat_to_two_beats_off_all_along_is_not_clean(late_s: float, words: str) -> None:
    notes = play(WINDOW, qpm=100, start_s=2.0 + late_s)
    take = judge(WINDOW, notes, stage=Stage.PULSE, qpm=100, click_s=2.0)
    assert take.sentence == words


@pytest.mark.parametrize("early_s", [0.3, -0.3])
def test_leaving_the_click_after_a_bar_is_told_there_with_way_and_size(early_s: float) -> None:
    late = after(WINDOW, F(4), -early_s)
    take = judge(
        WINDOW, play(WINDOW, qpm=100, start_s=2.0, late=late),
        stage=Stage.PULSE, qpm=100, click_s=2.0,
    )  # fmt: skip
    told = [fault for fault in take.faults if not fault.forgiven]
    assert told[0].onset_quarters == 4
    assert told[0].size_ms == pytest.approx(-1000 * early_s, abs=30)
    assert (told[0].cause == "ahead of the click") == (early_s > 0)


def test_errors_are_against_the_click_without_the_offset() -> None:
    notes = play(WINDOW, qpm=100, start_s=1.95, late={0: 0.02})
    take = judge(WINDOW, notes, stage=Stage.PULSE, qpm=100, click_s=2.0)
    by_note = [label.error_ms for label in take.score]
    assert by_note[0] == pytest.approx(20, abs=0.1)
    assert by_note[5] == pytest.approx(0, abs=0.1)


def test_running_ahead_of_the_click_is_told_where_it_begins() -> None:
    notes = play(WINDOW, at=lambda x: 0.6 * x - 0.012 * max(0, x - 3) ** 2, start_s=2.0)
    take = judge(WINDOW, notes, stage=Stage.PULSE, qpm=100, click_s=2.0)
    assert not take.clean
    assert "ahead of the click" in take.sentence


def test_a_pause_with_the_click_is_told_once() -> None:
    notes = play(WINDOW, qpm=100, start_s=2.0, late=after(WINDOW, F(4), 0.4))
    take = judge(WINDOW, notes, stage=Stage.PULSE, qpm=100, click_s=2.0)
    assert [fault.cause for fault in take.faults] == ["hesitation"]
    assert take.offset_ms == pytest.approx(0, abs=0.1)


@pytest.mark.parametrize(("qpm", "clean"), [(73, False), (74.5, True), (80, True), (91, False)])
def test_at_the_tempo_stage_the_tempo_asked_for_counts(qpm: float, clean: bool) -> None:
    take = judge(WINDOW, play(WINDOW, qpm=qpm), stage=Stage.TEMPO, qpm=80)
    assert take.clean is clean


def test_the_tempo_is_told_in_beats_a_minute() -> None:
    six_eight = whole(both(24, metre="6/8"))
    take = judge(six_eight, play(six_eight, qpm=90), stage=Stage.TEMPO, qpm=120)
    assert take.sentence.startswith("Slower than asked (60 for 80)")


def test_tapping_along_finds_the_offset() -> None:
    clicks = [0.5 * i for i in range(16)]
    taps = [0.5 * i - 0.04 + (0.012 if i % 2 else -0.012) for i in range(16)]
    found = calibrate(clicks, taps)
    assert found is not None
    assert found.offset_ms == pytest.approx(-40, abs=13)
    assert found.taps == 14


@pytest.mark.parametrize(
    "taps", [[], [0.5 * i for i in range(5)], [0.37 * i for i in range(20)]], ids=str
)
def test_no_tapping_along_is_no_calibration(taps: list[float]) -> None:
    assert calibrate([0.5 * i for i in range(16)], taps) is None


def test_breaks_that_the_player_did_not_take_leave_the_offset_alone() -> None:
    """Around ornaments and rests the tempo is not well known: no reason to shift all of it."""
    notes = play(WINDOW, qpm=100, start_s=2.02)
    row = list_moments(WINDOW, notes, match(WINDOW, notes))
    lifts = [-0.1 if 3 <= at < 6 else 0.0 for at in range(len(row))]
    timing = against_click(WINDOW, row, lifts, 100.0, 2.0, USUAL)
    assert timing.offset_s == pytest.approx(0.02, abs=1e-4)
    assert timing.off == ()
