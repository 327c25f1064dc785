"""What stands over the music: details, the plan, help, hands."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.coaching.model import Order
from coach.coaching.planning.plan import PlanRow, RowState
from coach.drill import Drill, learn
from coach.score.build import score_from_notes
from coach.score.model import Hands
from coach.score.window import Window
from coach.screens.dialogs.dialog import Dialog
from coach.screens.drill.screen import DrillScreen
from coach.screens.interfaces import Errand, Settings
from tests.screenfakes import FakeDrill, two_hands
from tests.seat import (
    RIGHT,
    SIZES,
    WRONG,
    Seat,
    line_of,
    seated,
)


def test_details_and_why_are_one_key_away() -> None:
    async def run(seat: Seat) -> None:
        await seat.play(*WRONG)
        await seat.pilot.press("d")
        assert "wrong key" in seat.text
        assert "20 ms late" in seat.text
        await seat.pilot.press("escape", "w")
        assert seat.text.count("Only this.") == 1  # a reason is said once
        assert "It breaks: RH bar 1" in seat.text
        assert seat.text.count("2 of the last 2") == 1

    seated((80, 24), run)


def test_the_plan_is_one_key_away_and_marks_in_words_what_is_now() -> None:
    rows = [
        PlanRow(f"bar {bar}, in time", Window(F(0), F(4)), RowState.TO_COME) for bar in range(60)
    ]
    rows[0], rows[50] = replace(rows[0], state=RowState.HELD), replace(rows[50], state=RowState.NOW)

    async def run(seat: Seat) -> None:
        seat.staging.plan = rows
        await seat.pilot.press("t")
        await seat.pilot.pause()
        assert "NOW   51. bar 50, in time" in seat.text  # far down, and still in sight
        await seat.pilot.press("home")
        await seat.pilot.pause()
        assert "1 of 60 held" in seat.text
        assert "RH alone · bar 1 · 60 bpm" in seat.text
        assert "held    1. bar 0, in time" in seat.text

    seated((80, 24), run)


@pytest.mark.parametrize("size", SIZES)
def test_a_long_plan_shows_what_is_due_and_folds_the_rest_into_lines_that_can_be_looked_along(
    size: tuple[int, int],
) -> None:
    rows = learning(200, held=80)

    async def run(seat: Seat) -> None:
        seat.staging.plan = rows
        await seat.pilot.press("t")
        await seat.pilot.pause()
        found = re.findall(r"(?:> +)?(?:held|NOW|to come) .*\bbars? [^│\n]*?(?= *│)", seat.text)
        tasks = [re.sub(" +", " ", task) for task in found]
        assert tasks == [
            "held 78 tasks in bars 1 to 39",
            "held 79. bar 40, left hand alone",
            "held 80. bar 40, hands together",
            "> NOW 81. bar 41, left hand alone",
            "to come 82. bar 41, hands together",
            "to come 83. bar 42, left hand alone",
            "to come 84. bar 42, hands together",
            "to come 316 tasks in bars 43 to 200",
        ]
        await seat.pilot.press("end")
        await seat.pilot.pause()
        assert "400. bar 200, hands together" in line_of(seat, "> ")
        assert "NOW   81. bar 41, left hand alone" in seat.text
        await seat.pilot.press("pageup", "up")
        await seat.pilot.pause()
        assert " 389. " in line_of(seat, "> ")

    seated(size, run, drill=FakeDrill(two_hands(200)))


def learning(bars: int, held: int) -> list[PlanRow]:
    """A plan of two tasks for each bar, so many of them held."""
    whats = [(bar, what) for bar in range(bars) for what in ("left hand alone", "hands together")]
    states = [RowState.HELD] * held + [RowState.NOW] + [RowState.TO_COME] * (2 * bars - held - 1)
    return [
        PlanRow(f"bar {bar + 1}, {what}", Window(F(4 * bar), F(4 * bar + 4)), state)
        for (bar, what), state in zip(whats, states, strict=True)
    ]


@pytest.mark.parametrize(("tasks", "told"), [(2, True), (1, False)])
def test_a_plan_of_one_task_offers_nothing_to_look_along(tasks: int, told: bool) -> None:
    async def run(seat: Seat) -> None:
        seat.staging.plan = learning(1, held=0)[:tasks]
        await seat.pilot.press("t")
        await seat.pilot.pause()
        assert ("look along the plan" in seat.text) is told

    seated((80, 24), run)


def test_the_plan_is_changed_at_its_own_screen_and_says_what_was_done() -> None:
    score = two_hands(8)
    drill = Drill(score, learn(score, Window(F(0), F(32))))

    async def run(seat: Seat) -> None:
        await seat.pilot.press("t")
        assert "> " in line_of(seat, "NOW")
        assert " 1. " in line_of(seat, "NOW")
        before = drill.coach.plan()
        await seat.pilot.press("down", "e")
        assert drill.coach.plan()[:2] == (
            replace(before[1], state=RowState.NOW),
            replace(before[0], state=RowState.TO_COME),
        )
        assert "before" in seat.text
        await seat.pilot.press("x")
        assert "Left out:" in seat.text
        assert "left out    1. " in seat.text
        assert "NOW    2. " in seat.text
        await seat.pilot.press("x")
        assert "Taken up again:" in seat.text
        await seat.pilot.press("2")
        assert "From now on: from the end." in seat.text
        assert drill.goal.order is Order.FROM_END
        await seat.pilot.press("escape")
        assert "bars 7 to 8" in seat.text or "bar 8" in seat.text

    seated((80, 24), run, drill=drill, learns=True)


@pytest.mark.parametrize(("size", "more"), [((80, 24), True), ((120, 95), False)])
def test_a_text_longer_than_the_terminal_says_that_there_is_more_and_with_which_keys(
    size: tuple[int, int], more: bool
) -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("?")
        await seat.pilot.pause()
        assert ("PgDn: more" in seat.text) is more
        assert "Enter, Esc or play: back" in seat.text
        assert ("a note too many" in seat.text) is not more
        await seat.pilot.press(*["pagedown"] * 8)
        await seat.pilot.pause(0.5)
        assert "a note too many" in seat.text

    seated(size, run)


def test_plain_characters_only_on_every_other_screen() -> None:
    score = two_hands(8)
    drill = Drill(score, learn(score, Window(F(0), F(32))))

    async def run(seat: Seat) -> None:
        for key in ("t", "w", "d", "m", "?"):
            await seat.pilot.press(key)
            await seat.pilot.pause()
            assert seat.text.isascii(), key
            await seat.pilot.press("escape")
        await seat.pilot.press("escape")
        await seat.pilot.pause()
        assert "Another score" in seat.text
        assert seat.text.isascii()
        await seat.pilot.press("f")
        await seat.pilot.pause(0.1)
        assert "folder above" in seat.text
        assert seat.text.isascii()

    plain = Settings(ascii_only=True)
    seated((120, 95), run, settings=plain, drill=drill, learns=True)


def test_notes_of_the_window_can_be_given_to_the_other_hand() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("m")
        assert "bar 1, beat 1" in seat.text
        await seat.pilot.press("space", "m")
        await seat.opened(2)

    staging = seated((80, 24), run)
    assert staging.moves == ["bar 1 beat 1 staff 2 voice 5 C3 to RH"]
    assert staging.errands == [Errand.DRILL, Errand.GO_ON]


def test_voices_that_dip_into_the_other_staff_are_taken_home_with_one_key() -> None:
    notes: list[dict[str, object]] = []
    for at in range(8):
        dips = at == 7
        notes.append({"pitch": 72, "onset": at, "length": 1, "hand": "RH", "voice": "1"})
        hand, staff = ("RH", 1) if dips else ("LH", 2)
        low = {"pitch": 48, "onset": at, "length": 1, "hand": hand, "voice": "5", "staff": staff}
        notes.append(low)
    score = score_from_notes(notes)
    drill = FakeDrill(score, window=Window(F(0), F(4), Hands.TOGETHER))

    async def run(seat: Seat) -> None:
        await seat.pilot.press("m")
        assert "h keeps each in its own hand" in seat.text
        await seat.pilot.press("h")
        await seat.opened(2)

    assert seated((80, 24), run, drill=drill).moves == ["all bars to home staff"]


def test_a_passage_is_moved_in_one_line_and_a_wrong_line_is_said() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("m", "tab", *"bars 1-9 up", "enter")
        assert "is not a hand move" in seat.text
        await seat.pilot.press(*["backspace"] * 11, *"bars 1-2 split D4", "enter")
        await seat.opened(2)

    assert seated((80, 24), run).moves == ["bars 1-2 split D4"]


@pytest.mark.parametrize("key", ["d", "w", "t", "question_mark"])
def test_playing_on_closes_what_stands_over_the_music_and_is_heard(key: str) -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press(key)
        await seat.until(Dialog)
        await seat.play(*RIGHT)
        await seat.until(DrillScreen)
        assert "1 of 3 clean" in seat.clean_run

    seated(SIZES[0], run)


def test_what_is_to_be_said_on_quitting_is_handed_to_whoever_ran_the_app() -> None:
    apps = []

    async def run(seat: Seat) -> None:
        apps.append(seat.app)
        screen = seat.drill_screen
        screen.session = replace(screen.session, leave=lambda: "The record was removed.")
        await seat.pilot.press("ctrl+q")

    seated((80, 24), run)
    assert apps[0].unsaid == ["The record was removed."]
