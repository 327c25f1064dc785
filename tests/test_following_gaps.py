"""Long written notes and rests: a silence that is written is no silence. And the end among keys."""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.judging.alignment.exact_match import ExactMatcher
from coach.judging.following.events import (
    Ended,
    FollowerEvent,
    NoteMarked,
    NotThis,
    RepetitionBegan,
    StrayKey,
)
from coach.judging.following.follower import Follower
from coach.judging.judge import judge
from coach.playing.midi_events import KeyDown
from coach.score.build import score_from_notes
from coach.score.model import Hands
from coach.score.window import Excerpt, Window, excerpt
from tests.judging_help import play, whole
from tests.live import sample


def two_chords(gap: F = F(4)) -> Excerpt:
    """Two chords with a common key, a bar apart."""
    notes = [(43, F(0)), (50, F(0)), (50, gap), (55, gap)]
    return whole(
        score_from_notes(
            [{"pitch": p, "onset": at, "length": gap, "hand": "LH"} for p, at in notes]
        )
    )


def hears(
    follower: Follower, keys: list[tuple[int, float]], velocity: int = 64
) -> list[RepetitionBegan | Ended | NoteMarked | NotThis | StrayKey]:
    """What is said of keys (pitch, seconds), with the clock running and 8 s after them."""
    out, now_s = list[FollowerEvent](), keys[0][1]
    for pitch, at_s in [*keys, (None, keys[-1][1] + 8)]:
        while now_s + 0.05 < at_s:
            now_s += 0.05
            out += follower.tick(now_s)
        if pitch is not None:
            out += follower.hear(KeyDown(pitch, velocity, at_s))
    return out


def takes(
    heard: list[RepetitionBegan | Ended | NoteMarked | NotThis | StrayKey],
) -> list[list[float]]:
    return [[note.onset_s for note in one.take.notes] for one in heard if isinstance(one, Ended)]


def once(start_s: float, gap_s: float = 4.0) -> list[tuple[int, float]]:
    return [
        (43, start_s), (50, start_s + 0.01), (55, start_s + gap_s), (50, start_s + gap_s + 0.01)
    ]  # fmt: skip


def test_played_again_at_once_a_slow_window_is_heard_again() -> None:
    keys = [*once(10.0), *once(14.4)]
    heard = hears(Follower(two_chords(), qpm=60), keys)
    assert takes(heard) == [[at for _, at in once(10.0)], [at for _, at in once(14.4)]]


def test_a_first_chord_tried_is_not_taken_for_the_last_one_of_a_slow_window() -> None:
    keys = [(43, 10.0), (50, 10.01), *once(11.0)]
    heard = hears(Follower(two_chords(), qpm=60), keys)
    assert takes(heard) == [[at for _, at in once(11.0)]]


@pytest.mark.parametrize("step_s", [0.13, 0.1])
def test_who_plays_on_so_fast_that_no_end_is_heard_has_played_the_window(step_s: float) -> None:
    window = whole(
        score_from_notes(
            [
                {"pitch": p, "onset": at, "length": 1, "hand": "LH"}
                for at, p in enumerate((53, 55, 57))
            ]
        )
    )
    right = [(53, 10.0), (55, 10.8), (57, 11.6)]
    on = (79, 81, 79, 77, 76, 74, 54, 72, 71, 43, 47, 50, 79, 76)
    follower = Follower(window, qpm=75)
    heard = hears(follower, [*right, *((p, 11.6 + step_s * (k + 1)) for k, p in enumerate(on))])
    assert takes(heard) == [[at for _, at in right]]


def test_two_voices_on_one_key_are_still_heard_note_for_note() -> None:
    both = [(48, "LH"), (52, "LH"), (55, "LH"), (60, "LH"), (60, "RH")]
    window = whole(
        score_from_notes(
            [
                {"pitch": p, "onset": min(at, 3), "length": 1, "hand": hand}
                for at, (p, hand) in enumerate(both)
            ]
        )
    )
    written = ExactMatcher(window)
    assert written.is_exact
    keys = list(play(window))[:4]
    assert written.find_whole(keys) == 0
    part = written.find_run(keys[1:], None)
    assert part is not None
    matched = written.make_matching(part, keys[1:])
    assert [label.played for label in matched.score] == [None, 0, 1, 2, 2]


def song() -> Excerpt:
    """A window that ends as it begins, in long notes: G, G, A, B, G."""
    rows = [(67, 0), (67, 1), (69, 2), (71, 3), (67, 4)]
    notes = [{"pitch": p, "onset": at, "length": 1, "hand": "RH"} for p, at in rows]
    return whole(score_from_notes(notes))


def test_begun_again_in_the_middle_the_first_notes_are_not_taken_for_the_last_one() -> None:
    line = (67, 67, 69, 67, 67, 69, 71, 67)
    keys = [(pitch, 10.0 + 2.1 * at) for at, pitch in enumerate(line)]
    assert takes(hears(Follower(song(), qpm=30), keys))[-1] == [at for _, at in keys[3:]]


def test_a_long_first_note_is_waited_through() -> None:
    follower = Follower(song(), qpm=30)
    follower.hear(KeyDown(40, 64, 10.0))
    assert not follower.may_begin(10.1)
    follower.hear(KeyDown(67, 64, 10.4))
    assert follower.may_begin(12.8)
    assert not follower.may_begin(22.8)


def test_stopped_after_beginning_again_it_is_no_other_reading_of_the_whole() -> None:
    """80 79, then 80 79 78, and a long stop: not the whole line in another position."""
    line = [{"pitch": p, "onset": F(k, 2), "length": F(1, 2), "hand": "RH"}
            for k, p in enumerate((80, 79, 78, 77, 76))]  # fmt: skip
    keys = [(80, 10.0), (79, 10.57), (80, 11.25), (79, 11.79), (78, 12.35)]
    heard = hears(Follower(whole(score_from_notes(line)), qpm=50), keys)
    assert takes(heard)[-1] == [at for _, at in keys[2:]]


def test_at_half_the_tempo_asked_for_a_long_first_note_still_belongs_to_the_window() -> None:
    keys = [(67, 10.0 + 4.0 * at) for at in range(2)] + [(69, 18.0), (71, 22.0), (67, 26.0)]
    again = [(pitch, at + 17.0) for pitch, at in keys]
    heard = hears(Follower(song(), qpm=30), [*keys, *again])
    assert takes(heard) == [[at for _, at in keys], [at for _, at in again]]


def test_a_wrong_first_note_and_a_slow_tempo_are_still_the_window() -> None:
    line = [{"pitch": p, "onset": F(k, 2), "length": F(1, 2), "hand": "RH"}
            for k, p in enumerate((80, 79, 78, 77, 76))]  # fmt: skip
    keys = [(pitch, 10.0 + 1.25 * at) for at, pitch in enumerate((82, 79, 78, 77, 76))]
    heard = hears(Follower(whole(score_from_notes(line)), qpm=37.5), keys)
    assert takes(heard) == [[at for _, at in keys]]


def test_the_window_note_for_note_and_on_at_once_is_the_window() -> None:
    """On past the end so fast that no end is heard, and back to what may be the beginning."""
    line = [{"pitch": p, "onset": F(k, 8), "length": F(1, 8), "hand": "RH"}
            for k, p in enumerate((79, 78, 76, 73, 76, 81))]  # fmt: skip
    keys = [(p, 10.0 + 0.09 * at) for at, p in enumerate((79, 78, 76, 73, 76, 81, 81, 85, 88, 93))]
    back = [(p, 11.2 + 0.14 * at) for at, p in enumerate((79, 78, 73, 74, 76))]
    heard = hears(Follower(whole(score_from_notes(line)), qpm=80), [*keys, *back])
    assert takes(heard)[0] == [at for _, at in keys[:6]]


def test_a_break_before_the_last_onset_tells_no_missed_note() -> None:
    window = song()
    keys = [key for key in play(window, qpm=60) if key.onset_s < 4.0]
    judgement = judge(window, keys)
    assert len(keys) == 4
    assert not judgement.clean
    assert judgement.faults == ()
    assert judgement.sentence.startswith("Stopped before")


def test_gone_on_from_the_second_note_after_a_stop_on_the_first_nothing_is_missed() -> None:
    window = song()
    judgement = judge(window, list(play(window, qpm=60))[1:])
    assert judgement.faults == ()
    assert not judgement.clean
    assert judgement.sentence.startswith("Began at")


def test_without_the_first_note_and_with_another_wrong_the_first_is_missed() -> None:
    rows = enumerate((80, 79, 78, 77, 76))
    notes = [{"pitch": p, "onset": k, "length": 1, "hand": "RH"} for k, p in rows]
    window = whole(score_from_notes(notes))
    keys = list(play(window, qpm=60))[1:]
    keys[1] = replace(keys[1], pitch=82)
    faults = judge(window, keys).faults
    assert {float(fault.onset_quarters) for fault in faults} >= {0.0, 2.0}


def test_the_ending_practised_twice_is_two_and_nobody_stumbled() -> None:
    """Its last chord is its first one: no new beginning, and no jump over what lies between."""
    line = ((64, 48), (65,), (67,), (69,), (71,), (65, 50), (62,), (64, 48), (62, 55), (64, 48))
    notes = [
        {"pitch": p, "onset": at, "length": 1, "hand": "RH" if p > 60 else "LH"}
        for at, chord in enumerate(line)
        for p in chord
    ]
    ending = [(p, at + 0.01 * k) for at, chord in enumerate(line[5:]) for k, p in enumerate(chord)]
    heard = hears(
        Follower(whole(score_from_notes(notes)), qpm=60),
        [(p, start_s + at) for start_s in (10.0, 15.2, 20.4) for p, at in ending],
    )
    assert [len(keys) for keys in takes(heard)] == [len(ending)] * 3
    assert not any(isinstance(one, NotThis) for one in heard)


def test_from_its_end_backwards_each_attempt_is_one() -> None:
    """The last three notes, the last four, the last five, with hardly a breath between them."""
    line = [{"pitch": p, "onset": k, "length": 1, "hand": "RH"}
            for k, p in enumerate((60, 64, 67, 65, 62, 59, 60))]  # fmt: skip
    keys, at_s = list[tuple[int, float]](), 10.0
    for attempt in ((62, 59, 60), (65, 62, 59, 60), (67, 65, 62, 59, 60)):
        keys += [(p, at_s + 0.6 * at) for at, p in enumerate(attempt)]
        at_s = keys[-1][1] + 1.0
    heard = hears(Follower(whole(score_from_notes(line)), qpm=60), keys)
    assert [len(few) for few in takes(heard)] == [3, 4, 5]


def in_one_hand(*rows: tuple[int, F | int], above: tuple[int, ...] = ()) -> Excerpt:
    """The left hand of a piece whose right hand has some whole notes."""
    left = [{"pitch": p, "onset": at, "length": 1, "hand": "LH"} for p, at in rows]
    right = [{"pitch": p, "onset": 4 * k, "length": 4, "hand": "RH"} for k, p in enumerate(above)]
    score = score_from_notes([*left, *right])
    end = F(rows[-1][1]) + 1
    return excerpt(score, Window(F(0), end, Hands.LEFT, landing=False))


def test_right_at_once_after_two_octaves_too_high_is_heard_from_its_first_chord() -> None:
    window = in_one_hand((55, 0), (59, 0), (48, 4), (55, 4), above=(76, 72))
    high = [(79, 10.0), (83, 10.0), (72, 13.8), (79, 13.8)]
    right = [(55, 14.4), (59, 14.41), (55, 18.2), (48, 18.2)]
    heard = hears(Follower(window, qpm=103), [*high, *right])
    assert takes(heard) == [[at for _, at in right]]
    assert any(isinstance(one, NotThis) for one in heard)


def said_of(keys: list[tuple[int, float]], name: str, qpm: float) -> list[str]:
    """What is said of keys that are none of a sample's first four bars."""
    score = sample(name)
    window = excerpt(score, Window(F(0), score.bars[3].end_quarters))
    heard = hears(Follower(window, qpm=qpm), keys)
    assert not takes(heard)
    return [one.reason for one in heard if isinstance(one, NotThis)]


def test_a_left_hand_an_octave_too_low_is_said_though_its_chords_hold_the_first_key() -> None:
    """A waltz's bass leads; its chords, an octave too low, hold the bass that is written."""
    beats = ((33, 76), (40, 45, 48), (40, 74, 45, 48), (28, 71), (40, 45, 72, 48))
    keys = [(p, 10.0 + 0.5 * at + 0.005 * k) for at, few in enumerate(beats)
            for k, p in enumerate(few)]  # fmt: skip
    keys.append((72, 11.25))
    said = said_of(sorted(keys, key=lambda key: key[1]), "4-waltz-in-sea-boots", 133)
    assert said == ["The left hand is an octave too low: move it up."]


def test_what_was_said_of_an_octave_holds_through_half_notes() -> None:
    window = excerpt(sample("1-low-tide"), Window(F(0), F(16)))
    low = [(note.pitch - 12, 10.0 + 0.8 * float(note.onset_quarters)) for note in window.notes]
    said = said_of(low, "1-low-tide", 76)
    assert said == ["Both hands are an octave too low: move them up."]


def test_a_wrong_key_in_each_of_the_first_chords_is_no_noodling() -> None:
    """Struck softly: three keys of two chords, one of them right, and the window's first again."""
    rows = [(52, 0), (60, 0), (52, 3), (60, 3), (50, 4), (59, 4)]
    keys = [(57, 10.0), (60, 10.0), (60, 11.2), (52, 11.2), (59, 11.6), (50, 11.6)]
    heard = hears(Follower(in_one_hand(*rows), qpm=133), keys, velocity=25)
    assert takes(heard) == [[at for _, at in keys]]
