"""Evidence kept as sums is the evidence that was heard, whatever the record still tells."""

import json
from fractions import Fraction as F
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.diagnosis.evidence import (
    SAVED_WITHIN_S,
    Evidence,
    evidence_to_plain,
    fold_history,
    restore_evidence,
)
from coach.coaching.model import Observation
from coach.judging.model import Outcome
from coach.score.model import Hands
from coach.score.window import Transition

QPM = 90.0
DAY_S = 86400.0


def heard(
    at_s: float,
    outcome: Outcome = Outcome.CLEAN,
    hands: Hands = Hands.LEFT,
    played: Hands = Hands.TOGETHER,
    beat: int = 5,
    hears_late: bool = True,
) -> Observation:
    move = Transition(hands, F(beat - 1), F(beat))
    return Observation(at_s, move, F(beat), played, outcome, QPM, hears_late=hears_late)


def sums_of(*observations: Observation) -> dict[str, Any]:
    evidence = Evidence()
    for one in observations:
        evidence.add([one], QPM)
    sums: dict[str, Any] = json.loads(json.dumps(evidence_to_plain(evidence, QPM)))
    return sums


def test_without_sums_the_history_is_folded() -> None:
    history = [heard(10.0, Outcome.WRONG), heard(20.0)]
    assert (
        restore_evidence(None, history, QPM, 30.0).to_rows()
        == fold_history(history, QPM, 30.0).to_rows()
    )


def test_what_is_in_the_sums_is_not_counted_twice_also_where_the_record_stamped_it_later() -> None:
    first, second = heard(10.0, Outcome.WRONG), heard(20.0, Outcome.WRONG)
    sums = sums_of(first, second)
    stamped = [heard(10.5, Outcome.WRONG), heard(20.0 + SAVED_WITHIN_S / 2, Outcome.WRONG)]
    assert restore_evidence(sums, stamped, QPM, 30.0).to_rows() == sums["sums"]


def test_what_was_heard_since_is_added() -> None:
    sums = sums_of(heard(10.0, Outcome.WRONG))
    opened = restore_evidence(sums, [heard(10.0, Outcome.WRONG), heard(500.0)], QPM, 600.0)
    both = sums_of(heard(10.0, Outcome.WRONG), heard(500.0))
    assert opened.to_rows() == both["sums"]


def test_sums_of_another_tempo_are_left_and_the_history_is_folded() -> None:
    history = [heard(10.0, Outcome.WRONG)]
    opened = restore_evidence(sums_of(*history), history, 60.0, 30.0)
    assert opened.to_rows() == fold_history(history, 60.0, 30.0).to_rows()


def test_more_counts_than_the_record_is_read_for() -> None:
    many = [heard(60.0 * i, beat=1 + i % 4) for i in range(8000)]
    opened = restore_evidence(
        sums_of(heard(0.0, Outcome.WRONG, beat=99), *many), many, QPM, 60.0 * 8000
    )
    assert opened.counts_at(F(99)).left_failed > 0
    assert F(99) not in fold_history(many, QPM, 60.0 * 8000).beats


def test_what_was_mended_stays_mended() -> None:
    evidence = Evidence()
    evidence.add([heard(10.0, Outcome.WRONG)], QPM)
    evidence.discount_mended(F(5), Hands.LEFT)
    history = [heard(10.0, Outcome.WRONG)]
    opened = restore_evidence(evidence_to_plain(evidence, QPM), history, QPM, DAY_S)
    assert (
        opened.counts_at(F(5)).left_failed
        < fold_history(history, QPM, DAY_S).counts_at(F(5)).left_failed
    )


def test_damaged_sums_raise_what_a_damaged_state_raises() -> None:
    with pytest.raises((KeyError, TypeError, ValueError)):
        restore_evidence({"qpm": QPM, "until_s": 0.0, "sums": [["5", 1.0]]}, (), QPM, 0.0)


@pytest.mark.property
@given(
    st.lists(
        st.tuples(
            st.sampled_from(list(Outcome)),
            st.sampled_from([Hands.RIGHT, Hands.LEFT]),
            st.sampled_from([Hands.TOGETHER, Hands.LEFT]),
            st.integers(1, 4),
            st.floats(0.0, 1.0),
        ),
        max_size=30,
    ),
    st.integers(0, 30),
)
def test_stopping_and_opening_anywhere_changes_nothing(
    played: list[tuple[Outcome, Hands, Hands, int, bool]], stop: int
) -> None:
    rows = [
        heard(60.0 * i, outcome, hands, who, beat, hears_late=late)
        for i, (outcome, hands, who, beat, late) in enumerate(played, 1)
    ]
    opened = restore_evidence(sums_of(*rows[:stop]), rows, QPM, 60.0 * len(rows))
    straight = Evidence()
    for row in rows:
        straight.add([row], QPM)
    assert {F(row[0]): row for row in opened.to_rows()} == {
        F(row[0]): row for row in straight.to_rows()
    }
