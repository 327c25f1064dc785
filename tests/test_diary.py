"""The diary on the screen: a key at home and in the drill, five pages, the days stepped through."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pytest

from coach.coaching.planning import DatePlan, Diary, fold_days
from coach.playing.midi_events import KeyDown
from coach.record.calendar import day_of
from coach.record.pieces import PieceKey, piece_key
from coach.record.progress import PieceProgress
from coach.score.model import Score
from coach.screens.dialogs import NoticeScreen
from coach.screens.diary_screen import DiaryScreen
from coach.screens.drill import DrillScreen
from coach.screens.interfaces import Settings, Start
from tests.screenfakes import two_hands
from tests.seat import SIZES, Seat, line_of, seated
from tests.test_progress import TWO_BARS, tries

FAKE = two_hands()
OTHER = PieceKey("other", "Another Piece")


class FakeDiaries:
    """Two pieces, of which the other's score is gone."""

    def __init__(self, *pieces: PieceKey) -> None:
        self.known, self.given = pieces, list[Score | None]()

    def pieces(self) -> Sequence[PieceKey]:
        return self.known

    def read(self, piece: PieceKey, score: Score | None = None) -> PieceProgress | str:
        self.given.append(score)
        if piece == OTHER:
            return "Its score is gone."
        diary = Diary(TWO_BARS, fold_days(TWO_BARS, tries("www|ccc|ccw|c"), day_of))
        today = date(2026, 3, 12).toordinal()
        return PieceProgress(piece, TWO_BARS, diary, today, DatePlan(today + 10, 15))


def diaries() -> FakeDiaries:
    return FakeDiaries(OTHER, piece_key(FAKE))


def test_a_diary_that_is_closed_before_it_is_seen_ends_nothing() -> None:
    async def run(seat: Seat) -> None:
        for waited in range(12):
            await seat.app.run_action("app.diary")
            for _ in range(waited):
                await asyncio.sleep(0)
            if isinstance(seat.app.screen, DiaryScreen):
                seat.app.pop_screen()
            await seat.pilot.pause()
        assert seat.app.is_running

    seated((80, 24), run, diaries=diaries())


@pytest.mark.parametrize("size", [*SIZES, (60, 18)])
def test_the_drills_key_shows_its_pieces_diary_and_days_are_stepped_through(
    size: tuple[int, int],
) -> None:
    shown = diaries()

    async def run(seat: Seat) -> None:
        await seat.pilot.press("y")
        await seat.until(DiaryScreen)
        assert "Fake tune" in line_of(seat, "day 4 of 4")
        assert shown.given[0] is not None  # the score that is open
        first = line_of(seat, "RH ")
        assert re.match(r"RH +○", first.strip())
        await seat.pilot.press("home")
        assert "9 March 2026" in line_of(seat, "day 1 of 4")
        assert re.match(r"RH +x", line_of(seat, "RH ").strip())
        await seat.pilot.press("right")
        assert "New on that day: holding bar 1 RH." in seat.text
        await seat.pilot.press("2")
        assert "Clean at the first try" in seat.text
        await seat.pilot.press("tab")
        assert "both hands bars" in seat.text
        await seat.pilot.press("tab")
        assert "On 10 March it held." in " ".join(seat.text.split())
        await seat.pilot.press("5")
        told = " ".join(seat.text.split())
        assert "Learnt by Sun 22 Mar: 10 days, 15 minutes a day." in told
        assert "the day itself: once through" in told
        await seat.pilot.press("escape")
        await seat.until(DrillScreen)

    seated(size, run, diaries=shown)


def test_at_home_it_is_the_last_pieces_and_brackets_lead_to_the_others() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("y")
        await seat.until(DiaryScreen)
        assert "Its score is gone." in seat.text
        await seat.pilot.press("right", "4", "down")  # nothing to step through: no harm
        await seat.pilot.press("right_square_bracket")
        assert "Fake tune   piece 2 of 2" in seat.text
        await seat.pilot.press("right_square_bracket")
        assert "Fake tune   piece 2 of 2" in seat.text

    seated((80, 24), run, diaries=diaries(), start=Start())


def test_playing_on_closes_it() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("y")
        await seat.until(DiaryScreen)
        seat.staging.ports.post(KeyDown(60, 64, 0.0))
        await seat.until(DrillScreen)

    seated((80, 24), run, diaries=diaries())


@pytest.mark.parametrize("known", [(), (OTHER,)])
def test_without_practice_it_says_so(known: tuple[PieceKey, ...]) -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("y")
        await seat.until(NoticeScreen)
        assert "Nothing of this is kept yet" in seat.text

    seated((80, 24), run, diaries=FakeDiaries(*known))


def test_in_plain_letters_there_are_only_plain_letters() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("y")
        await seat.until(DiaryScreen)
        for page in "12345":
            await seat.pilot.press(page)
            assert seat.text.isascii(), seat.text

    seated((80, 24), run, diaries=diaries(), settings=Settings(ascii_only=True))


def test_it_reads_the_record(tmp_path: Path) -> None:
    """From a record as the program keeps it, with and without the score at hand."""
    from argparse import Namespace

    from coach.cli.storage import Storage
    from coach.cli.wiring import Diaries
    from scripts.simulated_week import SAMPLES, make_week

    make_week(tmp_path, SAMPLES / "1-low-tide.musicxml", 2, 1.0, 1)
    options = Namespace(data=tmp_path, counting=None, keys=None)
    found = Diaries(Storage(options), tmp_path)
    (piece,) = found.pieces()
    read = found.read(piece)
    assert isinstance(read, PieceProgress)
    assert len(read.diary.days) == 2
    again = found.read(piece, read.score)
    assert isinstance(again, PieceProgress)
    assert again.diary.days == read.diary.days
    assert "is gone" in str(found.read(PieceKey(piece.key, "x", str(tmp_path / "none"))))
    assert "other notes" in str(found.read(PieceKey("z", "x", piece.path)))
    assert Diaries(Storage(options, keeps=False), tmp_path).pieces() == []
