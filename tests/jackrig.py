"""Real MIDI ports for tests: a JACK server with a dummy driver, and a pianist beside it.

On a machine without JACK the tests that need it skip and say what to install; with
KEYHOLE_REQUIRE_REAL=1 (as CI sets it) they fail instead, so that nothing is skipped unseen.
"""

from __future__ import annotations

import ctypes
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest

from coach.playing.notes import PlayedNote
from coach.playing.ports import driver

PIANIST = Path(__file__).parent.parent / "scripts" / "play_midi.py"
PIANO = "Digital Piano"
INSTALL = "needs JACK: apt-get install -y --no-install-recommends jackd2"
HANG_S = 30.0
"""Only what hangs takes so long, however busy the machine."""
NEW_MOUNTS = 0x00020000
"""``CLONE_NEWNS`` of unshare(2)."""


def missing(why: str) -> None:
    """Skip for want of a real part, or fail where real parts are demanded."""
    if os.environ.get("KEYHOLE_REQUIRE_REAL"):
        pytest.fail(why)
    pytest.skip(why)


def wait_for(true: Callable[[], object], within_s: float = HANG_S) -> None:
    """Wait until something is so. Fails the test where it never is."""
    start_s = time.perf_counter()
    while not true():
        if time.perf_counter() - start_s > within_s:
            pytest.fail(f"did not come about within {within_s} s")
        time.sleep(0.005)


def take_own_shared_memory() -> None:
    """Give this process a /dev/shm of its own, and with it all that it starts from now on.

    JACK keeps a list of all servers and clients there, which has room for eight servers and which
    clients that die leave things in: test runs beside each other must not meet in it. Where the
    system does not permit that, the server's name alone keeps them apart.
    """
    if sys.platform == "linux" and ctypes.CDLL(None).unshare(NEW_MOUNTS) == 0:
        for command in ("mount --make-rprivate /", "mount -t tmpfs -o size=128m tmpfs /dev/shm"):
            subprocess.run(command.split(), capture_output=True, check=False)


class JackServer:
    """A jackd of our own, under its own name; the environment names it for all clients."""

    def __init__(self, log: Path, name: str = "test") -> None:
        self.name = f"keyhole_{name}_{os.getpid()}"
        self._log = log
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def socket(self) -> Path:
        return Path(f"/dev/shm/jack_{self.name}_{os.getuid()}_0")

    def start(self) -> None:
        command = f"jackd -R -S --port-max 128 -n {self.name} -d dummy -r 48000 -p 64"
        with self._log.open("wb") as log:
            self._process = subprocess.Popen(
                command.split(), stdin=subprocess.DEVNULL, stdout=log, stderr=log
            )
        while not self.socket.exists():
            if self._process.poll() is not None:
                missing(f"JACK did not start: {self._log.read_text(errors='replace')[-300:]}")
            time.sleep(0.01)

    def hang(self, hangs: bool) -> None:
        """Stand still, or go on."""
        assert self._process
        self._process.send_signal(signal.SIGSTOP if hangs else signal.SIGCONT)

    def stop(self) -> None:
        if self._process:
            self._process.terminate()
            self._process.wait(10)
        for left in Path("/dev/shm").glob(f"jack*_{self.name}_*"):
            left.unlink(missing_ok=True)


class Pianist:
    """A second process at a piano of its own; see scripts/play_midi.py."""

    def __init__(self, name: str = PIANO) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(PIANIST), f"--name={name}", "--api", "jack"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self._answer() == "ready"

    def play(self, notes: Iterable[PlayedNote]) -> list[float]:
        """Play the notes from their first onset on; when each was struck (perf_counter)."""
        notes = list(notes)
        first_s = min(note.onset_s for note in notes)
        struck_s: list[float] = self._ask(
            play=[[n.pitch, n.onset_s - first_s, n.length_s or 0.1, n.velocity] for n in notes]
        )
        return struck_s

    def send(self, *message: int) -> float:
        """Send bytes as they are; the time just before."""
        before_s: float = self._ask(send=message)
        return before_s

    def unplug(self) -> None:
        self._ask(unplug=True)

    def plug(self) -> None:
        self._ask(plug=True)

    def die(self) -> None:
        """Vanish without a goodbye, as a piano whose cable is torn out."""
        self._process.kill()
        self._reap()

    def close(self) -> None:
        if self._process.poll() is None:
            assert self._process.stdin
            self._process.stdin.close()
        self._reap()

    def _ask(self, **order: object) -> Any:
        assert self._process.stdin
        self._process.stdin.write(json.dumps(order) + "\n")
        self._process.stdin.flush()
        return self._answer()

    def _answer(self) -> Any:
        assert self._process.stdout
        return json.loads(self._process.stdout.readline())

    def _reap(self) -> None:
        self._process.wait(10)
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe:
                pipe.close()


@pytest.fixture(scope="session")
def jack_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[JackServer]:
    """A JACK server for the whole run; KEYHOLE_MIDI_API and JACK's own variables point to it.

    It counts as alive however long a busy machine makes it wait.
    """
    if not shutil.which("jackd"):
        missing(INSTALL)
    take_own_shared_memory()
    server = JackServer(tmp_path_factory.mktemp("jack") / "jackd.log")
    patch = pytest.MonkeyPatch()
    patch.setenv("JACK_DEFAULT_SERVER", server.name)
    patch.setenv("JACK_NO_START_SERVER", "1")
    patch.setenv("KEYHOLE_MIDI_API", "jack")
    for patience in ("LOST_S", "AT_ONCE_S"):
        patch.setattr(driver, patience, HANG_S / 3)
    server.start()
    try:
        yield server
    finally:
        server.stop()
        patch.undo()


@pytest.fixture
def pianist(jack_server: JackServer) -> Iterator[Pianist]:
    """A piano that is switched on, and someone to play it."""
    player = Pianist()
    try:
        yield player
    finally:
        player.close()
