"""Two notes on one key at one onset: it is struck once, and both are played."""

from fractions import Fraction as F

import pytest

from coach.judging.alignment.align import match
from coach.judging.following.events import Ended, FollowerEvent, NoteMarked
from coach.judging.following.follower import Follower
from coach.judging.judge import judge
from coach.judging.model import Label, Stage
from coach.playing.midi_events import KeyDown
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hand, Hands, Score
from coach.score.window import Excerpt
from tests.judging_help import play, whole

AT = F(4)


def row(hand: str, pitches: tuple[int, ...], each: F = F(1)) -> list[dict[str, F | int | str]]:
    return [
        {"pitch": pitch, "onset": at * each, "length": each, "hand": hand}
        for at, pitch in enumerate(pitches)
    ]


def across() -> Score:
    """Both hands meet on the E of beat 5."""
    return score_from_notes(
        [*row("RH", (72, 71, 69, 67, 64, 65, 67, 72)), *row("LH", (48, 52, 55, 60, 64, 62, 59, 48))]
    )


def within() -> Score:
    """One hand's two voices meet on the E of beat 5: a long note and the eighth of a figure."""
    figure = row("LH", (48, 52, 55, 60, 64, 62, 59, 48))
    return score_from_notes(
        [*figure, {"pitch": 64, "onset": AT, "length": F(4), "hand": "LH", "voice": "2"}]
    )


def once(window: Excerpt) -> list[PlayedNote]:
    """What fingers can do: each key once at an onset."""
    keys, out = set(), []
    for key in play(window):
        place = (key.pitch, round(key.onset_s, 3))
        if place not in keys:
            keys.add(place)
            out.append(key)
    return out


@pytest.mark.parametrize("score", [across(), within()])
@pytest.mark.parametrize("stage", list(Stage))
def test_one_stroke_is_right_for_both(score: Score, stage: Stage) -> None:
    window = whole(score)
    keys = once(window)
    assert len(keys) == len(window.notes) - 1
    judgement = judge(window, keys, stage=stage, qpm=100.0)
    assert judgement.clean, judgement.sentence
    assert {label.label for label in judgement.score} == {Label.MATCHED}


@pytest.mark.parametrize("score", [across(), within()])
def test_left_out_or_wrong_it_is_told_once(score: Score) -> None:
    window = whole(score)
    keys = once(window)
    without = [key for key in keys if key.pitch != 64]
    faults = judge(window, without).faults
    assert [fault.onset_quarters for fault in faults] == [AT]
    wrong = [key if key.pitch != 64 else type(key)(66, 64, key.onset_s, 0.5) for key in keys]
    faults = judge(window, wrong).faults
    assert [fault.onset_quarters for fault in faults] == [AT]


@pytest.mark.parametrize("score", [across(), within()])
def test_both_are_marked_as_the_key_goes_down_and_the_end_is_heard(score: Score) -> None:
    window = whole(score)
    follower, heard = Follower(window), list[FollowerEvent]()
    for key in once(window):
        heard += follower.hear(KeyDown(key.pitch, key.velocity, key.onset_s))
    heard += follower.tick(key.onset_s + 0.2)
    marked = {
        one.note for one in heard if isinstance(one, NoteMarked) and one.label is Label.MATCHED
    }
    assert marked == set(range(len(window.notes)))
    assert isinstance(heard[-1], Ended)


def test_the_hand_with_less_to_play_strikes_it() -> None:
    chord = [{"pitch": 67, "onset": AT, "length": 1, "hand": "RH"}]
    score = score_from_notes(
        [*row("RH", (72, 71, 69, 67, 64)), *chord, *row("LH", (48, 52, 55, 60, 64))]
    )
    window = whole(score)
    (struck,) = set(window.same_key.values())
    assert window.notes[struck].hand is Hand.LEFT
    (key,) = [one for one in match(window, once(window)).played if one.note == struck]
    assert key.hand is Hand.LEFT


def test_one_hand_alone_has_nothing_to_share() -> None:
    assert whole(across(), Hands.RIGHT).same_key == {}
