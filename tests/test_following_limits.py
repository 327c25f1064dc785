"""The follower's figures, each held by a case on either side of its limit."""

from __future__ import annotations

from fractions import Fraction

import pytest

from coach.judging.alignment.score_arrays import ScoreArrays, make_score_arrays
from coach.judging.following.begin_end import (
    find_own_period_s,
    gap_s,
    goes_on_in_time,
    is_begun,
    is_turned_round,
    most_keys,
    rest_s,
    silence_s,
    spread_s,
)
from coach.judging.following.begin_end import is_doubtful as is_end_doubtful
from coach.judging.following.events import NotThis
from coach.judging.following.follower import Follower
from coach.judging.model import Label
from coach.playing.midi_events import KeyDown
from coach.playing.notes import PlayedNote
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


def two_notes_apart(quarters: int) -> ScoreArrays:
    notes = [{"pitch": 60, "onset": at, "length": 1, "hand": "RH"} for at in (0, quarters)]
    score = score_from_notes(notes, qpm=60)
    return make_score_arrays(excerpt(score, Window(Fraction(0), score.end_quarters)))


@pytest.mark.parametrize(("quarters", "waited_s"), [(7, 19.0), (8, 20.0)])
def test_no_silence_is_waited_through_for_more_than_twenty_seconds(
    quarters: int, waited_s: float
) -> None:
    """At a quarter a second: 2.5 times the gap and 1.5 s, which for eight were 21.5 s."""
    assert silence_s(two_notes_apart(quarters), [0], 0, 1.0) == waited_s


@pytest.mark.parametrize(("line", "takes"), [("67 69 71 72", [7]), ("69 71 72", [3, 3])])
def test_who_goes_on_after_a_rest_two_notes_farther_on_has_begun_anew(
    line: str, takes: list[int]
) -> None:
    """One note left out may be a slip; the rest is far longer than what was passed over."""
    pianist = Pianist(scale()).play("60 62 64").wait(2.3).play(line)
    assert pianist.wait(4).takes == takes


@pytest.mark.parametrize(("line", "said"), [("72 74", 0), ("72 74 76", 1)])
def test_three_keys_an_octave_off_and_a_rest_are_told_and_two_are_not(line: str, said: int) -> None:
    pianist = Pianist(scale()).play(line).wait(1.5)
    assert len(pianist.of(NotThis)) == said


@pytest.mark.parametrize(("quarters", "waited_s"), [(12, 18.0), (14, 20.0)])
def test_a_written_rest_is_waited_through_half_as_long_again_but_not_beyond_twenty_seconds(
    quarters: int, waited_s: float
) -> None:
    assert gap_s(two_notes_apart(quarters), 1.0) == waited_s


@pytest.mark.parametrize(
    ("second", "keys", "is_doubtful"),
    [
        (72, "67 71", True),  # the last two right are not enough,
        (72, "69 71", False),  # the last three are;
        (62, "67 71", False),  # two where the last key comes nowhere before
        (62, "67 69", True),
    ],
)
def test_the_last_three_notes_right_are_the_end_however_little_came_before(
    second: int, keys: str, is_doubtful: bool
) -> None:
    """Of a scale of eight, whose last key may be its second one, too."""
    notes = [{"pitch": p, "onset": i, "length": 1, "hand": "RH"}
             for i, p in enumerate((60, second, 64, 65, 67, 69, 71, 72))]  # fmt: skip
    window = excerpt(score_from_notes(notes, qpm=120), Window(Fraction(0), Fraction(8)))
    pianist = Pianist(window).play(f"60 {keys}")
    follower = pianist.follower
    follower.hear(KeyDown(72, 60, pianist.now))
    hypothesis, labels = follower._alignment.find_at_rest()
    assert is_end_doubtful(follower._score, hypothesis, labels, 0.75) is is_doubtful


def quarters(*keys: int) -> ScoreArrays:
    """Quarter notes of the right hand."""
    notes = [{"pitch": p, "onset": i, "length": 1, "hand": "RH"} for i, p in enumerate(keys)]
    return make_score_arrays(
        excerpt(score_from_notes(notes), Window(Fraction(0), Fraction(len(keys))))
    )


def struck(*onsets_s: float) -> list[PlayedNote]:
    return [PlayedNote(60, 64, onset_s) for onset_s in onsets_s]


@pytest.mark.parametrize(("quarter_s", "rest"), [(0.6, 1.0), (1.0, 1.5), (3.0, 3.0)])
def test_a_rest_is_half_as_long_again_as_a_gap_from_one_second_up_to_three(
    quarter_s: float, rest: float
) -> None:
    assert rest_s(quarters(60, 62, 64), quarter_s) == rest


def test_a_window_may_be_played_twice_as_slowly_as_asked_before_its_tempo_is_known() -> None:
    follower = Follower(scale(), qpm=60)
    assert follower._gap_s == 2 * rest_s(quarters(60, 62), 1.0)


@pytest.mark.parametrize(("notes", "keys"), [(2, 100), (10, 100), (20, 200)])
def test_ten_keys_a_note_are_followed_and_a_hundred_of_few(notes: int, keys: int) -> None:
    assert most_keys(quarters(*range(40, 40 + notes))) == keys


@pytest.mark.parametrize(("keys", "period_s"), [(3, 0.0), (4, 0.5)])
def test_three_gaps_tell_the_players_own_pace(keys: int, period_s: float) -> None:
    """Though one is a rest."""
    played = struck(*(0.0, 2.0, 2.5, 3.0)[:keys])
    assert find_own_period_s(quarters(*range(60, 60 + keys)), played) == period_s


@pytest.mark.parametrize(("first_s", "is_other"), [(1.45, False), (1.55, True)])
def test_equal_chords_are_others_where_a_gap_is_three_times_too_long_beside_the_next(
    first_s: float, is_other: bool
) -> None:
    """Written are a quarter and a half, so this is 1.5 times the second one."""
    notes = [{"pitch": 60, "onset": at, "length": 1, "hand": "RH"} for at in (0, 1, 3)]
    window = excerpt(score_from_notes(notes), Window(Fraction(0), Fraction(4)))
    played = struck(0.0, first_s, first_s + 1.0)
    assert is_turned_round(make_score_arrays(window), played) is is_other


@pytest.mark.parametrize(
    ("gap_s", "goes_on"), [(0.65, False), (0.69, True), (1.45, True), (1.55, False)]
)
def test_who_passes_notes_over_goes_on_in_time_within_half_as_long_again(
    gap_s: float, goes_on: bool
) -> None:
    labels = [(Label.MATCHED, 0), (Label.MATCHED, 2)]
    score, played = quarters(60, 62, 64, 65), struck(0.0, gap_s)
    assert goes_on_in_time(score, labels, played, 1, 0.5) is goes_on


@pytest.mark.parametrize(("right", "is_fresh", "begins"), [
    (1, True, False), (2, True, True), (2, False, False), (3, False, True)
])  # fmt: skip
def test_two_right_keys_begin_after_a_rest_and_three_amid_others(
    right: int, is_fresh: bool, begins: bool
) -> None:
    labels = [(Label.EXTRA, -1), *((Label.MATCHED, at) for at in range(1, 1 + right))]
    assert is_begun(quarters(*range(60, 68)), labels, is_fresh) is begins


@pytest.mark.parametrize(("keys", "said"), [(7, 0), (8, 1)])
def test_eight_keys_that_fit_nowhere_are_told(keys: int, said: int) -> None:
    strange = (61, 70, 63, 58, 73, 66, 54, 75)[:keys]
    pianist = Pianist(scale()).play(" ".join(map(str, strange)), beat_s=0.3)
    assert len(pianist.of(NotThis)) == said
