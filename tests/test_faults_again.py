"""Where a stumble broke, told from the keys, the wrong ones among them, and the time."""

from fractions import Fraction as F

import pytest

from coach.drill import judge
from coach.judging.model import Family
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.window import Excerpt, Window, excerpt

EACH_S = 0.6


def line(keys: str, left: str = "") -> Excerpt:
    """Quarters in the right hand; ``-`` is a rest in the left."""
    notes = [
        {"pitch": int(key), "onset": at, "length": 1, "hand": hand}
        for hand, row in (("RH", keys), ("LH", left))
        for at, key in enumerate(row.split())
        if key != "-"
    ]
    return excerpt(score_from_notes(notes, qpm=100), Window(F(0), F(len(keys.split()))))


def broke(window: Excerpt, played: str) -> tuple[str, int]:
    """The hand and the beat of the stumble: keys as ``72+48``, ``|`` is a pause."""
    notes, at_s = [], 0.5
    for word in played.split():
        if word == "|":
            at_s += 0.5
            continue
        notes += [PlayedNote(int(key), 64, at_s, 0.5) for key in word.split("+")]
        at_s += EACH_S
    faults = judge(window, notes).faults
    (fault,) = [one for one in faults if one.family is Family.REPEAT]
    return fault.hands.value, int(fault.transition.to_quarters)


TUNE = line("72 76 74 76 77 79 81 83", "48 - 52 - 55 - 57 -")


@pytest.mark.parametrize(
    ("played", "beat"),
    [
        ("72+48 76 74+52 | 76 74+52 76 77+55 79 81+57 83", 3),
        ("72+48 76 74+52 76 | 74+52 76 77+55 79 81+57 83", 4),
        ("72+48 76 75+52 76 74+52 76 77+55 79 81+57 83", 2),
    ],
)
def test_keys_written_alike_are_taken_up_after_the_pause_or_the_wrong_key(
    played: str, beat: int
) -> None:
    """76 is written at beats 1 and 3: was it reached, or gone back to?"""
    assert broke(TUNE, played)[1] == beat


@pytest.mark.parametrize(
    ("played", "told"),
    [
        ("72 76 74 | 76 74 76 77 79 81 83", ("RH", 3)),
        ("72 76 74 76 | 74 76 77 79 81 83", ("RH", 4)),
    ],
)
def test_one_hand_alone_is_taken_up_after_the_pause(played: str, told: tuple[str, int]) -> None:
    assert broke(line("72 76 74 76 77 79 81 83"), played) == told


@pytest.mark.parametrize(
    ("played", "beat"),
    [
        ("72+48 76+55 74+52 | 76+55 74+52 76+55 77+57 79+60 81+57 83+55", 3),
        ("72+48 76+55 74+52 76+55 | 74+52 76+55 77+57 79+60 81+57 83+55", 4),
    ],
)
def test_both_hands_are_taken_up_after_the_pause(played: str, beat: int) -> None:
    assert broke(line("72 76 74 76 77 79 81 83", "48 55 52 55 57 60 57 55"), played)[1] == beat


def test_a_wrong_key_that_is_written_later_is_no_later_beat() -> None:
    """79 with the left hand's beat 2: a wrong key for 76, not the 79 of beat 5."""
    both = line("72 74 76 74 77 79 81 83", "48 50 52 53 55 57 59 60")
    played = "72+48 74+50 79+52 | 74+50 76+52 74+53 77+55 79+57 81+59 83+60"
    assert broke(both, played) == ("RH", 2)
