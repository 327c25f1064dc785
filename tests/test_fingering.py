"""Fingers that are suggested: what they are, that nothing printed is touched, and how they look."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.engraving import write_mei
from coach.score.build import score_from_notes
from coach.score.counting import syllables
from coach.score.fingering import _REACHES, FingerAdvice, pair_cost, triple_cost
from coach.score.model import Hands, Score
from coach.score.notation import write
from coach.score.reading import read_score
from coach.score.window import Window, excerpt
from coach.screens.staff import WindowLayout
from coach.screens.wording import FINGERS_PRINTED, FINGERS_SUGGESTED
from scripts.corpus import corpus
from tests.screenfakes import FakeDrill
from tests.seat import Seat, seated

C_MAJOR = (60, 62, 64, 65, 67, 69, 71, 72, 74, 76, 77, 79, 81, 83, 84)


def line(*pitches: int, hand: str = "RH", printed: dict[int, str] | None = None) -> Score:
    """Sixteenths of one hand, with fingers printed at some of them."""
    return score_from_notes(
        [
            {"pitch": pitch, "onset": F(at, 4), "length": F(1, 4), "hand": hand}
            | ({"fingering": printed[at]} if printed and at in printed else {})
            for at, pitch in enumerate(pitches)
        ]
    )


def chords(*chords: tuple[int, ...], hand: str = "RH") -> Score:
    """Quarters of several keys each."""
    return score_from_notes(
        [
            {"pitch": pitch, "onset": at, "length": 1, "hand": hand}
            for at, chord in enumerate(chords)
            for pitch in chord
        ]
    )


def suggested(score: Score) -> str:
    """The fingers of all notes in the score's order, ``-`` where one is printed."""
    fingers = FingerAdvice(score).suggest(score.notes)
    return "".join(fingers.get(note.id, "-") for note in score.notes)


@pytest.mark.outside
def test_the_scale_of_c_is_fingered_as_it_is_taught() -> None:
    """Two octaves: 123 1234 123 12345 (Jabusch 2006, Hannover, names it for his measurements)."""
    assert suggested(line(*C_MAJOR)) == "123123412312345"
    assert suggested(line(*reversed(C_MAJOR))) == "543213214321321"


@pytest.mark.outside
@pytest.mark.parametrize(
    ("pitches", "hand", "fingers"),
    [
        ((60, 62, 64, 65, 67), "RH", "12345"),
        ((48, 50, 52, 53, 55), "LH", "54321"),
        ((60, 64, 65, 67, 69, 67, 65, 64), "RH", "12345432"),  # the first of Hanon's exercises
        ((67, 69, 71, 72, 74, 76, 78, 79), "RH", "12312345"),
    ],
)
def test_five_finger_positions_and_exercises_as_they_are_taught(
    pitches: tuple[int, ...], hand: str, fingers: str
) -> None:
    """Common practice; Hanon 1873, exercise 1."""
    assert suggested(line(*pitches, hand=hand)) == fingers


@pytest.mark.outside
def test_the_rules_give_what_the_paper_says() -> None:
    """Parncutt et al. 1997, table 1, and rules 1 to 3, 6, 8, 9, 12: by hand."""
    white, black = False, True
    assert pair_cost((60, white, 1), (62, white, 2)) == 0
    assert pair_cost((60, white, 1), (69, white, 2)) == 1 * 2 + 4 * 1  # stretch, large span
    assert pair_cost((60, white, 2), (64, white, 3)) == 1 * 2 + 2 * 2  # without the thumb
    assert pair_cost((60, white, 1), (61, black, 3)) == 2  # small span: relaxed from 3
    assert pair_cost((60, white, 3), (62, white, 4)) == 1 + 1  # weak finger, three to four
    assert pair_cost((60, white, 3), (61, black, 4)) == 1 + 1 + 1  # and four on black
    passing = pair_cost((64, white, 3), (65, white, 1)) - 4  # small span: 3 and 1, a step apart
    assert passing == 1
    onto_black = pair_cost((60, white, 2), (61, black, 1)) - 2
    assert onto_black == 3
    assert triple_cost((60, white, 3), (62, white, 4), (64, white, 5)) == 1
    assert triple_cost((60, white, 1), (62, white, 2), (64, white, 3)) == 0
    assert triple_cost((61, black, 2), (63, black, 1), (61, black, 2)) == 3 * 1  # ours, times
    assert triple_cost((60, white, 2), (63, black, 1), (60, white, 2)) == 3 * (1 + 2 + 2)
    assert all(reach.least <= reach.comfortable_from for reach in _REACHES.values())
    assert all(reach.comfortable_to <= reach.most for reach in _REACHES.values())


@pytest.mark.outside
def test_most_fingers_printed_in_the_polonaises_are_suggested() -> None:
    """Clara Wieck, op. 1, as printed in music21's corpus: n = 57 fingers, 42 were suggested alike
    when this was written. Half of them would be far more than chance, which is a fifth."""
    same = printed = 0
    for number in range(1, 5):
        score = read_score(corpus() / f"schumann_clara/polonaise_op1n{number}.mxl")
        bare = replace(score, notes=tuple(replace(note, fingering=()) for note in score.notes))
        wanted = {note.id: note.fingering[0] for note in score.notes if note.fingering}
        found = FingerAdvice(bare).suggest(note for note in bare.notes if note.id in wanted)
        printed += len(wanted)
        same += sum(found.get(note) == finger for note, finger in wanted.items())
    assert printed == 57
    assert same >= 40


def test_what_is_printed_stays_and_is_played_around() -> None:
    """With 2 on the first note the thumb comes sooner; printed fingers get no suggestion."""
    assert suggested(line(60, 62, 64, 65, 67)) == "12345"
    assert suggested(line(60, 62, 64, 65, 67, printed={0: "2"})) == "-1345"
    assert suggested(line(60, 62, 64, printed={0: "1", 1: "2", 2: "4-5"})) == "---"


def test_a_chord_is_fingered_from_the_thumb_up() -> None:
    assert suggested(chords((60, 64, 67), (60, 64, 67))) == "135135"
    assert suggested(chords((60, 64, 67, 72))) == "1235"
    assert suggested(chords((48, 52, 55), hand="LH")) == "531"
    assert suggested(chords((60, 72))) == "15"


def test_a_held_key_keeps_its_finger_and_no_other_key_gets_it() -> None:
    held = score_from_notes(
        [{"pitch": 60, "onset": 0, "length": 4, "hand": "RH"}]
        + [
            {"pitch": pitch, "onset": at, "length": 1, "hand": "RH"}
            for at, pitch in enumerate((64, 65, 67, 65))
        ]
    )
    fingers = FingerAdvice(held).suggest(held.notes)
    moving = [fingers[note.id] for note in held.notes if note.pitch != 60]
    assert fingers[held.notes[0].id] == "1"
    assert "1" not in moving
    assert moving == [*sorted(moving[:3]), moving[1]]


def test_every_note_that_a_hand_can_play_gets_one_finger_and_the_far_ones_too() -> None:
    """Leaps of three octaves, small notes, eleven keys at once: none of it ends in nothing."""
    far = line(36, 84, 36, 96, 48)
    assert len(suggested(far).replace("-", "")) == 5
    many = chords(tuple(range(60, 82, 2)))
    assert len(suggested(many).replace("-", "")) == 5  # a hand has no more
    graced = score_from_notes(
        [
            {"pitch": 62, "onset": 0, "length": 0, "hand": "RH", "grace": True},
            {"pitch": 60, "onset": 0, "length": 1, "hand": "RH"},
        ]
    )
    assert "-" not in suggested(graced)


def test_a_suggestion_does_not_depend_on_the_window_it_is_asked_for() -> None:
    score = line(*C_MAJOR, *reversed(C_MAJOR), *C_MAJOR, *reversed(C_MAJOR))
    whole = FingerAdvice(score).suggest(score.notes)
    for start in range(0, 60, 7):
        some = score.notes[start : start + 5]
        assert FingerAdvice(score).suggest(some) == {note.id: whole[note.id] for note in some}


# -- how it looks ---------------------------------------------------------------------------------


WINDOW = Window(F(0), F(2), Hands.TOGETHER)


def test_a_suggested_finger_is_told_from_a_printed_one_by_its_sign() -> None:
    score = line(*C_MAJOR[:8], printed={0: "1"})
    part = excerpt(score, WINDOW)
    fingers = FingerAdvice(score).suggest(part.notes)
    rows = WindowLayout(score, part, fingers=fingers).lay_out(80, 24).pages[0].rows
    shown = next(row.text for row in rows if "2?" in row.text)
    assert shown.split()[2:] == ["1", "2?", "3?", "1?", "2?", "3?", "4?", "5?"]
    plain = WindowLayout(score, part).lay_out(80, 24).pages[0].rows
    assert not any("?" in row.text for row in plain)
    mei = write_mei(write(score, part, syllables, fingers=fingers))
    assert ">1</fing>" in mei
    assert ">2?</fing>" in mei
    assert ">1?</fing>" in mei


def test_side_by_side_a_chord_says_once_that_its_fingers_are_suggested() -> None:
    score = chords((60, 64, 67), (60, 64, 67))
    part = excerpt(score, WINDOW)
    fingers = FingerAdvice(score).suggest(part.notes)
    texts = [
        row.text
        for height in (9, 14)
        for row in WindowLayout(score, part, fingers=fingers).lay_out(40, height).pages[0].rows
    ]
    assert any("135?" in text for text in texts)


def test_they_are_asked_for_with_a_key_and_go_with_it() -> None:
    async def run(seat: Seat) -> None:
        before = [row.text for row in seat.sheet.pages[0].rows]
        await seat.pilot.press("e")
        await seat.pilot.pause()
        assert any("5?" in row.text for row in seat.sheet.pages[0].rows)
        assert FINGERS_SUGGESTED.split(":")[0] in seat.text
        await seat.pilot.press("e")
        await seat.pilot.pause()
        assert [row.text for row in seat.sheet.pages[0].rows] == before
        assert FINGERS_PRINTED[:30] in seat.text

    bare = line(60, 62, 64, 65, 67)
    seated((120, 40), run, drill=FakeDrill(bare))
