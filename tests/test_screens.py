"""The screens, driven as a pianist would: keys of the piano, now and then one of the computer."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import time
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest
from screenfakes import FakeDrill, Staging, note, two_hands

from coach.coaching.facts import Order, Request
from coach.coaching.outcomes import State
from coach.coaching.plan import PlanRow
from coach.drill import Drill, learn, repair
from coach.playing.events import KeyDown, KeyUp, PianoFound, PianoLost
from coach.score.build import score_from_notes
from coach.score.errors import ScoreError
from coach.score.model import Hands
from coach.score.window import Window
from coach.screens.app import KeyholeApp
from coach.screens.big import big
from coach.screens.collaborators import Errand, Settings, Start
from coach.screens.connect import ConnectScreen
from coach.screens.drill_screen import DrillScreen
from coach.screens.help import HelpScreen
from coach.screens.home import HomeScreen
from coach.screens.notices import NoticeScreen, SheetScreen, TooSmallScreen
from coach.screens.opening import OpeningScreen

SIZES = [(80, 24), (120, 40)]
RIGHT = (60, 62, 64, 65, 62)
WRONG = (60, 62, 66, 65, 62)


def text_of(app):
    """What is on the screen, as text. A private name of Textual's, used here only."""
    return "\n".join(strip.text.rstrip() for strip in app.screen._compositor.render_strips())


class Seat:
    """A running app at a fake piano."""

    def __init__(self, app, staging, pilot):
        self.app, self.staging, self.pilot = app, staging, pilot

    async def play(self, *pitches):
        for at, pitch in enumerate(pitches):
            self.staging.ports.post(KeyDown(pitch, 64, 0.5 * at))
        await asyncio.sleep(0)  # the inbox hands over
        await self.pilot.pause()

    async def until(self, screen):
        for _ in range(1000):  # a busy machine takes its time
            if isinstance(self.app.screen, screen):
                await self.pilot.pause()
                return
            await asyncio.sleep(0.01)
        raise AssertionError(f"still at {self.app.screen}")

    async def opened(self, times):
        """Wait until a piece has been put on the desk so many times."""
        for _ in range(1000):  # a busy machine takes its time
            if len(self.staging.errands) == times:
                return await self.until(DrillScreen)
            await asyncio.sleep(0.01)
        raise AssertionError(f"opened for {self.staging.errands}")

    async def until_large(self, words):
        for _ in range(300):  # a busy machine takes its time
            if self.is_large(words):
                return
            await asyncio.sleep(0.01)
        raise AssertionError(self.text)

    def is_large(self, words, **how):
        """Whether it is on the screen in large letters."""
        lines = self.text.splitlines()
        for tall in (False, True):
            rows = [row.rstrip() for row in big(words, tall=tall, **how)]
            rows = rows[: len(rows) if tall else 3]
            for at, line in enumerate(lines):
                for column in range(len(line)):
                    under = [one[column:] for one in lines[at : at + len(rows)]]
                    if all(map(str.startswith, under, rows)) and len(under) == len(rows):
                        return True
        return False

    @property
    def text(self):
        return text_of(self.app)


def seated(size, run, *, start=None, settings=None, piano=True, **how):
    """Run ``run(seat)`` in an app of this size, with a piano unless told otherwise."""

    async def main():
        staging = Staging(**how)
        app = KeyholeApp(staging.given, settings, start or Start(Path("tune.musicxml")))
        async with app.run_test(size=size) as pilot:
            seat = Seat(app, staging, pilot)
            if piano:
                staging.ports.post(PianoFound("Test piano:out"))
            if start is None:
                await seat.until(DrillScreen if piano else ConnectScreen)
            await pilot.pause()
            await run(seat)
        return staging

    return asyncio.run(main())


@pytest.mark.parametrize("size", SIZES)
def test_three_clean_repetitions_fill_the_clean_run_without_a_key_of_the_computer(size):
    async def run(seat):
        for done in (1, 2):
            await seat.play(*RIGHT)
            assert seat.app.screen.query_one("#clean-run").words == f"{done} of 3 clean"
            assert "Clean." in seat.text
        await seat.play(*RIGHT)
        assert seat.staging.drill.state is State.FINISHED
        assert "The goal is reached" in seat.text

    assert len(seated(size, run).kept) == 3


@pytest.mark.parametrize("size", SIZES)
def test_a_wrong_key_is_marked_at_its_note_and_said_in_words(size):
    async def run(seat):
        await seat.play(*WRONG[:3])
        marks = next(line for line in seat.text.splitlines() if "=" in line)
        assert marks.split() == ["=", "=", "W"]
        assert "not in the window: F sharp" in seat.text
        await seat.play(*WRONG[3:])
        assert "RH wrong key on beat 3." in seat.text
        assert seat.app.screen.query_one("#clean-run").words == "0 of 3 clean"

    seated(size, run)


@pytest.mark.parametrize("size", SIZES)
def test_a_key_that_begins_nothing_is_named_for_a_while_and_clean_does_not_stand_beside_it(
    size,
):
    one_note = score_from_notes([note(60, 0, 4)], qpm=80, title="Fake tune")
    drill = Drill(one_note, repair(one_note, Window(F(0), F(4), Hands.RIGHT), qpm=80))

    async def run(seat):
        await seat.play(60)
        seat.app.screen.show(drill.tick(11.0))
        await seat.pilot.pause()
        assert "Clean" in seat.text
        seat.staging.ports.post(KeyDown(61, 64, 20.0))
        await asyncio.sleep(0)
        await seat.pilot.pause()
        assert "heard: C sharp" in top_line(seat)
        assert "Clean" not in seat.text
        assert "1 of" in seat.app.screen.query_one("#clean-run").words
        seat.app.screen.forget_heard()  # what its time in sight is followed by
        assert "play when ready" in top_line(seat)

    seated(size, run, drill=drill)


def test_the_last_of_several_keys_is_named_for_its_whole_time(monkeypatch):
    class Waiting:
        stopped = False

        def stop(self):
            self.stopped = True

    async def run(seat):
        screen, timers = seat.app.screen, []
        monkeypatch.setattr(screen, "set_timer", lambda *_: timers.append(Waiting()) or timers[-1])
        for pitch in (61, 63, 66):
            screen.show_heard(pitch)
        assert "heard: F sharp" in top_line(seat)
        assert [timer.stopped for timer in timers] == [True, True, False]

    seated((80, 24), run)


def test_the_next_window_waits_until_the_marks_were_seen_but_not_for_a_pianist_who_plays_on():
    async def run(seat):
        await seat.play(*RIGHT)
        await seat.play(*WRONG)
        assert "W" in "".join(line for line in seat.text.splitlines() if "=" in line)
        shown = (lambda: top_line(seat), lambda: strip_line(seat), lambda: reason_line(seat))
        last = [one() for one in shown]
        assert "bar 1 · 60 bpm" in last[0]
        assert "so that I hear where it breaks" in last[2]
        assert seat.app.screen.query_one("#clean-run").words == "0 of 3 clean"
        await seat.play(60)
        staff = seat.app.screen.query_one("#staff")
        assert len(staff.sheet.pages[0].notes) == 3  # two beats and the note arrived at
        assert "beat 1 → 3 · 40 bpm" in top_line(seat)
        assert "Only this." in reason_line(seat)
        assert strip_line(seat) != last[1]

    seated((80, 24), run)


def test_what_the_pianist_asks_for_is_shown_at_once_and_all_of_it_together():
    async def run(seat):
        await seat.play(*WRONG)
        await seat.pilot.press("right")
        assert "bars 1 to 2 · 60 bpm" in top_line(seat)
        assert "so that I hear where it breaks" in reason_line(seat)
        assert len(seat.app.screen.query_one("#staff").sheet.pages[0].notes) == 8

    seated((80, 24), run)


def test_the_last_clean_one_of_an_assignment_is_counted_before_the_next_is_shown(monkeypatch):
    monkeypatch.setattr("coach.screens.drill_screen.TICK_S", 1000.0)  # time is the test's own
    monkeypatch.setattr("coach.screens.drill_view.HOLD_S", 1000.0)
    drill = Drill(two_hands(), repair(two_hands(), Window(F(0), F(4), Hands.RIGHT), qpm=80))
    drill.ask(Request.SMALLER, 0.0)
    required = drill.assignment.clean_required

    async def run(seat):
        at_s, counted = 0.0, []
        while drill.assignment.window.end_quarters < 4:
            for one in drill.excerpt.notes:
                at_s += 0.75
                seat.staging.ports.post(KeyDown(one.pitch, 64, at_s))
            await asyncio.sleep(0)  # the inbox hands over
            await seat.pilot.pause()
            seat.app.screen.show(drill.tick(at_s + 0.5))
            at_s += 2.0
            counted.append(seat.app.screen.query_one("#clean-run").words)
        assert counted[-1] == f"{required} of {required} clean"

    seated((80, 24), run, drill=drill)


def test_the_page_turns_at_its_last_onset_so_that_the_next_can_be_read_in_time():
    drill = FakeDrill(two_hands(12), window=Window(F(0), F(48), Hands.RIGHT))

    async def run(seat):
        second = seat.app.screen.query_one("#staff").sheet.pages[1].start_quarters
        last = [n.onset_quarters < second for n in drill.excerpt.notes].index(False) - 1
        pitches = [one.pitch for one in drill.excerpt.notes]
        await seat.play(*pitches[:last])
        assert "page 1 of" in seat.text
        await seat.play(pitches[last])
        assert "page 2 of" in seat.text

    seated((80, 24), run, drill=drill)


def test_another_size_in_mid_repetition_keeps_the_place_on_the_page():
    drill = FakeDrill(two_hands(12), window=Window(F(0), F(48), Hands.RIGHT))

    async def run(seat):
        staff = seat.app.screen.query_one("#staff")
        notes = drill.excerpt.notes
        await seat.play(*(one.pitch for one in notes[: len(notes) * 3 // 4]))
        due = notes[len(notes) * 3 // 4].onset_quarters
        for columns, rows in ((100, 30), (60, 20), (120, 40), (80, 24)):
            await seat.pilot.resize_terminal(columns, rows)
            await seat.pilot.pause()
            assert f"page {staff.sheet.page_at(due) + 1} of" in staff.page_words
        assert staff.sheet.page_at(due) > 0

    seated((80, 24), run, drill=drill)


def test_the_place_is_kept_also_where_one_page_held_it_all_for_a_while():
    drill = FakeDrill(two_hands(8), window=Window(F(0), F(32), Hands.RIGHT))

    async def run(seat):
        staff = seat.app.screen.query_one("#staff")
        assert len(staff.sheet.pages) == 1
        notes = drill.excerpt.notes
        await seat.play(*(one.pitch for one in notes[:-2]))
        await seat.pilot.resize_terminal(60, 20)
        await seat.pilot.pause()
        assert staff.sheet.page_at(notes[-2].onset_quarters) > 0
        assert f"page {staff.sheet.page_at(notes[-2].onset_quarters) + 1} of" in staff.page_words

    seated((120, 40), run, drill=drill)


@pytest.mark.parametrize("played", [0, 2, 5])
def test_a_terminal_that_was_too_small_for_a_while_leaves_no_word_of_it_behind(played):
    async def run(seat):
        await seat.play(*RIGHT[:played])
        before = seat.text
        for size in ((40, 10), (120, 40), (80, 24)):
            await seat.pilot.resize_terminal(*size)
            await seat.pilot.pause()
        assert seat.text == before

    seated((80, 24), run)


def test_a_window_too_tall_for_the_terminal_says_so_beside_the_verdict_as_long_as_it_is():
    drill = FakeDrill(two_hands(4), window=Window(F(0), F(8), Hands.TOGETHER), required=9)

    async def run(seat):
        await seat.play(*(one.pitch for one in drill.excerpt.notes))
        assert "Clean." in seat.text
        assert "more rows" not in seat.text
        await seat.pilot.resize_terminal(80, 18)
        await seat.pilot.pause()
        assert "Clean." in seat.text
        assert "more rows" in seat.text
        await seat.pilot.resize_terminal(80, 24)
        await seat.pilot.pause()
        assert "Clean." in seat.text
        assert "more rows" not in seat.text

    seated((80, 24), run, drill=drill)


def test_after_a_window_of_several_pages_its_first_page_comes_back(monkeypatch):
    monkeypatch.setattr("coach.screens.drill_view.HOLD_S", 0.01)
    drill = FakeDrill(two_hands(12), window=Window(F(0), F(48), Hands.RIGHT))

    async def run(seat):
        staff = seat.app.screen.query_one("#staff")
        pages = len(staff.sheet.pages)
        await seat.play(*(one.pitch for one in drill.excerpt.notes[:-1]))
        assert f"page {pages} of {pages}" in seat.text
        await seat.play(drill.excerpt.notes[-1].pitch)
        await seat.pilot.pause(0.1)
        assert f"page 1 of {pages}" in seat.text

    assert len(seated((80, 24), run, drill=drill).kept) == 1


BREAK = (
    "You have played for 25 minutes: rest your hands for five minutes. "
    "If anything hurts, stop, and ask your teacher or a doctor."
)


def words_of(seat):
    """The verdict and the reason, as far as they are shown."""
    lines = [seat.app.screen.query_one(name) for name in ("#verdict", "#reason")]
    return " ".join(str(line.render()) for line in lines if line.display)


@pytest.mark.parametrize("size", SIZES)
def test_a_break_is_proposed_beside_the_verdict_and_gone_after_the_next_repetition(size):
    drill = FakeDrill(two_hands(), required=9)
    drill.proposes = BREAK

    async def run(seat):
        await seat.play(*RIGHT)
        assert "Clean." in seat.text
        assert "rest your hands for" in words_of(seat)
        await seat.play(*RIGHT[:2])  # plays straight on: it has not been read yet
        assert "rest your hands for" in words_of(seat)
        await seat.play(*RIGHT[2:])
        assert "rest your hands" not in words_of(seat)
        assert "Play it as it is" in seat.text

    seated(size, run, drill=drill)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("answer", ["p", "n"])
def test_a_break_that_is_answered_is_not_proposed_any_longer(size, answer):
    drill = FakeDrill(two_hands(), required=9)
    drill.proposes = BREAK

    async def run(seat):
        await seat.play(*RIGHT)
        await seat.pilot.press(answer)
        await seat.pilot.pause()
        assert "rest your hands" not in words_of(seat)

    seated(size, run, drill=drill)


@pytest.mark.parametrize("size", SIZES)
def test_a_proposed_break_can_be_read_whole(size):
    drill = FakeDrill(two_hands(), required=9)
    drill.proposes = BREAK

    async def run(seat):
        await seat.play(*RIGHT)
        seat.app.screen.make_room()  # what the verdict's time in sight is followed by
        await seat.pilot.pause()
        assert BREAK in words_of(seat)

    seated(size, run, drill=drill)


LONG_VERDICT = "RH wrong key at bar 12 beat 2; LH late to beat 3 (0.4 s)"
LONG_REASON = "LH bar 11, beat 4 → bar 12, beat 1: at 48, twice running. Begin at beat 3."


@pytest.mark.parametrize(
    ("size", "hands", "shown"),
    [
        ((80, 24), Hands.RIGHT, (LONG_VERDICT, LONG_REASON)),
        ((80, 24), Hands.TOGETHER, (LONG_VERDICT, LONG_REASON)),
        ((60, 18), Hands.TOGETHER, (LONG_VERDICT, "This window needs 3 more rows.")),
        ((120, 40), Hands.TOGETHER, (LONG_VERDICT, LONG_REASON)),
    ],
)
def test_a_long_verdict_and_reason_are_read_whole_or_to_the_end_of_a_word(size, hands, shown):
    drill = FakeDrill(two_hands(), window=Window(F(0), F(8), hands))

    async def run(seat):
        await seat.play(*[note.pitch for note in drill.excerpt.notes[:-1]], 61)
        screen = seat.app.screen
        screen.result.show_verdict(LONG_VERDICT, "RH BEAT 2", fault=True)
        if size[1] > 18:
            screen.result.show_reason(LONG_REASON)
        await seat.pilot.pause()
        lines = [screen.query_one(name) for name in ("#verdict", "#reason")]
        assert tuple(str(line.render()) for line in lines) == shown
        assert all(screen.query_one("Words").region.contains_region(one.region) for one in lines)

    seated(size, run, drill=drill)


def test_where_a_click_is_asked_for_it_says_how_to_start_it():
    async def run(seat):
        assert "Strike any key for the count-in" in seat.text
        assert "any key counts in" in seat.text

    drill = FakeDrill(two_hands())
    drill.click = True
    seated((80, 24), run, drill=drill)


def test_every_request_has_a_key():
    async def run(seat):
        for key in ("left", "down", "up", "o", "a", "n", "x", "right"):
            await seat.pilot.press(key)
        assert set(seat.staging.drill.asked) == set(Request)

    seated((80, 24), run)


@pytest.mark.parametrize("start", [None, Start()])
def test_the_piano_is_called_by_its_name(start):
    async def run(seat):
        assert "Test piano\n" in f"{seat.text}\n"
        assert ":out" not in seat.text

    seated((80, 24), run, start=start)


def test_requests_are_in_the_command_palette():
    async def run(seat):
        names = {one.title for one in seat.app.get_system_commands(seat.app.screen)}
        assert {request.value.capitalize() for request in Request} <= names
        every = [one.title for one in seat.app.get_system_commands(seat.app.screen)]
        assert len(every) == len(set(every))
        assert "Screenshot" not in every
        await seat.pilot.press("ctrl+p")
        await seat.pilot.pause()
        assert "🔎" not in seat.text

    seated((80, 24), run)


def test_a_piano_that_vanishes_is_said_and_playing_goes_on_when_it_is_back():
    async def run(seat):
        await seat.play(60, 62)
        seat.staging.ports.post(PianoLost("Test piano"))
        await seat.pilot.pause()
        assert "No piano. Plug it in" in seat.text
        seat.staging.ports.post(PianoFound("Test piano"))
        await seat.play(*RIGHT)
        assert seat.app.screen.query_one("#clean-run").words == "1 of 3 clean"

    seated((80, 24), run)


@pytest.mark.parametrize("size", SIZES)
def test_a_record_that_cannot_be_written_is_said_in_the_keys_row_until_it_can(size, monkeypatch):
    monkeypatch.setattr("coach.screens.drill_sayings.SAVE_S", 0.01)
    locked = "Another program holds the record: close it. Till then all is kept in memory."

    async def run(seat):
        await seat.play(*RIGHT)
        assert isinstance(seat.app.screen, DrillScreen)  # nothing lies over the staff
        assert seat.text.splitlines()[-1].strip() == locked
        assert seat.app.screen.query_one("#clean-run").words == "1 of 3 clean"
        await seat.play(*RIGHT)
        await asyncio.sleep(0.05)
        assert seat.text.splitlines()[-1].strip() == locked
        seat.staging.keep_says = ""  # the other program is closed
        await asyncio.sleep(0.05)
        await seat.pilot.pause()
        assert locked not in seat.text
        assert "? keys" in seat.text.splitlines()[-1]

    seated(size, run, sentence=locked)


def test_a_notice_at_the_start_waits_until_the_score_is_open(monkeypatch):
    async def run(seat):
        await seat.until(NoticeScreen)
        assert [type(one) for one in seat.app.screen_stack][1:] == [
            HomeScreen,
            DrillScreen,
            NoticeScreen,
        ]
        await seat.pilot.press("enter", "escape")
        assert isinstance(seat.app.screen, HomeScreen)

    def slowly(self, path, moves, on_progress, cancelled):
        time.sleep(0.2)
        return self.score

    monkeypatch.setattr(Staging, "_open", slowly)
    seated((80, 24), run, start=Start(Path("tune.musicxml")), notices=("The settings are gone.",))


@pytest.mark.parametrize("size", SIZES)
def test_home_offers_the_warm_up_first_then_the_last_piece(size):
    async def run(seat):
        lines = [line.strip() for line in seat.text.splitlines()]
        offers = [line for line in lines if line.startswith(("Warm-up", "Fake tune", "Another"))]
        assert offers[0].startswith("Warm-up   2 weak spots")
        assert offers[1].startswith("Fake tune   go on")
        assert offers[2].startswith("Another score")
        assert "Pain means stop" in seat.text
        assert "What your teacher or your doctor tells you comes first." in seat.text
        await seat.pilot.press("down", "enter")
        await seat.until(DrillScreen)
        assert seat.staging.errands == [Errand.GO_ON]
        await seat.pilot.press("escape")
        assert isinstance(seat.app.screen, HomeScreen)

    assert seated(size, run, start=Start()).left == 1


def test_a_score_that_cannot_be_opened_is_said_in_its_own_sentence():
    async def run(seat):
        await seat.until(NoticeScreen)
        assert "broken.musicxml is empty; choose another file." in seat.text

    seated((80, 24), run, start=Start(Path("broken.musicxml")))


def test_a_terminal_that_is_too_small_says_so_and_comes_back():
    async def run(seat):
        await seat.pilot.resize_terminal(50, 15)
        await seat.pilot.pause()
        assert isinstance(seat.app.screen, TooSmallScreen)
        assert "60 columns by 18 rows" in seat.text
        await seat.play(*RIGHT)  # the piano is heard all the same
        await seat.pilot.resize_terminal(80, 24)
        await seat.pilot.pause()
        assert seat.app.screen.query_one("#clean-run").words == "1 of 3 clean"

    seated((80, 24), run)


def test_without_ports_the_demo_and_the_letters_are_offered():
    async def run(seat):
        await seat.until(ConnectScreen)
        assert "Install libasound2" in seat.text
        assert "I notice it by myself" not in seat.text  # without MIDI nothing is noticed
        assert "demo" in seat.text
        await seat.pilot.press("down", "down", "enter")
        await seat.pilot.pause()
        await seat.pilot.press("q", "w", "e", "r", "w")  # C D E F D on the upper row
        await seat.pilot.pause()
        assert seat.app.screen.query_one("#clean-run").words == "1 of 3 clean"

    seated((80, 24), run, piano=False, ports=False)


def test_a_midi_system_that_goes_is_said_instead_of_a_piano_to_be_plugged_in(monkeypatch):
    monkeypatch.setattr("coach.screens.app.PIANO_WAIT_S", 1000.0)  # it is asked for nothing else

    async def run(seat):
        gone, post = "JACK has stopped: start it again.", seat.staging.ports.post
        post(PianoLost("Test piano", gone))
        await seat.pilot.pause()
        assert gone in seat.text
        assert "Plug it in" not in seat.text
        await seat.pilot.press("escape", "enter")  # another piece, meanwhile
        await seat.until(DrillScreen)
        assert gone in seat.text
        post(PianoLost("Test piano"))  # it is back, but the piano is not
        await seat.pilot.pause()
        assert gone not in seat.text
        assert "Plug it in" in seat.text
        post(PianoFound("Test piano"))
        await seat.pilot.pause()
        assert "play when ready" in seat.text

    seated((120, 40), run)


def test_a_port_that_is_not_there_is_said_with_those_that_are():
    async def run(seat):
        seat.app.collaborators = replace(seat.app.collaborators, port_wanted="organ")
        await seat.until(ConnectScreen)
        assert "No port has “organ” in its name. There is: Test piano." in seat.text

    seated((80, 24), run, start=Start(), piano=False)


def test_the_letters_say_which_notes_they_are():
    async def run(seat):
        await seat.pilot.press("k")
        assert "Z row from C3, Q row from C4" in seat.text
        await seat.pilot.press("f1")
        assert "for the right hand" in HelpScreen().text()

    seated((80, 24), run)


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="a system without these signals")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_an_ended_program_keeps_where_the_drill_stands(name):
    async def run(seat):
        await seat.play(*RIGHT[:2])
        os.kill(os.getpid(), getattr(signal, name))
        await asyncio.sleep(0.05)

    assert seated((80, 24), run).left == 1


def test_the_demo_says_that_its_player_is_simulated_and_plays_by_itself():
    async def run(seat):
        await seat.until(DrillScreen)
        assert "SIMULATED PLAYER" in seat.text
        await seat.pilot.press("]", "]", "]", "]")
        for _ in range(200):
            if seat.staging.kept:
                break
            await asyncio.sleep(0.02)
        await seat.pilot.pause()
        assert "Clean." in seat.text

    start = Start(Path("tune.musicxml"), Errand.DEMO)
    assert seated((80, 24), run, start=start, piano=False).kept


def test_details_and_why_are_one_key_away():
    async def run(seat):
        await seat.play(*WRONG)
        await seat.pilot.press("d")
        assert "wrong key" in seat.text
        assert "20 ms late" in seat.text
        await seat.pilot.press("escape", "w")
        assert "Because." in seat.text
        assert "2 of the last 2" in seat.text

    seated((80, 24), run)


def test_the_plan_is_one_key_away_and_marks_in_words_what_is_now():
    rows = [PlanRow(f"bar {bar}, in time", Window(F(0), F(4)), "to come") for bar in range(60)]
    rows[0], rows[50] = replace(rows[0], state="held"), replace(rows[50], state="now")

    async def run(seat):
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
def test_a_long_plan_shows_what_is_due_and_folds_the_rest_into_lines_that_can_be_looked_along(size):
    rows = learning(200, held=80)

    async def run(seat):
        seat.staging.plan = rows
        await seat.pilot.press("t")
        await seat.pilot.pause()
        tasks = re.findall(r"(?:> +)?(?:held|NOW|to come) .*\bbars? [^│\n]*?(?= *│)", seat.text)
        assert tasks == [
            "held       78 tasks in bars 1 to 39",
            "held   79. bar 40, left hand alone",
            "held   80. bar 40, hands together",
            ">      NOW   81. bar 41, left hand alone",
            "to come   82. bar 41, hands together",
            "to come   83. bar 42, left hand alone",
            "to come   84. bar 42, hands together",
            "to come       316 tasks in bars 43 to 200",
        ]
        await seat.pilot.press("end")
        await seat.pilot.pause()
        assert "400. bar 200, hands together" in line_of(seat, "> ")
        assert "NOW   81. bar 41, left hand alone" in seat.text
        await seat.pilot.press("pageup", "up")
        await seat.pilot.pause()
        assert " 389. " in line_of(seat, "> ")

    seated(size, run, drill=FakeDrill(two_hands(200)))


def learning(bars, held):
    """A plan of two tasks for each bar, so many of them held."""
    whats = [(bar, what) for bar in range(bars) for what in ("left hand alone", "hands together")]
    states = ["held"] * held + ["now"] + ["to come"] * (2 * bars - held - 1)
    return [
        PlanRow(f"bar {bar + 1}, {what}", Window(F(4 * bar), F(4 * bar + 4)), state)
        for (bar, what), state in zip(whats, states, strict=True)
    ]


@pytest.mark.parametrize(("tasks", "told"), [(2, True), (1, False)])
def test_a_plan_of_one_task_offers_nothing_to_look_along(tasks, told):
    async def run(seat):
        seat.staging.plan = learning(1, held=0)[:tasks]
        await seat.pilot.press("t")
        await seat.pilot.pause()
        assert ("look along the plan" in seat.text) is told

    seated((80, 24), run)


def test_the_plan_is_changed_at_its_own_screen_and_says_what_was_done():
    score = two_hands(8)
    drill = Drill(score, learn(score, Window(F(0), F(32))))

    async def run(seat):
        await seat.pilot.press("t")
        assert "> " in line_of(seat, "NOW")
        assert " 1. " in line_of(seat, "NOW")
        before = drill.coach.plan()
        await seat.pilot.press("down", "e")
        assert drill.coach.plan()[:2] == (
            replace(before[1], state="now"), replace(before[0], state="to come"))  # fmt: skip
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


def top_line(seat):
    return str(seat.app.screen.query_one("#assignment").render())


def strip_line(seat):
    return str(seat.app.screen.query_one("#strip").render())


def reason_line(seat):
    return str(seat.app.screen.query_one("#reason").render())


def line_of(seat, words):
    """The line of the screen with these words in it."""
    return next(line for line in seat.text.splitlines() if words in line)


@pytest.mark.parametrize(("size", "more"), [((80, 24), True), ((120, 60), False)])
def test_a_text_longer_than_the_terminal_says_that_there_is_more_and_with_which_keys(size, more):
    async def run(seat):
        await seat.pilot.press("?")
        await seat.pilot.pause()
        assert ("PgDn: more" in seat.text) is more
        assert "Enter, Esc or play: back" in seat.text
        assert ("a note too many" in seat.text) is not more
        await seat.pilot.press("pagedown", "pagedown", "pagedown")
        await seat.pilot.pause(0.5)
        assert "a note too many" in seat.text

    seated(size, run)


def test_plain_characters_only_on_the_whole_drill_screen():
    async def run(seat):
        await seat.play(*WRONG)
        assert seat.text.isascii()
        await seat.pilot.press("d")
        assert "│" not in seat.text

    drill = FakeDrill(two_hands())
    seated((80, 24), run, settings=Settings(ascii_only=True), drill=drill)


def test_plain_characters_only_on_every_other_screen():
    score = two_hands(8)
    drill = Drill(score, learn(score, Window(F(0), F(32))))

    async def run(seat):
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
    seated((120, 70), run, settings=plain, drill=drill, learns=True)


def test_a_pause_says_how_to_go_on():
    async def run(seat):
        await seat.pilot.press("p")
        assert "Resting." in seat.text
        await seat.pilot.press("p")
        assert "Resting." not in seat.text

    seated((80, 24), run)


def test_notes_of_the_window_can_be_given_to_the_other_hand():
    async def run(seat):
        await seat.pilot.press("m")
        assert "bar 1, beat 1" in seat.text
        await seat.pilot.press("space", "m")
        await seat.opened(2)

    staging = seated((80, 24), run)
    assert staging.moves == ["bar 1 beat 1 staff 2 voice 5 C3 to RH"]
    assert staging.errands == [Errand.DRILL, Errand.GO_ON]


def test_a_passage_is_moved_in_one_line_and_a_wrong_line_is_said():
    async def run(seat):
        await seat.pilot.press("m", "tab", *"bars 1-9 up", "enter")
        assert "is not a hand move" in seat.text
        await seat.pilot.press(*["backspace"] * 11, *"bars 1-2 split D4", "enter")
        await seat.opened(2)

    assert seated((80, 24), run).moves == ["bars 1-2 split D4"]


def going_on():
    """A goal about to be reached, and what comes after it."""
    score = two_hands(4)
    return FakeDrill(score, required=1), FakeDrill(score, window=Window(F(8), F(16), Hands.RIGHT))


@pytest.mark.parametrize("size", SIZES)
def test_from_a_goal_the_lowest_key_of_the_piano_goes_on_to_the_next_bars(size, monkeypatch):
    monkeypatch.setattr("coach.screens.drill_view.READ_S", 0.05)
    first, then = going_on()

    async def run(seat):
        await seat.play(*RIGHT)
        said = words_of(seat)
        assert "Your lowest key goes on to bars 3 to 4; or play this again." in said
        await seat.until_large("LOW KEY: ON")
        await seat.play(21)
        await seat.opened(2)
        assert "bars 3 to 4" in top_line(seat)
        assert seat.staging.left == 1

    seated(size, run, drill=first, after=then)


def test_other_keys_at_the_goal_do_not_go_on_and_the_computer_s_key_for_on_does():
    first, then = going_on()

    async def run(seat):
        await seat.play(*RIGHT)
        for pitch in (40, 61, 90):
            seat.app.screen._answer(KeyUp(pitch, 9.0))
            assert not seat.app.screen.goes_on(pitch)
        await seat.pilot.press("n")
        await seat.opened(2)

    seated(SIZES[0], run, drill=first, after=then)


def test_the_lowest_key_asks_for_nothing_before_the_goal():
    async def run(seat):
        await seat.play(21)
        assert seat.staging.errands == [Errand.DRILL]

    first, then = going_on()
    seated(SIZES[0], run, drill=first, after=then)


@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("hands", [Hands.RIGHT, Hands.TOGETHER])
@pytest.mark.parametrize("size", [(80, 24), (100, 30), (120, 40)])
def test_the_verdict_is_written_large_in_every_usual_terminal(size, hands, ascii_only):
    drill = FakeDrill(two_hands(), hands=hands)
    keys = [note.pitch for note in drill.excerpt.notes]

    async def run(seat):
        await seat.play(*keys)
        assert seat.is_large("CLEAN", plain=ascii_only)
        await seat.play(*keys[:-1], 66)
        assert not seat.is_large("CLEAN", plain=ascii_only)
        assert seat.is_large(f"{hands.value.upper()} BEAT 1", plain=ascii_only)

    seated(size, run, drill=drill, settings=Settings(ascii_only=ascii_only))


@pytest.mark.parametrize("size", [(60, 18), *SIZES])
def test_while_a_long_score_is_read_it_says_for_how_long_and_how_to_give_up(size):
    def opener(path, moves, on_progress, cancelled):
        on_progress("Reading tune.musicxml: 3 s")
        while not cancelled():
            time.sleep(0.01)
        raise ScoreError("Given up.")

    async def run(seat):
        await seat.until(HomeScreen)
        opening = OpeningScreen(opener, Path("tune.musicxml"), Errand.DRILL)
        await seat.app.push_screen(opening)
        for _ in range(500):
            await seat.pilot.pause()
            if "Reading tune.musicxml: 3 s" in seat.text:
                break
        assert "Reading tune.musicxml: 3 s" in seat.text
        assert "Esc: give up" in seat.text
        await seat.pilot.press("escape")
        await seat.until(HomeScreen)

    seated(size, run, start=Start())


@pytest.mark.parametrize("key", ["d", "w", "t", "question_mark"])
def test_playing_on_closes_what_stands_over_the_music_and_is_heard(key):
    async def run(seat):
        await seat.pilot.press(key)
        await seat.until(SheetScreen)
        await seat.play(*RIGHT)
        await seat.until(DrillScreen)
        assert "1 of 3 clean" in seat.app.screen.query_one("#clean-run").words

    seated(SIZES[0], run)


def test_a_notice_at_the_start_goes_when_the_pianist_plays():
    async def run(seat):
        await seat.until(NoticeScreen)
        await seat.play(RIGHT[0])
        await seat.until(DrillScreen)

    seated(SIZES[0], run, start=Start(Path("tune.musicxml")), notices=("The record is locked.",))


def test_control_c_leaves_the_program_and_keeps_where_the_drill_stands():
    async def run(seat):
        await seat.pilot.press("ctrl+c")

    assert seated(SIZES[0], run).left == 1
