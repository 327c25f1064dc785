"""Changes the code in small ways, one at a time, and prints what no test notices.

    python -m scripts.mutate_code coach/judging/faults --limit 20 --seed 1

A change that no test notices (a survivor) is a figure or a branch that nothing holds: mutation
testing (DeMillo, Lipton and Sayward, 1978, Computer 11(4), 34-41). Numbers grow and shrink, ``<``
becomes ``<=``, ``and`` becomes ``or``, plus becomes minus, a condition is turned round.

The changes are made in a copy of the project in a temporary folder, never here. Of the tests those
are run that call the changed function, the quickest first, as long as ``--seconds`` allow. Which
tests call what is found out by running them once, and remembered in the temporary folder of the
machine. The changes of a seed always come in the same order: ``--skip`` goes on where a run ended.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FrameType

import pytest

PROJECT = Path(__file__).parents[1]
COPIED = ("coach", "scripts", "tests", "sample_scores", "locks")
TRACE = "KEYHOLE_MUTATION_TRACE"
"""Set for a run of the tests that notes in this file which functions each test calls."""
SLOWEST_S = 120.0
"""A test file that takes longer than this to be looked at is not used. Own choice: more would be
spent on it than on all others."""
LOOKS_S = 100.0
"""In one run so long is spent on looking what the tests call; the next run looks on. Own choice."""
HANGS_S = 60.0
"""A change that makes the tests run longer than this has been noticed. Own choice."""

SWAPPED: Mapping[type[ast.AST], tuple[str, str]] = {
    ast.Lt: ("<", "<="),
    ast.LtE: ("<=", "<"),
    ast.Gt: (">", ">="),
    ast.GtE: (">=", ">"),
    ast.Eq: ("==", "!="),
    ast.NotEq: ("!=", "=="),
    ast.Is: ("is", "is not"),
    ast.IsNot: ("is not", "is"),
    ast.In: ("in", "not in"),
    ast.NotIn: ("not in", "in"),
    ast.And: ("and", "or"),
    ast.Or: ("or", "and"),
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
}


@dataclass(frozen=True)
class Change:
    """One small change of one file."""

    file: str
    """From the project's folder."""
    line: int
    start: int
    end: int
    """Bytes of the file that are replaced."""
    old: str
    new: str
    functions: tuple[str, ...]
    """``file:name`` of the functions whose tests may notice it; empty: any of the file's."""

    def apply(self, source: bytes) -> bytes:
        return source[: self.start] + self.new.encode() + source[self.end :]

    def text(self, project: Path) -> str:
        """The line as it is."""
        return (project / self.file).read_text(encoding="utf-8").split("\n")[self.line - 1]

    def __str__(self) -> str:
        return f"{self.file}:{self.line}  {self.old} -> {self.new}"


# -- what can be changed ----------------------------------------------------------------------


class Finder(ast.NodeVisitor):
    """Every change that one file allows."""

    def __init__(self, file: str, source: bytes, readers: Mapping[str, Sequence[str]]) -> None:
        """``readers``: the functions that read a module's constant, by its name."""
        self.found: list[Change] = []
        self._file, self._source, self._readers = file, source, readers
        self._lines = [0]
        for line in source.split(b"\n"):
            self._lines.append(self._lines[-1] + len(line) + 1)
        self._inside: tuple[str, ...] = ()
        self._class: list[str] = []

    def _at(self, line: int, column: int) -> int:
        return self._lines[line - 1] + column

    def _span(self, node: ast.expr) -> tuple[int, int]:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return (
            self._at(node.lineno, node.col_offset),
            self._at(node.end_lineno, node.end_col_offset),
        )

    def _add(self, line: int, start: int, end: int, new: str) -> None:
        old = self._source[start:end].decode()
        self.found.append(Change(self._file, line, start, end, old, new, self._inside))

    def _swap(self, operator: ast.AST, left: ast.expr, right: ast.expr) -> None:
        if type(operator) not in SWAPPED:
            return
        old, new = SWAPPED[type(operator)]
        start, end = self._span(left)[1], self._span(right)[0]
        between = self._source[start:end].decode()
        words = r"\s+".join(map(re.escape, old.split()))
        hit = re.search(rf"(?<!\w){words}(?!\w)" if old[0].isalpha() else re.escape(old), between)
        if hit:
            at = start + len(between[: hit.start()].encode())
            self._add(left.end_lineno or left.lineno, at, at + len(hit[0].encode()), new)

    def visit_FunctionDef(self, node: ast.FunctionDef | ast.AsyncFunctionDef) -> None:
        outer = self._inside
        self._inside = outer or (f"{self._file}:{'.'.join([*self._class, node.name])}",)
        for one in (*node.args.defaults, *node.args.kw_defaults, *node.body):
            if one is not None:
                self.visit(one)
        self._inside = outer

    visit_AsyncFunctionDef = visit_FunctionDef

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self._class.append(node.name)
        for one in node.body:
            self.visit(one)
        self._class.pop()

    def visit_Assign(self, node: ast.Assign) -> None:
        names = [target.id for target in node.targets if isinstance(target, ast.Name)]
        self._constant(names, node.value)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            names = [node.target.id] if isinstance(node.target, ast.Name) else []
            self._constant(names, node.value)

    def _constant(self, names: Sequence[str], value: ast.expr) -> None:
        outer = self._inside
        if not outer:
            self._inside = tuple(one for name in names for one in self._readers.get(name, ()))
        self.visit(value)
        self._inside = outer

    def visit_If(self, node: ast.If) -> None:
        if isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            return
        if isinstance(node.test, ast.Name | ast.Attribute | ast.Call):
            start, end = self._span(node.test)
            self._add(node.lineno, start, end, f"not ({self._source[start:end].decode()})")
        self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        sides = [node.left, *node.comparators]
        for operator, left, right in zip(node.ops, sides, sides[1:], strict=False):
            self._swap(operator, left, right)
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        for left, right in zip(node.values, node.values[1:], strict=False):
            self._swap(node.op, left, right)
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if not isinstance(node.left, ast.Constant) or not isinstance(node.left.value, str):
            self._swap(node.op, node.left, node.right)
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.Not):
            start, end = self._span(node)
            self._add(node.lineno, start, self._span(node.operand)[0], "")
            assert end
        self.generic_visit(node)

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        """Words are not changed, nor what is in them."""

    def visit_Constant(self, node: ast.Constant) -> None:
        start, end = self._span(node)
        if isinstance(node.value, bool):
            self._add(node.lineno, start, end, str(not node.value))
        elif isinstance(node.value, int | float):
            for other in changed_figures(node.value):
                self._add(node.lineno, start, end, f"({other!r})")


def changed_figures(value: float) -> tuple[float, float]:
    """A third more and a quarter less, or one: a figure held at both sides notices either."""
    if isinstance(value, int):
        return value + 1, value - 1
    return (round(value * 4 / 3, 6), round(value * 3 / 4, 6)) if value else (0.1, -0.1)


def changes_of(project: Path, target: str) -> list[Change]:
    """All changes of a file, or of every file of a folder."""
    place = project / target
    files = sorted(place.rglob("*.py")) if place.is_dir() else [place]
    readers = readers_of(project)
    found: list[Change] = []
    for file in files:
        source = file.read_bytes()
        finder = Finder(file.relative_to(project).as_posix(), source, readers)
        finder.visit(ast.parse(source))
        found += finder.found
    return found


def readers_of(project: Path) -> dict[str, list[str]]:
    """Which functions of the program (``file:name``) read a name."""
    readers: dict[str, list[str]] = defaultdict(list)
    for file in sorted((project / "coach").rglob("*.py")):
        name = file.relative_to(project).as_posix()
        for function, node in _functions(ast.parse(file.read_bytes()).body):
            for read in _names_read(node):
                readers[read].append(f"{name}:{function}")
    return readers


def _functions(body: Sequence[ast.stmt], within: str = "") -> Iterator[tuple[str, ast.AST]]:
    """Functions and methods with their names, not those inside others."""
    for node in body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield within + node.name, node
        elif isinstance(node, ast.ClassDef):
            yield from _functions(node.body, f"{within}{node.name}.")


def _names_read(node: ast.AST) -> set[str]:
    names = {one.id for one in ast.walk(node) if isinstance(one, ast.Name)}
    return names | {one.attr for one in ast.walk(node) if isinstance(one, ast.Attribute)}


# -- which tests call what --------------------------------------------------------------------


@dataclass(frozen=True)
class TimedTest:
    """One test, and how long it took."""

    name: str
    seconds: float


class CallMap:
    """Which tests call which function, as found out by running each test file once."""

    def __init__(self, copy: Path, kept: Path) -> None:
        """``kept``: a folder to remember it in."""
        self._copy, self._kept = copy, kept
        self.by_function: dict[str, list[TimedTest]] = defaultdict(list)
        self.unseen = 0
        """Test files that there was no time to look at: what they notice counts as a survivor."""

    def look_at(self, file: Path, *, may_run: bool = True) -> None:
        """Run a test file, or remember what it did when it was run."""
        digest = hashlib.sha256(file.read_bytes()).hexdigest()[:16]
        known = self._kept / f"{file.stem}-{digest}.json"
        if not known.exists():
            if not may_run:
                self.unseen += 1
                return
            known.parent.mkdir(parents=True, exist_ok=True)
            known.write_text("{}", encoding="utf-8")  # what is too slow is not run again
            run_tests(self._copy, [str(file)], SLOWEST_S, trace=known)
        for name, (seconds, calls) in json.loads(known.read_text(encoding="utf-8")).items():
            for call in calls:
                self.by_function[call].append(TimedTest(name, seconds))

    def tests_for(self, change: Change, seconds: float) -> list[str]:
        """The quickest tests that may notice a change, as many as there is time for."""
        functions = change.functions or tuple(
            one for one in self.by_function if one.rpartition(":")[0] == change.file
        )
        tests = {test for one in functions for test in self.by_function.get(one, ())}
        chosen: list[str] = []
        for test in sorted(tests, key=lambda one: (one.seconds, one.name)):
            seconds -= test.seconds
            if seconds < 0 and chosen:
                break
            chosen.append(test.name)
        return chosen


def pytest_configure(config: pytest.Config) -> None:
    """As a plugin of pytest: note which functions of the program each test calls."""
    if TRACE in os.environ:
        config.pluginmanager.register(Tracer(Path(os.environ[TRACE]), config.rootpath))


class Tracer:
    """Writes down for each test its seconds and the functions that it calls."""

    def __init__(self, out: Path, root: Path) -> None:
        self._out, self._root = out, str(root / "coach") + os.sep
        self._start = len(str(root)) + 1
        self._seen: dict[str, tuple[float, list[str]]] = {}
        self._calls: set[CodeType] = set()
        self._failed: set[str] = set()

    def _trace(self, frame: FrameType, event: str, argument: object) -> None:
        self._calls.add(frame.f_code)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self._calls.clear()
        start = time.perf_counter()
        sys.settrace(self._trace)
        try:
            return (yield)
        finally:
            sys.settrace(None)
            ours = [code for code in self._calls if code.co_filename.startswith(self._root)]
            calls = {
                f"{Path(code.co_filename[self._start :]).as_posix()}:"
                f"{code.co_qualname.partition('.<locals>')[0]}"
                for code in ours
            }
            self._seen[item.nodeid] = (time.perf_counter() - start, sorted(calls))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:  # by what slows it here, or already before any change
            self._failed.add(report.nodeid)

    def pytest_sessionfinish(self) -> None:
        kept = {name: seen for name, seen in self._seen.items() if name not in self._failed}
        self._out.write_text(json.dumps(kept), encoding="utf-8")


# -- running ----------------------------------------------------------------------------------


def run_tests(
    copy: Path,
    tests: Sequence[str],
    seconds: float,
    trace: Path | None = None,
) -> bool | None:
    """Whether the tests pass in the copy, ended at the first that fails; None: no end in time."""
    environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": str(PROJECT)}
    if trace is not None:
        environment[TRACE] = str(trace)
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"]
    command += ["-x"] if trace is None else ["-p", "scripts.mutate_code"]
    process = subprocess.Popen(
        [*command, *tests],
        cwd=copy,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        return process.wait(seconds) == 0
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)  # with the children that the tests have started
        process.wait()
        return None


def copied(project: Path, copy: Path) -> None:
    """The project, as far as its tests need it."""
    for name in COPIED:
        if (project / name).is_dir():
            shutil.copytree(
                project / name, copy / name, ignore=shutil.ignore_patterns("__pycache__")
            )
    for file in (*project.glob("*.toml"), *project.glob("*.md"), *project.glob("LICENSE")):
        shutil.copy(file, copy)


def fitting_tests(project: Path, target: str) -> list[Path]:
    """The test files that name the room of a file or folder, those nearest to it first."""
    parts = Path(target).with_suffix("").parts
    room, folder = ".".join(parts[:2]), ".".join(parts[:3])
    text = {
        file.relative_to(project): file.read_text(encoding="utf-8")
        for file in sorted((project / "tests").glob("*.py"))
    }
    helpers = {file.stem for file, words in text.items() if room in words}
    near = {
        file: (-words.count(".".join(parts)), -words.count(folder), -words.count(room))
        for file, words in text.items()
        if file.name.startswith("test_")
        and (room in words or any(f"tests.{name} import" in words for name in helpers))
    }
    return sorted(near, key=lambda file: (near[file], file))


@dataclass
class Counts:
    """What came of the changes."""

    caught: int = 0
    survivors: int = 0
    without_tests: int = 0

    def __str__(self) -> str:
        return (
            f"{self.caught} caught, {self.survivors} not noticed, "
            f"{self.without_tests} in code that no test here calls"
        )


def try_changes(
    project: Path,
    changes: Sequence[Change],
    files: Sequence[Path],
    seconds: float,
    kept: Path,
    first: int = 0,
) -> Counts:
    """Make one change after another in a copy of the project; print and count what comes of it."""
    counts = Counts()
    with tempfile.TemporaryDirectory(prefix="keyhole-mutants-") as folder:
        copy = Path(folder).resolve() / "project"
        copy.mkdir()
        copied(project, copy)
        call_map = CallMap(copy, kept)
        until = time.monotonic() + LOOKS_S
        for file in files:
            call_map.look_at(copy / file, may_run=time.monotonic() < until)
        if call_map.unseen:
            print(
                f"test files not looked at yet: {call_map.unseen}; the next run goes on with them"
            )
        for number, change in enumerate(changes, first):
            tests = call_map.tests_for(change, seconds)
            target = copy / change.file
            source = target.read_bytes()
            target.write_bytes(change.apply(source))
            passed = run_tests(copy, tests, HANGS_S) if tests else False
            target.write_bytes(source)
            counts.survivors += passed is True
            counts.without_tests += not tests
            counts.caught += bool(tests) and passed is not True
            said = "SURVIVED" if passed else "no tests" if not tests else "caught"
            print(f"{number}: {said:9}{change}  ({len(tests)} tests)", flush=True)
    return counts


def main(given: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("target", help="a file or folder: coach/judging/faults")
    parser.add_argument("--limit", type=int, default=20, help="how many changes")
    parser.add_argument("--seed", type=int, default=0, help="which changes")
    parser.add_argument("--skip", type=int, default=0, help="go on after so many")
    parser.add_argument("--only", default="", help="only where the changed line has these words")
    parser.add_argument("--seconds", type=float, default=10.0, help="tests for each change")
    parser.add_argument("--tests", nargs="*", type=Path, help="instead of those that fit")
    options = parser.parse_args(given)
    changes = changes_of(PROJECT, options.target)
    if options.only:
        changes = [one for one in changes if options.only in one.text(PROJECT)]
    random.Random(options.seed).shuffle(changes)
    chosen = changes[options.skip : options.skip + options.limit]
    files = options.tests or fitting_tests(PROJECT, options.target)
    kept = Path(tempfile.gettempdir()) / "keyhole-mutation-map"
    print(f"{len(chosen)} of {len(changes)} changes of {options.target}, {len(files)} test files")
    counts = try_changes(PROJECT, chosen, files, options.seconds, kept, options.skip)
    print(counts)
    return 0


if __name__ == "__main__":
    sys.exit(main())
