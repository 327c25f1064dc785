"""A pianist in a process of its own, for tests and benchmarks: plays notes into a MIDI port.

It makes a port called "Digital Piano" (or another name), as a piano does when it is switched on,
and obeys lines of JSON from its standard input, answering each with one line:

    {"play": [[pitch, onset_s, length_s, velocity], ...]}   plays; answers when each was struck
    {"send": [144, 60, 64]}                                 sends these bytes as they are
    {"unplug": true}   {"plug": true}                       the piano goes, the piano is back
    {"wait": 0.5}                                           seconds

Times of the answers are time.perf_counter(), which all processes of a machine share on Linux.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Sequence
from typing import Any

import rtmidi

NOTE_ON, NOTE_OFF = 0x90, 0x80


class Piano:
    """A virtual piano: a port that comes and goes, and keys that go down in time."""

    def __init__(self, name: str, api: str) -> None:
        self._name = name
        self._api = rtmidi.get_compiled_api_by_name(api)
        self._out: Any = None
        self.plug()

    def plug(self) -> None:
        """Switch it on."""
        if self._out is None:
            self._out = rtmidi.MidiOut(self._api, self._name)
            self._out.open_virtual_port("out")

    def unplug(self) -> None:
        """Switch it off."""
        if self._out is not None:
            self._out.close_port()
            self._out.delete()
            self._out = None

    def send(self, message: Sequence[int]) -> float:
        """Send bytes; the time just before."""
        at_s = time.perf_counter()
        self._out.send_message(message)
        return at_s

    def play(self, notes: Sequence[Sequence[float]]) -> list[float]:
        """Play them; when each was struck, in the order given. Waits until the last is let go."""
        moves = sorted(
            [(onset + length, 0, index) for index, (_, onset, length, _) in enumerate(notes)]
            + [(onset, 1, index) for index, (_, onset, _, _) in enumerate(notes)]
        )
        start_s = time.perf_counter() + 0.005
        struck = [0.0] * len(notes)
        for at_s, down, index in moves:
            time.sleep(max(0.0, start_s + at_s - time.perf_counter()))
            pitch, velocity = int(notes[index][0]), int(notes[index][3])
            message = [NOTE_ON, pitch, velocity] if down else [NOTE_OFF, pitch, 0]
            sent_s = self.send(message)
            if down:
                struck[index] = sent_s
        return struck

    def obey(self, order: dict[str, Any]) -> object:
        """Carry out one order; its answer."""
        if "play" in order:
            return self.play(order["play"])
        if "send" in order:
            return self.send(order["send"])
        if "wait" in order:
            time.sleep(order["wait"])
        elif "plug" in order:
            self.plug()
        else:
            self.unplug()
        return None


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--name", default="Digital Piano")
    parser.add_argument("--api", default=os.environ.get("KEYHOLE_MIDI_API", "jack"))
    options = parser.parse_args()
    piano = Piano(options.name, options.api)
    print(json.dumps("ready"), flush=True)
    try:
        for line in sys.stdin:
            print(json.dumps(piano.obey(json.loads(line))), flush=True)
    finally:
        piano.unplug()


if __name__ == "__main__":
    main()
