"""Starting a Python of our own beside us, and ending it: the one place where that is done.

A pianist starts Keyhole from the folder of the scores, and Python would look for modules there
first: a file ``rtmidi.py`` among them, or one from whoever sent the scores, would be run. So no
child looks into the folder that one happens to be in.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from math import inf
from pathlib import Path
from threading import Timer
from typing import IO, TypeVar

HOME = str(Path(__file__).resolve().parents[1])
"""The folder that the package is in: a child finds it too, however we were found."""
_Answer = TypeVar("_Answer")


def start_python(
    arguments: Sequence[str],
    *,
    stdin: int | IO[bytes] = subprocess.DEVNULL,
    stdout: int | IO[bytes] = subprocess.DEVNULL,
    environment: Mapping[str, str] | None = None,
    buffered: bool = True,
    own_session: bool = False,
) -> subprocess.Popen[bytes]:
    """Start this Python again; its errors go nowhere, for the screen is drawn there.

    ``environment`` is added to ours. Raises OSError where there is no room for another process.
    """
    return subprocess.Popen(
        [sys.executable, "-P", *arguments],
        stdin=stdin,
        stdout=stdout,
        stderr=subprocess.DEVNULL,
        env={**os.environ, **(environment or {}), "PYTHONPATH": _module_path()},
        bufsize=-1 if buffered else 0,
        start_new_session=own_session,
        creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
    )


def end_python(child: subprocess.Popen[bytes]) -> None:
    """End a child now, whatever it is at; harmless where it has ended."""
    child.kill()
    child.wait()
    for pipe in (child.stdin, child.stdout):
        with suppress(OSError):  # what was written to it and never read
            if pipe:
                pipe.close()


class AnsweringChild:
    """A child that is asked and answers; begun anew where it has gone.

    ``start``, ``ask`` and ``end`` belong to one thread and may wait; ``give_up`` is for another.
    """

    def __init__(
        self, program: Sequence[str], *, greeting: bytes = b"", patience_s: float = inf
    ) -> None:
        """``greeting``: what each new child is told first. ``patience_s``: a child that takes
        longer over one answer hangs, and is ended."""
        self._program, self._greeting, self._patience_s = program, greeting, patience_s
        self.process: subprocess.Popen[bytes] | None = None
        self.is_given_up = False

    def start(self) -> None:
        """Have it ready. Raises OSError where there is no room for another process."""
        if self.process and self.process.poll() is not None:
            self.end()
        if self.process is None and not self.is_given_up:
            pipe = subprocess.PIPE
            self.process = start_python(self._program, stdin=pipe, stdout=pipe, own_session=True)
            assert self.process.stdin
            self.process.stdin.write(self._greeting)
        if self.is_given_up:  # meanwhile, by whoever saw no process to end
            self.end()

    def ask(self, exchange: Callable[[IO[bytes], IO[bytes]], _Answer | None]) -> _Answer | None:
        """What ``exchange`` makes of it, given the pipe to the child and the one from it.

        None where the child died of it, hung, answered nonsense (ValueError), or was given up;
        then it is ended.
        """
        patience: Timer | None = None
        answer = None
        with suppress(OSError, ValueError):
            self.start()
            if child := self.process:
                assert child.stdin
                assert child.stdout
                if self._patience_s < inf:
                    patience = Timer(self._patience_s, child.kill)
                    patience.daemon = True
                    patience.start()
                answer = exchange(child.stdin, child.stdout)
        if patience:
            patience.cancel()
        if answer is None:
            self.end()
        return answer

    def give_up(self) -> None:
        """End what is in hand, so that whoever waits for it goes on; nothing is begun any more."""
        self.is_given_up = True
        if child := self.process:
            child.kill()

    def end(self) -> None:
        """Let go of the process."""
        child, self.process = self.process, None
        if child:
            end_python(child)


def _module_path() -> str:
    """Where a child looks for modules besides the installation.

    ``-P`` leaves PYTHONPATH alone, in which an empty or relative place is the folder at hand.
    """
    given = os.environ.get("PYTHONPATH", "").split(os.pathsep)
    return os.pathsep.join([HOME, *(place for place in given if os.path.isabs(place))])
