"""The catalogue of faults is whole: each cause can be made, is asked for, told and shown."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction as F
from pathlib import Path
from string import Formatter

import pytest

from coach.judging.faults import CATALOGUE, as_markdown, is_asked
from coach.judging.faults.catalogue import weigh
from coach.judging.judge import judge
from coach.judging.model import Cause, Family, Judgement, Outcome, Stage
from coach.judging.timing import Habits
from coach.judging.wording import WORDS, describe
from coach.playing.notes import PedalMove
from coach.score.model import Direction, LineKind, PrintedLine, Score
from coach.screens.dialogs.texts import detail_lines
from coach.screens.marks import MarkKind, marks_of
from coach.screens.wording import verdict_headline
from tests.notated import Lines, all_of, played, written

NOTES = {Family.PITCH, Family.MISSING, Family.EXTRA, Family.REPEAT}
"""The families that every stage asks for."""


def test_every_cause_has_its_entry_and_its_words() -> None:
    assert set(CATALOGUE) == set(Cause)
    assert set(WORDS) == set(Cause)


def test_developers_md_shows_the_catalogue_as_it_is() -> None:
    text = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert as_markdown() in text


@pytest.mark.parametrize("cause", Cause)
def test_a_gap_that_is_not_filled_is_an_error_and_no_blank(cause: Cause) -> None:
    gaps = [name for _, name, _, _ in Formatter().parse(WORDS[cause]) if name]
    assert describe(cause, **dict.fromkeys(gaps, "x"))
    for gap in gaps:
        with pytest.raises(KeyError):
            describe(cause, **dict.fromkeys(set(gaps) - {gap}, "x"))


@pytest.mark.parametrize("cause", Cause)
def test_a_stage_asks_for_all_that_the_stages_before_it_ask(cause: Cause) -> None:
    asked = [is_asked(cause, stage) for stage in Stage]
    assert asked == sorted(asked)
    assert asked[-1]


@pytest.mark.parametrize("cause", Cause)
def test_a_family_is_asked_for_from_its_stage_on(cause: Cause) -> None:
    family = CATALOGUE[cause].family
    assert is_asked(cause, Stage.NOTES) == (family in NOTES)
    if family is Family.TIMING and "click" not in cause:
        assert is_asked(cause, Stage.RHYTHM)
    if family is Family.RELEASE:
        assert CATALOGUE[cause].stages == (Stage.SHAPE,)


def test_the_click_is_asked_for_where_one_runs() -> None:
    for cause in (Cause.BEHIND_THE_CLICK, Cause.AHEAD_OF_THE_CLICK):
        assert CATALOGUE[cause].stages == tuple(stage for stage in Stage if stage.has_click)


def test_an_even_rallentando_is_forgiven_by_the_rhythm_stage_and_running_away_is_not() -> None:
    assert is_asked(Cause.TEMPO_DRIFT, Stage.RHYTHM)
    assert not is_asked(Cause.SLOWING_DOWN, Stage.RHYTHM)
    assert is_asked(Cause.SLOWING_DOWN, Stage.PULSE)


def test_the_tempo_asked_for_is_held_to_from_the_tempo_stage_on() -> None:
    for cause in (Cause.SLOWER_THAN_ASKED, Cause.FASTER_THAN_ASKED):
        assert CATALOGUE[cause].stages == (Stage.TEMPO, Stage.SHAPE)


def test_only_the_tempo_as_a_whole_touches_no_transition() -> None:
    for entry in CATALOGUE.values():
        assert (entry.outcomes == ()) == (entry.family is Family.TEMPO)
        assert not set(entry.outcomes) & {Outcome.CLEAN, Outcome.NOT_REACHED}
        assert all(0 < weight <= 1 for weight in (entry.weight, entry.doubtful or entry.weight))


def test_what_broke_the_playing_comes_before_wrong_keys_and_touch_comes_last() -> None:
    def of(*families: Family) -> list[float]:
        return [entry.weight for entry in CATALOGUE.values() if entry.family in families]

    assert min(of(Family.REPEAT)) > max(of(Family.PITCH, Family.MISSING, Family.TIMING))
    assert max(of(Family.RELEASE)) < min(of(Family.TIMING))


SCALE = {"RH": "C4 D4 E4 F4 G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"}
"""Two bars of eighths."""
BOTH = {**SCALE, "LH": "C3*1 G3*1 C3*1 G3*1 C3*1 G3*1 C3*1 G3*1"}
CHORDS = {"RH": "C4+E4 D4+F4 E4+G4 F4+A4 G4+B4 F4+A4 E4+G4 D4+F4"}
DOTTED = {"RH": "C4*3/4 D4*1/4 E4*3/4 F4*1/4 G4*3/4 F4*1/4 E4*3/4 D4*1/4"}
SLURRED = {"RH": "C4_ D4_ E4_ F4_ G4_ F4_ E4_ D4_ C4"}
STACCATO = {"RH": "C4. D4. E4. F4. G4. F4. E4. D4."}
ARPEGGIOS = {"RH": "C4 E4 G4 E4 F4 A4 C5 A4"}
"""Two bars of quarters, a harmony in each."""
PEDALLED = (
    PrintedLine(LineKind.PEDAL, 2, F(0), F(4)),
    PrintedLine(LineKind.PEDAL, 2, F(4), F(8)),
)
WELL_PEDALLED = ((0.2, 4.0), (4.2, 8.0))
"""From which beat to which the pedal is down."""
P_AND_F = (Direction(F(0), 1, "p"), Direction(F(4), 1, "f"))
CRESCENDO = (PrintedLine(LineKind.CRESCENDO, 1, F(0), F(7)),)


@dataclass(frozen=True)
class Made:
    """What is written, and a take of it with one thing wrong."""

    score: Lines
    take: str
    """The right hand's; the left one plays as written."""
    each: F = F(1, 2)
    qpm: float = 80.0
    asked_qpm: float | None = None
    """Where a tempo is asked for, at the stages that have one."""
    warp: Callable[[float], float] = float
    before: F | None = None
    """The onset that the last repetition broke off before."""
    has_click: bool = False
    held_before: bool = False
    """Whether the player is known to have held every key."""
    directions: tuple[Direction, ...] = ()
    lines: tuple[PrintedLine, ...] = ()
    pedals: tuple[tuple[float, float], ...] = ()
    """From which beat to which the pedal was down."""
    louder: int = 0
    """Velocities by which each key is struck harder than the one before."""

    @property
    def piece(self) -> Score:
        """What is written."""
        piece = written(self.score, self.each)
        return replace(piece, directions=self.directions, lines=self.lines)

    @property
    def moves(self) -> tuple[PedalMove, ...]:
        """The damper pedal's moves."""
        return tuple(
            PedalMove(64, value, 1 + beat * 60 / self.qpm)
            for down in self.pedals
            for beat, value in zip(down, (127, 0), strict=True)
        )

    def judge(self, stage: Stage) -> Judgement:
        """The verdict at a stage."""
        lines = {**self.score, "RH": self.take}
        lines = {hand: re.sub(r"\*\S+", "", line) for hand, line in lines.items()}
        notes = played(self.score, lines, each=self.each, qpm=self.qpm, warp=self.warp)
        notes = [
            replace(note, velocity=note.velocity + self.louder * i) for i, note in enumerate(notes)
        ]
        with_click = self.has_click and stage.has_click
        return judge(
            all_of(self.piece, self.score),
            notes,
            stage=stage,
            qpm=self.asked_qpm,
            click_s=1.0 if with_click else None,
            habits=self.habits,
            pedals=self.moves,
        )

    @property
    def habits(self) -> Habits | None:
        """What is known of the player."""
        if self.before is not None:
            return Habits(stops=(self.before,))
        if not self.held_before:
            return None
        window = all_of(self.piece, self.score)
        firm = judge(window, played(self.score, self.score, each=self.each, qpm=self.qpm))
        return Habits().with_(firm).with_(firm)


def faster(by: float) -> Callable[[float], float]:
    """Seconds of a tempo that rises (or sinks, below 0) evenly from the first second on."""
    return lambda at_s: at_s - by * max(at_s - 1.0, 0.0) ** 2


MADE = {
    Cause.WRONG_KEY: Made(SCALE, "C4 D4 E4 F#4 G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.OCTAVE_SLIP: Made(SCALE, "C4 D4 E4 F4 G5 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.SHIFTED_POSITION: Made(SCALE, "C4 D4 E4 F4 A4 B4 C#5 D5 C#5 A4 G4 F4 E4 D4 C4 D4"),
    Cause.CORRECTED_KEY: Made(SCALE, "C4 D4 E4 (E4)F4>0.2 G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.MISSED_NOTE: Made(SCALE, "C4 D4 E4 F4 - A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.MISSED_IN_CHORD: Made(CHORDS, "C4+E4 D4+F4 E4+G4 F4 G4+B4 F4+A4 E4+G4 D4+F4", F(1)),
    Cause.STRETCH_LEFT_OUT: Made(SCALE, "C4 D4 E4 - - - - C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.SKIPPED_BEAT: Made(SCALE, "C4 D4 E4 F4 x x B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.BRUSHED_KEY: Made(SCALE, "C4 D4 E4 (F#4)F4 G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.STUMBLE: Made(SCALE, "C4 D4 E4 F4 G4 A4 |0.6|@5:G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.RESTART: Made(
        SCALE, "C4 D4 E4 F4 G4 |1.2|@1:C4 D4 E4 F4 G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"
    ),
    Cause.HESITATION: Made(SCALE, "C4 D4 E4 F4 |0.5|G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.BARLINE_WAIT: Made(
        SCALE, "C4 D4 E4 F4 |0.4|G4 A4 B4 C5 |0.4|B4 A4 G4 F4 |0.4|E4 D4 C4 D4", F(1)
    ),
    Cause.WRONG_ORDER: Made(SCALE, "C4 D4 E4 F4 G4>0.25 A4<0.25 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.MISREAD_PACE: Made(
        SCALE,
        "C4 D4 E4 F4 G4 |0.375|A4 |0.375|B4 |0.375|C5 |0.375|B4 |0.375|A4 G4 F4 E4 D4 C4 D4",
    ),
    Cause.MISREAD_VALUE: Made(SCALE, "C4 D4 E4 F4 |0.375|G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.EARLY_ENTRY: Made(SCALE, "C4 D4 E4 F4 G4<0.2 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.LATE_ENTRY: Made(SCALE, "C4 D4 E4 F4 G4>0.2 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.STOPPED_AGAIN: Made(SCALE, "C4 D4 E4 F4 G4 A4 B4 C5", before=F(4)),
    Cause.ONE_HAND_LATE: Made(BOTH, "C4 D4 E4 F4 G4>0.2 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.ONE_HAND_EARLY: Made(BOTH, "C4 D4 E4 F4 G4<0.2 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"),
    Cause.SPLIT_CHORD: Made(CHORDS, "C4+E4 D4+F4 E4+G4>0.25 F4+A4 G4+B4 F4+A4 E4+G4 D4+F4", F(1)),
    Cause.HANDS_DRIFT: Made(
        BOTH,
        "C4 D4 E4>.02 F4>.04 G4>.06 A4>.08 B4>.1 C5>.12 "
        "B4>.14 A4>.16 G4>.18 F4>.2 E4>.22 D4>.24 C4>.26 D4>.28",
    ),
    Cause.HAND_DISPLACED: Made(
        BOTH,
        "C4 D4 E4 F4 G4 A4 B4>.75 C5>.75 B4>.75 A4>.75 G4>.75 F4>.75 E4>.75 D4>.75 C4>.75 D4>.75",
    ),
    Cause.UNEVEN: Made(
        SCALE,
        "C4 D4 E4 F4>.16 G4 A4>.16 B4 C5>.16 B4 A4>.16 G4 F4 E4 D4 C4 D4",
    ),
    Cause.WRONG_PROPORTIONS: Made(DOTTED, "C4 D4<.15 E4 F4<.15 G4 F4<.15 E4 D4<.15", F(1), qpm=100),
    Cause.BEHIND_THE_CLICK: Made(
        SCALE, SCALE["RH"], asked_qpm=80, has_click=True, warp=faster(-0.02)
    ),
    Cause.AHEAD_OF_THE_CLICK: Made(
        SCALE, SCALE["RH"], asked_qpm=80, has_click=True, warp=faster(0.02)
    ),
    Cause.TEMPO_DRIFT: Made(SCALE, SCALE["RH"], warp=faster(0.04)),
    Cause.SLOWING_DOWN: Made(SCALE, SCALE["RH"], warp=faster(-0.06)),
    Cause.SLOWER_THAN_ASKED: Made(SCALE, SCALE["RH"], qpm=64, asked_qpm=80),
    Cause.FASTER_THAN_ASKED: Made(SCALE, SCALE["RH"], qpm=96, asked_qpm=80),
    Cause.EARLY_RELEASE: Made(
        SCALE, "C4 D4 E4 F4 G4' A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4", qpm=60, held_before=True
    ),
    Cause.BROKEN_SLUR: Made(SLURRED, "C4_ D4_ E4_ F4, G4_ F4_ E4_ D4_ C4_", F(1)),
    Cause.HELD_ON: Made(STACCATO, "C4' D4' E4' F4_ G4' F4' E4' D4'", F(1)),
    Cause.LATE_PEDAL: Made(
        ARPEGGIOS, ARPEGGIOS["RH"], F(1), lines=PEDALLED, pedals=((0.2, 4.0), (5.5, 8.0))
    ),
    Cause.NO_PEDAL: Made(ARPEGGIOS, ARPEGGIOS["RH"], F(1), lines=PEDALLED, pedals=((0.2, 4.0),)),
    Cause.PEDAL_NOT_CHANGED: Made(
        ARPEGGIOS, ARPEGGIOS["RH"], F(1), lines=PEDALLED, pedals=((0.2, 8.0),)
    ),
    Cause.NO_CONTRAST: Made(ARPEGGIOS, ARPEGGIOS["RH"], F(1), directions=P_AND_F),
    Cause.NO_HAIRPIN: Made(ARPEGGIOS, ARPEGGIOS["RH"], F(1), lines=CRESCENDO),
}
"""For each cause a take that makes it, and nothing that is told before it."""


def test_every_cause_has_a_take_that_makes_it() -> None:
    assert set(MADE) == set(Cause)


@pytest.mark.parametrize("cause", Cause)
def test_a_cause_is_found_counted_told_and_shown(cause: Cause) -> None:
    entry, made = CATALOGUE[cause], MADE[cause]
    judgement = made.judge(entry.stages[0])
    fault = judgement.faults[0]
    assert (fault.cause, fault.family, fault.forgiven) == (cause, entry.family, False)
    assert not judgement.clean
    outcomes = {result.outcome for result in judgement.transitions}
    assert outcomes & set(entry.outcomes) or not entry.outcomes

    told = set(judgement.sentence.lower().split())
    ways = (fault.words.removeprefix("hand "), *fault.short_words)
    assert any(set(words.lower().split()) <= told for words in ways)
    assert any(fault.words.removeprefix("hand ") in line for line in judgement.details)

    assert any(fault.words in line for line in detail_lines(made.piece, judgement))
    assert verdict_headline(made.piece, judgement)
    shown = set(marks_of(judgement).values()) - {MarkKind.RIGHT}
    assert bool(shown) == (entry.family not in {Family.RELEASE, Family.TEMPO})


@pytest.mark.parametrize("cause", Cause)
@pytest.mark.parametrize("stage", Stage)
def test_what_a_stage_does_not_ask_for_makes_no_repetition_unclean(
    cause: Cause, stage: Stage
) -> None:
    found = [one for one in MADE[cause].judge(stage).faults if one.cause is cause]
    assert all(one.forgiven != is_asked(cause, stage) for one in found)
    assert bool(found) or not is_asked(cause, stage)


@pytest.mark.parametrize("cause", Cause)
def test_the_same_take_without_its_mistake_is_clean(cause: Cause) -> None:
    made = MADE[cause]
    held = "'" if made.score is STACCATO else "_" if made.score is SLURRED else ""
    right = " ".join(re.sub(r"[._]|\*\S+", "", word) + held for word in made.score["RH"].split())
    plain = replace(
        made,
        take=right,
        warp=float,
        qpm=made.asked_qpm or made.qpm,
        pedals=WELL_PEDALLED if made.lines is PEDALLED else (),
        louder=4,
    )
    assert plain.judge(CATALOGUE[cause].stages[0]).clean


def test_a_lateness_weighs_more_the_larger_it_is_up_to_half_a_second() -> None:
    sizes_s = (0.0, 0.25, 0.49, 0.5, 2.0, -2.0)
    weights = [weigh(Cause.HESITATION, size_s=size_s) for size_s in sizes_s]
    assert weights == pytest.approx([0.55, 0.70, 0.844, 0.85, 0.85, 0.85])


def test_even_the_longest_hesitation_is_told_after_a_missed_note() -> None:
    assert weigh(Cause.HESITATION, size_s=9.0) < weigh(Cause.MISSED_NOTE)


def test_of_two_uneven_rows_the_surer_is_told_first() -> None:
    weights = [weigh(Cause.UNEVEN, surprise=surprise) for surprise in (2.0, 3.0, 6.0, 1e9)]
    assert weights == pytest.approx([0.6, 0.6, 0.625, 0.65])


def test_what_may_be_chance_and_what_is_explained_weigh_less() -> None:
    assert weigh(Cause.UNEVEN, doubtful=True) == pytest.approx(0.35)
    assert weigh(Cause.TEMPO_DRIFT, doubtful=True) == pytest.approx(0.35)
    assert weigh(Cause.HESITATION, explained=True) == pytest.approx(0.25)
    assert weigh(Cause.WRONG_KEY, doubtful=True, explained=True) == weigh(Cause.WRONG_KEY)


def test_being_late_with_a_wrong_key_is_told_after_the_hand_that_is_late_elsewhere() -> None:
    """The key is the news where it was wrong: its own lateness says little."""
    late_wrong = "C4 D4 E4 F4 |0.6|G#4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"
    faults = Made(SCALE, late_wrong).judge(Stage.RHYTHM).faults
    assert [one.cause for one in faults[:2]] == [Cause.WRONG_KEY, Cause.HESITATION]
    assert faults[1].weight == 0.45
