"""What sounds through the piano's own sound: the click, and what is heard."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coach.playing.click_schedule import Timed
    from coach.playing.ports import Ports
    from coach.playing.sounding import SoundingLine


class PianoSound:
    """Sounds at whatever piano is plugged in when it is asked to; silent where none is."""

    def __init__(self, ports: Ports, clock: Callable[[], float] = time.perf_counter) -> None:
        self._ports, self._clock = ports, clock
        self._line: SoundingLine | None = None
        self._port: str | None = None

    def prepare(self) -> None:
        """Begin the process, and find out whether what we send comes back to us."""
        port = self._name_out()
        if port is not None:
            self._ports.own.expect_answer(self._clock())
            self._send(port, ())

    def play(self, messages: Sequence[Timed], from_s: float | None = None) -> bool:
        """Sound these at their times, in place of what sounds; whether there is a way out.

        With ``from_s`` in place of what was to be sent from then on: what sounds goes on.
        """
        port = self._name_out()
        return port is not None and self._send(port, messages, from_s)

    def stop(self) -> None:
        """Silence."""
        if self._port is not None:
            self._send(self._port, ())

    def close(self) -> None:
        """Silence, and end the process that sounds."""
        if self._line:
            self._line.close()

    def _name_out(self) -> str | None:
        """The piano that is heard, where it takes anything; else the speaker, where it can be.

        Beside JACK there is none: the speaker would be JACK's, too, and end with it.
        """
        from coach.playing.sounding import SPEAKER, can_speak

        if name := self._ports.name_out():
            return name
        return SPEAKER if self._ports.api != "jack" and can_speak() else None

    def _send(self, port: str, messages: Sequence[Timed], from_s: float | None = None) -> bool:
        from coach.playing.sounding import SoundingLine

        self._port, self._line = port, self._line or SoundingLine(self._ports.api)
        self._ports.own.send(messages, self._clock(), from_s)
        return self._line.play(port, messages, from_s)
