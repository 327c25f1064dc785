"""Damages real records in every way for as long as one likes, and goes on practising with each.

    python -m scripts.fuzz_record --minutes 20 --seed 1
    python -m scripts.fuzz_record --seed 1 --round 4711     one round again, with its traceback
    python -m scripts.fuzz_record --minutes 20 --seed 1 --from-round 4711     on from there

A round takes a record (of this version or an earlier one, closed or as a crash left it), flips
bytes of its files, overwrites or cuts off parts of them, writes garbage into its columns, or puts
another program's file in its place. Then it does what the commands do: opens it, fills the home
screen, puts a piece on the desk and keeps a repetition, lists the warm-up, comes back the next day.
Failures are: any exception that no command catches, a round over 60 seconds, good rows that are
gone, a repetition that was kept and is not there the next day, and another program's file that was
changed.
"""

from __future__ import annotations

import argparse
import atexit
import contextlib
import io
import random
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
import traceback
from argparse import Namespace
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from coach.cli.commands.practice import warmup
from coach.cli.errors import CannotDo
from coach.cli.open_score import open_piece
from coach.cli.score_library import HomeLibrary
from coach.cli.sessions import SessionMaker
from coach.cli.storage import Storage, close_record
from coach.record.folder import FILE, VERSION, RecordError
from coach.record.settings import FILE as SETTINGS
from coach.record.store import Store
from coach.score.model import Score
from coach.screens.dialogs.texts import why_text
from coach.screens.interfaces import Errand
from scripts.make_record import SAMPLES, Sample, make, samples
from scripts.old_record import make_old_record

HANG_S = 60
REPETITIONS = 150
ROWS_A_PAGE = 16
"""More repetitions than this don't fit in a page, so a flipped byte can't hurt more."""
PAGE_BYTES = 4096
GARBAGE: tuple[object, ...] = (
    *("xlean", "", "-1/0", "1e999999", "{", "[]", "{}", "null", "a\0b", "\x1b[2J\u202e"),
    *("x" * 70_000, "[" * 5000, b"\xff\x00", b"", b"\x01" * 50),
    *(0, -1, 2**62, -(2**62), 1e308, -1e-300, float("inf")),
)


@dataclass(frozen=True)
class Base:
    """A record to begin with, in a folder of its own."""

    folder: Path
    repetitions: int


class Lost(Exception):
    """A good row is gone, or a file that isn't ours was changed."""


class Bench:
    """What every round begins with: made once."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder = folder
        self.sample: Sample = samples(seed, 1)[0]
        self.path = sorted(SAMPLES.glob("*.musicxml"))[0]
        until_s = time.time()
        known = (self.sample,)
        self.bases: list[Base] = []
        for version in (None, 1, 2):
            made = folder / f"base-{version}"
            make(made, REPETITIONS, seed=seed, years=0.1, version=version, known=known,
                 until_s=until_s)  # fmt: skip
            self.bases.append(Base(made, self._count(made)))
        self.bases.append(self._crashed())
        cache = folder / "opened"
        self.score: Score = open_piece(self.path, data=cache)
        for base in self.bases:
            shutil.copytree(cache / "cache", base.folder / "cache")

    def _crashed(self) -> Base:
        """As a crash leaves it: the newest rows are in the log."""
        first, left = self.folder / "crashing", self.folder / "crashed"
        shutil.copytree(self.bases[0].folder, first)
        store = Store(first)
        for n in range(30):
            ended = self.sample.templates[n].ended
            store.save_repetition(self.sample.piece, ended, time.time() - 1000 + n, {"n": n})
        shutil.copytree(first, left)
        store.close()
        return Base(left, self._count(first))

    def _count(self, folder: Path) -> int:
        """How many repetitions of the sample score are there."""
        of = "SELECT count(*) FROM repetition JOIN piece ON piece.id = piece_id WHERE key = ?"
        with closing(sqlite3.connect(folder / FILE)) as db:
            return int(db.execute(of, (self.sample.piece.key,)).fetchone()[0])

    def play(self, number: int, seed: int) -> str:
        """One round; what was done to the record. Raises whatever nobody catches."""
        chance = random.Random(f"{seed} {number}")
        base = chance.choice(self.bases)
        folder = Path(tempfile.mkdtemp(dir=self.folder))
        try:
            data = folder / "data"
            shutil.copytree(base.folder, data)
            damage = chance.choice(DAMAGES)
            hurt = damage(data, chance)
            self._practise(data, base, hurt)
            return damage.__name__
        finally:
            shutil.rmtree(folder, ignore_errors=True)

    def _practise(self, data: Path, base: Base, hurt: int | None) -> None:
        foreign = {p.name: p.read_bytes() for p in data.glob(f"{FILE}*")} if hurt == FOREIGN else {}
        kept_s = self._evening(data, foreign)
        if foreign and {p.name: p.read_bytes() for p in data.glob(f"{FILE}*")} != foreign:
            raise Lost("another program's file was changed")
        if kept_s is not None:
            self._next_day(data, base, hurt, kept_s)

    def _evening(self, data: Path, foreign: dict[str, bytes]) -> float | None:
        """Home, a piece, a repetition, the warm-up; when the repetition was kept, where it was."""
        options = Namespace(data=data, counting=None, list=True, minutes=5.0)
        storage = Storage(options)
        storage.bring_up_to_date()
        HomeLibrary(storage).items()
        said = storage.notices()
        if foreign and not any("another program" in one for one in said):
            raise Lost(f"another program's file was not named: {said}")
        kept_s = None
        maker = SessionMaker(storage.store, storage.lease)
        for errand in (Errand.GO_ON, Errand.WARM_UP, Errand.DRILL):
            try:
                session = maker.make(self.score, self.path, errand, 0.0)
            except ValueError:  # nothing was weak
                continue
            why_text(session.drill.decision)
            waits = session.save()
            begun_s = time.time()
            waits += session.keep(self.sample.templates[5].ended)
            kept_s = begun_s if not waits else kept_s
            session.leave()
        HomeLibrary(storage).items()
        with contextlib.suppress(CannotDo, RecordError):
            warmup(options)
        assert storage.store
        close_record(storage.store)
        atexit.unregister(close_record)  # else every round's stores stay to the end
        return kept_s

    def _next_day(self, data: Path, base: Base, hurt: int | None, kept_s: float) -> None:
        store = Store(data)
        seen = store.repetitions(self.sample.piece, newest=10**6)
        store.close()
        if not any(one.at_s >= kept_s for one in seen):
            raise Lost("a repetition that was kept is not there the next day")
        old = sum(one.at_s < kept_s - 100 for one in seen)
        if hurt is not None and hurt >= 0 and old < base.repetitions - hurt:
            raise Lost(f"{old} of {base.repetitions} repetitions, and only {hurt} were damaged")
        store = Store(data)
        if store.notices and hurt is not None:
            raise Lost(f"said again: {store.notices}")
        store.close()


# -- damages: each gives how many repetitions it can have hurt, None where that can't be said -----

FOREIGN = -1
"""Another program's file: no repetition of ours is in it."""


def flipped(data: Path, chance: random.Random) -> int | None:
    """Some bits of the file."""
    file = data / FILE
    whole = bytearray(file.read_bytes())
    for _ in range(count := chance.choice((1, 1, 2, 5, 20, 100))):
        whole[chance.randrange(len(whole))] ^= 1 << chance.randrange(8)
    file.write_bytes(whole)
    return count * ROWS_A_PAGE if _is_newest(data) else None


def head_flipped(data: Path, chance: random.Random) -> int | None:
    """Bytes of the first pages: the head, the schema, the tables' roots."""
    file = data / FILE
    whole = bytearray(file.read_bytes())
    for _ in range(count := chance.choice((1, 2, 10))):
        page = chance.randrange(min(6, len(whole) // PAGE_BYTES))
        whole[page * PAGE_BYTES + chance.randrange(108)] = chance.randrange(256)
    file.write_bytes(whole)
    return count * ROWS_A_PAGE if _is_newest(data) else None


def log_flipped(data: Path, chance: random.Random) -> int | None:
    """Some bits of what is beside the file."""
    for ending in ("-wal", "-shm"):
        part = data / f"{FILE}{ending}"
        if part.exists():
            whole = bytearray(part.read_bytes())
            for _ in range(chance.choice((1, 5, 50)) if whole else 0):
                whole[chance.randrange(len(whole))] ^= 1 << chance.randrange(8)
            part.write_bytes(whole)
    return None


def overwritten(data: Path, chance: random.Random) -> int | None:
    """A stretch of zeros, noise, or another part of the file."""
    file = data / FILE
    whole = bytearray(file.read_bytes())
    at, length = chance.randrange(len(whole)), chance.choice((10, 512, 4096, 40_000))
    fill = chance.choice((b"\0" * length, chance.randbytes(length), bytes(whole[:length])))
    whole[at : at + length] = fill
    file.write_bytes(whole)
    return None


def cut(data: Path, chance: random.Random) -> int | None:
    """The end is gone, or there is something behind it."""
    file = data / FILE
    whole = file.read_bytes()
    at = chance.choice((0, 1, 15, 99, 100, 4095, 4096, chance.randrange(len(whole))))
    file.write_bytes(whole[:at] if chance.random() < 0.8 else whole + chance.randbytes(at))
    return None


def no_database(data: Path, chance: random.Random) -> int | None:
    """Something else under its name."""
    (data / FILE).write_bytes(
        chance.choice((b"\0" * 9000, b"Dear teacher", chance.randbytes(9000)))
    )
    return None


def garbage(data: Path, chance: random.Random) -> int | None:
    """Garbage in some rows' columns; at most so many repetitions are bad."""
    hurt = 0
    with closing(sqlite3.connect(data / FILE)) as db:
        tables = [t for (t,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        for _ in range(chance.choice((1, 1, 3, 10))):
            table = chance.choice(tables)
            columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
            column = chance.choice(columns)
            ids = [one for (one,) in db.execute(f"SELECT DISTINCT {columns[0]} FROM {table}")]
            rows = min(chance.choice((1, 1, 1, 3, 1000)), len(ids))
            some = ", ".join("?" * rows)
            chosen = sorted(chance.sample(range(len(ids)), rows))
            value = chance.choice(GARBAGE)
            try:
                change = f"UPDATE {table} SET {column} = ? WHERE {columns[0]} IN ({some})"
                db.execute(change, (value, *(ids[at] for at in chosen)))
                db.commit()
            except sqlite3.Error:  # the table itself refuses it
                db.rollback()
                continue
            unbounded = column in ("id", "piece_id", "repetition_id") or table == "piece"
            hurt += 10**6 if unbounded else rows
    return hurt


def another_programs(data: Path, chance: random.Random) -> int | None:
    """Another program's database in its place."""
    for left in data.glob(f"{FILE}*"):
        left.unlink()
    with closing(sqlite3.connect(data / FILE)) as db:
        db.execute(f"PRAGMA application_id = {chance.choice((0, 1, 0x0F055112))}")
        db.execute(f"PRAGMA user_version = {chance.choice((0, 1, 2, VERSION, VERSION + 1, 400))}")
        if chance.random() < 0.5:
            db.execute("PRAGMA journal_mode = WAL")
        db.execute(f"CREATE TABLE {chance.choice(('recipes', 'piece', 'note'))} (id, cake)")
        db.commit()
    return FOREIGN


def settings_broken(data: Path, chance: random.Random) -> int | None:
    """The settings' file."""
    told = chance.choice((b"{", b'{"counting": 7}', b'{"click_offset_ms": 1e999}', b"\xff" * 50))
    (data / SETTINGS).write_bytes(told)
    return 0


def beside_broken(data: Path, chance: random.Random) -> int | None:
    """Files that are to join the record, and are none."""
    for n in range(chance.randrange(1, 4)):
        file = data / f"unsaved-{n}.sqlite3"
        how = chance.randrange(4)
        if how == 0:
            file.write_bytes(chance.randbytes(chance.choice((0, 50, 9000))))
        elif how == 1:
            make_old_record(file, chance.choice((1, 2)))
        elif how == 2:
            whole = bytearray((data / FILE).read_bytes())
            whole[chance.randrange(len(whole))] ^= 0x10
            file.write_bytes(whole)
        else:
            with closing(sqlite3.connect(file)) as db:
                db.execute("CREATE TABLE recipes (cake)")
                db.commit()
    return None


def untouched(data: Path, chance: random.Random) -> int | None:
    """Nothing: all of it is there."""
    return 0


def _is_newest(data: Path) -> bool:
    """Whether its rows are of the kind that can be found page by page."""
    return not (data / f"{FILE}-wal").exists() and (data / FILE).stat().st_size < 150_000


DAMAGES: tuple[Callable[[Path, random.Random], int | None], ...] = (
    flipped, flipped, head_flipped, log_flipped, overwritten, cut, no_database, garbage, garbage,
    garbage, another_programs, settings_broken, beside_broken, untouched,
)  # fmt: skip


# -- the rounds -----------------------------------------------------------------------------------


@contextlib.contextmanager
def quiet() -> Iterator[None]:
    """What the commands say goes nowhere."""
    nowhere = io.StringIO()
    with contextlib.redirect_stdout(nowhere), contextlib.redirect_stderr(nowhere):
        yield


def _hang(*_: object) -> None:
    raise TimeoutError(f"over {HANG_S} s")


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--round", type=int, help="only this one, to look at it again")
    parser.add_argument("--from-round", type=int, default=0)
    args = parser.parse_args()
    signal.signal(signal.SIGALRM, _hang)
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder), args.seed)
        if args.round is not None:
            return 1 if play(bench, args.round, args.seed, Counter(), Counter()) else 0
        return fuzz(bench, args)


def fuzz(bench: Bench, args: Namespace) -> int:
    """Rounds until the time is over."""
    done: Counter[str] = Counter()
    failures: Counter[str] = Counter()
    until, report_at = time.monotonic() + 60 * args.minutes, time.monotonic() + 60
    number = args.from_round
    while time.monotonic() < until:
        play(bench, number, args.seed, done, failures)
        number += 1
        if time.monotonic() > report_at:
            print(f"round {number}: {failures.total()} failures", flush=True)
            report_at += 60
    kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(done.items()))
    print(
        f"seed {args.seed}, rounds {args.from_round} to {number - 1} ({kinds}): "
        f"{failures.total()} failures"
    )
    return 1 if failures else 0


def play(bench: Bench, number: int, seed: int, done: Counter[str], failures: Counter[str]) -> bool:
    """One round; whether it failed."""
    signal.alarm(HANG_S)
    try:
        with quiet():
            done[bench.play(number, seed)] += 1
        return False
    except Exception as error:
        frames = traceback.extract_tb(error.__traceback__)
        where = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}"
        kind = f"{type(error).__name__} at {where}"
        if failures[kind] < 3:
            print(f"FAILURE in round {number} (seed {seed}): {kind}: {error}", flush=True)
            if failures[kind] == 0:
                traceback.print_exc(file=sys.stdout)
        failures[kind] += 1
        return True
    finally:
        signal.alarm(0)


if __name__ == "__main__":
    sys.exit(main())
