"""Messages sent into a MIDI system by a process of its own; that one comes back shows it lives.

Where a JACK server has died, rtmidi waits a second before it lets go of an output, and nothing of
Python runs meanwhile: the screen would stand still. A process can simply be ended.

The same process ends system exclusive messages whose own end never comes. rtmidi (on JACK) takes
all that follows one for its rest and holds it back, every note of the evening, until something
comes that ends with an F7: so such a thing is sent into our port now and then.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from subprocess import PIPE

from coach.children import start_python

MESSAGE = [0xF0, 0x7D, 0xF7]
"""An empty system exclusive message with the number kept for uses outside commerce (MIDI 1.0):
should another program be connected to our port, the message means nothing to it."""

END_EVERY_S = 0.02
"""Notes behind an unended message are late by at most this, once. Our choice: fifty wakings
a second take less than a hundredth of a processor."""

_ECHO = f"""
import os, select, sys, rtmidi
api, name, ear = int(sys.argv[1]), sys.argv[2], sys.argv[3]
out = rtmidi.MidiOut(api, "Keyhole asks")
out.open_virtual_port(name)
back = rtmidi.MidiIn(api, "Keyhole asks")
back.ignore_types(sysex=False)
underway = 0
def came(*_):
    global underway
    underway = 0
    os.write(1, b".")
back.set_callback(came)
own = [at for at, port in enumerate(back.get_ports()) if port.endswith(":" + name)]
back.open_port(own[0], name)
into = rtmidi.MidiOut(api, "Keyhole asks")
wanted = connected = False
while True:
    if select.select([0], [], [], {END_EVERY_S} if wanted else None)[0]:
        order = os.read(0, 1)
        if not order:
            os._exit(0)
        if order == b"+":
            into.close_port()
            wanted, connected = True, False
        else:
            underway += 1
            out.send_message({MESSAGE})
    if wanted and not connected:
        ears = [at for at, port in enumerate(into.get_ports()) if port.endswith(":" + ear)]
        if ears:
            into.open_port(ears[-1], name)
            connected = True
    if connected and underway < 2:
        into.send_message({MESSAGE})
"""
"""For each dot that it reads a message leaves; for each that comes back it writes a byte.

A plus has it find the port that we listen with, and end there what is unended, from then on. Into a
system that brings nothing back it sends nothing: rtmidi would wait for room in its buffer."""


def ear() -> str:
    """What our port is called that we listen with: no other program's port is called so."""
    return f"Keyhole {os.getpid()}"


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
        return cls(["-c", _ECHO, str(api), f"heartbeat {os.getpid()}", ear()])

    def send(self) -> None:
        """Send one message; where the process has ended, none comes back."""
        self._order(b".")

    def end_exclusives(self) -> None:
        """From now on end what stands unended in the port called ``ear``, every ``END_EVERY_S``.

        To be asked anew for each port that is opened. :data:`MESSAGE` comes in at it then, alone
        or behind what was held back.
        """
        self._order(b"+")

    def _order(self, order: bytes) -> None:
        try:
            os.write(self._to, order)
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
