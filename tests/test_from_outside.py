"""Words from outside (names of ports and files, titles, errors) are shown, and never obeyed."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Protocol

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.segment import Segment
from textual.color import Color

from coach.cli.parser import make_parser
from coach.coaching.model import Assignment
from coach.coaching.planning.plan import PlanRow, RowState
from coach.playing.midi_events import PianoFound, PianoLost
from coach.playing.ports.ports import name_port
from coach.score.formats import ScoreError
from coach.score.model import Score
from coach.score.reading import read_score
from coach.score.reading.safe import clean
from coach.score.words import printable, printable_lines
from coach.screens.app import KeyholeApp
from coach.screens.dialogs.connect import ConnectScreen
from coach.screens.dialogs.hands import PassageInput
from coach.screens.drill.screen import DrillScreen
from coach.screens.interfaces import Errand, HomeItem, Settings, Start
from coach.screens.terminal.ascii_fallback import PrintableOnly
from tests.breadth import every
from tests.screenfakes import FakeDrill, FakeLibrary, FakePorts, Staging, StillOpening, two_hands
from tests.seat import RIGHT, Seat

ROOT = Path(__file__).parent.parent
HOSTILE = (
    "Eve\x1b[2J\x1b]0;x\x07\u202e\u2066\u200b\ufeff\x9b31m\ud800\udcff[red]b[/red][/]\r\n\t\x00."
)
"""What a terminal obeys, what turns a line round, half characters, and markup."""
AS_FILE = b"Eve\x1b[2J\xe2\x80\xae\xc2\x9b31m\xff[red]b[#red][#]\r\n\t.musicxml".decode(
    "utf-8", "surrogateescape"
)

pytestmark = pytest.mark.property


def unseen(text: str) -> set[str]:
    """The characters that a terminal might obey."""
    return {char for char in text if not char.isprintable() and char != "\n"}


anything = st.text(st.characters(codec=None, exclude_categories=())) | st.text(
    st.sampled_from(HOSTILE)
)


@given(anything)
def test_what_is_left_of_any_words_can_be_seen_and_stands_on_one_line(text: str) -> None:
    assert printable(text).isprintable()
    assert name_port(text).isprintable()
    assert not unseen(printable_lines(text))
    assert printable(printable(text)) == printable(text)
    printable(text).encode("utf-8")


@given(anything.filter(str.isprintable))
def test_what_can_be_seen_stays_as_it_is(text: str) -> None:
    assert printable(text, len(text)) == text


@given(st.lists(anything, max_size=3))
def test_whatever_was_forgotten_is_taken_out_before_it_reaches_the_terminal(
    texts: list[str],
) -> None:
    line = [Segment(text) for text in texts]
    cleaned = PrintableOnly().apply(line, Color(0, 0, 0))
    assert all(one.text.isprintable() for one in cleaned)
    assert Segment.get_line_length(cleaned) == Segment.get_line_length(line)


class HostileDrill(FakeDrill):
    """Its reasons come from a bar of a hostile name."""

    @property
    def assignment(self) -> Assignment:
        return replace(super().assignment, reason=f"Play {HOSTILE}")


class HostileLibrary(FakeLibrary):
    """Pieces of hostile titles in hostile folders."""

    def items(self) -> tuple[HomeItem, ...]:
        path = Path(AS_FILE)
        return (HomeItem(Errand.GO_ON, HOSTILE, f"its file is gone from {HOSTILE}", path),)


class HostilePorts(FakePorts):
    """Two pianos of the same hostile name."""

    def names_in(self) -> tuple[str, ...]:
        return (HOSTILE, HOSTILE)


def staged(folder: Path) -> Staging:
    """Everything that comes from outside is hostile."""
    score = two_hands()
    bars = tuple(replace(bar, number=clean(HOSTILE)) for bar in score.bars)
    notes = tuple(replace(note, voice=clean(HOSTILE)) for note in score.notes)
    score = replace(score, title=HOSTILE, composer=HOSTILE, bars=bars, notes=notes)
    drill = HostileDrill(score)
    staging = Staging(drill=drill, sentence=f"The record in {HOSTILE} is full.")
    staging.ports = ports = HostilePorts()
    staging.plan = (PlanRow(HOSTILE, drill.window, RowState.NOW),) * 2

    def open_score(
        path: Path,
        moves: Sequence[str],
        on_progress: Callable[[str], None],
        cancelled: Callable[[], bool],
    ) -> Score:
        on_progress(f"reading {HOSTILE}")
        if "broken" in path.name:
            raise ScoreError(f"{HOSTILE} is empty.")
        return score

    make_session = staging.given.make_session
    staging.given = replace(
        staging.given,
        open_score=open_score,
        library=HostileLibrary(folder),
        make_session=lambda *given: replace(
            make_session(*given), title=HOSTILE, leave=lambda: HOSTILE
        ),
        ports=ports,
        port_wanted=HOSTILE,
        notices=lambda: (f"The record in {HOSTILE} was set aside.",),
    )
    return staging


class Look(Protocol):
    """A way to a screen, and its name."""

    __name__: str

    async def __call__(self, seat: Seat) -> None:
        """Go there."""


async def home(seat: Seat) -> None:
    await seat.pilot.pause(0.1)


async def find(seat: Seat) -> None:
    await seat.pilot.pause(0.1)
    await seat.pilot.press("escape", "f")
    for _ in range(300):
        if "Eve" in seat.text and "musicxml" in seat.text:
            return
        await seat.pilot.pause(0.01)
    raise AssertionError(seat.text)


async def broken(seat: Seat) -> None:
    seat.app.open(Path("broken.musicxml"), Errand.DRILL)
    await seat.pilot.pause(0.3)


async def opening(seat: Seat) -> None:
    await seat.app.push_screen(StillOpening(Path(AS_FILE)))
    await seat.pilot.pause()
    assert "Opening Eve" in seat.text


async def connect(seat: Seat) -> None:
    await seat.app.push_screen(ConnectScreen(f"There is: {HOSTILE}.", can_demo=True))
    await seat.pilot.pause()


async def drill(seat: Seat) -> None:
    seat.app.open(Path(AS_FILE), Errand.DRILL)
    await seat.until(DrillScreen)
    await seat.play(*RIGHT)
    seat.drill_screen.presenter.foot.result.show_verdict(HOSTILE, fault=True)
    seat.drill_screen.presenter.announcements.propose(HOSTILE)
    await seat.pilot.pause()
    assert "Eve" in seat.text


async def no_midi(seat: Seat) -> None:
    if seat.app.drill is None:
        await drill(seat)
    seat.staging.ports.post(PianoLost("x", f"MIDI is gone: {HOSTILE}"))
    await seat.pilot.pause(0.05)


def pressing(*keys: str) -> Look:
    async def look(seat: Seat) -> None:
        if seat.app.drill is None:
            await drill(seat)
        await seat.pilot.press(*keys)
        await seat.pilot.pause()

    look.__name__ = " ".join(keys)
    return look


async def wrong_move(seat: Seat) -> None:
    await pressing("m")(seat)
    line = seat.app.screen.query_one(PassageInput)
    line.focus()
    line.insert(f"bars 5-8 {HOSTILE} to RH", 0)
    await seat.pilot.press("enter")
    await seat.pilot.pause()
    assert "is not" in seat.text


AT_HOME = [home, find, broken, opening, connect]
IN_A_DRILL = [
    drill, wrong_move,
    *map(pressing, ["d", "w", "t", "m", "question_mark", "escape", "ctrl+p"]), no_midi,
]  # fmt: skip


@pytest.mark.parametrize(("ascii_only", "low"), every(2, [(True, True), (False, False)]))
@pytest.mark.parametrize("looks", [AT_HOME, IN_A_DRILL], ids=["at home", "in a drill"])
def test_no_screen_shows_what_a_terminal_would_obey(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    looks: Sequence[Look],
    ascii_only: bool,
    low: bool,
) -> None:
    """Without the last look at what goes out, so that it is the words' own doors that are tried."""
    monkeypatch.setattr(PrintableOnly, "apply", lambda self, segments, background: segments)
    with contextlib.suppress(OSError, UnicodeError):  # not every system has such names
        (tmp_path / AS_FILE).touch()
    (tmp_path / "Eve [red]b[.musicxml").touch()
    shown: dict[str, str] = {}

    async def main() -> None:
        staging = staged(tmp_path)
        app = KeyholeApp(staging.given, Settings(ascii_only=ascii_only), Start())
        async with app.run_test(size=(80, 24) if low else (120, 40)) as pilot:
            staging.ports.post(PianoFound(name_port(HOSTILE)))
            await pilot.pause()
            ground = list(app.screen_stack)
            for look in looks:
                await look(Seat(app, staging, pilot))
                shown[look.__name__] = "".join(
                    strip.text
                    for screen in app.screen_stack
                    for strip in screen._compositor.render_strips()
                )
                if app.drill in app.screen_stack:
                    ground = app.screen_stack[: 1 + app.screen_stack.index(app.drill)]
                while len(app.screen_stack) > len(ground):
                    app.pop_screen()
                await pilot.pause()
        assert app.mistake is None

    asyncio.run(main())
    assert len(shown) == len(looks)
    for name, text in shown.items():
        assert not unseen(text), name
        assert "[red]b" in text or name in ("ctrl+p", "opening"), name


def strings_of(thing: object) -> Iterator[str]:
    """Every text in a score."""
    if isinstance(thing, str):
        yield thing
    elif isinstance(thing, tuple):
        for one in thing:
            yield from strings_of(one)
    elif is_dataclass(thing):
        for one in fields(thing):
            yield from strings_of(getattr(thing, one.name))


@pytest.mark.parametrize("path", sorted((ROOT / "sample_scores").glob("*.musicxml")), ids=str)
def test_no_text_of_a_score_holds_what_a_terminal_would_obey(tmp_path: Path, path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    odd = "\\g<0>&#x202e;&#x9b;&#x200b;"
    text = re.sub(r"(?<=>)[A-Za-z][^<>]*(?=</(?!step|type|sign|beam|mode|stem))", odd, text)
    text = re.sub(r'(?<=number=")\d+(?=" ?)(?=[^<]*<(?:note|attributes|print))', odd, text)
    text = re.sub(r"(?<=<fingering>)\d", odd, text)
    (tmp_path / "odd.musicxml").write_text(text, encoding="utf-8")
    score = read_score(tmp_path / "odd.musicxml")
    assert score.notes
    assert "&#x202e;" in text
    assert all(one.isprintable() for one in strings_of(score))


def coach(*arguments: str, folder: Path) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "coach", *arguments, "--data", str(folder / "data")],
        capture_output=True, cwd=ROOT, stdin=subprocess.DEVNULL, timeout=60, check=False,
        env={**os.environ, "KEYHOLE_MIDI_API": "none\x1b[2J"},
    )  # fmt: skip


@pytest.mark.skipif(sys.platform != "linux", reason="such file names are Linux's alone")
@pytest.mark.parametrize(
    "words",
    [
        ("score",), ("score", "--notes"), ("score", "--json"), ("score", "--move", HOSTILE),
        ("drill",), ("drill", "--bars", "\x1b[2J"), ("demo",), ("judge",), ("judge", "--json"),
        ("ports",), ("nothing",), ("warmup", "--list"), ("score", "--move", "bar \x1b[2J to LH"),
        ("warmup", "--minutes", "\x1b[2J"),
    ],
    ids=" ".join,
)  # fmt: skip
@pytest.mark.parametrize("damaged", every(2, [True, False]))
def test_no_command_says_what_a_terminal_would_obey(
    tmp_path: Path, words: tuple[str, ...], damaged: bool
) -> None:
    written = "<work><work-title>Eve&#x202e;&#x9b;31m</work-title></work>"
    sample = (ROOT / "sample_scores/1-low-tide.musicxml").read_text(encoding="utf-8")
    text = sample.replace("<part-list>", f"{written}<part-list>", 1)
    score = tmp_path / AS_FILE
    score.write_text("\x1b[2J" if damaged else text, encoding="utf-8")
    command, *options = words
    options = [one.replace("\x00", "").encode("utf-8", "replace").decode() for one in options]
    files = [] if command in ("ports", "warmup") else [str(score)]
    files += [str(score)] if command == "judge" else []
    done = coach(command, *files, *options, folder=tmp_path)
    said = (done.stdout + done.stderr).decode("utf-8")
    assert said
    assert not unseen(said), said
    assert done.returncode in (0, 2), said
    if "--json" in options and not done.returncode:
        json.loads(done.stdout)


def test_words_that_are_no_command_are_said_so_that_nothing_is_obeyed(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with pytest.raises(SystemExit):
        make_parser().parse_args(["ports", HOSTILE])
    assert not unseen(capsys.readouterr().err)
