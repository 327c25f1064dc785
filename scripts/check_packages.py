"""Builds the wheel and the source archive, and installs them into empty environments.

    python -m scripts.check_packages                  # every Python that is found and supported
    python -m scripts.check_packages --python /usr/bin/python3.12

For each Python: a new environment, the packages of ``locks/start.txt`` (pip checks their hashes),
the wheel without the network, then from another folder ``coach --version``, ``coach demo --help``,
``coach score`` of a sample that the wheel brings, and what pip says of the whole. In the first of
them the source archive is installed after it, in its own environment, and tried the same way. The
wheel that comes from the source archive has to be the wheel that comes from the folder. Needs
hatchling, which ``locks/test.txt`` names.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
import time
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path

PROJECT = Path(__file__).parents[1]
LOCK = PROJECT / "locks/start.txt"
NEWEST_TRIED = 30
"""Minor versions of Python 3 that are looked for, from 3.11 on: far above any there is."""
SAMPLE = "2-the-ferry-bell.musicxml"
TITLE = "The Ferry Bell"


class CheckFailed(Exception):
    """A package does not do what it has to; the message says which and what."""


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument(
        "--python", action="append", type=Path, help="only this one; may be given again"
    )
    pythons = parser.parse_args().python or list(pythons_here())
    passed = failed = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        try:
            wheel, archive = build(folder)
        except CheckFailed as error:
            print(error)
            print("packages: 0 passed, 1 failed")
            return 1
        print(f"{wheel.name} and {archive.name}: the same content", flush=True)
        for number, python in enumerate(pythons):
            for package in (wheel, archive) if number == 0 else (wheel,):
                try:
                    check(python, package, folder)
                    passed += 1
                except CheckFailed as error:
                    print(error, flush=True)
                    failed += 1
    print(f"packages: {passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


def pythons_here() -> Iterator[Path]:
    """One of each supported Python that this machine has: this one, on the path, or of pyenv."""
    seen = set()
    for minor in range(11, NEWEST_TRIED):
        name = f"python3.{minor}"
        places = [sys.executable] if sys.version_info[:2] == (3, minor) else []
        places += filter(None, [shutil.which(name), f"/usr/bin/{name}"])
        root = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv"))
        places += map(str, sorted(root.glob(f"versions/3.{minor}.*/bin/{name}"), reverse=True))
        for place in places:
            if minor not in seen and _version(place) == (3, minor):
                seen.add(minor)
                yield Path(place)


def _version(python: str) -> tuple[int, ...] | None:
    """What a Python says it is; None where it can't make environments, or doesn't run."""
    ask = "import ensurepip, sys, venv; print(*sys.version_info[:2])"
    try:
        said = subprocess.run([python, "-c", ask], capture_output=True, text=True, check=False)
    except OSError:
        return None
    return tuple(map(int, said.stdout.split())) if said.returncode == 0 else None


def build(folder: Path) -> tuple[Path, Path]:
    """The wheel and the source archive of this folder."""
    wheel = _built("wheel", PROJECT, folder / "wheel")
    archive = _built("sdist", PROJECT, folder / "archive")
    with tarfile.open(archive) as packed:
        packed.extractall(folder / "unpacked", filter="data")
    [unpacked] = (folder / "unpacked").iterdir()
    again = _built("wheel", unpacked, folder / "again")
    if (here := _content(wheel)) != (there := _content(again)):
        differ = sorted(set(here.items()) ^ set(there.items()))
        raise CheckFailed(f"The source archive makes another wheel: {differ}")
    return wheel, archive


def _built(what: str, source: Path, into: Path) -> Path:
    run([sys.executable, "-m", "hatchling", "build", "--target", what, "--directory", into], source)
    [made] = into.iterdir()
    return made


def _content(wheel: Path) -> dict[str, int]:
    """The wheel's files with their checksums."""
    with zipfile.ZipFile(wheel) as packed:
        return {one.filename: one.CRC for one in packed.infolist()}


def check(python: Path, package: Path, folder: Path) -> None:
    """Install a package into an empty environment and try it from another folder."""
    begun = time.monotonic()
    home, elsewhere = folder / "environment", folder / "elsewhere"
    shutil.rmtree(home, ignore_errors=True)
    elsewhere.mkdir(exist_ok=True)
    run([python, "-m", "venv", home], elsewhere)
    scripts = home / ("Scripts" if os.name == "nt" else "bin")
    inside, coach = scripts / "python", scripts / "coach"
    pip: list[str | Path] = [inside, "-m", "pip", "--disable-pip-version-check", "--no-input"]
    run([*pip, "install", "--quiet", "--require-hashes", "--requirement", LOCK], elsewhere)
    alone = ["--no-index", "--no-deps", "--no-build-isolation"]
    run([*pip, "install", "--quiet", *alone, package], elsewhere)
    run([*pip, "check"], elsewhere)
    version = run([coach, "--version"], elsewhere)
    run([coach, "demo", "--help"], elsewhere)
    where = "import coach.cli.score_library as home; print(home.samples_folder())"
    samples = Path(run([inside, "-c", where], elsewhere).strip())
    if not samples.is_relative_to(home):
        raise CheckFailed(f"{package.name}: the samples are not in it, but in {samples}")
    told = run([coach, "score", samples / SAMPLE, "--data", folder / "data"], elsewhere)
    if TITLE not in told:
        raise CheckFailed(f"{package.name}: coach score doesn't say the title: {told}")
    seconds = time.monotonic() - begun
    which = ".".join(map(str, _version(str(inside)) or ()))
    print(f"{package.name} with Python {which}: {version.strip()}, {seconds:.0f} s", flush=True)


def run(command: Sequence[str | Path], where: Path) -> str:
    """What a command prints; CheckFailed with all of it where it fails."""
    bare = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    words = [str(word) for word in command]
    done = subprocess.run(
        words,
        cwd=where,
        env=bare,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        errors="replace",
        check=False,
    )
    if done.returncode:
        raise CheckFailed(f"{' '.join(words)} ended with {done.returncode}: {done.stdout}")
    return done.stdout


if __name__ == "__main__":
    sys.exit(main())
