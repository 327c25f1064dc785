"""A warm-up through the real app: two scores, a record, and no hand at the computer."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction as F
from pathlib import Path
from typing import cast

import pytest

from coach.cli.open_score import open_piece
from coach.cli.parser import make_parser
from coach.cli.score_library import samples
from coach.cli.storage import Storage
from coach.cli.wiring import collaborators
from coach.coaching.drill.drill import Drill
from coach.coaching.drill.drill_events import DrillEvent, DrillState, RepetitionEnded
from coach.coaching.drill.warmup_drill import WarmUpDrill
from coach.coaching.model import Goal
from coach.judging.model import Stage
from coach.playing.midi_events import KeyDown, KeyUp, PianoFound
from coach.playing.ports import Ports
from coach.record.pieces import piece_key
from coach.record.store import Store
from coach.score.model import Hands, Score
from coach.score.window import Window
from coach.screens.app import KeyholeApp
from coach.screens.dialogs import MinutesScreen
from coach.screens.drill.screen import DrillScreen
from coach.screens.interfaces import DrillLike, Errand, Start
from tests.screenfakes import FakePorts
from tests.seat import Seat, seated, text_of

SPEED = 40.0


class FastClock:
    def __init__(self) -> None:
        self.since = time.perf_counter()

    def __call__(self) -> float:
        return self.since + (time.perf_counter() - self.since) * SPEED


def played(drill: DrillLike, at_s: float, *, wrong: bool) -> tuple[list[tuple[float, int]], float]:
    """One repetition of what is asked for: its keys, and when the last comes."""
    excerpt = drill.excerpt
    pace_s = 60.0 / (drill.assignment.qpm or excerpt.qpm)
    first = excerpt.window.start_quarters
    right = [n for n in excerpt.notes if n.hand.name == "RIGHT"] or list(excerpt.notes)
    slip = right[-1] if wrong else None
    keys = []
    for note in excerpt.notes:
        when_s = at_s + float(note.onset_quarters - first) * pace_s
        keys.append((when_s, note.pitch + (1 if note is slip else 0)))
    return sorted(keys), max(when for when, _ in keys)


def fail_in(store: Store, score: Score, path: Path, bar: int) -> None:
    """Yesterday the right hand's last note of a bar failed, twice."""
    start = score.bars[bar].onset_quarters
    goal = Goal(Window(start, start + F(3), Hands.RIGHT), 60.0, Stage.RHYTHM)
    drill = Drill(score, goal)
    for time_ in range(2):
        keys, last_s = played(drill, 20.0 * time_, wrong=True)
        out: list[DrillEvent] = []
        for when_s, pitch in keys:
            out += drill.hear(KeyDown(pitch, 64, when_s))
        out += drill.tick(last_s + 4.0)
        ended = [one for one in out if isinstance(one, RepetitionEnded)]
        for one in ended:
            yesterday_s = time.time() - 86_400 + 20.0 * time_
            store.save_repetition(piece_key(score, path), one, yesterday_s)


class FakePiano(FakePorts):
    """Ports with a piano that is heard, and gives no sound."""

    trouble, api = "", "jack"


@dataclass(frozen=True)
class Setting:
    """The app, the piano before it, and the record behind it."""

    app: KeyholeApp
    ports: FakePorts
    store: Store


@pytest.fixture
def setting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Setting]:
    """The app at a warm-up of five minutes with a weak spot in each of two pieces."""
    for name in ("presenter.HOLD_S", "foot.READ_S"):
        monkeypatch.setattr(f"coach.screens.drill.{name}", 0.02)
    monkeypatch.setattr("coach.screens.drill.screen.TICK_S", 0.01)
    options = make_parser().parse_args(["warmup", "--minutes", "5", "--data", str(tmp_path)])
    storage = Storage(options)
    store = storage.store
    assert store
    for item in samples()[:2]:
        fail_in(store, open_piece(item.path, data=tmp_path), item.path, 2)
    ports = FakePiano()
    given = collaborators(options, storage, cast(Ports, ports))
    items = given.library.items()
    warm = next(one for one in items if one.errand is Errand.WARM_UP)
    app = KeyholeApp(given, start=Start(warm.path, Errand.WARM_UP), clock=FastClock())
    yield Setting(app, ports, store)
    store.close()


def test_piece_after_piece_without_a_key_of_the_computer(setting: Setting) -> None:
    app, ports, store = setting.app, setting.ports, setting.store
    titles, done = [], list[str]()

    async def repetition(screen: DrillScreen) -> None:
        drill = screen.session.drill
        keys, _ = played(drill, app._clock(), wrong=False)
        for when_s, pitch in keys:
            while app._clock() < when_s:
                await asyncio.sleep(0.001)
            ports.post(KeyDown(pitch, 64, app._clock()))
            ports.post(KeyUp(pitch, app._clock() + 0.05))
        await asyncio.sleep(1.2 / SPEED)

    async def main() -> None:
        async with app.run_test(size=(100, 32)) as pilot:
            ports.post(PianoFound("Test piano:out"))
            until = time.monotonic() + 100
            while time.monotonic() < until:
                screen = app.screen
                if not isinstance(screen, DrillScreen):
                    await asyncio.sleep(0.01)
                    continue
                if screen.session.title not in titles:
                    titles.append(screen.session.title)
                drill = screen.session.drill
                if drill.state is DrillState.FINISHED:
                    break
                drill = screen.session.drill
                assert isinstance(drill, WarmUpDrill)
                if drill.state is DrillState.READY and not drill._is_over:
                    await repetition(screen)
                    done.append(screen.session.title)
                await asyncio.sleep(0.005)
            await pilot.pause()
            assert isinstance(app.screen, DrillScreen)
            assert "warm-up is done" in text_of(app) or app.screen.presenter.way_on.is_open

    asyncio.run(main())
    assert len(titles) == 2
    assert len(done) >= 6
    kept = [len(store.repetitions(seen.piece)) for seen in store.pieces()]
    assert min(kept) >= 2 + 2


def test_it_is_asked_once_how_long_there_is_for_a_warm_up() -> None:
    kept: list[float] = []

    async def run(seat: Seat) -> None:
        app = seat.app
        app.collaborators = replace(
            app.collaborators,
            warm_up_min=lambda: kept[-1] if kept else 0.0,
            keep_warm_up_min=kept.append,
        )
        app.open(Path("tune.musicxml"), Errand.WARM_UP)
        await seat.until(MinutesScreen)
        assert "How long do you have for a warm-up?" in seat.text
        await seat.pilot.press("down", "enter")
        await seat.until(DrillScreen)
        assert kept == [10]

    seated((80, 24), run)
