"""The locks name what pyproject.toml asks for, in versions that it allows, each with its hashes."""

from __future__ import annotations

import re
from importlib.metadata import PackageNotFoundError, distribution

import pytest
from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from scripts import lock

KINDS = ["start", "test"]


def text_of(what: str) -> str:
    return (lock.FOLDER / f"{what}.txt").read_text(encoding="utf-8")


def locked(what: str) -> dict[str, list[Requirement]]:
    """Each package's lines: one, or several with markers."""
    lines: dict[str, list[Requirement]] = {}
    for line in re.findall(r"^([a-z].*?) \\$", text_of(what), re.MULTILINE):
        one = Requirement(line)
        lines.setdefault(canonicalize_name(one.name), []).append(one)
    return lines


def version(one: Requirement) -> str:
    [pin] = one.specifier
    assert pin.operator == "=="
    return pin.version


@pytest.mark.parametrize("what", KINDS)
def test_the_lock_was_made_from_these_requirements(what: str) -> None:
    made_from = lock.digest(lock.requirements(what))
    assert f"# Requirements: {made_from}\n" in text_of(what), 'stale: run "python -m scripts.lock"'


@pytest.mark.parametrize("what", KINDS)
def test_every_version_is_one_that_is_asked_for(what: str) -> None:
    lines = locked(what)
    for asked in map(Requirement, lock.requirements(what)):
        pins = lines[canonicalize_name(asked.name)]
        assert all(asked.specifier.contains(version(pin)) for pin in pins), asked


@pytest.mark.parametrize("what", KINDS)
def test_every_package_has_its_hashes(what: str) -> None:
    blocks = re.split(r"\n(?=[a-z])", text_of(what))[1:]
    assert len(blocks) == sum(map(len, locked(what).values()))
    for block in blocks:
        assert re.search(r"--hash=sha256:[0-9a-f]{64}\b", block), block


@pytest.mark.parametrize("what", KINDS)
def test_what_a_package_needs_is_locked_too(what: str) -> None:
    """As far as the packages are installed here, and for this system."""
    lines = locked(what)
    here = {name: str(value) for name, value in default_environment().items()} | {"extra": ""}
    for name in lines:
        try:
            needed = map(Requirement, distribution(name).requires or ())
        except PackageNotFoundError:  # for another system
            continue
        for one in needed:
            if one.marker is None or one.marker.evaluate(here):
                assert canonicalize_name(one.name) in lines, f"{name} needs {one}"


def test_a_start_after_the_tests_changes_no_version() -> None:
    tests = locked("test")
    for name, lines in locked("start").items():
        assert set(map(version, lines)) <= set(map(version, tests[name]))
