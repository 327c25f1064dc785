"""What is understood at a rest: no key will come that could change it, so whole readings count."""

from dataclasses import replace
from fractions import Fraction as F
from math import inf

import pytest

from coach.judging.alignment import ExactMatcher
from coach.judging.following import FollowedWindow, begin_end
from coach.judging.following.events import Ended, NotThis, RepetitionBegan
from coach.judging.following.follower import Follower
from coach.judging.instead import KeyRows, Surroundings
from coach.judging.model import Instead
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import NoteMark
from coach.score.window import Excerpt, Window, excerpt
from tests.judging_help import tune, whole
from tests.test_following_gaps import hears, takes


def row(*chords: tuple[float, str], length: F = F(1, 2)) -> Excerpt:
    """A window from onsets in quarters and the keys written at each, ``l`` for the left hand."""
    return whole(
        score_from_notes(
            [
                {
                    "pitch": int(key.removesuffix("l")),
                    "onset": F(at),
                    "length": length,
                    "hand": "LH" if key.endswith("l") else "RH",
                }
                for at, keys in chords
                for key in keys.split("+")
            ]
        )
    )


def keys_of(*chords: tuple[float, str]) -> list[tuple[int, float]]:
    """Keys (pitch, seconds) from times in seconds and the keys struck at each."""
    return [
        (int(key), at_s + 0.005 * one)
        for at_s, keys in chords
        for one, key in enumerate(keys.split("+"))
    ]


def times(keys: list[tuple[int, float]]) -> list[float]:
    return [at_s for _, at_s in keys]


@pytest.mark.parametrize("velocity", [25, 64])
def test_a_wrong_key_among_three_onsets_is_heard_and_so_is_the_next(velocity: int) -> None:
    """Softly struck it may be a key brushed: then the keys after it tell."""
    window = row((0, "60l+64l+72"), (0.5, "67"), (1, "69"))
    first = keys_of((10.0, "64+60+72"), (10.35, "66"), (10.7, "69"))
    again = keys_of((13.2, "64+60+72"), (13.55, "65"), (13.9, "69"))
    heard = hears(Follower(window, qpm=80), [*first, *again], velocity)
    assert takes(heard) == [times(first), times(again)]


@pytest.mark.parametrize("velocity", [25, 64])
def test_a_wrong_last_key_ends_the_repetition(velocity: int) -> None:
    window = row((0, "53"), (2, "50"), (4, "48"), length=F(2))
    keys = keys_of((10.0, "53"), (12.0, "50"), (13.95, "46"))
    again = [(53, 17.4), (50, 19.4), (48, 21.4)]
    heard = hears(Follower(window, qpm=60), [*keys, *again], velocity)
    assert takes(heard) == [times(keys), times(again)]


@pytest.mark.parametrize("velocity", [25, 64])
def test_a_note_left_out_of_the_chord_before_does_not_hide_the_last_note(velocity: int) -> None:
    window = row(
        (0, "50"), (0.5, "53+57"), (1, "53+57"), (1.5, "53+57"), (2, "48+53+56"), (3, "46")
    )
    keys = keys_of(
        (10.0, "50"), (11.07, "57+53"), (12.14, "57+53"), (13.2, "53+57"), (14.28, "53+48"),
        (16.4, "46"),
    )  # fmt: skip
    heard = hears(Follower(window, qpm=28), [*keys, (49, 19.0), (52, 20.0)], velocity)
    assert takes(heard)[0] == times(keys)


@pytest.mark.parametrize("wrong", [51, 55])
def test_a_wrong_key_before_a_long_written_gap_is_waited_after(wrong: int) -> None:
    """Long and short by turns, slowly: the silence after the wrong short one is the written one."""
    written = ((0, 48), (0.25, 52), (2, 48), (2.25, 52), (4, 48), (4.25, 55), (6, 48), (8, 53))
    window = row(*((at, str(key)) for at, key in written))
    played = [wrong if at == 2.25 else key for at, key in written]
    keys = [(key, 10 + 1.9 * at) for key, (at, _) in zip(played, written, strict=True)]
    assert takes(hears(Follower(window, qpm=31), keys)) == [times(keys)]


def test_single_notes_one_after_the_other_are_repetitions_of_a_window_of_one() -> None:
    window = row((0, "60"))
    keys = keys_of((10.0, "60"), (10.3, "60"), (12.0, "60"))
    assert takes(hears(Follower(window, qpm=60), keys)) == [[at] for at in times(keys)]


def test_the_last_chord_found_note_by_note_belongs_to_the_repetition() -> None:
    window = row((0, "60"), (0.5, "62"), (1, "64"), (1.5, "65"), (2, "53+69"))
    keys = keys_of(
        (10.0, "60"), (10.2, "62"), (10.4, "64"), (10.6, "65"), (11.7, "53"), (12.6, "69")
    )
    heard = hears(Follower(window, qpm=150), keys)
    assert takes(heard) == [times(keys)]


def test_keys_of_a_repetition_make_no_second_one_with_a_late_key() -> None:
    window = row((0, "60"), (0.5, "62"), (1, "64"), (1.5, "65"), (2, "53+69"))
    keys = keys_of(
        (10.0, "60"), (10.2, "62"), (10.4, "64"), (10.6, "65"), (11.7, "53"), (13.4, "69")
    )
    heard = hears(Follower(window, qpm=150), keys)
    assert len([one for one in heard if isinstance(one, Ended)]) == 1


def test_equal_chords_are_paired_as_they_are_played_after_a_key_of_them_amid_others() -> None:
    """Two equal chords are the window; one of their keys was struck before, among others."""
    window = row((0, "67+71"), (2, "67+71"), length=F(2))
    before = keys_of((7.0, "83"), (7.3, "68"), (7.6, "64"), (7.9, "69"), (8.2, "71"), (8.45, "67"))
    first = keys_of((11.0, "67+71"), (12.3, "71+67"))
    again = keys_of((15.2, "71+67"), (16.35, "67+71"))
    heard = hears(Follower(window, qpm=89), [*before, *first, *again])
    assert takes(heard) == [times(first), times(again)]


def test_equal_chords_are_paired_as_they_are_played_after_one_too_many() -> None:
    window = row((0, "67+71"), (2, "67+71"), length=F(2))
    first = keys_of((10.0, "67+71"), (12.9, "67+71"), (14.2, "71+67"))
    again = keys_of((17.0, "71+67"), (18.2, "67+71"))
    heard = hears(Follower(window, qpm=89), [*first, *again])
    assert takes(heard)[-2:] == [times(first[2:]), times(again)]


def test_equal_chords_played_slowly_from_the_first_time_on_are_heard() -> None:
    window = row((0, "67+71"), (2, "67+71"), length=F(2))
    first = keys_of((10.0, "67+71"), (12.9, "67+71"))
    again = keys_of((19.0, "71+67"), (21.9, "67+71"))
    assert takes(hears(Follower(window, qpm=89), [*first, *again])) == [times(first), times(again)]


def test_two_equal_chords_at_the_own_pace_are_the_window_however_slow() -> None:
    """Nobody asked for a tempo: the second chord isn't the window begun again."""
    window = row((0, "55+60+65"), (7, "55+60+65"), length=F(7))
    first, again = keys_of((10.0, "55+60+65"), (18.2, "60+55+65")), keys_of((24.5, "55+60+65"))
    heard = hears(Follower(window), [*first, *again])
    assert takes(heard) == [times(first)]


@pytest.mark.parametrize("before", ["", "67+71"])
def test_which_of_equal_chords_is_the_first_is_told_by_the_lengths_of_the_others(
    before: str,
) -> None:
    """A half and an eighth; whoever is slow rests for no longer than the half takes."""
    window = row((0, "67+71"), (2, "67+71"), (2.5, "67+71"))
    chords = before.split()
    tried = keys_of(*((10 - 3.1 * (len(chords) - at), key) for at, key in enumerate(chords)))
    keys = keys_of((10.0, "67+71"), (13.4, "67+71"), (14.3, "71+67"))
    again = keys_of((18.0, "71+67"), (21.2, "67+71"), (22.1, "67+71"))
    heard = hears(Follower(window, qpm=38), [*tried, *keys, *again])
    assert takes(heard) == [times(keys), times(again)]


def test_a_wrong_first_chord_of_equal_ones_puts_those_after_it_out_of_step_once() -> None:
    onsets = (0, 0.5, 1, 2.5, 3.5)
    window = row(*((at, "67+71") for at in onsets))
    slip = keys_of((10.0, "67+76"), *((10 + 1.56 * at, "67+71") for at in onsets[1:]))
    again = keys_of(*((16.0 + 1.56 * at, "71+67") for at in onsets))
    heard = takes(hears(Follower(window, qpm=38), [*slip, *again]))
    assert heard[-1] == times(again)


@pytest.mark.parametrize("first", [59, 61])
def test_a_wrong_first_key_is_over_with_a_last_key_that_is_nowhere_else(first: int) -> None:
    """Slowly: the next repetition begins before a written gap has gone by."""
    window = row((0, "60"), (2, "62"), (4.5, "50"), length=F(2))
    keys = [(first, 10.0), (62, 12.3), (50, 15.2)]
    again = [(key, at_s + 7.8) for key, at_s in ((60, 10.0), (62, 12.3), (50, 15.2))]
    heard = hears(Follower(window, qpm=54), [*keys, *again])
    assert takes(heard) == [times(keys), times(again)]


def test_a_note_left_out_of_equal_chords_is_a_repetition_all_the_same() -> None:
    window = row((0, "67+71"), (2, "67+71"), (2.5, "67+71"), (4.5, "67+71"))
    keys = keys_of((10.0, "67+71"), (12.36, "67"), (13.0, "67+71"), (15.55, "71+67"))
    heard = hears(Follower(window, qpm=46), keys)
    assert takes(heard) == [times(keys)]


def test_of_equal_chords_two_are_more_than_the_first() -> None:
    window = row((0, "67+71"), (1, "67+71"), (2, "67+71"), (3, "60"))
    keys = keys_of((10.0, "67+71"), (11.0, "67+71"))
    assert takes(hears(Follower(window, qpm=60), keys)) == [times(keys)]
    unlike = row((0, "67+71"), (1, "60"), (2, "62"))
    assert not takes(hears(Follower(unlike, qpm=60), keys))


def test_what_was_said_to_be_transposed_is_no_beginning_of_what_comes_after_it() -> None:
    window = row((0, "76"), (2, "74"), (2.5, "72"), (3, "71"))
    moved = [(72, 10.0), (70, 12.3), (68, 12.9), (67, 13.5)]
    after = [(76, 19.2), (72, 22.0), (71, 22.6)]
    heard = hears(Follower(window, qpm=54), [*moved, *after])
    assert takes(heard) == [times(after)]


def test_a_window_with_an_ornament_is_known_amid_other_keys() -> None:
    """Played plainly: what is written over a note may be left out."""
    plain = whole(score_from_notes(tune(8)))
    notes = (replace(plain.notes[0], marks=frozenset({NoteMark.TRILL})), *plain.notes[1:])
    window = replace(plain, notes=notes)
    assert window.notes[0].is_free
    before = [(50, 10.0), (90, 10.3), (53, 10.6), (88, 10.9)]
    keys = [(note.pitch, 11.2 + 0.5 * at) for at, note in enumerate(window.notes)]
    assert takes(hears(Follower(window, qpm=120), [*before, *keys]))[-1] == times(keys)


@pytest.mark.parametrize("wrong", [None, 2])
def test_the_bar_before_is_no_part_of_a_repetition_with_a_wrong_note(wrong: int | None) -> None:
    line = (60, 64, 62, 65, 64, 67, 65, 69, 67, 71, 69, 72, 71, 74, 72, 76)
    score = score_from_notes(
        [{"pitch": p, "onset": at, "length": 1, "hand": "RH"} for at, p in enumerate(line)]
    )
    part = excerpt(score, Window(F(4), F(8)))
    follower = FollowedWindow(part, Surroundings(KeyRows(score), part))
    played = list(line[:9])
    if wrong is not None:
        played[4 + wrong] -= 2
    keys = [(pitch, 10 + 0.6 * at) for at, pitch in enumerate(played)]
    heard = hears(Follower(part, qpm=100, window=follower), keys)
    assert takes(heard) == [times(keys[4:])]


def test_who_goes_on_at_once_past_the_end_has_played_the_window() -> None:
    """With both hands, in a fast figure: so soon no last note is over."""
    written = (
        (0, "45"), (1, "58"), (1.5, "58"), (2, "59"), (3, "47"), (4, "48"), (5, "60"), (5.5, "60"),
        (6, "61"), (7, "49"), (8, "47+59"), (9, "45+57"), (10.5, "47"), (11.5, "49"), (12.5, "51"),
        (13, "53"), (13.5, "54"), (14, "56"), (15, "53"), (15.5, "49"), (16, "54"),
    )  # fmt: skip
    keys = keys_of(*((10 + 0.55 * at, key) for at, key in written))
    figure = (73, 77, 79, 47, 76, 74, 73, 71, 69, 49, 37)
    on = [(key, 18.87 + 0.07 * at) for at, key in enumerate(figure)]
    heard = hears(Follower(row(*written), qpm=104), [*keys, *on])
    assert takes(heard)[0] == times(keys)


def test_a_key_of_a_false_start_does_not_stand_in_for_one_left_out_after_it() -> None:
    window = row((0, "48+52"), (2, "50+54"), (4, "50+55"))
    keys = keys_of((10.0, "48+52"), (10.65, "48"), (12.2, "50+54"), (13.8, "50+55"))
    assert [at_s for at_s in takes(hears(Follower(window, qpm=76), keys))[-1] if at_s < 12] != [
        10.005,
        10.65,
    ]


def test_of_keys_that_nobody_followed_it_is_not_known_how_long_they_take_to_judge() -> None:
    """The second key came before a rest, and is heard at the end to belong to the others."""
    window = whole(score_from_notes(tune(8, F(1))))
    keys = [PlayedNote(note.pitch, 64, 10.0 + at) for at, note in enumerate(window.notes)]
    follower = Follower(window, qpm=60)
    follower._earlier, follower._take = keys[1:2], keys[2:]
    follower._alignment.begin_again(follower._take)
    assert follower._find_cost() < inf
    follower._find_start()
    assert follower._take == keys[1:]
    assert follower._find_cost() == inf


def test_equal_chords_slower_than_asked_for_are_over_though_more_of_them_follow() -> None:
    """The last gap is long for the tempo asked for, and not for the player's."""
    window = row((0, "67+71"), (0.5, "67+71"), (1, "67+71"), (2.5, "67+71"), (4, "67+71"))
    first = keys_of(
        (10.0, "67+71"), (10.42, "67+71"), (10.88, "71+67"), (12.2, "71+67"), (13.58, "71+67")
    )
    past = keys_of((13.96, "71+67"), (14.5, "67+71"))
    assert takes(hears(Follower(window, qpm=130), [*first, *past]))[0] == times(first)


@pytest.mark.parametrize(("step_s", "is_one"), [(0.2, True), (1.2, False)])
def test_a_note_left_out_in_time_is_no_new_beginning_though_the_bar_comes_again(
    step_s: float, is_one: bool
) -> None:
    """Two bars alike: after a stop the second one's keys are the window begun again."""
    bar = (43, 52, 55, 60, 64, 55, 60, 64)
    written = [(at / 4, str(key)) for at, key in enumerate((*bar, *bar, 43))]
    played = [int(key) for at, (_, key) in enumerate(written) if at != 7]
    keys = [(key, 10.0 + 0.2 * at + step_s * (at > 6)) for at, key in enumerate(played)]
    heard = takes(hears(Follower(row(*written), qpm=70), keys))
    assert (heard == [times(keys)]) is is_one


@pytest.mark.parametrize(("step_s", "is_one"), [(0.0, True), (1.2, False)])
def test_a_figure_that_comes_again_in_time_is_no_new_beginning(step_s: float, is_one: bool) -> None:
    """The first three keys come twice in the window; its last but one is left out."""
    written = [(at / 3, str(key)) for at, key in enumerate((76, 74, 73, 76, 74, 73, 73))]
    played = (76, 74, 73, 76, 74, 73)
    late_s = (0, 0, 0, step_s, step_s, step_s + 0.12)
    keys = [(key, 10.0 + 0.12 * at + late_s[at]) for at, key in enumerate(played)]
    heard = takes(hears(Follower(row(*written), qpm=100), keys))
    assert (heard == [times(keys)]) is is_one


def test_one_grip_is_no_repetition_though_it_has_keys_of_three_onsets() -> None:
    window = row((0, "39+51"), (0.5, "44+56"), (0.75, "68"), (1, "51+75"), (1.25, "68"), (2, "60"))
    keys = keys_of((10.0, "39+68+51+56"))
    assert takes(hears(Follower(window, qpm=100), keys)) == []


@pytest.mark.parametrize("back_s", [1.3, 2.4])
@pytest.mark.parametrize("back", [1, 2, 3])
def test_who_goes_back_to_a_chord_like_the_last_one_has_not_come_to_the_end(
    back: int, back_s: float
) -> None:
    """The last chord and the one before have a key in common with each that is gone back to."""
    chords = ("47+55", "50+54", "48+54", "47+52", "48+55", "43+48", "48+52")
    window = row(*((2.0 * at, chord) for at, chord in enumerate(chords)))
    played = [*chords[:-1], *chords[-1 - back :]]
    late_s = [back_s - 3.6 if at >= len(chords) - 1 else 0.0 for at in range(len(played))]
    keys = keys_of(*((10 + 3.6 * at + late_s[at], chord) for at, chord in enumerate(played)))
    assert takes(hears(Follower(window, qpm=33), keys)) == [times(keys)]


def test_what_begins_and_ends_as_the_window_is_not_what_stands_around_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Three notes were gone back to, and the bar after it sounds much the same."""
    monkeypatch.setattr(Surroundings, "explain", lambda *_: True)
    line = (60, 62, 64, 65, 67, 69, 71, 72, 74, 76, 77, 79)
    score = score_from_notes(
        [{"pitch": p, "onset": at, "length": 1, "hand": "RH"} for at, p in enumerate(line)]
    )
    part = excerpt(score, Window(F(4), F(9)))
    played = (67, 69, 71, 72, 74, 71, 72, 74, 76)
    keys = [(pitch, 10 + 0.6 * at) for at, pitch in enumerate(played)]
    before = [(64, 8.8), (65, 9.4)]  # without a rest, so that one may lead into the other
    window = FollowedWindow(part, Surroundings(KeyRows(score), part))
    assert takes(hears(Follower(part, qpm=100, window=window), [*before, *keys])) == [times(keys)]


@pytest.mark.parametrize(("far", "is_kept"), [("48", False), ("60", True)])
def test_a_key_far_off_after_a_stop_is_no_slip_of_what_was_broken_off(
    far: str, is_kept: bool
) -> None:
    """Then it is begun again; a key near the one that was looked for is a slip."""
    line = ((0, "64"), (1, "65"), (2, "67"), (4, "64"), (5, "62"), (6, "60"), (8, "62"), (9, "64"),
            (10, "65"), (11, "62"), (12, "64"), (14, "62"), (16, "64"))  # fmt: skip
    begun = keys_of(*((10 + 0.87 * at, key) for at, key in line[:9]))
    far_off = keys_of((begun[-1][1] + 3.0, far))
    again = keys_of(*((begun[-1][1] + 4.8 + 0.87 * at, key) for at, key in line))
    heard = takes(hears(Follower(row(*line), qpm=70), [*begun, *far_off, *again]))
    assert heard == [times([*begun, *far_off] if is_kept else begun), times(again)]


def test_two_onsets_tried_before_it_is_begun_again_are_no_slips_of_what_was_broken_off() -> None:
    """The first of them is an octave below what is due, the second one has the same keys."""
    line = ((0, "43"), (0.5, "55+59+65"), (1, "55+59+65"), (3, "55+59+65"), (6.5, "36+48"))
    begun = keys_of(*((10 + 0.4 * at, key) for at, key in line[:3]))
    tried = keys_of((10.7, "43"), (10.9, "55+59+65"))
    again = keys_of(*((12.8 + 0.4 * at, key) for at, key in line))
    heard = takes(hears(Follower(row(*line), qpm=150), [*begun, *tried, *again]))
    assert heard == [times(begun), times(again)]


def test_two_right_onsets_that_other_keys_lead_into_are_nothing() -> None:
    """Another place, in octaves, that ends as the window begins."""
    window = row(*((at / 2, str(key)) for at, key in enumerate((76, 74, 72, 71, 69, 67, 72))))
    other = (73, 74, 79, 77, 76, 74)
    keys = keys_of(*((10 + 1.2 * at, f"{key}+{key + 12}") for at, key in enumerate(other)))
    assert takes(hears(Follower(window, qpm=40), keys)) == []


def test_what_led_into_a_take_that_was_broken_off_tells_what_it_was() -> None:
    """A scale a fourth too low: its last notes are the window's first ones, but for one."""
    scale = (36, 38, 40, 41, 43, 44)
    window = row(*((at / 2, f"{key}+{key + 12}") for at, key in enumerate(scale)))
    keys = keys_of(*((10 + 0.23 * at, f"{key - 5}+{key + 7}") for at, key in enumerate(scale)))
    heard = hears(Follower(window, qpm=130), keys)
    assert takes(heard) == []
    assert [one.what for one in heard if isinstance(one, NotThis)] == [Instead.TRANSPOSED]


def test_who_goes_on_past_an_ornament_at_the_end_has_played_the_window() -> None:
    notes = [{"pitch": p, "onset": at, "length": 1, "hand": "RH", "marks": ["trill"] * (at == 5)}
             for at, p in enumerate((60, 62, 64, 65, 67, 69))]  # fmt: skip
    keys = [(p, 10 + 0.4 * at) for at, p in enumerate((60, 62, 64, 65, 67, 69))]
    past = [(p, 12.3 + 0.2 * at) for at, p in enumerate((83, 95, 84, 96, 86, 98, 87, 99, 88, 100))]
    heard = hears(Follower(whole(score_from_notes(notes)), qpm=150), [*keys, *past])
    assert takes(heard) == [times(keys)]


def test_after_a_transposition_the_window_is_heard_before_a_written_rest_has_gone_by() -> None:
    """It has a half note; the pianist sees what was wrong, and goes on sooner."""
    phrase = (60, 64, 62, 65, 64, 67, 65, 69, 67, 71, 69, 72)
    line = [key + up for up in (0, 2, 4, 6) for key in phrase]
    window = row(*((at + (at > 45), str(key)) for at, key in enumerate(line)))
    wrong = [(key + 3, 10 + 0.4 * at) for at, key in enumerate(line)]
    slip = [key + (at == 40) for at, key in enumerate(line)]
    keys = [(key, wrong[-1][1] + 2.5 + 0.9 * at) for at, key in enumerate(slip)]
    heard = hears(Follower(window, qpm=60), [*wrong, *keys])
    assert takes(heard) == [times(keys)]
    began = next(at for at, one in enumerate(heard) if isinstance(one, RepetitionBegan))
    assert began < len(heard) - len(line) / 2  # it is marked while it is played


def test_what_begins_exactly_as_the_window_is_no_tremolo_with_a_wrong_key() -> None:
    """Slow; the chord that is due is one of a tremolo, and comes after the first note, too."""
    chords = [(0, "43"), (0.5, "55+59+65"), (1, "55+59+65"), (3, "55+59+65")]
    notes = [{"pitch": int(key), "onset": at, "length": F(1, 2), "hand": "LH",
              "marks": ["tremolo"] * (at == 3)}
             for at, keys in chords for key in keys.split("+")]  # fmt: skip
    begun = keys_of(*((10 + 2.1 * at, keys) for at, keys in chords[:3]))
    again = keys_of(*((14 + 2.1 * at, keys) for at, keys in chords))
    heard = hears(Follower(whole(score_from_notes(notes)), qpm=28), [*begun, *again])
    assert takes(heard) == [times(begun), times(again)]


def test_a_first_chord_amid_which_other_music_is_left_keeps_all_its_keys(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Given up with the second key of a rolled chord, as after a long stretch an octave off."""
    monkeypatch.setattr(begin_end, "is_lost", lambda _, keys, take: take[-1].pitch == 61)
    line = [(float(at), str(key)) for at, key in enumerate((57, 59, 60, 62, 64, 65, 67, 69), 1)]
    window = row((0, "56+61+76"), *line)
    begun = keys_of((10.0, "76+56"), *((10.0 + 0.6 * at, key) for at, key in line[:5]))
    other = [(key, 13.6 + 0.4 * at) for at, key in enumerate((90, 92, 91, 90, 92))]
    rolled = [(56, 15.8), (61, 15.82), (76, 15.84)]
    slip = [(at, "66" if key == "64" else key) for at, key in line]
    keys = [*rolled, *keys_of(*((15.8 + 0.6 * at, key) for at, key in slip))]
    heard = hears(Follower(window, qpm=100), [*begun, *other, *keys])
    assert takes(heard)[-1] == times(keys)


def test_a_part_is_exact_though_the_window_ends_in_a_trill() -> None:
    plain = whole(score_from_notes(tune(8)))
    last = replace(plain.notes[-1], marks=frozenset({NoteMark.TRILL}))
    written = ExactMatcher(replace(plain, notes=(*plain.notes[:-1], last)))
    keys = [PlayedNote(note.pitch, 64, 0.5 * at, 0.4) for at, note in enumerate(plain.notes)]
    assert written.find_run(keys[:5], None) == (0, 4)
    assert written.is_beginning(keys[:5])
    assert written.find_whole(keys) is None  # its last note may go on
    assert written.find_run(keys[4:], None) is None


@pytest.mark.parametrize("landing", ["60", "48+60"])
def test_a_landing_in_time_is_no_new_beginning_though_a_note_is_missing(landing: str) -> None:
    """The window begins as it ends and holds a long note, for which nobody waits then."""
    window = row((0, landing), (1, "55+62"), (2, "64"), (9, "65"), (10, landing), length=F(1))
    keys = keys_of((10.0, landing), (11.0, "62"), (12.0, "64"), (19.0, "65"), (20.0, landing))
    assert takes(hears(Follower(window, qpm=60), keys)) == [times(keys)]


def test_a_landing_that_comes_too_soon_may_be_a_new_beginning() -> None:
    window = row((0, "60"), (1, "55+62"), (2, "64"), (9, "65"), (10, "60"), length=F(1))
    keys = keys_of((10.0, "60"), (11.0, "62"), (12.0, "64"), (19.0, "65"), (19.5, "60"))
    assert takes(hears(Follower(window, qpm=60), keys)) == []


@pytest.mark.parametrize("keys", ["86 87 90", "84 87 88", "86 85 88"])
def test_of_three_notes_one_may_be_wrong_soon_after_the_last_time(keys: str) -> None:
    """The rest before it is shorter than the window's long note: as the music might go on."""
    window = row((0, "86"), (2.5, "87"), (3, "88"))
    first = [(86, 10.0), (87, 11.5), (88, 11.8)]
    again = [*zip(map(int, keys.split()), (13.6, 15.1, 15.4), strict=True)]
    assert takes(hears(Follower(window, qpm=100), [*first, *again])) == [times(first), times(again)]


def test_three_keys_after_less_than_a_second_may_be_how_the_music_goes_on() -> None:
    window = row((0, "86"), (2.5, "87"), (3, "88"))
    first = [(86, 10.0), (87, 11.5), (88, 11.8)]
    other = [(86, 12.6), (87, 14.1), (90, 14.4)]
    assert takes(hears(Follower(window, qpm=100), [*first, *other])) == [times(first)]


def test_three_strange_keys_soon_after_are_none_of_it() -> None:
    window = row((0, "86"), (2.5, "87"), (3, "88"))
    first = [(86, 10.0), (87, 11.5), (88, 11.8)]
    other = [(84, 13.6), (83, 15.1), (88, 15.4)]
    assert takes(hears(Follower(window, qpm=100), [*first, *other])) == [times(first)]
