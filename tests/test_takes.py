"""Takes as Standard MIDI files. Vectors: the Standard MIDI File format (from memory)."""

from contextlib import suppress
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.playing.notes import PedalMove, PlayedNote, Take
from coach.playing.takes import TICK_S, TakeError, read_take, write_take

VLQ = {
    0x00: "00",
    0x40: "40",
    0x7F: "7F",
    0x80: "81 00",
    0x2000: "C0 00",
    0x3FFF: "FF 7F",
    0x4000: "81 80 00",
    0x1FFFFF: "FF FF 7F",
    0x200000: "81 80 80 00",
    0x8000000: "C0 80 80 00",
    0xFFFFFFF: "FF FF FF 7F",
}
"""Delta times and their bytes, the table of the Standard MIDI File format."""


def smf(track: str, *, division: str = "01E0", form: str = "0000", tracks: str = "0001") -> bytes:
    """A file with one track, from hex; 01E0 is 480 ticks to the quarter."""
    body = bytes.fromhex(track)
    head = bytes.fromhex(f"00000006 {form} {tracks} {division}")
    return b"MThd" + head + b"MTrk" + len(body).to_bytes(4, "big") + body


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "take.mid"


@pytest.mark.outside
@pytest.mark.parametrize(("ticks", "delta"), VLQ.items())
def test_delta_times_are_read_as_the_standard_writes_them(
    file: Path, ticks: int, delta: str
) -> None:
    file.write_bytes(smf(f"{delta} 90 3C 40 60 80 3C 40 00 FF 2F 00"))
    (note,) = read_take(file).notes
    assert note.onset_s == pytest.approx(ticks / 480 * 0.5)  # default: 120 quarters a minute
    assert note.length_s == pytest.approx(0x60 / 480 * 0.5)


@pytest.mark.outside
def test_running_status_tempo_and_velocity_0(file: Path) -> None:
    """FF 51 03 gives microseconds a quarter: 0A 67 5A is 681 818, 88 quarters a minute."""
    file.write_bytes(
        smf("00 FF 51 03 0A 67 5A  83 60 90 3C 40  83 60 3C 00  00 3E 50  83 60 3E 00 00 FF 2F 00")
    )
    quarter_s = 60 / 88
    first, second = read_take(file).notes
    assert (first.pitch, first.velocity, second.pitch, second.velocity) == (60, 64, 62, 80)
    assert first.onset_s == pytest.approx(quarter_s, rel=1e-6)
    assert first.length_s == pytest.approx(quarter_s, rel=1e-6)
    assert second.onset_s == pytest.approx(2 * quarter_s, rel=1e-6)


def test_a_file_written_by_mido_with_two_tracks_is_one_take(file: Path) -> None:
    def track(pitch: int, *, channel: int, at: int) -> mido.MidiTrack:
        return mido.MidiTrack(
            [
                mido.Message("note_on", note=pitch, velocity=70, channel=channel, time=at),
                mido.Message("note_off", note=pitch, channel=channel, time=240),
            ]
        )

    tracks = [
        track(60, channel=0, at=480),
        track(48, channel=1, at=0),
        track(76, channel=9, at=0),  # a recorded click: percussion is not playing
    ]
    mido.MidiFile(type=1, ticks_per_beat=480, tracks=tracks).save(file)
    take = read_take(file)
    assert [(n.pitch, n.onset_s, n.length_s) for n in take.notes] == [
        (48, 0.0, 0.25),
        (60, 0.5, 0.25),
    ]


def test_a_key_struck_again_before_it_was_let_go_ends_its_first_note(file: Path) -> None:
    file.write_bytes(smf("00 90 3C 40  83 60 3C 41  83 60 3C 00  00 FF 2F 00"))
    first, second = read_take(file).notes
    assert (first.length_s, second.onset_s, second.length_s) == (0.5, 0.5, 0.5)


def test_pedals_are_kept(file: Path) -> None:
    take = Take((PlayedNote(60, 64, 0.0, 1.0),), (PedalMove(64, 40, 0.25), PedalMove(67, 127, 0.5)))
    write_take(take, file)
    assert [(p.controller, p.value) for p in read_take(file).pedals] == [(64, 40), (67, 127)]


keys = st.lists(
    st.builds(
        PlayedNote,
        pitch=st.integers(0, 127),
        velocity=st.integers(1, 127),
        onset_s=st.floats(100, 160),
        length_s=st.floats(0.001, 3),
    ),
    min_size=1,
    max_size=30,
    unique_by=lambda note: note.pitch,
)


@pytest.mark.property
@given(keys)
def test_a_take_survives_the_file_within_half_a_tick(
    tmp_path_factory: pytest.TempPathFactory, notes: list[PlayedNote]
) -> None:
    file = tmp_path_factory.mktemp("takes") / "take.mid"
    write_take(Take(tuple(notes)), file)
    start_s = min(note.onset_s for note in notes)
    wanted = {n.pitch: n for n in notes}
    got = read_take(file).notes
    assert len(got) == len(notes)
    for note in got:
        of = wanted[note.pitch]
        assert note.velocity == of.velocity
        assert note.onset_s == pytest.approx(of.onset_s - start_s, abs=0.51 * TICK_S)
        assert note.length_s == pytest.approx(of.length_s, abs=1.02 * TICK_S)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "not a whole Standard MIDI file"),
        (b"hello, piano", "not a whole Standard MIDI file"),
        (smf("00 90 3C 40 60 80")[:-1], "not a whole Standard MIDI file"),
        (smf("00 FF 2F 00"), "no notes"),
        (smf("00 90 3C 40 60 80 3C 40 00 FF 2F 00", division="E728"), "film frames"),
        (smf("00 90 3C 40 60 80 3C 40 00 FF 2F 00", division="0000"), "film frames"),
        (smf("00 90 3C 40 60 80 3C 40 00 FF 2F 00", form="0002"), "several pieces"),
        (bytes(3 << 20), "far smaller"),
    ],
)
def test_what_is_no_take_is_one_sentence(file: Path, content: bytes, says: str) -> None:
    file.write_bytes(content)
    with pytest.raises(TakeError, match=says) as caught:
        read_take(file)
    assert "\n" not in str(caught.value)
    assert str(file) in str(caught.value)


def test_a_missing_file_and_a_folder_are_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(TakeError, match="There is no file"):
        read_take(tmp_path / "none.mid")
    with pytest.raises(TakeError, match="is a folder"):
        read_take(tmp_path)


@pytest.mark.property
@given(st.binary(max_size=200), st.integers(0, 60))
def test_no_bytes_make_a_traceback(
    tmp_path_factory: pytest.TempPathFactory, junk: bytes, at: int
) -> None:
    good = smf("00 90 3C 40 60 80 3C 40 00 FF 51 03 0A 67 5A 00 FF 2F 00")
    file = tmp_path_factory.mktemp("junk") / "take.mid"
    file.write_bytes(good[:at] + junk + good[at:])
    with suppress(TakeError):
        read_take(file)


def test_a_take_that_cannot_be_written_leaves_what_was_there(tmp_path: Path) -> None:
    take = Take((PlayedNote(60, 64, 0.0, 1.0),))
    with pytest.raises(TakeError, match="can't be written"):
        write_take(take, tmp_path / "no such folder" / "take.mid")
    with pytest.raises(TakeError, match="Nothing was played"):
        write_take(Take(()), tmp_path / "take.mid")
    assert list(tmp_path.iterdir()) == []


def test_a_key_still_down_at_the_end_is_given_half_a_second(file: Path) -> None:
    write_take(Take((PlayedNote(60, 64, 0.0, 1.0), PlayedNote(64, 64, 1.0))), file)
    lengths_s = [note.length_s for note in read_take(file).notes]
    assert lengths_s == pytest.approx([1.0, 0.5], abs=TICK_S)
