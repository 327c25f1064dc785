"""Makes a record of many years of practice, to try how the program stands it. INVENTED DATA:

    python -m scripts.make_record FOLDER --repetitions 600000 --seed 1

A simulated pianist is led through the sample scores; what is kept of each of its repetitions is
laid over ten years: about five evenings a week, two to four pieces an evening, half a minute from
one repetition to the next. Pieces come and stay for some months; those before the last weeks are
invented names without a file. ``--version 2`` makes the record as it was kept then.
"""

from __future__ import annotations

import argparse
import json
import random
import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from coach.coaching.drill.drill_events import RepetitionEnded
from coach.drill import Drill, repair, window
from coach.playing.notes import PedalMove, Take
from coach.playing.simulated.player import INTERMEDIATE, SimulatedPianist
from coach.record import rows
from coach.record.folder import FILE
from coach.record.packing import checksum
from coach.record.pieces import PieceKey, piece_key
from coach.record.store import Store
from coach.score.reading import read_score
from scripts.old_record import PARTS, make_old_record, old_rows

SAMPLES = Path(__file__).parents[1] / "sample_scores"
TEMPLATES = 60
"""Repetitions that are simulated of each sample score."""
BARS = 2
"""What is practised at a time, at its largest."""
CARELESS = replace(INTERMEDIATE, name="careless", slip=0.04)
EVENINGS = 5 / 7
DAY_S = 86400.0
_STEP = 20_000


@dataclass(frozen=True)
class Template:
    """What is kept of one simulated repetition."""

    ended: RepetitionEnded
    row: dict[str, Any]
    old: dict[str, list[dict[str, Any]]]


@dataclass(frozen=True)
class Sample:
    """A sample score, and what a pianist did with it."""

    piece: PieceKey
    state: dict[str, Any]
    templates: tuple[Template, ...]


def samples(seed: int, count: int | None = None) -> tuple[Sample, ...]:
    """Each sample score, or so many of them, practised by a simulated pianist."""
    paths = sorted(SAMPLES.glob("*.musicxml"))[:count]
    return tuple(_practised(path, seed) for path in paths)


def _practised(path: Path, seed: int) -> Sample:
    score = read_score(path)
    now_s = 0.0
    out: list[Template] = []
    drill = None
    while len(out) < TEMPLATES:
        if drill is None or drill.decision.finished or len(out) % (TEMPLATES // 4) == 0:
            first = 1 + len(out) % max(1, len(score.bars) - BARS)
            drill = Drill(
                score, repair(score, window(score, bars=f"{first}-{first + BARS - 1}"), qpm=80)
            )
            pianist = SimulatedPianist(score, seed=seed + len(out), level=CARELESS)
        notes = pianist.play(drill.excerpt, drill.assignment.qpm, start_s=now_s)
        ended = drill.repetition(notes, now_s=now_s)
        ended = _pedalled(ended)
        out.append(Template(ended, rows.repetition_row(ended, 0.0), old_rows(ended, 0.0)))
        now_s += (notes[-1].onset_s - now_s if notes else 0.0) + 3.0
    assert drill
    return Sample(piece_key(score, path), drill.coach.state(), tuple(out))


def _pedalled(ended: RepetitionEnded) -> RepetitionEnded:
    """The same with the damper pedal down and up at about each second key, as most people play."""
    moves = [
        PedalMove(64, 127 * (n % 2), note.onset_s + 0.05)
        for n, note in enumerate(ended.take.notes[::2])
    ]
    take = Take(ended.take.notes, tuple(moves))
    return replace(ended, take=take)


@dataclass(frozen=True)
class Planned:
    """One repetition to be laid down."""

    piece: int
    """Its piece's id, from 1."""
    at_s: float
    template: Template


def plan(
    known: Sequence[Sample], count: int, until_s: float, years: float, seed: int
) -> tuple[list[PieceKey], Iterator[Planned]]:
    """The pieces, and the repetitions in the order of time; the last of them last evening."""
    chance = random.Random(seed)
    days = max(1, round(years * 365))
    evenings = [day for day in range(1, days + 1) if day == 1 or chance.random() < EVENINGS]
    evenings = evenings[: max(1, min(len(evenings), count // 20))][::-1]  # days ago
    invented = [
        PieceKey(f"{chance.getrandbits(128):032x}", f"Invented Piece {n + 1}", "")
        for n in range(round(12 * years))
    ]
    pieces = [one.piece for one in known] + invented

    def lay() -> Iterator[Planned]:
        left = count
        for at, day in enumerate(evenings):
            now_s = until_s - day * DAY_S
            share = left // (len(evenings) - at)
            left -= share
            of_day = _pieces_of(day, known, len(pieces), chance)
            for n in range(share):
                number = of_day[n * len(of_day) // max(share, 1)]
                templates = known[(number - 1) % len(known)].templates
                yield Planned(number, now_s, templates[chance.randrange(len(templates))])
                now_s += chance.uniform(8.0, 30.0)

    return pieces, lay()


def _pieces_of(day: int, known: Sequence[Sample], pieces: int, chance: random.Random) -> list[int]:
    """Which pieces are played so many days ago: samples of late, before that one in some months."""
    many = chance.randint(2, 4)
    if day <= 45:
        return [1 + (day + n) % len(known) for n in range(many)]
    of_then = len(known) + day // 31 % max(1, pieces - len(known))
    return [1 + (of_then + n) % pieces for n in range(many)]


def make(
    folder: Path,
    count: int,
    *,
    seed: int = 1,
    years: float = 10.0,
    version: int | None = None,
    known: Sequence[Sample] = (),
    until_s: float | None = None,
) -> Path:
    """Make the record in a folder; its file."""
    known = known or samples(seed)
    file = folder / FILE
    folder.mkdir(parents=True, exist_ok=True)
    pieces, planned = plan(known, count, until_s or time.time(), years, seed)
    if version is None:
        Store(folder).close()
    else:
        make_old_record(file, version)
    with closing(sqlite3.connect(file, isolation_level=None)) as db:
        db.execute("PRAGMA synchronous = OFF")
        db.execute("BEGIN")
        for n, piece in enumerate(pieces):
            state = json.dumps(known[n].state) if n < len(known) else None
            columns = "id, key, title, path, used_at_s, state"
            put = f"INSERT INTO piece ({columns}) VALUES (?, ?, ?, ?, 0.0, ?)"
            db.execute(put, (n + 1, piece.key, piece.title, piece.path, state))
            if version is None:
                sign = "UPDATE piece SET checksum = ? WHERE id = ?"
                db.execute(sign, (rows.piece_checksum(piece.key, state), n + 1))
        if version is None:
            _lay_new(db, planned)
        else:
            _lay_old(db, planned, version)
        last = "(SELECT coalesce(max(at_s), 0.0) FROM repetition WHERE piece_id = piece.id)"
        db.execute(f"UPDATE piece SET used_at_s = {last}")
        db.execute("DELETE FROM piece WHERE used_at_s = 0.0")
        if version is None:
            db.execute(
                "UPDATE piece SET (repetitions, clean) = "
                "(SELECT count(*), sum(clean) FROM repetition WHERE piece_id = piece.id)"
            )
        db.execute("COMMIT")
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return file


def _lay_new(db: sqlite3.Connection, planned: Iterator[Planned]) -> None:
    columns = (*rows.COLUMNS, "checksum")
    places = ", ".join("?" * (len(columns) + 1))
    put = f"INSERT INTO repetition (piece_id, {', '.join(columns)}) VALUES ({places})"
    kept = rows.COLUMNS[1:]
    many: list[tuple[Any, ...]] = []
    for one in planned:
        values = (one.at_s, *(one.template.row[column] for column in kept))
        many.append((one.piece, *values, checksum(values)))
        if len(many) == _STEP:
            db.executemany(put, many)
            many.clear()
    db.executemany(put, many)


def _lay_old(db: sqlite3.Connection, planned: Iterator[Planned], version: int) -> None:
    many: dict[str, list[tuple[Any, ...]]] = {}
    columns: dict[str, list[str]] = {}

    def put() -> None:
        for table, values in many.items():
            named, places = ", ".join(columns[table]), ", ".join("?" * len(columns[table]))
            db.executemany(f"INSERT INTO {table} ({named}) VALUES ({places})", values)
        many.clear()

    for number, one in enumerate(planned, 1):
        [own] = one.template.old["repetition"]
        row = {**own, "id": number, "piece_id": one.piece, "at_s": one.at_s}
        columns["repetition"] = list(row)
        many.setdefault("repetition", []).append(tuple(row.values()))
        for table in PARTS:
            for part in one.template.old[table]:
                kept = {c: v for c, v in part.items() if version > 1 or c != "hears_late"}
                columns[table] = ["repetition_id", *kept]
                many.setdefault(table, []).append((number, *kept.values()))
        if number % (_STEP // 10) == 0:
            put()
    put()


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--repetitions", type=int, default=600_000)
    parser.add_argument("--years", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--version", type=int, choices=(1, 2), help="of the record; else newest")
    options = parser.parse_args()
    if (options.folder / FILE).exists():
        raise SystemExit(f"{options.folder / FILE} is there already: nothing was made.")
    begun = time.perf_counter()
    file = make(
        options.folder,
        options.repetitions,
        seed=options.seed,
        years=options.years,
        version=options.version,
    )
    size = file.stat().st_size
    print(
        f"{file}: {options.repetitions:,} invented repetitions, {size / 1e6:,.0f} MB, "
        f"{size / max(options.repetitions, 1):,.0f} bytes each, "
        f"made in {time.perf_counter() - begun:.0f} s"
    )


if __name__ == "__main__":
    main()
