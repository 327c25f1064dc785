"""``coach calibrate``: tap any key along with a click, so that its constant offset is known."""

from __future__ import annotations

import sys
import time
from argparse import Namespace
from dataclasses import replace
from queue import Empty, SimpleQueue
from typing import TypeVar

from coach.cli.errors import CannotDo
from coach.cli.terminal import draw, say
from coach.judging.calibration import calibrate
from coach.playing.midi_events import KeyDown, MidiEvent, PianoFound, PianoLost
from coach.playing.ports import Ports, divert_noise
from coach.playing.sounding import SoundingLine
from coach.record.folder import data_folder
from coach.record.settings import load_settings, save_settings
from coach.screens.big_letters import TALL_ROWS, big
from coach.screens.interfaces import piano_words

BEATS = 24
BEAT_S = 0.6
"""Twenty-four beats at 100 a minute: a quarter of a minute."""
_LOOK_S = 10.0
"""How long a piano is looked for."""
_SIT_DOWN_S = 120.0
"""How long the first key may take: the pianist goes from the computer to the piano."""
_WOOD_BLOCK = (0x99, 76, 100)
"""A high wood block on channel 10 (General MIDI level 1)."""
_Event = TypeVar("_Event", bound=MidiEvent)


def calibrate_click(options: Namespace) -> int:
    """Click, listen to the taps, and keep the offset."""
    divert_noise()
    folder = data_folder(options.data)
    settings, damage = load_settings(folder)
    if damage:
        say(damage)
    ports = Ports()
    try:
        clicks, taps = _listen_to_taps(ports, options.port)
    finally:
        ports.close()
    found = calibrate(clicks, taps)
    if found is None:
        raise CannotDo(
            "Too few steady taps were heard; run coach calibrate again and tap one key each beat."
        )
    save_settings(folder, replace(settings, click_offset_ms=found.offset_ms))
    side = "after" if found.offset_ms >= 0 else "before"
    say(
        f"Your keys come {abs(found.offset_ms):.0f} ms {side} the click (from {found.taps} taps, "
        f"scatter {found.scatter_ms:.0f} ms).\nIt is kept, and taken out wherever a click runs."
    )
    return 0


def _listen_to_taps(
    ports: Ports, wanted: str | None
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """The times of the clicks and of the keys struck, in seconds; begun from the piano."""
    bench = _Bench()
    say("Looking for the piano …")
    ports.listen(wanted, bench.events.put)
    none = ports.trouble or "No piano was found; plug in its cable, switch it on, and try again."
    say(f"Piano: {piano_words(bench.wait_for(PianoFound, _LOOK_S, none).name)}")
    port = ports.name_out()
    say("Strike any key to begin; then tap one with every beat, from the third on.")
    if port is None:
        say("This piano takes no click: go by the figures here.")
    none = "No key was heard; see with coach ports whether this is the piano, and try again."
    line = SoundingLine(ports.api)
    try:
        if port is not None:
            line.prepare(port)
        bench.wait_for(KeyDown, _SIT_DOWN_S, none)
        return _tap_along(line, port, bench)
    finally:
        line.close()


def _tap_along(
    line: SoundingLine, port: str | None, bench: _Bench
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    start_s = time.perf_counter() + 2 * BEAT_S
    clicks = tuple(start_s + BEAT_S * beat for beat in range(BEATS))
    if port is not None:
        line.play(port, [(at_s, _WOOD_BLOCK) for at_s in clicks])
    try:
        for beat, at_s in enumerate(clicks):
            time.sleep(max(at_s - time.perf_counter(), 0.0))
            draw(_figure(beat, is_terminal=sys.stdout.isatty()))
        time.sleep(BEAT_S)
    finally:
        draw("\n")
    return clicks, bench.taps(since_s=start_s - BEAT_S)


def _figure(beat: int, *, is_terminal: bool) -> str:
    """The beat that sounds, large enough to be tapped along with from the bench.

    In a terminal each one is written over the one before.
    """
    number, to_go = str(beat % 4 + 1), f"({BEATS - beat - 1} to go) "
    if not is_terminal:
        return f"\r{number}  {to_go}"
    up = f"\x1b[{TALL_ROWS + 1}A" if beat else ""
    return up + "".join(f"\r  {row}\n" for row in big(number, tall=True)) + f"\r{to_go}\n"


class _Bench:
    """What comes from the piano."""

    def __init__(self) -> None:
        self.events: SimpleQueue[MidiEvent] = SimpleQueue()

    def wait_for(self, kind: type[_Event], within_s: float, none: str) -> _Event:
        """The next event of a kind. Raises CannotDo: ``none`` where it does not come."""
        end_s = time.perf_counter() + within_s
        while (left_s := end_s - time.perf_counter()) > 0:
            try:
                event = self.events.get(timeout=left_s)
            except Empty:
                break
            if isinstance(event, kind):
                return event
            _mind(event)
        raise CannotDo(none)

    def taps(self, since_s: float) -> tuple[float, ...]:
        """When keys were struck, up to now. Raises CannotDo where the piano went away meanwhile."""
        struck = []
        while not self.events.empty():
            event = self.events.get()
            _mind(event)
            if isinstance(event, KeyDown) and event.at_s >= since_s:
                struck.append(event.at_s)
        return tuple(struck)


def _mind(event: MidiEvent) -> None:
    if isinstance(event, PianoLost):
        raise CannotDo(
            event.why or "The piano went away; switch it on and run coach calibrate again."
        )
