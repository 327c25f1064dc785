"""What the screens say, and the letters that they say it with."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.drill.drill_events import DrillState
from coach.coaching.model import Assignment, AssignmentKind
from coach.drill import judge_window, played
from coach.judging.model import Cause, Stage
from coach.score.build import score_from_notes
from coach.score.model import Hands
from coach.score.window import Window, excerpt
from coach.screens.big_letters import big, big_width
from coach.screens.dialogs.texts import detail_lines
from coach.screens.interfaces import others_words, piano_words
from coach.screens.keymap import COMMANDS, DEMO_COMMANDS, help_line
from coach.screens.terminal.ascii_fallback import plain
from coach.screens.widgets.head import shorten_line
from coach.screens.widgets.result import count_rows, fit_words, shorten_to
from coach.screens.wording import (
    assignment_headline,
    bpm,
    state_words,
    tempo_words,
    verdict_headline,
    window_words,
)
from tests.screenfakes import note, two_hands
from tests.test_catalogue import MADE


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        (0, 4, "bar 1"),
        (0, 8, "bars 1 to 2"),
        (1, 2, "bar 1, beat 2 → 3"),
        (2, 4, "bar 1, beat 3 → bar 2, beat 1"),
        (F(1, 2), 2, "bar 1, the & of 1 → beat 3"),
    ],
)
def test_windows_are_named_by_bars_and_beats(start: F | int, end: int, words: str) -> None:
    assert window_words(two_hands(2), Window(F(start), F(end))) == words


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        (0, 1, "pickup"),
        (0, 9, "pickup to bar 2"),
        (0, 2, "pickup, beat 4 → bar 1, beat 2"),
        (1, 9, "bars 1 to 2"),
    ],
)
def test_the_notes_before_bar_1_are_the_pickup(start: int, end: int, words: str) -> None:
    """Common practice: nobody says "bar 0"."""
    notes = [note(60, onset, 1) for onset in range(9)]
    score = score_from_notes(notes, pickup_quarters=1)
    assert window_words(score, Window(F(start), F(end))) == words


def test_a_pickup_that_is_printed_with_a_number_keeps_it() -> None:
    bar = score_from_notes([note(60, 0, 1)], pickup_quarters=1).bars[0]
    assert bar.words == "pickup"
    assert replace(bar, number="1").words == "bar 1"
    assert replace(bar, lead_quarters=F(0)).words == "bar 0"


@pytest.mark.outside
@pytest.mark.parametrize(
    ("metre", "qpm", "beats"), [("4/4", 60, 60), ("6/8", 90, 60), ("2/2", 120, 60), ("3/8", 90, 60)]
)
def test_tempo_is_in_beats_of_the_metre(metre: str, qpm: int, beats: int) -> None:
    """Common practice: 6/8 is beaten in dotted quarters, 2/2 in halves."""
    score = score_from_notes([note(60, 0, 4)], metre=metre)
    assert bpm(score, Window(F(0), F(1)), qpm) == beats


def test_no_tempo_is_the_players_own() -> None:
    assert tempo_words(two_hands(), Window(F(0), F(4)), None) == "own tempo"


@pytest.mark.parametrize(
    ("metre", "shown"),
    [("6/8", "dotted quarter = 56"), ("6/4", "quarters at 84"), ("9/16", "dotted eighth = 112")],
)
def test_a_compound_metre_names_what_is_counted(metre: str, shown: str) -> None:
    score = score_from_notes([note(60, 0, 1)], metre=metre)
    assert tempo_words(score, Window(F(0), F(1)), 84) == shown


@pytest.mark.parametrize(
    ("room", "shown"),
    [
        (80, "hands together · bar 1 · 56 bpm · pulse"),
        (38, "hands together · bar 1 · 56 bpm"),
        (14, "hands together"),
        (5, "hands"),
    ],
)
def test_a_line_that_is_too_long_loses_whole_parts(room: int, shown: str) -> None:
    line = "hands together · bar 1 · 56 bpm · pulse"
    assert shorten_line(line, room) == shown
    assert shorten_line(plain(line), room) == plain(shown)


def test_where_a_click_is_asked_for_it_says_how_the_count_in_is_started() -> None:
    asked = Assignment(Window(F(0), F(4)), 60.0, Stage.PULSE, 3, AssignmentKind.TRY, "", click=True)
    assert state_words(DrillState.READY, asked) == "any key counts in"
    assert state_words(DrillState.READY, replace(asked, click=False)) == "play when ready"
    assert state_words(DrillState.PLAYING, asked) == "listening"


@pytest.mark.parametrize(
    ("port", "piano"),
    [
        ("Stage piano:out", "Stage piano"),
        ("Stage piano:MIDI OUT 1", "Stage piano"),
        ("Stage piano:Stage piano MIDI 1 20:0", "Stage piano"),
        ("a2j:Stage piano [20] (capture): Stage piano MIDI 1", "Stage piano"),
        ("Midi-Bridge:Stage piano:(capture_0) Stage piano MIDI 1", "Stage piano"),
        ("Interface:Grand 24:0", "Interface:Grand"),
        ("Stage piano", "Stage piano"),
        ("Stage piano 1", "Stage piano 1"),
        (":out", ":out"),
    ],
)
def test_a_piano_is_called_by_its_name_and_not_by_its_ports(port: str, piano: str) -> None:
    """The forms that ALSA, JACK and its bridges give to names: from memory."""
    assert piano_words(port) == piano


@pytest.mark.parametrize(
    ("window", "qpm", "words"),
    [
        (Window(F(0), F(4), Hands.LEFT), 60, "LH ALONE"),
        (Window(F(0), F(8)), 60, "BARS 1-2"),
        (Window(F(4), F(8)), 50, "BAR 2"),
        (Window(F(2), F(4)), 60, "BAR 1 BEAT 3"),
        (Window(F(0), F(4)), 50, "50 BPM"),
        (Window(F(0), F(4)), None, "OWN TEMPO"),
        (Window(F(0), F(4)), 60, ""),
    ],
)
def test_large_letters_say_what_is_new_the_hands_before_the_place_before_the_tempo(
    window: Window, qpm: float | None, words: str
) -> None:
    before = Assignment(Window(F(0), F(4)), 60, Stage.RHYTHM, 3, AssignmentKind.DRILL, "")
    after = replace(before, window=window, qpm=qpm)
    assert assignment_headline(two_hands(2), before, after) == words
    assert big(words)


@pytest.mark.parametrize(
    ("cause", "large"), [(Cause.HESITATION, "RH BEAT 3"), (Cause.BARLINE_WAIT, "BARLINES")]
)
def test_what_is_at_one_barline_after_another_is_no_single_beat_s(cause: Cause, large: str) -> None:
    made = MADE[cause]
    assert verdict_headline(made.piece, made.judge(Stage.RHYTHM)) == large


def test_a_large_two() -> None:
    assert big("2") == ("▀▀█", "█▀▀", "▀▀▀")


@pytest.mark.parametrize("text", ["0 of 3", "CLEAN", "LH BEAT 2", "BOTH BEAT 12", "NOT SURE"])
def test_large_letters_are_as_wide_as_said(text: str) -> None:
    assert {len(row) for row in big(text)} == {big_width(text)}
    assert {len(row) for row in big(text, tall=True)} == {big_width(text, tall=True)}
    assert (len(big(text)), len(big(text, tall=True))) == (3, 5)


def test_all_letters_and_figures_look_different() -> None:
    drawn = {big(char) for char in "ABCDEFGHIJKLMNOPQRSTUVWXYZ123456789"}
    assert len(drawn) >= 33  # S and 5, O and 0, Z and 2 may look alike at this size


@pytest.mark.parametrize("width", [58, 78, 118])
@pytest.mark.parametrize("how", [{}, {"demo": True}, {"letters": True}])
def test_the_help_line_fits_and_always_says_where_all_keys_are(
    width: int, how: dict[str, bool]
) -> None:
    line = help_line(width, demo="demo" in how, letters="letters" in how)
    assert len(line) <= width
    assert "keys" in line


def test_no_key_does_two_things() -> None:
    keys = [key for one in (*COMMANDS, *DEMO_COMMANDS) for key in one.keys.split(",")]
    assert len(keys) == len(set(keys))


VERDICT = "RH wrong key at bar 12 beat 2; LH late to beat 3 (0.4 s)"
REASON = "LH bar 11, beat 4 → bar 12, beat 1: at 48, twice running. Begin at beat 3."


@pytest.mark.parametrize(
    ("width", "rows", "shown"),
    [
        (80, 2, (VERDICT, REASON)),
        (56, 4, (VERDICT, REASON)),
        (58, 2, (VERDICT, REASON.removesuffix(" Begin at beat 3."))),
        (56, 1, (VERDICT, "")),
        (40, 1, ("RH wrong key at bar 12 beat 2", "")),
        (20, 1, ("RH wrong key at...", "")),
        (56, 0, ("", "")),
    ],
)
def test_what_does_not_fit_is_left_out_from_its_end_and_the_verdict_comes_first(
    width: int, rows: int, shown: tuple[str, str]
) -> None:
    assert fit_words(VERDICT, REASON, width, rows) == shown


@pytest.mark.property
@given(
    st.lists(st.text("abcde", min_size=1, max_size=9), max_size=20),
    st.integers(9, 60),
    st.integers(0, 5),
)
def test_no_word_is_cut_and_nothing_is_over_the_rows(
    words: list[str], width: int, rows: int
) -> None:
    text = " ".join(words)
    some = shorten_to(text, width, rows)
    assert count_rows(some, width) <= rows
    assert text.startswith(some.removesuffix("..."))
    kept = some.removesuffix("...").split()
    assert kept == words[: len(kept)]


@pytest.mark.parametrize(
    ("names", "words"),
    [
        ((), ""),
        (("Organ",), "I hear Piano. Organ is connected too: to play on it, leave and start again "
                     "with --port Organ."),
        (("Organ", "My 'Synth'"), "I hear Piano. Organ and My 'Synth' are connected too: to play "
                                  "on one of them, leave and start again with --port Organ."),
    ],
)  # fmt: skip
def test_several_pianos_in_words(names: tuple[str, ...], words: str) -> None:
    assert others_words("Piano:out", names) == words


def test_the_details_name_a_place_once_in_a_line() -> None:
    for cause in (Cause.HESITATION, Cause.WRONG_KEY):
        made = MADE[cause]
        lines = detail_lines(made.piece, made.judge(Stage.RHYTHM))
        told = next(line for line in lines[1:] if "late to" in line or "F sharp" in line)
        assert told.count("bar 1") == 1


def test_the_details_are_a_screenful_with_what_counts_first() -> None:
    """A take of which half is missing, and at shape much besides that is not asked for."""
    score = two_hands(8)
    window = Window(F(0), F(32))
    part = excerpt(score, window)
    keys = [(n.pitch, 64, 0.6 * float(n.onset_quarters), 0.3) for n in part.notes[:-9]]
    judgement = judge_window(score, window, played(keys), stage=Stage.RHYTHM)
    fault = MADE[Cause.WRONG_KEY].judge(Stage.RHYTHM).faults[0]
    more = (replace(fault, words=f"fault {n}") for n in range(12))
    forgiven = (replace(fault, words="held on", forgiven=True) for _ in range(50))
    judgement = replace(judgement, faults=(*judgement.faults, *more, *forgiven))
    lines = detail_lines(score, judgement)
    assert len(lines) <= 24
    assert lines[0] == judgement.sentence
    assert "Not asked for yet: held on (50 times)" in lines
    assert any(line.startswith("And ") for line in lines)
