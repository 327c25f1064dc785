"""The speaker in place of a piano that takes no MIDI: a tone of the right pitch, with an end."""

from __future__ import annotations

import numpy as np
import pytest

from coach.playing.sounding import speaker
from coach.playing.sounding.speaker import (
    USUAL_RATE_HZ,
    Synth,
    make_tone,
)

SECOND = USUAL_RATE_HZ


def loudness(samples: np.ndarray) -> float:
    return float(np.abs(samples).max())


def pitch_hz(samples: np.ndarray) -> float:
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    return float(np.argmax(spectrum) * USUAL_RATE_HZ / len(samples))


@pytest.mark.outside
@pytest.mark.parametrize(("pitch", "hz"), [(69, 440.0), (60, 261.63), (36, 65.41), (96, 2093.0)])
def test_a_key_sounds_at_its_pitch(pitch: int, hz: float) -> None:
    """Equal temperament from A 440 (ISO 16)."""
    synth = Synth()
    synth.take((0x90, pitch, 100))
    assert pitch_hz(synth.render(SECOND)) == pytest.approx(hz, abs=1.5)


def test_it_is_as_loud_as_it_is_struck_and_never_beyond_full_scale() -> None:
    soft, loud, full = Synth(), Synth(), Synth()
    soft.take((0x90, 60, 30))
    loud.take((0x90, 60, 120))
    for pitch in range(40, 100):
        full.take((0x90, pitch, 127))
    assert loudness(soft.render(SECOND)) < loudness(loud.render(SECOND)) / 4
    assert loudness(full.render(SECOND)) <= 1.0
    assert len(full._voices) <= 24


def test_letting_go_ends_it_unless_the_pedal_is_down() -> None:
    for pedal in (False, True):
        synth = Synth()
        synth.take((0xB0, 64, 127 * pedal))
        synth.take((0x90, 48, 100))
        synth.render(SECOND // 10)
        synth.take((0x80, 48, 0))
        synth.render(int(0.12 * SECOND) + 1)
        assert (loudness(synth.render(1000)) > 0.001) is pedal
        synth.take((0xB0, 64, 0))
        synth.render(int(0.12 * SECOND) + 1)
        assert loudness(synth.render(1000)) == 0


def test_all_notes_off_is_silence_and_no_click_is_let_go_of_by_a_note() -> None:
    synth = Synth()
    for pitch in (40, 60, 80):
        synth.take((0x90, pitch, 100))
    synth.take((0xB0, 123, 0))
    synth.render(int(0.12 * SECOND) + 1)
    assert loudness(synth.render(1000)) == 0
    synth.take((0x99, 76, 110))
    synth.take((0x89, 76, 0))
    assert loudness(synth.render(400)) > 0.05


@pytest.mark.parametrize("pitch", [21, 60, 108])
def test_a_tone_begins_and_ends_without_a_knock(pitch: int) -> None:
    tone = make_tone(pitch)
    assert len(tone) <= 4.0 * USUAL_RATE_HZ
    assert abs(tone[0]) < 0.01
    assert abs(tone[-1]) < 0.01


@pytest.mark.parametrize(
    ("answer", "can"),
    [
        ("raise SystemExit(0)", True),
        ("raise SystemExit(1)", False),
        ("import time; time.sleep(9)", False),
    ],
)
def test_whether_there_is_one_is_asked_outside_and_not_waited_for(
    answer: str, can: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(speaker, "_ASK", answer)
    monkeypatch.setattr(speaker, "find_spec", lambda name: name)
    monkeypatch.setattr(speaker, "ASK_PATIENCE_S", 1.0 if "sleep" in answer else 20.0)
    assert speaker.can_speak.__wrapped__() is can
