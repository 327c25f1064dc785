"""The evening player: what it says of its playing is true of its keys."""

from collections.abc import Iterator
from fractions import Fraction as F
from random import Random
from typing import Any

import pytest

from coach.playing.simulated.evening import (
    EveningPlayer,
    Seen,
    _may_go_on,
    _may_leave_one_out,
    _Playing,
    _Turn,
)
from coach.playing.simulated.gesture import Do, Gesture, Worth
from coach.playing.simulated.hands import (
    SHORTEST_GAP_S,
    Manner,
    Stroke,
    begins_like,
    chords,
    in_time,
)
from coach.score.build import score_from_notes
from coach.score.model import Score
from coach.score.window import Window, excerpt

RIGHT_HAND = (72, 74, 76, 77, 79, 77, 76, 74, 72, 71, 69, 71, 72, 76, 79, 84)
LEFT_HAND = (48, 52, 43, 47, 45, 41, 43, 36)


def piece() -> Score:
    right = [
        {"pitch": pitch, "onset": at, "length": 1, "hand": "RH"}
        for at, pitch in enumerate(RIGHT_HAND)
    ]
    left = [
        {"pitch": pitch, "onset": 2 * at, "length": 2, "hand": "LH"}
        for at, pitch in enumerate(LEFT_HAND)
    ]
    return score_from_notes([*right, *left], qpm=90)


def seen(score: Score, now_s: float = 10.0, **changes: Any) -> Seen:
    shown = excerpt(score, Window(F(4), F(12)))
    given: dict[str, Any] = {
        "now_s": now_s, "score": score, "excerpt": shown, "qpm": 80.0, "stage": "rhythm",
        "click_asked": False, "click_s": None,
    }  # fmt: skip
    return Seen(**{**given, **changes})


def gestures(seeds: int = 60, each: int = 10) -> Iterator[Gesture]:
    score = piece()
    for seed in range(seeds):
        player = EveningPlayer(Random(seed))
        player.opens(score)
        now_s = 10.0
        for _ in range(each):
            gesture = player.next(seen(score, now_s))
            yield gesture
            now_s = max((act.at_s for act in gesture.acts), default=now_s) + gesture.rest_s


def test_the_same_random_numbers_play_the_same_evening() -> None:
    assert list(gestures(5)) == list(gestures(5))


def test_keys_go_down_and_up_by_turns_and_times_never_go_back() -> None:
    for gesture in gestures():
        down = set()
        assert [act.at_s for act in gesture.acts] == sorted(act.at_s for act in gesture.acts)
        if "doubled" in gesture.kind:
            continue
        for act in gesture.acts:
            if act.do is Do.DOWN:
                assert act.one not in down, gesture.kind
                down.add(act.one)
            elif act.do is Do.UP:
                down.remove(act.one)


def test_what_is_said_to_be_right_has_every_key_of_the_window_and_no_other() -> None:
    wanted = sorted(note.pitch for note in seen(piece()).excerpt.notes)
    pitches = {True: 0, False: 0}
    for gesture in gestures():
        struck = {act.at_s: act.one for act in gesture.acts if act.do is Do.DOWN}
        for passage in gesture.passages:
            if passage.is_whole and not passage.repeats:
                keys = sorted(struck[at_s] for at_s in passage.struck_s)
                pitches[keys == wanted] += 1
                assert (keys == wanted) is (passage.notes_right), (gesture.kind, passage)
    assert min(pitches.values()) > 20


def test_everything_that_people_do_is_done_some_evening() -> None:
    missing = {
        "right", "wrong note", "left out", "again at once", "false start", "broken off",
        "the bar before", "past the end", "a stop", "a long stop", "goes back", "note by note",
        "stops", "joins in", "an octave off", "transposed", "a forgotten clef", "one hand for both",
        "another page", "mashed", "doubled", "unplugged", "leaves", "mash of keys", "noodling",
        "humming along",
    }  # fmt: skip
    for gesture in gestures(100, 30):
        missing -= {passage.kind for passage in gesture.passages}
        if not missing:
            break
    assert not missing


def test_no_hand_is_faster_than_a_hand_and_a_mashed_window_is() -> None:
    for gesture in gestures():
        for passage in gesture.passages:
            if passage.worth is Worth.CLEAN:
                assert passage.struck_s[-1] - passage.struck_s[0] > 4 * SHORTEST_GAP_S
            if passage.kind == "mashed":
                assert passage.struck_s[-1] - passage.struck_s[0] < 0.05 * len(passage.struck_s)


@pytest.mark.parametrize("family", ["gaussian", "laplace", "even", "wandering", "lumpy"])
def test_onsets_scatter_as_the_manner_has_it(family: str) -> None:
    """Ten to thirty-five milliseconds, whatever the shape of the scatter."""
    from dataclasses import replace
    from statistics import pstdev

    steady = replace(
        Manner.draw_manner(Random(1)), family=family, scatter_s=0.02, clock_share=0, sway=0, drift=0
    )
    times = in_time([0.6] * 2000, 1.0, steady, Random(2))
    off = [at_s - 0.6 * k for k, at_s in enumerate(times)]
    assert 0.013 < pstdev(off) < 0.024
    assert max(map(abs, off)) < 0.05


def test_a_chord_found_note_by_note_has_each_key_once() -> None:
    """Though two voices may have it: a keyboard has one key for it."""
    notes = [
        {"pitch": pitch, "onset": at, "length": 1, "hand": hand}
        for at in range(8)
        for pitch, hand in ((48, "LH"), (52, "LH"), (60 + at, "LH"), (60 + at, "RH"))
    ]
    score = score_from_notes(notes)
    for seed in range(300):
        player = EveningPlayer(Random(seed))
        player.opens(score)
        gesture = player.next(seen(score))
        found = [one for one in gesture.passages if one.kind == "note by note"]
        if found and len(gesture.passages) == 1:
            downs = [act.one for act in gesture.acts if act.do is Do.DOWN]
            assert len(downs) == 3 * len(set(downs) - {48, 52})
            return
    raise AssertionError("nobody found a chord")


@pytest.mark.parametrize(
    ("keys", "begins"), [((58, 60, 62, 63), True), ((60, 61, 62), False), ((62, 60), False)]
)
def test_noodling_that_strikes_the_first_two_notes_may_be_the_beginning(
    keys: tuple[int, ...], begins: bool
) -> None:
    notes = [
        {"pitch": pitch, "onset": at, "length": 1, "hand": "RH"}
        for at, pitch in enumerate((60, 62, 65))
    ]
    strokes = [Stroke(10.0 + at, key, 60, 0.3) for at, key in enumerate(keys)]
    assert begins_like(strokes, chords(score_from_notes(notes).notes)) is begins


def test_an_arpeggio_broken_off_may_sound_as_one_note_left_out() -> None:
    """C E G C E, and from the start again: in time that could be a G passed over; not after 2 s."""
    notes = [
        {"pitch": (60, 64, 67)[at % 3], "onset": at, "length": 1, "hand": "RH"} for at in range(9)
    ]
    score = score_from_notes(notes)
    turn = _Turn(_Playing(), seen(score), chords(score.notes), 10.0, 0.5)
    assert _may_leave_one_out(turn, 5, 1.0)
    assert not _may_leave_one_out(turn, 5, 2.0)
    assert not _may_leave_one_out(turn, 4, 1.0)


def test_going_back_to_a_like_note_may_sound_as_going_on() -> None:
    """C E C G: back to the first C after E is the next note, after C in time the one after it."""
    notes = [
        {"pitch": pitch, "onset": at, "length": 1, "hand": "RH"}
        for at, pitch in enumerate((60, 64, 60, 67, 60))
    ]
    score = score_from_notes(notes)
    turn = _Turn(_Playing(), seen(score), chords(score.notes), 10.0, 0.5)
    assert _may_go_on(turn, 2, 0, 3.0)
    assert _may_go_on(turn, 3, 2, 1.0)
    assert not _may_go_on(turn, 3, 2, 2.0)
    assert not _may_go_on(turn, 3, 1, 1.0)


def test_nothing_is_left_out_that_leaves_only_a_false_start() -> None:
    notes = [
        {"pitch": pitch, "onset": at, "length": 1, "hand": "RH"}
        for at, pitch in enumerate((64, 62, 64))
    ]
    score = score_from_notes(notes)
    player = EveningPlayer(Random(1))
    row, shown = chords(score.notes), seen(piece())
    planted = [one for _ in range(200) for one in player._changes(shown, row)[1]]
    assert len(planted) > 100
    assert not any(one.missed for one in planted)
