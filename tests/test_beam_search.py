"""The hypotheses that are kept: a long piece played with many mistakes keeps its place."""

import random
from operator import attrgetter

import pytest

from coach.judging.alignment.align import match
from coach.judging.alignment.beam_search import prune
from coach.judging.alignment.hypothesis import Hypothesis, initial
from scripts.earcases.adapter import excerpt_of, played_of, prediction
from scripts.earcases.material import corpus_piece
from scripts.earcases.scoring import Tally
from scripts.earcases.whole import whole_case
from tests.breadth import every

COST = attrgetter("cost")


def hypothesis(cost: float, right: int, left: int = 0) -> Hypothesis:
    """A hypothesis that has come to these onsets."""
    made = initial(0.6)
    made.cost, made.right, made.left = cost, right, left
    return made


def test_the_likeliest_are_kept_and_one_of_each_onset_besides() -> None:
    found = [
        hypothesis(1, 5),
        hypothesis(2, 5),
        hypothesis(3, 5),
        hypothesis(4, 0, 9),
        hypothesis(5, 9),
    ]
    assert prune(found, 10.0, 2, COST) == [found[0], found[1], found[3]]


def test_none_is_kept_that_costs_too_much() -> None:
    found = [hypothesis(1, 5), hypothesis(2, 5), hypothesis(3, 5), hypothesis(4, 9)]
    assert prune(found, 3.5, 2, COST) == found[:2]
    assert prune(found, 1.5, 2, COST) == found[:1]


@pytest.mark.outside
@pytest.mark.parametrize(
    ("name", "seed"),
    every(2, [("schumann_clara/polonaise_op1n1.mxl", 4), ("joplin/maple_leaf_rag.mxl", 4)]),
)
def test_a_long_piece_with_a_mistake_every_twenty_notes_is_followed_to_its_end(
    name: str, seed: int
) -> None:
    # Scores that music21's corpus ships: both come back to the same bars much later, where a
    # hypothesis that has lost its place may settle.
    piece = corpus_piece(name)
    assert piece is not None
    case = whole_case(piece, random.Random(seed), len(piece.notes) // 20)
    part = excerpt_of(case)
    tally = Tally()
    tally.add(case, prediction(case, part, match(part, played_of(case))))
    assert (tally.f1("match") or 0) > 0.97
