"""A slip at the beginning or the end of a repetition, and what comes right before or after it."""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.judging.following import FollowedWindow
from coach.judging.following.events import NotThis, RepetitionBegan
from coach.judging.following.follower import Follower
from coach.judging.instead import KeyRows, Surroundings
from coach.judging.wording import AROUND
from coach.playing.midi_events import KeyDown
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hand, NoteMark
from coach.score.window import Excerpt, Window, excerpt
from tests.test_following_at_rest import keys_of, row, times
from tests.test_following_gaps import hears, takes


def scale_from(pitch: int, steps: str, start_s: float, step_s: float) -> list[tuple[int, float]]:
    """Keys one after the other, each so many semitones from the one before."""
    out = [(pitch, start_s)]
    for step in steps.split():
        out.append((out[-1][0] + int(step), out[-1][1] + step_s))
    return out


def shaken(plain: Excerpt, *onsets: int) -> Excerpt:
    """The same with a tremolo on the chords at these onsets: of those any key may come again."""
    notes = tuple(
        replace(note, marks=frozenset({NoteMark.TREMOLO}))
        if note.onset_quarters in onsets
        else note
        for note in plain.notes
    )
    return replace(plain, notes=notes)


@pytest.mark.parametrize("last", [69, 67])
def test_a_wrong_last_note_is_over_before_one_goes_on_with_something_else(last: int) -> None:
    """Slowly: a correction of it would come as soon as any note that is looked for."""
    window = row((0, "76"), (2, "74"), (2.5, "72"), (3, "71"), length=F(1))
    keys = keys_of((10.0, "76"), (12.54, "74"), (13.17, "72"), (13.79, str(last)))
    other = scale_from(69, "1 -4 -2 -3 -4 -3 -4 -3 -4", 17.1, 0.35)
    heard = takes(hears(Follower(window, qpm=44), [*keys, *other]))
    assert heard == [times(keys)]


def test_a_last_note_corrected_within_a_second_is_the_same_repetition() -> None:
    window = row((0, "76"), (2, "74"), (2.5, "72"), (3, "71"), length=F(1))
    keys = keys_of((10.0, "76"), (12.54, "74"), (13.17, "72"), (13.79, "69"), (14.7, "71"))
    assert takes(hears(Follower(window, qpm=44), keys)) == [times(keys)]


@pytest.mark.parametrize("rest_s", [1.05, 1.24, 1.8])
@pytest.mark.parametrize("keys", ["50 52 53", "55 51 53", "55 52 50"])
def test_a_slip_in_three_notes_is_heard_after_noodling_and_a_moment(
    keys: str, rest_s: float
) -> None:
    """The moment is shorter than the window's long notes."""
    window = row((0, "55"), (2, "52"), (4, "53"), length=F(2))
    other = scale_from(42, "-2 -2 -1 -2 -2 -1 -2 -2 1 2", 7.0, 0.3)
    begun_s = other[-1][1] + rest_s
    played = [(int(key), begun_s + 1.37 * at) for at, key in enumerate(keys.split())]
    heard = takes(hears(Follower(window), [*other, *played]))
    assert heard == [times(played)]


def test_a_first_note_tried_three_times_is_no_whole_of_three_notes() -> None:
    window = row((0, "55"), (2, "52"), (4, "53"), length=F(2))
    tried = keys_of((10.0, "55"), (11.96, "55"), (13.35, "55"))
    keys = keys_of((14.12, "55"), (16.64, "51"), (19.17, "53"))
    assert takes(hears(Follower(window), [*tried, *keys])) == [times(keys)]


@pytest.mark.parametrize("rest_s", [1.1, 1.35, 4.0])
def test_a_wrong_first_note_is_kept_after_noodling_and_a_moment(rest_s: float) -> None:
    """In a dotted figure that comes twice."""
    figure = (0, "58"), (0.375, "60"), (0.5, "64"), (0.875, "58"), (1, "60"), (1.375, "64")
    window = row(*figure, (2, "57"))
    other = scale_from(82, "3 3 6 3 3 -6 -3 -3 -6 -3 -3 -6 -3 -3 -6 -3 -3 -6", 10.0, 0.215)
    begun_s = other[-1][1] + rest_s
    keys = [(57 if at == 0 else int(key), begun_s + 1.7 * at) for at, key in (*figure, (2, "57"))]
    assert takes(hears(Follower(window, qpm=34), [*other, *keys])) == [times(keys)]


def test_a_wrong_first_note_of_three_equal_ones_is_kept() -> None:
    """Only their lengths tell that the first of the three is not the second."""
    rest = (1, "51"), (1.5, "51"), (2, "52"), (3, "40"), (3.25, "59"), (3.5, "51"), (4, "38")
    window = row((0, "51"), *rest)
    keys = [(int(key), 10.0 + 0.93 * at) for at, key in ((0, "52"), *rest)]
    assert takes(hears(Follower(window, qpm=59), keys)) == [times(keys)]


def test_a_first_key_tried_in_time_is_no_window_with_half_of_it_left_out() -> None:
    """Its figure comes twice, the first two keys in the left hand: after the trial all of it comes,
    note for note."""
    figure = (43, 50, 55, 59, 65, 55, 59, 65) * 2 + (43,)
    hands = (f"{key}l" if key < 55 else str(key) for key in figure)
    window = row(*((at / 4, key) for at, key in enumerate(hands)))
    keys = [(key, 11.65 + 0.205 * at) for at, key in enumerate(figure)]
    heard = hears(Follower(window, qpm=73), [(43, 6.5), (43, 10.0), *keys])
    assert takes(heard) == [times(keys)]


@pytest.mark.parametrize(("before_s", "is_kept"), [(0.64, True), (2.5, False)])
def test_a_wrong_first_note_in_time_is_kept(before_s: float, is_kept: bool) -> None:
    """One long before the second note was none for the first."""
    chords = (0.5, "55+59+65"), (1, "55+59+65"), (3, "55+59+65"), (6.5, "36+48")
    window = shaken(row((0, "43"), *chords), 1, 3)
    down = {"55+59+65": "65+59+55"}
    rest = keys_of(*((11 + 1.28 * (at - 0.5), down.get(keys, keys)) for at, keys in chords))
    keys = [(47, 11 - before_s), *rest]
    heard = takes(hears(Follower(window, qpm=52), keys))
    assert heard == [times(keys if is_kept else rest)]


def test_a_scale_that_touches_the_first_notes_begins_nothing() -> None:
    """It was said already that these are not the window's notes, and the scale goes on."""
    window = row(
        (0, "55"), (0.5, "59+65"), (1, "59+65"), (3, "60+64"), (3.5, "55+62+65"), (4, "60+64")
    )
    scale = scale_from(40, "2 2 1 2 2 1 2 2 1 2 2 1 2 2", 10.0, 0.21)
    keys = keys_of((13.55, "55"), (14.0, "65+59"), (14.5, "65+59"))
    assert takes(hears(Follower(window, qpm=66), [*scale, *keys])) == [times(keys)]


def test_a_scale_in_one_hand_begins_no_window_of_two() -> None:
    """Four of its notes stand in the right hand one after the other, amid chords of the left."""
    rest = (1, "43l+47l+53l+67"), (1.5, "69"), (2, "71"), (2.5, "72"), (3, "43l+46l+53l+73")
    window = row((0, "43l+81"), (0.5, "50l+53l"), *rest)
    scale = scale_from(47, "2 2 1 2 2 1 2 2 1 2 2 1 2 2 1 2 2", 10.0, 0.13)
    keys = keys_of((14.3, "81+43"), (14.65, "50+53"), *((14.3 + 0.7 * at, chord.replace("l", ""))
                                                        for at, chord in rest))  # fmt: skip
    assert takes(hears(Follower(window), [*scale, *keys])) == [times(keys)]


def test_a_slip_in_three_notes_is_heard_though_one_plays_on() -> None:
    window = row((0, "69"), (1, "71"), (2, "69"), length=F(1))
    keys = [(69, 10.0), (70, 10.76), (69, 11.51)]
    on = keys_of((11.88, "67"), (12.23, "66+50+60"), (12.9, "69"), (13.72, "59+67+55"))
    assert takes(hears(Follower(window), [*keys, *on]))[0] == times(keys)


def test_a_last_chord_with_a_wrong_key_is_heard_though_one_plays_on_at_once() -> None:
    window = row((0, "44+56"), (0.5, "56+61+65"), (1, "41+53"))
    keys = keys_of((10.0, "44+56"), (10.25, "56+61+65"), (10.51, "41+54"))
    on = keys_of(
        (10.63, "73"), (10.8, "56+61+65+77"), (10.95, "68"), (11.05, "37+49"), (11.2, "77"),
        (11.35, "38+50+70"), (11.47, "77"), (11.63, "39+51+68+72+75+80"),
    )  # fmt: skip
    assert takes(hears(Follower(window), [*keys, *on]))[0] == times(keys)


def test_what_is_played_after_a_stop_and_strikes_nothing_right_is_none_of_it() -> None:
    """Begun again, after a row of keys of which one fits by chance."""
    notes = (72, 0.5), (77, 1.5), (76, 1.75), (74, 2), (72, 2.25), (70, 2.5), (69, 2.75), (67, 3)
    window = row((0, "72"), *((at, str(key)) for key, at in notes))
    begun = keys_of((10.0, "72"), (10.31, "72"), (10.82, "77"), (10.96, "76"))
    other = scale_from(76, "-3 -3 -6 -3 -3 -6 -3 -3", 13.6, 0.26)
    again = keys_of((16.28, "72"), (16.59, "72"), (17.2, "77"), (17.33, "76"), (17.5, "74"))
    heard = takes(hears(Follower(window, qpm=89), [*begun, *other, *again]))
    assert heard == [times(begun), times(again)]


def lines(*voices: str) -> list[int]:
    return [int(key) for voice in voices for key in voice.split()]


BEFORE, INSIDE, AFTER = (
    "64 67 65 62", "60 59 57 55", "53 57 62 65 64 67 69 72 71 74 60 61 59 62 64 65"
)  # fmt: skip


def followed_part(start: int, end: int) -> tuple[list[int], Follower]:
    """A window in a line of quarters, and all its keys."""
    row_of_keys = lines(BEFORE, INSIDE, AFTER)
    score = score_from_notes(
        [{"pitch": p, "onset": at, "length": 1, "hand": "RH"} for at, p in enumerate(row_of_keys)]
    )
    part = excerpt(score, Window(F(start), F(end)))
    window = FollowedWindow(part, Surroundings(KeyRows(score), part))
    return row_of_keys, Follower(part, qpm=100, window=window)


def test_who_plays_on_has_not_begun_again_where_a_few_keys_are_like_the_beginning() -> None:
    """The music after the window touches its first note and its second, with another between."""
    keys, follower = followed_part(4, 8)
    played = [(key, 10 + 0.6 * at) for at, key in enumerate(keys[4:21])]
    assert takes(hears(follower, played)) == [times(played[:5])]


def test_what_stands_behind_the_window_is_called_so_at_once() -> None:
    """Eight keys tell that it is not the window, and which music it is."""
    keys, follower = followed_part(4, 8)
    played = [(key, 10 + 0.6 * at) for at, key in enumerate(keys[8:16])]
    assert [one.reason for one in hears(follower, played) if isinstance(one, NotThis)] == [AROUND]


def test_one_hand_of_two_is_called_so_though_both_play_on() -> None:
    """The left hand to the window's end, then both past it, in keys much like the window's."""
    left, right = "43 50 48 47 " * 4 + "43", "67 69 71 72 " * 2 + "67 74 76 77 79 81 83 84 86"
    score = score_from_notes([
        {"pitch": int(key), "onset": at, "length": 1, "hand": hand}
        for hand, line in (("LH", left), ("RH", right)) for at, key in enumerate(line.split())
    ])  # fmt: skip
    part = excerpt(score, Window(F(0), F(8)))
    follower = Follower(
        part, qpm=100, window=FollowedWindow(part, Surroundings(KeyRows(score), part))
    )
    keys = [(n.pitch, 10 + 0.6 * float(n.onset_quarters)) for n in score.notes
            if n.hand is Hand.LEFT or n.onset_quarters > 8]  # fmt: skip
    said = [one.reason for one in hears(follower, keys) if isinstance(one, NotThis)]
    assert said[0] == "Both hands are asked for: only the left hand was heard."


def test_one_hand_after_the_other_is_both_where_it_is_written_so() -> None:
    keys = [(float(at), f"{40 + at}l") for at in range(7)]
    keys += [(7.0 + at, str(70 + at)) for at in range(7)]
    score_row = row(*keys, length=F(1))
    surroundings = Surroundings(KeyRows(score_from_notes([])), score_row)
    played = [PlayedNote(note.pitch, 64, 0.6 * at) for at, note in enumerate(score_row.notes)]
    assert surroundings.count_one_hand(played) == 0


@pytest.mark.parametrize("wrong", [5, 6])
def test_a_slip_in_three_notes_is_heard_after_the_bar_before(wrong: int) -> None:
    keys, follower = followed_part(4, 6)
    played = [(key + 4 * (at == wrong), 10 + 0.6 * at) for at, key in enumerate(keys[:7])]
    assert takes(hears(follower, played)) == [times(played[4:])]


def test_after_two_onsets_amid_other_keys_the_next_one_is_looked_for() -> None:
    """After one it is waited for as long as is written: it may have been any key."""
    keys, follower = followed_part(4, 6)
    for at, key in enumerate(keys[1:6]):
        follower.hear(KeyDown(key, 64, 10 + 0.6 * at))
    assert follower.may_begin(12.4 + 7.9, looks_s=8.0)
    assert not follower.may_begin(12.4 + 8.1, looks_s=8.0)
    keys, follower = followed_part(4, 6)
    for at, key in enumerate(keys[1:5]):
        follower.hear(KeyDown(key, 64, 10 + 0.6 * at))
    assert not follower.may_begin(11.8 + 4.0, looks_s=8.0)


def test_a_shaken_chord_tried_before_is_no_stumble() -> None:
    """Tried in time, as if the next chord came; its first key is in both."""
    chords = (0, "57+60+64"), (3, "57+62+65"), (6, "57+62+65"), (9, "56+59+62+64"), (12, "57+60+64")
    window = shaken(row(*chords, length=F(3)), 0, 3, 6, 9, 12)
    tried = keys_of((10.0, "57+60+64"), (14.03, "57+60+64"))
    keys = keys_of(*((15.82 + 0.83 * at, key) for at, key in chords))
    assert takes(hears(Follower(window, qpm=92), [*tried, *keys])) == [times(keys)]


TWO_NOTES = row((0, "55"), (2, "52"), length=F(2))
"""At 100, the piece's own tempo, these are 1.2 s apart."""


def amid_others(step_s: float, on: str = "") -> tuple[Follower, list[tuple[int, float]]]:
    """A chord broken downwards through the two notes, one key after the other."""
    keys = scale_from(70, f"-2 -3 -1 -3 -3 -3 -3 {on}", 10.0, step_s)
    return Follower(TWO_NOTES, qpm=84), keys


@pytest.mark.parametrize("on", ["", "-3", "-4 -3 -5 -4 -3"])
@pytest.mark.parametrize(("step_s", "is_heard"), [(0.16, False), (0.39, False), (0.41, True)])
def test_two_notes_amid_others_are_the_window_at_a_likely_tempo_alone(
    step_s: float, is_heard: bool, on: str
) -> None:
    """A third of what is written between them is 0.4 s."""
    follower, keys = amid_others(step_s, on)
    heard = hears(follower, keys)
    assert takes(heard) == ([times(keys[6:8])] if is_heard else [])
    assert sum(isinstance(one, RepetitionBegan) for one in heard) == is_heard


@pytest.mark.parametrize(("rest_s", "is_heard"), [(0.9, False), (1.1, True)])
@pytest.mark.parametrize("step_s", [0.08, 0.3])
def test_after_a_rest_two_notes_are_the_window_at_any_tempo(
    step_s: float, rest_s: float, is_heard: bool
) -> None:
    other = scale_from(70, "-2 -3 -1 -3", 8.0, 0.3)
    begun_s = other[-1][1] + rest_s
    keys = [(55, begun_s), (52, begun_s + step_s)]
    assert takes(hears(Follower(TWO_NOTES, qpm=84), [*other, *keys])) == [times(keys)] * is_heard


@pytest.mark.parametrize(("rest_s", "is_heard"), [(0.9, False), (1.1, True)])
def test_two_notes_far_too_fast_need_a_rest_after_them_too(rest_s: float, is_heard: bool) -> None:
    keys = [(55, 10.0), (52, 10.3)]
    on = scale_from(49, "-3 -3 -4 -3 -4 -3 -3", 10.3 + rest_s, 0.3)
    assert takes(hears(Follower(TWO_NOTES, qpm=84), [*keys, *on])) == [times(keys)] * is_heard


def test_two_notes_far_too_fast_after_another_key_are_not_the_window() -> None:
    """Half of all keys are right, and they come after a rest."""
    keys = [(58, 10.0), (55, 10.3), (52, 10.6)]
    for on in ([], [(49, 10.9)], [(49, 10.9), (46, 11.2)]):
        assert takes(hears(Follower(TWO_NOTES, qpm=84), [*keys, *on])) == []


def test_two_notes_far_too_fast_are_the_window_after_the_first_was_tried() -> None:
    """That is no other key; and shaken over and over they are not the window."""
    tried = [(55, 10.0), (55, 10.5), (52, 10.8)]
    assert takes(hears(Follower(TWO_NOTES, qpm=84), tried)) == [times(tried[1:])]
    shaken_over = [(55 if at % 2 == 0 else 52, 10.0 + 0.3 * at) for at in range(8)]
    assert takes(hears(Follower(TWO_NOTES, qpm=84), shaken_over)) == []


def test_two_notes_asked_for_slowly_are_heard_at_the_pieces_own_tempo() -> None:
    """Amid others; the piece's own is four times the tempo asked for."""
    _, keys = amid_others(2 * 60 / TWO_NOTES.qpm, "-4 -3")
    slowly = Follower(TWO_NOTES, qpm=TWO_NOTES.qpm / 4)
    assert takes(hears(slowly, keys)) == [times(keys[6:8])]


def test_three_notes_far_too_fast_are_the_window_where_the_music_before_leads_in() -> None:
    keys, follower = followed_part(4, 6)
    played = [(key, 10 + 0.15 * at) for at, key in enumerate(keys[:7])]
    assert takes(hears(follower, played)) == [times(played[4:])]


@pytest.mark.parametrize(("notes", "is_heard"), [(3, False), (4, False), (5, True)])
def test_no_more_than_four_notes_come_by_chance_in_other_music(notes: int, is_heard: bool) -> None:
    line = [53, 57, 60, 64, 67][:notes]
    window = row(*((at, str(key)) for at, key in enumerate(line)), length=F(1))
    up = [43, 46, 50, *line, *range(line[-1] + 3, 90, 3)]
    keys = [(key, 10.0 + 0.12 * at) for at, key in enumerate(up)]
    heard = takes(hears(Follower(window, qpm=84), keys))
    assert heard == [times(keys[3 : 3 + notes])] * is_heard
