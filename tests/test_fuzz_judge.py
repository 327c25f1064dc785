"""The judge's fuzz: a few of its rounds, and that it sees what is wrong."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coach.judging.judge import judge
from coach.judging.model import Judgement, Label
from scripts.fuzz_judge import make_round
from scripts.judge_laws import broken_laws, differences
from scripts.judge_material import sample_scores
from tests.judging_help import both, play, whole

pytestmark = pytest.mark.property
SEED, ROUNDS = 1, 25
WINDOW = whole(both())
KEYS = play(WINDOW)
FOUND = judge(WINDOW, KEYS)


def test_rounds_keep_the_laws_whenever_they_are_played() -> None:
    samples = sample_scores()
    for number in range(ROUNDS):
        one = make_round(SEED, number, samples)
        judgement = one.judged()
        assert broken_laws(one.excerpt, one.take, judgement) == [], number
        assert differences(judgement, one.judged(4096.0)) == [], number


def test_a_round_is_the_same_whenever_it_is_made() -> None:
    samples = sample_scores()
    assert make_round(3, 14, samples) == make_round(3, 14, samples)


def test_a_judgement_of_a_good_playing_breaks_no_law() -> None:
    assert broken_laws(WINDOW, KEYS, FOUND) == []


@pytest.mark.parametrize(
    ("wrong", "law"),
    [
        (replace(FOUND, played=FOUND.played[1:]), "each key once, in order"),
        (replace(FOUND, score=FOUND.score[::-1]), "each note once, in order"),
        (replace(FOUND, complete=False), "clean: played to the end"),
        (replace(FOUND, clean=False), "not clean: for a reason"),
        (replace(FOUND, sentence="so " * 13), "a sentence of few words"),
        (replace(FOUND, sentence="C missed at beat 2 3/4"), "no fraction in words"),
        (replace(FOUND, sentence="Late; late"), "nothing is said twice"),
        (replace(FOUND, details=("late", "late")), "nothing is said twice"),
        (replace(FOUND, sentence="a\x1bb"), "all that is said can be shown"),
        (replace(FOUND, qpm=float("inf")), "figures are finite"),
        (
            replace(FOUND, score=(FOUND.score[0]._replace(label=Label.WRONG), *FOUND.score[1:])),
            "the note of a matched key is its own",
        ),
    ],
)
def test_each_law_can_be_broken(wrong: Judgement, law: str) -> None:
    assert law in broken_laws(WINDOW, KEYS, wrong)


def test_verdicts_that_differ_are_seen() -> None:
    missed = judge(WINDOW, KEYS[1:])
    assert "the notes' labels" in differences(FOUND, missed)
