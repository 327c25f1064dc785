"""One hand late: by how the hands keep together otherwise; one that miscounted and stays off."""

import random
from fractions import Fraction as F

import pytest

from coach.judging.judge import judge
from coach.judging.model import Cause
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hand, Hands
from tests.judging_help import both, play, tune, whole

SLOW = whole(score_from_notes([*tune(8, F(1)), *tune(8, F(1), hand="LH", start=36)]))
LEFT = [i for i, note in enumerate(SLOW.notes) if note.hand is Hand.LEFT]


def told(late_s: float, scatter_s: float) -> list[tuple[str, Hands, int | None]]:
    """Quarters at 34, the left hand's fifth late, its others by their scatter."""
    rng = random.Random(1)
    late = {i: rng.gauss(0, scatter_s) for i in LEFT} | {LEFT[4]: late_s}
    return [
        (f.cause, f.hands, f.to_beat) for f in judge(SLOW, play(SLOW, qpm=34, late=late)).faults
    ]


def test_in_slow_music_a_hand_is_late_where_the_hands_keep_together_otherwise() -> None:
    assert told(0.18, scatter_s=0.02) == [("one hand late", Hands.LEFT, 4)]


def test_in_slow_music_hands_that_part_freely_may() -> None:
    assert told(0.18, scatter_s=0.06) == []


def test_what_parts_no_further_than_120_ms_is_never_told() -> None:
    assert told(0.115, scatter_s=0.0) == []


def test_of_two_beats_alone_the_later_hand_is_the_late_one() -> None:
    chord = [{"pitch": pitch, "onset": 1, "length": 1, "hand": "LH"} for pitch in (53, 57, 60)]
    first = {"pitch": 41, "onset": 0, "length": 1, "hand": "LH"}
    pair = whole(score_from_notes([*tune(2, F(1), start=74), first, *chord]))
    late_s = dict(zip((53, 57, 60), (0.286, 0.278, 0.287), strict=True)) | {41: 0.031}
    late = {i: late_s[note.pitch] for i, note in enumerate(pair.notes) if note.pitch in late_s}
    told = judge(pair, play(pair, late=late)).faults
    assert [(f.cause, f.hands) for f in told] == [("one hand late", Hands.LEFT)]


def parted_at_the_end(left_onsets: int) -> list[tuple[str, Hands]]:
    """Nine quarters in the right hand, a few last ones in the left; the last left one early."""
    left = tune(left_onsets, F(1), hand="LH", start=36)
    for note in left:
        note["onset"] = F(str(note["onset"])) + 9 - left_onsets
    window = whole(score_from_notes([*tune(9, F(1), start=72), *left]))
    last = max(i for i, note in enumerate(window.notes) if note.hand is Hand.LEFT)
    return [
        (f.cause, f.hands) for f in judge(window, play(window, qpm=80, late={last: -0.2})).faults
    ]


def test_a_hand_with_a_pulse_of_its_own_can_be_early() -> None:
    assert parted_at_the_end(5) == [("one hand early", Hands.LEFT)]


def test_against_a_single_onset_the_later_hand_is_the_late_one() -> None:
    """One onset has no pulse: as well the other hand may have fallen behind, which is likelier."""
    assert parted_at_the_end(1) == [("one hand late", Hands.RIGHT)]


LONG = whole(both(24))
"""Three bars of 4/4: eighths in the right hand, quarters in the left."""


def displaced(hand: Hand, by_s: float, at: float = 5.0) -> list[PlayedNote]:
    """One hand comes in off its beat at a place, and stays so."""
    late = {i: by_s for i, n in enumerate(LONG.notes) if n.hand is hand and n.onset_quarters >= at}
    return play(LONG, late=late)


@pytest.mark.parametrize("hand", Hand)
@pytest.mark.parametrize(
    ("by_s", "words"),
    [
        (0.6, "a beat behind"),
        (0.3, "half a beat behind"),
        (-0.3, "half a beat ahead of"),
        (0.45, "0.5 s behind"),
    ],
)
def test_a_hand_that_came_in_off_its_beat_is_told_where_it_left(
    hand: Hand, by_s: float, words: str
) -> None:
    """At 100 quarters a minute a beat is 0.6 s."""
    take = judge(LONG, displaced(hand, by_s))
    assert take.sentence == f"{hand} {words} {hand.other} from bar 2 beat 2 on"
    assert [fault.onset_quarters for fault in take.faults] == [5]


def test_a_hand_off_by_less_than_four_tenths_of_a_beat_is_not_said_to_have_miscounted() -> None:
    causes = {fault.cause for fault in judge(LONG, displaced(Hand.LEFT, 0.22)).faults}
    assert Cause.HAND_DISPLACED not in causes


def test_one_late_note_of_a_displaced_hand_is_told_beside_it() -> None:
    left = [i for i, n in enumerate(LONG.notes) if n.hand is Hand.LEFT and n.onset_quarters >= 5]
    take = judge(LONG, play(LONG, late=dict.fromkeys(left, 0.6) | {left[3]: 0.85}))
    assert [(fault.cause, fault.onset_quarters) for fault in take.faults] == [
        (Cause.HAND_DISPLACED, F(5)),
        (Cause.ONE_HAND_LATE, F(8)),
    ]
