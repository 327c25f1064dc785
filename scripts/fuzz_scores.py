"""Damages real scores for as long as one likes, and opens each: does the reader ever fall over?

    python -m scripts.fuzz_scores --minutes 60 --seed 1
    python -m scripts.fuzz_scores --seed 1 --round 812     # one damaged score again
    python -m scripts.fuzz_scores --seed 1 --from 5000     # go on where a run was stopped

A round is one damaged score; its seed is the run's with the round's number, so each can be made
again by itself. Before the first come the hostile kinds, as they are.

Each case is read in a process of its own, as ``open_score`` does, but forked from one in which
the readers are loaded already, so that an hour holds many cases; one in fifty goes the whole way
through ``open_score`` and its cache. What may come of it is a score that holds together, or a
sentence; what takes longer than the product allows is ended, as the product does, and counts as
refused for its time. Reported as failures: any other exception, a process that dies, a case over
45 seconds, memory over 2 GiB, and a score that does not hold together. The damaged file is kept in
the folder for findings. Runs where processes can be forked (Linux, macOS).
"""

from __future__ import annotations

import argparse
import json
import os
import random
import select
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import count, pairwise
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from coach.score.formats import ScoreError
from coach.score.model import Score
from coach.score.opening import ReaderFault, open_score
from coach.score.opening.child import answer
from coach.score.opening.limits import WORK_S, limit_process
from coach.score.report import notes_table, score_report
from coach.score.serialize import score_from_plain
from scripts.hostile_scores import KINDS
from scripts.mutate_scores import bases, damaged

HANG_S = 45.0
"""Reading is ended after 18 s; a case that is not over long after that hangs. Own choice, with room
for a machine that does other things."""
MEMORY_BYTES = 2 << 30
WHOLE_WAY = 50


@dataclass
class Tally:
    """What has come of the cases so far."""

    outcomes: Counter[str] = field(default_factory=Counter)
    slowest: tuple[float, str] = (0.0, "")
    largest: tuple[int, str] = (0, "")
    failures: list[str] = field(default_factory=list)

    def note(self, case: str, seconds: float, memory_bytes: int) -> None:
        self.slowest = max(self.slowest, (seconds, case))
        self.largest = max(self.largest, (memory_bytes, case))

    def __str__(self) -> str:
        kinds = ", ".join(f"{number:,} {kind}" for kind, number in self.outcomes.most_common())
        return (
            f"{self.outcomes.total():,} cases: {kinds}; "
            f"slowest {self.slowest[0]:.1f} s ({self.slowest[1]}), "
            f"most memory {self.largest[0] / (1 << 20):.0f} MiB ({self.largest[1]}); "
            f"failures: {len(self.failures)}"
        )


def main() -> int:
    args = _arguments()
    args.findings.mkdir(parents=True, exist_ok=True)
    tally, until = Tally(), time.monotonic() + 60 * args.minutes
    report_at = time.monotonic() + 60
    print(f"seed {args.seed}, from round {args.start}", flush=True)
    _load_readers()
    with tempfile.TemporaryDirectory() as folder:
        for case, name, data in _cases(args):
            _try(case, Path(folder) / name, data, tally, args.findings)
            if time.monotonic() > until:
                break
            if time.monotonic() > report_at:
                print(f"up to round {case}: {tally}", flush=True)
                report_at = time.monotonic() + 60
    print(f"{args.minutes:g} minutes, seed {args.seed}: {tally}")
    return 1 if tally.failures else 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--round", type=int, help="only this damaged score, to look at it again")
    parser.add_argument("--from", dest="start", type=int, default=0, help="the first round")
    parser.add_argument("--hostile", action="store_true", help="only the hostile kinds, once each")
    findings = Path(tempfile.gettempdir()) / "keyhole-fuzz"
    parser.add_argument("--findings", type=Path, default=findings)
    return parser.parse_args()


def _load_readers() -> None:
    """Into this process, so that each fork has them."""
    import music21.abcFormat.translate
    import music21.humdrum.spineParser
    import music21.mei.base  # noqa: F401

    import coach.score.reading  # noqa: F401


def _cases(args: argparse.Namespace) -> Iterator[tuple[str, str, bytes]]:
    """Case, file name and content: the hostile kinds as they are, then damaged scores for ever."""
    if args.round is None and not args.start:
        for name, make in KINDS.items():
            yield name, _file_name(name), make()
    if args.hostile:
        return
    sources = bases()
    numbers = count(args.start) if args.round is None else [args.round]
    for number in numbers:
        rng = random.Random(f"{args.seed}:{number}")
        name, data = rng.choice(sources)
        yield f"{number} ({name})", _file_name(name), damaged(name, data, sources, rng)


def _file_name(name: str) -> str:
    stem, _, suffix = name.replace("/", "-").rpartition(".")
    return f"{stem[:60]}.{suffix}"


def _try(case: str, path: Path, data: bytes, tally: Tally, findings: Path) -> None:
    path.write_bytes(data)
    whole_way = tally.outcomes.total() % WHOLE_WAY == 0
    kind, detail, memory, seconds = _whole_way(path) if whole_way else _forked(path)
    tally.outcomes[kind] += 1
    tally.note(case, seconds, memory)
    if kind in ("fault", "died", "unsound") or seconds > HANG_S or memory > MEMORY_BYTES:
        kept = findings / f"{len(tally.failures)}-{path.name}"
        kept.write_bytes(data)
        tally.failures.append(case)
        print(
            f"FAILURE {kind} at round {case}, {seconds:.1f} s, kept as {kept}: {detail}", flush=True
        )
    path.unlink()


Outcome = tuple[str, str, int, float]
"""What came of a case, its details, peak memory in bytes, and seconds."""


def _whole_way(path: Path) -> Outcome:
    start = time.monotonic()
    opened = _opened(path)
    seconds = time.monotonic() - start
    kind, detail = _soundness(opened) if isinstance(opened, Score) else opened
    return kind, detail, 0, seconds


def _opened(path: Path) -> Score | tuple[str, str]:
    try:
        score = open_score(path, cache_dir=path.parent / "cache")
        if open_score(path, cache_dir=path.parent / "cache") != score:
            return "unsound", "another score the second time"
        return score
    except ReaderFault as fault:
        return "fault", fault.detail
    except ScoreError as error:
        return _sentence(str(error))


def _forked(path: Path) -> Outcome:
    """What comes of reading in a forked process."""
    start = time.monotonic()
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        os.close(reading)
        _read_and_answer(path, writing)
    os.close(writing)
    said = _collect(reading, child)
    _, _, usage = os.wait4(child, 0)
    seconds = time.monotonic() - start
    memory = usage.ru_maxrss * (1 if sys.platform == "darwin" else 1024)
    kind, detail = ("refused for its time", "") if said is None else _understood(said)
    return kind, detail, memory, seconds


def _read_and_answer(path: Path, pipe: int) -> None:
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        limit_process()
        said = answer(path)
        with os.fdopen(pipe, "wb") as out:
            out.write(said)
    finally:
        os._exit(0)


def _collect(pipe: int, child: int) -> bytes | None:
    """All that the child writes; None where it takes too long (it is ended then)."""
    chunks: list[bytes] = []
    until = time.monotonic() + WORK_S
    with os.fdopen(pipe, "rb", buffering=0) as source:
        while select.select([source], [], [], max(0.0, until - time.monotonic()))[0]:
            chunk = source.read(1 << 20)
            if not chunk:
                return b"".join(chunks)
            chunks.append(chunk)
    os.kill(child, signal.SIGKILL)
    return None


def _understood(said: bytes) -> tuple[str, str]:
    kind, _, text = said.decode().partition("\n")
    if kind == "refused":
        return _sentence(text)
    if kind != "score":
        return ("fault", text) if kind else ("died", "no answer")
    return _soundness(score_from_plain(json.loads(text)))


def _sentence(text: str) -> tuple[str, str]:
    one_line = text.isprintable() and len(text) < 600 and text.rstrip().endswith(".")
    return ("refused", text) if one_line else ("unsound", f"no sentence: {text!r}")


def _soundness(score: Score) -> tuple[str, str]:
    """Whether a score holds together: "score" or "unsound", and what is wrong."""
    wrong = [what for what, is_right in _laws(score) if not is_right]
    return ("unsound", "; ".join(wrong)) if wrong else ("score", "")


def _laws(score: Score) -> Iterator[tuple[str, Any]]:
    notes, bars = score.notes, score.bars
    yield "notes", notes
    yield "bars", bars
    yield "bar indexes", [bar.index for bar in bars] == list(range(len(bars)))
    yield "bar lengths", all(bar.length_quarters > 0 for bar in bars)
    follows = pairwise(bars)
    yield "bars one after the other", all(a.end_quarters == b.onset_quarters for a, b in follows)
    order = [(n.onset_quarters, n.grace is None, 0 if n.grace else n.pitch) for n in notes]
    yield "notes in order", order == sorted(order)  # small notes as they are played
    yield "ids", len({note.id for note in notes}) == len(notes)
    yield "keys", all(0 <= note.pitch <= 127 for note in notes)
    yield "spellings", all(note.spelling.midi == note.pitch for note in notes)
    yield "lengths", all((note.length_quarters > 0) == (note.grace is None) for note in notes)
    yield "bar of a note", all(0 <= note.bar_index < len(bars) for note in notes)
    inside = ((note.onset_quarters, bars[note.bar_index]) for note in notes)
    yield "in its bar", all(b.onset_quarters <= at <= b.end_quarters for at, b in inside)
    yield "tempos", all(10 <= mark.qpm <= 1000 for mark in score.tempos)
    text = score_report(score) + notes_table(score)
    yield "report", text.replace("\n", "").isprintable()


if __name__ == "__main__":
    sys.exit(main())
