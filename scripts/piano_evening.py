"""An evening led from the piano alone: does any place need a key of the computer?

    python -m scripts.piano_evening [--speed 20] [--seed 1]

The real app, record and drill, on a clock that runs faster than life. A pianist who practised
yesterday chooses the warm-up and its minutes at home, plays it, goes on to the piece, goes home,
looks at another score and ends. Then two bars are drilled until the goal; the pianist goes on to
the next bars, rests, asks for the reason and goes home. At last the second half of a piece is
drilled, from there the whole, and from its end the pianist goes home. Every step is a key of the
piano; each is printed with what was then on the screen. Where nothing came of a step the evening
ends there, and the exit status is 1.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import tempfile
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path

from coach.coaching.drill import DrillState
from coach.playing.command_keys import ALONE_S, QUIET_S, PianoCommand
from coach.playing.midi_events import KeyDown, KeyUp, PianoFound
from coach.screens.app import KeyholeApp
from coach.screens.dialogs import HomeScreen, MinutesScreen, TextScreen
from coach.screens.dialogs.home import FindScreen
from coach.screens.drill.screen import DrillScreen
from scripts.headless_app import SCORES, FastClock, HeadlessApp, hurry_screens
from scripts.simulated_week import make_week

CHOOSE, DOWN, UP, BACK = 21, 23, 24, 26
"""The lowest four white keys, in lists."""
LOWEST = 21
PATIENCE_S = 900.0
"""Seconds of the evening that a passage may take until its goal; of a step, a fifth of a minute."""
STEP_S = 12.0
PAUSE_S = 2.5
"""Between two repetitions: the verdict is read."""


class NothingCame(Exception):
    """A step led nowhere."""


class PianoOnly:
    """A pianist at the app who touches nothing but the piano."""

    def __init__(self, seat: HeadlessApp, clock: FastClock) -> None:
        self._seat, self._clock = seat, clock
        self.steps = 0

    async def until(self, at_s: float) -> None:
        """Wait for a time of the clock."""
        while (left_s := (at_s - self._clock()) / self._clock.speed) > 0:
            await asyncio.sleep(min(left_s, 0.5))

    async def strike(self, *pitches: int) -> None:
        """Single keys, the hands off between them."""
        for pitch in pitches:
            await self.until(self._clock() + max(ALONE_S, QUIET_S) + 0.2)
            now_s = self._clock()
            self._seat.ports.post(KeyDown(pitch, 50, now_s))
            self._seat.ports.post(KeyUp(pitch, now_s + 0.1))
            await asyncio.sleep(0.02)

    async def step(self, what: str, come: Callable[[], object], *pitches: int) -> None:
        """Strike keys; what is to come of it."""
        await self.strike(*pitches)
        await self.wait(what, come, STEP_S)
        self.steps += 1
        print(f"{self.steps:3} {what:<44} {type(self._seat.app.screen).__name__}", flush=True)

    async def wait(self, what: str, come: Callable[[], object], within_s: float) -> None:
        """Wait until it is so; at least half a minute of ours, however busy the machine."""
        patience = max(int(within_s / self._clock.speed / 0.02), 1500)
        for _ in range(patience):
            if come():
                return
            await asyncio.sleep(0.02)
        raise NothingCame(what)

    @property
    def screen(self) -> DrillScreen | None:
        """The drill, where it is what is seen."""
        drill = self._seat.drill
        return drill if drill is not None and self._seat.app.screen is drill else None

    def key_of(self, command: PianoCommand) -> int:
        """The key that the screen names for it."""
        assert self._seat.drill
        return next(one.pitch for one in self._seat.drill._command_keys if one.command is command)

    async def play_to_the_goal(self, what: str) -> None:
        """Play all that is asked for, rightly, until the goal is reached."""
        repetitions, end_s = 0, self._clock() + PATIENCE_S
        while self.screen and self.screen.session.drill.state is not DrillState.FINISHED:
            if self._clock() > end_s:
                raise NothingCame(f"the goal of {what} in {PATIENCE_S:.0f} s")
            repetitions += await self._repetition()
        await self.wait(f"the end of {what}", self.is_finished, STEP_S)
        print(f"      {what}: {repetitions} repetitions", flush=True)

    def is_finished(self) -> bool:
        """Whether a goal is reached, and what comes after it can be gone on to."""
        return self.screen is not None and self.screen.presenter.way_on.is_open

    async def _repetition(self) -> bool:
        screen = self.screen
        if screen is None:
            return False
        drill = screen.session.drill
        excerpt, asked = drill.excerpt, drill.assignment
        start, quarter_s = excerpt.notes[0].onset_quarters, 60 / (asked.qpm or excerpt.qpm)
        start_s = self._clock() + 0.2
        if asked.click:
            await self.wait("a count-in", lambda: drill.state is not DrillState.READY, STEP_S)
            beats = screen.presenter.click.beats_s
            if drill.state is not DrillState.COUNT_IN or not beats:
                return False
            first_s = beats[-len(excerpt.grid_quarters)]
            start_s = first_s + float(start - excerpt.grid_quarters[0]) * quarter_s
        keys: list[tuple[float, int, KeyDown | KeyUp]] = []
        for note in excerpt.notes:
            at_s = start_s + float(note.onset_quarters - start) * quarter_s
            held_s = max(0.9 * float(note.length_quarters) * quarter_s, 0.05)
            keys.append((at_s, 1, KeyDown(note.pitch, 64, at_s)))
            keys.append((at_s + held_s, 0, KeyUp(note.pitch, at_s + held_s)))
        for at_s, _, event in sorted(keys, key=lambda one: one[:2]):
            await self.until(at_s)
            self._seat.ports.post(event)
        await self.until(self._clock() + PAUSE_S)
        return True


async def warm_up(pianist: PianoOnly, app: KeyholeApp) -> None:
    """From home through the warm-up to the piece, and to the end of the program."""
    await pianist.wait("home", lambda: isinstance(app.screen, HomeScreen), STEP_S)
    home = app.screen
    assert isinstance(home, HomeScreen)
    await pianist.wait("the choices", lambda: home._items, STEP_S)
    await pianist.step("choose the warm-up", lambda: isinstance(app.screen, MinutesScreen), CHOOSE)
    await pianist.step("its minutes: the first", lambda: pianist.screen, CHOOSE)
    await pianist.play_to_the_goal("the warm-up")
    before = pianist.screen
    await pianist.step("on to the piece", lambda: pianist.screen not in (None, before), LOWEST)
    await pianist.step("home", lambda: app.screen is home, pianist.key_of(PianoCommand.HOME))
    await asyncio.sleep(0.5)
    down = [DOWN] * len(home._items)
    await pianist.step("another", lambda: isinstance(app.screen, FindScreen), *down, CHOOSE)
    await pianist.step("back", lambda: app.screen is home, BACK)
    await asyncio.sleep(0.5)
    await pianist.step("that is all for today", lambda: not app.is_running, UP, CHOOSE)


async def drill_bars(pianist: PianoOnly, app: KeyholeApp) -> None:
    """Two bars until the goal, the next ones, and what can be asked for there."""
    await pianist.wait("the drill", lambda: pianist.screen, STEP_S)
    await pianist.play_to_the_goal("the first bars")
    before = pianist.screen
    await pianist.step("on to the next bars", lambda: pianist.screen not in (None, before), LOWEST)
    drill = pianist.screen
    assert drill
    pause, why = pianist.key_of(PianoCommand.PAUSE), pianist.key_of(PianoCommand.WHY)
    await pianist.step("rest", lambda: is_resting(drill), pause)
    await pianist.step("and go on", lambda: not is_resting(drill), pause)
    await pianist.step("why", lambda: isinstance(app.screen, TextScreen), why)
    await pianist.step("close it by playing", lambda: app.screen is drill, 60)
    home = pianist.key_of(PianoCommand.HOME)
    await pianist.step("home", lambda: isinstance(app.screen, HomeScreen), home)


async def end_the_piece(pianist: PianoOnly, app: KeyholeApp) -> None:
    """The last bars until the goal, then the whole piece, then home."""
    await pianist.wait("the drill", lambda: pianist.screen, STEP_S)
    await pianist.play_to_the_goal("the last bars")
    before = pianist.screen
    await pianist.step("on to the whole", lambda: pianist.screen not in (None, before), LOWEST)
    await pianist.play_to_the_goal("the whole piece")
    await pianist.step("home", lambda: isinstance(app.screen, HomeScreen), LOWEST)


async def spend(
    part: Callable[[PianoOnly, KeyholeApp], Awaitable[None]],
    words: Sequence[str],
    data: Path,
    speed: float,
) -> int:
    """A part of the evening, in a program of its own; how many steps."""
    clock = FastClock(speed)
    seat = HeadlessApp(words, data, clock)
    pianist = PianoOnly(seat, clock)
    try:
        async with seat.app.run_test(size=(100, 30)):
            seat.ports.post(PianoFound("Test piano:out"))
            await part(pianist, seat.app)
    finally:
        seat.close()
    return pianist.steps


def is_resting(drill: DrillScreen) -> bool:
    """Whether the pianist asked for a pause."""
    return drill.session.drill.state is DrillState.RESTING


def main() -> int:
    """Spend it."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--speed", type=float, default=20.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    hurry_screens(asked.speed)
    bars = ["drill", str(SCORES[0]), "--bars", "1-2"]
    half = ["drill", str(SCORES[0]), "--bars", "5-8"]
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder)
        make_week(data, SCORES[0], days=1, minutes=3, seed=asked.seed, ended_days_ago=1)
        try:
            steps = asyncio.run(spend(warm_up, [], data, asked.speed))
            steps += asyncio.run(spend(drill_bars, bars, data, asked.speed))
            steps += asyncio.run(spend(end_the_piece, half, data, asked.speed))
        except NothingCame as nothing:
            print(f"Nothing came of it: {nothing}")
            return 1
    print(f"{steps} steps, and no key of the computer")
    return 0


if __name__ == "__main__":
    sys.exit(main())
