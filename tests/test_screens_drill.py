"""The drill screen: what is played, marked, said and asked for."""

from __future__ import annotations

import asyncio
import os
import signal
import time
from fractions import Fraction as F

import pytest
from textual.app import ComposeResult

from coach.coaching.drill.drill_events import CountIn, DrillState
from coach.coaching.model import Request
from coach.drill import Drill, repair
from coach.playing.midi_events import KeyDown, KeyUp, OtherPianos, PianoFound, PianoLost
from coach.score.build import score_from_notes
from coach.score.model import Hands
from coach.score.window import Window
from coach.screens.dialogs.texts import COLUMNS, columns_of_text, help_text
from coach.screens.drill.screen import DrillScreen
from coach.screens.keymap import COMMANDS, DEMO_COMMANDS
from tests.screenfakes import FakeClick, FakeDrill, note, two_hands
from tests.seat import (
    RIGHT,
    SIZES,
    WRONG,
    Seat,
    reason_line,
    seated,
    strip_line,
    top_line,
    words_of,
)


@pytest.mark.parametrize("size", SIZES)
def test_three_clean_repetitions_fill_the_clean_run_without_a_key_of_the_computer(
    size: tuple[int, int],
) -> None:
    async def run(seat: Seat) -> None:
        for done in (1, 2):
            await seat.play(*RIGHT)
            assert seat.clean_run == f"{done} of 3 clean"
            assert seat.says_clean
        await seat.play(*RIGHT)
        assert seat.staging.drill.state is DrillState.FINISHED
        assert "The goal is reached" in seat.text

    assert len(seated(size, run).kept) == 3


@pytest.mark.parametrize("size", SIZES)
def test_a_wrong_key_is_marked_at_its_note_and_said_in_words(size: tuple[int, int]) -> None:
    async def run(seat: Seat) -> None:
        await seat.play(*WRONG[:3])
        marks = next(line for line in seat.text.splitlines() if "=" in line)
        assert marks.split() == ["=", "=", "W"]
        assert "not in the window: F sharp" in seat.text
        await seat.play(*WRONG[3:])
        assert "RH wrong key on beat 3." in seat.text
        assert seat.clean_run == "0 of 3 clean"

    seated(size, run)


@pytest.mark.parametrize("size", SIZES)
def test_a_key_that_begins_nothing_is_named_for_a_while_and_clean_does_not_stand_beside_it(
    size: tuple[int, int],
) -> None:
    one_note = score_from_notes([note(60, 0, 4)], qpm=80, title="Fake tune")
    drill = Drill(one_note, repair(one_note, Window(F(0), F(4), Hands.RIGHT), qpm=80))

    async def run(seat: Seat) -> None:
        await seat.play(60)
        seat.drill_screen.show(drill.tick(11.0))
        await seat.pilot.pause()
        assert seat.says_clean
        seat.staging.ports.post(KeyDown(61, 64, 20.0))
        await asyncio.sleep(0)
        await seat.pilot.pause()
        assert "heard: C sharp" in top_line(seat)
        assert not seat.says_clean
        assert "1 of" in seat.clean_run
        seat.drill_screen.presenter.top.forget_key()  # what its time in sight is followed by
        assert "play when ready" in top_line(seat)

    seated(size, run, drill=drill)


def test_the_last_of_several_keys_is_named_for_its_whole_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Waiting:
        stopped = False

        def stop(self) -> None:
            self.stopped = True

    async def run(seat: Seat) -> None:
        screen, timers = seat.drill_screen, []

        def set_timer(*_: object) -> Waiting:
            timers.append(Waiting())
            return timers[-1]

        monkeypatch.setattr(screen, "set_timer", set_timer)
        for pitch in (61, 63, 66):
            screen.presenter.announcements.name_key(pitch)
        assert "heard: F sharp" in top_line(seat)
        assert [timer.stopped for timer in timers] == [True, True, False]

    seated((80, 24), run)


def test_the_next_window_waits_until_the_marks_were_seen_but_not_for_a_pianist_who_plays_on() -> (
    None
):
    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT)
        await seat.play(*WRONG)
        assert "W" in "".join(line for line in seat.text.splitlines() if "=" in line)
        shown = (top_line, strip_line, reason_line)
        last = [one(seat) for one in shown]
        assert "bar 1 · 60 bpm" in last[0]
        assert "so that I hear where it breaks" in last[2]
        assert seat.clean_run == "0 of 3 clean"
        await seat.play(60)
        assert len(seat.sheet.pages[0].notes) == 3  # two beats and the note arrived at
        assert "beat 1 → 3 · 40 bpm" in top_line(seat)
        assert "Only this." in reason_line(seat)
        assert strip_line(seat) != last[1]

    seated((80, 24), run)


def test_what_the_pianist_asks_for_is_shown_at_once_and_all_of_it_together() -> None:
    async def run(seat: Seat) -> None:
        await seat.play(*WRONG)
        await seat.pilot.press("right")
        assert "bars 1 to 2 · 60 bpm" in top_line(seat)
        assert "so that I hear where it breaks" in reason_line(seat)
        assert len(seat.sheet.pages[0].notes) == 8

    seated((80, 24), run)


def test_the_last_clean_one_of_an_assignment_is_counted_before_the_next_is_shown(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("coach.screens.drill.screen.TICK_S", 1000.0)  # time is the test's own
    monkeypatch.setattr("coach.screens.drill.presenter.HOLD_S", 1000.0)
    drill = Drill(two_hands(), repair(two_hands(), Window(F(0), F(4), Hands.RIGHT), qpm=80))
    drill.ask(Request.SMALLER, 0.0)
    required = drill.assignment.clean_required

    async def run(seat: Seat) -> None:
        at_s, counted = 0.0, []
        while drill.assignment.window.end_quarters < 4 and at_s < 200:
            for one in drill.excerpt.notes:
                at_s += 0.75
                seat.staging.ports.post(KeyDown(one.pitch, 64, at_s))
                seat.staging.ports.post(KeyUp(one.pitch, at_s + 0.5))
            await asyncio.sleep(0)  # the inbox hands over
            await seat.pilot.pause()
            seat.drill_screen.show(drill.tick(at_s + 0.5))
            counted.append(seat.clean_run)
            at_s += 4.0
            seat.drill_screen.show(drill.tick(at_s))  # the hands rest
        assert counted[-1] == f"{required} of {required} clean"

    seated((80, 24), run, drill=drill)


def test_where_a_click_is_asked_for_it_says_how_to_start_it() -> None:
    async def run(seat: Seat) -> None:
        assert "Strike any key for the count-in" in seat.text
        assert "any key counts in" in seat.text

    drill = FakeDrill(two_hands())
    drill.click = True
    seated((80, 24), run, drill=drill)


@pytest.mark.parametrize("size", SIZES)
def test_a_click_that_has_no_way_out_is_said_once_and_its_count_is_seen(
    size: tuple[int, int],
) -> None:
    async def run(seat: Seat) -> None:
        for said in (1, 0):
            seat.drill_screen.show([CountIn(time.perf_counter() - 2.9, 1.4, 4, 8)])
            seat.drill_screen.presenter.click.show_beat()
            await seat.pilot.pause()
            assert seat.text.count("The click can't sound here") == said
            assert seat.is_large("3") or seat.is_large("4")  # what is due by now
            seat.drill_screen.presenter.click.stop()
            seat.drill_screen.presenter.foot.take_back_proposal()

    drill = FakeDrill(two_hands())
    drill.click = True
    seated(size, run, drill=drill, click=FakeClick(sounds=False))


def test_a_click_that_sounds_needs_no_words() -> None:
    async def run(seat: Seat) -> None:
        seat.drill_screen.show([CountIn(time.perf_counter() - 1.0, 0.5, 4, 8)])
        await seat.pilot.pause()
        assert [one for _, one in click.played if one[0] == 0x99]
        assert "can't sound" not in seat.text

    click = FakeClick()
    drill = FakeDrill(two_hands())
    drill.click = True
    seated((80, 24), run, drill=drill, click=click)


@pytest.mark.parametrize("size", SIZES)
def test_a_second_piano_is_told_of_once_and_how_to_play_on_it(size: tuple[int, int]) -> None:
    async def run(seat: Seat) -> None:
        seat.staging.ports.post(OtherPianos("Test piano:out", ("Stage Organ",)))
        await seat.pilot.pause()
        assert "I hear Test piano. Stage Organ is connected too" in " ".join(words_of(seat).split())
        assert "--port 'Stage Organ'" in " ".join(words_of(seat).split())
        await seat.play(*RIGHT)  # the next repetition is over: it was read
        assert "Stage Organ" not in seat.text
        seat.staging.ports.post(OtherPianos("Test piano:out", ("Stage Organ",)))
        await seat.pilot.pause()
        assert "Stage Organ" not in seat.text

    seated(size, run)


def test_every_request_has_a_key() -> None:
    async def run(seat: Seat) -> None:
        for key in ("left", "down", "up", "o", "a", "n", "x", "b", "r", "f", "right"):
            await seat.pilot.press(key)
        assert set(drill.asked) == set(Request)

    drill = FakeDrill(two_hands())
    seated((80, 24), run, drill=drill)


def test_requests_are_in_the_command_palette() -> None:
    async def run(seat: Seat) -> None:
        names = {one.title for one in seat.app.get_system_commands(seat.app.screen)}
        assert {request.value.capitalize() for request in Request} <= names
        every = [one.title for one in seat.app.get_system_commands(seat.app.screen)]
        assert len(every) == len(set(every))
        assert "Screenshot" not in every
        await seat.pilot.press("ctrl+p")
        await seat.pilot.pause()
        assert "🔎" not in seat.text

    seated((80, 24), run)


def test_a_piano_that_vanishes_is_said_and_playing_goes_on_when_it_is_back() -> None:
    async def run(seat: Seat) -> None:
        await seat.play(60, 62)
        seat.staging.ports.post(PianoLost("Test piano"))
        await seat.pilot.pause()
        assert "No piano. Plug it in" in seat.text
        seat.staging.ports.post(PianoFound("Test piano"))
        await seat.play(*RIGHT)
        assert seat.clean_run == "1 of 3 clean"

    seated((80, 24), run)


def test_a_piano_found_and_played_while_the_screen_is_being_made_is_heard(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    compose = DrillScreen.compose

    def with_a_piano(self: DrillScreen) -> ComposeResult:
        self.hear((PianoFound("Test piano"), KeyDown(60, 64, 0.0)))
        return compose(self)

    monkeypatch.setattr(DrillScreen, "compose", with_a_piano)

    async def run(seat: Seat) -> None:
        assert "Test piano" in seat.text
        await seat.play(*RIGHT[1:])
        assert seat.clean_run == "1 of 3 clean"

    seated((80, 24), run)


@pytest.mark.parametrize("size", SIZES)
def test_a_record_that_cannot_be_written_is_said_in_the_keys_row_until_it_can(
    size: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coach.screens.drill.foot.SAVE_S", 0.01)
    locked = "Another program holds the record: close it. Till then all is kept in memory."

    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT)
        assert isinstance(seat.app.screen, DrillScreen)  # nothing lies over the staff
        assert seat.text.splitlines()[-1].strip() == locked
        assert seat.clean_run == "1 of 3 clean"
        await seat.play(*RIGHT)
        await asyncio.sleep(0.05)
        assert seat.text.splitlines()[-1].strip() == locked
        seat.staging.keep_says = ""  # the other program is closed
        await asyncio.sleep(0.05)
        await seat.pilot.pause()
        assert locked not in seat.text
        assert "? keys" in seat.text.splitlines()[-1]

    seated(size, run, sentence=locked)


def test_the_letters_say_which_notes_they_are() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("k")
        assert "Z row from C3, Q row from C4" in seat.text
        await seat.pilot.press("f1")
        assert "for the right hand" in help_text()

    seated((80, 24), run)


def test_what_a_key_does_stays_in_its_column() -> None:
    """In a terminal of 80 columns, too: what is long goes on under its own beginning."""
    lines = help_text(demo=True).split("\nKeys\n")[1].split("\n\n")[0].splitlines()
    assert max(map(len, lines)) <= COLUMNS
    begins = {len(line) - len(line.lstrip()) for line in lines if line.startswith(" " * 8)}
    assert begins == {next(line for line in lines if "The same again" in line).index("The same")}


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="a system without these signals")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_an_ended_program_keeps_where_the_drill_stands(name: str) -> None:
    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT[:2])
        os.kill(os.getpid(), getattr(signal, name))
        await asyncio.sleep(0.05)

    assert seated((80, 24), run).left == 1


def test_a_pause_says_how_to_go_on() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("p")
        assert "Resting." in seat.text
        await seat.pilot.press("p")
        assert "Resting." not in seat.text

    seated((80, 24), run)


def test_control_c_leaves_the_program_and_keeps_where_the_drill_stands() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("ctrl+c")

    assert seated(SIZES[0], run).left == 1


def test_the_help_uses_the_width_of_a_wide_terminal() -> None:
    keys = help_text(columns_of_text(120), demo=True).split("\nKeys\n")[1].split("\n\n")[0]
    assert len(keys.splitlines()) == len(COMMANDS) + len(DEMO_COMMANDS)  # each in one row
    assert max(map(len, keys.splitlines())) <= columns_of_text(120)
    assert columns_of_text(80) == COLUMNS
