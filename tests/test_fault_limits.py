"""Each figure of the detectors, with a case at both sides of its limit."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from coach.judging.alignment import match
from coach.judging.faults.catalogue import CATALOGUE, SCATTERED_WEIGHT
from coach.judging.faults.context import likely_hand
from coach.judging.judge import judge
from coach.judging.model import Cause, Stage
from coach.judging.timing import measure
from coach.judging.tolerance import USUAL
from coach.judging.wording import seconds
from coach.score.model import Hand, Hands
from tests.notated import all_of, played, written
from tests.test_catalogue import CHORDS, SCALE, Made


def causes(take: str, stage: Stage = Stage.RHYTHM) -> list[Cause]:
    """What is found in a take of the scale, the heaviest first."""
    return [fault.cause for fault in Made(SCALE, take).judge(stage).faults]


@pytest.mark.parametrize(
    ("keys", "cause"),
    [("B4 C#5 D#5", Cause.SHIFTED_POSITION), ("C5 D5 E5", Cause.WRONG_KEY)],
)
def test_a_hand_lies_wrong_by_a_major_third_at_most(keys: str, cause: Cause) -> None:
    """G A B, four semitones too high; then five and more."""
    assert causes(f"C4 D4 E4 F4 {keys} C5 B4 A4 G4 F4 E4 D4 C4 D4")[0] is cause


@pytest.mark.parametrize(
    ("keys", "found"),
    [
        ("A4 B4 B4", [Cause.WRONG_KEY, Cause.WRONG_KEY]),
        ("A4 B4 C#5", [Cause.SHIFTED_POSITION]),
        ("F4 G4 A4", [Cause.SHIFTED_POSITION]),
    ],
)
def test_two_wrong_keys_do_not_show_how_a_hand_lies_and_three_do(
    keys: str, found: list[Cause]
) -> None:
    """G A B, two or all of them a step too high; and a step too low."""
    assert causes(f"C4 D4 E4 F4 {keys} C5 B4 A4 G4 F4 E4 D4 C4 D4") == found


def test_the_keys_of_a_chord_show_it_sooner() -> None:
    """G B and A: three keys of two onsets, a step too high."""
    score = {"RH": "C4 D4 E4 F4 G4+B4 A4 B4 C5 B4 A4 G4 F4"}
    take = "C4 D4 E4 F4 A4+C#5 B4 B4 C5 B4 A4 G4 F4"
    found = Made(score, take).judge(Stage.RHYTHM).faults
    assert [fault.cause for fault in found] == [Cause.SHIFTED_POSITION]


@pytest.mark.parametrize(
    ("keys", "cause"),
    [("- - A4", Cause.MISSED_NOTE), ("- - -", Cause.STRETCH_LEFT_OUT)],
)
def test_three_onsets_left_out_are_one_stretch_and_two_are_two_notes(
    keys: str, cause: Cause
) -> None:
    found = causes(f"C4 D4 E4 F4 G4 {keys.replace('A4', 'C5')} B4 A4 G4 F4 E4 D4 C4 D4")
    assert found[0] is cause


@pytest.mark.parametrize(
    ("last", "found"),
    [("C4 D4", []), ("C4 -", []), ("- -", [])],
)
def test_what_is_silent_at_the_end_was_not_reached_and_is_no_missed_note(
    last: str, found: list[Cause]
) -> None:
    assert causes(f"C4 D4 E4 F4 G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 {last}") == found


@pytest.mark.parametrize(
    ("key", "cause"),
    [("(A4)F4>0.2", Cause.CORRECTED_KEY), ("(Bb4)F4>0.2", Cause.BRUSHED_KEY)],
)
def test_a_key_is_put_right_to_one_a_major_third_away_at_most(key: str, cause: Cause) -> None:
    assert cause in causes(f"C4 D4 E4 {key} G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4")


@pytest.mark.parametrize(
    ("after_s", "cause"), [(0.86, Cause.CORRECTED_KEY), (0.88, Cause.WRONG_KEY)]
)
def test_a_key_is_put_right_within_a_beat_and_a_sixth_or_not_at_all(
    after_s: float, cause: Cause
) -> None:
    """A beat is 0.75 s here. What comes later is a key brushed among the notes that follow."""
    found = causes(f"C4 D4 E4 (G4)F4>{after_s} G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4")
    assert cause in found
    assert (Cause.BRUSHED_KEY in found) is (cause is Cause.WRONG_KEY)


@pytest.mark.parametrize(("size_s", "words"), [(0.0949, "0.09 s"), (0.095, "0.1 s")])
def test_from_a_tenth_of_a_second_on_times_are_told_in_tenths(size_s: float, words: str) -> None:
    assert seconds(size_s) == words


@pytest.mark.parametrize(("offset_s", "is_told"), [(0.029, False), (0.031, True)])
def test_an_offset_against_the_click_is_told_beyond_a_musicians_usual_one(
    offset_s: float, is_told: bool
) -> None:
    take = " ".join(f"{word}>{offset_s}" for word in SCALE["RH"].split())
    made = Made(SCALE, take, asked_qpm=80, has_click=True)
    assert bool(made.judge(Stage.PULSE).notices) == is_told


def test_scattered_rows_are_told_after_hands_that_drift() -> None:
    assert CATALOGUE[Cause.SLOWER_THAN_ASKED].weight < SCATTERED_WEIGHT
    assert SCATTERED_WEIGHT < CATALOGUE[Cause.UNEVEN].weight < CATALOGUE[Cause.HANDS_DRIFT].weight


def test_a_key_put_right_by_the_hand_that_was_late_is_that_hand_s() -> None:
    """D lies no farther from the right hand's F, but the left hand's C came late for it."""
    score = {"RH": "G4 F4 G4 A4 F4 G4 A4 G4", "LH": "C4 A3 B3 A3 C4 A3 B3 C4"}
    take = {**score, "LH": "C4 A3 B3 A3 (D4)C4>0.35 A3 B3 C4"}
    notes = played(score, take)
    found = judge(all_of(written(score), score), notes, stage=Stage.NOTES).faults[0]
    assert (found.cause, found.hands) == (Cause.CORRECTED_KEY, Hands.LEFT)


REST = "G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"
"""The scale from its fifth note on."""


def late_by(seconds: float, words: str) -> str:
    """Every key so much later."""
    chords = [[f"{key}>{seconds}" for key in word.split("+")] for word in words.split()]
    return " ".join("+".join(keys) for keys in chords)


@pytest.mark.parametrize(
    ("early_s", "cause"), [(0.27, Cause.MISSED_NOTE), (0.29, Cause.SKIPPED_BEAT)]
)
def test_a_beat_is_skipped_where_a_quarter_of_its_time_is_gone(
    early_s: float, cause: Cause
) -> None:
    """Three eighths at 80 are 1.125 s; a quarter of that is 0.281 s."""
    after = late_by(0, "B4 C5 B4 A4 G4 F4 E4 D4 C4 D4").replace(">0", f"<{early_s}")
    assert causes(f"C4 D4 E4 F4 - - {after}")[0] is cause


@pytest.mark.parametrize(
    ("late_s", "cause"), [(0.98, Cause.CORRECTED_KEY), (1.02, Cause.BRUSHED_KEY)]
)
def test_a_key_is_put_right_within_a_second(late_s: float, cause: Cause) -> None:
    assert cause in causes(f"C4 D4 E4 (G4)F4>{late_s} {late_by(late_s, REST)}")


@pytest.mark.parametrize(
    ("late_s", "cause"), [(0.045, Cause.BRUSHED_KEY), (0.055, Cause.CORRECTED_KEY)]
)
def test_keys_within_50_ms_are_one_stroke(late_s: float, cause: Cause) -> None:
    assert causes(f"C4 D4 E4 (G4)F4>{late_s} {REST}") == [cause]


@pytest.mark.parametrize(
    ("key", "cause"),
    [
        ("D4", Cause.BRUSHED_KEY), ("F#4", Cause.BRUSHED_KEY),
        ("C#4", Cause.CORRECTED_KEY), ("G4", Cause.CORRECTED_KEY),
    ],
)  # fmt: skip
def test_a_key_is_brushed_by_a_finger_two_semitones_away_at_most(key: str, cause: Cause) -> None:
    """Struck together with E4, before a late F4 for which it may have stood."""
    assert cause in causes(f"C4 D4 ({key})E4 F4>0.4 {late_by(0.4, REST)}")


@pytest.mark.parametrize(
    ("late_s", "cause"), [(0.095, Cause.BRUSHED_KEY), (0.105, Cause.CORRECTED_KEY)]
)
def test_a_chord_s_note_comes_after_it_from_two_strokes_on(late_s: float, cause: Cause) -> None:
    """The chord is early, so that by the beat alone the key too many was not in its place."""
    before, after = late_by(0.12, "C4+E4 D4+F4"), late_by(0.12, "F4+A4 G4+B4 F4+A4 E4+G4 D4+F4")
    made = Made(CHORDS, f"{before} (A4)E4+G4>{late_s} {after}", F(1))
    assert cause in [fault.cause for fault in made.judge(Stage.RHYTHM).faults]


@pytest.mark.parametrize(("after_s", "to_beat"), [(0.055, 1), (0.065, 2)])
def test_a_brushed_key_belongs_to_a_note_that_it_came_60_ms_after(
    after_s: float, to_beat: int
) -> None:
    (fault,) = Made(SCALE, f"C4 D4 (C5)E4<{after_s} F4 {REST}").judge(Stage.RHYTHM).faults
    assert (fault.cause, fault.to_beat) == (Cause.BRUSHED_KEY, to_beat)


@pytest.mark.parametrize(("before", "hand"), [("Eb5", Hand.LEFT), ("D5", Hand.RIGHT)])
def test_a_note_just_before_counts_as_two_semitones_further_away(before: str, hand: Hand) -> None:
    """Whose a stray A flat is: eight semitones from the C that it came with, seven or six from
    the note before."""
    score = {"RH": f"{before} C6 C6 C6 C6 C6", "LH": "C3 C4 C3 C3 C3 C3"}
    lines = {"RH": f"{before} - C6 C6 C6 C6", "LH": "- C4 C3 C3 C3 C3"}
    excerpt, take = all_of(written(score), score), played(score, lines)
    timing = measure(excerpt, take, match(excerpt, take), USUAL)
    (at_s,) = [key.onset_s for key in take if key.pitch == 60]
    assert likely_hand(excerpt, timing, 68, at_s) is hand


@pytest.mark.parametrize(
    ("right", "hand"), [("C6 C6 Ab4 C6 C6 C6", Hand.RIGHT), ("C6 C6 C6 Ab4 C6 C6", Hand.LEFT)]
)
def test_a_stray_key_belongs_to_no_note_further_than_the_next(right: str, hand: Hand) -> None:
    """A flat, struck with the left hand's C4: the right hand has one a beat later, or two."""
    score = {"RH": right, "LH": "C3 C4 C3 C3 C3 C3"}
    lines = {"RH": right.replace("C6", "-", 2).replace("-", "C6", 1), "LH": score["LH"]}
    excerpt, take = all_of(written(score), score), played(score, lines)
    timing = measure(excerpt, take, match(excerpt, take), USUAL)
    (at_s,) = [key.onset_s for key in take if key.pitch == 60]
    assert likely_hand(excerpt, timing, 68, at_s) is hand


@pytest.mark.parametrize(("second", "lapses"), [(6, 1), (7, 2)])
def test_keys_let_go_early_within_a_beat_are_one_lapse(second: int, lapses: int) -> None:
    """Eighths: the third beat's, and one a beat or a beat and a half later."""
    words = SCALE["RH"].split()
    take = " ".join(word + "'" * (at in (4, second)) for at, word in enumerate(words))
    found = Made(SCALE, take, held_before=True).judge(Stage.SHAPE).faults
    assert [fault.cause for fault in found] == [Cause.EARLY_RELEASE] * lapses


@pytest.mark.parametrize(
    ("key", "cause"), [("D4", Cause.CORRECTED_KEY), ("Eb4", Cause.BRUSHED_KEY)]
)
def test_a_key_that_lies_in_the_other_hand_is_put_right_to_one_two_semitones_away_at_most(
    key: str, cause: Cause
) -> None:
    """It is two or one semitones from the right hand's F, before a late C of the left hand's."""
    score = {"RH": "G4 F4 G4 A4 F4 G4 A4 G4", "LH": "C4 A3 B3 A3 C4 A3 B3 C4"}
    take = {**score, "LH": f"C4 A3 B3 A3 ({key})C4>0.35 A3 B3 C4"}
    judgement = judge(all_of(written(score), score), played(score, take), stage=Stage.NOTES)
    assert judgement.faults[0].cause is cause


def test_a_chain_of_keys_let_go_early_is_one_lapse_however_long_it_is() -> None:
    words = SCALE["RH"].split()
    take = " ".join(word + "'" * (at in (2, 4, 6)) for at, word in enumerate(words))
    (fault,) = Made(SCALE, take, held_before=True).judge(Stage.SHAPE).faults
    assert fault.cause is Cause.EARLY_RELEASE


def test_a_stretch_left_out_is_shown_at_its_first_note() -> None:
    made = Made(SCALE, "C4 D4 E4 - - - - C5 B4 A4 G4 F4 E4 D4 C4 D4")
    (fault,) = made.judge(Stage.RHYTHM).faults
    assert fault.note == 3


def test_beats_that_were_skipped_are_counted_from_the_one_before_to_the_one_after() -> None:
    made = Made(SCALE, "C4 D4 E4 F4 x x x x B4 A4 G4 F4 E4 D4 C4 D4")
    fault = made.judge(Stage.RHYTHM).faults[0]
    assert (fault.from_beat, fault.to_beat) == (1, 4)
    assert fault.words == "skipped 2 beats from bar 1 beat 3"


@pytest.mark.parametrize(
    ("rest", "others"),
    [("B4 C5 B4 A4 G4", []), ("B4 C5 B4 A4 |0.375|G4", [Cause.MISREAD_VALUE])],
)
def test_of_notes_that_were_exchanged_nothing_is_said_besides_and_of_others_it_is(
    rest: str, others: list[Cause]
) -> None:
    found = causes(f"C4 D4 E4 F4 G4>0.25 A4<0.25 {rest} F4 E4 D4 C4 D4")
    assert found == [Cause.WRONG_ORDER, *others]
