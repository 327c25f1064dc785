"""The sample scores: valid, whole, fingered, and fit for a hand."""

from __future__ import annotations

import warnings
import xml.etree.ElementTree as ET
from collections import Counter, defaultdict
from collections.abc import Iterator
from fractions import Fraction
from importlib import metadata
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from coach.score.model import Grace, Hand, NoteMark, Score, ScoreNote
from tests.live import sample

FOLDER = Path(__file__).parent.parent / "sample_scores"
PIECES = sorted(path.stem for path in FOLDER.glob("*.musicxml"))
NINTH = 14
"""Semitones in a major ninth, what a usual hand reaches (common practice; a tenth is much)."""


def sounding_together(score: Score, hand: Hand) -> Iterator[list[ScoreNote]]:
    """At each onset of a hand, the notes that it has to hold down."""
    notes = [note for note in score.notes if note.hand is hand and note.grace is None]
    for onset in sorted({note.onset_quarters for note in notes}):
        yield [note for note in notes if note.onset_quarters <= onset < note.end_quarters]


every_piece = pytest.mark.parametrize("name", PIECES)


def test_six_pieces_come_in_order_of_difficulty() -> None:
    assert [name.split("-")[0] for name in PIECES] == list("123456")
    lengths = [len(sample(name).bars) - sample(name).bars[0].is_pickup for name in PIECES]
    assert all(8 <= bars <= 32 for bars in lengths)
    a_minute = [len(sample(name).notes) / seconds(sample(name)) for name in PIECES]
    assert a_minute[0] == min(a_minute)


def seconds(score: Score) -> float:
    return float(score.end_quarters) * 60 / score.tempo_at(Fraction(0))


@every_piece
def test_opens_without_a_remark_and_says_who_made_it(name: str) -> None:
    score = sample(name)
    assert score.remarks == ()
    assert score.composer == "Keyhole sample scores"
    assert score.title
    assert not score.tempos[0].is_guess
    assert any(direction.text in {"p", "mp", "mf", "f"} for direction in score.directions)


@every_piece
def test_every_voice_fills_its_bar_to_the_last_tick(name: str) -> None:
    root = ET.parse(FOLDER / f"{name}.musicxml").getroot()
    for bar, element in zip(sample(name).bars, root.iter("measure"), strict=True):
        filled: Counter[tuple[str, str]] = Counter()
        for note in element.iter("note"):
            if note.find("chord") is None and note.find("grace") is None:
                place = note.findtext("staff", ""), note.findtext("voice", "")
                filled[place] += int(note.findtext("duration", "0"))
        assert {staff for staff, _ in filled} == {"1", "2"}
        assert set(filled.values()) == {bar.length_quarters * 12}, f"bar {bar.number}"


@every_piece
def test_every_bar_is_full_and_the_last_one_completes_the_pickup(name: str) -> None:
    first, *middle, last = sample(name).bars
    assert all(bar.length_quarters == bar.metre.bar_quarters for bar in middle)
    if first.is_pickup:  # common practice
        assert first.length_quarters + last.length_quarters == last.metre.bar_quarters
    else:
        assert first.length_quarters == last.length_quarters == last.metre.bar_quarters


@every_piece
def test_every_note_has_one_finger(name: str) -> None:
    assert {note.fingering for note in sample(name).notes} <= {(f,) for f in "12345"}


@every_piece
@pytest.mark.parametrize("hand", Hand)
def test_a_hand_can_reach_what_it_holds_finger_by_finger(name: str, hand: Hand) -> None:
    for held in sounding_together(sample(name), hand):
        keys = sorted((note.pitch, int(note.fingering[0])) for note in held)
        assert keys[-1][0] - keys[0][0] <= NINTH
        fingers = [finger for _, finger in keys]
        in_order = sorted(set(fingers), reverse=hand is Hand.LEFT)
        assert fingers == in_order, f"bar {held[-1].bar_index}: {keys}"


@every_piece
def test_no_finger_moves_to_a_neighbour_key_within_a_slur(name: str) -> None:
    """Legato needs another finger for another key (common practice)."""
    for hand in Hand:
        voices: dict[str, list[ScoreNote]] = defaultdict(list)
        for note in sample(name).notes:
            if note.hand is hand and note.grace is None:
                voices[note.voice].append(note)
        for before, after in (pair for line in voices.values() for pair in pairs(line)):
            assert before.fingering != after.fingering or before.pitch == after.pitch, (
                f"bar {after.bar_index}: finger {after.fingering} on two keys under one slur"
            )


def pairs(line: list[ScoreNote]) -> Iterator[tuple[ScoreNote, ScoreNote]]:
    """Single notes that follow each other under one slur."""
    onsets = Counter(note.onset_quarters for note in line)
    for before, after in pairwise(line):
        alone = onsets[before.onset_quarters] == onsets[after.onset_quarters] == 1
        joined = before.marks & {NoteMark.SLUR_START, NoteMark.UNDER_SLUR}
        if alone and joined and after.marks & {NoteMark.SLUR_END, NoteMark.UNDER_SLUR}:
            yield before, after


@every_piece
def test_the_hands_never_want_the_same_key(name: str) -> None:
    score = sample(name)
    right, left = ([n for n in score.notes if n.hand is hand] for hand in (Hand.RIGHT, Hand.LEFT))
    for note in right:
        meets = [
            other
            for other in left
            if other.pitch == note.pitch
            and other.onset_quarters < note.end_quarters
            and note.onset_quarters < other.end_quarters
        ]
        assert not meets


def test_low_tide_stays_in_the_five_finger_position() -> None:
    score = sample("1-low-tide")
    for hand, lowest in ((Hand.RIGHT, 60), (Hand.LEFT, 48)):
        keys = {(n.pitch - lowest, n.fingering[0]) for n in score.notes if n.hand is hand}
        fingers = "12345" if hand is Hand.RIGHT else "54321"
        assert keys <= set(zip((0, 2, 4, 5, 7), fingers, strict=True))


def test_the_ferry_bell_has_a_pickup_of_one_beat() -> None:
    pickup = sample("2-the-ferry-bell").bars[0]
    assert pickup.number == "0"
    assert (pickup.length_quarters, pickup.lead_quarters) == (Fraction(1), Fraction(3))


def test_rowing_home_is_in_compound_metre() -> None:
    metre = sample("3-rowing-home").bars[0].metre
    assert (str(metre), metre.beats_in_bar) == ("6/8", 2)


def test_the_waltz_leaps_from_bass_to_chord_in_every_bar() -> None:
    score = sample("4-waltz-in-sea-boots")
    for bar in score.bars:
        bass, *chord = (
            note
            for note in score.notes
            if note.hand is Hand.LEFT
            and bar.onset_quarters <= note.onset_quarters <= bar.onset_quarters + 1
        )
        assert len(chord) == 3
        assert chord[-1].pitch - bass.pitch >= 9  # a sixth and more


def test_two_lamps_has_two_voices_in_one_hand_with_ties_and_triplets() -> None:
    score = sample("5-two-lamps")
    for bar in score.bars:
        voices = {
            note.voice
            for note in score.notes_between(bar.onset_quarters, bar.end_quarters)
            if note.hand is Hand.RIGHT
        }
        assert "2" in voices
    assert sum(bool(note.segments_quarters) for note in score.notes) == 2
    assert any(note.length_quarters == Fraction(1, 3) for note in score.notes)


def test_the_lantern_room_has_a_new_key_sixteenths_and_grace_notes() -> None:
    score = sample("6-the-lantern-room")
    assert [bar.key_fifths for bar in score.bars] == [1] * 16 + [4] * 16
    assert sum(note.grace is Grace.BEFORE for note in score.notes) == 2
    short = {note.hand for note in score.notes if note.length_quarters == Fraction(1, 4)}
    assert short == set(Hand)


@pytest.mark.outside
@every_piece
def test_is_valid_musicxml_4(name: str) -> None:
    """The schema of MusicXML 4.0 (W3C), as the package ``musicxml`` carries it."""
    etree = pytest.importorskip("lxml.etree", reason="comes with partitura")
    schema = etree.XMLSchema(etree.parse(str(carried("musicxml_4_0.xsd")), parser_of(etree)))
    assert schema.validate(etree.parse(str(FOLDER / f"{name}.musicxml"))), schema.error_log


def carried(file: str) -> Path:
    found = next(path for path in metadata.files("musicxml") or () if path.name == file)
    return Path(str(found.locate()))


IMPORTED = {
    "/xlink.xsd": ("http://www.w3.org/1999/xlink", "type href role title show actuate"),
    "/xml.xsd": ("http://www.w3.org/XML/1998/namespace", "lang space"),
}
"""The two schemas that MusicXML's imports from the network, as far as it uses them."""


def parser_of(etree: Any) -> Any:
    """A parser that needs no network for what MusicXML's schema imports."""

    class Neighbours(etree.Resolver):  # type: ignore[misc]
        def resolve(self, url: str, public_id: None, context: object) -> object:
            for ending, (namespace, attributes) in IMPORTED.items():
                if url.endswith(ending):
                    return self.resolve_string(schema_of(namespace, attributes), context)
            return None

    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(Neighbours())
    return parser


def schema_of(namespace: str, attributes: str) -> str:
    body = "".join(f'<x:attribute name="{name}" type="x:string"/>' for name in attributes.split())
    start = '<x:schema xmlns:x="http://www.w3.org/2001/XMLSchema" targetNamespace='
    return f'{start}"{namespace}">{body}</x:schema>'


@pytest.mark.outside
@every_piece
def test_an_independent_reader_finds_the_same_notes(name: str) -> None:
    """partitura (1.9) reads pitch, onset, length and staff of every note as we do."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own, on import and on files
        import partitura

        part = partitura.load_musicxml(FOLDER / f"{name}.musicxml")
        theirs = partitura.utils.music.ensure_notearray(part, include_staff=True)
    lead = sample(name).bars[0].length_quarters if sample(name).bars[0].is_pickup else 0
    rows = sorted(
        (round(float(n["onset_quarter"] + float(lead)) * 48), int(n["pitch"]),
         round(float(n["duration_quarter"]) * 48), int(n["staff"]))
        for n in theirs
    )  # fmt: skip
    assert rows == sorted(
        (round(n.onset_quarters * 48), n.pitch, round(n.length_quarters * 48), n.staff)
        for n in sample(name).notes
    )
