"""The drill's state table is whole, and DEVELOPERS.md shows it as it is."""

from pathlib import Path

import pytest

from coach.coaching.outcomes import State
from coach.coaching.states import TABLE, Event, as_markdown, moved


def test_every_state_can_be_left_and_every_state_can_be_reached():
    assert set(TABLE) == set(State)
    reached = {after for moves in TABLE.values() for after in moves.values()}
    assert reached == set(State)


def test_every_event_happens_somewhere():
    assert {event for moves in TABLE.values() for event in moves} == set(Event)


def test_the_piano_may_vanish_in_any_state_that_has_one():
    assert all(
        moved(state, Event.PIANO_LOST) is State.NO_PIANO
        for state in State
        if state is not State.NO_PIANO
    )


def test_a_move_that_is_not_in_the_table_is_our_mistake():
    with pytest.raises(LookupError, match="no move"):
        moved(State.NO_PIANO, Event.FIRST_NOTE)


def test_developers_md_shows_the_table():
    page = Path(__file__).parent.parent / "DEVELOPERS.md"
    assert as_markdown() in page.read_text(encoding="utf-8")
