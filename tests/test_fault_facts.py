"""What is told of each fault: whose it is, where it lies, how much it weighs, how large it is.

A fault is written on a line: hand and beats of its transition, its onset (and the span, where it
has one), weight, size in milliseconds (to 25), the note that it is shown at, words.
"""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from coach.judging.faults import CATALOGUE
from coach.judging.judge import judge
from coach.judging.model import Cause, Fault, Stage
from coach.judging.timing import Habits
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Direction, LineKind, PrintedLine
from coach.score.window import Window, excerpt
from tests.notated import Lines, all_of, played, written
from tests.test_catalogue import ARPEGGIOS, BOTH, CHORDS, MADE, SCALE, Made, faster


def line_of(fault: Fault) -> str:
    """A fault in the notation of this file."""
    span = f"{fault.first_quarters}..{fault.last_quarters}"
    where = f" {span}" if fault.first_quarters != fault.last_quarters else ""
    size = "" if fault.size_ms is None else f" {25 * round(fault.size_ms / 25):+d}ms"
    note = "" if fault.note is None else f" #{fault.note}"
    doubt = " forgiven" if fault.forgiven else ""
    return (
        f"{fault.hands} {fault.from_beat}-{fault.to_beat} at {fault.onset_quarters}{where}"
        f" {fault.weight:.2f}{size}{note}{doubt}: {fault.words}"
    )


LINES = {
    Cause.WRONG_KEY: "RH 1-2 at 3/2 0.90 #3: F sharp for F",
    Cause.OCTAVE_SLIP: "RH 1-2 at 2 0.92 #4: G an octave too high",
    Cause.SHIFTED_POSITION: "RH 1-4 at 2 2..4 0.92 #4: hand lies a step too high",
    Cause.CORRECTED_KEY: "RH 1-2 at 3/2 0.89 #3: E corrected to F",
    Cause.WRONG_ORDER: "RH 1-2 at 2 0.90 -125ms #4: A before G",
    Cause.MISSED_NOTE: "RH 1-2 at 2 0.86 #4: G missed",
    Cause.MISSED_IN_CHORD: "RH 2-3 at 3 0.86 #7: A missed",
    Cause.STRETCH_LEFT_OUT: "RH 1-3 at 3/2 3/2..3 0.90 #3: 4 notes left out",
    Cause.SKIPPED_BEAT: "RH 1-3 at 2 2..5/2 0.95: skipped bar 1 beat 3",
    Cause.BRUSHED_KEY: "RH 1-2 at 3/2 0.84: extra F sharp",
    Cause.STUMBLE: "RH 2-3 at 3 0.97: stumbled",
    Cause.RESTART: "RH 2-3 at 5/2 0.97: broke off at bar 1, the & of 3 and started again",
    Cause.MISREAD_VALUE: (
        "RH 1-2 at 2 0.65 +375ms: eighth note at bar 1, the & of 2 got twice its length"
    ),
    Cause.MISREAD_PACE: "RH 1-5 at 2 2..9/2 0.69 +1875ms: eighths at half their speed",
    Cause.EARLY_ENTRY: "RH 1-2 at 2 0.64 -200ms: early to bar 1 beat 3 (0.2 s)",
    Cause.LATE_ENTRY: "RH 1-2 at 2 0.64 +200ms: late to bar 1 beat 3 (0.2 s)",
    Cause.HESITATION: "RH 1-2 at 2 0.85 +500ms: late to bar 1 beat 3 (0.5 s)",
    Cause.BARLINE_WAIT: "RH 3-4 at 4 0.58 +400ms: waits at the barline",
    Cause.STOPPED_AGAIN: "RH 3-4 at 4 0.90: stopped again",
    Cause.ONE_HAND_LATE: "RH 1-2 at 2 0.62 +200ms: late to bar 1 beat 3 (0.2 s)",
    Cause.ONE_HAND_EARLY: "RH 1-2 at 2 0.62 -200ms: early to bar 1 beat 3 (0.2 s)",
    Cause.SPLIT_CHORD: "RH 1-2 at 2 0.60 +250ms #5: G after its chord (0.2 s)",
    Cause.HANDS_DRIFT: "RH 0-8 at 15/2 1/2..15/2 0.70 +275ms: drifts behind LH (0.3 s)",
    Cause.HAND_DISPLACED: "RH 2-3 at 3 0.72 +750ms: a beat behind LH from bar 1 beat 4 on",
    Cause.UNEVEN: "RH 1-5 at 3/2 3/2..9/2 0.64 +150ms: uneven (2.5 to 1)",
    Cause.WRONG_PROPORTIONS: "RH 0-4 at 3/4 3/4..15/4 0.68 -150ms: even: written dotted",
    Cause.BEHIND_THE_CLICK: "RH 2-8 at 3 3..15/2 0.80 +600ms: behind the click (0.6 s)",
    Cause.AHEAD_OF_THE_CLICK: "RH 2-8 at 3 3..15/2 0.80 -600ms: ahead of the click (0.6 s)",
    Cause.TEMPO_DRIFT: "RH 0-8 at 15/2 1/2..15/2 0.55: faster and faster (1.8 times)",
    Cause.SLOWING_DOWN: "RH 0-8 at 15/2 1/2..15/2 0.35: slower and slower (1.7 times)",
    Cause.SLOWER_THAN_ASKED: "RH -1-8 at 0 0..15/2 0.50: slower than asked (64 for 80)",
    Cause.FASTER_THAN_ASKED: "RH -1-8 at 0 0..15/2 0.50: faster than asked (96 for 80)",
    Cause.EARLY_RELEASE: "RH 2-3 at 2 0.40 -450ms #4: let go early",
    Cause.BROKEN_SLUR: "RH 2-3 at 3 0.30 -300ms #3: gap under the slur",
    Cause.HELD_ON: "RH 2-3 at 3 0.25 +0ms #3: staccato not short",
    Cause.LATE_PEDAL: "RH 3-4 at 4 0.28 +1125ms: pedal late (1.1 s)",
    Cause.NO_PEDAL: "RH 3-4 at 4 0.28 +0ms: no pedal",
    Cause.PEDAL_NOT_CHANGED: "RH 3-4 at 4 0.27 +3000ms: pedal not changed",
    Cause.NO_CONTRAST: "RH 3-4 at 4 0.22: no louder at the f",
    Cause.NO_HAIRPIN: "RH -1-7 at 0 0..7 0.20: no crescendo",
}


@pytest.mark.parametrize("cause", Cause)
def test_a_fault_lies_where_it_was_made_and_is_as_large(cause: Cause) -> None:
    faults = MADE[cause].judge(CATALOGUE[cause].stages[0]).faults
    assert line_of(faults[0]) == LINES[cause]


def find(made: Made, stage: Stage = Stage.RHYTHM) -> list[str]:
    """All that is found in a take, the heaviest first."""
    return [line_of(fault) for fault in made.judge(stage).faults]


def find_in(
    score: Lines,
    take: Lines,
    *,
    stage: Stage = Stage.RHYTHM,
    qpm: float = 80.0,
    held_before: bool = False,
) -> list[str]:
    """The same in eighths, with a line for each hand; ``held_before``: twice without a lapse."""
    each, habits = F(1, 2), Habits()
    window = all_of(written(score, each), score)
    if held_before:
        firm = judge(window, played(score, score, each=each, qpm=qpm))
        habits = habits.with_(firm).with_(firm)
    notes = played(score, take, each=each, qpm=qpm)
    return [line_of(fault) for fault in judge(window, notes, stage=stage, habits=habits).faults]


REST = "B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"
"""The scale from its seventh note on."""

TAKES = {
    f"C4 D4 E4 F3 G3 A4 {REST}": ["RH 1-2 at 3/2 3/2..2 0.92 #3: an octave too low"],
    f"C4 D4 E4 F3 G4 A3 {REST}": [
        "RH 1-2 at 3/2 0.92 #3: F an octave too low",
        "RH 2-3 at 5/2 0.92 #5: A an octave too low",
    ],
    f"C4 D4 E4 F4 G2 A4 {REST}": ["RH 1-2 at 2 0.92 #4: G 2 octaves too low"],
    "C4 D4 E4 F4 F4 G4 A4 B4 A4 A4 G4 F4 E4 D4 C4 D4": [
        "RH 1-4 at 2 2..4 0.92 #4: hand lies a step too low"
    ],
    f"C4 D4 E4 F4 G#4 Ab4 {REST}": [
        "RH 1-2 at 2 0.90 #4: A flat for G",
        "RH 2-3 at 5/2 0.90 #5: A flat for A",
    ],
    f"C4 D4 E4 F4 - - {REST}": [
        "RH 1-2 at 2 0.86 #4: G missed",
        "RH 2-3 at 5/2 0.86 #5: A missed",
    ],
    f"x x E4 F4 G4 A4 {REST}": [],
    "C4 D4 E4 F4 G4 A4 B4 (C7)C5 B4 A4 G4 F4 E4 D4 C4 D4": ["RH 3-4 at 7/2 0.84: extra C"],
    "C4 D4 E4 F4 G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 (C#4)D4": ["RH 7-8 at 15/2 0.84: extra C sharp"],
    f"C4 D4 E4 F4 G4 A#4 |0.3|@5:G4 A4 {REST}": ["RH 2-3 at 5/2 0.97: stumbled"],
    f"C4 D4 E4 F4 G#4 |0.6|@1:C4 D4 E4 F4 G4 A4 {REST}": [
        "RH 1-2 at 2 0.97: broke off at bar 1 beat 3 and started again"
    ],
    "C4 D4 E4 F4 |0.5|@3:E4 F4 G4 A4 B4 C5 B4 A4 |0.5|@9:B4 A4 G4 F4 E4 D4 C4 D4": [
        "RH 1-2 at 2 0.97: stumbled",
        "RH 4-5 at 5 0.97: stumbled",
    ],
    "C4 D4 E4 F4 G4 A4<.19 B4<.38 C5<.56 B4<.75 A4<.94 G4<.94 F4<.94 E4<.94 D4<.94 C4<.94 D4<.94": [
        "RH 1-5 at 2 2..9/2 0.69 -950ms: eighths at twice their speed"
    ],
    "C4 D4>.12 E4 F4>.12 G4 A4>.12 B4 C5>.12 B4 A4>.12 G4 F4>.12 E4 D4>.12 C4 D4>.12": [
        "RH 0-8 at 1/2 1/2..15/2 0.68 +125ms: swung: written even"
    ],
}


TAKES |= {
    f"C4 D4 E4 F4 G4 |0.5|@3:E4 F4 G4 |0.5|@1:C4 D4 E4 F4 G4 A4 {REST}": [
        "RH 2-3 at 5/2 0.97: broke off at bar 1, the & of 3 and started again",
        "RH 2-3 at 5/2 0.97: stumbled",
    ],
    f"C4 D4 E4 F4 G4>.25 A4<.25 {REST}": ["RH 1-2 at 2 0.90 -125ms #4: A before G"],
    "C4 D4 E4 - G4 A4 - C5 B4 - G4 F4 E4 D4 C4 D4": [
        "RH 1-2 at 3/2 0.86 #3: F missed",
        "RH 2-3 at 3 0.86 #6: B missed",
        "RH 4-5 at 9/2 0.86 #9: A missed",
    ],
    f"C4 D4 E4 (G4)F4 |0.6|@3:E4 F4 G4 A4 {REST}": ["RH 1-2 at 3/2 0.97: stumbled"],
    f"C4 D4 E4 F4 G4 x {REST}": [
        "RH 2-3 at 5/2 0.86 #5: A missed",
        "RH 2-3 at 3 0.72 -375ms: early to bar 1 beat 4 (0.4 s)",
    ],
    "C4 D4 E4 F4 G4 x x C5 B4 A4 G4 F4 E4 D4 C4 D4": [
        "RH 2-3 at 5/2 0.86 #5: A missed",
        "RH 2-3 at 3 0.86 #6: B missed",
        "RH 3-4 at 7/2 0.80 -750ms: early to bar 1, the & of 4 (0.8 s)",
    ],
    "C4 D4 E4>.25 F4<.25 G4 A4 B4 C5 B4 A4 |0.6|G4 F4 E4 D4 C4 D4": [
        "RH 0-1 at 1 0.90 -125ms #2: F before E",
        "RH 4-5 at 5 0.85 +625ms: late to bar 2 beat 2 (0.6 s)",
    ],
    "C4 D4 E4 F4 G4 A4>.08 B4 C5>.08 B4 A4 G4 F4 E4 D4 C4 D4": [
        "RH 2-4 at 5/2 5/2..7/2 0.63 +75ms: uneven (1.5 to 1)"
    ],
    "C4>.28 D4>.38 E4>.08 F4>.03 G4>.33 A4>.13 B4>.15 C5>.33 "
    "B4>.07 A4>.36 G4>.20 F4>.03 E4>.37 D4>.23 C4>.03 D4>.34": [
        "RH 0-8 at 1/2 1/2..15/2 0.55 +225ms: uneven (by 60%)"
    ],
}
"""Two attempts, an exchange, notes left out here and there, and notes that scatter."""


@pytest.mark.parametrize("take", TAKES)
def test_faults_of_a_scale_in_eighths(take: str) -> None:
    assert find(Made(SCALE, take)) == TAKES[take]


@pytest.mark.parametrize(
    ("take", "lines"),
    [
        (
            "C4+E4 D4+F4 F4+A4 F4+A4 G4+B4 F4+A4 E4+G4 D4+F4",
            ["RH 1-2 at 2 0.90 #4: F for E", "RH 1-2 at 2 0.90 #5: A for G"],
        ),
        (
            "C4+E4 D4+F4 - F4+A4 G4+B4 F4+A4 E4+G4 D4+F4",
            ["RH 1-2 at 2 0.86 #4: E missed", "RH 1-2 at 2 0.86 #5: G missed"],
        ),
        (
            "C4+E4 D4+F4 E4 |0.6|@2:D4+F4 E4+G4 F4+A4 G4+B4 F4+A4 E4+G4 D4+F4",
            ["RH 1-2 at 2 0.97: stumbled"],
        ),
    ],
)
def test_faults_of_chords_in_quarters(take: str, lines: list[str]) -> None:
    assert find(Made(CHORDS, take, F(1))) == lines


HALVES = {"RH": "C4 D4 E4*2 F4 G4 F4*2 E4 D4 C4 D4"}


@pytest.mark.parametrize(
    ("take", "line"),
    [
        (
            "C4 D4 E4 |0.75|F4 G4 F4 E4 D4 C4 D4",
            "RH 3-4 at 4 0.64 +750ms: half note at bar 1 beat 3 got three beats, not two",
        ),
        (
            "C4 D4 E4 F4<.75 G4<.75 F4<.75 E4<.75 D4<.75 C4<.75 D4<.75",
            "RH 3-4 at 4 0.64 -750ms: half note at bar 1 beat 3 got one beat, not two",
        ),
    ],
)
def test_a_half_note_that_was_misread_is_named_with_its_beats(take: str, line: str) -> None:
    assert find(Made(HALVES, take, F(1))) == [line]


def test_each_onset_that_one_hand_has_off_the_other_s_is_told() -> None:
    take = "C4 D4 E4>0.25 F4 G4<0.25 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"
    assert find(Made(BOTH, take)) == [
        "RH 0-1 at 1 0.65 +250ms: late to bar 1 beat 2 (0.2 s)",
        "RH 1-2 at 2 0.65 -250ms: early to bar 1 beat 3 (0.2 s)",
    ]


def test_keys_let_go_early_more_than_a_beat_apart_are_told_each() -> None:
    take = "C4 D4 E4 F4 G4' A4' B4 C5 B4' A4 G4 F4 E4 D4 C4 D4"
    made = Made(SCALE, take, qpm=60, held_before=True)
    assert find(made, Stage.SHAPE) == [
        "RH 2-3 at 2 0.40 -450ms #4: let go early",
        "RH 4-5 at 4 0.39 -450ms #8: let go early",
    ]


def test_after_a_hesitation_it_is_not_told_that_the_click_was_left() -> None:
    take = f"C4 D4 E4 F4 |0.5|G4 A4 {REST}"
    made = Made(SCALE, take, asked_qpm=80, has_click=True)
    assert find(made, Stage.PULSE) == ["RH 1-2 at 2 0.85 +500ms: late to bar 1 beat 3 (0.5 s)"]


def test_a_tempo_that_may_rise_by_chance_is_told_and_forgiven() -> None:
    assert find(Made(SCALE, SCALE["RH"], warp=faster(0.02))) == [
        "RH 0-8 at 15/2 1/2..15/2 0.35 forgiven: faster and faster (1.3 times)"
    ]
    assert find(Made(SCALE, SCALE["RH"], warp=faster(0.03))) == [
        "RH 0-8 at 15/2 1/2..15/2 0.55: faster and faster (1.5 times)"
    ]


TURN = {"RH": "C4 D4 E4 F4 E4 D4 E4 F4 G4 A4 B4 C5 B4 A4 G4 F4"}
"""A scale that turns: its third note is written again as its fifth."""


@pytest.mark.parametrize(
    ("keys", "line"),
    [
        ("C4 D4 E4 F4 |0.6|@3:E4 F4", "RH 1-2 at 2 0.97: stumbled"),
        ("C4 D4 E4 F4 E4 |0.6|@3:E4 F4", "RH 2-3 at 5/2 0.97: stumbled"),
    ],
)
def test_a_key_taken_up_again_is_not_the_same_key_after_the_break(keys: str, line: str) -> None:
    """Broken off before the fifth note and after it; the pause tells which E it was."""
    assert find_in(TURN, {"RH": f"{keys} E4 D4 E4 F4 G4 A4 B4 C5 B4 A4 G4 F4"}) == [line]


WAITED = {"LH": "C3 G3 |0.5|C3 G3 C3 G3 C3 G3"}
"""The left hand waits before the third beat."""


@pytest.mark.parametrize(
    ("apart", "lines"),
    [
        (".03", ["both 1-2 at 2 0.85 +525ms: late to bar 1 beat 3 (0.5 s)"]),
        (
            ".2",
            [
                "both 1-2 at 2 0.85 +500ms: late to bar 1 beat 3 (0.5 s)",
                "RH 1-2 at 2 0.37 +200ms: late to bar 1 beat 3 (0.2 s)",
            ],
        ),
    ],
)
def test_where_both_hands_waited_one_is_late_only_where_it_came_apart(
    apart: str, lines: list[str]
) -> None:
    right = f"C4 D4 E4 F4 |0.5|G4>{apart} A4 {REST}"
    assert find_in(BOTH, {"RH": right, **WAITED}) == lines


def test_a_stray_key_among_the_left_hand_s_notes_is_the_left_hand_s() -> None:
    take = {"RH": f"C4 D4 E4 (C#3)F4 G4 A4 {REST}", "LH": "C3 G3 C3 G3 C3 G3 C3 G3"}
    assert find_in(BOTH, take) == ["LH 1-2 at 2 0.84: extra C sharp"]


def test_keys_that_both_hands_let_go_early_are_told_of_each() -> None:
    take = {"RH": f"C4 D4 E4 F4 G4' A4 {REST}", "LH": "C3 G3 C3 G3' C3 G3 C3 G3"}
    assert find_in(BOTH, take, stage=Stage.SHAPE, qpm=60, held_before=True) == [
        "RH 2-3 at 2 0.40 -450ms #7: let go early",
        "LH 3-4 at 3 0.40 -925ms #9: let go early",
    ]


def test_louder_and_softer_are_told_the_right_way_round() -> None:
    f_and_p = (Direction(F(0), 1, "f"), Direction(F(4), 1, "p"))
    softer = Made(ARPEGGIOS, ARPEGGIOS["RH"], F(1), directions=f_and_p)
    assert find(softer, Stage.SHAPE) == ["RH 3-4 at 4 0.22: no softer at the p"]
    hairpin = (PrintedLine(LineKind.DIMINUENDO, 1, F(0), F(7)),)
    fading = Made(ARPEGGIOS, ARPEGGIOS["RH"], F(1), lines=hairpin)
    assert find(fading, Stage.SHAPE) == ["RH -1-7 at 0 0..7 0.20: no diminuendo"]


def test_a_tempo_is_told_in_the_metre_s_beats() -> None:
    """In 6/8, 96 quarters a minute are 64 dotted ones."""
    each = F(1, 2)
    lines = [{"pitch": 60 + i, "onset": i * each, "length": each, "hand": "RH"} for i in range(13)]
    score = score_from_notes(lines, metre="6/8")
    notes = [PlayedNote(60 + i, 64, i * 0.5 * 60 / 96, 0.2) for i in range(13)]
    window = excerpt(score, Window(F(0), score.end_quarters))
    found = judge(window, notes, stage=Stage.TEMPO, qpm=120).faults
    assert [fault.words for fault in found] == ["slower than asked (64 for 80)"]
