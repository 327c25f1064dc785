"""What stands around the window is told from the window by its notes."""

from collections.abc import Sequence
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.judging.instead.key_sequence import count_fewest_errors
from coach.judging.instead.surroundings import KeyRows, Surroundings
from coach.judging.instead.window_part import find_window_part
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Bar, Score
from coach.score.window import Window, excerpt
from tests.breadth import every
from tests.live import SAMPLES, Live, every_other, one_bar_windows, sample

KEYS = st.lists(st.integers(60, 64), max_size=12)


def by_the_book(keys: Sequence[int], written: Sequence[int]) -> int:
    """The same by the usual table (Sellers 1980), cell by cell."""
    row = [0] * (len(written) + 1)
    for i, key in enumerate(keys, 1):
        before, row = row, [i]
        for j, pitch in enumerate(written, 1):
            row.append(min(before[j] + 1, row[-1] + 1, before[j - 1] + (key != pitch)))
    return min(row)


@pytest.mark.property
@pytest.mark.outside
@given(KEYS, KEYS)
def test_the_errors_are_those_of_the_usual_table(keys: list[int], written: list[int]) -> None:
    assert count_fewest_errors(keys, written) == by_the_book(keys, written)


def three_bars() -> Score:
    """The same bar three times but for one note."""
    keys = [60, 62, 64, 65, 60, 62, 64, 67, 60, 62, 64, 65]
    return score_from_notes(
        [{"pitch": p, "onset": i, "length": 1, "hand": "RH"} for i, p in enumerate(keys)]
    )


@pytest.mark.parametrize(
    ("keys", "around"),
    [([60, 62, 64, 67], False), ([60, 62, 64, 65], True), ([60, 62, 64, 66], False),
     ([65, 60, 62], True), ([90, 91, 92, 93], False)],
)  # fmt: skip
def test_the_bar_beside_it_that_is_nearly_the_same(keys: list[int], around: bool) -> None:
    score = three_bars()
    surroundings = Surroundings(KeyRows(score), excerpt(score, Window(F(4), F(8), landing=False)))
    played = [PlayedNote(key, 64, 0.5 * at) for at, key in enumerate(keys)]
    assert surroundings.explain(played) is around


def _neighbour(score: Score, window: Window, step: int) -> Bar | None:
    bars = list(score.bars)
    edge = window.end_quarters if step > 0 else window.start_quarters
    return next(
        (b for b in bars if (b.onset_quarters if step > 0 else b.end_quarters) == edge), None
    )


@pytest.mark.parametrize("name", every(2, SAMPLES))
def test_playing_on_past_the_end_is_no_repetition(name: str) -> None:
    for window in every_other(one_bar_windows(name), 0):
        after = _neighbour(sample(name), window, 1)
        if after is None:
            continue
        longer = Window(window.start_quarters, after.end_quarters, window.hands)
        live = Live(sample(name), window).plays(window=longer).waits(4)
        ended = [one.judgement for one in live.ended]
        assert ended[0].clean, window
        assert all(one.clean or one.is_part for one in ended), window
        assert live.under_the_hands == []


@pytest.mark.parametrize("name", every(2, SAMPLES))
def test_a_bar_played_before_the_window_takes_nothing_from_it(name: str) -> None:
    """But where the bar before is all but the same: of 301 windows four, none of them unheard."""
    false = 0
    for window in every_other(one_bar_windows(name), 1):
        before = _neighbour(sample(name), window, -1)
        if before is None:
            continue
        longer = Window(before.onset_quarters, window.end_quarters, window.hands)
        live = Live(sample(name), window).plays(window=longer).waits(4)
        ended = [one.judgement for one in live.ended]
        assert ended[-1].clean, window
        false += any(not (one.clean or one.is_part) for one in ended)
    assert false <= 2


@pytest.mark.parametrize(("wrong", "kept"), [(4, 10), (5, 0)])
def test_with_six_keys_of_ten_right_it_was_the_window_that_was_played(
    wrong: int, kept: int
) -> None:
    """A scale in semitones: its first ten notes, some two octaves off, and what comes next."""
    notes = [{"pitch": 48 + k, "onset": k, "length": 1, "hand": "RH"} for k in range(30)]
    score = score_from_notes(notes)
    part = excerpt(score, Window(F(0), F(10), landing=False))
    keys = [48 + k + 24 * (k % 2 == 1 and k < 2 * wrong) for k in range(30)]
    played = [PlayedNote(key, 64, 0.5 * at, 0.4) for at, key in enumerate(keys)]
    found = find_window_part(played, Surroundings(KeyRows(score), part))
    assert len(found) == kept
