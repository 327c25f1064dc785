"""The piano's ports: what is there, and listening to the one that is the piano."""

from __future__ import annotations

import os
import sys
import threading
import time
import traceback

from coach.playing.ports.driver import Driver, PortsUnavailable, RtMidiDriver
from coach.playing.ports.listener import POLL_S, Listener, Post, Watch
from coach.playing.ports.own_sound import OwnSound
from coach.playing.ports.port_choice import choose, counterpart, name_ports

__all__ = ["Ports", "PortsUnavailable"]


class Ports:
    """The machine's MIDI ports.

    Thread-safe: no; use it from one thread. Events are posted from another, the MIDI thread.

    Raises PortsUnavailable, with a sentence for the pianist, where there is no MIDI at all.
    """

    def __init__(self, api: str | None = None, *, driver: Driver | None = None) -> None:
        self._driver: Driver = driver or RtMidiDriver(api)
        self._listener: Listener | None = None
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()
        self._watch: Watch | None = None
        self.own = OwnSound()
        """What we send; whoever sends says it there, so that it is not taken for the player's."""

    def names_in(self) -> tuple[str, ...]:
        """Ports that can be listened to, as shown to people."""
        return name_ports(self._driver.names_in())

    def names_out(self) -> tuple[str, ...]:
        """Ports that can be sent to, as shown to people."""
        return name_ports(self._driver.names_out())

    @property
    def trouble(self) -> str:
        """A sentence that says what to do where the MIDI system is not there; else ""."""
        return self._driver.trouble()

    @property
    def piano(self) -> str | None:
        """The piano that is heard now, or None. Thread-safe: yes."""
        return self._listener.name if self._listener else None

    def listen(self, wanted: str | None, post: Post, before: str | None = None) -> None:
        """Listen from now on, and for as long as it takes, to the best port.

        ``wanted`` is a port's name or part of it; without it the one that was heard ``before``, in
        another evening, where it is there, else the likeliest port is taken. ``post`` gets every
        event, on the MIDI thread: it must only hand them on. ``PianoFound`` comes whenever the
        piano is there (also at the start), ``PianoLost`` within a second of its going.
        """
        self._end_listening()
        # Python leaves a thread that computes alone for 5 ms; the port is to be read sooner.
        sys.setswitchinterval(min(sys.getswitchinterval(), POLL_S))
        self._listener = Listener(self._driver, wanted, post, own=self.own, before=before)
        self._listener.watch = self._watch
        self._stop.clear()
        self._thread = threading.Thread(
            target=self._run, args=(self._listener,), name="keyhole-midi", daemon=True
        )
        self._thread.start()

    def watch(self, watch: Watch | None) -> None:
        """Have every message that arrives seen, on the MIDI thread; None: no more."""
        self._watch = watch
        if self._listener:
            self._listener.watch = watch

    @property
    def api(self) -> str:
        """The MIDI system's name, by which another process finds the same one."""
        return self._driver.api

    def name_out(self, wanted: str | None = None) -> str | None:
        """The port to sound through: by part of its name, else the piano's own.

        None where the piano takes nothing, or there is none.
        """
        names = self._driver.names_out()
        piano = self._listener and self._listener.port_name
        return choose(names, wanted) if wanted else (piano and counterpart(names, piano)) or None

    def close(self) -> None:
        """Stop listening and let go of every port; nothing is posted any more."""
        self._end_listening()
        self._driver.close()

    def _end_listening(self) -> None:
        self._stop.set()
        if self._thread:
            self._thread.join()
        self._thread = self._listener = None

    def _run(self, listener: Listener) -> None:
        """Listen until it is enough. What should not happen is said: nobody plays unheard."""
        try:
            while not self._stop.is_set():
                time.sleep(listener.step())
        except Exception:  # whatever it is
            os.write(2, traceback.format_exc().encode())
            listener.give_up()
        finally:
            listener.close()
