"""The staff as a picture: what the terminal is asked, where marks stand, and a real picture."""

from __future__ import annotations

import asyncio
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from coach.engraving import Box, Picture, Wanted, note_id
from coach.score.counting import syllables
from coach.score.model import Hand
from coach.score.reading import read_score
from coach.score.window import Window, choose_window, excerpt
from coach.screens.marks import MarkKind
from coach.screens.staff.engraved import (
    LANES,
    SMALLEST_STAFF_ROWS,
    EngravedSheet,
    lay_out_pictures,
    pages_at_first,
    pages_instead,
    picture_box,
    plan_pages,
)
from coach.screens.staff.layout import WindowLayout
from coach.screens.staff.page import MarkedPage, Sheet
from coach.screens.terminal.graphics import Graphics, Protocol, read_answers
from coach.screens.widgets.window_engraver import Engraver, WindowEngraver, WindowWish
from tests.jackrig import missing, wait_for
from tests.seat import WRONG, Seat, seated

SAMPLES = Path(__file__).parent.parent / "sample_scores"
FERRY = read_score(SAMPLES / "2-the-ferry-bell.musicxml")
GRAPHICS = Graphics(Protocol.SIXEL, 9, 19, 1080, 760)
XTERM = "\x1b]10;rgb:ffff/ffff/ffff\x1b\\\x1b]11;rgb:0000/0000/0000\x1b\\"


@pytest.mark.parametrize(
    ("told", "found"),
    [
        # xterm 379 as vt340 (recorded)
        (XTERM + "\x1b[?2;0;1080;760S\x1b[6;19;9t\x1b[?63;1;2;4;6;9;15;16;22;28c",
         Graphics(Protocol.SIXEL, 9, 19, 1080, 760, "#ffffff", "#000000")),
        # a terminal with Kitty's protocol
        ("\x1b_Gi=31;OK\x1b\\\x1b[6;20;10t\x1b[?62;c",
         Graphics(Protocol.KITTY, 10, 20, 10_000, 10_000)),
        # sixel, but nobody says how large a picture may be
        ("\x1b[6;20;10t\x1b[?62;4c", Graphics(Protocol.SIXEL, 10, 20, 1000, 1000)),
        ("\x1b[6;20;10t\x1b[?62;22c", None),  # no pictures
        ("\x1b[?62;4c", None),  # nobody knows how large a cell is
        ("", None),
    ],
)  # fmt: skip
def test_what_a_terminal_answers_is_understood(told: str, found: Graphics | None) -> None:
    assert read_answers(told) == found


def test_a_cell_may_be_known_by_the_window() -> None:
    found = read_answers("\x1b[?62;4c", (8, 17))
    assert found is not None
    assert (found.cell_width_px, found.cell_height_px) == (8, 17)


class FakeLine:
    """Makes pictures at once, or when it is told to: heads at 50 px and then every 30."""

    def __init__(self, staff_px: Callable[[Wanted], float] = lambda _: 80.0) -> None:
        self.staff_px = staff_px
        self.waiting: list[tuple[Wanted, Callable[[Wanted, Picture | None], None]]] = []
        self.made: dict[Wanted, Picture] = {}

    def get(self, wanted: Wanted) -> Picture | None:
        return self.made.get(wanted)

    def ask(self, wanted: Wanted, done: Callable[[Wanted, Picture | None], None]) -> None:
        self.waiting.append((wanted, done))

    def make_all(self) -> None:
        waiting, self.waiting = self.waiting, []
        for wanted, done in waiting:
            self.made[wanted] = self.picture(wanted)
            done(wanted, self.made[wanted])

    def picture(self, wanted: Wanted) -> Picture:
        heads = {note_id(n): (50.0 + 30 * n, 100.0) for n in range(wanted.mei.count("<note "))}
        return Picture("<picture>", 900.0, 300.0, self.staff_px(wanted), heads, ())

    def close(self) -> None:
        pass


def sheet_of(bars: str, pages: int = 1) -> tuple[EngravedSheet, Window]:
    window = choose_window(FERRY, bars=bars, beats=None, hands="both")
    plans = plan_pages(FERRY, excerpt(FERRY, window), syllables, pages)
    box = picture_box(GRAPHICS, 120, 30)
    line = FakeLine()
    pictures = [line.picture(Wanted(plan.mei, box, "", "")) for plan in plans]
    return lay_out_pictures(plans, pictures, GRAPHICS, 120, 30), window


def test_marks_stand_in_their_notes_columns_each_hand_in_its_lane() -> None:
    engraved, window = sheet_of("9")
    (page,) = engraved.sheet.pages
    (placed,) = engraved.pictures
    part = excerpt(FERRY, window)
    for index, note in enumerate(part.notes):
        row, column = page.notes[index].mark
        head_px = 50.0 + 30 * index + 80 / 8 * 0.6
        assert column == placed.column + int(head_px / GRAPHICS.cell_width_px)
        assert row == (0 if note.hand is Hand.RIGHT else placed.row + placed.rows)
    marked = MarkedPage(page, {0: MarkKind.WRONG})
    row, column = page.notes[0].mark
    assert marked.row(row)[0][column] == "W"
    blank = [marked.row(at)[0].strip() for at in range(placed.row, placed.row + placed.rows)]
    assert not any(blank)  # nothing is written where the picture is


def test_every_beat_is_counted_below() -> None:
    engraved, _ = sheet_of("9")
    (page,) = engraved.sheet.pages
    assert [word for word in page.rows[-1].text.split() if word.isdigit()][:4] == list("1234")


def test_pages_are_cut_at_barlines_and_hold_every_note_once() -> None:
    engraved, window = sheet_of("1-16", 5)
    part = excerpt(FERRY, window)
    assert len(engraved.sheet.pages) == 5
    found = [note for page in engraved.sheet.pages for note in page.notes]
    assert sorted(found) == list(range(len(part.notes)))
    starts = {bar.onset_quarters for bar in FERRY.bars} | {window.start_quarters}
    assert set(engraved.sheet.starts_quarters) <= starts
    assert engraved.sheet.page_at(Fraction(0)) == 0


def test_too_small_staves_take_more_pages_as_far_as_there_are_barlines() -> None:
    part = excerpt(FERRY, choose_window(FERRY, bars="1-4", beats=None, hands="both"))
    assert pages_at_first(FERRY, part) == 1
    small, large = FakeLine(lambda _: 20.0), FakeLine(lambda _: 80.0)
    box = Box(900.0, 400.0, 100.0)
    wanted = Wanted("", box, "", "")
    assert pages_instead([large.picture(wanted)], FERRY, part, GRAPHICS, box) is None
    more = pages_instead([small.picture(wanted)], FERRY, part, GRAPHICS, box)
    assert more is not None
    assert more > 1
    assert pages_instead([small.picture(wanted)] * 4, FERRY, part, GRAPHICS, box) is None


def test_no_page_is_turned_for_staves_that_the_height_keeps_small() -> None:
    """Two bars with a wide compass stay side by side: on a page each they were no larger."""
    pytest.importorskip("verovio")
    from coach.engraving.engraver import engrave

    score = read_score(SAMPLES / "6-the-lantern-room.musicxml")
    part = excerpt(score, choose_window(score, bars="9-10"))
    box = picture_box(GRAPHICS, 120, 22)
    (plan,) = plan_pages(score, part, syllables, 1)
    told = engrave(plan.mei, box)
    assert told.staff_px < SMALLEST_STAFF_ROWS * GRAPHICS.cell_height_px
    picture = Picture("", told.width_px, told.height_px, told.staff_px, told.notes, told.staves)
    assert pages_instead([picture], score, part, GRAPHICS, box) is None


def test_the_picture_is_made_larger_and_smaller_as_the_staff_in_cells_is() -> None:
    window = choose_window(FERRY, bars="1-8")
    part = excerpt(FERRY, window)
    boxes = [picture_box(GRAPHICS, 120, 33, size).largest_staff_px for size in (-1, 0, 1)]
    assert boxes[0] < boxes[1] < boxes[2]
    assert [pages_at_first(FERRY, part, size) for size in (-2, 0, 2)] == [1, 2, 3]
    line = FakeLine(lambda _: 4.0 * GRAPHICS.cell_height_px)
    wanted = Wanted("", picture_box(GRAPHICS, 120, 33), "#ffffff", "#000000", "sixel")
    seen = [line.picture(wanted)]
    box = picture_box(GRAPHICS, 120, 33)
    assert pages_instead(seen, FERRY, part, GRAPHICS, box) is None
    assert pages_instead(seen, FERRY, part, GRAPHICS, box, 2) == 2


def test_its_size_is_asked_for_with_the_same_keys() -> None:
    line = FakeLine()

    async def run(seat: Seat) -> None:
        async def wanted() -> float:
            for _ in range(500):
                if line.waiting:
                    staff = line.waiting[0][0].box.largest_staff_px
                    line.make_all()
                    await seat.pilot.pause()
                    return staff
                await asyncio.sleep(0.01)
            raise AssertionError

        plain = await wanted()
        await seat.pilot.press("v")
        larger = await wanted()
        await seat.pilot.press("V", "V")
        smaller = await wanted()
        assert smaller < plain < larger

    seated((120, 40), run, engraver=Engraver(line, GRAPHICS))


def wish(bars: str = "9", rows: int = 30) -> WindowWish:
    part = excerpt(FERRY, choose_window(FERRY, bars=bars, beats=None, hands="both"))
    return WindowWish(FERRY, part, 120, rows, "#ffffff", "#000000")


def test_only_the_newest_window_is_shown_and_a_known_one_at_once() -> None:
    async def run() -> None:
        line, shown = FakeLine(), list[WindowWish]()
        engraver = WindowEngraver(
            Engraver(line, GRAPHICS), syllables, lambda wish, _: shown.append(wish)
        )
        first, second = wish("9"), wish("10")
        engraver.engrave(first)
        engraver.engrave(second)
        line.make_all()
        await asyncio.sleep(0)
        assert shown == [second]
        engraver.engrave(first)
        assert shown == [second, first]
        engraver.engrave(wish("11", rows=8))  # too low for a picture
        assert not line.waiting

    asyncio.run(run())


def test_a_window_engraved_ahead_is_shown_at_once_and_not_before() -> None:
    async def run() -> None:
        line, shown = FakeLine(), list[WindowWish]()
        engraver = WindowEngraver(
            Engraver(line, GRAPHICS), syllables, lambda wish, _: shown.append(wish)
        )
        engraver.engrave(wish("9"))
        engraver.engrave_ahead(wish("10"))
        line.make_all()
        await asyncio.sleep(0)
        assert [one.part.window for one in shown] == [wish("9").part.window]
        engraver.engrave(wish("10"))
        assert [one.part.window for one in shown[1:]] == [wish("10").part.window]
        assert not line.waiting

    asyncio.run(run())


def test_what_comes_next_is_engraved_while_the_marks_of_the_last_are_looked_at(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    line, in_cells = FakeLine(), list[Window]()
    lay_out_cells = WindowLayout.lay_out

    def lay_out(layout: WindowLayout, *asked: Any) -> Sheet:
        in_cells.append(layout.excerpt.window)
        return lay_out_cells(layout, *asked)

    monkeypatch.setattr(WindowLayout, "lay_out", lay_out)

    async def run(seat: Seat) -> None:
        async def until(happened: Callable[[], object]) -> None:
            for _ in range(500):
                if happened():
                    return
                await asyncio.sleep(0.01)
            raise AssertionError

        await until(lambda: line.waiting)
        line.make_all()
        await seat.play(*WRONG)
        await until(lambda: line.waiting)
        before = seat.staff.excerpt
        line.make_all()
        await until(lambda: seat.staff.excerpt is not before)
        await seat.pilot.pause()
        await seat.pilot.pause()
        assert not line.waiting  # nothing was asked for anew
        assert seat.staff.excerpt
        assert seat.staff.excerpt.window not in in_cells  # nor were cells shown till then
        assert seat.staff.sheet
        assert not any(row.text.strip() for row in seat.staff.sheet.pages[0].rows[1:-2])

    seated((120, 40), run, engraver=Engraver(line, GRAPHICS))


@pytest.mark.parametrize("ahead", [False, True])
def test_small_staves_are_engraved_again_on_more_pages(ahead: bool) -> None:
    async def run() -> None:
        sheets: list[EngravedSheet] = []
        line = FakeLine(lambda wanted: 30.0 if wanted.mei.count("<measure") > 2 else 70.0)
        engraver = WindowEngraver(
            Engraver(line, GRAPHICS), syllables, lambda _, sheet: sheets.append(sheet)
        )
        (engraver.engrave_ahead if ahead else engraver.engrave)(wish("5-8"))
        for _ in range(4):
            line.make_all()
            await asyncio.sleep(0)
        if ahead:
            assert not sheets
            engraver.engrave(wish("5-8"))
        (sheet,) = sheets
        assert len(sheet.pictures) > 1
        assert LANES == 3

    asyncio.run(run())


WIDE = 1200
"""Pixels of the screen for each of two terminals."""


@pytest.fixture
def display(tmp_path: Path) -> Iterator[str]:
    """An X server of our own, without a screen."""
    for program in ("Xvfb", "xterm"):
        if not shutil.which(program):
            missing("needs xterm under Xvfb: apt-get install xterm xvfb fonts-dejavu-core")
    pytest.importorskip("verovio")
    name = f":{90 + os.getpid() % 900}"
    server = subprocess.Popen(
        ["Xvfb", name, "-screen", "0", f"{2 * WIDE}x900x24"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    socket = Path(f"/tmp/.X11-unix/X{name[1:]}")
    deadline_s = time.monotonic() + 20
    while not socket.exists() and time.monotonic() < deadline_s:
        time.sleep(0.05)
    yield name
    server.terminate()
    server.wait()


def solid_heads(display: str, left: int) -> int:
    """How many blocks of 8 by 8 pixels are all ink where the staff is: heads as large as print.

    The plain characters of a staff in cells have none.
    """
    from PIL import ImageGrab

    box = (left, 80, left + 1080, 440)
    picture = ImageGrab.grab(xdisplay=display).convert("L").crop(box)
    width, height = picture.size
    pixels = picture.tobytes()
    count = 0
    for top in range(0, height - 8, 4):
        for at in range(0, width - 8, 4):
            rows = (pixels[(top + y) * width + at :][:8] for y in range(8))
            count += all(min(row) > 200 for row in rows)
    return count


def has_yellow(display: str, left: int) -> bool:
    """Whether fingers are written in letters, as they are in cells; the print has them white."""
    from PIL import ImageChops, ImageGrab

    red, _, blue = ImageGrab.grab(xdisplay=display).convert("RGB").split()
    box = (left, 0, left + 1080, 760)
    return max(ImageChops.subtract(red, blue).crop(box).tobytes()) > 100


def xterm(display: str, folder: Path, left: int, *options: str) -> subprocess.Popen[bytes]:
    """The demo in a real terminal that shows sixel pictures, so far to the right."""
    return subprocess.Popen(
        ["xterm", "-ti", "vt340", "-xrm", "XTerm*maxGraphicSize: 2400x1600", "-geometry",
         f"120x40+{left}+0",
         "-fa", "DejaVu Sans Mono", "-fs", "11", "-bg", "black", "-fg", "white", "-e",
         sys.executable, "-m", "coach", "demo", "--data", str(folder), *options],
        env={**os.environ, "DISPLAY": display, "KEYHOLE_MIDI_API": "jack"},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )  # fmt: skip


CELLS = "--cells", "--ascii"
"""In plain characters, for heads of blocks would be as solid as those of a picture."""


@pytest.mark.real
def test_a_real_terminal_shows_the_print_and_cells_where_they_are_asked_for(
    display: str, tmp_path: Path
) -> None:
    folders = [tmp_path / "print", tmp_path / "cells"]
    for folder in folders:
        folder.mkdir()
    terminals = [xterm(display, folders[0], 0), xterm(display, folders[1], WIDE, *CELLS)]
    try:
        wait_for(lambda: solid_heads(display, 0) > 5 and not has_yellow(display, 0))
        wait_for(lambda: has_yellow(display, WIDE))
        assert solid_heads(display, WIDE) == 0
    finally:
        for terminal in terminals:
            os.killpg(terminal.pid, signal.SIGKILL)
            terminal.wait()
