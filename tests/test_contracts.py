"""The direction of imports, twice: as contracts, and by importing the core and looking."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
import tomllib
import zipfile
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import mido
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
    "__future__", "bisect", "collections", "copy", "dataclasses", "enum", "fractions", "functools",
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


def test_no_constant_is_given_a_second_value_further_down() -> None:
    """Whatever stands between the two would quietly take the second."""
    twice = []
    for path in sorted(COACH.rglob("*.py")):
        body = ast.parse(path.read_bytes()).body
        targets = [
            *(target for one in body if isinstance(one, ast.Assign) for target in one.targets),
            *(one.target for one in body if isinstance(one, ast.AnnAssign)),
        ]
        names = Counter(
            name.id
            for target in targets
            for name in ast.walk(target)
            if isinstance(name, ast.Name) and name.id.isupper()
        )
        twice += [f"{dotted(path)}: {name}" for name, count in names.items() if count > 1]
    assert twice == []


HEAVY = {"music21", "numpy", "matplotlib"}
"""What music21 brings along: most of an installation's disk, and a third of a second to start."""

READ = f"""
import json, sys
from pathlib import Path
import coach.__main__, coach.cli
from coach.score.formats import ScoreError
from coach.score.reading import read_score
for name in sys.argv[1:]:
    try:
        read_score(Path(name))
    except ScoreError as error:
        print(error, file=sys.stderr)
print(json.dumps(sorted({HEAVY!r} & set(sys.modules))))
"""


def brought_by_reading(*files: Path) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", READ, *map(str, files)],
        capture_output=True, text=True, cwd=ROOT, check=True,
    )  # fmt: skip
    return set(json.loads(done.stdout))


def test_no_musicxml_and_no_midi_file_brings_in_music21(tmp_path: Path) -> None:
    samples = sorted((ROOT / "sample_scores").glob("*.musicxml"))
    with zipfile.ZipFile(tmp_path / "tune.mxl", "w") as zipped:
        zipped.write(samples[0], "tune.musicxml")
    (tmp_path / "tune.xml").write_bytes(samples[0].read_bytes())
    (tmp_path / "damaged.musicxml").write_bytes(samples[0].read_bytes()[:1000])
    track = mido.MidiTrack(
        mido.Message(kind, note=60 + note, velocity=64, time=240 * (kind == "note_off"))
        for note in (0, 2, 4, 5)
        for kind in ("note_on", "note_off")
    )
    mido.MidiFile(tracks=[track]).save(tmp_path / "tune.mid")
    (tmp_path / "damaged.mid").write_bytes((tmp_path / "tune.mid").read_bytes()[:20])
    assert brought_by_reading(*samples, *sorted(tmp_path.iterdir())) == set()


def test_kern_brings_it_in(tmp_path: Path) -> None:
    """So that the test above would see it."""
    tune = tmp_path / "tune.krn"
    tune.write_text("**kern\n*clefG2\n*M4/4\n4c\n4d\n4e\n4f\n*-\n", encoding="utf-8")
    assert "music21" in brought_by_reading(tune)


def imported(tree: ast.AST) -> Iterator[str]:
    """The first part of every module that is imported, at the top or inside a function."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield (node.module or "").split(".")[0]


@cache
def what_is_imported() -> dict[str, frozenset[str]]:
    """By every module of ours."""
    return {
        dotted(path): frozenset(imported(ast.parse(path.read_text(encoding="utf-8"))))
        for path in COACH.rglob("*.py")
    }


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
    users = {name for name, libraries in what_is_imported().items() if library in libraries}
    assert all(any(user.startswith(door) for door in doors) for user in users), users
