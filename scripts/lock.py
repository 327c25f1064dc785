"""Locks what set-up installs: every package with its version and the hashes of its files.

    python -m scripts.lock              # after pyproject.toml has changed: the rest stays as it was
    python -m scripts.lock --upgrade    # the newest versions that pyproject.toml allows

``locks/start.txt`` is what Keyhole runs with, ``locks/test.txt`` what its tests need besides; both
hold for every system and every Python that pyproject.toml claims. pip installs nothing whose hash
is not in them. The resolver is uv, fetched into a folder of its own and thrown away afterwards.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).parents[1]
FOLDER = PROJECT / "locks"
OLDEST_PYTHON = "3.11"
RESOLVER = "uv>=0.9,<1"
DAYS_OLD = 7
"""How long a release has to be out before it is locked. Own choice, because one that somebody has
tampered with is mostly found, and withdrawn, within days."""

_HEAD = """\
# Made by "python -m scripts.lock" from pyproject.toml; don't edit it, run that again.
# Requirements: {digest}
"""


def requirements(what: str) -> list[str]:
    """What pyproject.toml asks for, to start Keyhole ("start") or to test it ("test").

    What builds the project is among it: set-up installs it from its folder without the network. So
    is what engraves pictures and what sounds through the speaker: nobody should have to ask.
    """
    facts: dict[str, Any] = tomllib.loads((PROJECT / "pyproject.toml").read_text("utf-8"))
    project = facts["project"]
    more = project["optional-dependencies"]
    extras = ["pictures", "speaker", *(["test"] if what == "test" else [])]
    asked = [*project["dependencies"], *facts["build-system"]["requires"]]
    return sorted([*asked, *(one for extra in extras for one in more[extra])])


def digest(asked: list[str]) -> str:
    """Short, and different for other requirements."""
    return hashlib.sha256("\n".join(asked).encode()).hexdigest()[:16]


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--upgrade", action="store_true", help="take the newest versions")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        fetched = Path(folder) / "resolver"
        pip = [sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
        subprocess.run([*pip, "--target", str(fetched), RESOLVER], check=True)
        for what in ("test", "start"):  # the second keeps to the versions of the first
            _lock(what, Path(folder), fetched, upgrade=args.upgrade)
    return 0


def _lock(what: str, folder: Path, fetched: Path, *, upgrade: bool) -> None:
    asked = requirements(what)
    source, made, kept = folder / "pyproject.in", folder / f"{what}.txt", FOLDER / f"{what}.txt"
    source.write_text("\n".join(asked) + "\n", encoding="utf-8")
    if kept.exists() and not upgrade:
        shutil.copy(kept, made)  # the resolver keeps the versions that it finds there
    newest = time.strftime("%Y-%m-%dT00:00:00Z", time.gmtime(time.time() - DAYS_OLD * 86400))
    command = [sys.executable, "-m", "uv", "pip", "compile", "--quiet", "--no-config"]
    command += ["--universal", "--python-version", OLDEST_PYTHON, "--generate-hashes"]
    command += ["--no-header", "--exclude-newer", newest, "--output-file", made.name, source.name]
    if what == "start":
        command += ["--constraint", "test.txt"]
    surroundings = {**os.environ, "PYTHONPATH": str(fetched)}
    subprocess.run(command, cwd=folder, env=surroundings, check=True)
    text = made.read_text("utf-8").replace("-r pyproject.in", "pyproject.toml")
    text = text.replace("-c test.txt", "test.txt")
    FOLDER.mkdir(exist_ok=True)
    kept.write_text(_HEAD.format(digest=digest(asked)) + text, encoding="utf-8")
    pins = sum(" --hash" not in line and "==" in line for line in text.splitlines())
    print(f"{kept.relative_to(PROJECT)}: {pins} packages")


if __name__ == "__main__":
    sys.exit(main())
