"""What is printed round the notes: pedal marks, dynamics and hairpins, at the stage shape alone."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.coaching.drill import CountIn, DrillEvent, RepetitionEnded
from coach.coaching.model import Goal
from coach.drill import Drill
from coach.judging.judge import judge
from coach.judging.model import Cause, Judgement, Stage
from coach.judging.touch import list_pedal_downs, until_damped_s
from coach.playing.notes import PedalMove, PlayedNote
from coach.score.model import Direction, Hands, LineKind, PrintedLine
from coach.score.window import Window, excerpt
from tests.notated import played, written

LINES = {"RH": "C4 E4 G4 E4 F4 A4 C5 A4"}
BEAT_S = 0.75
PEDAL = (
    PrintedLine(LineKind.PEDAL, 2, F(0), F(4)),
    PrintedLine(LineKind.PEDAL, 2, F(4), F(8)),
)
"""A harmony in each of two bars, and a pedal for each."""


def moves(*downs: tuple[float, float]) -> tuple[PedalMove, ...]:
    """The damper down from a beat to a beat."""
    return tuple(
        PedalMove(64, value, 1 + beat * BEAT_S)
        for down in downs
        for beat, value in zip(down, (127, 0), strict=True)
    )


def heard(
    *,
    lines: tuple[PrintedLine, ...] = (),
    directions: tuple[Direction, ...] = (),
    pedals: tuple[PedalMove, ...] | None = None,
    loud: tuple[int, ...] = (64,) * 8,
    line: str = LINES["RH"],
    hands: Hands = Hands.RIGHT,
    stage: Stage = Stage.SHAPE,
) -> Judgement:
    """Two bars as written, with the foot and the weight of the hand as given."""
    score = {"RH": line, "LH": "C3*4 F3*4"} if hands is not Hands.RIGHT else {"RH": line}
    piece = replace(written(score), lines=lines, directions=directions)
    window = excerpt(piece, Window(F(0), piece.end_quarters, hands))
    keys = [
        replace(key, velocity=velocity)
        for key, velocity in zip(played({"RH": line}, {"RH": line}), loud, strict=True)
    ]
    return judge(window, keys, stage=stage, pedals=pedals)


def causes(judgement: Judgement) -> list[Cause]:
    return [fault.cause for fault in judgement.faults]


@pytest.mark.parametrize(
    ("down_beat", "found"),
    [(3.9, []), (4.2, []), (4.9, []), (5.1, [Cause.LATE_PEDAL]), (8.0, [Cause.NO_PEDAL])],
)
def test_a_pedal_is_down_within_a_quarter_of_its_mark(down_beat: float, found: list[Cause]) -> None:
    judgement = heard(lines=PEDAL, pedals=moves((0.1, 3.8), (down_beat, 8.5)))
    assert causes(judgement) == found


@pytest.mark.parametrize(("late_s", "found"), [(0.28, []), (0.32, [Cause.LATE_PEDAL])])
def test_the_pedal_of_a_short_mark_has_three_tenths_of_a_second(
    late_s: float, found: list[Cause]
) -> None:
    short = (PrintedLine(LineKind.PEDAL, 2, F(4), F(5)),)
    judgement = heard(lines=short, pedals=moves((4 + late_s / BEAT_S, 5.0)))
    assert causes(judgement) == found


@pytest.mark.parametrize(("up_s", "found"), [(0.28, []), (0.32, [Cause.PEDAL_NOT_CHANGED])])
def test_it_is_up_three_tenths_of_a_second_after_the_new_harmony(
    up_s: float, found: list[Cause]
) -> None:
    up_beat = 4 + up_s / BEAT_S
    judgement = heard(lines=PEDAL, pedals=moves((0.1, up_beat), (up_beat + 0.1, 8.0)))
    assert causes(judgement) == found


def test_a_pedal_held_over_the_same_harmony_blurs_nothing() -> None:
    same = "C4 E4 G4 E4 G4+C4+E4 C4 E4 G4"
    once = moves((0.1, 8.0))
    assert causes(heard(lines=PEDAL, pedals=once, line=same, loud=(64,) * 10)) == []
    assert causes(heard(lines=PEDAL, pedals=once)) == [Cause.PEDAL_NOT_CHANGED]


def test_a_pedal_that_is_left_out_all_along_is_told_once() -> None:
    assert heard(lines=PEDAL, pedals=()).sentence == "No pedal from bar 1 beat 1 to bar 2 beat 1"


def test_nothing_is_said_of_a_pedal_that_is_not_marked_or_not_known() -> None:
    assert causes(heard(pedals=moves((0.1, 8.0)))) == []
    assert causes(heard(lines=PEDAL, pedals=None)) == []


def test_nothing_is_said_of_the_pedal_to_one_hand_of_two() -> None:
    piece = replace(written({**LINES, "LH": "C3*4 F3*4"}), lines=PEDAL)
    window = excerpt(piece, Window(F(0), piece.end_quarters, Hands.RIGHT))
    keys = played(LINES, LINES)
    assert judge(window, keys, stage=Stage.SHAPE, pedals=()).clean


def test_the_pedal_counts_at_the_stage_shape_only() -> None:
    assert heard(lines=PEDAL, pedals=(), stage=Stage.TEMPO).clean
    assert not heard(lines=PEDAL, pedals=()).clean


@pytest.mark.outside
def test_the_damper_is_controller_64_and_down_from_64() -> None:
    """MIDI 1.0 Detailed Specification, table of controllers: 64 is the damper, 64 and more on."""
    at = [PedalMove(64, 63, 1.0), PedalMove(64, 64, 2.0), PedalMove(67, 127, 2.5),
          PedalMove(64, 63, 3.0)]  # fmt: skip
    assert list_pedal_downs(at) == ((2.0, 3.0),)


def test_a_key_that_the_pedal_holds_sounds_until_the_pedal_is_up() -> None:
    downs = list_pedal_downs(moves((0.0, 4.0)))
    assert until_damped_s(1.5, downs) == 4.0
    assert until_damped_s(4.5, downs) == 4.5


def test_a_gap_under_a_slur_that_the_pedal_fills_is_none() -> None:
    slurred = {"RH": "C4_ D4_ E4_ F4_ G4_ F4_ E4_ D4_ C4"}
    piece = written(slurred)
    window = excerpt(piece, Window(F(0), piece.end_quarters, Hands.RIGHT))
    keys = played(slurred, {"RH": "C4_ D4_ E4_ F4, G4_ F4_ E4_ D4_ C4_"})
    assert causes(judge(window, keys, stage=Stage.SHAPE)) == [Cause.BROKEN_SLUR]
    assert judge(window, keys, stage=Stage.SHAPE, pedals=moves((3.2, 4.1))).clean


P_THEN_F = (Direction(F(0), 1, "p"), Direction(F(4), 1, "f"))
F_THEN_P = (Direction(F(0), 1, "f"), Direction(F(4), 1, "p"))


@pytest.mark.parametrize(
    ("directions", "loud", "found"),
    [
        (P_THEN_F, (60,) * 4 + (65,) * 4, []),
        (P_THEN_F, (60,) * 4 + (64,) * 4, [Cause.NO_CONTRAST]),
        (F_THEN_P, (60,) * 4 + (55,) * 4, []),
        (F_THEN_P, (60,) * 4 + (90,) * 4, [Cause.NO_CONTRAST]),
        ((Direction(F(0), 1, "p"), Direction(F(4), 1, "mp")), (60,) * 8, []),
        ((Direction(F(0), 1, "p"), Direction(F(4), 1, "mf")), (60,) * 8, [Cause.NO_CONTRAST]),
        ((Direction(F(0), 1, "p"), Direction(F(4), 1, "dolce")), (60,) * 8, []),
        ((Direction(F(0), 1, "p"), Direction(F(6), 1, "f")), (60,) * 8, []),
    ],
)
def test_a_dynamic_is_held_against_the_one_before(
    directions: tuple[Direction, ...], loud: tuple[int, ...], found: list[Cause]
) -> None:
    assert causes(heard(directions=directions, loud=loud)) == found


@pytest.mark.parametrize(
    ("kind", "loud", "found"),
    [
        (LineKind.CRESCENDO, (60, 61, 61, 62, 63, 63, 64, 64), []),
        (LineKind.CRESCENDO, (60, 60, 61, 61, 62, 62, 63, 63), [Cause.NO_HAIRPIN]),
        (LineKind.DIMINUENDO, (64, 64, 63, 63, 62, 61, 60, 60), []),
        (LineKind.DIMINUENDO, (60, 61, 61, 62, 63, 63, 64, 64), [Cause.NO_HAIRPIN]),
    ],
)
def test_a_hairpin_goes_its_way(kind: LineKind, loud: tuple[int, ...], found: list[Cause]) -> None:
    hairpin = (PrintedLine(kind, 1, F(0), F(7)),)
    assert causes(heard(lines=hairpin, loud=loud)) == found


@pytest.mark.parametrize(
    ("loud", "found"),
    [
        ((59, 72, 56, 70, 59, 72, 57, 69), []),  # accents: they rise by 3, give or take 8
        ((73, 61, 72, 60, 70, 57, 69, 58), [Cause.NO_HAIRPIN]),  # they sink by 8, give or take 7
    ],
)
def test_notes_that_scatter_show_no_hairpin_and_no_want_of_one(
    loud: tuple[int, ...], found: list[Cause]
) -> None:
    hairpin = (PrintedLine(LineKind.CRESCENDO, 1, F(0), F(7)),)
    assert causes(heard(lines=hairpin, loud=loud)) == found


def test_a_hairpin_of_three_onsets_says_nothing() -> None:
    assert causes(heard(lines=(PrintedLine(LineKind.CRESCENDO, 1, F(0), F(2)),))) == []


def test_what_a_hairpin_leads_to_is_no_part_of_the_level_before_it() -> None:
    lines = (PrintedLine(LineKind.CRESCENDO, 1, F(3), F(7)),)
    directions = (Direction(F(0), 1, "p"), Direction(F(7), 1, "f"))
    loud = (50, 50, 50, 55, 60, 65, 70, 75)
    assert causes(heard(lines=lines, directions=directions, loud=loud)) == []


def test_a_drill_judges_the_pedal_that_it_heard() -> None:
    piece = replace(written(LINES), lines=PEDAL)
    drill = Drill(piece, Goal(Window(F(0), F(8), Hands.RIGHT), 80.0, Stage.SHAPE))
    drill.start(0.0)
    assert drill.assignment.stage is Stage.SHAPE
    (click,) = (one for one in drill.key_down(40, 64, 0.0) if isinstance(one, CountIn))
    begin_s = click.first_beat_s + click.count_in_beats * click.beat_s
    events: list[tuple[float, int, PlayedNote | PedalMove]] = []
    keys = played(LINES, LINES)
    events += [(key.onset_s, 0, key) for key in keys]
    events += [(move.at_s, 1, move) for move in moves((0.1, 8.0))]
    heard_of: list[DrillEvent] = []
    for since_s, _, one in sorted(events, key=lambda event: event[:2]):
        at_s = begin_s + since_s - keys[0].onset_s
        if isinstance(one, PedalMove):
            heard_of += drill.pedal(one.controller, one.value, at_s)
        else:
            heard_of += drill.key_down(one.pitch, one.velocity, at_s)
            heard_of += drill.key_up(one.pitch, at_s + 0.5)
    for tenth in range(100):
        heard_of += drill.tick(begin_s + 8.0 + tenth / 10)
    verdicts = [event.judgement for event in heard_of if isinstance(event, RepetitionEnded)]
    assert Cause.PEDAL_NOT_CHANGED in causes(verdicts[0])
