"""``coach calibrate``: tap any key along with a click, so that its constant offset is known."""

from __future__ import annotations

import time
from argparse import Namespace
from dataclasses import replace
from queue import Empty, SimpleQueue

from coach.cli.errors import CannotDo
from coach.judging.calibration import calibrate
from coach.playing.clickthread import ClickThread
from coach.playing.events import KeyDown, MidiEvent, PianoFound
from coach.playing.noise import divert_noise
from coach.playing.ports import Ports
from coach.record.folder import data_folder
from coach.record.settings import load_settings, save_settings

BEATS = 24
BEAT_S = 0.6
"""Twenty-four beats at 100 a minute: a quarter of a minute."""
_WAIT_S = 10.0
_WOOD_BLOCK = (0x99, 76, 100)
"""A high wood block on channel 10 (General MIDI level 1)."""


def calibrate_click(options: Namespace) -> int:
    """Click, listen to the taps, and keep the offset."""
    divert_noise()
    folder = data_folder(options.data)
    settings, damage = load_settings(folder)
    if damage:
        print(damage)
    ports = Ports()
    events: SimpleQueue[MidiEvent] = SimpleQueue()
    try:
        ports.listen(options.port, events.put)
        _wait_for_piano(events)
        clicks, taps = _tap_along(ports, events)
    finally:
        ports.close()
    found = calibrate(clicks, taps)
    if found is None:
        raise CannotDo(
            "Too few steady taps were heard; run coach calibrate again and tap one key each beat."
        )
    save_settings(folder, replace(settings, click_offset_ms=found.offset_ms))
    side = "after" if found.offset_ms >= 0 else "before"
    print(
        f"Your keys come {abs(found.offset_ms):.0f} ms {side} the click (from {found.taps} taps, "
        f"scatter {found.scatter_ms:.0f} ms). It is kept, and taken out of every verdict."
    )
    return 0


def _wait_for_piano(events: SimpleQueue[MidiEvent]) -> None:
    end_s = time.perf_counter() + _WAIT_S
    while (left_s := end_s - time.perf_counter()) > 0:
        try:
            event = events.get(timeout=left_s)
        except Empty:
            break
        if isinstance(event, PianoFound):
            print(f"Piano: {event.name}")
            return
    raise CannotDo("No piano was found; plug in its cable, switch it on, and try again.")


def _tap_along(
    ports: Ports, events: SimpleQueue[MidiEvent]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Click and collect: the times of the clicks and of the keys struck, in seconds."""
    print("Tap one key with every beat, from the third on.")
    start_s = time.perf_counter() + 1.0
    clicks = tuple(start_s + BEAT_S * beat for beat in range(BEATS))
    out = ports.open_out()
    click = ClickThread(out) if out else None
    if click:
        click.play([(at_s, _WOOD_BLOCK) for at_s in clicks])
    for beat, at_s in enumerate(clicks):
        time.sleep(max(at_s - time.perf_counter(), 0.0))
        print(f"\r{beat % 4 + 1}  ({BEATS - beat - 1} to go) ", end="", flush=True)
    time.sleep(BEAT_S)
    print()
    if click:
        click.close()
    taps = []
    while not events.empty():
        event = events.get()
        if isinstance(event, KeyDown):
            taps.append(event.at_s)
    return clicks, tuple(taps)
