"""Does anything at the computer or the piano end the app? Random evenings, at random moments.

    python scripts/fuzz_app.py --minutes 20 --seed 1
    python scripts/fuzz_app.py --seed 1 --round 17     # the same round again

Each round opens the real app (real scores, drill and record; no terminal, a fake piano, a clock
that runs faster than life) and does to it whatever comes: keys of the computer and of the piano,
sizes from 1 by 1 up, dialogs at any moment, long texts, the piano lost and found, other pieces.
Half of it does not wait for what went before. Failures: an error of ours, an exception that only
the event loop or a thread saw, an app that doesn't come back when the terminal is large again, or
that doesn't quit when asked. A round is named by its seed and number, so that a run can be gone on
with (``--from``) and a failure repeated; timers make it likely, not certain, that it fails again.
"""

from __future__ import annotations

import argparse
import asyncio
import faulthandler
import random
import shutil
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))


from coach.playing.midi_events import KeyDown, KeyUp, Pedal, PianoFound, PianoLost
from coach.score.opening import open_score
from coach.screens.dialogs.dialog import NoticeScreen, TooSmallScreen
from coach.screens.interfaces import Errand
from coach.screens.keymap import COMMANDS, DEMO_COMMANDS
from scripts.headless_app import SCORES, FastClock, HeadlessApp, hurry_screens

SPEED = 10.0
STEPS = 120
"""Things done in a round."""
HANGS_S = 20.0
"""An app that stands still for so long is stuck."""
STUCK_S = 240.0
"""A round that takes longer stands still where nothing else can end it."""
QUITS_S = 15.0
"""How long quitting may take on a busy machine."""
_KEYS = [
    *(key for one in (*COMMANDS, *DEMO_COMMANDS) for key in one.keys.split(",")),
    *"abcdefghijklmnopqrstuvwxyz0123456789;,./", "enter", "escape", "tab", "shift+tab", "space",
    "up", "down", "left", "right", "pageup", "pagedown", "home", "end", "backspace", "delete",
    "ctrl+p", "ctrl+p", "ctrl+p", "ctrl+c",
]  # fmt: skip
_LONG = "A sentence that is far too long to be read from the bench. " * 40


class Failure(Exception):
    """What a round came to, in words."""


class Round:
    """One evening at one app."""

    def __init__(self, seed: int, number: int, data: Path, steps: int = STEPS) -> None:
        self.steps = steps
        self.random = random.Random(f"{seed}:{number}")
        self.seen: list[str] = []
        """What went wrong where Textual does not look."""
        words = self.random.choice(_openings(self.random))
        self.seat = HeadlessApp(words, data, FastClock(SPEED))
        self.done: list[str] = [" ".join(words)]

    async def run(self) -> None:
        """Play it; raises Failure."""
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(lambda _, context: self.seen.append(str(context)))
        app = self.seat.app
        size = self.random.choice([(80, 24), (120, 40), self._size()])
        self.done.append(f"at {size}")
        async with app.run_test(size=size):
            self.seat.ports.post(PianoFound("Test piano:out"))
            for _ in range(self.steps):
                if not app.is_running or app._exit:
                    break
                self._act()
                await asyncio.sleep(self.random.choice([0, 0, 0, 0.002, 0.01, 0.03]))
            if app.is_running and not app._exit:
                await self._come_back()
                await self._quit()
        if app.mistake is not None:
            raise app.mistake

    async def _come_back(self) -> None:
        """A large terminal again, and nothing over it: all is as it should be."""
        app = self.seat.app
        self.seat.resize(120, 40)
        for _ in range(int(QUITS_S / 0.01)):
            await asyncio.sleep(0.01)
            if app.size.width == 120 and not isinstance(app.screen, TooSmallScreen):
                break
        else:
            raise Failure(f"a large terminal still shows {app.screen_stack}")
        for _ in range(20):
            if len(app.screen_stack) <= 2:
                break
            self.seat.press("escape")
            await asyncio.sleep(0.03)
        for _ in range(int(QUITS_S / 0.01)):
            if not any(isinstance(screen, TooSmallScreen) for screen in app.screen_stack):
                break
            await asyncio.sleep(0.01)
        else:
            raise Failure(f"a large terminal still has {app.screen_stack}")

    async def _quit(self) -> None:
        app, asked_s = self.seat.app, time.perf_counter()
        self.seat.press("ctrl+q")
        while not app._exit:
            await asyncio.sleep(0.005)
            if time.perf_counter() - asked_s > QUITS_S:
                raise Failure(f"does not quit: {app.screen_stack}")

    # -- what is done -----------------------------------------------------------------------

    def _act(self) -> None:
        ways: list[tuple[int, Callable[[], str]]] = [
            (30, self._press), (30, self._play), (6, self._play_right), (10, self._resize),
            (3, self._lose), (4, self._find), (3, self._pedal), (3, self._notice),
            (2, self._open), (2, self._say), (3, self._palette), (2, self._type),
            (1, self._twice),
        ]  # fmt: skip
        [way] = self.random.choices([way for _, way in ways], [weight for weight, _ in ways])
        self.done.append(way())

    def _press(self) -> str:
        key = self.random.choice(_KEYS)
        if key == "ctrl+c" and self.random.random() < 0.9:
            key = "ctrl+p"
        self.seat.press(key)
        return str(key)

    def _twice(self) -> str:
        key = self.random.choice(_KEYS)
        for _ in range(self.random.randint(2, 5)):
            self.seat.press(key)
        return f"{key} again and again"

    def _palette(self) -> str:
        self.seat.press("ctrl+p")
        for key in self.random.choice(["pause", "theme", "hands", "home", "details", "zzz", ""]):
            self.seat.press(key)
        self.seat.press(self.random.choice(["enter", "escape", "ctrl+p"]))
        return "palette"

    def _type(self) -> str:
        self.seat.press("m")
        self.seat.press("tab")
        for key in self.random.choice(["bars 1-2 split C4", "bar 1 x", "all bars to RH"]):
            self.seat.press("space" if key == " " else key)
        self.seat.press("enter")
        return "hand move"

    def _play(self) -> str:
        pitch: int = self.random.randint(21, 108)
        if (drill := self.seat.drill) and self.random.random() < 0.8:
            pitch = int(self.random.choice(drill.session.drill.excerpt.notes).pitch)
        at_s = self.seat.clock()
        self.seat.ports.post(KeyDown(pitch, self.random.randint(1, 127), at_s))
        if self.random.random() < 0.8:
            self.seat.ports.post(KeyUp(pitch, at_s + 0.1))
        return f"key {pitch}"

    def _play_right(self) -> str:
        drill = self.seat.drill
        if drill is None:
            return "nothing to play"
        at_s = self.seat.clock()
        excerpt, qpm = drill.session.drill.excerpt, drill.session.drill.assignment.qpm or 80
        start = excerpt.notes[0].onset_quarters
        for note in excerpt.notes:
            onset_s = at_s + float(note.onset_quarters - start) * 60 / qpm
            wrong = self.random.random() < 0.02
            self.seat.ports.post(KeyDown(note.pitch + wrong, 64, onset_s))
        return "the window"

    def _pedal(self) -> str:
        value = self.random.choice([0, 63, 64, 127])
        self.seat.ports.post(Pedal(64, value, self.seat.clock()))
        return "pedal"

    def _resize(self) -> str:
        size = self._size()
        self.seat.resize(*size)
        return f"{size[0]}x{size[1]}"

    def _size(self) -> tuple[int, int]:
        usual = [(80, 24), (120, 40), (60, 18), (59, 18), (60, 17), (1, 1), (2, 1), (1, 50)]
        anything = (self.random.randint(1, 220), self.random.randint(1, 70))
        return self.random.choice([*usual, anything, anything, anything])

    def _lose(self) -> str:
        why = self.random.choice(["", "The MIDI system is gone: start JACK again.", _LONG])
        self.seat.ports.post(PianoLost("Test piano:out", why))
        return "piano lost"

    def _find(self) -> str:
        name = self.random.choice(["Test piano:out", "Another:out", "x" * 400, "\x1b[2J\ud800"])
        self.seat.ports.post(PianoFound(name))
        return f"piano {name[:20]!r}"

    def _notice(self) -> str:
        if self.seat.app.is_running:
            self.seat.app.push_screen(NoticeScreen(self.random.choice(["Read this.", _LONG])))
        return "notice"

    def _open(self) -> str:
        path = self.random.choice([*SCORES[:3], Path("missing.musicxml")])
        # Over a drill nothing but the demo is offered.
        drill = self.seat.drill
        if drill and drill.is_demo:
            return "nothing more to open"
        errand = Errand.DEMO if drill else self.random.choice(list(Errand))
        self.seat.app.open(path, errand)
        return f"open {path.name} for {errand}"

    def _say(self) -> str:
        if (drill := self.seat.drill) and drill.is_attached and drill._is_up:
            verdict, say = drill.presenter.foot.result, drill.presenter.announcements
            verdict.show_verdict(self.random.choice([_LONG, "x" * 500, ""]), "LH BEAT 2")
            say.propose(self.random.choice([_LONG, "A break would do you good."]))
            say.show_record_fault(self.random.choice([_LONG, "", "The disk is full."]))
        return "say"


def _openings(chance: random.Random) -> list[list[str]]:
    score = str(chance.choice(SCORES))
    return [
        [],
        ["--ascii"],
        ["drill", score],
        ["drill", score, "--learn"],
        ["drill", score, "--bars", "1-2", "--stage", "pulse", "--clean", "1"],
        ["drill", score, "--bars", "1", "--clean", "1", "--ascii"],
        ["demo", score, "--speed", "4"],
    ]


def run_round(seed: int, number: int, warm: Path, steps: int = STEPS) -> list[str]:
    """Play one round; what was wrong, and what was done before it; nothing where all is well."""
    seen: list[str] = []
    hooks: Any = (threading.excepthook, sys.unraisablehook)
    threading.excepthook = lambda args: seen.append(f"in a thread: {args.exc_value!r}")
    sys.unraisablehook = lambda args: seen.append(f"unraisable: {args.exc_value!r}")
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        shutil.copytree(warm, data)
        played = Round(seed, number, data, steps)
        try:
            asyncio.run(asyncio.wait_for(played.run(), HANGS_S + STEPS))
        except Exception:
            seen.append(traceback.format_exc())
        finally:
            threading.excepthook, sys.unraisablehook = hooks
            played.seat.close()
    seen += played.seen
    return [*seen, "done: " + "; ".join(played.done)] if seen else []


def warmed(folder: Path) -> Path:
    """A data folder in which the scores are read already."""
    for path in SCORES:
        open_score(path, cache_dir=folder / "cache")
    return folder


def main() -> int:
    """Play rounds for as long as is asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--round", type=int, help="only this one")
    parser.add_argument("--from", type=int, default=0, dest="first", help="go on from this round")
    asked = parser.parse_args()
    hurry_screens(SPEED)
    numbers = iter([asked.round]) if asked.round is not None else iter(range(asked.first, 10**9))
    end_s, rounds, failed = time.monotonic() + 60 * asked.minutes, 0, 0
    with tempfile.TemporaryDirectory() as folder:
        warm = warmed(Path(folder))
        for number in numbers:
            if time.monotonic() > end_s:
                break
            faulthandler.dump_traceback_later(STUCK_S, exit=True)  # says where, and in which round
            wrong = run_round(asked.seed, number, warm)
            faulthandler.cancel_dump_traceback_later()
            rounds += 1
            failed += bool(wrong)
            print(f"seed {asked.seed} round {number}: {'FAILED' if wrong else 'well'}", flush=True)
            if wrong:
                print(f"FAILURE in round {number} of seed {asked.seed}: {wrong[0].strip()[-300:]}")
            for line in wrong:
                print(line, flush=True)
    faulthandler.cancel_dump_traceback_later()
    print(f"{rounds} rounds, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
