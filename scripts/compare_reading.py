"""Compare our reading of piano scores with two independent readers, note by note.

    python -m scripts.compare_reading [--show N] [FILE ...]

Without files, the piano scores of music21's installed corpus are read. For each score and reader
the table gives the notes of either side that have no partner of the same bar, onset, key and
kind (small or not), and, of the partners, how many differ in each attribute. Neither reader is
the truth: the tests explain the differences one by one.
"""

from __future__ import annotations

import argparse
import warnings
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from coach.score.formats import ScoreError
from coach.score.reading import read_score
from scripts.corpus import PIANO_SCORES, corpus

ATTRIBUTES = ("length", "spelling", "staff", "voice", "fingering")


@dataclass(frozen=True)
class Row:
    """One note as a reader has it; an attribute that the reader does not give is None."""

    bar_index: int
    onset: Fraction
    """From the bar's start, in quarters."""
    pitch: int
    is_small: bool
    length: Fraction | None = None
    spelling: str | None = None
    staff: int | None = None
    voice: str | None = None
    fingering: tuple[str, ...] | None = None

    @property
    def key(self) -> tuple[int, Fraction, int, bool]:
        """What makes two rows the same note."""
        return self.bar_index, self.onset, self.pitch, self.is_small


def ours(path: Path) -> list[Row]:
    """Our own reading."""
    score = read_score(path)
    return [
        Row(
            note.bar_index,
            note.onset_quarters - score.bars[note.bar_index].onset_quarters,
            note.pitch,
            note.grace is not None,
            note.length_quarters,
            note.spelling.symbol,
            note.staff,
            note.voice,
            note.fingering,
        )
        for note in score.notes
    ]


def partituras(path: Path) -> list[Row]:
    """The notes as partitura reads them, from the part or parts that carry two staves."""
    import partitura
    from partitura.score import GraceNote

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        parts = partitura.load_score(str(path)).parts
    rows = []
    for part in _keyboards(parts):
        measures = list(part.iter_all(partitura.score.Measure))
        for note in part.notes_tied:
            index = max(i for i, m in enumerate(measures) if m.start.t <= note.start.t)
            divisions = int(part.quarter_durations()[-1][1])
            unit = int(part.quarter_duration_map(note.start.t)) or divisions
            rows.append(
                Row(
                    index,
                    Fraction(int(note.start.t - measures[index].start.t), unit),
                    int(note.midi_pitch),
                    isinstance(note, GraceNote),
                    Fraction(int(note.duration_tied), unit),
                    _symbol(note.step, int(note.alter or 0), note.octave),
                    note.staff,
                    str(note.voice),
                    _partitura_fingers(note),
                )
            )
    return rows


def _keyboards(parts: Iterable[Any]) -> list[Any]:
    listed = list(parts)
    wide = [part for part in listed if part.number_of_staves > 1]
    return wide[:1] or listed


def _partitura_fingers(note: Any) -> tuple[str, ...]:
    found = [t for t in (note.technical or []) if type(t).__name__ == "Fingering"]
    return tuple(str(t.fingering) for t in found)


def _symbol(step: str, alter: int, octave: int) -> str:
    signs = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "x"}
    return f"{step.upper()}{signs.get(alter, f'({alter:+d})')}{octave}"


def music21s(path: Path) -> list[Row]:
    """The notes as music21 reads them, its own ``stripTies`` included; bars by measure order."""
    import music21

    stream: Any = music21.converter.parse(path, forceSource=True, storePickle=False)
    staves = [p for p in stream.parts if isinstance(p, music21.stream.PartStaff)]
    rows = []
    for number, part in enumerate(staves or list(stream.parts), start=1):
        stripped = part.stripTies()
        for index, measure in enumerate(stripped.getElementsByClass("Measure")):
            for element in measure.recurse().getElementsByClass("NotRest"):
                if element.style.hideObjectOnPrint or not hasattr(element, "pitches"):
                    continue
                rows += _music21_rows(element, index, measure, number)
    return rows


def _music21_rows(element: Any, index: int, measure: Any, staff: int) -> list[Row]:
    onset = Fraction(element.getOffsetInHierarchy(measure)).limit_denominator(10080)
    small = bool(element.duration.isGrace)
    length = Fraction(element.quarterLength).limit_denominator(10080)
    pitches = element.pitches
    return [
        Row(
            index,
            onset,
            p.midi,
            small,
            length,
            _symbol(p.step, int(p.alter), p.octave or 4),
            staff,
        )
        for p in pitches
    ]


def compare(mine: list[Row], theirs: list[Row]) -> tuple[list[Row], list[Row], dict[str, int]]:
    """Our rows without a partner, theirs, and how many partners differ in each attribute."""
    waiting: dict[tuple[int, Fraction, int, bool], list[Row]] = defaultdict(list)
    for row in theirs:
        waiting[row.key].append(row)
    lonely: list[Row] = []
    differing = dict.fromkeys(ATTRIBUTES, 0)
    for row in mine:
        candidates = waiting[row.key]
        if not candidates:
            lonely.append(row)
            continue
        partner = min(candidates, key=lambda other: len(_differences(row, other)))
        candidates.remove(partner)
        for attribute in _differences(row, partner):
            differing[attribute] += 1
    return lonely, [row for rest in waiting.values() for row in rest], differing


def _differences(mine: Row, other: Row) -> list[str]:
    return [
        attribute
        for attribute in ATTRIBUTES
        if getattr(other, attribute) is not None
        and getattr(mine, attribute) != getattr(other, attribute)
    ]


READERS = {"partitura": partituras, "music21": music21s}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--show", type=int, default=0, help="list so many lonely notes")
    options = parser.parse_args()
    for path in options.files or [corpus() / name for name in PIANO_SCORES]:
        try:
            mine = ours(path)
        except ScoreError as error:
            print(error)
            continue
        print(f"{path.parent.name}/{path.name}: {len(mine)} notes")
        for reader, read in READERS.items():
            try:
                lonely, others, differing = compare(mine, read(path))
            except Exception as error:  # another reader's failure is a result, not our error
                print(f"  {reader:10} fails: {type(error).__name__}: {str(error)[:80]}")
                continue
            worded = ", ".join(f"{name} {number}" for name, number in differing.items() if number)
            print(f"  {reader:10} only ours {len(lonely)}, only theirs {len(others)}; {worded}")
            for row in lonely[: options.show]:
                print("     ours  ", row)
            for row in others[: options.show]:
                print("     theirs", row)


if __name__ == "__main__":
    main()
