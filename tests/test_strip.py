"""The strip shows every bar, the window on it, and whose weak spot lies where."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction as F

import pytest

from coach.score.build import score_from_notes
from coach.score.model import Score
from coach.score.window import Window
from coach.screens.widgets.strip import StripLine, StripPart, draw_strip
from tests.screenfakes import note, two_hands
from tests.seat import Seat, seated


def text(score: Score, window: Window, weak: Mapping[int, str], width: int, **more: bool) -> str:
    return "".join(cell.char for cell in draw_strip(score, window, weak, width, **more))


def test_the_window_lies_on_its_bars() -> None:
    score = two_hands(bars=4)
    assert text(score, Window(F(4), F(8)), {}, 20) == "bar 1 ──██──── 4"


def test_it_begins_with_the_pickup() -> None:
    notes = [note(60, onset, 1) for onset in range(9)]
    score = score_from_notes(notes, pickup_quarters=1)
    assert text(score, Window(F(0), F(1)), {}, 19) == "pickup ██──── 2"


def test_a_weak_spot_has_the_letter_of_its_hand() -> None:
    score = two_hands(bars=4)
    cells = draw_strip(score, Window(F(4), F(8)), {1: "L", 3: "R"}, 20)
    assert "".join(cell.char for cell in cells) == "bar 1 ──L█──R─ 4"
    assert [cell.part for cell in cells if cell.char in "LR"] == [
        StripPart.WEAK_INSIDE,
        StripPart.WEAK,
    ]


def test_plain_characters() -> None:
    assert text(two_hands(4), Window(F(4), F(8)), {}, 20, ascii_only=True) == "bar 1 --##---- 4"


@pytest.mark.parametrize("bars", [1, 3, 40, 400])
@pytest.mark.parametrize("width", [20, 78, 118])
def test_it_never_needs_more_than_its_width_and_never_loses_the_window(
    bars: int, width: int
) -> None:
    score = two_hands(bars)
    for bar in {0, bars // 2, bars - 1}:
        cells = draw_strip(score, Window(F(4 * bar), F(4 * bar + 4)), {bar: "B"}, width)
        assert len(cells) <= width
        assert any(cell.part in (StripPart.WINDOW, StripPart.WEAK_INSIDE) for cell in cells)


def test_the_strip_is_drawn_in_few_pieces() -> None:
    """A style for every cell took some ten milliseconds of each new window."""

    async def run(seat: Seat) -> None:
        strip = seat.app.screen.query_one(StripLine)
        text = strip.render()
        assert len(text.spans) <= len(StripPart) + 2
        assert len(text.plain.strip()) > len(StripPart) + 2

    seated((120, 40), run)
