"""A message sent through a MIDI system and back, by a process of its own.

Where a JACK server has died, rtmidi waits a second before it lets go of an output, and nothing of
Python runs meanwhile: the screen would stand still. A process can simply be ended.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from subprocess import PIPE

from coach.children import start_python

MESSAGE = [0xF0, 0x7D, 0xF7]
"""An empty system exclusive message with the number kept for uses outside commerce (MIDI 1.0):
should another program be connected to our port, the message means nothing to it."""

_ECHO = f"""
import os, sys, rtmidi
api, name = int(sys.argv[1]), sys.argv[2]
out = rtmidi.MidiOut(api, "Keyhole asks")
out.open_virtual_port(name)
back = rtmidi.MidiIn(api, "Keyhole asks")
back.ignore_types(sysex=False)
back.set_callback(lambda *_: os.write(1, b"."))
own = [at for at, port in enumerate(back.get_ports()) if port.endswith(":" + name)]
back.open_port(own[0], name)
while os.read(0, 1):
    out.send_message({MESSAGE})
os._exit(0)
"""
"""For each byte that it reads a message leaves; for each that comes back it writes a byte."""


class Echo:
    """The process, and both ends of its line. Nothing here waits.

    One that could not begin, for want of room in the system, never answers.
    """

    def __init__(self, program: Sequence[str]) -> None:
        """``program``: Python's arguments for what answers each byte on its input with one."""
        self._child = start_python(
            program, stdin=PIPE, stdout=PIPE, buffered=False, own_session=True
        )
        assert self._child.stdin
        assert self._child.stdout
        self._to, self._back = self._child.stdin.fileno(), self._child.stdout.fileno()
        for end in (self._to, self._back):
            os.set_blocking(end, False)

    @classmethod
    def of(cls, api: int) -> Echo:
        """Through one of rtmidi's MIDI systems."""
        return cls(["-c", _ECHO, str(api), f"heartbeat {os.getpid()}"])

    def send(self) -> None:
        """Send one message; where the process has ended, none comes back."""
        try:
            os.write(self._to, b".")
        except OSError:
            return

    def receive(self) -> object:
        """A message that has come back, or None."""
        try:
            return os.read(self._back, 1) or None
        except BlockingIOError:
            return None

    def stop(self) -> None:
        """End the process; harmless where that is done."""
        self._child.kill()
        self._child.wait()
        for end in (self._child.stdin, self._child.stdout):
            if end:
                end.close()
