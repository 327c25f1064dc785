"""What start.py and test.py share: a virtual environment beside the project, made when needed.

Everything goes into ``.venv``; nothing outside the project's folder is changed. pip installs the
packages that ``locks`` names, and nothing whose hash is not in there. A stamp in ``.venv`` says
what was installed from which lock, so that later starts need no network and no wait. Only Python's
own library is used, since nothing else is there yet.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

PROJECT = Path(__file__).resolve().parent.parent
HOME = PROJECT / ".venv"
STAMP = HOME / "keyhole.json"
LOG = HOME / "set-up.log"
LOCKS = PROJECT / "locks"
PYTHON = HOME / ("Scripts/python.exe" if os.name == "nt" else "bin/python")

_NO_NETWORK = (
    "Could not fetch URL",
    "Failed to establish a new connection",
    "Failed to resolve",
    "Network is unreachable",
    "No route to host",
    "Temporary failure in name resolution",
    "connection broken",
    "timed out",
)
"""What pip writes where the package index can't be reached (seen with pip 23 to 26)."""
_OTHER_HASH = "DO NOT MATCH THE HASHES"
_NOT_COMPILED = ("metadata-generation-failed", "Failed building wheel", "failed-wheel-build")
"""What pip writes where a package that comes as source can't be compiled."""


def hand_over(arguments: Sequence[str]) -> NoReturn:
    """Prepare, then become the environment's Python with these arguments."""
    prepare()
    if os.name == "nt":  # there exec returns to the prompt at once, with two readers of the keys
        sys.exit(run(arguments))
    os.execv(PYTHON, [str(PYTHON), *arguments])


def run(arguments: Sequence[str], cwd: Path | None = None) -> int:
    """Run the environment's Python with these arguments; its exit status."""
    try:
        return subprocess.run([str(PYTHON), *arguments], cwd=cwd, check=False).returncode
    except KeyboardInterrupt:
        return 130


def prepare(*extras: str) -> None:
    """Make the environment, or bring it up to date; a sentence and an exit where that fails."""
    done = _read_stamp()
    wanted = _stamp({*done.get("extras", ()), *extras})
    if done == wanted and PYTHON.exists():
        return
    if not all(map(importlib.util.find_spec, ("ensurepip", "venv"))):
        sys.exit(
            "Python's venv module is missing; on Debian or Ubuntu, install it with "
            "'sudo apt install python3-venv' and try again."
        )
    print("Setting Keyhole up in .venv; this needs the network, and happens once.", flush=True)
    try:
        _make()
        _install(wanted["extras"])
        STAMP.write_text(json.dumps(_stamp(wanted["extras"])), encoding="utf-8")
    except KeyboardInterrupt:
        sys.exit("The set-up was stopped; run the same command again to go on.")
    except (OSError, subprocess.CalledProcessError) as error:
        sys.exit(f"Keyhole could not make its environment in {HOME}: {error}")
    print("Done.", flush=True)


def _stamp(extras: set[str] | list[str]) -> dict[str, list[str]]:
    """What an environment has to match: its Python, the project's place and its requirements."""
    requirements = [PROJECT / "pyproject.toml", _lock(extras)]
    return {
        "python": [os.path.realpath(PYTHON), *map(str, _made_with())],
        "project": [
            str(PROJECT), *(hashlib.sha256(one.read_bytes()).hexdigest() for one in requirements)
        ],
        "extras": sorted(extras),
    }  # fmt: skip


def _lock(extras: set[str] | list[str]) -> Path:
    """The packages to install, with their hashes."""
    return LOCKS / ("test.txt" if "test" in extras else "start.txt")


def _made_with() -> list[str]:
    """The lines of the environment's own note on its Python; none where there is no such note."""
    try:
        return (HOME / "pyvenv.cfg").read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return []


def _read_stamp() -> dict[str, list[str]]:
    """The stamp of the last complete set-up; empty where there is none."""
    try:
        stamp = json.loads(STAMP.read_text(encoding="utf-8"))
        return stamp if isinstance(stamp.get("extras"), list) else {}
    except (OSError, ValueError, AttributeError):
        return {}


def _make() -> None:
    """An environment of this Python, anew where the one that is there no longer runs."""
    with contextlib.suppress(OSError):
        STAMP.unlink()
    if _runs():
        return
    if HOME.is_symlink() or HOME.is_file():
        HOME.unlink()
    elif HOME.exists():
        shutil.rmtree(HOME)
    import venv  # missing from some systems' Python, which prepare() has said by now

    venv.EnvBuilder(with_pip=True, symlinks=os.name != "nt").create(HOME)


def _runs() -> bool:
    """Whether the environment has a Python that is new enough, and a pip."""
    check = "import pip, sys; sys.exit(sys.version_info < (3, 11))"
    try:
        done = subprocess.run([str(PYTHON), "-c", check], capture_output=True, check=False)
    except OSError:
        return False
    return done.returncode == 0


def _install(extras: list[str]) -> None:
    """Install what the lock names, then the project where it lies, which needs no network."""
    command = [str(PYTHON), "-m", "pip", "install", "--disable-pip-version-check", "--no-input"]
    packages = ["--retries=2", "--require-hashes", "--requirement", str(_lock(extras))]
    project = ["--no-deps", "--no-build-isolation", "--editable", str(PROJECT)]
    with LOG.open("w", encoding="utf-8") as log:
        for what in (packages, project):
            done = subprocess.run([*command, *what], stdout=log, stderr=log, check=False)
            if done.returncode:
                break
    if done.returncode:
        sys.exit(_why_not(LOG.read_text(encoding="utf-8", errors="replace")))


def _why_not(log: str) -> str:
    """The reason why pip failed, in one sentence."""
    said = f"(what pip said is in {LOG})"
    if any(sign in log for sign in _NO_NETWORK):
        return (
            "Keyhole could not fetch its packages: connect this computer to the internet for the "
            f"first start and try again {said}."
        )
    if _OTHER_HASH in log:
        return (
            "Nothing was installed, since a package that came over the network is not the one that "
            f"Keyhole was tested with: try again later, or on another network {said}."
        )
    if any(sign in log for sign in _NOT_COMPILED):
        return (
            "A package has to be compiled for this Python, and that failed: start Keyhole with "
            "Python 3.11 or 3.12, or install a C++ compiler (on Debian or Ubuntu 'sudo apt install "
            f"g++ pkg-config python3-dev libasound2-dev') and try again {said}."
        )
    errors = [line for line in log.splitlines() if line.startswith("ERROR:")]
    last = errors[-1].removeprefix("ERROR:").strip() if errors else "pip failed"
    return f"Keyhole could not install its packages: {last} {said}."
