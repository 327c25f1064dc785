"""Keyhole as a package: what somebody has who installed it without its folder."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import coach
from coach.cli import main
from coach.cli.score_library import samples, samples_folder

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel of this project, unpacked as pip does it."""
    folder = tmp_path_factory.mktemp("installed")
    command = [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory"]
    subprocess.run([*command, str(folder)], cwd=ROOT, capture_output=True, check=True)
    [wheel] = folder.glob("*.whl")
    zipfile.ZipFile(wheel).extractall(folder)
    return folder


def run(installed: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Python in another folder, with that package before this project's own folder."""
    return subprocess.run(
        [sys.executable, "-P", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=installed,
        env={**os.environ, "PYTHONPATH": str(installed)},
        check=False,
    )


def test_an_installed_keyhole_brings_the_sample_scores_along(installed: Path) -> None:
    ask = "from coach.cli.score_library import demo_score, samples; "
    done = run(installed, "-c", ask + "print(len(samples()), demo_score())")
    count, demo = done.stdout.strip().split(" ", 1)
    assert int(count) == len(samples())
    assert Path(demo) == installed / "coach/samples/2-the-ferry-bell.musicxml"


def test_an_installed_keyhole_reads_its_own_sample(installed: Path) -> None:
    sample = str(installed / "coach/samples/1-low-tide.musicxml")
    done = run(installed, "-m", "coach", "score", sample, "--data", str(installed / "data"))
    assert (done.returncode, done.stderr) == (0, "")
    assert "Low Tide" in done.stdout


def test_the_licence_is_in_the_package(installed: Path) -> None:
    [facts] = installed.glob("keyhole-*.dist-info")
    assert (facts / "licenses/LICENSE").read_bytes() == (ROOT / "LICENSE").read_bytes()
    assert "License-Expression: MIT\n" in (facts / "METADATA").read_text(encoding="utf-8")


def test_in_the_projects_own_folder_the_samples_lie_at_its_top() -> None:
    assert samples_folder() == ROOT / "sample_scores"


def test_the_version_can_be_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"Keyhole {coach.__version__}\n"
