"""The door to python-rtmidi: the machine's MIDI system, found, watched, and taken up again.

Our clients of one MIDI system stand here, too, and how we know whether it still carries anything.
"""

from __future__ import annotations

import importlib
import os
import re
import sys
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from math import inf
from pathlib import Path
from subprocess import PIPE, Popen
from typing import Any, Protocol

from coach.children import end_python, start_python

# Messages sent into a MIDI system by a process of its own; that one comes back shows it lives.
#
# Where a JACK server has died, rtmidi waits a second before it lets go of an output, and nothing of
# Python runs meanwhile: the screen would stand still. A process can simply be ended.
#
# The same process ends system exclusive messages whose own end never comes. rtmidi (on JACK) takes
# all that follows one for its rest and holds it back, every note of the evening, until something
# comes that ends with an F7: so such a thing is sent into our port now and then.


MESSAGE = [0xF0, 0x7D, 0xF7]
"""An empty system exclusive message with the number kept for uses outside commerce (MIDI 1.0):
should another program be connected to our port, the message means nothing to it."""

END_EVERY_S = 0.02
"""Notes behind an unended message are late by at most this, once. Our choice: fifty wakings
a second take less than a hundredth of a processor."""

MOST_LOOKS = 10
"""How often the ports are listed anew where one has gone meanwhile. Own choice, because one that
plugs and unplugs comes between two looks once at the most."""

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
into = rtmidi.MidiOut(api, "Keyhole asks")
def connect(client, to):
    try:
        found = [at for at, port in enumerate(client.get_ports()) if port.endswith(":" + to)]
        if found:
            client.open_port(found[-1], name)
        return bool(found)
    except (rtmidi.RtMidiError, AttributeError):
        return False
for _ in range({MOST_LOOKS}):
    if connect(back, name):
        break
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
        connected = connect(into, ear)
    if connected and underway < 2:
        into.send_message({MESSAGE})
"""
"""For each dot that it reads a message leaves; for each that comes back it writes a byte.

A plus has it find the port that we listen with, and end there what is unended, from then on. Where
a port goes in the moment between, the list is another one and it looks again. Into a system that
brings nothing back it sends nothing: rtmidi would wait for room in its buffer."""


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
        end_python(self._child)


# Whether the MIDI system still carries anything: what we send to ourselves through it comes back.
#
# A JACK server that has died says nothing to python-rtmidi, which goes on listing its ports. So a
# message of ours goes through the server and back, now and then. Other systems need none: ALSA's is
# in the kernel, and those of macOS and Windows are the system's own.
#
# Our clients of one MIDI system, as python-rtmidi makes them: they live and are ended together.
#
# rtmidi hands over each message with the driver's own time since the one before it; that is why the
# ports are opened here and not through mido, which throws it away. Every rtmidi object is deleted
# explicitly: letting go of it alone leaks a thread and handles, and where a JACK server has died, a
# client that is made while one of the dead server's is left brings the whole program down.


EVERY_S = 0.5
LOST_S = 1.0
"""A message that takes longer is lost. JACK's takes two of its periods: 2.7 ms with 64 frames, 43
with 1024; a server that sets itself up anew is silent for some tenths of a second."""
AT_ONCE_S = 0.3
"""How long an answer is waited for where one is needed at once; twice what a server with periods of
4096 frames takes."""
ASK_AGAIN_S = 0.1
"""Then it is asked again: on a busy machine JACK loses a message now and then. Own choice."""
MISSED = 2
"""So many messages have to be missed, this one for ``EVERY_S``, before a system is called lost. Own
choice: whoever did not look for a second, on a busy machine, has missed but one."""


class Heartbeat:
    """Sends a message through the system now and then, and sees to it that it comes back.

    A system that never brought one back is not held to it: then nothing can be known.

    Thread-safe: no.
    """

    def __init__(
        self,
        send: Callable[[], object],
        receive: Callable[[], object],
        clock: Callable[[], float] = time.perf_counter,
        sleep: Callable[[float], object] = time.sleep,
    ) -> None:
        """``receive`` returns None where nothing has come; neither of them waits."""
        self._send, self._receive, self._clock, self._sleep = send, receive, clock, sleep
        self._missing_s: list[float] = []
        """When messages were sent since one came back; no more of them than ``MISSED``."""
        self._sent_s = -inf
        self._known = False

    def is_beating(self) -> bool:
        """Whether what was sent came back in time; sends anew when it is time. Returns at once."""
        now_s = self._clock()
        self._take(now_s)
        # Nothing more into a system that takes nothing out: its buffer would fill, and hold us.
        if now_s - self._sent_s >= EVERY_S and not self._is_lost(now_s):
            self._beat(now_s)
        return not self._known or not self._is_lost(now_s)

    def came_back(self) -> bool:
        """Whether nothing that was sent is still on its way. Returns at once, and sends nothing."""
        self._take(self._clock())
        return not self._missing_s

    def answers(self) -> bool:
        """Whether a message that is sent now comes back at once; waits for it.

        Where it does not, the system may be busy as well as lost: ``is_beating`` tells.
        """
        start_s = self._clock()
        self._take(start_s)
        self._beat(start_s)
        while self._missing_s:
            now_s = self._clock()
            if now_s - start_s > AT_ONCE_S:
                break
            if now_s - self._sent_s > ASK_AGAIN_S:
                self._beat(now_s)
            self._sleep(0.001)
            self._take(now_s)
        return not self._known or not self._missing_s

    def _is_lost(self, now_s: float) -> bool:
        """Whether nothing has come back for long enough, and after a second message either."""
        missing_s = self._missing_s
        if len(missing_s) < MISSED:
            return False
        return now_s - missing_s[0] >= LOST_S and now_s - missing_s[-1] >= EVERY_S

    def _beat(self, now_s: float) -> None:
        self._send()
        self._sent_s = now_s
        if len(self._missing_s) < MISSED:
            self._missing_s.append(now_s)

    def _take(self, now_s: float) -> None:
        while self._receive() is not None:
            self._missing_s, self._known = [], True


CLIENT = "Keyhole"
"""Our name among the machine's MIDI programs."""

QUEUE_MESSAGES = 8192
"""How many messages may wait for us: a flood of eight seconds at a MIDI cable's full speed."""


class Port:
    """One opened rtmidi client, in or out.

    Thread-safe: yes. Once closed it is silent: nothing comes, and sending raises OSError.
    """

    def __init__(self, client: Any, may_end: Callable[[], bool]) -> None:
        """``may_end``: whether rtmidi may be told to let go of it now."""
        self._client, self._may_end = client, may_end
        self._closed = False
        self._lock = threading.Lock()

    @property
    def is_open(self) -> bool:
        """Whether rtmidi still has it."""
        return self._client is not None

    def get_message(self) -> tuple[Sequence[int], float] | None:
        """The next waiting message and the seconds since the one before it, or None.

        What we send into it ourselves, for messages that have no end, is left out: where it came
        alone the message is empty, and still tells the time.
        """
        with self._lock:
            got: tuple[list[int], float] | None
            got = None if self._closed else self._client.get_message()
        return ([], got[1]) if got and got[0] == MESSAGE else got

    def send(self, message: Sequence[int]) -> None:
        """Send one whole MIDI message. Raises OSError where the other side can't take it."""
        with self._lock:
            if self._closed:
                raise OSError("the MIDI system has gone")
            self._client.send_message(message)

    def close(self) -> None:
        """Let go of it; harmless where that is done."""
        with self._lock:
            self._closed = True
        if self._may_end():
            self.end()

    def end(self) -> None:
        """Have rtmidi let go of it."""
        with self._lock:
            self._closed = True
            if self._client is not None:
                self._client.close_port()
                self._client.delete()
                self._client = None


class Clients:
    """All clients of ours in one MIDI system: two that look at the names, and the opened ports.

    Thread-safe: no, but for the ports. Raises OSError where the system does not answer.
    """

    def __init__(self, rtmidi: Any, api: int) -> None:
        self._rtmidi, self._api = rtmidi, api
        self._opened: list[Port] = []
        self._silent = False
        self._watch_in = self._make_in()
        try:
            self._watch_out = self._make_out()
        except OSError:
            self._watch_in.delete()
            raise
        self._echo = Echo.of(api) if api == rtmidi.API_UNIX_JACK else None
        self._heartbeat = Heartbeat(self._echo.send, self._echo.receive) if self._echo else None

    def names_in(self) -> tuple[str, ...]:
        """Ports that can be listened to; our own are left out."""
        return _others(list_ports(self._watch_in))

    def names_out(self) -> tuple[str, ...]:
        """Ports that can be sent to; our own are left out."""
        return _others(list_ports(self._watch_out))

    def are_alive(self) -> bool:
        """Whether the system still carries what we send; to be asked often."""
        return self._heartbeat is None or self._heartbeat.is_beating()

    def answer(self) -> bool:
        """Whether the system carries something now; waits for it. To be asked before a port is
        opened: a server that hangs would hold us."""
        return self._heartbeat is None or self._heartbeat.answers()

    def came_back(self) -> bool:
        """Whether a system that carried nothing has carried what was sent after all."""
        return self._heartbeat is not None and self._heartbeat.came_back()

    def open_in(self, name: str) -> Port | None:
        """Listen to a port; None where it is gone or taken."""
        port = self._open(self._make_in, name, ear())
        if port and self._echo:
            self._echo.end_exclusives()
        return port

    def open_out(self, name: str) -> Port | None:
        """Send to a port; None where it is gone or taken."""
        return self._open(self._make_out, name, CLIENT)

    def fall_silent(self) -> None:
        """The system carries nothing: all ports are closed, and rtmidi is left alone for now.

        A server that hangs would hold it, and nothing of Python runs meanwhile.
        """
        self._silent = True
        for port in self._opened:
            port.close()

    def rise(self) -> None:
        """The system only hung, and carries again: what was closed meanwhile is let go of."""
        self._silent = False
        for port in self._opened:
            port.close()

    def stop_asking(self) -> None:
        """End what asks whether the system carries anything; rtmidi is left alone."""
        if self._echo:
            self._echo.stop()

    def end(self) -> None:
        """Let go of everything, opened ports too.

        An output of a dead server, where the click was sounded, takes a second: rtmidi waits so
        long for what was sent to leave, without letting Python run.
        """
        self.stop_asking()
        for port in self._opened:
            port.end()
        for watch in (self._watch_in, self._watch_out):
            watch.close_port()
            watch.delete()

    def _make_in(self) -> Any:
        client = self._rtmidi.MidiIn(self._api, CLIENT, queue_size_limit=QUEUE_MESSAGES)
        # Nothing may be ignored: on JACK the time of ignored messages vanishes from the sum.
        client.ignore_types(sysex=False, timing=False, active_sense=False)
        return client

    def _make_out(self) -> Any:
        return self._rtmidi.MidiOut(self._api, CLIENT)

    def _open(self, make: Callable[[], Any], name: str, own_name: str) -> Port | None:
        try:
            client = make()
        except OSError:  # the system takes no more programs
            return None
        try:
            client.open_port(list_ports(client).index(name), own_name)
        except (ValueError, OSError):
            client.delete()
            return None
        self._opened = [port for port in self._opened if port.is_open]
        self._opened.append(Port(client, lambda: not self._silent))
        return self._opened[-1]


def list_ports(client: Any) -> list[str]:
    """The names of all ports that an rtmidi client sees.

    rtmidi counts the ports and then asks for the name of each. Where one goes in between, and some
    of our own come and go whenever a piano does, the last name is None or a ValueError: then it is
    asked again.
    """
    names: list[str | None] = []
    for _ in range(MOST_LOOKS):
        with suppress(ValueError):
            names = client.get_ports()
            if all(names):
                break
    return [name for name in names if name]


def _others(names: Sequence[str]) -> tuple[str, ...]:
    ours = re.compile(rf"{CLIENT}( asks)?(-\d+)?:")
    return tuple(name for name in names if not ours.match(name))


# Asking in a process of its own whether a MIDI system takes new programs.
#
# A JACK server that hangs holds whoever speaks to it, and rtmidi lets nothing of Python run
# meanwhile: the screen would stand still. So another process asks, and is ended if it gets no
# answer.


ASK_EVERY_S = 1.0
ASK_PATIENCE_S = 3.0
"""After this long the system hangs: an answer takes a tenth of a second, most of it Python's."""

_THERE, _NOT_THERE = 0, 3
_ASK = """
import sys, rtmidi
try:
    rtmidi.MidiIn(int(sys.argv[1]), "Keyhole asks").delete()
except OSError:
    sys.exit(3)
"""


class Probe:
    """Asks again and again, as long as it is looked at."""

    def __init__(
        self,
        program: Sequence[str],
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        """``program``: Python's arguments for what exits with 0 where it answers, 3 where not."""
        self._program, self._clock = program, clock
        self._child: Popen[bytes] | None = None
        self._start_s = -inf

    @classmethod
    def of(cls, api: int) -> Probe:
        """For one of rtmidi's MIDI systems."""
        return cls(["-c", _ASK, str(api)])

    def answer(self) -> bool | None:
        """Whether the system is there; None where it is not known (yet). Returns at once."""
        if self._child is None:
            self._ask()
            return None
        status = self._child.poll()
        if status is None and self._clock() - self._start_s < ASK_PATIENCE_S:
            return None
        self.stop()
        return None if status not in (_THERE, _NOT_THERE) else status == _THERE

    def stop(self) -> None:
        """Ask no more."""
        if self._child:
            end_python(self._child)
        self._child = None

    def _ask(self) -> None:
        if self._clock() - self._start_s < ASK_EVERY_S:
            return
        self._start_s = self._clock()
        self._child = start_python(self._program)


# Which of the machine's MIDI systems is used, and what to do where there is none.


class PortsUnavailable(Exception):
    """There is no MIDI here; its text is one sentence that says what to do."""


def load_rtmidi() -> Any:
    """The rtmidi module, which needs a system library on Linux."""
    try:
        return importlib.import_module("rtmidi")
    except ImportError as error:
        raise PortsUnavailable(_cannot_load(str(error))) from error


def find_system(rtmidi: Any, wanted: str | None = None) -> tuple[int, bool]:
    """The first MIDI system that answers and has a port, else the first that answers; and True.

    ``wanted`` names one, as rtmidi does; so does the variable KEYHOLE_MIDI_API. It may be waited
    for: then it comes with False. Raises PortsUnavailable where none is named and none answers.
    """
    wanted = wanted or os.environ.get("KEYHOLE_MIDI_API", "")
    answering = None
    for api in _systems(rtmidi, wanted):
        try:
            client = rtmidi.MidiIn(api, CLIENT)
        except OSError:
            continue
        has_ports = client.get_port_count() > 0
        client.delete()
        if has_ports:
            return api, True
        answering = api if answering is None else answering
    if answering is not None:
        return answering, True
    if wanted:
        return rtmidi.get_compiled_api_by_name(wanted.strip().lower()), False
    raise PortsUnavailable(_no_system())


def _systems(rtmidi: Any, wanted: str) -> list[int]:
    if not wanted:
        return list(rtmidi.get_compiled_api())
    api = rtmidi.get_compiled_api_by_name(wanted.strip().lower())
    if api == rtmidi.API_UNSPECIFIED:
        known = ", ".join(map(rtmidi.get_api_name, rtmidi.get_compiled_api()))
        raise PortsUnavailable(
            f"KEYHOLE_MIDI_API is {wanted!r}, which is not here; choose from: {known}."
        )
    return [api]


def _cannot_load(why: str) -> str:
    if sys.platform == "linux" and "libasound" in why:
        return (
            "MIDI needs libasound.so.2: run 'sudo apt-get install libasound2' (Fedora: alsa-lib), "
            "then start Keyhole again."
        )
    return f"python-rtmidi does not load ({why}); run the set-up again to have a piano."


def _no_system() -> str:
    if sys.platform == "linux":
        return (
            "The MIDI system does not answer: run 'sudo modprobe snd-seq' or start JACK, then "
            "start Keyhole again."
        )
    return "The MIDI system does not answer; restart this machine to have a piano."


GONE = (
    "JACK has stopped and I hear nothing: start it again, and I go on by myself; nothing is lost."
)
"""What is said while a JACK server is away."""
NOT_YET = "{name} does not answer yet: start it, and I find it by myself."
"""What is said while the one that was asked for has not been there yet."""


class InPort(Protocol):
    """An opened input."""

    def get_message(self) -> tuple[Sequence[int], float] | None:
        """The next waiting message and the seconds since the one before it, or None.

        An empty one only tells the time.
        """

    def close(self) -> None:
        """Let go of it; may be called on a port whose other side is gone."""


class OutPort(Protocol):
    """An opened output."""

    def send(self, message: Sequence[int]) -> None:
        """Send one whole MIDI message. Raises OSError where the other side can't take it."""

    def close(self) -> None:
        """Let go of it."""


class Driver(Protocol):
    """What of the machine's MIDI we use."""

    @property
    def api(self) -> str:
        """The MIDI system's name."""

    def names_in(self) -> tuple[str, ...]:
        """Ports that can be listened to."""

    def names_out(self) -> tuple[str, ...]:
        """Ports that can be sent to."""

    def open_in(self, name: str) -> InPort | None:
        """Listen to a port; None where it is gone or taken."""

    def open_out(self, name: str) -> OutPort | None:
        """Send to a port; None where it is gone or taken."""

    def trouble(self) -> str:
        """A sentence that says what to do where the MIDI system itself has gone; else ""."""

    def close(self) -> None:
        """Let go of everything."""


class RtMidiDriver:
    """python-rtmidi, through one of the machine's MIDI systems.

    A JACK server that goes away is noticed within two seconds: then no names are listed, ports
    that were open are silent, and ``trouble`` says what to do. It is taken up again when it is
    back.

    Thread-safe: yes. Its calls take microseconds, but for opening a port (some 15 ms) and
    for ending the click's output at a dead server (a second).

    One that was asked for by name and is not there yet is waited for in the same way.

    Raises PortsUnavailable where python-rtmidi does not load or no MIDI system answers.
    """

    def __init__(self, api: str | None = None) -> None:
        self._rtmidi = load_rtmidi()
        self._lock = threading.Lock()
        self._api, answers = find_system(self._rtmidi, api)
        self._clients = Clients(self._rtmidi, self._api) if answers else None
        self._was_there = answers
        self._gone: Clients | None = None
        """Those of a system that carries nothing, until they are ended."""
        self._probe = Probe.of(self._api)
        self._closed = False

    @property
    def api(self) -> str:
        """The MIDI system's name, as rtmidi has it: another process finds the same one by it."""
        return str(self._rtmidi.get_api_name(self._api))

    def names_in(self) -> tuple[str, ...]:
        """Ports that can be listened to; our own are left out."""
        with self._lock:
            clients = self._alive()
            return clients.names_in() if clients else ()

    def names_out(self) -> tuple[str, ...]:
        """Ports that can be sent to; our own are left out."""
        with self._lock:
            clients = self._alive()
            return clients.names_out() if clients else ()

    def open_in(self, name: str) -> InPort | None:
        """Listen to a port; None where it is gone or taken."""
        with self._lock:
            clients = self._alive(now=True)
            return clients.open_in(name) if clients else None

    def open_out(self, name: str) -> OutPort | None:
        """Send to a port; None where it is gone or taken."""
        with self._lock:
            clients = self._alive(now=True)
            return clients.open_out(name) if clients else None

    def trouble(self) -> str:
        """A sentence where the MIDI system has gone; "" where it is there."""
        if self._clients:
            return ""
        if self._was_there:
            return GONE
        return NOT_YET.format(name=self._rtmidi.get_api_name(self._api).upper())

    def close(self) -> None:
        """Let go of everything, opened ports too."""
        with self._lock:
            self._closed = True
            self._probe.stop()
            if self._clients:
                self._clients.end()
            if self._gone:
                self._gone.stop_asking()
            self._clients = None

    def _alive(self, *, now: bool = False) -> Clients | None:
        """Our clients; None while the system carries nothing.

        ``now``: also where it does not answer at once. That is no reason to call it gone: on a busy
        machine it is slow for a moment, and the next look finds it.
        """
        if self._clients is None:
            self._come_back()
        elif not self._clients.are_alive():
            self._clients.fall_silent()
            self._clients, self._gone = None, self._clients
            self._probe.stop()  # an answer from before would be none
        elif now and not self._clients.answer():
            return None
        return self._clients

    def _come_back(self) -> None:
        """Go on with a system that only hung; begin anew with one that has died and is back.

        All clients of one that has died are ended before new ones are made. Where the system hangs
        that would take for ever, and nothing else would run: so a process of its own asks before.
        """
        if self._gone and self._gone.came_back():
            self._clients, self._gone = self._gone, None
            self._clients.rise()
        elif not self._closed and (there := self._probe.answer()) is not None:
            if self._gone:
                self._gone.end()
                self._gone = None
            elif there:
                with suppress(OSError):
                    self._clients = Clients(self._rtmidi, self._api)
                    self._was_there = True


# Keeping what C libraries print off the screen.
#
# ALSA and JACK print to file descriptor 2, and the screen is drawn there too.


def divert_noise(log: Path | None = None) -> None:
    """Send what is written to descriptor 2 to ``log`` (else nowhere); ``sys.stderr`` still works.

    Call it once, first of all: before anything imports textual, which draws on ``__stderr__``, or
    rtmidi. Python's own errors and the screen go to a duplicate of the terminal's descriptor.
    """
    screen = os.fdopen(os.dup(2), "w", encoding="utf-8", errors="backslashreplace", buffering=1)
    target = os.open(log or os.devnull, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.dup2(target, 2)
    os.close(target)
    sys.stderr = sys.__stderr__ = screen  # type: ignore[misc]
