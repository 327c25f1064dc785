"""Someone at the piano of a drill, live: plays as people do, with the clock running."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction as F
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from coach.coaching.drill.drill import Drill
from coach.coaching.drill.drill_events import (
    AssignmentGiven,
    DrillEvent,
    DrillState,
    RepetitionEnded,
    SetAside,
)
from coach.coaching.model import Assignment
from coach.drill import repair
from coach.score.model import Hands, Score
from coach.score.reading import read_score
from coach.score.window import Window, excerpt

FRAME_S = 0.05
"""How often the drill screen says that time passes."""
FOLDER = Path(__file__).parent.parent / "sample_scores"
SAMPLES = sorted(path.stem for path in FOLDER.glob("*.musicxml"))

Kind = TypeVar("Kind")


@cache
def sample(name: str) -> Score:
    return read_score(FOLDER / f"{name}.musicxml")


@cache
def one_bar_windows(name: str, *, hands: tuple[Hands, ...] = tuple(Hands)) -> tuple[Window, ...]:
    """Every bar of a sample, each hand alone and both, where there is something to play."""
    score = sample(name)
    found = [Window(bar.onset_quarters, bar.end_quarters, h) for bar in score.bars for h in hands]
    return tuple(one for one in found if _onsets(score, one) >= 3)


def every_other(windows: tuple[Window, ...], number: int) -> tuple[Window, ...]:
    """Those at even places for an even number, the others for an odd one: all come, sooner."""
    return windows[number % 2 :: 2]


def _onsets(score: Score, window: Window) -> int:
    notes = score.notes_between(window.start_quarters, window.end_quarters, window.hands)
    return len(excerpt(score, window).onsets_quarters) if notes else 0


class Live:
    """A drill of one window, and hands that play at its keys."""

    def __init__(self, score: Score, window: Window, **how: Any) -> None:
        self.score = score
        goal = how.pop("goal", None) or repair(score, window)
        self.drill = Drill(score, goal, **how)
        self.now_s = 10.0
        self.heard: list[DrillEvent] = []
        self.under_the_hands: list[AssignmentGiven] = []
        """What was given with a repetition in hand."""
        self.note(self.drill.start(self.now_s))

    def note(self, outcomes: Iterable[DrillEvent]) -> None:
        for one in outcomes:
            self.heard.append(one)
            if isinstance(one, AssignmentGiven) and self.drill.state is DrillState.PLAYING:
                self.under_the_hands.append(one)

    def all(self, kind: type[Kind]) -> list[Kind]:
        return [one for one in self.heard if isinstance(one, kind)]

    @property
    def ended(self) -> list[RepetitionEnded]:
        return self.all(RepetitionEnded)

    @property
    def aside(self) -> list[str]:
        return [one.reason for one in self.all(SetAside)]

    @property
    def asked(self) -> Assignment:
        return self.drill.assignment

    def waits(self, seconds: float) -> Live:
        end = self.now_s + seconds
        while self.now_s + FRAME_S <= end:
            left_s = end - self.now_s
            self.now_s += FRAME_S if left_s < 30 else 1.0  # a long talk
            self.note(self.drill.tick(self.now_s))
        self.now_s = end
        return self

    def strikes(self, *pitches: int, held_s: float = 0.2) -> Live:
        """Keys that go down together, and up again."""
        for pitch in pitches:
            self.note(self.drill.key_down(pitch, 64, self.now_s))
            self.now_s += 0.004
        self.waits(held_s)
        for pitch in pitches:
            self.note(self.drill.key_up(pitch, self.now_s))
        return self

    def plays(
        self,
        first: int = 0,
        last: int | None = None,
        *,
        window: Window | None = None,
        pace: float = 1.0,
        change: Callable[[int, int], int] = lambda note, pitch: pitch,
    ) -> Live:
        """The onsets of the window from ``first`` up to before ``last``, at the tempo asked for.

        ``change`` makes of a note's number and pitch the key that is struck for it. The clock
        stands at the last key's stroke, held keys come up when they should.
        """
        part = excerpt(self.score, window) if window else self.drill.excerpt
        onsets = part.onsets_quarters[first:last]
        quarter_s = 60.0 / ((self.asked.qpm or part.qpm) * pace)
        moves: list[tuple[float, int, int]] = []
        end_s = self.now_s
        for index, note in enumerate(part.notes):
            if note.onset_quarters not in onsets:
                continue
            at_s = self.now_s + float(note.onset_quarters - onsets[0]) * quarter_s
            if note.grace is not None:
                at_s -= 0.06
            held_s = max(0.85 * float(note.length_quarters) * quarter_s, 0.05)
            pitch = change(index, note.pitch)
            moves += [(max(at_s, self.now_s), 1, pitch), (at_s + held_s, 0, pitch)]
            end_s = max(end_s, at_s)
        for at_s, is_down, pitch in sorted(moves):
            if at_s > end_s and not is_down:  # let go in the next silence, all at once
                at_s = end_s + 0.02
            self.waits(max(at_s - self.now_s, 0.0))
            drill = self.drill
            self.note(drill.key_down(pitch, 64, at_s) if is_down else drill.key_up(pitch, at_s))
        return self

    def gap_s(self, onset: int) -> float:
        """From an onset of the window to the next, at the tempo asked for."""
        onsets = self.drill.excerpt.onsets_quarters
        gap = onsets[onset + 1] - onsets[onset] if onset + 1 < len(onsets) else F(1)
        return float(gap) * 60.0 / (self.asked.qpm or self.drill.excerpt.qpm)


def every_window(hands: tuple[Hands, ...] = tuple(Hands)) -> Iterator[tuple[str, Window]]:
    for name in SAMPLES:
        for window in one_bar_windows(name, hands=hands):
            yield name, window


def at_the_bar() -> Live:
    """Someone at one bar of a sample, with the right hand."""
    return Live(sample("2-the-ferry-bell"), Window(F(5), F(9), Hands.RIGHT))
