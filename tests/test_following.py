"""Live marks, and repetitions found from the playing alone."""

from fractions import Fraction
from typing import TypeVar

import pytest

from coach.judging.following.events import (
    Ended,
    FollowerEvent,
    NoteMarked,
    NotThis,
    RepetitionBegan,
    StrayKey,
)
from coach.judging.following.follower import Follower
from coach.judging.model import Label
from coach.judging.wording import OTHER_NOTES
from coach.playing.midi_events import KeyDown, KeyUp, Pedal
from coach.score.build import score_from_notes
from coach.score.window import Excerpt, Window, excerpt

BEAT_S = 0.5
FRAME_S = 0.02


def scale(count: int = 8) -> Excerpt:
    """An octave of C major in quarters, right hand."""
    keys = (60, 62, 64, 65, 67, 69, 71, 72)[:count]
    notes = [{"pitch": p, "onset": i, "length": 1, "hand": "RH"} for i, p in enumerate(keys)]
    return excerpt(score_from_notes(notes, qpm=120), Window(Fraction(0), Fraction(count)))


Event = TypeVar("Event")


class Pianist:
    """Plays to a follower, with the clock running."""

    def __init__(self, part: Excerpt, *, qpm: float | None = None) -> None:
        self.follower = Follower(part, qpm=qpm)
        self.now = 100.0
        self.heard: list[FollowerEvent] = []

    def wait(self, seconds: float) -> "Pianist":
        end = self.now + seconds
        while self.now + FRAME_S < end:
            self.now += FRAME_S
            self.heard += self.follower.tick(self.now)
        self.now = end
        return self

    def play(self, line: str, beat_s: float = BEAT_S) -> "Pianist":
        """Keys one after another, a beat each; ``+`` joins a chord."""
        for chord in line.split():
            for key in chord.split("+"):
                self.heard += self.follower.hear(KeyDown(int(key), 70, self.now))
                self.now += 0.005
            self.wait(beat_s - 0.01)
            for key in chord.split("+"):
                self.follower.hear(KeyUp(int(key), self.now))
        return self

    def of(self, kind: type[Event]) -> list[Event]:
        return [one for one in self.heard if isinstance(one, kind)]

    @property
    def takes(self) -> list[int]:
        """How many keys each ended take has."""
        return [len(one.take.notes) for one in self.of(Ended)]


ALL = "60 62 64 65 67 69 71 72"


def test_the_first_right_key_begins_and_is_marked_at_once() -> None:
    follower = Follower(scale())
    assert follower.hear(KeyDown(60, 70, 5.0)) == (
        RepetitionBegan(5.0),
        NoteMarked(0, Label.MATCHED),
    )
    assert follower.hear(KeyDown(62, 70, 5.5)) == (NoteMarked(1, Label.MATCHED),)


def test_the_end_is_told_a_moment_after_the_last_key() -> None:
    pianist = Pianist(scale()).play(ALL[:-3])
    struck = pianist.now
    pianist.heard += pianist.follower.hear(KeyDown(72, 70, struck))
    assert not pianist.takes
    pianist.wait(0.2)
    assert pianist.takes == [8]


def test_three_repetitions_in_a_row_are_three() -> None:
    pianist = Pianist(scale())
    for _ in range(3):
        pianist.play(ALL).wait(0.8)
    assert pianist.takes == [8, 8, 8]
    assert len(pianist.of(RepetitionBegan)) == 3


def test_the_next_repetition_may_follow_at_once() -> None:
    assert Pianist(scale()).play(f"{ALL} {ALL}").wait(1).takes == [8, 8]


@pytest.mark.parametrize("beat_s", [0.15, 0.5, 1.5])
def test_any_tempo_is_followed(beat_s: float) -> None:
    pianist = Pianist(scale()).play(ALL, beat_s).wait(3)
    assert pianist.takes == [8]
    assert {one.label for one in pianist.of(NoteMarked)} == {Label.MATCHED}


def test_a_landing_chord_may_be_spread_and_keep_a_stray_key() -> None:
    notes = [{"pitch": p, "onset": i, "length": 1, "hand": "RH"} for i, p in enumerate((60, 62))]
    notes += [{"pitch": p, "onset": 2, "length": 1, "hand": "RH"} for p in (60, 64, 67)]
    part = excerpt(score_from_notes(notes, qpm=120), Window(Fraction(0), Fraction(2)))
    pianist = Pianist(part).play("60 62")
    for key in (60, 64, 67, 69):
        pianist.heard += pianist.follower.hear(KeyDown(key, 60, pianist.now))
        pianist.wait(0.1)
    assert pianist.wait(0.2).takes == [6]


def test_a_wrong_key_is_marked_and_a_stray_one_told() -> None:
    pianist = Pianist(scale()).play("60 62 63 65 67 69 71 72").wait(1)
    assert NoteMarked(2, Label.WRONG) in pianist.heard
    stray = Pianist(scale()).play("60 62 64").play("90", 0.05).play("65 67 69 71 72").wait(1)
    assert [one.pitch for one in stray.of(StrayKey)] == [90]


def test_a_note_left_out_is_marked() -> None:
    pianist = Pianist(scale()).play("60 62").wait(BEAT_S).play("65 67 69 71 72").wait(1)
    assert NoteMarked(2, Label.MISSED) in pianist.heard
    assert pianist.takes == [7]


def test_silence_breaks_off() -> None:
    pianist = Pianist(scale()).play("60 62 64").wait(2.5)
    assert pianist.takes == []
    assert pianist.wait(2).takes == [3]


def test_starting_again_ends_the_repetition_broken_off() -> None:
    pianist = Pianist(scale()).play("60 62 64 65").wait(1).play(ALL).wait(1)
    assert pianist.takes == [4, 8]


def test_a_stumble_stays_in_its_repetition() -> None:
    pianist = Pianist(scale()).play("60 62 64 65 67").wait(0.4).play("65 67 69 71 72").wait(1)
    assert pianist.takes == [10]


def test_a_trial_of_the_sound_is_no_repetition() -> None:
    pianist = Pianist(scale()).play("60").wait(5)
    assert pianist.takes == []
    assert len(pianist.of(NotThis)) == 1
    pianist = Pianist(scale()).play("60").wait(1.5).play(ALL).wait(1)
    assert pianist.takes == [8]


def test_another_chord_is_nothing_at_all() -> None:
    assert Pianist(scale()).play("48+52+55").wait(6).heard == []


def test_noodling_is_said_once_and_the_window_is_found_after_it() -> None:
    pianist = Pianist(scale()).play("90 85 88 42 99 37 95 41 93 38 97 44", 0.2)
    assert pianist.takes == []
    assert [one.reason for one in pianist.of(NotThis)] == [OTHER_NOTES]
    assert pianist.wait(1.5).play(ALL).wait(1).takes == [8]


def test_another_piece_that_begins_alike_is_left() -> None:
    pianist = Pianist(scale()).play("60 62").play("90 42 91 43 93 44 95 45 90 42 91 43", 0.2)
    assert len(pianist.of(NotThis)) == 1
    assert pianist.wait(5).takes == []


def test_the_window_may_be_entered_after_its_first_note() -> None:
    assert Pianist(scale()).play("62 64 65 67 69 71 72").wait(1).takes == [7]


def test_key_lengths_and_pedal_are_in_the_take() -> None:
    pianist = Pianist(scale(3))
    pianist.follower.hear(Pedal(64, 127, pianist.now))
    pianist.play("60 62 64").wait(1)
    take = pianist.of(Ended)[0].take
    assert [move.value for move in take.pedals] == [127]
    assert take.notes[0].length_s == pytest.approx(0.49, abs=0.02)
    assert take.notes[-1].length_s is None


@pytest.mark.parametrize("beat_s", [0.3, 0.5, 1.0, 1.6])
def test_equal_chords_with_the_melody_ahead_are_one_repetition(beat_s: float) -> None:
    """The melody leads by some 30 ms (Goebl 2001): no stray key, and no start anew."""
    notes = [
        {"pitch": p, "onset": at, "length": 1, "hand": "RH" if p > 60 else "LH"}
        for at in range(8)
        for p in (48, 55, 60, 67, 72, 76)
    ]
    part = excerpt(score_from_notes(notes, qpm=120), Window(Fraction(0), Fraction(8)))
    pianist = Pianist(part)
    for _ in range(8):
        pianist.play("76", 0.03).play("67+48+72+60+55", beat_s - 0.03)
    pianist.wait(4)
    assert (pianist.takes, pianist.of(StrayKey)) == ([48], [])
    assert not [m for m in pianist.of(NoteMarked) if m.label is not Label.MATCHED]


def test_keys_without_end_are_no_repetition() -> None:
    """A cat: the keys of the window again and again, in any order, for as long as it likes."""
    pianist = Pianist(scale())
    pianist.play("60 62 64 65")
    for _ in range(60):
        pianist.play("64 65 62", 0.1)
    assert max([0, *pianist.takes]) <= 101
    assert NotThis(OTHER_NOTES) in [NotThis(one.reason) for one in pianist.of(NotThis)]


def test_the_first_chord_struck_amid_other_keys_keeps_all_its_keys() -> None:
    notes = [{"pitch": p, "onset": 0, "length": 1, "hand": "RH"} for p in (60, 64, 67)]
    notes += [
        {"pitch": p, "onset": i, "length": 1, "hand": "RH"} for i, p in enumerate((65, 67, 69), 1)
    ]
    part = excerpt(score_from_notes(notes, qpm=120), Window(Fraction(0), Fraction(4)))
    pianist = Pianist(part).play("50 51 54 56", 0.4).play("60+64+67 65 70 69", 0.5).wait(3)
    assert [len(take) for take in [one.take.notes for one in pianist.of(Ended)]] == [6]


def test_the_key_that_ends_other_music_after_a_rest_begins_the_window() -> None:
    """The hundred and first key is one too many for a repetition, and the first of the next."""
    player = Pianist(scale())
    player.play("60 62 " + "62 64 " * 49, beat_s=0.2)
    player.wait(1.2).play("60 62 64 66 67 69 71 72").wait(4)
    *_, last = [one for one in player.heard if isinstance(one, Ended)]
    assert [note.pitch for note in last.take.notes] == [60, 62, 64, 66, 67, 69, 71, 72]
