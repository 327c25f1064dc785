"""The record as a whole in its owner's hands: out and back, joined, looked over, forgotten."""

from __future__ import annotations

import csv
import errno
import json
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Sequence
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.cli import main
from coach.coaching.planning import DatePlan
from coach.private_files import make_private_file
from coach.record.folder import FILE, VERSION
from coach.record.own_data import copy_to
from coach.record.pieces import PieceKey, piece_key
from coach.record.recovery import join
from coach.record.rows import Unsaved, insert_repetition
from coach.record.schema import migrate
from coach.record.store import Store
from coach.score.markings import load_markings, markings_file, parse_marking, save_markings
from coach.score.reading import read_score
from tests.records import SCORE, ended

NOON_S = 1_700_000_000.0
PIECES = (
    piece_key(SCORE, "two_hands.musicxml"),
    PieceKey("other", "Another Piece"),
    PieceKey("third", "A Third: “Two/Hands”"),
)
SAMPLE = Path(__file__).parent.parent / "sample_scores" / "1-low-tide.musicxml"
Played = tuple[int, float, bool]
"""Which piece, when, and whether clean."""


def record(folder: Path, played: Sequence[Played], plan: DatePlan | None = None) -> Path:
    """A record in which this was played, and the first piece is planned."""
    folder.mkdir(parents=True, exist_ok=True)
    store = Store(folder, lambda: NOON_S)
    if plan:
        store.save_plan(PIECES[0], plan)
    for piece, at_s, clean in played:
        place = {"at": at_s}
        store.save_repetition(PIECES[piece], ended(clean=clean), NOON_S + at_s, place)
    store.close()
    return folder


def contents(folder: Path) -> list[tuple[object, ...]]:
    """Every row of a record, whatever its number there."""
    with closing(sqlite3.connect(folder / FILE)) as db:
        return rows_of(db)


def rows_of(db: sqlite3.Connection) -> list[tuple[object, ...]]:
    """The same of one that is open."""
    pieces = db.execute(
        "SELECT key, title, path, used_at_s, state, checksum, repetitions, clean FROM piece"
    ).fetchall()
    repetitions = db.execute(
        "SELECT key, at_s, start_quarters, end_quarters, hands, repetition.clean, qpm, moves,"
        " take, words, repetition.checksum FROM repetition JOIN piece ON piece.id = piece_id"
    ).fetchall()
    days = [
        db.execute(f"SELECT key, t.* FROM {t} AS t JOIN piece ON piece.id = piece_id")
        for t in ("plan", "bars")
    ]
    known = [(key, *row) for found in days for key, _, *row in found]
    return sorted(pieces, key=repr) + sorted(repetitions, key=repr) + sorted(known)


def coach(*words: object) -> int:
    return main([str(word) for word in words])


SOME: tuple[Played, ...] = ((0, 0.0, True), (0, 30.5, False), (1, 60.25, True), (2, 90.125, False))


def test_what_is_exported_comes_back_byte_for_byte(tmp_path: Path) -> None:
    data, out, new = tmp_path / "data", tmp_path / "out", tmp_path / "new"
    record(data, SOME, DatePlan(date(2026, 12, 12).toordinal(), 17.5))
    assert coach("export", out, "--data", data) == 0
    assert coach("import", out, "--data", new) == 0
    assert contents(new) == contents(data)
    assert ("2026-12-12", 17.5) in [row[1:] for row in contents(new)]
    assert coach("import", out, "--data", new) == 0  # twice is once
    assert contents(new) == contents(data)


def test_of_an_imported_plan_and_the_one_here_the_later_day_holds(tmp_path: Path) -> None:
    early, late = (DatePlan(date(2026, 12, day).toordinal(), 10.0 * day) for day in (3, 12))
    exports = []
    for name, plan in (("a", early), ("b", late)):
        record(tmp_path / name, SOME[:1], plan)
        exports.append(tmp_path / f"{name}-out")
        assert coach("export", exports[-1], "--data", tmp_path / name) == 0
    for name, order in (("c", exports), ("d", exports[::-1])):
        for out in order:
            assert coach("import", out, "--data", tmp_path / name) == 0
        assert Store(tmp_path / name).plan(PIECES[0]) == late


@pytest.mark.parametrize(
    ("name", "found", "said"),
    [
        ("plan", {"by": "2026-12-12"}, "the plan has no day or no minutes"),
        ("plan", {"by": "soon", "minutes_a_day": 5}, "the plan has no day or no minutes"),
        ("plan", {"by": "2026-12-12", "minutes_a_day": 0}, "the plan's minutes are none of a day"),
        ("plan", [1], "no plan"),
        ("bars", [["0", "a"], ["1/0", ""]], "bars are no bars"),
        ("bars", 1, "bars are no bars"),
    ],
)
def test_a_plan_or_bars_that_are_none_are_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, found: object, said: str
) -> None:
    record(tmp_path / "data", SOME[:1])
    assert coach("export", tmp_path / "out", "--data", tmp_path / "data") == 0
    file = tmp_path / "out" / "pieces.jsonl"
    file.write_text(json.dumps(json.loads(file.read_text()) | {name: found}) + "\n")
    assert coach("import", tmp_path / "out", "--data", tmp_path / "new") == 1
    assert f"pieces.jsonl, line 1: {said}" in capsys.readouterr().out


def given_to_the_piece(data: Path) -> dict[str, list[str]]:
    """What lies beside the record, without the lines for people."""
    return {
        file.relative_to(data).parts[0]: [
            line for line in file.read_text().splitlines() if not line.startswith("//")
        ]
        for name in ("hands", "markings", "parts")
        for file in (data / name).rglob("*.txt" if name != "parts" else "*")
        if file.is_file()
    }


def test_what_was_given_to_a_piece_goes_out_comes_back_and_joins(tmp_path: Path) -> None:
    """Own hands and notes; nothing that only the other machine has is lost."""
    hands = "bar 1 to LH"
    one, two = tmp_path / "one", tmp_path / "two"
    assert coach("score", SAMPLE, "--move", hands, "--data", one) == 0
    assert coach("mark", SAMPLE, "bars 1-2 note Breathe.", "--data", one) == 0
    assert coach("mark", SAMPLE, "bars 1-2 note Sing.", "--data", two) == 0
    for folder in (one, two):
        record(folder, SOME[:1])
    assert coach("export", tmp_path / "out", "--data", one) == 0
    assert coach("import", tmp_path / "out", "--data", tmp_path / "new") == 0
    assert given_to_the_piece(tmp_path / "new") == given_to_the_piece(one)
    assert coach("merge", one, "--data", two) == 0
    joined = {
        "hands": [hands],
        "markings": ["bars 1-2 note Breathe.", "bars 1-2 note Sing."],
    }
    assert given_to_the_piece(two) == joined
    assert coach("merge", one, "--data", two) == 0  # twice is once
    assert given_to_the_piece(two) == joined


def test_forgetting_a_piece_forgets_what_was_given_to_it(tmp_path: Path) -> None:
    data = tmp_path / "data"
    assert coach("score", SAMPLE, "--move", "bar 1 to LH", "--data", data) == 0
    assert coach("mark", SAMPLE, "bars 1-2 note Breathe.", "--data", data) == 0
    store = Store(data, lambda: NOON_S)
    store.save_repetition(piece_key(read_score(SAMPLE), SAMPLE), ended(), NOON_S, {})
    store.close()
    assert coach("forget", "low tide", "--data", data, "--yes") == 0
    assert given_to_the_piece(data) == {}


def test_an_export_is_the_owners_alone(tmp_path: Path) -> None:
    record(tmp_path / "data", SOME)
    out = tmp_path / "out"
    assert coach("export", out, "--data", tmp_path / "data") == 0
    for path in (out, *out.rglob("*")):
        assert not stat.S_IMODE(path.stat().st_mode) & 0o077, path


@pytest.mark.outside
def test_a_take_is_read_back_by_mido_to_the_millisecond(tmp_path: Path) -> None:
    """Standard MIDI Files 1.0: notes, pedal and markers, read by mido."""
    record(tmp_path / "data", SOME[:1])
    assert coach("export", tmp_path / "out", "--data", tmp_path / "data") == 0
    (file,) = (tmp_path / "out" / "takes").rglob("*.mid")
    notes, pedals, at_s = [], [], 0.0
    for message in mido.MidiFile(file):
        at_s += message.time
        if message.type == "note_on" and message.velocity:
            notes.append((message.note, message.velocity, at_s))
        elif message.type == "control_change":
            pedals.append((message.control, message.value, at_s))
    take = ended().take
    start_s = take.notes[0].onset_s
    assert [(n.pitch, n.velocity) for n in take.notes] == [note[:2] for note in notes]
    for note, (_, _, found_s) in zip(take.notes, notes, strict=True):
        assert found_s == pytest.approx(note.onset_s - start_s, abs=0.001)
    ((control, value, found_s),) = pedals
    assert (control, value) == (64, 127)
    assert found_s == pytest.approx(take.pedals[0].at_s - start_s, abs=0.001)


@pytest.mark.outside
def test_a_take_is_read_back_by_music21(tmp_path: Path) -> None:
    """Its notes, with its own quantising left out."""
    from music21 import converter

    record(tmp_path / "data", SOME[:1])
    assert coach("export", tmp_path / "out", "--data", tmp_path / "data") == 0
    (file,) = (tmp_path / "out" / "takes").rglob("*.mid")
    parsed = converter.parse(file, quantizePost=False)
    take = ended().take
    quarter_s = 0.25  # 240 quarters a minute, the file's ruler
    found = sorted(
        (float(note.getOffsetInHierarchy(parsed)) * quarter_s, pitch.midi)
        for note in parsed.recurse().notes
        for pitch in note.pitches
    )
    start_s = take.notes[0].onset_s
    expected = sorted((note.onset_s - start_s, note.pitch) for note in take.notes)
    assert [pitch for _, pitch in found] == [pitch for _, pitch in expected]
    for (found_s, _), (at_s, _) in zip(found, expected, strict=True):
        assert found_s == pytest.approx(at_s, abs=0.001)


def test_markers_say_where_bars_begin(tmp_path: Path) -> None:
    """The take of a piece whose score is still there."""
    from coach.drill import Drill, Window, excerpt, repair
    from coach.playing.notes import PlayedNote

    score = read_score(SAMPLE)
    window = Window(score.bars[0].onset_quarters, score.bars[2].onset_quarters)
    drill = Drill(score, repair(score, window, qpm=60.0))
    part = excerpt(score, drill.assignment.window)
    done = drill.repetition(
        [PlayedNote(note.pitch, 60, 5.0 + float(note.onset_quarters), 0.4) for note in part.notes],
        now_s=5.0,
    )
    (tmp_path / "data").mkdir()
    store = Store(tmp_path / "data", lambda: NOON_S)
    store.save_repetition(piece_key(score, SAMPLE), done, NOON_S, {})
    store.close()
    assert coach("export", tmp_path / "out", "--data", tmp_path / "data") == 0
    (file,) = (tmp_path / "out" / "takes").rglob("*.mid")
    at_s, markers = 0.0, {}
    for message in mido.MidiFile(file):
        at_s += message.time
        if message.type == "marker":
            markers[message.text] = at_s
    bars = [score.bar_at(note.onset_quarters) for note in part.notes]
    assert set(markers) == {bar.words for bar in bars}
    for bar in bars:
        onset = min(n.onset_quarters for n in part.notes if n.onset_quarters >= bar.onset_quarters)
        assert markers[bar.words] == pytest.approx(float(onset), abs=0.001)
    with (tmp_path / "out" / "repetitions.csv").open(newline="") as table:
        (row,) = csv.DictReader(table)
    assert row["bars"] == bars[0].words_to(
        score.bars_of(window.start_quarters, window.end_quarters)[1]
    )
    assert row["piece"] == score.title


def test_a_line_that_is_none_is_left_out_and_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, out, new = tmp_path / "data", tmp_path / "out", tmp_path / "new"
    record(data, SOME)
    assert coach("export", out, "--data", data) == 0
    lines = (out / "repetitions.jsonl").read_text().splitlines()
    broken = json.loads(lines[1])
    del broken["notes"]
    lines[1], lines[2] = json.dumps(broken), lines[2][:50]
    (out / "repetitions.jsonl").write_text("\n".join(lines) + "\n")
    capsys.readouterr()
    assert coach("import", out, "--data", new) == 1
    said = capsys.readouterr().out
    assert "repetitions.jsonl, line 2: notes is missing" in said
    assert "repetitions.jsonl, line 3: no JSON at column" in said
    assert "2 repetitions came in" in said
    assert coach("check", "--data", new) == 0


@settings(max_examples=100, deadline=None)
@given(
    line=st.text(max_size=200)
    | st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(
                    [
                        "form",
                        "piece",
                        "at_s",
                        "words",
                        "notes",
                        "moves",
                        "hands",
                        "clean",
                        "qpm",
                        "start_quarters",
                        "end_quarters",
                        "pedals",
                    ]
                ),
                inner,
            )
        ),
        max_leaves=12,
    ).map(json.dumps)
)
def test_whatever_a_line_holds_it_is_taken_or_said(line: str) -> None:
    from coach.record.exchange import take_in

    with closing(sqlite3.connect(":memory:", isolation_level=None)) as db:
        migrate(db, VERSION)
        joined, wrong = take_in(db, [line], [line])
        assert len(wrong) == 2 or joined.repetitions


played = st.lists(
    st.tuples(st.integers(0, 2), st.integers(0, 6).map(float), st.booleans()), max_size=6
)


def one_history(played: Sequence[Played]) -> list[Played]:
    """What one pianist did: at one moment one thing, and the same one on every machine."""
    return [(piece, at_s, int(at_s) % 2 == 0) for piece, at_s, _ in sorted(set(played))]


def in_memory(played: Sequence[Played]) -> sqlite3.Connection:
    """A record of the same that is in no file."""
    db = sqlite3.connect(":memory:", isolation_level=None)
    migrate(db, VERSION)
    for piece, at_s, clean in played:
        place = {"at": at_s}
        insert_repetition(db, Unsaved(PIECES[piece], ended(clean=clean), NOON_S + at_s, place))
    return db


@settings(max_examples=12, deadline=None)
@given(histories=st.tuples(played, played, played), order=st.permutations([0, 1, 2]))
def test_records_join_in_any_order_and_twice(
    histories: tuple[list[Played], list[Played], list[Played]], order: list[int]
) -> None:
    machines = [in_memory(one_history(history)) for history in histories]
    before = [rows_of(one) for one in machines]
    joined = []
    for sequence in ([0, 1, 2], [*order, order[0]]):
        into = in_memory(())
        for at in sequence:
            join(into, machines[at])
        joined.append(rows_of(into))
        into.close()
    assert joined[0] == joined[1]
    assert [rows_of(one) for one in machines] == before
    for one in machines:
        one.close()


def test_a_merged_record_holds_what_both_held(tmp_path: Path) -> None:
    one, two = record(tmp_path / "1", SOME[:2]), record(tmp_path / "2", SOME[1:])
    assert coach("merge", two / FILE, "--data", one) == 0
    assert contents(one) == contents(record(tmp_path / "both", SOME))


def test_a_look_over_the_record_finds_a_changed_byte_and_a_wrong_count(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = record(tmp_path, SOME)
    assert coach("check", "--data", data) == 0
    assert "4 repetitions of 3 pieces, all as they were written" in capsys.readouterr().out
    with closing(sqlite3.connect(data / FILE)) as db:
        db.execute("UPDATE repetition SET qpm = 61.5 WHERE id = 2")
        db.execute("UPDATE piece SET repetitions = 7 WHERE id = 3")
        db.commit()
    assert coach("check", "--data", data) == 1
    said = capsys.readouterr().out
    assert "1 repetition can't be read any longer" in said
    assert "1 piece wrongly counted" in said
    assert coach("rebuild", "--data", data) == 0
    capsys.readouterr()
    assert coach("check", "--data", data) == 1
    assert "wrongly counted" not in capsys.readouterr().out


def test_a_backup_is_whole_while_the_record_is_in_use(tmp_path: Path) -> None:
    data = record(tmp_path / "data", SOME)
    store = Store(data, lambda: NOON_S)
    store.save_repetition(PIECES[0], ended(), NOON_S + 200, {"at": 200})
    assert coach("backup", tmp_path / "copy.sqlite3", "--data", data) == 0
    store.close()
    with closing(sqlite3.connect(tmp_path / "copy.sqlite3")) as copy:
        assert copy.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert copy.execute("SELECT count(*) FROM repetition").fetchone() == (5,)
    assert not stat.S_IMODE((tmp_path / "copy.sqlite3").stat().st_mode) & 0o077
    assert coach("backup", tmp_path / "copy.sqlite3", "--data", data) == 2  # never written over


def test_a_forgotten_piece_leaves_no_trace_in_the_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = record(tmp_path, SOME)
    assert coach("forget", "another", "--data", data) == 2  # not confirmed
    assert coach("forget", "nowhere", "--data", data, "--yes") == 2
    assert "There is no piece 'nowhere'" in capsys.readouterr().err
    assert coach("forget", "another", "--data", data, "--yes") == 0
    assert "Another Piece and its 1 repetition are forgotten." in capsys.readouterr().out
    assert b"Another Piece" not in (data / FILE).read_bytes()
    kept = [one for one in SOME if one[0] != 1]
    assert contents(data) == contents(record(tmp_path / "kept", kept))


def test_without_a_record_there_is_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for command in (["check"], ["rebuild"], ["backup"], ["export", tmp_path / "out"],
                    ["forget", "x", "--yes"]):  # fmt: skip
        assert coach(*command, "--data", tmp_path / "none") == 2
        assert "There is no practice record at" in capsys.readouterr().err
    assert coach("merge", tmp_path / "none", "--data", tmp_path / "data") == 2
    assert coach("import", tmp_path, "--data", tmp_path / "data") == 2
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "file").touch()
    assert coach("export", tmp_path / "full", "--data", tmp_path / "none") == 2
    assert "not an empty folder" in capsys.readouterr().err


def test_another_programs_file_is_not_merged_and_not_changed(tmp_path: Path) -> None:
    other = tmp_path / "theirs.sqlite3"
    with closing(sqlite3.connect(other)) as db:
        db.execute("CREATE TABLE theirs (x)")
        db.commit()
    before = other.read_bytes()
    assert coach("merge", other, "--data", tmp_path / "data") == 2
    assert other.read_bytes() == before


def test_an_export_that_is_killed_leaves_the_record_as_it_was(tmp_path: Path) -> None:
    data = record(tmp_path / "data", SOME)
    before = contents(data)
    for patience_s in (0.2, 0.35, 0.5):
        child = subprocess.Popen(
            [sys.executable, "-m", "coach", "export", tmp_path / f"out{patience_s}", "--data", data]
        )
        try:
            child.wait(patience_s)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()
    assert contents(data) == before


def test_a_copy_needs_a_record_of_ours(tmp_path: Path) -> None:
    from coach.record.folder import RecordError

    (tmp_path / FILE).write_bytes(b"no database at all")
    with pytest.raises(RecordError, match="damaged"):
        copy_to(tmp_path / FILE, tmp_path / "copy")
    assert not (tmp_path / "copy").exists()


def full_after(files: int) -> Any:
    """A disk that is full after so many files."""
    made = []

    def make(path: Path) -> bool:
        made.append(path)
        if len(made) > files:
            raise OSError(errno.ENOSPC, "No space left on device")
        return make_private_file(path)

    return make


@pytest.mark.parametrize("files", [0, 2, 4])
def test_a_full_disk_is_blamed_on_the_folder_and_not_on_the_record(
    tmp_path: Path, files: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    record(tmp_path / "data", SOME)
    monkeypatch.setattr("coach.cli.commands.own_data.make_private_file", full_after(files))
    assert coach("export", tmp_path / "out", "--data", tmp_path / "data") == 2
    said = capsys.readouterr().err
    assert f"{tmp_path / 'out'} can't be written to (No space left on device)" in said
    assert "record" not in said


def test_an_export_that_cannot_be_read_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    data, out = record(tmp_path / "data", SOME), tmp_path / "out"
    assert coach("export", out, "--data", data) == 0
    opens = Path.open

    def refuse(self: Path, *words: Any, **how: Any) -> Any:
        if self.name == "repetitions.jsonl":
            raise PermissionError(errno.EACCES, "Permission denied")
        return opens(self, *words, **how)

    monkeypatch.setattr(Path, "open", refuse)
    assert coach("import", out, "--data", tmp_path / "new") == 2
    said = capsys.readouterr().err
    assert f"{out} can't be read (Permission denied)" in said
    assert "record" not in said
    assert contents(tmp_path / "new") == []  # all of it, or nothing


def aside(folder: Path) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(folder / FILE)) as db:
        return db.execute("SELECT table_name, entry FROM set_aside").fetchall()


@pytest.mark.parametrize("seen", [True, False])
def test_what_was_set_aside_is_merged_once(tmp_path: Path, seen: bool) -> None:
    """A row that is not as it was written, set aside there already or not."""
    one, two = record(tmp_path / "1", SOME[:2]), record(tmp_path / "2", SOME[1:])
    with closing(sqlite3.connect(two / FILE)) as db:
        db.execute("UPDATE repetition SET qpm = 61.5 WHERE id = 2")
        db.commit()
    if seen:
        store = Store(two, lambda: NOON_S)
        store.history(PIECES[1])
        store.close()
        assert len(aside(two)) == 1
    for _ in range(2):
        assert coach("merge", two, "--data", one) == 0
        assert len(aside(one)) == 1


@pytest.mark.parametrize("command", ["import", "merge"])
def test_what_became_of_the_record_is_said(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other, out = record(tmp_path / "other", SOME), tmp_path / "out"
    assert coach("export", out, "--data", other) == 0
    data = record(tmp_path / "data", SOME[:1])
    (data / FILE).write_bytes((data / FILE).read_bytes()[:5000])
    capsys.readouterr()
    assert coach(command, out if command == "import" else other, "--data", data) == 0
    assert "The practice record was damaged: it is kept as" in capsys.readouterr().err


def test_what_was_written_into_a_piece_goes_out_comes_in_and_is_forgotten(tmp_path: Path) -> None:
    data, out, new = tmp_path / "data", tmp_path / "out", tmp_path / "new"
    record(data, SOME)
    key = PIECES[1].key
    save_markings(data, key, [parse_marking("bar 1 note Sing.")], "Another Piece")
    assert coach("export", out, "--data", data) == 0
    assert coach("import", out, "--data", new) == 0
    assert load_markings(new, key) == load_markings(data, key) != ()
    assert coach("forget", "another", "--data", data, "--yes") == 0
    assert not markings_file(data, key).exists()
