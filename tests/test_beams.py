"""Beams as the file has them: read, kept, and drawn in cells and in the picture."""

from __future__ import annotations

import re
import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from coach.engraving import write_mei
from coach.score.build import score_from_notes
from coach.score.counting import syllables
from coach.score.forms import WrittenForm
from coach.score.model import PrintedRest, Score
from coach.score.notation import Written, write
from coach.score.reading import read_score
from coach.score.window import excerpt, whole_piece
from coach.screens.staff.layout import lay_out
from scripts.corpus import PIANO_SCORES, corpus
from tests.breadth import every
from tests.scorexml import bar, note, opened, piano, rest

MEI = "{http://www.music-encoding.org/ns/mei}"


def row(lengths: str, beams: str = "", *, metre: str = "4/4") -> Score:
    """Notes of the right hand one after the other: ``1/2 1/2 r1/2 1/4``; ``r`` is a rest.

    ``beams``: how many lead on from each note, ``1 1 0``; nothing where the file says nothing.
    """
    notes: list[dict[str, object]] = []
    rests: list[PrintedRest] = []
    at = F(0)
    for word in lengths.split():
        length = F(word.removeprefix("r"))
        if word.startswith("r"):
            rests.append(PrintedRest(1, "1", at, length))
        else:
            pitch = 67 + len(notes) % 3
            notes.append({"pitch": pitch, "onset": at, "length": length, "hand": "RH"})
        at += length
    score = score_from_notes(notes, metre=metre)
    said = [int(one) for one in beams.split()]
    beamed = [
        replace(one, beams_to_next=(said[at],) if said else ())
        for at, one in enumerate(score.notes)
    ]
    return replace(score, notes=tuple(beamed), rests=tuple(rests))


def written(score: Score) -> Written:
    return write(score, excerpt(score, whole_piece(score)), syllables)


def groups(score: Score) -> list[int]:
    """How many notes each beam joins; 1 for a flag."""
    return [len(group.stems) for group in written(score).beams]


def tree_of(score: Score) -> ElementTree.Element:
    return ElementTree.fromstring(write_mei(written(score)))


def shape(element: ElementTree.Element) -> list[Any]:
    """What a layer holds: the names of its elements, nested."""
    return [
        [one.tag.removeprefix(MEI), shape(one)] if len(one) else one.tag.removeprefix(MEI)
        for one in element
    ]


# Reading.


def beams_of(folder: Path, *notes: str) -> list[tuple[int, ...]]:
    return [one.beams_to_next for one in opened(folder, piano(bar(*notes))).notes]


def test_of_each_note_it_is_read_how_many_beams_lead_on(tmp_path: Path) -> None:
    assert beams_of(
        tmp_path,
        note("C4", beams="begin begin"),
        note("D4", beams="continue end"),
        note("E4", beams="continue forward"),
        note("F4", beams="end"),
    ) == [(2,), (1,), (1,), (0,)]


def test_a_note_without_a_beam_has_flags_where_others_have_beams(tmp_path: Path) -> None:
    played = [note("C4", beams="begin"), note("D4", beams="end"), note("E4"), note("F4")]
    assert beams_of(tmp_path, *played) == [(1,), (0,), (0,), (0,)]


def test_a_file_without_beams_says_nothing_of_them(tmp_path: Path) -> None:
    assert beams_of(tmp_path, note("C4"), note("D4"), note("E4")) == [(), (), ()]


def test_a_chord_has_the_beams_of_its_first_note(tmp_path: Path) -> None:
    played = [note("C4", beams="begin"), note("E4", chord=True), note("D4", beams="end")]
    assert beams_of(tmp_path, *played, note("E4"), note("F4"), note("G4"))[:3] == [
        (1,), (1,), (0,)
    ]  # fmt: skip


def test_each_piece_of_a_tied_note_has_its_own_beams(tmp_path: Path) -> None:
    assert beams_of(
        tmp_path,
        note("C4", tie="start", beams="begin"),
        note("C4", tie="stop", beams="end"),
        note("D4"),
    ) == [(1, 0), (0,)]


def test_small_notes_say_nothing_of_the_beam_of_their_main_note(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("B3", grace="slash", beams="begin"),
                note("D4", grace="slash", beams="end"),
                note("C4", "0.5", beams="begin"),
                note("D4", "0.5", beams="end"),
                rest(3),
            )
        ),
    )
    assert [group.stems[0].onset_quarters for group in written(found).beams] == [0]
    assert groups(found) == [2]


def test_beams_of_small_notes_alone_say_nothing_of_the_others(tmp_path: Path) -> None:
    graces = [note("B3", grace="slash", beams="begin"), note("D4", grace="slash", beams="end")]
    assert beams_of(tmp_path, *graces, note("C4", 2), note("D4", 2))[2:] == [(), ()]


@pytest.mark.outside
@pytest.mark.parametrize("name", every(3, PIANO_SCORES))
def test_every_beam_leads_on_as_music21_reads_it(name: str) -> None:
    """Position in its bar to a hundredth (the file rounds some), key, and how many beams."""
    path = corpus() / name
    mine = Counter(_pieces_with_beams(read_score(path)))
    assert mine == Counter(_beamed_in_music21(path))
    assert sum(mine.values()) > 5


def _pieces_with_beams(score: Score) -> Iterator[tuple[int, float, int, int]]:
    for one in score.notes:
        at = one.onset_quarters
        pieces = one.segments_quarters or (one.length_quarters,)
        for piece, beams in zip(pieces, one.beams_to_next, strict=True):
            here = score.bar_at(at)
            if beams and not one.grace:
                yield here.index, round(float(at - here.onset_quarters), 2), one.pitch, beams
            at += piece


def _beamed_in_music21(path: Path) -> Iterator[tuple[int, float, int, int]]:
    music21 = pytest.importorskip("music21")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        parsed = music21.converter.parse(str(path))
    for part in parsed.parts:
        for at, measure in enumerate(part.getElementsByClass("Measure")):
            for one in measure.recurse().notes:
                beams = sum(beam.type in ("start", "continue") for beam in one.beams.beamsList)
                if beams and not one.duration.isGrace:
                    onset = round(float(one.getOffsetInHierarchy(measure)), 2)
                    yield from ((at, onset, pitch.midi, beams) for pitch in one.pitches)


# What a beam joins.


@pytest.mark.parametrize(
    ("lengths", "beams", "joined"),
    [
        ("1/2 " * 8, "", [2, 2, 2, 2]),  # by beats, where nobody says
        ("1/2 " * 8, "1 1 1 0 1 1 1 0", [4, 4]),
        ("1/2 " * 4, "0 0 0 0", [1, 1, 1, 1]),
        ("1/2 " * 4, "0 1 1 0", [1, 3]),
        ("1/2 r1/2 1/2 1/2", "1 1 0", [3]),  # over a rest
        ("1/2 r1/2 1/2 1/2", "", [1, 2]),
        ("1/2 1 1/2", "1 0 0", [1, 1]),  # a quarter has no beam
        ("1 1 1 1/2 1/2 1/2 1/2", "0 0 0 1 1 1 0", [2, 2]),  # not over a barline
    ],
)
def test_a_beam_joins_what_the_file_joins(lengths: str, beams: str, joined: list[int]) -> None:
    assert groups(row(lengths, beams)) == joined


def test_no_beam_leads_over_a_silence_that_is_not_printed() -> None:
    """A rest that is missing is no music that a beam could cross: another staff has it."""
    score = replace(row("1/2 r1/2 1/2 1/2", "1 1 0"), rests=())
    assert groups(score) == [1, 2]


def test_what_is_practised_in_another_rhythm_is_beamed_by_beats() -> None:
    score = row("1/2 " * 4, "1 1 1 0")
    window = replace(whole_piece(score), form=WrittenForm.DOTTED)
    part = excerpt(score, window)
    assert [len(group.stems) for group in write(score, part, syllables).beams] == [2, 2]


@pytest.mark.parametrize(
    ("lengths", "beams", "digits"),
    [
        ("1/3 " * 6, "1 1 1 1 1 0", ["3", "3"]),  # one beam over two beats
        ("1/6 " * 6, "2 2 2 2 2 0", ["6"]),  # in a beat
        ("1/6 " * 6, "2 2 0 2 2 0", ["3", "3"]),
        ("1/3 " * 3, "0 0 0", ["3"]),  # flags
        ("1/3 " * 3, "", ["3"]),
        ("1/2 1/6 1/6 1/6", "1 1 1 0", ["3"]),
        ("2/3 1/3", "0 0", ["3"]),
    ],
)
def test_a_tuplets_digit_stands_once(lengths: str, beams: str, digits: list[str]) -> None:
    assert [one.digit for one in written(row(lengths, beams)).tuplets] == digits


# Drawn.


def lane_of(score: Score) -> str:
    """The row of the beams in cells, each line between two stems as short as can be."""
    sheet = lay_out(score, excerpt(score, whole_piece(score)), 100, 24)
    lane = sheet.pages[0].rows[0].text.removeprefix("bar 1").strip()
    return re.sub(r"([ ━═])\1+", r"\1", lane)


@pytest.mark.parametrize(
    ("beams", "lane"),
    [("", "╔═╦═╦═╗"), ("2 2 2 0", "╔═╦═╦═╗"), ("2 1 2 0", "╔═╦━╦═╗"), ("2 0 2 0", "╔═╗ ╔═╗")],
)
def test_in_cells_as_many_beams_lead_on_as_in_the_file(beams: str, lane: str) -> None:
    assert lane_of(row("1/4 " * 4, beams)) == lane


def test_in_the_picture_a_rest_is_under_the_beam_that_leads_over_it() -> None:
    layer = next(tree_of(row("1/2 r1/2 1/2 1/2 2", "1 1 0 0")).iter(f"{MEI}layer"))
    assert shape(layer) == [["beam", ["note", "rest", "note", "note"]], "note"]


def test_in_the_picture_fewer_beams_lead_on_where_the_file_has_fewer() -> None:
    notes = list(tree_of(row("1/4 " * 4, "2 1 2 0")).iter(f"{MEI}note"))
    assert [one.get("breaksec") for one in notes] == [None, "1", None, None]
    notes = list(tree_of(row("1/4 " * 4)).iter(f"{MEI}note"))
    assert [one.get("breaksec") for one in notes] == [None] * 4
