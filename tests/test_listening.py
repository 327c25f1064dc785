"""Several repetitions heard: where do they break?"""

from coach.drill import judge_window, played, score_from_notes, where_it_breaks, window
from coach.judging.model import Judgement

SCORE = score_from_notes(
    [{"pitch": 72 + k % 5, "onset": k, "length": 1, "hand": "RH"} for k in range(16)]
    + [{"pitch": 48 + k % 4, "onset": k, "length": 1, "hand": "LH"} for k in range(16)],
    qpm=100,
)
WHOLE = window(SCORE, bars="1-4")


def heard(*wrong_beats: int) -> Judgement:
    """A repetition with a wrong left-hand key at these beats."""
    keys = [
        (
            n.pitch + (n.hand == "LH" and n.onset_quarters in wrong_beats),
            64,
            float(n.onset_quarters) * 0.6,
            0.5,
        )
        for n in SCORE.notes
    ]
    return judge_window(SCORE, WHOLE, played(keys))


def test_the_place_that_fails_again_and_again_comes_first() -> None:
    first, *others = where_it_breaks(SCORE, WHOLE, [heard(6), heard(6, 11), heard(), heard(6)])
    assert first.place == "LH bar 2, beat 2 → 3"
    assert first.sure > 0.9
    assert all(other.sure < 0.5 for other in others)


def test_nothing_failed_nothing_is_suspected() -> None:
    assert where_it_breaks(SCORE, WHOLE, [heard(), heard()]) == ()
