"""Bytes to keys and pedals. Vectors: MIDI 1.0 (from memory), as checks of the trade give them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.playing.midi_events import PROGRAM, ButtonDown, KeyDown, KeyUp, Pedal
from coach.playing.ports.byte_stream import STEADY_COUNT, KeyReader, Message, Sensing, Splitter


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
        # any status ends a system exclusive whose own end never came (MIDI 1.0, "System Exclusive")
        ("F0 7E 7F 90 3C 40 3E 40", [(0x90, 60, 64), (0x90, 62, 64)]),
        ("F0 7E F0 43 90 3C 40", [(0x90, 60, 64)]),
        ("F0 7E B0 40 7F", [(0xB0, 64, 127)]),
        # undefined ones end running status too
        ("90 3C 40 F4 3E 40 90 40 40", [(0x90, 60, 64), (0x90, 64, 64)]),
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


@pytest.mark.outside
def test_what_is_no_key_pedal_or_button_is_dropped() -> None:
    """Wheels, volume, pressure, a velocity's refinement, real-time messages (MIDI 1.0)."""
    assert read("B0 58 10", "B0 07 7F", "B0 01 7F", "E0 00 40", "A0 3C 10", "FE", "F8", "FF") == []


def test_a_button_is_pressed_once_and_a_chosen_sound_is_one_too() -> None:
    assert read("B0 14 7F 14 7F 14 00 14 40") == [ButtonDown(20, 1.0), ButtonDown(20, 1.0)]
    assert read("C0 05") == [ButtonDown(PROGRAM + 5, 1.0)]


def test_a_layered_sound_on_a_second_channel_is_one_key() -> None:
    events = read("90 3C 40", "91 3C 40", "80 3C 40", "81 3C 40", "91 3C 30")
    assert events == [KeyDown(60, 64, 1.0), KeyUp(60, 1.0), KeyDown(60, 48, 1.0)]


def timed(*line: tuple[float, str]) -> list[object]:
    """Key and pedal events of messages in hex, each at its time."""
    splitter, reader = Splitter(), KeyReader()
    return [
        event
        for at_s, chunk in line
        for message in splitter.feed(bytes.fromhex(chunk))
        for event in reader.read(message, at_s)
    ]


def downs(events: list[object]) -> list[tuple[int, float]]:
    return [(e.pitch, e.at_s) for e in events if isinstance(e, KeyDown)]


def test_a_key_that_hangs_on_one_channel_is_heard_on_another() -> None:
    events = timed((1, "91 3C 40"), (5, "90 3C 50"), (5.4, "80 3C 00"), (6, "90 3C 50"))
    assert downs(events) == [(60, 1), (60, 5), (60, 6)]
    assert KeyUp(60, 5.4) in events


def test_the_end_of_a_stroke_that_hung_does_not_let_go_of_the_next_one() -> None:
    line = ((1, "91 3C 40"), (5, "90 3C 50"), (5.2, "81 3C 00"), (5.4, "80 3C 00"))
    assert timed(*line) == [KeyDown(60, 64, 1), KeyDown(60, 80, 5), KeyUp(60, 5.4)]


def test_a_layered_chord_of_ten_over_a_slow_cable_is_ten_keys() -> None:
    """Twenty messages of 0.96 ms: the copies may come one by one, or all after the others."""
    keys = range(48, 68, 2)
    in_turn = [f"9{channel} {key:02X} 40" for key in keys for channel in (0, 1)]
    after = [f"9{channel} {key:02X} 40" for channel in (0, 1) for key in keys]
    for order in (in_turn, after):
        events = timed(*((k * 0.00096, chunk) for k, chunk in enumerate(order)))
        assert [pitch for pitch, _ in downs(events)] == list(keys)


def test_three_sounds_at_once_are_one_key_still() -> None:
    assert len(downs(timed((1, "90 3C 40"), (1.001, "91 3C 40"), (1.002, "92 3C 40")))) == 1


@pytest.mark.parametrize("off", ["80 3C 40", "90 3C 00"])
def test_a_repeated_key_of_a_layered_sound_is_struck_each_time(off: str) -> None:
    """Ten a second, which is a fast repetition of one key, and each on both channels."""
    both = off, off[0] + "1" + off[2:]
    line = []
    for k in range(10):
        at_s = k * 0.1
        line += [(at_s, "90 3C 40"), (at_s + 0.001, "91 3C 40")]
        line += [(at_s + 0.06, both[0]), (at_s + 0.061, both[1])]
    events = timed(*line)
    assert len(downs(events)) == 10
    assert sum(isinstance(event, KeyUp) for event in events) == 10


def test_a_copy_that_comes_after_the_key_was_let_go_of_is_still_one() -> None:
    line = ((1, "90 3C 40"), (1.004, "80 3C 40"), (1.005, "91 3C 40"), (1.008, "81 3C 40"))
    assert timed(*line) == [KeyDown(60, 64, 1), KeyUp(60, 1.004)]


def test_both_parts_of_a_split_keyboard_are_heard() -> None:
    events = timed((1, "90 48 40"), (1.001, "91 30 40"), (1.5, "81 30 00"), (1.6, "80 48 00"))
    assert downs(events) == [(72, 1), (48, 1.001)]


def test_the_same_key_from_both_parts_of_a_split_in_turn_is_struck_twice() -> None:
    events = timed((1, "90 3C 40"), (1.2, "91 3C 40"), (1.5, "80 3C 00"), (1.6, "81 3C 00"))
    assert events == [KeyDown(60, 64, 1), KeyDown(60, 64, 1.2), KeyUp(60, 1.6)]


def test_all_notes_off_is_of_its_own_channel() -> None:
    events = timed((1, "90 3C 40"), (1, "91 40 40"), (2, "B1 7B 00"), (3, "80 3C 00"))
    assert events[2:] == [KeyUp(64, 2), KeyUp(60, 3)]


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


lines = st.lists(
    st.one_of(
        channel_messages,
        st.binary(max_size=6).map(lambda data: bytes(byte & 0x7F for byte in data)),
    )
)
"""Channel messages, and between them system exclusives of these data bytes."""


@pytest.mark.property
@given(lines, st.data())
def test_messages_survive_whatever_midi_1_0_allows_between_their_bytes(
    line: list[Message | bytes], data: st.DataObject
) -> None:
    """Running status or not, system exclusives with and without an end, real-time bytes anywhere.

    Data bytes to no status may follow where a system exclusive has ended running status.
    """
    stream: list[int] = []
    running: int | None = None
    real_time = st.sampled_from([0xF8, 0xF9, 0xFA, 0xFB, 0xFC, 0xFD, 0xFE, 0xFF])
    for one in line:
        if isinstance(one, Message):
            may_run = one.status == running and data.draw(st.booleans(), label="runs")
            stream += one.data if may_run else (one.status, *one.data)
            running = one.status
        else:
            end = data.draw(st.sampled_from([(), (0xF7,), (0xF7, 0x3C, 0x40), (0xF6,)]))
            stream += (0xF0, *one, *end)
            running = None
    sent = []
    for _ in range(data.draw(st.integers(0, 6))):
        sent.append(data.draw(real_time))
        stream.insert(data.draw(st.integers(0, len(stream))), sent[-1])
    got, whole = Splitter().feed(stream), [one for one in line if isinstance(one, Message)]
    assert [m for m in got if m.status < 0xF8] == whole
    assert sorted(m.status for m in got if m.status >= 0xF8) == sorted(sent)


@pytest.mark.property
@given(st.lists(st.tuples(st.integers(1, 15), st.integers(58, 62), st.booleans()), max_size=40))
def test_a_key_on_a_channel_of_its_own_is_never_deaf_for_what_others_do(
    others: list[tuple[int, int, bool]],
) -> None:
    """Whatever hangs on other channels: each later stroke on the first is heard, and let go of."""
    reader = KeyReader()
    for k, (channel, pitch, is_down) in enumerate(others):
        reader.read(Message((0x90 if is_down else 0x80) | channel, (pitch, 64)), 0.1 * k)
    at_s = 0.1 * len(others) + 1.0
    for pitch in range(58, 63):
        assert reader.read(Message(0x90, (pitch, 64)), at_s) == (KeyDown(pitch, 64, at_s),)
        assert reader.read(Message(0x80, (pitch, 0)), at_s + 1) == (KeyUp(pitch, at_s + 1),)


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
    from coach.playing.ports.ports import POLL_S

    byte_s = 10 / 31_250
    assert 3 * byte_s == pytest.approx(0.00096)
    assert 10 * 3 * byte_s == pytest.approx(0.0096)  # a ten-note chord
    assert (1 + 10 * 2) * byte_s == pytest.approx(0.00672)  # with running status
    assert 3 * byte_s > POLL_S


def heard(*at_s: float, sensing: bool = True) -> Sensing:
    piano = Sensing()
    for moment_s in at_s:
        piano.note_message(moment_s, sensing=sensing)
    return piano


def steady(count: int = STEADY_COUNT) -> Sensing:
    """A piano that has sent it so often, every 300 ms; the last at 10 s."""
    return heard(*(10.0 - 0.3 * before for before in reversed(range(count))))


@pytest.mark.outside
def test_a_piano_that_senses_is_lost_after_a_second_but_not_after_350_ms() -> None:
    """MIDI 1.0: a message within 300 ms; receivers in the field wait 420 ms (found)."""
    piano = steady()
    assert not piano.is_lost(10.0 + 0.35)
    assert piano.is_lost(10.0 + 1.0)


@pytest.mark.parametrize("count", [1, 3, STEADY_COUNT - 1])
def test_a_stray_byte_or_a_few_promise_nothing(count: int) -> None:
    assert not steady(count).is_lost(3600.0)


def test_a_burst_of_them_is_no_promise() -> None:
    assert not heard(*(0.001 * k for k in range(50))).is_lost(3600.0)


def test_stray_bytes_between_notes_are_no_promise() -> None:
    piano = Sensing()
    for k in range(400):
        piano.note_message(0.2 * k, sensing=False)
        if k % 10 == 0:
            piano.note_message(0.2 * k + 0.05, sensing=True)
    assert not piano.is_lost(3600.0)


def test_any_message_counts_as_a_sign_of_life() -> None:
    piano = steady()
    piano.note_message(10.6, sensing=False)
    assert not piano.is_lost(11.2)


def test_a_piano_that_came_back_has_to_be_steady_anew() -> None:
    piano = steady()
    assert piano.is_lost(12.0)
    piano.note_message(12.0, sensing=False)
    piano.note_message(12.3, sensing=True)
    assert not piano.is_lost(3600.0)


def test_a_piano_that_never_senses_may_be_silent_for_ever() -> None:
    assert not heard(0.0, sensing=False).is_lost(3600.0)


@pytest.mark.property
@given(st.lists(st.tuples(st.floats(0.0, 2.0), st.booleans()), max_size=60))
def test_it_is_lost_only_after_a_silence_and_enough_of_them(
    line: list[tuple[float, bool]],
) -> None:
    piano, now_s, sent = Sensing(), 0.0, 0
    for quiet_s, sensing in line:
        now_s += quiet_s
        assert not piano.is_lost(now_s) or (quiet_s > 0.7 and sent >= STEADY_COUNT)
        piano.note_message(now_s, sensing=sensing)
        sent += sensing
        assert not piano.is_lost(now_s + 0.42)
