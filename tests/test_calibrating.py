"""Calibrating from end to end, at a piano that taps along by itself."""

import time
from argparse import Namespace
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from coach.cli.commands import calibrate
from coach.cli.commands.calibrate import calibrate_click
from coach.cli.errors import CannotDo
from coach.judging.calibration import Calibration
from coach.judging.calibration import calibrate as calibrate_taps
from coach.playing.click_schedule import Timed
from coach.playing.midi_events import KeyDown, MidiEvent, PianoFound, PianoLost
from coach.playing.sounding.process import TimedSender
from coach.record.settings import StoredSettings, load_settings, save_settings
from coach.screens.big_letters import big

BEATS, BEAT_S, LATE_S = 14, 0.1, 0.01


class Tapper:
    """Ports with a piano, and someone who strikes a key to begin and then taps with the click."""

    trouble = ""
    api = "none"

    def __init__(self, *, taps: int = 99, begins: bool = True, lost_after: int = 99) -> None:
        self.taps, self.begins, self.lost_after, self.clicks = taps, begins, lost_after, 0
        self.closed = False

    def listen(self, wanted: str | None, post: Callable[[MidiEvent], None]) -> None:
        self.post = post
        post(PianoFound("Test piano"))
        if self.begins:
            post(KeyDown(60, 64, time.perf_counter()))

    def name_out(self) -> str:
        return "Test piano"

    def send(self, message: Sequence[int]) -> None:
        if message[0] != 0x99:
            return
        self.clicks += 1
        if self.clicks == 1:
            self.first_s = time.perf_counter()
        if self.clicks == self.lost_after:
            self.post(PianoLost("Test piano"))
        if 2 < self.clicks <= self.taps:
            at_s = self.first_s + (self.clicks - 1) * BEAT_S + LATE_S  # however busy the machine
            self.post(KeyDown(60, 64, at_s))

    def close(self) -> None:
        self.closed = True


class TappersLine:
    """What sounds reaches the tapper, each click at its time."""

    def __init__(self, tapper: Tapper) -> None:
        self._sender = TimedSender(tapper)

    def prepare(self, port: str) -> None:
        pass

    def play(self, port: str, messages: Sequence[Timed]) -> None:
        self._sender.play(messages)

    def close(self) -> None:
        self._sender.close()


@pytest.fixture
def sit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., int]:
    """Calibrate with a tapper, six times as fast as people tap."""
    monkeypatch.setattr(calibrate, "BEATS", BEATS)
    monkeypatch.setattr(calibrate, "BEAT_S", BEAT_S)
    monkeypatch.setattr(calibrate, "_SIT_DOWN_S", 0.1)
    monkeypatch.setattr(calibrate, "divert_noise", lambda: None)

    def run(*, taps: int = 99, begins: bool = True, lost_after: int = 99) -> int:
        tapper = Tapper(taps=taps, begins=begins, lost_after=lost_after)
        monkeypatch.setattr(calibrate, "Ports", lambda: tapper)
        monkeypatch.setattr(calibrate, "SoundingLine", lambda api: TappersLine(tapper))
        try:
            return calibrate_click(Namespace(data=tmp_path, port=None))
        finally:
            assert tapper.closed

    return run


def test_a_pianist_begins_by_a_key_taps_along_and_the_offset_is_kept(
    sit: Callable[..., int], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    save_settings(tmp_path, StoredSettings(counting="takadimi"))
    assert sit() == 0
    kept, _ = load_settings(tmp_path)
    assert kept.counting == "takadimi"
    assert kept.click_offset_ms >= LATE_S * 1000  # what the click itself is late by comes on top
    said = capsys.readouterr().out
    assert f"Your keys come {kept.click_offset_ms:.0f} ms after the click (from 10 taps" in said
    assert said.index("Looking for the piano") < said.index("Strike any key to begin")


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"taps": 6}, "Too few steady taps"),
        ({"begins": False}, "No key was heard"),
        ({"lost_after": 9}, "The piano went away"),
    ],
)
def test_what_keeps_it_from_being_known_is_said_and_the_old_offset_stays(
    sit: Callable[..., int], tmp_path: Path, how: dict[str, int], said: str
) -> None:
    save_settings(tmp_path, StoredSettings(click_offset_ms=12.0))
    with pytest.raises(CannotDo, match=said):
        sit(**how)
    assert load_settings(tmp_path)[0].click_offset_ms == 12.0


def test_in_a_terminal_the_beats_are_large_and_each_is_written_over_the_one_before() -> None:
    first, second = (calibrate._figure(beat, is_terminal=True) for beat in (0, 1))
    *rows, last = first.rstrip("\n").split("\n")
    assert [row.removeprefix("\r  ") for row in rows] == list(big("1", tall=True))
    assert "to go" in last
    assert second.startswith(f"\x1b[{len(rows) + 1}A")
    assert second.count("\n") == len(rows) + 1


def tapped(taps: int, scatter_s: float = 0.0) -> Calibration | None:
    """To a click of a second, 20 ms late, by turns earlier and later."""
    clicks_s = [float(at) for at in range(taps)]
    return calibrate_taps(
        clicks_s, [at_s + 0.02 + (-1) ** at * scatter_s for at, at_s in enumerate(clicks_s)]
    )


@pytest.mark.parametrize(("taps", "used"), [(9, None), (10, 8)])
def test_eight_taps_tell_the_offset_the_first_two_left_out(taps: int, used: int | None) -> None:
    found = tapped(taps)
    assert (found and found.taps) == used
    assert found is None or found.offset_ms == pytest.approx(20.0)


@pytest.mark.outside
@pytest.mark.parametrize(("scatter_s", "is_tapping"), [(0.066, True), (0.069, False)])
def test_a_scatter_of_more_than_a_tenth_of_the_beat_is_no_tapping_along(
    scatter_s: float, is_tapping: bool
) -> None:
    """The standard deviation is the median deviation over 0.6745 (Hampel 1974, from memory)."""
    assert (tapped(20, scatter_s) is not None) is is_tapping
