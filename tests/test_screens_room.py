"""What fits: pages, low and small terminals, large verdicts, words in few rows."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.score.model import Hands
from coach.score.window import Window
from coach.screens.dialogs.dialog import TooSmallScreen
from coach.screens.interfaces import Settings
from coach.screens.staff.page import FAULT
from coach.screens.widgets.result import Result
from tests.breadth import every
from tests.screenfakes import FakeDrill, two_hands
from tests.seat import (
    RIGHT,
    SIZES,
    WRONG,
    Seat,
    seated,
    words_of,
)


def test_the_page_turns_at_its_last_onset_so_that_the_next_can_be_read_in_time() -> None:
    drill = FakeDrill(two_hands(12), window=Window(F(0), F(48), Hands.RIGHT))

    async def run(seat: Seat) -> None:
        second = seat.sheet.pages[1].start_quarters
        last = [n.onset_quarters < second for n in drill.excerpt.notes].index(False) - 1
        pitches = [one.pitch for one in drill.excerpt.notes]
        await seat.play(*pitches[:last])
        assert "page 1 of" in seat.text
        await seat.play(pitches[last])
        assert "page 2 of" in seat.text

    seated((80, 24), run, drill=drill)


def test_another_size_in_mid_repetition_keeps_the_place_on_the_page() -> None:
    drill = FakeDrill(two_hands(12), window=Window(F(0), F(48), Hands.RIGHT))

    async def run(seat: Seat) -> None:
        staff = seat.staff
        notes = drill.excerpt.notes
        await seat.play(*(one.pitch for one in notes[: len(notes) * 3 // 4]))
        due = notes[len(notes) * 3 // 4].onset_quarters
        for columns, rows in ((100, 30), (60, 20), (120, 40), (80, 24)):
            await seat.pilot.resize_terminal(columns, rows)
            await seat.pilot.pause()
            assert f"page {seat.sheet.page_at(due) + 1} of" in staff.page_words
        assert seat.sheet.page_at(due) > 0

    seated((80, 24), run, drill=drill)


def test_the_place_is_kept_also_where_one_page_held_it_all_for_a_while() -> None:
    drill = FakeDrill(two_hands(8), window=Window(F(0), F(32), Hands.RIGHT))

    async def run(seat: Seat) -> None:
        staff = seat.staff
        assert len(seat.sheet.pages) == 1
        notes = drill.excerpt.notes
        await seat.play(*(one.pitch for one in notes[:-2]))
        await seat.pilot.resize_terminal(60, 20)
        await seat.pilot.pause()
        assert seat.sheet.page_at(notes[-2].onset_quarters) > 0
        assert f"page {seat.sheet.page_at(notes[-2].onset_quarters) + 1} of" in staff.page_words

    seated((160, 40), run, drill=drill)


@pytest.mark.parametrize("played", [0, 2, 5])
def test_a_terminal_that_was_too_small_for_a_while_leaves_no_word_of_it_behind(played: int) -> None:
    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT[:played])
        before = seat.text
        for size in ((40, 10), (120, 40), (80, 24)):
            await seat.pilot.resize_terminal(*size)
            await seat.pilot.pause()
        assert seat.text == before

    seated((80, 24), run)


def test_a_window_too_tall_for_the_terminal_says_so_beside_the_verdict_as_long_as_it_is() -> None:
    drill = FakeDrill(two_hands(4), window=Window(F(0), F(8), Hands.TOGETHER), required=9)

    async def run(seat: Seat) -> None:
        await seat.play(*(one.pitch for one in drill.excerpt.notes))
        assert seat.says_clean
        assert "more rows" not in seat.text
        await seat.pilot.resize_terminal(80, 18)
        await seat.pilot.pause()
        assert seat.says_clean
        assert "more rows" in seat.text
        await seat.pilot.resize_terminal(80, 24)
        await seat.pilot.pause()
        assert seat.says_clean
        assert "more rows" not in seat.text

    seated((80, 24), run, drill=drill)


def test_after_a_window_of_several_pages_its_first_page_comes_back(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("coach.screens.drill.presenter.HOLD_S", 0.01)
    drill = FakeDrill(two_hands(12), window=Window(F(0), F(48), Hands.RIGHT))

    async def run(seat: Seat) -> None:
        pages = len(seat.sheet.pages)
        await seat.play(*(one.pitch for one in drill.excerpt.notes[:-1]))
        assert f"page {pages} of {pages}" in seat.text
        await seat.play(drill.excerpt.notes[-1].pitch)
        await seat.pilot.pause(0.1)
        assert f"page 1 of {pages}" in seat.text

    assert len(seated((80, 24), run, drill=drill).kept) == 1


LONG_VERDICT = "RH wrong key at bar 12 beat 2; LH late to beat 3 (0.4 s)"


LONG_REASON = "LH bar 11, beat 4 → bar 12, beat 1: at 48, twice running. Begin at beat 3."


@pytest.mark.parametrize(
    ("size", "hands", "shown"),
    [
        ((80, 24), Hands.RIGHT, (LONG_VERDICT, LONG_REASON)),
        ((80, 24), Hands.TOGETHER, (LONG_VERDICT, LONG_REASON)),
        ((60, 18), Hands.TOGETHER, (LONG_VERDICT, "This window needs 2 more rows.")),
        ((120, 40), Hands.TOGETHER, (LONG_VERDICT, LONG_REASON)),
    ],
)
def test_a_long_verdict_and_reason_are_read_whole_or_to_the_end_of_a_word(
    size: tuple[int, int], hands: Hands, shown: tuple[str, str]
) -> None:
    drill = FakeDrill(two_hands(), window=Window(F(0), F(8), hands))

    async def run(seat: Seat) -> None:
        await seat.play(*[note.pitch for note in drill.excerpt.notes[:-1]], 61)
        screen = seat.drill_screen
        screen.presenter.foot.result.show_verdict(LONG_VERDICT, "RH BEAT 2", fault=True)
        if size[1] > 18:
            screen.presenter.foot.result.show_reason(LONG_REASON)
        await seat.pilot.pause()
        lines = [screen.query_one(name) for name in ("#verdict", "#reason")]
        assert tuple(str(line.render()) for line in lines) == shown
        words = screen.query_one("VerdictWords").region
        assert all(words.contains_region(one.region) for one in lines)

    seated(size, run, drill=drill)


def test_a_terminal_that_is_too_small_says_so_and_comes_back() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.resize_terminal(50, 15)
        await seat.pilot.pause()
        assert isinstance(seat.app.screen, TooSmallScreen)
        assert "60 columns by 18 rows" in seat.text
        await seat.play(*RIGHT)  # the piano is heard all the same
        await seat.pilot.resize_terminal(80, 24)
        await seat.pilot.pause()
        assert seat.clean_run == "1 of 3 clean"

    seated((80, 24), run)


def test_plain_characters_only_on_the_whole_drill_screen() -> None:
    async def run(seat: Seat) -> None:
        await seat.play(*WRONG)
        assert seat.text.isascii()
        await seat.pilot.press("d")
        assert "│" not in seat.text

    drill = FakeDrill(two_hands())
    seated((80, 24), run, settings=Settings(ascii_only=True), drill=drill)


@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("hands", every(2, [Hands.TOGETHER, Hands.RIGHT]))
@pytest.mark.parametrize("size", [(80, 24), (100, 30), (120, 40)])
def test_the_verdict_is_written_large_in_every_usual_terminal(
    size: tuple[int, int], hands: Hands, ascii_only: bool
) -> None:
    drill = FakeDrill(two_hands(), hands=hands)
    keys = [note.pitch for note in drill.excerpt.notes]

    async def run(seat: Seat) -> None:
        await seat.play(*keys)
        assert seat.is_large("CLEAN", plain=ascii_only)
        await seat.play(*keys[:-1], 66)
        assert not seat.is_large("CLEAN", plain=ascii_only)
        assert seat.is_large(f"{hands.value.upper()} BEAT 1", plain=ascii_only)

    seated(size, run, drill=drill, settings=Settings(ascii_only=ascii_only))


def test_the_notes_can_be_made_smaller_and_larger_again() -> None:
    drill = FakeDrill(two_hands(4), window=Window(F(0), F(16), Hands.TOGETHER))

    async def run(seat: Seat) -> None:
        forms = [seat.sheet.form]
        for key in ("V", "V", "v", "v", "v"):
            await seat.pilot.press(key)
            forms.append(seat.sheet.form)
        assert forms[0] == forms[4]
        assert forms[1] == forms[3]
        assert len({*forms[:3]}) == 3
        assert len(seat.sheet.pages) == 4  # a bar a page, each as large as can be

    seated((120, 40), run, drill=drill)


def test_a_hollow_head_stays_hollow_where_it_was_played_wrong() -> None:
    """Its ground differs from the page and from the head itself: no half note looks filled."""

    async def run(seat: Seat) -> None:
        fault, head = (seat.staff._style(look) for look in (FAULT, "staff--head"))
        assert fault.bgcolor not in (fault.color, head.bgcolor)
        assert fault.color == head.color

    seated(SIZES[1], run)


@pytest.mark.parametrize(
    ("rest", "said"),
    [("1 of 2 hold, about 2 minutes", "1 of 2 hold, about 2 minutes"),
     ("once more: 1 of 2 hold, less than a minute", "once more: 1 of 2 hold")],
)  # fmt: skip
def test_a_low_terminal_names_the_piece_that_a_warm_up_has_come_to(rest: str, said: str) -> None:
    async def run(seat: Seat) -> None:
        top = seat.drill_screen.presenter.top
        top._session = replace(top._session, what_remains=lambda: rest)
        top.show_player(24)
        await seat.pilot.pause()
        first = seat.text.splitlines()[0]
        assert first.rstrip().endswith(f" {top._session.score.title} · {said}")

    seated((80, 24), run)


def test_clean_beside_none_of_what_comes_next_is_said_of_the_last_one() -> None:
    """``0 of 2 clean`` and ``Clean`` side by side would be read as a contradiction."""

    async def run(seat: Seat) -> None:
        result = seat.app.screen.query_one(Result)
        result.show_verdict("Clean.")
        result.show_run(0, 2)
        assert words_of(seat).startswith("Clean, the last one")
        result.add_clean()
        assert words_of(seat).startswith("Clean. ")

    seated((80, 24), run)
