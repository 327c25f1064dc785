"""The drill in lines of text: a whole lesson, typed words, and what a screen reader is told."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest

from coach.cli import main
from coach.cli.plain import HELP, PlainSession
from coach.coaching.drill import CountIn, Drill
from coach.playing.midi_events import KeyDown, KeyUp, PianoFound, PianoLost
from coach.score.counting import CountingSystem, syllables
from coach.score.model import OwnNote, Score
from coach.score.window import Window, excerpt
from coach.screens.interfaces import DrillSession
from coach.screens.plain import note_lines
from coach.screens.wording import FINGERS_PRINTED, FINGERS_SUGGESTED
from tests.screenfakes import FakeClick, FakeDrill, two_hands

RIGHT = (60, 62, 64, 65, 62)
WRONG = (60, 62, 66, 65, 62)


class Desk:
    """A plain session at a fake drill, and what it said."""

    def __init__(self, click: FakeClick | None = None, score: Score | None = None) -> None:
        self.said: list[str] = []
        self.kept = 0
        self.drill = FakeDrill(score or two_hands())
        session = DrillSession(self.drill.score, self.drill, "Fake tune", self._keep, str)
        self.plain = PlainSession(
            session,
            clock=lambda: 0.0,
            counting=CountingSystem.TRADITIONAL,
            click=click,
            tell=self.said.append,
        )
        self.plain.start()

    def _keep(self, ended: object) -> str:
        self.kept += 1
        return ""

    def play(self, *pitches: int) -> list[str]:
        """What is said while these are played."""
        before = len(self.said)
        for at, pitch in enumerate(pitches):
            self.plain.hear(KeyDown(pitch, 64, 0.5 * at))
            self.plain.hear(KeyUp(pitch, 0.5 * at + 0.4))
        return self.said[before:]

    def type(self, word: str) -> list[str]:
        """What is said when this is typed."""
        before = len(self.said)
        self.plain.obey(word)
        return self.said[before:]


def test_what_is_asked_for_is_said_with_its_notes_by_hand() -> None:
    said = Desk().said
    assert said[0] == "Fake tune"
    assert said[2].startswith("RH alone · bar 1 · 60 bpm · rhythm. Play it as it is")
    assert said[3].startswith("  bar 1, RH: 1 C (finger 1), 2 D (finger 2), 3 E (finger 3)")
    assert said[4] == "  on to bar 2, RH: 1 D (finger 1)"
    assert said[-1] == "Play when ready."


def test_a_repetition_is_one_line_with_its_verdict_and_the_clean_run() -> None:
    desk = Desk()
    assert desk.play(*RIGHT) == ["Clean. 1 of 3 clean."]
    unclean = desk.play(*WRONG)
    assert unclean[0] == "RH wrong key on beat 3."
    assert unclean[2].startswith("RH alone · bar 1, beat 1 → 3 · 40 bpm")  # the window narrows
    assert desk.kept == 2


def test_words_that_are_typed_ask_for_what_the_keys_of_the_screen_ask_for() -> None:
    desk = Desk()
    assert any("bars 1 to 2" in line for line in desk.type("larger\n"))
    assert "So far: " in desk.type("WHY ")[0]
    assert "Nothing has been played yet." in desk.type("details")
    assert any("bars 1 to 2" in line for line in desk.type("what"))
    assert any("Resting" in line for line in desk.type("pause"))
    assert desk.type("nonsense") == [HELP]
    assert desk.type("") == []
    assert not desk.plain.obey("quit")


def test_fingers_are_suggested_where_none_are_printed_until_they_are_no_more() -> None:
    score = two_hands()
    notes = [
        replace(one, fingering=one.fingering if one.pitch == 60 else ()) for one in score.notes
    ]
    desk = Desk(score=replace(score, notes=tuple(notes)))
    suggested = " ".join(desk.type("fingers"))
    assert suggested.startswith(FINGERS_SUGGESTED)
    assert "1 C (finger 1)" in suggested
    assert re.search(r"\(finger \d\?\)", suggested)
    assert "?)" in " ".join(desk.type("what"))
    printed = " ".join(desk.type("fingers"))
    assert printed.startswith(FINGERS_PRINTED)
    assert "?)" not in printed


def test_what_was_written_on_the_window_is_said() -> None:
    score = replace(two_hands(), own_notes=(OwnNote(F(0), F(4), "bar 1", "Drop the wrist."),))
    desk = Desk(score=score)
    assert "Your note on bar 1: Drop the wrist." in desk.said


def test_a_piano_that_goes_and_comes_is_said() -> None:
    desk = Desk()
    desk.plain.hear(PianoLost("Test piano:out", "The cable is out."))
    assert any("No piano" in line for line in desk.said)
    desk.plain.hear(PianoFound("Test piano:out"))
    assert "Piano: Test piano." in desk.said


@pytest.mark.parametrize("sounds", [True, False])
def test_a_click_sounds_or_it_is_said_that_it_can_not(sounds: bool) -> None:
    click = FakeClick(sounds=sounds)
    desk = Desk(click)
    desk.plain.show([CountIn(1.0, 0.5, 4, 8)])
    assert "Count-in: 4 beats." in desk.said
    assert any("can't sound" in line for line in desk.said) is not sounds
    assert click.played


def test_the_notes_of_two_hands_are_told_bar_by_bar_with_what_is_counted() -> None:
    score = two_hands()
    lines = list(note_lines(score, excerpt(score, Window(F(0), F(4), landing=False)), syllables))
    assert [line.split(":")[0].strip() for line in lines] == ["bar 1, RH", "bar 1, LH"]
    counted = re.findall(r"\d(?= [A-G])", lines[0])
    assert counted == list("1234")  # common practice: a beat of four quarters each


@pytest.fixture(scope="module")
def lesson(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """The whole demo, as it is told."""
    import contextlib
    import io

    out = io.StringIO()
    folder: Path = tmp_path_factory.mktemp("data")
    with contextlib.redirect_stdout(out):
        assert main(["demo", "--plain", "--data", str(folder)]) == 0
    return out.getvalue().splitlines()


def test_the_demo_in_plain_lines_is_a_whole_lesson_up_to_its_goal(lesson: list[str]) -> None:
    assert "SIMULATED" in lesson[0].upper()
    asked = [line.split(" · ")[0] for line in lesson if " · " in line]
    assert asked[0] == "hands together"
    assert "LH alone" in asked  # the hand that fails is taken alone
    assert asked[-1] == "hands together"
    assert any(line.startswith("It was found, made small") for line in lesson)


def test_the_demo_in_plain_lines_asks_for_nothing_that_nobody_can_type(lesson: list[str]) -> None:
    assert not any("type " in line for line in lesson)
    assert lesson[-1].startswith("Now you, at the piano: coach drill ")
    assert Path(lesson[-1].split()[-2].strip("'")).is_file()


def test_nothing_is_called_clean_for_long_without_anything_new_being_asked_for(
    lesson: list[str],
) -> None:
    """Whoever plays over and over with a breath between is led on in that breath."""
    running = longest = 0
    for line in lesson:
        running = running + 1 if line == "Clean." else 0
        longest = max(longest, running)
    assert longest == 1


def test_a_real_drill_is_told_too() -> None:
    from coach.coaching.model import Goal

    score = two_hands()
    drill = Drill(score, Goal(Window(F(0), F(4), landing=False), 60.0))
    said: list[str] = []
    session = DrillSession(score, drill, "Fake tune", lambda _: "", str)
    plain = PlainSession(
        session, clock=lambda: 0.0, counting=CountingSystem.TRADITIONAL, tell=said.append
    )
    plain.start()
    assert any(line.startswith("hands together · bar 1 · 60 bpm") for line in said)
