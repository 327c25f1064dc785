"""Your data is yours: ``coach export``, ``import``, ``merge``, ``check``, ``rebuild``, ``forget``,
``backup``."""

from __future__ import annotations

import csv
import json
import re
import shutil
import sys
import time
from argparse import Namespace
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, TextIO

from coach.cli.errors import CannotDo
from coach.cli.open_score import PARTS_FOLDER, REPEATS_FOLDER, open_piece
from coach.cli.terminal import say, waiting_line, warn
from coach.playing.takes import write_take
from coach.private_files import FILE_MODE, make_private_file, make_private_folder
from coach.record import own_data
from coach.record.database import OPEN_WAIT_S, format_date
from coach.record.exchange import (
    ExportedRepetition,
    list_pieces,
    list_repetitions,
    take_in,
)
from coach.record.folder import FILE, data_folder, named_folder
from coach.record.own_data import Findings
from coach.record.pieces import PieceKey, piece_key
from coach.record.progress import forget_diary
from coach.record.recovery import RecordFile
from coach.record.settings import FILE as SETTINGS_FILE
from coach.score.forms import WrittenForm
from coach.score.hand_moves import FOLDER as HANDS_FOLDER
from coach.score.kept_lines import join_lines
from coach.score.markings import FOLDER as MARKINGS_FOLDER
from coach.score.markings import markings_file
from coach.score.model import Hands, Score
from coach.score.opening import score_key
from coach.score.window import Window, excerpt
from coach.score.words import count_of

PIECES, REPETITIONS, TABLE, TAKES = (
    "pieces.jsonl",
    "repetitions.jsonl",
    "repetitions.csv",
    "takes",
)
LINES = (HANDS_FOLDER, MARKINGS_FOLDER)
"""Folders beside the record that hold lines of text for each piece."""
BESIDE = (
    *(f"{name}/**/*" for name in LINES),
    f"{PARTS_FOLDER}/*",
    f"{REPEATS_FOLDER}/*",
    "unjudged-*.mid",
)
"""What else lies beside the record and belongs to it."""
README = """\
Keyhole's export: everything that its practice record holds.

pieces.jsonl       one JSON object a line: each piece, where the practice of it stands, the plan
                   to a date, and what its bars are known by
repetitions.jsonl  one JSON object a line: each repetition, with every key that was struck
repetitions.csv    the same as a table, a line a repetition, without the keys
takes/             what was played, as Standard MIDI files; markers say where bars begin
hands/             notes that were given to the other hand
markings/          own fingerings and notes on passages
parts/             which part of a score is yours, where you chose one
repeats/           which scores are played through with their repeats
unjudged-*.mid     takes that there was no time to judge
settings.json      the settings

"coach import FOLDER" takes it in again; what is there already is not taken twice.
Times called at_s are unix time in seconds. Positions are in quarter notes from the piece's
start, as exact fractions.
"""
COLUMNS = (
    "piece",
    "when",
    "bars",
    "hands",
    "clean",
    "tempo_qpm",
    "asked_qpm",
    "stage",
    "sentence",
    "keys",
    "start_quarters",
    "end_quarters",
    "at_s",
)


# -- export ---------------------------------------------------------------------------------------


def export_record(options: Namespace) -> int:
    """Write everything into a folder, in forms that other programs read."""
    folder: Path = options.folder
    _need_empty(folder)
    record = named_folder(options.data) / FILE
    with (
        own_data.open_record(record) as database,
        database.reading() as db,
        waiting_line() as tell,
        _blame_folder(folder, "be written to"),
    ):
        make_private_folder(folder)
        export = _Export(folder, options.data)
        pieces = list(list_pieces(db))
        with _text(folder / PIECES) as file:
            file.writelines(json.dumps(plain) + "\n" for _, plain in pieces)
        with _text(folder / REPETITIONS) as lines, _text(folder / TABLE) as table:
            writer = csv.writer(table)
            writer.writerow(COLUMNS)
            for at, (number, plain) in enumerate(pieces):
                tell(f"Writing {plain['title']} ({at + 1} of {len(pieces)})")
                export.write_piece(
                    plain, list_repetitions(db, number, plain["key"]), lines, writer.writerow
                )
        with _text(folder / "README.txt") as file:
            file.write(README)
        _copy_beside(named_folder(options.data), folder)
    say(export.sentence(len(pieces)))
    return 0


@contextmanager
def _blame_folder(folder: Path, what: str) -> Iterator[None]:
    """What goes wrong with the folder is said of it, and not of the record."""
    try:
        yield
    except OSError as error:
        raise CannotDo(
            f"{folder} can't {what} ({error.strerror or error}); see to that folder, or name "
            "another."
        ) from error


@dataclass
class _Export:
    """An export on its way into its folder."""

    folder: Path
    data: Path | None
    repetitions: int = 0
    takes: int = 0
    unreadable: int = 0
    without_score: list[str] = field(default_factory=list)

    def write_piece(
        self,
        plain: dict[str, Any],
        repetitions: Iterable[ExportedRepetition | None],
        lines: TextIO,
        row: Callable[[list[object]], object],
    ) -> None:
        """All of one piece."""
        score = self._score(plain)
        takes = self.folder / TAKES / _file_name(plain["title"], plain["key"])
        for one in repetitions:
            if one is None:
                self.unreadable += 1
                continue
            self.repetitions += 1
            if one.take.notes:
                self.takes += 1
                make_private_folder(takes)
                when = datetime.fromtimestamp(one.plain["at_s"])
                file = _free(takes / f"{when:%Y-%m-%d-%H%M%S}-{when.microsecond // 1000:03}.mid")
                make_private_file(file)
                write_take(one.take, file, bar_markers(one, score) if score else ())
                file.chmod(FILE_MODE)
                one.plain["take"] = file.relative_to(self.folder).as_posix()
            lines.write(json.dumps(one.plain) + "\n")
            row(_table_row(plain["title"], one, score))

    def _score(self, plain: dict[str, Any]) -> Score | None:
        """The piece's score, where it still lies where it was and is still that piece."""
        with suppress(Exception):  # whatever is wrong with it: the record goes out without it
            score = open_piece(Path(plain["path"]), data=self.data)
            if piece_key(score).key == plain["key"]:
                return score
        self.without_score.append(plain["title"])
        return None

    def sentence(self, pieces: int) -> str:
        """What was written."""
        said = (
            f"{count_of(self.repetitions, 'repetition')} of {count_of(pieces, 'piece')} and "
            f"{count_of(self.takes, 'take')} are in {self.folder}; its README.txt says what is "
            "where."
        )
        if self.unreadable:
            said += (
                f"\n{count_of(self.unreadable, 'repetition')} can't be read any longer and "
                f"{'is' if self.unreadable == 1 else 'are'} not among them (coach check)."
            )
        if self.without_score:
            said += (
                "\nWithout their scores, which are not where they were, these have no bars in "
                f"their takes: {', '.join(self.without_score)}."
            )
        return said


def bar_markers(one: ExportedRepetition, score: Score) -> list[tuple[float, str]]:
    """Where each bar begins in a take: with its first key that was matched to a note of it."""
    notes = excerpt(score, _window(one)).notes
    first: dict[int, float] = {}
    for played, was in zip(one.take.notes, one.struck, strict=True):
        if was.note is not None and was.note < len(notes):
            bar = score.bar_at(notes[was.note].onset_quarters).index
            first[bar] = min(first.get(bar, played.onset_s), played.onset_s)
    return [(at_s, score.bars[bar].words) for bar, at_s in sorted(first.items())]


def _window(one: ExportedRepetition) -> Window:
    from fractions import Fraction

    plain = one.plain
    return Window(
        Fraction(plain["start_quarters"]),
        Fraction(plain["end_quarters"]),
        Hands(plain["hands"]),
        bool(plain["words"].get("landing", True)),
        WrittenForm(plain["words"].get("form", WrittenForm.AS_WRITTEN.value)),
    )


def _table_row(title: str, one: ExportedRepetition, score: Score | None) -> list[object]:
    plain, words = one.plain, one.plain["words"]
    window, bars = _window(one), ""
    if score:
        first, last = score.bars_of(window.start_quarters, window.end_quarters)
        bars = first.words_to(last)
    when = datetime.fromtimestamp(plain["at_s"]).isoformat(" ", "seconds")
    return [
        title,
        when,
        bars,
        plain["hands"],
        int(plain["clean"]),
        plain["qpm"],
        words.get("asked_qpm"),
        words.get("stage"),
        words.get("sentence"),
        len(one.take.notes),
        plain["start_quarters"],
        plain["end_quarters"],
        plain["at_s"],
    ]


def _need_empty(folder: Path) -> None:
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise CannotDo(f"{folder} is not an empty folder; name a new one for the export.")
    except OSError as error:
        raise CannotDo(
            f"{folder} can't be looked into ({error.strerror or error}); name another folder."
        ) from error


def _text(path: Path) -> TextIO:
    make_private_file(path)
    return path.open("w", encoding="utf-8", newline="")


def _copy_beside(data: Path, folder: Path) -> None:
    """What lies beside the record: the settings, and what was given to the pieces."""
    if (data / SETTINGS_FILE).is_file():
        _copy_private(data / SETTINGS_FILE, folder / SETTINGS_FILE)
    for file in _find_beside(data):
        _copy_private(file, folder / file.relative_to(data))


def _find_beside(folder: Path) -> list[Path]:
    return [file for name in BESIDE for file in sorted(folder.glob(name)) if file.is_file()]


def _copy_private(file: Path, to: Path) -> None:
    make_private_folder(to.parent)
    make_private_file(to)
    shutil.copyfile(file, to)


def _file_name(title: str, key: str) -> str:
    words = re.sub(r"[^\w]+", "-", title.casefold()).strip("-")[:40]
    return f"{words or 'piece'}-{key[:8]}"


def _free(file: Path) -> Path:
    count, free = 2, file
    while free.exists():
        free = file.with_name(f"{file.stem}-{count}{file.suffix}")
        count += 1
    return free


# -- import and merge -----------------------------------------------------------------------------


def import_record(options: Namespace) -> int:
    """Take an export in; what is there already is not taken twice."""
    folder: Path = options.folder
    for name in (PIECES, REPETITIONS):
        if not (folder / name).is_file():
            raise CannotDo(f"{folder} is no export: there is no {name} in it.")
    file = _record_file(options)
    found: list[Any] = []

    def work(db: Any) -> None:
        found[:] = take_in(db, _lines(folder / PIECES), _lines(folder / REPETITIONS))

    with waiting_line() as tell:
        tell("Taking in the export")
        try:
            file.write(work, OPEN_WAIT_S)
        finally:
            _close(file)
    joined, wrong = found
    with _blame_folder(folder, "be taken in"):
        _restore_beside(folder, data_folder(options.data))
    say("\n".join([*wrong, _describe_import(joined.repetitions, joined.known)]))
    return 1 if wrong else 0


def merge_records(options: Namespace) -> int:
    """Take another machine's record in, with what lies beside it; all of that stays as it is."""
    other: Path = options.record
    if other.is_dir():
        other = other / FILE
    if not other.is_file():
        raise CannotDo(f"There is no practice record at {other}; name the file, or its folder.")
    file = _record_file(options)
    try:
        file.open()
    finally:
        _close(file)
    record = data_folder(options.data) / FILE
    if other.samefile(record):
        raise CannotDo(f"{other} is the record itself; name that of the other machine.")
    with waiting_line() as tell:
        tell("Taking in the other record")
        new = own_data.join_copy(record, other)
        with _blame_folder(other.parent, "be taken in"):
            _restore_beside(other.parent, record.parent)
    say(f"{count_of(new, 'repetition')} came in; what was there already is there once.")
    return 0


def _record_file(options: Namespace) -> RecordFile:
    return RecordFile(data_folder(options.data) / FILE, time.time)


def _close(file: RecordFile) -> None:
    """Close it, and say what became of it: brought up to date, or damaged and begun anew."""
    file.close()
    for notice in file.notices:
        warn(notice)


def _lines(path: Path) -> Iterator[str]:
    with (
        _blame_folder(path.parent, "be read"),
        path.open(encoding="utf-8", errors="replace") as file,
    ):
        for line in file:
            if line.strip():
                yield line


def _restore_beside(folder: Path, data: Path) -> None:
    """Take in what lies beside an export or a record; of two settings those that are here hold."""
    for file in _find_beside(folder):
        name = file.relative_to(folder)
        if name.parts[0] in LINES:
            join_lines(data / name, file)
        elif not (data / name).exists():
            _copy_private(file, data / name)
    if (folder / SETTINGS_FILE).is_file() and not (data / SETTINGS_FILE).exists():
        _copy_private(folder / SETTINGS_FILE, data / SETTINGS_FILE)


def _describe_import(new: int, known: int) -> str:
    there = f"; {count_of(known, 'repetition')} {'was' if known == 1 else 'were'} there already"
    return f"{count_of(new, 'repetition')} came in{there if known else ''}."


# -- check, rebuild, backup, forget ---------------------------------------------------------------


def check_record(options: Namespace) -> int:
    """Look the whole record over, and change nothing."""
    record = named_folder(options.data) / FILE
    with own_data.open_record(record) as database, database.reading() as db:
        findings = own_data.look_over(db)
    say("\n".join(_findings_lines(record, findings)))
    return 0 if findings.is_sound else 1


def _findings_lines(record: Path, found: Findings) -> list[str]:
    all_of_it = f"{count_of(found.repetitions, 'repetition')} of {count_of(found.pieces, 'piece')}"
    lines = [f"{record}: {all_of_it}, all as they were written."]
    if not found.is_sound:
        lines = [f"{record}: {all_of_it}."]
    if found.unreadable:
        lines.append(
            f"{count_of(found.unreadable, 'repetition')} can't be read any longer: open Keyhole "
            "once, and what is damaged is set aside."
        )
    if found.miscounted:
        lines.append(f"{count_of(found.miscounted, 'piece')} wrongly counted: coach rebuild.")
    lines += [f"SQLite says: {words}" for words in found.trouble]
    if found.set_aside:
        lines.append(f"{count_of(found.set_aside, 'row')} set aside earlier, as damaged.")
    return lines


def rebuild_record(options: Namespace) -> int:
    """Make anew what follows from the facts."""
    record = named_folder(options.data) / FILE
    with own_data.open_record(record) as database, database.writing(OPEN_WAIT_S) as db:
        own_data.rebuild(db)
    with _blame_folder(record.parent, "be written to"):
        forget_diary(record.parent)
    say("The counts and indexes of the record are made anew from its repetitions.")
    return 0


def back_up(options: Namespace) -> int:
    """A whole copy of the record, also while it is in use."""
    folder = named_folder(options.data)
    target = options.file or folder / f"record-copy-{format_date(time.time())}.sqlite3"
    own_data.copy_to(folder / FILE, target)
    say(f"The practice record is copied to {target}.")
    return 0


def forget_piece(options: Namespace) -> int:
    """Delete a piece and all that was played of it, once that is confirmed."""
    record = named_folder(options.data) / FILE
    with own_data.open_record(record) as database, database.reading() as db:
        piece, played = _find_piece(list(list_pieces(db)), options.piece, db)
    what = f"{piece.title} and its {count_of(played, 'repetition')}"
    if not options.yes and not _confirms(f"Forget {what}? This can't be undone. Type yes: "):
        say("Nothing was forgotten.")
        return 1
    gone = own_data.forget_piece(record, piece)
    _forget_beside(options.data, piece)
    say(f"{piece.title} and its {count_of(gone, 'repetition')} are forgotten.")
    return 0


def _forget_beside(asked: Path | None, piece: PieceKey) -> None:
    """What was given to the piece. Hands and part are kept by the score's file: where that holds
    other notes by now, they are that other music's."""
    data, path = named_folder(asked), Path(piece.path)
    markings_file(data, piece.key).unlink(missing_ok=True)
    forget_diary(data, piece.key)
    with suppress(Exception):  # whatever is wrong with the score: the piece is forgotten
        if piece_key(open_piece(path, data=asked)).key == piece.key:
            key = score_key(path)
            for file in (
                *data.glob(f"{HANDS_FOLDER}/**/{key}*"),
                data / PARTS_FOLDER / key,
                data / REPEATS_FOLDER / key,
            ):
                file.unlink(missing_ok=True)


def _find_piece(
    pieces: list[tuple[int, dict[str, Any]]], wanted: str, db: Any
) -> tuple[PieceKey, int]:
    asked = wanted.casefold()
    ways: tuple[Callable[[dict[str, Any]], bool], ...] = (
        lambda plain: plain["key"] == wanted,
        lambda plain: bool(plain["path"]) and Path(plain["path"]) == Path(wanted).absolute(),
        lambda plain: plain["title"].casefold() == asked,
        lambda plain: asked in plain["title"].casefold(),
    )
    for way in ways:
        found = [(number, plain) for number, plain in pieces if way(plain)]
        if len(found) > 1:
            several = ", ".join(f"{plain['title']} ({plain['key'][:8]})" for _, plain in found)
            raise CannotDo(f"Several pieces are called so: {several}; name one by its whole key.")
        if found:
            ((number, plain),) = found
            count = "SELECT count(*) FROM repetition WHERE piece_id = ?"
            (played,) = db.execute(count, (number,)).fetchone()
            return PieceKey(plain["key"], plain["title"], plain["path"]), played
    known = ", ".join(plain["title"] for _, plain in pieces) or "none"
    raise CannotDo(f"There is no piece {wanted!r} in the record; there are: {known}.")


def _confirms(question: str) -> bool:
    if not sys.stdin or not sys.stdin.isatty():
        raise CannotDo("Forgetting has to be confirmed in a terminal; or add --yes.")
    say(question)
    return sys.stdin.readline().strip().casefold() == "yes"
