"""The direction of imports, twice: as contracts, and by importing the core and looking."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
COACH = ROOT / "coach"
CORE = [
    *COACH.glob("coaching/**/*.py"),
    *COACH.glob("judging/**/*.py"),
    *COACH.glob("playing/simulated/*.py"),
    *COACH.glob("drill*.py"),
    COACH / "playing/notes.py",
    *(COACH / f"score/{name}.py" for name in ("build", "metre", "model", "pitch", "window")),
    COACH / "score/counting.py",
]
OUTSIDE = {
    "asyncio", "mido", "multiprocessing", "music21", "platformdirs", "rich", "rtmidi", "socket",
    "sqlite3", "subprocess", "textual", "threading",
}  # fmt: skip
PURE = {
    "__future__", "bisect", "collections", "dataclasses", "enum", "fractions", "functools",
    "heapq", "itertools", "math", "operator", "random", "re", "statistics", "types", "typing",
}  # fmt: skip
"""What the core may use: arithmetic and data, nothing that knows a clock, a file or a thread."""


def dotted(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def in_a_fresh_python(code: str, *flags: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *flags, "-c", code], capture_output=True, text=True, cwd=ROOT, check=False
    )


def test_the_rooms_look_one_way() -> None:
    """The contracts in pyproject.toml, kept by import-linter."""
    done = in_a_fresh_python(
        "from importlinter.cli import lint_imports; raise SystemExit(lint_imports(no_cache=True))"
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_every_folder_below_a_room_is_entered_by_its_door() -> None:
    config = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = config["tool"]["importlinter"]["contracts"]
    guarded = {
        (one["protected_modules"][0].removesuffix(".*"), *one["allowed_importers"])
        for one in contracts
        if one["type"] == "protected"
    }
    rooms = {COACH, *(COACH / name for name in ("coaching", "judging", "playing", "score"))}
    rooms |= {COACH / name for name in ("cli", "cli/commands", "record", "screens")}
    folders = {path.parent for path in COACH.rglob("__init__.py")} - rooms
    assert guarded == {(dotted(folder / "__init__.py"),) * 2 for folder in folders}


def test_importing_the_core_brings_in_nothing_from_outside() -> None:
    names = sorted(map(dotted, CORE))
    # -I -S: without site, so that what an installation's .pth files import is not ours.
    done = in_a_fresh_python(
        f"import sys; sys.path.insert(0, {str(ROOT)!r})\n"
        f"import importlib, json\n"
        f"[importlib.import_module(name) for name in {names!r}]\n"
        f"print(json.dumps(sorted(sys.modules)))",
        "-I",
        "-S",
    )
    assert done.returncode == 0, done.stderr
    brought = {name.split(".")[0] for name in json.loads(done.stdout)}
    assert not brought & OUTSIDE
    assert set(names) <= set(json.loads(done.stdout))


@pytest.mark.parametrize("path", CORE, ids=dotted)
def test_the_core_uses_arithmetic_and_data_alone(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert set(imported(tree)) <= PURE | {"coach"}
    calls = {
        node.func.id
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert not calls & {"print", "open", "input", "exec", "eval", "__import__"}


@pytest.mark.parametrize("path", CORE, ids=dotted)
def test_the_core_draws_no_random_number_without_a_seed(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            assert node.value.id != "random" or node.attr == "Random"
        if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("Random"):
            assert node.args, "Random() without a seed"


def imported(tree: ast.AST) -> Iterator[str]:
    """The first part of every module that is imported, at the top or inside a function."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield (node.module or "").split(".")[0]


@pytest.mark.parametrize(
    ("library", "doors"),
    {
        "textual": ["coach.screens"],
        "rich": ["coach.screens"],
        "rtmidi": ["coach.playing"],
        "mido": ["coach.playing", "coach.score.reading"],
        "music21": ["coach.score.reading"],
        "sqlite3": ["coach.record"],
    }.items(),
)
def test_each_library_has_one_door(library: str, doors: list[str]) -> None:
    users = {
        dotted(path)
        for path in COACH.rglob("*.py")
        if library in imported(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert all(any(user.startswith(door) for door in doors) for user in users), users
