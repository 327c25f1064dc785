"""One hand late: by how the hands keep together otherwise."""

import random
from fractions import Fraction as F

from coach.judging.judge import judge
from coach.score.build import score_from_notes
from coach.score.model import Hand, Hands
from tests.judging_help import play, tune, whole

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
