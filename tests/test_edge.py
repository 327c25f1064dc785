"""The key at the edge of the keyboard that asks to go on."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.playing.command_keys import Edge

KEYBOARDS = [(21, 108), (28, 103), (36, 96)]
"""Lowest and highest key of keyboards of 88, 76 and 61 keys (common practice)."""
TUNE = range(48, 80)


@pytest.mark.parametrize("keyboard", KEYBOARDS)
@pytest.mark.parametrize(("played", "edge"), [(TUNE, "lowest"), (range(36, 80), "highest")])
def test_the_outermost_key_of_every_keyboard_asks(
    keyboard: tuple[int, int], played: range, edge: str
) -> None:
    found = Edge.clear_of(played)
    assert found == edge
    assert found.is_struck(keyboard[edge == "highest"], played)


def test_music_to_both_ends_leaves_the_keys_below_it() -> None:
    played = range(28, 108)
    assert Edge.clear_of(played).is_struck(21, played)


@pytest.mark.property
@given(st.sets(st.integers(21, 108), min_size=1))
def test_no_key_that_is_played_asks(played: set[int]) -> None:
    edge = Edge.clear_of(played)
    assert not [pitch for pitch in played if edge.is_struck(pitch, played)]


@pytest.mark.parametrize(("lowest", "edge"), [(41, "lowest"), (40, "highest")])
def test_the_lowest_key_asks_only_where_the_music_keeps_a_fourth_away(
    lowest: int, edge: str
) -> None:
    """From the lowest key of 61, which is C2."""
    assert Edge.clear_of(range(lowest, 80)) == edge


@pytest.mark.parametrize(("highest", "edge"), [(91, "highest"), (92, "lowest")])
def test_the_highest_key_serves_only_where_the_music_keeps_a_fourth_away(
    highest: int, edge: str
) -> None:
    assert Edge.clear_of(range(36, highest + 1)) == edge
