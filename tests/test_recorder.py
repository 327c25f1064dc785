"""What is kept of a drill while the record can't be written, and what is said of it."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from fractions import Fraction
from pathlib import Path

import pytest

from coach.cli.sessions import ELSEWHERE, Recorder
from coach.coaching.drill.drill import Drill
from coach.coaching.model import Goal, Request
from coach.record.lock import Lease
from coach.record.pieces import piece_key
from coach.record.store import FILE, Store
from coach.score.build import score_from_notes
from coach.score.window import Window
from tests.records import SCORE, WINDOW, ended

PIECE = piece_key(SCORE)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store(tmp_path)
    yield opened
    opened.close()


@pytest.fixture
def drill() -> Drill:
    return Drill(SCORE, Goal(WINDOW, 80.0))


@pytest.fixture
def recorder(store: Store, drill: Drill) -> Recorder:
    return Recorder(store, PIECE, drill)


@contextmanager
def held(folder: Path) -> Iterator[None]:
    """Another program holds the record."""
    with closing(sqlite3.connect(folder / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield


def test_a_repetition_waits_in_memory_until_another_program_lets_go(
    recorder: Recorder, store: Store, tmp_path: Path
) -> None:
    with held(tmp_path):
        said = recorder.keep(ended())
        assert said == recorder.save()
        assert said.startswith("Another program holds the record: close it.")
        assert said.endswith("kept in memory.")
        assert len(said) <= 78  # a row of the smallest usual terminal
        assert store.repetitions(PIECE) == ()
    assert recorder.save() == ""
    assert len(store.repetitions(PIECE)) == 1
    assert recorder.save() == ""
    assert len(store.repetitions(PIECE)) == 1


def test_leaving_a_piece_says_where_the_record_is_and_that_nothing_is_lost(
    recorder: Recorder, drill: Drill, store: Store, tmp_path: Path
) -> None:
    with held(tmp_path):
        recorder.keep(ended())
        drill.ask(Request.SLOWER, 0.0)
        said = recorder.leave()
    assert str(tmp_path / FILE) in said
    assert said.endswith("kept in memory.")
    assert recorder.leave() == ""
    assert len(store.repetitions(PIECE)) == 1
    assert store.session_state(PIECE) is not None


def test_a_record_that_was_damaged_is_told_when_the_piece_is_left(
    recorder: Recorder, store: Store
) -> None:
    store.notices.append("The practice record was damaged.")
    assert recorder.keep(ended()) == ""
    assert recorder.leave() == "The practice record was damaged."
    assert recorder.leave() == ""


def test_of_two_keyholes_at_one_piano_only_the_first_keeps_what_both_hear(tmp_path: Path) -> None:
    first, second = (
        Recorder(Store(tmp_path), PIECE, Drill(SCORE, Goal(WINDOW, 80.0)), Lease(tmp_path))
        for _ in range(2)
    )
    assert first.save() == ""
    assert second.save() == ELSEWHERE
    assert [first.keep(ended()), second.keep(ended())] == ["", ELSEWHERE]
    assert len(ELSEWHERE) <= 78  # a row of the smallest usual terminal
    seen = Store(tmp_path)
    assert len(seen.repetitions(PIECE)) == 1
    first.leave()
    place = seen.session_state(PIECE)
    assert place is not None
    assert second.keep(ended()) == ELSEWHERE  # until it is asked again, as it is every two seconds
    assert second.save() == ""
    assert second.keep(ended(clean=False)) == ""
    assert [one.clean for one in seen.repetitions(PIECE)] == [False, True]
    second.leave()
    seen.close()


def test_a_drill_that_keeps_nothing_leaves_the_others_place_alone(tmp_path: Path) -> None:
    first, second = (
        Recorder(Store(tmp_path), PIECE, Drill(SCORE, Goal(WINDOW, 80.0)), Lease(tmp_path))
        for _ in range(2)
    )
    first.save()
    first.keep(ended())
    second.save()
    second.keep(ended())
    begun = Store(tmp_path)
    begun.save_session_state(PIECE, {"of": "the first"})
    begun.close()
    assert second.leave() == ""
    seen = Store(tmp_path)
    assert seen.session_state(PIECE) == {"of": "the first"}
    assert Lease(tmp_path).take() is False  # it is still the first one's
    first.leave()
    seen.close()


def test_a_piece_that_was_only_looked_at_does_not_count_as_played(store: Store) -> None:
    other = score_from_notes([{"pitch": 60, "onset": 0, "length": 1, "hand": "RH"}], title="Other")
    for score in (SCORE, other):
        drill = Drill(score, Goal(Window(Fraction(0), Fraction(1)), 80.0))
        recorder = Recorder(store, piece_key(score), drill)
        recorder.save()
        if score is SCORE:
            drill.ask(Request.SLOWER, 0.0)
        assert recorder.leave() == ""
    assert store.last_piece() == PIECE
    assert store.session_state(piece_key(other)) is None
