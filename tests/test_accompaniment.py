"""The other hand, played along: with the player's keys, at their pace, never before them."""

from __future__ import annotations

from fractions import Fraction as F
from math import sqrt
from random import Random

import numpy as np
import pytest

from coach.playing import accompaniment
from coach.playing.accompaniment import (
    KNOWN_SHARE,
    STROKE_S,
    UNKNOWN_SHARE,
    Accompanist,
    PaceFollower,
    _Guess,
    find_other_hand,
)
from coach.playing.click_schedule import Timed
from coach.playing.notes import PlayedNote
from coach.playing.playback import begins_note
from coach.score.build import score_from_notes
from coach.score.model import Hands
from coach.score.window import Window, excerpt
from scripts.bench_company import accompany, bend_pace, compare
from tests.screenfakes import FakeClick, FakeDrill, note, two_hands
from tests.seat import Seat, reason_line, seated, top_line

TUNE = [note(72 + k, k, 1) for k in range(4)]
BASS = [{"pitch": 48 + k, "onset": F(k, 2), "length": F(1, 2), "hand": "LH"} for k in range(8)]
SCORE = score_from_notes([*TUNE, *BASS], qpm=60)
RIGHT = excerpt(SCORE, Window(F(0), F(4), Hands.RIGHT))


def company(quarter_s: float = 1.0) -> Accompanist:
    """Eighths of the left hand under quarters of the right."""
    pace = PaceFollower(quarter_s, is_known=True)
    return Accompanist(find_other_hand(SCORE, RIGHT), [0, 1, 2, 3], pace)


def strikes(messages: tuple[Timed, ...] | None) -> list[tuple[float, int]]:
    assert messages is not None
    return [(round(at_s, 3), one[1]) for at_s, one in messages if begins_note(one)]


def test_what_is_written_together_sounds_with_the_players_key() -> None:
    assert strikes(company().follow(0.0, 10.0)) == [(10.0, 48), (10.5, 49)]


def test_nothing_comes_before_the_players_next_onset_however_long_they_wait() -> None:
    follows = company()
    follows.follow(0.0, 10.0)
    assert strikes(follows.follow(1.0, 11.0)) == [(11.0, 50), (11.5, 51)]
    assert strikes(follows.follow(2.0, 99.0)) == [(99.0, 52), (99.5, 53)]


def test_after_the_last_onset_the_rest_of_the_window_sounds() -> None:
    follows = company()
    for k in range(3):
        follows.follow(k, 10.0 + k)
    assert strikes(follows.follow(3.0, 13.0)) == [(13.0, 54)]  # 55 lies past the last onset


def test_it_goes_at_the_pace_of_what_was_just_played() -> None:
    follows = company(quarter_s=1.0)
    for k in range(3):
        coming = follows.follow(k, 10.0 + 0.8 * k)
    assert strikes(coming)[1][0] == pytest.approx(10.0 + 1.6 + 0.4, abs=0.02)


def test_a_stroke_that_is_a_little_late_moves_the_beat_by_less() -> None:
    """Not as if the pace were now that of the last interval."""
    follows = company()
    for k in range(2):
        follows.follow(k, 10.0 + k)
    between_s = strikes(follows.follow(2, 12.03))[1][0]
    assert 12.5 < between_s < 12.03 + 1.03 / 2 - 0.005


def test_the_second_key_of_a_chord_changes_nothing() -> None:
    follows = company()
    follows.follow(0.0, 10.0)
    assert follows.follow(0.0, 10.01) is None


def test_what_would_be_late_is_passed_over_and_what_sounds_is_let_go_of() -> None:
    follows = company()
    follows.follow(0.0, 10.0)
    coming = follows.follow(1.0, 10.3)  # before 49 was due
    assert [key for _, key in strikes(coming)] == [50, 51]
    assert coming
    assert (10.3, (0x80, 49, 0)) in coming


def test_going_back_begins_anew() -> None:
    follows = company()
    follows.follow(0.0, 10.0)
    follows.follow(1.0, 11.0)
    assert strikes(follows.follow(0.0, 14.0)) == [(14.0, 48), (14.5, 49)]


def test_every_note_that_begins_is_ended_once_the_player_stops() -> None:
    follows = company()
    coming = follows.follow(0.0, 10.0)
    assert coming
    begun = {one[1] for _, one in coming if begins_note(one)}
    ends = follows.end(10.1)
    assert begun <= {one[1] for _, one in ends if not begins_note(one)}
    assert all(10.1 <= at_s <= 11.6 for at_s, _ in ends)
    assert max(ends)[0] == 11.6  # what would sound for longer is let go of a second and a half on


def test_a_key_that_the_player_strikes_too_is_left_to_them() -> None:
    shared = score_from_notes([note(60, 0, 1), note(60, 0, 1, "LH"), note(48, 0, 1, "LH")])
    part = excerpt(shared, Window(F(0), F(1), Hands.RIGHT))
    assert [one.pitch for one in find_other_hand(shared, part)] == [48]
    both = excerpt(shared, Window(F(0), F(1), Hands.TOGETHER))
    assert find_other_hand(shared, both) == ()


def test_it_is_with_the_player_through_changes_of_pace_by_a_fifth() -> None:
    """Into the real follower. Where the player strikes a beat it is exact; between two of their
    onsets, half a quarter on, a sudden change is heard only at the next."""
    dice, off = Random(1), []
    for _ in range(20):
        pace = dice.uniform(0.5, 1.0)
        played = [
            PlayedNote(one.pitch, 64, 1 + pace * (float(one.onset_quarters) + dice.gauss(0, 0.01)))
            for one in RIGHT.notes
        ]
        bent = bend_pace(tuple(played), dice)
        sent, struck = accompany(SCORE, RIGHT, bent, PaceFollower(pace))
        off += [one.off_ms for one in compare(SCORE, RIGHT, sent, struck)]
    beats, between = off[::2], off[1::2]
    assert max(map(abs, beats)) < 1
    assert sum(abs(one) < 50 for one in between) > 0.6 * len(between)


def test_on_the_screen_it_sounds_with_the_keys_once_it_is_asked_for() -> None:
    click = FakeClick()

    async def run(seat: Seat) -> None:
        await seat.play(60)
        assert not click.played
        seat.staging.drill.pause(0.0)
        seat.staging.drill.resume(0.0)
        await seat.pilot.press("g")
        assert "I play the left hand with you, at your pace." in reason_line(seat)
        assert "LH with you" in top_line(seat)  # for as long as it is
        await seat.pilot.press("g")
        assert "with you" not in top_line(seat)

    seated((120, 40), run, click=click)


def test_each_clean_one_makes_the_other_hand_softer_down_to_half() -> None:
    shares, drill = [], FakeDrill(two_hands(), required=9)

    async def run(seat: Seat) -> None:
        for drill.run in range(4):
            shares.append(seat.drill_screen.presenter.company._share)

    seated((120, 40), run, drill=drill)
    assert shares == [1.0, 0.7, 0.5, 0.5]


def test_on_the_screen_the_left_hand_sounds_with_the_first_key() -> None:
    click = FakeClick()

    async def run(seat: Seat) -> None:
        await seat.pilot.press("g")
        await seat.play(60, 62)
        assert [one[1] for _, one in click.played if begins_note(one)][:1] == [48]
        await seat.pilot.press("g")
        assert "no more" in reason_line(seat)

    seated((120, 40), run, click=click, drill=FakeDrill(two_hands()))


def heard(*seconds: float, quarter_s: float = 1.0, is_known: bool = True) -> PaceFollower:
    """A player's quarters, each so long."""
    pace = PaceFollower(quarter_s, is_known=is_known)
    at_s = 10.0
    pace.begin(0.0, at_s)
    for quarters, length_s in enumerate(seconds, start=1):
        at_s += length_s
        pace.hear(quarters, at_s)
    return pace


@pytest.mark.parametrize("slower", [0.8, 1.2])
def test_a_change_by_a_fifth_is_followed_within_two_beats(slower: float) -> None:
    assert heard(1, 1, 1, slower).quarter_s == pytest.approx(slower, abs=0.1)
    assert heard(1, 1, 1, slower, slower).quarter_s == pytest.approx(slower, abs=0.04)


def test_a_key_that_was_waited_for_is_no_other_pace() -> None:
    assert heard(1, 1, 1, 1.7, 1, 1).quarter_s == pytest.approx(1.0, abs=0.03)
    assert heard(1, 1, 1, 8.0).due_s(5) == pytest.approx(10 + 3 + 8 + 1, abs=0.05)


def test_whoever_goes_on_at_a_third_of_the_pace_is_followed_after_some_beats() -> None:
    assert heard(1, 1, 3).quarter_s < 1.5
    assert heard(1, 1, *[3] * 4).quarter_s == pytest.approx(3, abs=0.2)


def test_strokes_that_scatter_move_the_beat_by_less_than_themselves() -> None:
    dice, filtered, bare = Random(1), [], []
    for _ in range(40):
        off = [dice.gauss(0, STROKE_S) for _ in range(8)]
        pace = PaceFollower(1.0, is_known=True)
        pace.begin(0, off[0])
        for at in range(1, 8):
            pace.hear(at, at + off[at])
        filtered.append(abs(pace.due_s(8) - 8))
        bare.append(abs(7 + off[7] + (1 + off[7] - off[6]) - 8))
    assert sum(filtered) < 0.7 * sum(bare)


def test_what_is_known_of_a_player_is_left_later_than_what_was_only_asked_for() -> None:
    assert heard(1.1, is_known=True).quarter_s < heard(1.1, is_known=False).quarter_s


@pytest.mark.outside
@pytest.mark.parametrize("is_known", [True, False])
def test_where_nothing_changes_it_is_the_regression_of_all_strokes(
    is_known: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A Kalman filter without process noise is Bayes' linear regression (Bishop 2006, 3.3); solved
    here as least squares by numpy, the prior being one more row."""
    for name, value in {
        "CLOCK_SHARE": 0.0, "WANDER_SHARE": 0.0, "CHANGES": ((0.0, 1e-9),), "WAITS": 1e-12,
    }.items():  # fmt: skip
        monkeypatch.setattr(accompaniment, name, value)
    strokes_s = [5.0, 6.02, 6.99, 8.06, 9.01]
    pace = PaceFollower(0.95, is_known=is_known)
    pace.begin(0, strokes_s[0])
    for at, at_s in enumerate(strokes_s[1:], start=1):
        pace.hear(at, at_s)
    prior_s = 0.95 * (KNOWN_SHARE if is_known else UNKNOWN_SHARE)
    rows = [[1 / STROKE_S, at / STROKE_S] for at in range(5)] + [[0, 1 / prior_s]]
    right = [at_s / STROKE_S for at_s in strokes_s] + [0.95 / prior_s]
    (start_s, quarter_s), *_ = np.linalg.lstsq(np.array(rows), np.array(right), rcond=None)
    assert pace.quarter_s == pytest.approx(quarter_s, abs=1e-6)
    assert pace.due_s(7) == pytest.approx(start_s + 7 * quarter_s, abs=1e-6)


@pytest.mark.parametrize("quarters", [1, 2])
def test_a_beat_not_heard_grows_less_sure_by_a_fiftieth_of_its_length(quarters: int) -> None:
    """The standard deviation of an interval by the clock (Repp 1997); the pace wanders besides."""
    after = _Guess(0.0, 0.5, 0.0, 0.0, 0.0).after(quarters)
    assert after.beat_s == 0.5 * quarters
    assert sqrt(after.beat_variance) == pytest.approx(0.02 * 0.5 * quarters)
    assert sqrt(after.quarter_variance) == pytest.approx(0.03 * 0.5 * sqrt(quarters))
