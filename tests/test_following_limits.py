"""The follower's figures, each held by a case on either side of its limit."""

from __future__ import annotations

from fractions import Fraction

import pytest

from coach.judging.alignment.score_arrays import make_score_arrays
from coach.judging.following.begin_end import silence_s, spread_s
from coach.playing.midi_events import KeyDown
from coach.score.build import score_from_notes
from coach.score.window import Excerpt, Window, excerpt
from tests.test_following import Pianist, scale


def into_a_chord() -> Excerpt:
    """Two quarters and the chord of three that they land on."""
    notes = [{"pitch": p, "onset": i, "length": 1, "hand": "RH"} for i, p in enumerate((60, 62))]
    notes += [{"pitch": p, "onset": 2, "length": 1, "hand": "RH"} for p in (60, 64, 67)]
    return excerpt(score_from_notes(notes, qpm=120), Window(Fraction(0), Fraction(2)))


def landing(*keys_and_waits: tuple[int, float]) -> list[int]:
    """How many keys each take has: two quarters, and these keys with the time after each."""
    pianist = Pianist(into_a_chord()).play("60 62")
    for key, wait_s in keys_and_waits:
        pianist.heard += pianist.follower.hear(KeyDown(key, 60, pianist.now))
        pianist.wait(wait_s)
    return pianist.takes


@pytest.mark.parametrize(("wait_s", "takes"), [(1.0, []), (1.25, [4])])
def test_what_is_wanting_of_the_last_chord_is_waited_for_a_second_and_a_tenth(
    wait_s: float, takes: list[int]
) -> None:
    assert landing((60, 0.01), (64, wait_s)) == takes


@pytest.mark.parametrize(("beat_s", "wait_s"), [(0.5, 1.1), (1.5, 1.5), (4.0, 2.0)])
def test_a_beat_is_waited_where_it_is_longer_and_two_seconds_at_most(
    beat_s: float, wait_s: float
) -> None:
    assert spread_s(beat_s) == wait_s


@pytest.mark.parametrize(("wait_s", "takes"), [(0.12, []), (0.2, [5])])
def test_a_key_within_150_ms_of_the_last_note_still_belongs_to_it(
    wait_s: float, takes: list[int]
) -> None:
    assert landing((60, 0.01), (64, 0.01), (67, wait_s)) == takes


@pytest.mark.parametrize(("silence_s", "takes"), [(2.8, []), (3.2, [4])])
def test_a_silence_of_three_seconds_ends_a_repetition_and_a_shorter_one_does_not(
    silence_s: float, takes: list[int]
) -> None:
    """Quarters at 120: two and a half of them and a second and a half are less than that."""
    pianist = Pianist(scale()).play("60 62 64")
    pianist.heard += pianist.follower.hear(KeyDown(65, 60, pianist.now))
    assert pianist.wait(silence_s).takes == takes


@pytest.mark.parametrize(("silence_s", "takes"), [(6.3, []), (6.7, [3])])
def test_after_a_long_note_two_and_a_half_times_its_length_and_more_are_waited(
    silence_s: float, takes: list[int]
) -> None:
    """Whole notes at 120 are two seconds long: 5 s and 1.5 s."""
    notes = [
        {"pitch": p, "onset": 4 * i, "length": 4, "hand": "RH"}
        for i, p in enumerate((60, 62, 64, 65, 67))
    ]
    window = excerpt(score_from_notes(notes, qpm=120), Window(Fraction(0), Fraction(20)))
    pianist = Pianist(window).play("60 62", beat_s=2.0)
    pianist.heard += pianist.follower.hear(KeyDown(64, 60, pianist.now))
    assert pianist.wait(silence_s).takes == takes


@pytest.mark.parametrize(("quarters", "waited_s"), [(7, 19.0), (8, 20.0)])
def test_no_silence_is_waited_through_for_more_than_twenty_seconds(
    quarters: int, waited_s: float
) -> None:
    """At a quarter a second: 2.5 times the gap and 1.5 s, which for eight were 21.5 s."""
    notes = [{"pitch": 60, "onset": at, "length": 1, "hand": "RH"} for at in (0, quarters)]
    score = score_from_notes(notes, qpm=60)
    window = excerpt(score, Window(Fraction(0), score.end_quarters))
    assert silence_s(make_score_arrays(window), [0], 0, 1.0) == waited_s
