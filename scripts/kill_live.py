"""Kills the running program while somebody plays, over and over: is what it showed in the record?

    python -m scripts.kill_live --kills 1000 --seed 1 --tally kills.json

Needs JACK (Linux). The real program (``coach drill``) runs in a pseudo-terminal and hears a piano
through a real JACK port; a pianist plays what it asks for, now and then a wrong key. At a random
moment within the first seconds of playing it gets SIGKILL. Each verdict writes a mark of its own
into the terminal behind the frame that shows it, so what reached the terminal is known exactly.
Then the record is opened as the program does it, and must hold every verdict that was shown, in
order, and pass SQLite's ``integrity_check``.

To make a kill cheap each program is forked from a process in which everything is imported already.
The tally is a file: the script can be ended at any time and goes on from there. It calls
``scripts/jack`` itself, anew after some kills, because dead clients fill a server up.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import pty
import random
import re
import select
import signal
import sqlite3
import struct
import subprocess
import sys
import tempfile
import time
from argparse import Namespace
from collections.abc import Iterator
from contextlib import closing
from dataclasses import asdict, dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import IO, Any

from coach.record.folder import FILE
from coach.record.store import Store
from coach.score.model import Hands, Score
from coach.score.opening import open_score
from coach.score.window import Window, excerpt

ROOT = Path(__file__).resolve().parents[1]
SAMPLE = ROOT / "sample_scores/1-low-tide.musicxml"
PIANIST = ROOT / "scripts/play_midi.py"
ROWS, COLUMNS = 24, 80
KILLS_A_SERVER = 40
"""Kills before the JACK server is made anew."""
PLAYS_AT_MOST_S = 2.0
"""The moment of the kill lies within so long of the first note."""
READY_S = 30.0
TEMPO = 240
WRONG = 0.3
"""The share of repetitions with a wrong key."""
_MARK = re.compile(rb"\x1b\]777;keyhole=(.*?)\x07", re.DOTALL)
"""An operating system command that no terminal knows: it is read here and shown nowhere."""


@dataclass
class Tally:
    """What has come of the kills so far."""

    kills: int = 0
    while_playing: int = 0
    """Kills in the middle of a repetition."""
    shown: int = 0
    """Verdicts that were on the screen."""
    kept: int = 0
    """Repetitions in the record, those too that were killed before they were shown."""
    missing: int = 0
    unsound: int = 0
    """Records that failed SQLite's own check."""
    not_ready: int = 0
    """Starts that did not come to hear the piano in time; not counted as kills."""
    seconds: float = 0.0
    failures: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return (
            f"{self.kills} kills ({self.while_playing} in mid-repetition), {self.shown} verdicts "
            f"shown, {self.kept} kept, {self.missing} shown and missing, {self.unsound} unsound "
            f"records, {self.not_ready} not ready, {self.seconds / max(self.kills, 1):.1f} s each"
        )


# -- the program ----------------------------------------------------------------------------------


def fork_program(arguments: list[str]) -> tuple[int, int]:
    """The program in a pseudo-terminal: its process and the terminal's other end."""
    import fcntl
    import termios

    process, terminal = pty.fork()
    if process == 0:
        os.environ["TERM"] = "xterm-256color"
        for name in ("COLUMNS", "LINES"):
            os.environ.pop(name, None)
        fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        status = 70
        try:
            sys.stdin = open(0, closefd=False)  # noqa: SIM115 - for the life of the program
            sys.stdout = sys.__stdout__ = open(1, "w", closefd=False)  # type: ignore[misc]  # noqa: SIM115
            sys.stderr = sys.__stderr__ = open(2, "w", closefd=False)  # type: ignore[misc]  # noqa: SIM115
            _mark_what_is_shown()
            from coach.cli import main

            status = main(arguments)
        finally:
            os._exit(status)
    return process, terminal


def _mark_what_is_shown() -> None:
    """Let the program say, behind the frame that shows it, what was shown."""
    from coach.coaching.drill.drill_events import RepetitionEnded
    from coach.screens.app import KeyholeApp
    from coach.screens.drill.screen import DrillScreen

    show = DrillScreen.show
    changed = KeyholeApp._change_piano

    def mark(screen: DrillScreen, **said: object) -> None:
        driver = screen.app._driver
        if driver:
            driver.write(f"\x1b]777;keyhole={json.dumps(said)}\x07")

    def asked(screen: DrillScreen) -> dict[str, object]:
        drill = screen.session.drill
        given = drill.assignment
        return {
            "start": str(given.window.start_quarters),
            "end": str(given.window.end_quarters),
            "hands": given.window.hands.value,
            "landing": given.window.landing,
            "finished": drill.decision.finished,
        }

    def shown(self: DrillScreen, outcomes: Any) -> None:
        outcomes = tuple(outcomes)
        show(self, outcomes)
        for one in outcomes:
            if isinstance(one, RepetitionEnded):
                sentence, keys = one.judgement.sentence, len(one.take.notes)
                self.call_after_refresh(
                    lambda s=sentence, k=keys: mark(self, verdict=s, keys=k, asked=asked(self))
                )

    def heard(self: KeyholeApp, name: str | None, why_none: str = "") -> None:
        changed(self, name, why_none)
        tell(self)

    def tell(app: KeyholeApp) -> None:
        if app.drill is None:  # the score is still being opened
            app.set_timer(0.02, lambda: tell(app))
        else:
            mark(app.drill, ready=True, asked=asked(app.drill))

    DrillScreen.show = shown  # type: ignore[method-assign]
    KeyholeApp._change_piano = heard  # type: ignore[method-assign]


class Program:
    """One run of it, and what came out of it."""

    def __init__(self, arguments: list[str]) -> None:
        self.process, self._terminal = fork_program(arguments)
        self._out = b""
        self.marks: list[dict[str, Any]] = []

    def read(self, for_s: float) -> bool:
        """Take in what comes within so long; whether a mark was among it."""
        ready, _, _ = select.select([self._terminal], [], [], max(for_s, 0.0))
        if not ready:
            return False
        try:
            got = os.read(self._terminal, 65536)
        except OSError:  # it has ended
            got = b""
        self._out += got
        found = _MARK.findall(self._out)
        if found:
            self._out = self._out[self._out.rindex(b"\x07") + 1 :]
        self.marks += [json.loads(one) for one in found]
        return bool(found) or not got

    def wait_ready(self) -> bool:
        until = time.monotonic() + READY_S
        while time.monotonic() < until and not self.marks:
            self.read(0.05)
        return bool(self.marks)

    def kill(self) -> None:
        """Without a goodbye; then all that it had written before is read."""
        os.kill(self.process, signal.SIGKILL)
        os.waitpid(self.process, 0)
        while select.select([self._terminal], [], [], 0)[0]:
            before = len(self._out)
            self.read(0.0)
            if len(self._out) == before:
                break
        os.close(self._terminal)

    @property
    def verdicts(self) -> list[str]:
        """The verdicts that reached the terminal, in order."""
        return [one["verdict"] for one in self.marks if "verdict" in one]

    @property
    def asked(self) -> dict[str, Any]:
        """What it asked for last."""
        found: dict[str, Any] = self.marks[-1]["asked"]
        return found


class Pianist:
    """A process with a piano of its own, told key by key what to do."""

    def __init__(self) -> None:
        command = [sys.executable, str(PIANIST), "--api", "jack"]
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self._answer()

    def send(self, *message: int) -> None:
        stdin: IO[str] | None = self._process.stdin
        assert stdin
        stdin.write(json.dumps({"send": message}) + "\n")
        stdin.flush()
        self._answer()

    def close(self) -> None:
        assert self._process.stdin
        self._process.stdin.close()
        self._process.wait(10)

    def _answer(self) -> None:
        assert self._process.stdout
        self._process.stdout.readline()


# -- one kill ------------------------------------------------------------------------------------


def keys_of(score: Score, asked: dict[str, Any], chance: random.Random) -> list[tuple[float, int]]:
    """What is asked for, as keys with their times; now and then one is wrong."""
    window = Window(
        Fraction(asked["start"]), Fraction(asked["end"]), Hands(asked["hands"]), asked["landing"]
    )
    notes = excerpt(score, window).notes
    wrong = chance.randrange(len(notes)) if chance.random() < WRONG else -1
    first = notes[0].onset_quarters
    return [
        (float(note.onset_quarters - first) * 60 / TEMPO, note.pitch + (n == wrong))
        for n, note in enumerate(notes)
    ]


def play_until(
    program: Program, pianist: Pianist, score: Score, chance: random.Random, kill_s: float
) -> bool:
    """Play what is asked for until the moment of the kill; whether that was in mid-repetition."""
    until = time.monotonic() + kill_s
    while time.monotonic() < until:
        if program.asked["finished"]:
            program.read(until - time.monotonic())
            continue
        judged = len(program.verdicts)
        begun = time.monotonic()
        for at_s, pitch in keys_of(score, program.asked, chance):
            while (left := min(begun + at_s, until) - time.monotonic()) > 0:
                program.read(left)
            if time.monotonic() >= until:
                return True
            pianist.send(0x90, pitch, 70)
            pianist.send(0x80, pitch, 0)
        waits_until = min(until, time.monotonic() + 1.5)
        while time.monotonic() < waits_until and len(program.verdicts) == judged:
            program.read(waits_until - time.monotonic())
    return False


def kept_in(data: Path) -> tuple[list[str], bool]:
    """The verdicts in the record, oldest first, and whether its file is sound."""
    with quiet():
        store = Store(data)
        said = [
            (one.id, one.sentence)
            for seen in store.pieces()
            for one in store.repetitions(seen.piece, newest=10**6)
        ]
        sound = not store.notices
        store.close()
    if (data / FILE).exists():
        with closing(sqlite3.connect(data / FILE)) as db:
            sound = sound and db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    return [sentence for _, sentence in sorted(said)], sound


@contextlib.contextmanager
def quiet() -> Iterator[None]:
    """Nothing of it is printed."""
    with open(os.devnull, "w") as nowhere, contextlib.redirect_stderr(nowhere):
        yield


def one_kill(data: Path, pianist: Pianist, score: Score, number: int, seed: int) -> Tally:
    """Start, play, kill, look: what came of it."""
    chance = random.Random(f"{seed} {number}")
    begun = time.monotonic()
    bar = chance.randrange(1, len(score.bars))
    arguments = ["drill", str(SAMPLE), "--bars", str(bar), "--tempo", str(TEMPO)]
    before, _ = kept_in(data)
    program = Program([*arguments, "--data", str(data)])
    ready = program.wait_ready()
    playing = False
    if ready:
        playing = play_until(program, pianist, score, chance, chance.uniform(0, PLAYS_AT_MOST_S))
    program.kill()
    after, sound = kept_in(data)
    new = after[len(before) :]
    shown = program.verdicts
    missing = sum(a != b for a, b in zip(shown, new, strict=False)) + max(len(shown) - len(new), 0)
    out = Tally(
        int(ready), int(playing), len(shown), len(new), missing, int(not sound), int(not ready),
        time.monotonic() - begun,
    )  # fmt: skip
    if missing or not sound or before != after[: len(before)]:
        out.failures.append(f"kill {number} (seed {seed}): shown {shown}, kept {new}, {sound=}")
        out.missing += before != after[: len(before)]
    return out


# -- many ----------------------------------------------------------------------------------------


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--kills", type=int, default=1000, help="in all, with those of the tally")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tally", type=Path, default=Path(tempfile.gettempdir()) / "kills.json")
    parser.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.inside:
        return some_kills(args)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    command = [str(ROOT / "scripts/jack"), sys.executable, "-m", "scripts.kill_live", "--inside"]
    command += ["--kills", str(args.kills), "--seed", str(args.seed), "--tally", str(args.tally)]
    tally = read_tally(args.tally)
    while tally.kills < args.kills:
        done = run_to_its_end(command)
        before, tally = tally, read_tally(args.tally)
        print(tally, flush=True)
        if done or tally.kills == before.kills:
            print(f"it ended with {done} after {tally.kills} kills", file=sys.stderr)
            return 2
    for failure in tally.failures:
        print(f"FAILURE: {failure}")
    return 1 if tally.missing or tally.unsound else 0


def run_to_its_end(command: list[str]) -> int:
    """Its exit status; where this script is told to end, all that it has begun ends too."""
    child = subprocess.Popen(command, cwd=ROOT, start_new_session=True)
    try:
        return child.wait()
    except BaseException:
        os.killpg(child.pid, signal.SIGKILL)
        raise


def read_tally(path: Path) -> Tally:
    """The tally so far."""
    return Tally(**json.loads(path.read_text())) if path.exists() else Tally()


def some_kills(args: Namespace) -> int:
    """As many as one JACK server bears."""
    import coach.cli.commands.practice
    import coach.cli.open_score
    import coach.cli.sessions
    import coach.cli.wiring
    import coach.playing.ports.ports
    import coach.screens.app
    import coach.screens.drill.screen  # noqa: F401

    tally = read_tally(args.tally)
    pianist = Pianist()
    try:
        with tempfile.TemporaryDirectory() as folder:
            data = Path(folder) / "data"
            data.mkdir(mode=0o700)
            score = open_score(SAMPLE, cache_dir=data / "cache")
            for _ in range(min(KILLS_A_SERVER, args.kills - tally.kills)):
                number = tally.kills + tally.not_ready
                found = one_kill(data, pianist, score, number, args.seed)
                tally = Tally(
                    *(getattr(tally, name) + getattr(found, name) for name in asdict(tally))
                )
                part = args.tally.with_name(f"{args.tally.name}.part")
                part.write_text(json.dumps(asdict(tally)))
                part.replace(args.tally)
    finally:
        pianist.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
