"""Starting a Python of our own beside us, and ending it: the one place where that is done.

A pianist starts Keyhole from the folder of the scores, and Python would look for modules there
first: a file ``rtmidi.py`` among them, or one from whoever sent the scores, would be run. So no
child looks into the folder that one happens to be in.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import IO

HOME = str(Path(__file__).resolve().parents[1])
"""The folder that the package is in: a child finds it too, however we were found."""


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


def _module_path() -> str:
    """Where a child looks for modules besides the installation.

    ``-P`` leaves PYTHONPATH alone, in which an empty or relative place is the folder at hand.
    """
    given = os.environ.get("PYTHONPATH", "").split(os.pathsep)
    return os.pathsep.join([HOME, *(place for place in given if os.path.isabs(place))])
