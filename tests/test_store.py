"""The practice record, in real SQLite files."""

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from coach.coaching.model import Observation
from coach.coaching.observations import observe_transitions
from coach.judging.model import Label, Outcome
from coach.record.folder import VERSION, RecordError
from coach.record.packing import unpack_take, unpack_words
from coach.record.pieces import PieceKey, piece_key
from coach.record.schema import MIGRATIONS
from coach.record.store import FILE, Store
from coach.score.model import Hands
from coach.score.window import Transition
from tests.records import SCORE, ended, select

PIECE = piece_key(SCORE, "two_hands.musicxml")
OTHER = PieceKey("other", "Another Piece")
NOON_S = 1_700_000_000.0


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store(tmp_path, lambda: NOON_S)
    yield opened
    opened.close()


def reopened(store: Store, folder: Path) -> Store:
    store.close()
    return Store(folder, lambda: NOON_S)


def holder(folder: Path) -> sqlite3.Connection:
    """Another program that holds the record's file."""
    other = sqlite3.connect(folder / FILE, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    return other


def test_what_was_observed_comes_back_exactly_in_order(store: Store, tmp_path: Path) -> None:
    good, bad = ended(), ended(clean=False)
    store.save_repetition(PIECE, good, NOON_S)
    store.save_repetition(PIECE, bad, NOON_S + 30.25)
    store.save_repetition(OTHER, good, NOON_S + 60)
    expected = observe_transitions(good.judgement, NOON_S) + observe_transitions(
        bad.judgement, NOON_S + 30.25
    )
    assert store.history(PIECE) == expected
    again = reopened(store, tmp_path)
    assert again.history(PIECE) == expected
    assert again.history(PIECE, NOON_S + 1) == expected[len(expected) // 2 :]
    assert again.history(PIECE, newest=3) == expected[-3:]
    assert again.history(PieceKey("never played", "")) == ()
    again.close()


def test_the_missed_note_is_kept_with_its_hand_and_place(store: Store) -> None:
    store.save_repetition(PIECE, ended(clean=False), NOON_S)
    wrong = [seen for seen in store.history(PIECE) if seen.outcome is not Outcome.CLEAN]
    assert wrong == [
        Observation(
            NOON_S,
            Transition(Hands.LEFT, Fraction(1), Fraction(2)),
            Fraction(2),
            Hands.TOGETHER,
            Outcome.WRONG,
            60.0,
        )
    ]


def test_how_well_a_hesitation_was_heard_is_kept(store: Store) -> None:
    once = ended()
    store.save_repetition(
        PIECE,
        replace(once, observed=tuple(replace(o, hears_late=0.72) for o in once.observed)),
        NOON_S,
    )
    assert {seen.hears_late for seen in store.history(PIECE)} == {0.72}


def test_a_take_can_be_heard_again(store: Store) -> None:
    played = ended(clean=False)
    store.save_repetition(PIECE, played, NOON_S)
    (seen,) = store.repetitions(PIECE)
    assert store.take(seen.id) == played.take
    assert (seen.clean, seen.sentence, seen.hands) == (False, "Clean.", "both")


def test_labels_and_decision_are_in_the_file(store: Store, tmp_path: Path) -> None:
    store.save_repetition(PIECE, ended(clean=False), NOON_S)
    [(take, words)] = select(tmp_path / FILE, "SELECT take, words FROM repetition")
    assert isinstance(take, bytes)
    assert isinstance(words, bytes)
    _, struck = unpack_take(take)
    assert [(one.label, one.error_ms) for one in struck] == [(Label.MATCHED, 1.5)] * 7
    told = unpack_words(words)
    assert told["decision"]["trouble"]["place"] == "LH bar 1, beat 2 → 3"
    assert told["missed"] == [4]


def test_the_last_piece_and_where_one_stood_are_there_after_reopening(
    store: Store, tmp_path: Path
) -> None:
    assert store.last_piece() is None
    assert store.session_state(PIECE) is None
    store.save_session_state(PIECE, {"clean_run": 2, "qpm": 57.5})
    store = reopened(store, tmp_path)
    assert store.last_piece() == PIECE
    assert store.session_state(PIECE) == {"clean_run": 2, "qpm": 57.5}
    store.save_repetition(PIECE, ended(), NOON_S + 9)  # says nothing about where one stands
    assert store.session_state(PIECE) == {"clean_run": 2, "qpm": 57.5}
    store.save_repetition(OTHER, ended(), NOON_S + 10, {"clean_run": 1})
    assert store.last_piece() == OTHER
    assert store.session_state(OTHER) == {"clean_run": 1}
    store.close()


def test_pieces_are_listed_the_last_used_first(store: Store) -> None:
    store.save_repetition(PIECE, ended(), NOON_S)
    store.save_repetition(PIECE, ended(clean=False), NOON_S + 5)
    store.save_repetition(OTHER, ended(), NOON_S + 1)
    assert [(s.piece, s.repetitions, s.clean) for s in store.pieces()] == [
        (PIECE, 2, 1),
        (OTHER, 1, 1),
    ]


def test_a_repetition_is_kept_whole_or_not_at_all(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from coach.record import rows as conversions

    def torn(*_: object) -> None:
        raise RuntimeError("pulled the plug")

    with monkeypatch.context() as patch:
        patch.setattr(conversions, "repetition_row", torn)
        with pytest.raises(RuntimeError):
            store.save_repetition(PIECE, ended(), NOON_S)
    assert select(tmp_path / FILE, "SELECT count(*) FROM repetition") == [(0,)]
    assert select(tmp_path / FILE, "SELECT count(*) FROM piece") == [(0,)]


def test_a_held_record_loses_nothing_and_says_so(store: Store, tmp_path: Path) -> None:
    other = holder(tmp_path)
    with pytest.raises(RecordError, match="Another program holds the practice record"):
        store.save_repetition(PIECE, ended(clean=False), NOON_S)
    assert store.unsaved == 1
    other.execute("ROLLBACK")
    other.close()
    store.save_repetition(PIECE, ended(), NOON_S + 1)
    assert store.unsaved == 0
    assert [seen.clean for seen in store.repetitions(PIECE)] == [True, False]


def test_a_record_held_to_the_end_is_joined_next_time(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coach.record.store.OPEN_WAIT_S", 0.05)
    store.save_repetition(OTHER, ended(), NOON_S - 5)
    other = holder(tmp_path)
    with pytest.raises(RecordError):
        store.save_repetition(PIECE, ended(clean=False), NOON_S, {"clean_run": 0})
    store.close()
    assert "join it later" in store.notices[0]
    monkeypatch.undo()
    other.execute("ROLLBACK")
    other.close()
    for _ in range(2):  # once is enough, twice adds nothing
        again = Store(tmp_path)
        assert again.notices == []
        assert len(again.history(PIECE)) == len(observe_transitions(ended().judgement, 0))
        assert again.take(again.repetitions(PIECE)[0].id) == ended(clean=False).take
        assert again.session_state(PIECE) == {"clean_run": 0}
        assert len(again.repetitions(OTHER)) == 1
        again.close()
    assert [path.name for path in tmp_path.glob("*.sqlite3")] == [FILE]


def test_a_file_that_is_no_database_is_kept_aside_and_a_new_one_begun(tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(b"not a record at all" * 100)
    store = Store(tmp_path, lambda: NOON_S)
    (notice,) = store.notices
    aside = next(tmp_path.glob("record-damaged-2023-11-1*.sqlite3"))
    assert str(aside) in notice
    assert "none of its repetitions could be read" in notice
    assert aside.read_bytes() == b"not a record at all" * 100
    store.save_repetition(PIECE, ended(), NOON_S)
    assert len(store.repetitions(PIECE)) == 1
    store.close()


def test_what_can_still_be_read_of_a_damaged_record_is_rescued(tmp_path: Path) -> None:
    store = Store(tmp_path)
    for k in range(60):
        store.save_repetition(PIECE, ended(), NOON_S + k)
    store.close()
    file = tmp_path / FILE
    whole = bytearray(file.read_bytes())
    root = select(
        tmp_path / FILE, "SELECT rootpage FROM sqlite_master WHERE name = 'repetition_of_piece'"
    )[0][0]
    page = 4096
    assert isinstance(root, int)
    whole[(root - 1) * page : root * page] = b"\xa5" * page  # a page of the index is torn
    file.write_bytes(whole)
    damaged = file.read_bytes()
    store = Store(tmp_path)
    store.save_repetition(PIECE, ended(clean=False), NOON_S + 100)
    assert "damaged" in store.notices[0]
    assert next(tmp_path.glob("record-damaged-*.sqlite3")).read_bytes() == damaged
    assert "60 repetitions" in store.notices[0]
    assert len(store.repetitions(PIECE)) == 61
    assert len(store.history(PIECE)) == 61 * len(observe_transitions(ended().judgement, 0))
    store.close()
    assert select(tmp_path / FILE, "PRAGMA integrity_check") == [("ok",)]


def test_a_crash_in_mid_session_keeps_what_was_saved(tmp_path: Path) -> None:
    import subprocess
    import sys

    program = (
        "import os, sys; from pathlib import Path; sys.path[:0] = sys.argv[2:];"
        "from records import ended; from coach.record.store import Store;"
        "from coach.record.pieces import PieceKey; store = Store(Path(sys.argv[1]));"
        "[store.save_repetition(PieceKey('k', 't'), ended(), k) for k in range(5)]; os._exit(9)"
    )
    here = Path(__file__).parent
    done = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path), str(here), str(here.parent)], check=False
    )
    assert done.returncode == 9
    store = Store(tmp_path)
    assert len(store.repetitions(PieceKey("k", "t"))) == 5
    assert store.notices == []
    store.close()


def test_a_record_of_a_newer_keyhole_is_left_alone(store: Store, tmp_path: Path) -> None:
    store.close()
    with closing(sqlite3.connect(tmp_path / FILE)) as db:
        db.execute(f"PRAGMA user_version = {VERSION + 1}")
    with pytest.raises(RecordError, match="written by a newer Keyhole"):
        Store(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


def test_a_record_from_before_hesitations_were_weighed_is_taken_along(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / FILE)) as db:
        db.executescript(f"{MIGRATIONS[0]}; PRAGMA user_version = 1")
        db.execute("INSERT INTO piece VALUES (1, ?, '', '', 0.0, NULL)", (PIECE.key,))
    store = Store(tmp_path)
    store.save_repetition(PIECE, ended(clean=False), NOON_S)
    assert store.history(PIECE) == observe_transitions(ended(clean=False).judgement, NOON_S)
    store.close()


def test_a_missing_folder_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="choose another with --data"):
        Store(tmp_path / "not there")


def test_two_programs_share_a_record(store: Store, tmp_path: Path) -> None:
    second = Store(tmp_path)
    store.save_repetition(PIECE, ended(), NOON_S)
    second.save_repetition(PIECE, ended(clean=False), NOON_S + 1)
    assert len(store.repetitions(PIECE)) == len(second.repetitions(PIECE)) == 2
    second.close()


def test_a_record_removed_while_it_is_open_is_begun_anew_and_not_brought_back(
    store: Store, tmp_path: Path
) -> None:
    """Written into the file that is no longer there, all would be lost unsaid."""
    store.save_repetition(PIECE, ended(clean=False), NOON_S)
    shutil.rmtree(tmp_path)
    store.save_repetition(PIECE, ended(), NOON_S + 1)
    assert [seen.clean for seen in store.repetitions(PIECE)] == [True]
    assert "was removed" in store.notices[0]
    assert select(tmp_path / FILE, "SELECT count(*) FROM repetition") == [(1,)]
    store.save_repetition(PIECE, ended(), NOON_S + 2)
    assert len(store.notices) == 1


def test_another_record_put_in_its_place_is_the_one_that_is_used(tmp_path: Path) -> None:
    folder, other = tmp_path / "data", tmp_path / "other"
    for made, piece in ((folder, PIECE), (other, OTHER)):
        made.mkdir()
        begun = Store(made)
        begun.save_repetition(piece, ended(), NOON_S)
        begun.close()
    store = Store(folder)
    folder.rename(tmp_path / "away")
    other.rename(folder)
    store.save_repetition(PIECE, ended(), NOON_S + 1)
    assert [len(store.repetitions(piece)) for piece in (PIECE, OTHER)] == [1, 1]
    assert store.notices == []
    store.close()


def test_where_the_disk_itself_is_gone_all_waits_until_it_is_back(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    folder.mkdir()
    store = Store(folder)
    store.save_repetition(PIECE, ended(), NOON_S)
    away = folder.rename(tmp_path / "away")
    folder.write_text("no folder can be made here")
    with pytest.raises(RecordError, match="can't be used"):
        store.save_repetition(PIECE, ended(), NOON_S + 1)
    with pytest.raises(RecordError):
        store.pieces()
    folder.unlink()
    away.rename(folder)
    store.save_unsaved()
    assert len(store.repetitions(PIECE)) == 2
    assert store.notices == []
    store.close()


def test_what_can_go_nowhere_else_is_left_where_the_system_keeps_what_passes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    passing, data = tmp_path / "passing", tmp_path / "data"
    passing.mkdir()
    data.mkdir()
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(passing))
    store = Store(data)
    shutil.rmtree(data)
    data.write_text("in the way")
    with pytest.raises(RecordError):
        store.save_repetition(PIECE, ended(), NOON_S)
    store.close()
    [own] = passing.iterdir()
    assert own.stat().st_mode & 0o777 == 0o700
    [left] = own.iterdir()
    assert left.stat().st_mode & 0o777 == 0o600
    assert str(left) in store.notices[0]
    assert f"move that file to {data}" in store.notices[0]
    data.unlink()
    data.mkdir()
    left.rename(data / left.name)
    again = Store(data)
    assert len(again.repetitions(PIECE)) == 1
    again.close()


def test_a_record_that_could_not_be_opened_takes_what_was_played_once_it_can(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "data"
    folder.write_text("in the way")
    store = Store(folder, opened=False)
    with pytest.raises(RecordError):
        store.save_repetition(PIECE, ended(), NOON_S)
    folder.unlink()
    store.save_unsaved()
    assert len(store.repetitions(PIECE)) == 1
    assert store.notices == []
    store.close()
