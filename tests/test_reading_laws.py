"""Laws of reading: however a note is written, what is struck is the same."""

import tempfile
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.score.model import Score
from tests.scorexml import back, bar, note, opened, piano

pytestmark = pytest.mark.property

NAMES = ("C5", "E5", "G5", "B4", "F#5")
LINE = st.lists(
    st.tuples(st.sampled_from(NAMES), st.lists(st.integers(1, 6), min_size=1, max_size=3)),
    min_size=1,
    max_size=8,
)


def tied(name: str, pieces: list[int], v: str = "1", s: int = 1) -> str:
    """A note written in pieces that ties join."""
    last = len(pieces) - 1
    out = []
    for i, piece in enumerate(pieces):
        kinds = ("stop " if i else "") + ("start" if i < last else "")
        out.append(note(name, piece, tie=kinds.strip(), v=v, s=s))
    return "".join(out)


def read(*bars: str) -> Score:
    with tempfile.TemporaryDirectory() as folder:
        return opened(Path(folder), piano(*bars, divisions=4))


@given(LINE)
@settings(max_examples=40, deadline=None)
def test_a_note_in_tied_pieces_is_the_note_whole(line: list[tuple[str, list[int]]]) -> None:
    pieces = read(bar("".join(tied(name, lengths) for name, lengths in line)))
    whole = read(bar("".join(note(name, sum(lengths)) for name, lengths in line)))
    key = [(n.pitch, n.onset_quarters, n.length_quarters) for n in whole.notes]
    assert [(n.pitch, n.onset_quarters, n.length_quarters) for n in pieces.notes] == key


@given(LINE, LINE)
@settings(max_examples=40, deadline=None)
def test_the_order_of_the_voices_in_the_file_does_not_matter(
    upper: list[tuple[str, list[int]]], lower: list[tuple[str, list[int]]]
) -> None:
    first = "".join(tied(name, lengths) for name, lengths in upper)
    second = "".join(tied(name, lengths, v="5", s=2) for name, lengths in lower)
    above, below = (sum(sum(lengths) for _, lengths in line) for line in (upper, lower))
    one = read(bar(first, back(above), second))
    other = read(bar(second, back(below), first))

    def facts(score: Score) -> list[tuple[Fraction | int | str, ...]]:
        return sorted(
            (n.onset_quarters, n.pitch, n.length_quarters, n.staff, n.voice) for n in score.notes
        )

    assert facts(one) == facts(other)
    assert one.bars == other.bars
