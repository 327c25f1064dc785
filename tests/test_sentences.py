"""What is said of a repetition: each sentence is made by a take."""

from __future__ import annotations

import pytest

from coach.judging.model import Cause, Matching
from coach.judging.verdict import make_sentence
from tests.sentences import (
    DOUBTFUL,
    INSTEAD,
    MORE,
    OF_CAUSES,
    OF_PLACES,
    SAID_ONCE,
    SET_ASIDE,
    AtThePiano,
    Take,
    judge_cause,
)


def sentence_of(take: Take | AtThePiano) -> str:
    """The name of a test."""
    return take.sentence


@pytest.mark.parametrize("take", [*SAID_ONCE, *INSTEAD], ids=sentence_of)
def test_one_thing_is_said_once_and_what_was_something_else_as_that(take: Take) -> None:
    assert take.judge().sentence == take.sentence


@pytest.mark.parametrize("cause", Cause)
def test_each_cause_has_its_sentence(cause: Cause) -> None:
    assert judge_cause(cause).sentence == OF_CAUSES[cause]


@pytest.mark.parametrize("take", [*OF_PLACES, *DOUBTFUL], ids=sentence_of)
def test_a_place_is_said_as_it_is_counted_and_a_doubt_as_one(take: Take) -> None:
    said = take.judge().sentence
    assert said == take.sentence
    assert len(said.split()) <= 12


@pytest.mark.parametrize("take", MORE, ids=sentence_of)
def test_the_details_say_more(take: Take) -> None:
    judgement = take.judge()
    assert take.sentence in (*judgement.details, *judgement.notices)


@pytest.mark.parametrize("take", SET_ASIDE, ids=sentence_of)
def test_what_is_not_judged_is_set_aside_with_a_reason(take: AtThePiano) -> None:
    assert take.set_aside()[:1] == [take.sentence]


def test_what_happened_very_often_in_doubt_is_said_without_its_place() -> None:
    """``unsure: broke off in bar 1 beat 3 and started again 121 times`` is no glance any more."""
    take = next(take for take in SAID_ONCE if "started again twice" in take.sentence)
    once = take.judge()
    fault = next(fault for fault in once.faults if fault.cause is Cause.RESTART)
    matching = Matching(once.score, once.played, frozenset({0}))
    said = make_sentence(once.excerpt, [fault] * 121, matching, clean=False)
    assert said == "Unsure: started again 121 times"
