"""Every sentence on a repetition, with a take that makes it: a list to read, and to test.

``python -m scripts.sentences`` prints it. The takes are in the notation of ``tests/notated.py``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction as F

from coach.coaching.drill import Drill, DrillEvent, SetAside
from coach.coaching.model import Goal, PlanChange, Request, Way
from coach.coaching.wording import TOO_SOON
from coach.judging.faults import CATALOGUE
from coach.judging.judge import judge
from coach.judging.model import Cause, Judgement, Stage
from coach.playing.notes import PlayedNote
from coach.score.model import Hands, Score
from coach.score.window import Excerpt, Window, excerpt
from tests.notated import Lines, played, written
from tests.test_catalogue import MADE

RH = "C4 D4 E4 F4 G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"
LH = "C3 D3 E3 F3 G3 A3 B3 C4 B3 A3 G3 F3 E3 D3 C3 D3"
SCALE = {"RH": RH}
"""Two bars of eighths."""
BOTH = {"RH": RH, "LH": LH}
SIXTEENTHS = {"RH": f"{RH} {RH}"}


def words_of(line: str, changes: dict[int, str]) -> str:
    """A line with some words, counted from 1, in place of its own."""
    return " ".join(changes.get(at, word) for at, word in enumerate(line.split(), 1))


def first(line: str, count: int) -> str:
    """Its first words."""
    return " ".join(line.split()[:count])


def octave_up(line: str, start: int, end: int) -> str:
    """The words from one to another, counted from 1, an octave higher."""
    return " ".join(
        f"{word[:-1]}{int(word[-1]) + 1}" if start <= at <= end else word
        for at, word in enumerate(line.split(), 1)
    )


@dataclass(frozen=True)
class Take:
    """What is written, what was played of it, and what is said."""

    sentence: str
    score: Lines
    right: str | None = None
    """What the right hand played; None: as written, empty: nothing."""
    left: str | None = None
    each: F = F(1, 2)
    qpm: float = 80.0
    asked: Hands = Hands.TOGETHER
    stage: Stage = Stage.RHYTHM
    warp: Callable[[float], float] = float
    click_late_s: float | None = None
    """How late it is against a click; None where none runs."""
    loud: tuple[int, int] = (64, 64)
    """How hard the right and the left hand strike."""

    @property
    def lines(self) -> Lines:
        """What was played, a line for each hand."""
        own = {"RH": self.right, "LH": self.left}
        lines = {hand: line if own[hand] is None else own[hand] for hand, line in
                 self.score.items()}  # fmt: skip
        return {hand: re.sub(r"\*\S+", "", line or "") for hand, line in lines.items()}

    @property
    def piece(self) -> Score:
        """What is written."""
        return written(self.score, self.each)

    @property
    def window(self) -> Excerpt:
        """All of it, for the hands that are asked for."""
        return excerpt(self.piece, Window(F(0), self.piece.end_quarters, self.asked))

    def judge(self) -> Judgement:
        """The verdict."""
        keys: list[PlayedNote] = []
        for (hand, line), velocity in zip(self.lines.items(), self.loud, strict=False):
            part = played(self.score, {hand: line}, each=self.each, qpm=self.qpm, warp=self.warp)
            keys += [PlayedNote(key.pitch, velocity, key.onset_s, key.length_s) for key in part]
        keys.sort(key=lambda key: key.onset_s)
        late_s = self.click_late_s
        return judge(
            self.window,
            keys,
            stage=self.stage,
            qpm=None if late_s is None else self.qpm,
            click_s=None if late_s is None else 1.0 - late_s,
        )


OF_CAUSES = {
    Cause.WRONG_KEY: "F sharp for F at bar 1, the & of 2",
    Cause.OCTAVE_SLIP: "G an octave too high at bar 1 beat 3",
    Cause.SHIFTED_POSITION: "Hand lies a step too high from bar 1 beat 3",
    Cause.CORRECTED_KEY: "E corrected to F at bar 1, the & of 2",
    Cause.WRONG_ORDER: "A before G at bar 1 beat 3",
    Cause.MISSED_NOTE: "G missed at bar 1 beat 3",
    Cause.MISSED_IN_CHORD: "A missed at bar 1 beat 4",
    Cause.STRETCH_LEFT_OUT: "4 notes left out from bar 1, the & of 2",
    Cause.SKIPPED_BEAT: "Skipped bar 1 beat 3",
    Cause.BRUSHED_KEY: "Extra F sharp at bar 1, the & of 2",
    Cause.STUMBLE: "Stumbled at bar 1 beat 4",
    Cause.RESTART: "Broke off at bar 1, the & of 3 and started again",
    Cause.MISREAD_VALUE: "Eighth at bar 1, the & of 2 got twice its length",
    Cause.MISREAD_PACE: "Eighths at half their speed from bar 1 beat 3",
    Cause.EARLY_ENTRY: "Early to bar 1 beat 3 (0.2 s)",
    Cause.LATE_ENTRY: "Late to bar 1 beat 3 (0.2 s)",
    Cause.HESITATION: "Late to bar 1 beat 3 (0.5 s)",
    Cause.BARLINE_WAIT: "Waits at the barline 3 times, first at bar 2 beat 1",
    Cause.STOPPED_AGAIN: "Stopped again before bar 2 beat 1",
    Cause.ONE_HAND_LATE: "RH late to bar 1 beat 3 (0.2 s)",
    Cause.ONE_HAND_EARLY: "RH early to bar 1 beat 3 (0.2 s)",
    Cause.SPLIT_CHORD: "G after its chord (0.2 s) at bar 1 beat 3",
    Cause.HANDS_DRIFT: "RH drifts behind LH (0.3 s) all along",
    Cause.HAND_DISPLACED: "RH a beat behind LH from bar 1 beat 4 on",
    Cause.UNEVEN: "Uneven (2.5 to 1) from bar 1, the & of 2",
    Cause.WRONG_PROPORTIONS: "Even: written dotted all along",
    Cause.BEHIND_THE_CLICK: "Behind the click (0.6 s) from bar 1 beat 4 on",
    Cause.AHEAD_OF_THE_CLICK: "Ahead of the click (0.6 s) from bar 1 beat 4 on",
    Cause.TEMPO_DRIFT: "Faster and faster (1.8 times)",
    Cause.SLOWING_DOWN: "Slower and slower (1.7 times)",
    Cause.SLOWER_THAN_ASKED: "Slower than asked (64 for 80)",
    Cause.FASTER_THAN_ASKED: "Faster than asked (96 for 80)",
    Cause.EARLY_RELEASE: "Let go early at bar 1 beat 3",
    Cause.BROKEN_SLUR: "Gap under the slur at bar 1 beat 4",
    Cause.HELD_ON: "Staccato not short at bar 1 beat 4",
    Cause.LATE_PEDAL: "Pedal late (1.1 s) at bar 2 beat 1",
    Cause.NO_PEDAL: "No pedal at bar 2 beat 1",
    Cause.PEDAL_NOT_CHANGED: "Pedal not changed at bar 2 beat 1",
    Cause.NO_CONTRAST: "No louder at the f at bar 2 beat 1",
    Cause.NO_HAIRPIN: "No crescendo all along",
}
"""What is said of each cause; its take stands in ``tests/test_catalogue.py``."""


def judge_cause(cause: Cause) -> Judgement:
    """The verdict on the cause's take, at the first stage that asks for it."""
    return MADE[cause].judge(CATALOGUE[cause].stages[0])


SIXTHS = {"RH": "C4+A4 D4+B4 E4+C5 D4+B4 C4+A4 D4+B4 E4+C5 C4+A4"}

SAID_ONCE = (
    Take("Clean", BOTH),
    Take("RH A flat for G at bar 1 beat 3", BOTH, words_of(RH, {5: "Ab4"})),
    # The same in both hands.
    Take("Both hands an octave too high from bar 1 beat 2", BOTH, octave_up(RH, 3, 6),
         octave_up(LH, 3, 6)),
    Take("Both hands G an octave too high at bar 1 beat 3", BOTH, octave_up(RH, 5, 5),
         octave_up(LH, 5, 5)),
    # How often.
    Take("G missed twice, first at bar 1 beat 3", SCALE, words_of(RH, {5: "-", 11: "-"})),
    Take("Stumbled twice, first at bar 1 beat 4", SCALE,
         "C4 D4 E4 F4 G4 A4 |0.6|@5:G4 A4 B4 C5 B4 A4 G4 |.6|@10:A4 G4 F4 E4 D4 C4 D4"),
    Take("Broke off at bar 1 beat 3 and started again twice", SCALE,
         f"C4 D4 E4 F4 |1.2|@1:C4 D4 E4 F4 G4 |1.2|@1:{RH}"),
    # A chord that is looked for.
    Take("Felt for the chord at bar 1 beat 3", SIXTHS,
         "C4+A4 D4+B4 E4 |0.1|@3:C5 |0.1|@3:E4+C5 D4+B4 C4+A4 D4+B4 E4+C5 C4+A4", each=F(1)),
    # Where it began and stopped, and which hand.
    Take("Began at bar 1 beat 3", SCALE, words_of(RH, dict.fromkeys(range(1, 5), "-"))),
    Take("Stopped before bar 2 beat 3", SCALE, first(RH, 12)),
    Take("Stopped before bar 2, the & of 4", SCALE, first(RH, 15)),
    Take("G missed at bar 1 beat 3; then stopped", SCALE, first(words_of(RH, {5: "-"}), 12)),
    Take("RH stopped before bar 2, the & of 1, LH played on", BOTH, first(RH, 9)),
    Take("LH stopped before bar 2, the & of 3, RH played on", BOTH, None, first(LH, 13)),
    Take("RH stopped before bar 1, the & of 4, LH played on", BOTH, first(RH, 7), first(LH, 13)),
    Take("RH D missed at bar 2, the & of 4", BOTH, first(RH, 15)),
    # What spans some of the window, and all of it.
    Take("Hand lies a step too high from bar 1 beat 3", SCALE,
         words_of(RH, {5: "A4", 6: "B4", 7: "C5"})),
    Take("Hand lies a third too low from bar 2 beat 2 on", SCALE,
         words_of(RH, {12: "D4", 13: "C4", 14: "B3", 15: "A3", 16: "B3"})),
    Take("4 notes left out from bar 1, the & of 2", SCALE,
         words_of(RH, dict.fromkeys(range(4, 8), "-"))),
    Take("Faster and faster (1.8 times)", SCALE, warp=lambda at: at - 0.04 * max(at - 1, 0) ** 2),
)  # fmt: skip
"""What is one thing to the player is said once, with its span, its hands and how often."""

TRIPLETS = {"RH": " ".join(f"{key}*1/3" for key in f"{RH} {RH}".split()[:24])}
FIFTHS = {"RH": "G4*1/5 A4*1/5 B4*1/5 C5*1/5 D5*1/5 E5*1 D5*1 C5*1 B4*1 A4*1 G4*1 A4*1 G4*1"}
CHORDS = {"RH": "C4+E4+G4 D4+F4+A4 E4+G4+B4 F4+A4+C5 E4+G4+B4 D4+F4+A4 C4+E4+G4 C4+E4+G4"}
EQUAL = {"RH": "E4 G4 C4 C4 C4 C4 D4 E4"}

OF_PLACES = (
    Take("F sharp for F at bar 1, last sixteenth of beat 1", SIXTEENTHS,
         words_of(SIXTEENTHS["RH"], {4: "F#4"}), each=F(1, 4)),
    Take("E flat for D at bar 1, second sixteenth of beat 1", SIXTEENTHS,
         words_of(SIXTEENTHS["RH"], {2: "Eb4"}), each=F(1, 4)),
    Take("E flat for E at bar 1, last triplet of beat 1", TRIPLETS,
         words_of(TRIPLETS["RH"], {3: "Eb4"})),
    Take("B flat for B in bar 1 beat 1", FIFTHS,
         words_of(FIFTHS["RH"], {3: "Bb4"})),
    Take("RH C sharp for C in bar 1 beat 2",
         {**SIXTEENTHS, "LH": LH.replace(" ", "*1/2 ") + "*1/2"},
         words_of(SIXTEENTHS["RH"], {8: "C#5"}), each=F(1, 4)),
)  # fmt: skip
"""The same wrong key at places of every kind; in the beat where the place has too many words."""

DOUBTFUL = (Take("Unsure: skipped bar 2 beat 2", EQUAL, "E4 G4 C4 x C4 C4 D4 E4", each=F(1)),)
"""What may have been one thing or another."""

MORE = (
    Take("RH chord spread at bar 1 beat 3 (0.06 s)", {**CHORDS, "LH": "C3 " * 8},
         words_of(CHORDS["RH"], {3: "E4+G4>.03+B4>.06"}), each=F(1)),
    Take("Always 0.05 s behind the click: not counted", SCALE, stage=Stage.PULSE,
         click_late_s=0.05),
    Take("Always 0.05 s ahead of the click: not counted", SCALE, stage=Stage.PULSE,
         click_late_s=-0.05),
    Take("The left hand covers the right", BOTH, loud=(50, 90), stage=Stage.SHAPE),
    Take("It may have been one thing or another: it does not count", EQUAL,
         "E4 G4 C4 x C4 C4 D4 E4", each=F(1)),
    Take("late to bar 1 beat 3 (0.5 s) (does not count at this stage)", SCALE,
         words_of(RH, {5: "|0.5|G4"}), stage=Stage.NOTES),
    Take("RH: equal notes vary by 0% (in a professional's scale by 7%)", BOTH),
)  # fmt: skip
"""What the details say besides: notices, what does not count, how even it was."""

TUNE, BASS = "C5 E5 G5 F5 D5 B4 C5", "C3*2 G3*2 G2*2 C3*1"
WHOLE = {"RH": TUNE, "LH": BASS}
LOW = "C2*2 G2*2 G1*2 C2*1"

INSTEAD = (
    *(Take(sentence, WHOLE, right, left, each=F(1), asked=asked)
    for sentence, right, left, asked in (
        ("The right hand is an octave too high: move it down.", octave_up(TUNE, 1, 7), None,
         Hands.TOGETHER),
        ("The left hand is an octave too low: move it up.", None, LOW, Hands.TOGETHER),
        ("Both hands are an octave too low: move them up.", "C4 E4 G4 F4 D4 B3 C4", LOW,
         Hands.TOGETHER),
        ("The right hand is two octaves too high: move it down.", "C7 E7 G7 F7 D7 B6 C7", None,
         Hands.TOGETHER),
        ("Right hand an octave too high, left hand an octave too low.", octave_up(TUNE, 1, 7), LOW,
         Hands.TOGETHER),
        ("All of it is two half steps too high. Is the piano's transpose switched on?",
         "D5 F#5 A5 G5 E5 C#5 D5", "D3 A3 A2 D3", Hands.TOGETHER),
        ("All of it is one half step too low. Is the piano's transpose switched on?",
         "B4 D#5 F#5 E5 C#5 A#4 B4", "B2 F#3 F#2 B2", Hands.TOGETHER),
        ("The left hand read the treble clef: read the bass clef.", None, "A2 E3 E2 A2",
         Hands.TOGETHER),
        ("Both hands are asked for: only the right hand was heard.", None, "", Hands.TOGETHER),
        ("Both hands are asked for: only the left hand was heard.", "", None, Hands.TOGETHER),
        ("Right hand alone: the left hand played too.", None, None, Hands.RIGHT),
        ("Left hand alone: the right hand played too.", None, None, Hands.LEFT),
        ("The right hand is asked for: the left hand was heard.", "", None, Hands.RIGHT),
        ("The left hand is asked for: the right hand was heard.", None, "", Hands.LEFT),
        ("These are not the notes of this window.", "F#4 A5 C#4 A3 D#6 G#3 F#3 B5 D#3 F#6"[:20],
         "Eb2 F#5 Bb1 Ab5", Hands.TOGETHER),
    )),
    Take("Too fast to hear a rhythm: play what you can count.", SCALE, qpm=2400),
)  # fmt: skip
"""What was something else than the window."""


class Then(StrEnum):
    """What is done at the piano after the keys."""

    WAITS = "waits"
    ASKS = "asks for something else"
    PLANS = "changes the plan"
    PAUSES = "pauses"
    UNPLUGS = "unplugs the piano"
    TOO_SOON = "comes in during the count"


@dataclass(frozen=True)
class AtThePiano:
    """Keys at a drill, what is done after them, and why they are set aside."""

    sentence: str
    keys: str
    """A quarter each, ``+`` joins a chord."""
    then: Then = Then.WAITS

    def set_aside(self) -> list[str]:
        """What is said."""
        score = written(WHOLE, F(1))
        stage = Stage.PULSE if self.then is Then.TOO_SOON else Stage.RHYTHM
        way = Way.LEARN if self.then is Then.PLANS else Way.REPAIR
        window = Window(F(0), score.end_quarters)
        drill = Drill(score, Goal(window, 80.0, stage, way=way))
        events = list(drill.start(0.0))
        line = {"RH": self.keys}
        for key in played(line, line, each=F(1), qpm=80.0):
            events += drill.key_down(key.pitch, key.velocity, 10 + key.onset_s)
            events += drill.key_up(key.pitch, 10 + key.onset_s + 0.3)
        now_s = 11 + 0.75 * len(self.keys.split())
        events += self._do(drill, now_s)
        return [event.reason for event in events if isinstance(event, SetAside)]

    def _do(self, drill: Drill, now_s: float) -> Iterator[DrillEvent]:
        if self.then is Then.ASKS:
            yield from drill.ask(Request.SMALLER, now_s)
        elif self.then is Then.PLANS:
            yield from drill.change_plan(0, PlanChange.LEAVE_OUT, now_s)
        elif self.then is Then.PAUSES:
            yield from drill.pause(now_s)
        elif self.then is Then.UNPLUGS:
            yield from drill.piano_lost(now_s)
        for tenth in range(300):
            yield from drill.tick(now_s + tenth / 10)


SET_ASIDE = (
    AtThePiano("One note or chord alone is not judged: play all of it.", "C5"),
    AtThePiano("One note or chord alone is not judged: play all of it.", "C3+C5"),
    AtThePiano("Only the first notes were played.", "C5+C3 C5+C3"),
    AtThePiano("Too few notes to judge: play all of it.", "C5+C3 B5"),
    AtThePiano("A false start: it does not count.", "C5+C3 E5 |1.5|C5+C3 E5 G5+G3 F5 D5+G2 B4"),
    AtThePiano("You asked for something else.", "C5+C3 E5 G5+G3", Then.ASKS),
    AtThePiano("You changed the plan.", "C5 E5 G5", Then.PLANS),
    AtThePiano("You paused.", "C5+C3 E5 G5+G3", Then.PAUSES),
    AtThePiano("The piano was unplugged.", "C5+C3 E5 G5+G3", Then.UNPLUGS),
    AtThePiano(TOO_SOON, "C5 - - C5+C3 E5", Then.TOO_SOON),
)
"""What the drill says of keys that it does not judge."""
