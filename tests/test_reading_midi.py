"""MIDI files: exact ticks, metre, tempo, and the hands of tracks."""

import io
import struct
from fractions import Fraction
from pathlib import Path

import mido
import pytest

from coach.score.formats import ScoreError
from coach.score.model import Hand
from coach.score.notation import value_of
from coach.score.reading.hands import split_hands
from coach.score.reading.midi import written_length
from tests.scorexml import opened


def track(*messages: bytes) -> bytes:
    return b"MTrk" + struct.pack(">I", len(b"".join(messages))) + b"".join(messages)


def smf(*tracks: bytes, form: int = 1, division: int = 480) -> bytes:
    return (
        b"MThd" + struct.pack(">IHHH", 6, form, len(tracks), division & 0xFFFF) + b"".join(tracks)
    )


def name(text: str) -> bytes:
    return b"\x00\xff\x03" + bytes([len(text)]) + text.encode()


END = b"\x00\xff\x2f\x00"


def written(
    tracks: list[tuple[str, list[tuple[int, int, int]]]], *, form: int = 1, ticks: int = 480
) -> bytes:
    """A file as mido writes it; each track has a name and (start, length, key) in ticks."""
    file = mido.MidiFile(type=form, ticks_per_beat=ticks)
    for title, notes in tracks:
        made = mido.MidiTrack([mido.MetaMessage("track_name", name=title)])
        moments = [(start, 1, key) for start, _, key in notes]
        moments += [(start + length, 0, key) for start, length, key in notes]
        now = 0
        for tick, down, key in sorted(moments):
            made.append(mido.Message("note_on", note=key, velocity=64 * down, time=tick - now))
            now = tick
        file.tracks.append(made)
    held = io.BytesIO()
    file.save(file=held)
    return held.getvalue()


TWO_HANDS = [("right", [(0, 480, 72), (480, 480, 74)]), ("left", [(0, 960, 48)])]


@pytest.mark.outside
@pytest.mark.parametrize(
    ("encoded", "ticks"),
    # Standard MIDI Files 1.0, variable-length quantities (the specification's own examples).
    [(b"\x00", 0), (b"\x40", 0x40), (b"\x7f", 0x7F), (b"\x81\x00", 0x80), (b"\xc0\x00", 0x2000),
     (b"\xff\x7f", 0x3FFF), (b"\x81\x80\x00", 0x4000)],
)  # fmt: skip
def test_times_of_any_length(tmp_path: Path, encoded: bytes, ticks: int) -> None:
    content = smf(track(encoded, b"\x90\x3c\x40", b"\x60\x3c\x00", END), form=0, division=96)
    found = opened(tmp_path, content, "case.mid")
    assert found.notes[0].onset_quarters == Fraction(ticks, 96)
    assert found.notes[0].length_quarters == 1


@pytest.mark.outside
def test_running_status_and_velocity_nought(tmp_path: Path) -> None:
    # MIDI 1.0: a note-on with velocity 0 is a note-off; a status byte may be left out.
    content = smf(
        track(b"\x00\x90\x3c\x40", b"\x60\x3c\x00", b"\x00\x3e\x40", b"\x60\x3e\x00", END),
        form=0,
        division=96,
    )
    found = opened(tmp_path, content, "case.mid")
    assert [(n.pitch, n.onset_quarters, n.length_quarters) for n in found.notes] == [
        (60, Fraction(0), Fraction(1)),
        (62, Fraction(1), Fraction(1)),
    ]


@pytest.mark.outside
def test_tempo_metre_and_key(tmp_path: Path) -> None:
    # SMF 1.0: FF 51 03, microseconds a quarter; 681818 is 88 a minute; 500000 without a mark.
    meta = track(
        b"\x00\xff\x51\x03" + (681_818).to_bytes(3, "big"),
        b"\x00\xff\x58\x04\x06\x03\x18\x08",
        b"\x00\xff\x59\x02\xfd\x00",
        END,
    )
    hands = track(b"\x00\x90\x44\x40", b"\x83\x60\x44\x00", END)
    found = opened(tmp_path, smf(meta, hands), "case.mid")
    assert found.tempos[0].qpm == pytest.approx(88.0000235, abs=1e-6)
    assert str(found.bars[0].metre) == "6/8"
    assert found.bars[0].key_fifths == -3
    assert found.notes[0].spelling.symbol == "Ab4"
    bare = opened(tmp_path, written(TWO_HANDS), "case.mid")
    assert [(t.qpm, t.is_guess) for t in bare.tempos] == [(120, True)]


def test_one_track_a_hand(tmp_path: Path) -> None:
    found = opened(tmp_path, written(TWO_HANDS), "case.mid")
    assert [(n.pitch, n.hand, n.hand_is_guess) for n in found.notes] == [
        (48, Hand.LEFT, False),
        (72, Hand.RIGHT, False),
        (74, Hand.RIGHT, False),
    ]
    assert [(b.number, b.length_quarters) for b in found.bars] == [("1", Fraction(4))]


def test_of_two_tracks_without_names_the_higher_is_the_right_hand(tmp_path: Path) -> None:
    found = opened(tmp_path, written([("", TWO_HANDS[1][1]), ("", TWO_HANDS[0][1])]), "case.mid")
    assert [n.hand for n in found.notes] == [Hand.LEFT, Hand.RIGHT, Hand.RIGHT]
    assert any("does not name its hands" in r.text for r in found.remarks)


def test_one_track_is_split_and_said_to_be_a_guess(tmp_path: Path) -> None:
    both = [("Piano", TWO_HANDS[0][1] + TWO_HANDS[1][1])]
    found = opened(tmp_path, written(both, form=0), "case.mid")
    assert [n.hand for n in found.notes] == [Hand.LEFT, Hand.RIGHT, Hand.RIGHT]
    assert all(n.hand_is_guess for n in found.notes)
    assert any("the hands are a guess" in r.text for r in found.remarks)


def test_rounded_triplets_are_thirds_and_a_performance_is_left_alone(tmp_path: Path) -> None:
    thirds = [("", [(k * 480 + t, 100, 60) for k in range(4) for t in (0, 160, 320)])]
    found = opened(tmp_path, written(thirds), "case.mid")
    assert found.notes[1].onset_quarters == Fraction(1, 3)
    rounded = [("", [(k * 256 + t, 60, 60) for k in range(4) for t in (0, 85, 171)])]
    found = opened(tmp_path, written(rounded, ticks=256), "case.mid")
    assert [n.onset_quarters for n in found.notes[:3]] == [0, Fraction(1, 3), Fraction(2, 3)]
    played = [("", [(k * 491 + k * k * 7 % 31, 301, 60 + k) for k in range(40)])]
    found = opened(tmp_path, written(played), "case.mid")
    assert found.notes[1].onset_quarters == Fraction(498, 480)
    assert any("is a performance" in r.text for r in found.remarks)


@pytest.mark.parametrize("length", [119, 115, 108, 95])
def test_lengths_a_little_short_are_written_whole(tmp_path: Path, length: int) -> None:
    """Sixteenths that an exporter lets go early, so that the same key can be struck again."""
    sixteenths = [("", [(at * 120, length, 60) for at in range(16)])]
    found = opened(tmp_path, written(sixteenths), "case.mid")
    assert {n.segments_quarters for n in found.notes[:-1]} == {(Fraction(1, 4),)}
    assert found.notes[0].length_quarters == Fraction(length, 480)  # as it is to be heard


def test_a_staccato_stays_short(tmp_path: Path) -> None:
    quarters = [("", [(at * 480, 240, 60) for at in range(4)])]
    found = opened(tmp_path, written(quarters), "case.mid")
    assert {(n.length_quarters, n.segments_quarters) for n in found.notes} == {(Fraction(1, 2), ())}


def test_a_performance_is_drawn_with_the_nearest_values(tmp_path: Path) -> None:
    played = [("", [(k * 491 + k * k * 7 % 31, 301, 60 + k) for k in range(40)])]
    found = opened(tmp_path, written(played), "case.mid")
    assert found.notes[3].length_quarters == Fraction(301, 480)
    assert all(value_of(n.segments_quarters[0]) for n in found.notes)


def test_drums_and_other_players_are_left_out(tmp_path: Path) -> None:
    drum = track(b"\x00\x99\x23\x40", b"\x60\x99\x23\x00", END)
    flute = track(name("Flute"), b"\x00\xc1\x49", b"\x00\x91\x48\x40", b"\x60\x91\x48\x00", END)
    piano = track(name("Piano"), b"\x00\xc0\x00", b"\x00\x90\x3c\x40", b"\x60\x90\x3c\x00", END)
    found = opened(tmp_path, smf(drum, flute, piano, division=96), "case.mid")
    assert [n.pitch for n in found.notes] == [60]
    assert "left out: Flute" in found.remarks[0].text


def test_a_note_without_an_end_is_held_and_said(tmp_path: Path) -> None:
    content = smf(track(b"\x00\x90\x3c\x40", b"\x60\xff\x2f\x00"), form=0, division=96)
    found = opened(tmp_path, content, "case.mid")
    assert found.notes[0].length_quarters == 1
    assert any(r.kind == "repaired" for r in found.remarks)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (smf(track(END)), "no note that could be played"),
        (smf(track(END), form=2), "several pieces"),
        (smf(track(b"\x00\x90\x3c\x40", END), division=0xE728), "film frames"),
        (smf(track(b"\x00\x90\x3c\x40", END), division=0), "no length to a beat"),
        (smf(track(b"\x00\x99\x23\x40", b"\x60\x99\x23\x00", END)), "holds only drums"),
        (b"MThd\x00\x00", "damaged MIDI file"),
        (smf(track(b"\xff\xff\xff\x7f\x90\x3c\x40", END), division=1), "longer than"),
    ],
)
def test_what_cannot_be_opened_says_why(tmp_path: Path, content: bytes, said: str) -> None:
    with pytest.raises(ScoreError, match=said):
        opened(tmp_path, content, "case.mid")


def test_a_leaping_bass_and_a_tune_are_told_apart() -> None:
    tune = [(i * 4, i * 4 + 4, 72 + (0, 2, 4, 5)[i % 4]) for i in range(8)]
    bass = [(i * 4, i * 4 + 2, 36) for i in range(8)]
    chords = [(i * 4 + 2, i * 4 + 4, key) for i in range(8) for key in (52, 55)]
    notes = sorted(tune + bass + chords)
    hands = split_hands(notes)
    assert all(
        (hand is Hand.RIGHT) == (key >= 72) for (_, _, key), hand in zip(notes, hands, strict=True)
    )


@pytest.mark.parametrize(
    ("played", "written"),
    [
        (Fraction(8, 9), 1),  # a quarter is longer by an eighth of it
        (Fraction(7, 8), Fraction(5, 6)),  # by more: three sextuplets and two are nearer
    ],
)
def test_a_length_within_an_eighth_of_a_value_is_written_with_it(
    played: Fraction, written: Fraction
) -> None:
    assert written_length(played, None) == written


@pytest.mark.parametrize(("played", "written"), [(1.4375, 1.5), (1.5, 2), (2.25, 2), (2.5, 2.5)])
def test_a_note_held_for_three_quarters_of_the_way_is_held_to_the_next(
    played: float, written: float
) -> None:
    assert written_length(Fraction(played), Fraction(2)) == written
