"""Bytes to keys and pedals. Vectors: MIDI 1.0 (from memory), as checks of the trade give them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.playing.bytestream import KeyReader, Message, Splitter
from coach.playing.events import KeyDown, KeyUp, Pedal


def split(*chunks: str) -> list[tuple[int, ...]]:
    """Messages in hex chunks, as tuples of their bytes."""
    splitter = Splitter()
    messages = [m for chunk in chunks for m in splitter.feed(bytes.fromhex(chunk))]
    return [(m.status, *m.data) for m in messages]


def read(*chunks: str) -> list[object]:
    """Key and pedal events of hex chunks, all at 1 s."""
    splitter, reader = Splitter(), KeyReader()
    messages = [m for chunk in chunks for m in splitter.feed(bytes.fromhex(chunk))]
    return [event for message in messages for event in reader.read(message, 1.0)]


@pytest.mark.outside
@pytest.mark.parametrize(
    ("stream", "messages"),
    [
        # running status: one status byte, three notes (MIDI 1.0, "Running Status")
        ("90 3C 40 3E 40 3C 00", [(0x90, 60, 64), (0x90, 62, 64), (0x90, 60, 0)]),
        # real-time bytes stand anywhere, inside a message too, and change nothing else
        ("90 3C FE 40", [(0xFE,), (0x90, 60, 64)]),
        ("90 F8 3C F8 40 3E FA 40", [(0xF8,), (0xF8,), (0x90, 60, 64), (0xFA,), (0x90, 62, 64)]),
        # one data byte for program change and channel pressure
        ("C0 05 06 D3 7F", [(0xC0, 5), (0xC0, 6), (0xD3, 127)]),
        # system common ends running status, so the bytes after it belong to nothing
        ("90 3C 40 F6 3E 40", [(0x90, 60, 64)]),
        ("90 3C 40 F2 01 02 3E 40", [(0x90, 60, 64), (0xF2, 1, 2)]),
        # system exclusive is skipped, a real-time byte within it is not
        ("F0 7E 7F F8 09 01 F7 80 3C 40", [(0xF8,), (0x80, 60, 64)]),
        # a new status drops what was unfinished
        ("90 3C 80 3C 40", [(0x80, 60, 64)]),
        # data without a status is nothing
        ("3C 40 F7", []),
    ],
)
def test_the_stream_is_cut_as_midi_1_0_says(stream: str, messages: list[tuple[int, ...]]) -> None:
    assert split(stream) == messages


@pytest.mark.outside
def test_velocity_0_is_a_note_off_and_64_66_67_are_pedals() -> None:
    assert read("90 3C 40 3C 00") == [KeyDown(60, 64, 1.0), KeyUp(60, 1.0)]
    assert read("B0 40 28 42 7F 43 00") == [
        Pedal(64, 40, 1.0),
        Pedal(66, 127, 1.0),
        Pedal(67, 0, 1.0),
    ]


def test_what_is_no_key_or_pedal_is_dropped() -> None:
    assert read("B0 58 10", "B0 07 64", "E0 00 40", "A0 3C 10", "C0 01", "FE", "F8", "FF") == []


def test_a_layered_sound_on_a_second_channel_is_one_key() -> None:
    events = read("90 3C 40", "91 3C 40", "80 3C 40", "81 3C 40", "91 3C 30")
    assert events == [KeyDown(60, 64, 1.0), KeyUp(60, 1.0), KeyDown(60, 48, 1.0)]


def test_a_lost_note_off_does_not_swallow_the_next_stroke() -> None:
    assert read("90 3C 40", "90 3C 41") == [KeyDown(60, 64, 1.0), KeyDown(60, 65, 1.0)]


@pytest.mark.parametrize("panic", ["B0 7B 00", "B0 78 00"])
def test_all_notes_off_lets_go_of_every_key(panic: str) -> None:
    assert read("90 40 40 3C 40", panic)[2:] == [KeyUp(60, 1.0), KeyUp(64, 1.0)]


def test_a_note_off_for_a_key_that_was_never_down_is_nothing() -> None:
    assert read("80 3C 40") == []


channel_messages = st.one_of(
    st.builds(
        lambda kind, channel, a, b: Message(kind | channel, (a, b)),
        st.sampled_from([0x80, 0x90, 0xA0, 0xB0, 0xE0]),
        st.integers(0, 15),
        st.integers(0, 127),
        st.integers(0, 127),
    ),
    st.builds(
        lambda kind, channel, a: Message(kind | channel, (a,)),
        st.sampled_from([0xC0, 0xD0]),
        st.integers(0, 15),
        st.integers(0, 127),
    ),
)


@pytest.mark.property
@given(st.lists(channel_messages), st.booleans(), st.data())
def test_messages_survive_running_status_and_interleaved_clock(
    messages: list[Message], running: bool, data: st.DataObject
) -> None:
    stream: list[int] = []
    previous = None
    for message in messages:
        stream += [] if running and message.status == previous else [message.status]
        stream += message.data
        previous = message.status
    for _ in range(data.draw(st.integers(0, 4))):
        stream.insert(data.draw(st.integers(0, len(stream))), 0xF8)
    got = [m for m in Splitter().feed(stream) if m.status != 0xF8]
    assert got == messages


@pytest.mark.property
@given(st.binary(), st.integers(0, 40))
def test_chopping_the_stream_changes_nothing_and_nothing_breaks_it(stream: bytes, at: int) -> None:
    whole, chopped = Splitter(), Splitter()
    assert whole.feed(stream) == chopped.feed(stream[:at]) + chopped.feed(stream[at:])
    reader = KeyReader()
    for message in Splitter().feed(stream):
        reader.read(message, 0.0)


@pytest.mark.outside
def test_the_port_is_read_more_often_than_a_cable_can_bring_notes() -> None:
    """MIDI 1.0: 31.25 kbaud, 10 bits a byte (from memory)."""
    from coach.playing.listener import POLL_S

    byte_s = 10 / 31_250
    assert 3 * byte_s == pytest.approx(0.00096)
    assert 10 * 3 * byte_s == pytest.approx(0.0096)  # a ten-note chord
    assert (1 + 10 * 2) * byte_s == pytest.approx(0.00672)  # with running status
    assert 3 * byte_s > POLL_S
