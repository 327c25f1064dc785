"""What is said of a repetition: each sentence is made by a take."""

from __future__ import annotations

import pytest

from tests.sentences import SAID_ONCE, Take


@pytest.mark.parametrize("take", SAID_ONCE, ids=lambda take: take.sentence)
def test_what_is_one_thing_to_the_player_is_said_once(take: Take) -> None:
    assert take.judge().sentence == take.sentence
