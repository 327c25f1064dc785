"""Engraved notation: what is judged is what is seen, and all of it fits."""

from __future__ import annotations

import io
import json
import re
import struct
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import islice, pairwise
from pathlib import Path
from queue import SimpleQueue
from threading import Event
from typing import Any
from xml.etree import ElementTree

import pytest

from coach.children import start_python
from coach.engraving.mei import LANDING_COLOUR, note_id, write_mei
from coach.score.build import score_from_notes
from coach.score.model import (
    Barline,
    Clef,
    Direction,
    Grace,
    Hands,
    LineKind,
    NoteMark,
    OwnNote,
    PrintedLine,
    PrintedRest,
    Score,
)
from coach.score.notation import write
from coach.score.reading import read_score
from coach.score.window import Excerpt, Window, choose_window, excerpt, whole_piece
from tests.breadth import every

pytest.importorskip("verovio", reason="needs the extra pictures: pip install .[pictures]")
pytest.importorskip("resvg_py", reason="needs the extra pictures: pip install .[pictures]")

from coach.engraving import process
from coach.engraving.engraver import Box, CannotEngrave, Engraved, engrave
from coach.engraving.line import EngravingLine, Picture, Wanted
from coach.engraving.picture import draw

SCORES = {path.stem: read_score(path) for path in sorted(
    (Path(__file__).parent.parent / "sample_scores").glob("*.musicxml"))}  # fmt: skip
BOX = Box(1080.0, 420.0, 150.0)
SMALL = Box(640.0, 200.0, 150.0)


def mei_of(score: Score, part: Excerpt) -> str:
    return write_mei(write(score, part, lambda _, onsets: [""] * len(onsets)))


def windows(score: Score, bars: int) -> Iterator[Excerpt]:
    """Windows of so many bars, one after the other, each hand and both."""
    for at in range(0, len(score.bars) - bars + 1, bars):
        first, last = score.bars[at], score.bars[at + bars - 1]
        for hands in Hands:
            try:
                yield excerpt(score, Window(first.onset_quarters, last.end_quarters, hands))
            except ValueError:  # nothing for this hand
                continue


def onsets_in_order(part: Excerpt, engraved: Engraved) -> None:
    """Notes of a later onset stand further to the right, whatever their staff."""
    left = {
        onset: [
            engraved.notes[note_id(index)][0]
            for index, note in enumerate(part.notes)
            if note.onset_quarters == onset and note.grace is None
        ]
        for onset in part.onsets_quarters
    }
    columns = [(min(xs), max(xs)) for xs in left.values() if xs]
    for (_, before), (after, _) in pairwise(columns):
        assert after > before - engraved.staff_px / 4  # seconds stand side by side


@pytest.mark.parametrize("bars", [1, 3])
@pytest.mark.parametrize("name", every(2, SCORES))
def test_every_note_of_every_window_is_drawn_in_its_order_within_the_box(
    name: str, bars: int
) -> None:
    for part in islice(windows(SCORES[name], bars), bars // 2, None, 2):  # all hands come
        engraved = engrave(mei_of(SCORES[name], part), BOX)
        assert {note_id(index) for index in range(len(part.notes))} <= engraved.notes.keys()
        assert len(engraved.staves) == len({note.staff for note in part.notes})
        assert engraved.width_px <= BOX.width_px + 1
        assert engraved.height_px <= BOX.height_px + 1
        assert engraved.staff_px <= BOX.largest_staff_px
        for left, middle in engraved.notes.values():
            assert 0 < left < engraved.width_px
            assert 0 <= middle <= engraved.height_px
        onsets_in_order(part, engraved)


def beat_windows(score: Score) -> Iterator[Excerpt]:
    """Windows that cut into bars: from each beat to the next."""
    for bar in score.bars:
        for start in bar.beats_quarters():
            try:
                end = start + bar.metre.beat_quarters
                yield excerpt(score, Window(start, min(end, score.end_quarters)))
            except ValueError:
                continue


@pytest.mark.parametrize("name", every(2, SCORES))
def test_a_window_of_one_beat_is_large(name: str) -> None:
    for part in islice(beat_windows(SCORES[name]), 0, None, 2):
        engraved = engrave(mei_of(SCORES[name], part), BOX)
        assert {note_id(index) for index in range(len(part.notes))} <= engraved.notes.keys()
        assert engraved.staff_px > 45


_SILENT_TUPLET = re.compile(r"<tuplet [^>]*>(<space [^>]*/>)+</tuplet>")


@pytest.mark.outside
@pytest.mark.parametrize("name", SCORES)
def test_music21_reads_the_same_notes_from_what_is_engraved(name: str) -> None:
    """MEI as another library reads it: pitches as they sound, lengths as they are written."""
    from music21.mei import MeiToM21Converter

    score = SCORES[name]
    for part in [*windows(score, 2)][::5]:
        if any(note.octave_shift for note in part.notes):
            continue  # MEI has the octave that is written there
        text = _SILENT_TUPLET.sub("", mei_of(score, part))  # music21 can't read those
        stream = MeiToM21Converter(text).run()  # type: ignore[no-untyped-call]
        found = Counter(
            pitch.midi
            for element in stream.recurse().notes
            if element.tie is None or element.tie.type == "start"
            for pitch in element.pitches
        )
        expected = Counter(note.pitch for note in part.notes)
        held = write(score, part, lambda _, onsets: [""] * len(onsets)).held_notes
        tied = Counter(note.pitch for note in part.notes if len(note.segments_quarters) > 1)
        tied += Counter(note.pitch for note in held)
        for pitch, count in expected.items():
            assert count <= found[pitch] <= count + tied[pitch] * 4
        assert set(found) - {note.pitch for note in held} <= set(expected)


def one(bar: str, notes: list[dict[str, object]], **more: Any) -> Excerpt:
    score = score_from_notes(notes, metre=bar, **more)
    return excerpt(score, Window(Fraction(0), score.end_quarters))


def test_the_landing_is_grey_and_the_rest_is_ink() -> None:
    score = SCORES["1-low-tide"]
    part = excerpt(score, choose_window(score, bars="2", beats=None, hands="rh"))
    text = mei_of(score, part)
    landing = [i for i, n in enumerate(part.notes) if n.onset_quarters == part.landing_quarters]
    assert landing
    assert text.count('color="#888888"') == len(landing)


STEM = re.compile(r'class="stem"><path d="M([-\d.]+) ([-\d.]+) L[-\d.]+ ([-\d.]+)"')
FINGER = re.compile(
    r'class="fing"><text x="([-\d.]+)" y="([-\d.]+)"[^>]*><tspan[^>]*><tspan font-size="(\d+)px'
)


def drawn_through(svg: str) -> int:
    """How many fingers a stem runs into, or near: a digit is some two thirds as wide as high."""
    stems = [tuple(map(float, found)) for found in STEM.findall(svg)]
    count = 0
    for found in FINGER.findall(svg):
        x, y, size = map(float, found)
        count += any(
            abs(at - x) < 0.38 * size and min(one, other) < y and max(one, other) > y - 0.7 * size
            for at, one, other in stems
        )
    return count


@pytest.mark.parametrize("name", ["4-waltz-in-sea-boots", "5-two-lamps", "6-the-lantern-room"])
def test_no_stem_runs_into_a_finger(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The engraver alone sets fingers at the ends of stems."""
    score = SCORES[name]
    first, last = score.bars[4], score.bars[7]
    part = excerpt(score, Window(first.onset_quarters, last.end_quarters, Hands.TOGETHER))
    cleared = engrave(mei_of(score, part), BOX)
    assert len(FINGER.findall(cleared.svg)) > 30
    assert drawn_through(cleared.svg) == 0
    monkeypatch.setattr("coach.engraving.engraver.clear_fingers", lambda svg: svg)
    assert drawn_through(engrave(mei_of(score, part), BOX).svg) > 0


WORDS = re.compile(
    r'class="(?:tempo|dir)"><text x="([-\d.]+)" y="([-\d.]+)"[^>]*>(?:<tspan[^>]*>)?'
    r'<tspan font-size="(\d+)px[^>]*>([^<]*)'
)


def written_over(svg: str) -> int:
    """How many fingers stand in words: a letter is some 0.6 as wide as its size and 0.7 as high."""
    fingers = [tuple(map(float, found)) for found in FINGER.findall(svg)]
    return sum(
        float(x) - 0.3 * wide < at < float(x) + 0.6 * float(size) * len(text) + 0.3 * wide
        and float(y) - 0.7 * float(size) < low
        and low - 0.7 * wide < float(y)
        for x, y, size, text in WORDS.findall(svg)
        for at, low, wide in fingers
    )


@pytest.mark.parametrize("name", ["2-the-ferry-bell", "3-rowing-home", "5-two-lamps"])
def test_no_words_are_written_over_a_finger(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The engraver sets them without regard to fingers that were moved."""
    score = SCORES[name]
    first, last = score.bars[0], score.bars[2]
    window = Window(first.onset_quarters, last.end_quarters, Hands.TOGETHER)
    note = OwnNote(first.onset_quarters, last.end_quarters, "bars 1 to 3", "Think the leap.")
    noted = replace(score, own_notes=(note,))
    svg = engrave(mei_of(noted, excerpt(noted, window)), BOX).svg
    assert len(WORDS.findall(svg)) >= 2
    assert written_over(svg) == 0
    mei = mei_of(score, excerpt(score, window))
    assert written_over(engrave(mei, BOX).svg) == 0
    monkeypatch.setattr("coach.engraving.fingers._find_words", lambda root, edge: ())
    assert written_over(engrave(mei, BOX).svg) > 0


def test_a_long_note_of_ones_own_is_broken_into_lines_within_the_picture() -> None:
    score = SCORES["1-low-tide"]
    first = score.bars[0]
    words = "Breathe before the leap, then let the left hand sing, and the right one wait for it."
    note = OwnNote(first.onset_quarters, first.end_quarters, "bar 1", words)
    noted = replace(score, own_notes=(note,))
    svg = engrave(
        mei_of(noted, excerpt(noted, Window(Fraction(0), Fraction(2), Hands.RIGHT))), BOX
    ).svg
    drawn = ElementTree.fromstring(svg)
    lines = []
    for group in drawn.iter():
        if str(group.get("id")).startswith("above-"):
            text = group[0]
            places = float(str(text.get("y"))), float(str(text.get("x")))
            lines.append((*places, "".join(text.itertext()).strip()))
    assert [text for *_, text in sorted(lines)][-3:] == [  # the tempo stands higher
        "Breathe before the leap,", "then let the left hand", "sing, and the right …"
    ]  # fmt: skip
    assert all(x >= 0 for _, x, _ in lines)


def test_words_between_the_staves_stay_there_and_a_landing_counts_no_triplet() -> None:
    third = Fraction(1, 3)
    notes = [
        {"pitch": 64 + at % 3, "onset": at * third, "length": third, "hand": "RH"}
        for at in range(9)
    ] + [{"pitch": 62, "onset": at, "length": 1, "hand": "LH"} for at in range(3)]
    score = score_from_notes(notes)
    score = replace(score, directions=(Direction(Fraction(0), 1, "espressivo"),))
    mei = mei_of(score, excerpt(score, Window(Fraction(0), Fraction(2))))
    assert mei.count("<tuplet ") - mei.count('num.visible="false"') == 2
    engraved = engrave(mei, BOX)
    drawn = ElementTree.fromstring(engraved.svg)
    words = next(one for one in drawn.iter() if str(one.get("id")).startswith("below-"))
    heads = [
        float(found)
        for found in re.findall(
            r'class="notehead"><use[^>]*translate\([-\d.]+, ([-\d.]+)', engraved.svg
        )
    ]
    assert float(str(words[0].get("y"))) < max(heads)


def test_words_at_the_end_of_a_window_stay_in_the_picture() -> None:
    notes = [
        {"pitch": 84 + at % 2, "onset": Fraction(at, 4), "length": Fraction(1, 4), "hand": "RH"}
        for at in range(9)
    ]
    score = score_from_notes(notes)
    said = [Direction(Fraction(7, 4), 1, "in tempo giusto")]
    tempo = replace(score.tempos[0], words="Adagio molto sostenuto") if score.tempos else None
    score = replace(score, directions=tuple(said), tempos=(tempo,) if tempo else ())
    svg = engrave(mei_of(score, excerpt(score, Window(Fraction(0), Fraction(2)))), BOX).svg
    width = float(re.findall(r'definition-scale"[^>]*viewBox="0 0 ([\d.]+) ', svg)[0])
    left = float(re.findall(r'page-margin"[^>]*translate\(([-\d.]+)', svg)[0])
    ends = {
        text: left + float(x) + 0.6 * float(size) * len(text)
        for x, _, size, text in WORDS.findall(svg)
    }
    assert "in tempo giusto" in ends
    assert all(end < width for end in ends.values())


def test_fingers_that_are_moved_stay_in_the_picture() -> None:
    """Four fingers over each other at a high chord: it grows, and fits the box."""
    notes = [
        {"pitch": pitch, "onset": at, "length": 1, "hand": "RH", "fingering": finger}
        for at in range(4)
        for pitch, finger in ((72, "1"), (76, "2"), (79, "3"), (84, "5"))
    ]
    score = score_from_notes(notes)
    engraved = engrave(mei_of(score, excerpt(score, Window(Fraction(0), Fraction(4)))), BOX)
    height = float(re.findall(r'viewBox="0 0 [\d.]+ ([\d.]+)"', engraved.svg)[0])
    top = float(re.findall(r'page-margin"[^>]*translate\([-\d.]+, ([-\d.]+)', engraved.svg)[0])
    edges = [
        (float(y) - 0.7 * float(size), float(y)) for _, y, size in FINGER.findall(engraved.svg)
    ]
    assert min(high for high, _ in edges) + top > 0
    assert max(low for _, low in edges) + top < height
    assert engraved.height_px <= BOX.height_px + 1


def test_a_chord_that_one_lands_on_is_grey_with_its_stem() -> None:
    notes = [
        {"pitch": pitch, "onset": at, "length": 1, "hand": "RH"}
        for at in range(2)
        for pitch in (60, 64)
    ]
    score = score_from_notes(notes)
    mei = mei_of(score, excerpt(score, Window(Fraction(0), Fraction(1))))
    assert mei.count(f'<chord dur="4" color="{LANDING_COLOUR}"') == 1


def test_a_hairpin_that_begins_at_the_landing_is_not_drawn() -> None:
    score = score_from_notes(
        [{"pitch": 60, "onset": at, "length": 1, "hand": "RH"} for at in range(4)]
    )
    line = PrintedLine(LineKind.CRESCENDO, 1, Fraction(2), Fraction(4))
    score = replace(score, lines=(line,))
    assert "<hairpin" not in mei_of(score, excerpt(score, Window(Fraction(0), Fraction(2))))
    assert "<hairpin" in mei_of(score, excerpt(score, Window(Fraction(0), Fraction(3))))


def test_fingering_slurs_and_dynamics_are_in_it() -> None:
    score = SCORES["1-low-tide"]
    text = mei_of(score, excerpt(score, choose_window(score, bars="3-5", beats=None, hands="both")))
    assert text.count("<fing ") > 8
    assert "<slur " in text
    assert "<dynam " in text


def test_a_triplets_digit_is_in_no_row_with_fingers() -> None:
    """A 3 between fingers would be read as one."""
    score = SCORES["5-two-lamps"]
    first, last = score.bars[0], score.bars[1]
    part = excerpt(score, Window(first.onset_quarters, last.end_quarters, Hands.TOGETHER))
    svg = engrave(mei_of(score, part), BOX).svg
    low = max(float(found[1]) for found in FINGER.findall(svg))
    digits = re.findall(r'class="tupletNum"><use[^>]*translate\(([-\d.]+), ([-\d.]+)\)', svg)
    assert len(digits) == 8
    size = float(FINGER.findall(svg)[0][2])
    assert all(float(y) < low - 2 * size for _, y in digits)


def test_a_grace_note_has_its_slash_where_it_is_printed() -> None:
    score = SCORES["6-the-lantern-room"]
    bar = next(score.bars[note.bar_index] for note in score.notes if note.grace)
    part = excerpt(score, Window(bar.onset_quarters, bar.end_quarters))
    assert 'stem.mod="1slash"' in mei_of(score, part)
    plain = [replace(note, marks=note.marks - {NoteMark.SLASH}) for note in score.notes]
    without = replace(score, notes=tuple(plain))
    part = excerpt(without, Window(bar.onset_quarters, bar.end_quarters))
    assert "stem.mod" not in mei_of(without, part)


def test_a_chord_has_one_fermata_and_a_slur_over_both_staves_is_one() -> None:
    marks = (frozenset({NoteMark.SLUR_START}), frozenset({NoteMark.SLUR_END, NoteMark.FERMATA}))
    score = score_from_notes(
        [{"pitch": 48, "onset": 0, "length": 1, "hand": "LH"}]
        + [{"pitch": pitch, "onset": 1, "length": 1, "hand": "RH"} for pitch in (72, 76, 79)]
    )
    notes = [replace(one, voice="1", marks=marks[one.pitch > 60]) for one in score.notes]
    score = replace(score, notes=tuple(notes))
    mei = mei_of(score, excerpt(score, whole_piece(score)))
    assert mei.count("<fermata ") == 1
    assert mei.count("<slur ") == 1
    assert '<slur tstamp="0"' not in mei


def test_a_slur_from_before_the_window_leads_into_it() -> None:
    score = SCORES["6-the-lantern-room"]
    first, second = score.bars[15], score.bars[16]
    window = Window(first.onset_quarters, second.end_quarters, Hands.RIGHT)
    mei = mei_of(score, excerpt(score, window))
    assert mei.count('<slur tstamp="0"') == 1
    drawn = engrave(mei, BOX).svg
    assert len(re.findall(r'class="slur"', drawn)) == mei.count("<slur ")
    assert len(re.findall(r'class="slur"[^>]*><path', drawn)) == mei.count("<slur ")
    whole = mei_of(score, excerpt(score, whole_piece(score)))
    assert '<slur tstamp="0"' not in whole


def test_graces_stand_small_before_their_note() -> None:
    score = SCORES["6-the-lantern-room"]
    graces = [note for note in score.notes if note.grace is Grace.BEFORE]
    assert graces
    bar = score.bars[graces[0].bar_index]
    part = excerpt(score, Window(bar.onset_quarters, bar.end_quarters))
    engraved = engrave(mei_of(score, part), BOX)
    for index, note in enumerate(part.notes):
        if note.grace is Grace.BEFORE:
            own = next(
                at
                for at, other in enumerate(part.notes)
                if other.grace is None
                and (other.onset_quarters, other.staff) == (note.onset_quarters, note.staff)
            )
            assert engraved.notes[note_id(index)][0] < engraved.notes[note_id(own)][0]


# -- as it is printed -----------------------------------------------------------------------------

MEI = "{http://www.music-encoding.org/ns/mei}"


def a_hand(pitches: Sequence[int], length: Fraction = Fraction(1), hand: str = "LH") -> Score:
    """A score of one hand, note after note."""
    return score_from_notes(
        [
            {"pitch": pitch, "onset": at * length, "length": length, "hand": hand}
            for at, pitch in enumerate(pitches)
        ]
    )


def marked(score: Score, marks: Mapping[int, set[NoteMark]], **other: Any) -> Score:
    """The same with marks at some of its notes, by their number."""
    notes = [
        replace(note, marks=frozenset(marks.get(at, ()))) for at, note in enumerate(score.notes)
    ]
    return replace(score, notes=tuple(notes), **other)


def tree_of(score: Score, start: int = 0, end: int | None = None) -> ElementTree.Element:
    """A window as MEI, from one quarter to another."""
    until = score.end_quarters if end is None else Fraction(end)
    part = excerpt(score, Window(Fraction(start), until))
    return ElementTree.fromstring(mei_of(score, part))


def clefs_of(staff: int, *clefs: tuple[int, str, int]) -> tuple[Clef, ...]:
    return tuple(Clef(staff, Fraction(at), sign, line) for at, sign, line in clefs)


def test_a_clef_at_a_barline_stands_before_it_and_holds_behind_it() -> None:
    """The E over middle C lies on a treble staff's lowest line."""
    score = a_hand([64] * 8)
    score = replace(score, clefs=clefs_of(2, (0, "F", 4), (4, "G", 2)))
    bars = list(tree_of(score).iter(f"{MEI}measure"))
    assert [one.tag for one in next(bars[0].iter(f"{MEI}layer"))][-1] == f"{MEI}clef"
    assert not list(bars[1].iter(f"{MEI}clef"))
    engraved = engrave(mei_of(score, excerpt(score, whole_piece(score))), BOX)
    (_, bottom) = engraved.staves[0]
    assert engraved.notes[note_id(4)][1] == pytest.approx(bottom, abs=1)
    assert engraved.notes[note_id(0)][1] < bottom - engraved.staff_px


def test_a_clef_is_drawn_once_and_holds_for_every_voice() -> None:
    score = score_from_notes(
        [{"pitch": 48, "onset": at, "length": 2, "hand": "LH"} for at in (0, 2)]
        + [{"pitch": 71, "onset": at, "length": 2, "hand": "LH"} for at in (0, 2)]
    )
    voices = [replace(note, voice="1" if note.pitch > 60 else "2") for note in score.notes]
    clefs = clefs_of(2, (0, "G", 2), (2, "F", 4))
    score = replace(score, notes=tuple(voices), clefs=clefs)
    assert sum(clef.get("shape") is not None for clef in tree_of(score).iter(f"{MEI}clef")) == 1
    engraved = engrave(mei_of(score, excerpt(score, whole_piece(score))), BOX)
    top, bottom = engraved.staves[0]
    space = (bottom - top) / 4
    (low,) = (at for at, note in enumerate(voices) if note.pitch == 48 and note.onset_quarters)
    assert engraved.notes[note_id(low)][1] == pytest.approx(top + 2.5 * space, abs=1)  # C3


def test_small_notes_have_a_beam_of_their_own() -> None:
    """In a beam that begins with them they would look like its own notes (seen)."""
    score = a_hand([60, 62, 64, 65, 67, 69], Fraction(1, 2), "RH")
    small = [
        replace(note, onset_quarters=score.notes[2].onset_quarters, length_quarters=Fraction(0),
                grace=Grace.BEFORE, segments_quarters=())
        for note in score.notes[:2]
    ]  # fmt: skip
    score = replace(score, notes=(*small, *score.notes[2:]))
    beams = list(tree_of(score, 1, 3).iter(f"{MEI}beam"))
    kinds = [{note.get("grace") is not None for note in beam} for beam in beams]
    assert kinds == [{True}, {False}, {False}]
    assert {note.get("dur") for note in beams[0]} == {"16"}


@pytest.mark.parametrize(("across", "signs"), [(set(), 2), ({NoteMark.ROLLED_ACROSS}, 1)])
def test_what_is_rolled_from_staff_to_staff_has_one_sign(across: set[NoteMark], signs: int) -> None:
    score = score_from_notes(
        [
            {"pitch": pitch, "onset": 0, "length": 4, "hand": hand}
            for pitch, hand in ((48, "LH"), (55, "LH"), (64, "RH"), (72, "RH"))
        ]
    )
    score = marked(score, {at: {NoteMark.ARPEGGIO, *across} for at in range(4)})
    rolls = list(tree_of(score).iter(f"{MEI}arpeg"))
    assert len(rolls) == signs
    assert sorted(len(roll.get("plist", "").split()) for roll in rolls) == [4 // signs] * signs


@pytest.mark.parametrize(
    ("printed", "shown", "beams"),
    [
        ("1/2", ["8"], 0),
        ("1/4", ["16"], 0),
        ("1", ["4"], 0),  # a long one, played on the beat
        ("0", ["8"], 0),  # nobody says
        ("1/2 1/2", ["8", "8"], 1),
        ("1/8 1/8 1/8", ["32", "32", "32"], 1),
        ("1 1", ["4", "4"], 0),  # a quarter has no beam
        ("0 0", ["16", "16"], 1),
    ],
)
def test_small_notes_have_the_values_of_the_page(
    printed: str, shown: list[str], beams: int
) -> None:
    values = [Fraction(one) for one in printed.split()]
    score = a_hand([60] * len(values) + [64], Fraction(1), "RH")
    onset = score.notes[-1].onset_quarters
    small = [
        replace(note, onset_quarters=onset, length_quarters=Fraction(0), grace=Grace.BEFORE,
                grace_quarters=value, segments_quarters=())
        for note, value in zip(score.notes, values, strict=False)
    ]  # fmt: skip
    tree = tree_of(replace(score, notes=(*small, score.notes[-1])))
    notes = [note for note in tree.iter(f"{MEI}note") if note.get("grace")]
    assert [note.get("dur") for note in notes] == shown
    assert len(list(tree.iter(f"{MEI}beam"))) == beams


def test_a_beam_goes_on_over_a_triplet() -> None:
    lengths = [Fraction(1, 2), *[Fraction(1, 6)] * 3]
    onsets = [sum(lengths[:at], Fraction(0)) for at in range(4)]
    score = score_from_notes(
        [{"pitch": 60 + at, "onset": onset, "length": length, "hand": "RH"}
         for at, (onset, length) in enumerate(zip(onsets, lengths, strict=True))]
    )  # fmt: skip
    (beam,) = tree_of(score).iter(f"{MEI}beam")
    assert [one.tag for one in beam] == [f"{MEI}note", f"{MEI}tuplet"]
    assert beam[1].get("bracket.visible") == "true"  # the beam is not the triplet's alone


def ends_of(score: Score, start: int = 0, end: int | None = None) -> list[tuple[str, str]]:
    """Where each slur begins and ends: at a note, or at a time."""
    return [
        (slur.get("startid", "before"), slur.get("endid", "after"))
        for slur in tree_of(score, start, end).iter(f"{MEI}slur")
    ]


def at(index: int) -> str:
    return f"#{note_id(index)}"


def test_slurs_join_what_they_join_in_print() -> None:
    start, under, end = {NoteMark.SLUR_START}, {NoteMark.UNDER_SLUR}, {NoteMark.SLUR_END}
    score = marked(a_hand([60] * 8), {0: start, 1: under, 2: end, 4: start, 5: under, 6: under})
    assert ends_of(score) == [(at(0), at(2)), (at(4), "after")]
    assert ends_of(score, 1) == [("before", at(1)), (at(3), "after")]
    both = start | end
    chained = marked(a_hand([60] * 4), {0: start, 1: both, 2: start, 3: end})
    assert ends_of(chained) == [(at(0), at(1)), (at(2), at(3)), (at(1), "after")]
    hands = score_from_notes(
        [{"pitch": 48, "onset": beat, "length": 1, "hand": "LH"} for beat in (0, 1)]
        + [{"pitch": 72, "onset": beat, "length": 1, "hand": "RH"} for beat in (2, 3)]
    )
    voices = [replace(note, voice=str(note.staff)) for note in hands.notes]
    hands = replace(hands, notes=tuple(voices))
    over = marked(hands, {0: start, 1: under, 2: end})
    assert ends_of(over) == [(at(0), at(2))]
    apart = marked(hands, {0: start, 1: under, 2: under, 3: end})
    assert ends_of(apart, 1) == [("before", at(2))]


def test_a_slur_leads_from_a_small_note_to_its_main_note() -> None:
    score = a_hand([60, 62, 64, 65])
    grace = replace(score.notes[0], onset_quarters=Fraction(1), length_quarters=Fraction(0),
                    grace=Grace.BEFORE, segments_quarters=())  # fmt: skip
    score = replace(score, notes=(grace, *score.notes[1:]))
    score = marked(score, {0: {NoteMark.SLUR_START}, 1: {NoteMark.SLUR_END}})
    assert ends_of(score, 1) == [(at(0), at(1))]


def test_a_fermata_stands_over_the_last_of_tied_notes() -> None:
    score = marked(a_hand([48, 50], Fraction(8)), {0: {NoteMark.FERMATA}})
    (fermata,) = tree_of(score).iter(f"{MEI}fermata")
    assert fermata.get("startid") == f"#{note_id(0, 1)}"


def test_what_is_held_into_the_window_is_grey_and_tied_from_before() -> None:
    """On a staff of its own, too: a rest there would be read as silence."""
    score = score_from_notes(
        [{"pitch": 48, "onset": 2, "length": 6, "hand": "LH"}]
        + [{"pitch": 72, "onset": onset, "length": 1, "hand": "RH"} for onset in range(8)]
    )
    measure = next(tree_of(score, 4).iter(f"{MEI}measure"))
    upper, lower = measure.iter(f"{MEI}staff")
    assert [note.get("color") for note in upper.iter(f"{MEI}note")] == [None] * 4
    (held,) = lower.iter(f"{MEI}note")
    assert (held.get("dur"), held.get("color")) == ("1", LANDING_COLOUR)
    assert not list(lower.iter(f"{MEI}rest")) + list(lower.iter(f"{MEI}mRest"))
    (tie,) = measure.iter(f"{MEI}tie")
    name = held.get("{http://www.w3.org/XML/1998/namespace}id")
    assert (tie.get("tstamp"), tie.get("endid")) == ("0", f"#{name}")
    cut = next(tree_of(score, 3, 4).iter(f"{MEI}measure"))  # the whole note is cut, too
    assert [note.get("dur") for note in cut.iter(f"{MEI}note")] == ["4", "4"]
    alone = excerpt(score, Window(Fraction(4), Fraction(8), Hands.RIGHT))
    assert LANDING_COLOUR not in mei_of(score, alone)  # of the hand that is asked for


def test_the_rests_of_one_voice_are_drawn() -> None:
    score = score_from_notes(
        [{"pitch": 60, "onset": 0, "length": 4, "hand": "RH"}]
        + [{"pitch": 72, "onset": beat, "length": 1, "hand": "RH"} for beat in (1, 2)]
    )
    voices = [replace(note, voice="1" if note.pitch > 60 else "2") for note in score.notes]
    rests = tuple(PrintedRest(1, "1", Fraction(beat), Fraction(1)) for beat in (0, 3))
    score = replace(score, notes=tuple(voices), rests=rests)
    upper, lower = tree_of(score).iter(f"{MEI}layer")
    assert [one.tag.removeprefix(MEI) for one in upper] == ["rest", "note", "note", "rest"]
    assert [one.tag.removeprefix(MEI) for one in lower] == ["note"]


def test_a_short_pedal_mark_is_a_bracket_whose_ends_are_seen() -> None:
    score = a_hand([48] * 8)
    lines = (
        PrintedLine(LineKind.PEDAL, 2, Fraction(0), Fraction(1)),
        PrintedLine(LineKind.PEDAL, 2, Fraction(1), Fraction(5)),
    )
    pedals = list(tree_of(replace(score, lines=lines)).iter(f"{MEI}pedal"))
    assert [pedal.get("form") for pedal in pedals] == ["line", "pedline"]


def test_a_tremolo_has_its_strokes() -> None:
    score = a_hand([48, 50, 52, 53])
    notes = (replace(score.notes[0], strokes=2), *score.notes[1:])
    first, second, *_ = tree_of(replace(score, notes=notes)).iter(f"{MEI}note")
    assert first.get("stem.mod") == "2slash"
    assert second.get("stem.mod") is None


def test_a_tremolo_between_two_notes_has_the_length_of_both() -> None:
    """Half a bar in all: each of the two is printed as a half note (common practice)."""
    score = marked(a_hand([48, 55, 60, 62]), {0: {NoteMark.TREMOLO, NoteMark.TREMOLO_TO_NEXT}})
    score = replace(score, notes=(replace(score.notes[0], strokes=3), *score.notes[1:]))
    (tremolo,) = tree_of(score).iter(f"{MEI}fTrem")
    assert tremolo.get("beams") == "3"
    assert [note.get("dur") for note in tremolo] == ["2", "2"]
    assert all(note.get("stem.mod") is None for note in tremolo)
    assert [note.get("dur") for note in tree_of(score).iter(f"{MEI}note")] == ["2", "2", "4", "4"]


def test_of_a_tremolo_between_two_notes_one_alone_is_a_note() -> None:
    score = marked(a_hand([48, 55]), {1: {NoteMark.TREMOLO, NoteMark.TREMOLO_TO_NEXT}})
    score = replace(score, notes=(score.notes[0], replace(score.notes[1], strokes=3)))
    assert not list(tree_of(score).iter(f"{MEI}fTrem"))


HAIRPIN = re.compile(
    r'class="hairpin"><polyline[^>]*points="([\d.]+),([\d.]+) [^ ]+ [^,]+,([\d.]+)'
)


def test_a_hairpin_begins_clear_of_the_dynamic_before_it() -> None:
    """The words are as wide as the engraver thinks: it leaves room for no more."""
    from PIL import Image

    score = SCORES["5-two-lamps"]
    part = excerpt(score, choose_window(score, bars="8"))
    engraved = engrave(mei_of(score, part), Box(4 * BOX.width_px, 4 * BOX.height_px, 600.0))
    found = HAIRPIN.search(engraved.svg)
    wide = re.search(r'viewBox="0 0 (\d+) \d+"', engraved.svg)
    assert found
    assert wide
    scale = engraved.width_px / float(wide[1])
    margin = 400  # units: pageMarginLeft and pageMarginTop
    left, low, high = ((float(one) + margin) * scale for one in found.groups())
    picture = Image.open(io.BytesIO(draw(engraved))).convert("L")
    gap = picture.crop((round(left) - 8, round(high), round(left) - 6, round(low)))
    assert min(gap.tobytes()) > 250  # nothing but ground


def test_the_picture_has_the_size_and_the_colours_that_were_asked_for() -> None:
    from PIL import Image

    score = SCORES["2-the-ferry-bell"]
    part = excerpt(score, choose_window(score, bars="8", beats=None, hands="both"))
    engraved = engrave(mei_of(score, part), SMALL)
    png = draw(engraved, ink="#d0c0a0", ground="#102030")
    width, height = struct.unpack(">II", png[16:24])
    assert (width, height) == pytest.approx((engraved.width_px, engraved.height_px), abs=1.5)
    colours = Image.open(io.BytesIO(png)).convert("RGB").getcolors(1 << 20)
    assert colours
    most = sorted(colours, reverse=True)[:2]
    assert most[0][1] == (0x10, 0x20, 0x30)
    assert any(colour == (0xD0, 0xC0, 0xA0) for _, colour in colours)


def test_what_is_no_window_is_said() -> None:
    with pytest.raises(CannotEngrave):
        engrave("no MEI at all", BOX)
    order = {"mei": "<mei/>", "box": {"width_px": 1, "height_px": 1, "largest_staff_px": 1},
             "ink": "#000000", "ground": "#ffffff", "protocol": "sixel"}  # fmt: skip
    assert "failed" in process.answer(order)


def wanted(name: str = "1-low-tide", bars: str = "3") -> Wanted:
    score = SCORES[name]
    part = excerpt(score, choose_window(score, bars=bars, beats=None, hands="both"))
    return Wanted(mei_of(score, part), BOX, "#000000", "#ffffff", "kitty")


Told = SimpleQueue[tuple[Wanted, Picture | None]]


@pytest.mark.real
def test_pictures_come_from_the_process_and_are_kept() -> None:
    line, told = EngravingLine(), Told()
    try:
        first = wanted()
        line.ask(first, lambda *answer: told.put(answer))
        asked, picture = told.get(timeout=30)
        assert asked == first
        assert picture is not None
        assert picture.code.startswith("\x1b_Ga=T,f=100")  # a PNG, by Kitty's protocol
        assert line.get(first) is picture
        assert note_id(0) in picture.notes
    finally:
        line.close()


@pytest.mark.real
def test_a_window_that_fails_and_a_process_that_dies_stop_nothing() -> None:
    line, told = EngravingLine(), Told()
    try:
        line.ask(Wanted("nothing", BOX, "#000000", "#ffffff"), lambda *answer: told.put(answer))
        assert told.get(timeout=30)[1] is None
        assert line._child.process
        line._child.process.kill()
        line.ask(wanted(bars="4"), lambda *answer: told.put(answer))
        assert told.get(timeout=30)[1] is not None
    finally:
        line.close()


def test_the_newest_wish_is_made_first_whatever_waits() -> None:
    made: list[str] = []
    begun, go_on = Event(), Event()

    class SlowLine(EngravingLine):
        def _make(self, wanted: Wanted) -> None:
            made.append(wanted.mei)
            begun.set()
            assert go_on.wait(10)

    line, told = SlowLine(), Told()

    def ask(*names: str) -> None:
        for name in names:
            line.ask(Wanted(name, BOX, "", ""), lambda *answer: told.put(answer))

    ask("first")
    assert begun.wait(10)
    ask("page 2", "page 1", "another window")
    go_on.set()
    for _ in range(4):
        told.get(timeout=10)
    line.close()
    assert made == ["first", "another window", "page 1", "page 2"]


def test_the_process_answers_line_by_line() -> None:
    out = io.StringIO()
    box = {"width_px": 900, "height_px": 300, "largest_staff_px": 100}
    colours = {"ink": "#000000", "ground": "#ffffff"}
    order = {"mei": wanted().mei, "box": box, **colours, "protocol": "sixel"}
    process.run([json.dumps(order)], out)
    told = json.loads(out.getvalue())
    assert told["width_px"] <= 901
    assert told["code"].startswith("\x1bP")
    assert note_id(0) in told["notes"]


def test_hairpins_and_pedal_marks_are_cut_to_the_window() -> None:
    """A crescendo over two bars, of which the window has the second; a pedal into the third."""
    score = SCORES["1-low-tide"]
    first, second, third = (bar.onset_quarters for bar in score.bars[:3])
    lines = (
        PrintedLine(LineKind.CRESCENDO, 1, first, third),
        PrintedLine(LineKind.PEDAL, 2, second + 1, third + 2),
        PrintedLine(LineKind.DIMINUENDO, 1, third + 1, third + 3),
    )
    marked = replace(score, lines=lines)
    text = mei_of(marked, excerpt(marked, Window(second, third, landing=False)))
    assert '<hairpin tstamp="1" staff="1" form="cres" tstamp2="0m+5"' in text
    assert '<pedal tstamp="2" staff="2" dir="down" tstamp2="0m+5"' in text
    assert "dim" not in text
    engrave(text, BOX)


@pytest.mark.real
def test_a_line_that_is_closed_makes_nothing_and_leaves_no_process() -> None:
    line, told = EngravingLine(), Told()
    line.ask(wanted(), lambda *answer: told.put(answer))
    told.get(timeout=30)
    for bars in "4567":
        line.ask(wanted(bars=bars), lambda *answer: told.put(answer))
    line.close()
    assert line._thread
    assert not line._thread.is_alive()
    assert line._child.process is None
    assert told.qsize() <= 4
    line.ask(wanted(bars="8"), lambda *answer: told.put(answer))
    assert line._child.process is None


@pytest.mark.real
def test_a_process_that_begins_while_the_line_is_closed_is_ended(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The line is closed at the one moment when there is no process yet to be ended."""
    line, told, started = EngravingLine(), Told(), []

    def start_late(*words: Any, **how: Any) -> Any:
        line._child.is_given_up = True
        started.append(start_python(*words, **how))
        return started[-1]

    monkeypatch.setattr("coach.children.start_python", start_late)
    line.ask(wanted(), lambda *answer: told.put(answer))
    assert line._thread
    line._thread.join(30)
    assert len(started) == 1
    assert started[0].poll() is not None
    assert told.empty()


@pytest.mark.parametrize(("metre", "beats", "unit"), [
    ("3/2", 3, 2), ("4/2", 4, 2), ("6/4", 6, 1), ("5/4", 5, 1), ("4/4", 4, 1)])  # fmt: skip
def test_a_rest_of_four_quarters_fills_a_bar_of_four_and_no_other(
    metre: str, beats: int, unit: int
) -> None:
    """The right hand rests for four quarters and has a note; in the next bar it only rests."""
    bar = beats * unit
    notes: list[dict[str, object]] = [
        {"pitch": 48, "onset": at * bar, "length": bar, "hand": "LH"} for at in range(3)
    ]
    if bar > 4:
        notes.append({"pitch": 72, "onset": 4, "length": bar - 4, "hand": "RH"})
    notes.append({"pitch": 72, "onset": 2 * bar, "length": bar, "hand": "RH"})
    score = score_from_notes(notes, metre=metre)
    part = excerpt(score, Window(Fraction(0), score.end_quarters))
    first, second, _ = mei_of(score, part).split("<measure")[1:]
    assert ("<mRest" in first) is (bar == 4)
    assert ("<rest" in first) is (bar > 4)
    assert second.count("<mRest") == 1


def test_a_bar_is_closed_as_it_is_in_print() -> None:
    """MEI 5, ``@right``: data.BARRENDITION."""
    notes = [{"pitch": 60, "onset": 4 * at, "length": 4, "hand": "RH"} for at in range(7)]
    score = score_from_notes(notes)
    kinds = [*(kind for kind in Barline if kind is not Barline.FINAL), None]
    bars = [replace(bar, barline=kind) for bar, kind in zip(score.bars, kinds, strict=True)]
    bars[0] = replace(bars[0], repeat_end=True)
    score = replace(score, bars=tuple(bars))
    mei = mei_of(score, excerpt(score, Window(Fraction(0), score.end_quarters)))
    right = re.findall(r'right="(\w+)"', mei)
    assert right == ["rptend", "dbl", "dashed", "dotted", "heavy", "invis", "end"]


def test_the_left_hand_alone_is_told_how_loud_it_is() -> None:
    """What stands between the staves holds for both hands (common practice)."""
    notes = [
        {"pitch": pitch, "onset": at, "length": 1, "hand": hand}
        for at in range(8)
        for pitch, hand in ((72, "RH"), (48, "LH"))
    ]
    said = (Direction(Fraction(0), 1, "p"), Direction(Fraction(6), 1, "ff"))
    score = replace(score_from_notes(notes), directions=said)
    alone = Window(Fraction(4), Fraction(8), Hands.LEFT)
    assert re.findall(r"<dynam .*?>(.+?)<", mei_of(score, excerpt(score, alone))) == ["(p)", "ff"]


@pytest.mark.parametrize("hand", ["RH", "LH"])
@pytest.mark.parametrize("chord", [(53, 55, 59), (48, 52, 55), (57, 59, 60)])
def test_the_fingers_of_a_chord_stand_in_one_column_as_its_notes_do(
    hand: str, chord: tuple[int, ...]
) -> None:
    """Common practice: the uppermost finger is the uppermost note's, also where two notes are a
    second apart and stand beside each other."""
    notes = [
        {"pitch": pitch + 12 * (hand == "RH"), "onset": at, "length": 1, "hand": hand,
         "fingering": str(finger)}
        for at in range(2)
        for finger, pitch in enumerate(chord, start=1)
    ]  # fmt: skip
    score = score_from_notes(notes)
    window = Window(Fraction(0), Fraction(2), landing=False)
    drawn = FINGER.findall(engrave(mei_of(score, excerpt(score, window)), BOX).svg)
    digits = re.findall(r">(\d)<", engrave(mei_of(score, excerpt(score, window)), BOX).svg)
    columns = Counter(x for x, *_ in drawn)
    assert set(columns.values()) == {len(chord)}
    for column in columns:
        rows = [
            (float(y), digit) for (x, y, _), digit in zip(drawn, digits, strict=True) if x == column
        ]
        assert [digit for _, digit in sorted(rows)] == ["3", "2", "1"]
