"""The tool that changes the code: it finds what no test holds, and leaves the project alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from scripts.mutate_code import changes_of, fitting_tests, try_changes

CODE = '''"""A room."""

HELD_S = 2.0
LOOSE_S = 0.5


def is_late(seconds: float) -> bool:
    """Whether it is."""
    return seconds >= HELD_S


def is_early(seconds: float) -> bool:
    """Whether it is."""
    return seconds < -LOOSE_S
'''
TESTS = """from coach.room.late import is_early, is_late


def test_at_its_limit_it_is_late():
    assert is_late(2.0)
    assert not is_late(1.9)


def test_long_before_its_time_it_is_early():
    assert is_early(-9.0)
    assert not is_early(0.0)
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    for folder in ("coach/room", "tests"):
        (tmp_path / folder).mkdir(parents=True)
    (tmp_path / "coach/__init__.py").touch()
    (tmp_path / "coach/room/__init__.py").touch()
    (tmp_path / "coach/room/late.py").write_text(CODE)
    (tmp_path / "tests/test_late.py").write_text(TESTS)
    (tmp_path / "tests/test_other.py").write_text("")
    (tmp_path / "pyproject.toml").write_text("[tool.pytest.ini_options]\n")
    return tmp_path


def words(project: Path, target: str = "coach/room") -> list[str]:
    return [str(one).partition("  ")[2] for one in changes_of(project, target)]


def test_figures_grow_and_shrink_and_comparisons_are_turned(project: Path) -> None:
    assert words(project) == [
        "2.0 -> (2.666667)", "2.0 -> (1.5)", "0.5 -> (0.666667)", "0.5 -> (0.375)",
        ">= -> >", "< -> <=",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("line", "changes"),
    [
        ("x = a and (b or c)", ["and -> or", "or -> and"]),
        ("x = a + 1", ["+ -> -", "1 -> (2)", "1 -> (0)"]),
        ("x = a is not b", ["is not -> is"]),
        ("x = not a", ["not  -> "]),
        ("x = True", ["True -> False"]),
        ("if a: x = b", ["a -> not (a)"]),
        ("x = 'a' + b", []),
        ("x = f'{1 + 1}'", []),
    ],
)
def test_each_kind_of_change(project: Path, line: str, changes: list[str]) -> None:
    (project / "coach/room/late.py").write_text(line)
    assert words(project) == changes


def test_every_change_gives_other_code_that_can_be_compiled(project: Path) -> None:
    source = (project / "coach/room/late.py").read_bytes()
    for change in changes_of(project, "coach/room/late.py"):
        assert change.apply(source) != source
        compile(change.apply(source), "late", "exec")


@pytest.mark.wide
def test_only_what_no_test_holds_survives_and_nothing_is_written_here(
    project: Path, tmp_path_factory: pytest.TempPathFactory, capsys: pytest.CaptureFixture[str]
) -> None:
    before = {file: file.read_bytes() for file in project.rglob("*") if file.is_file()}
    files = fitting_tests(project, "coach/room")
    assert files == [Path("tests/test_late.py")]
    held, _, loose, *_, below = changes_of(project, "coach/room")
    kept = tmp_path_factory.mktemp("map")
    counts = try_changes(project, [held, loose, below], files, 10.0, kept)
    said = [line for line in capsys.readouterr().out.splitlines() if "SURVIVED" in line]
    assert [line.split("  ")[-2].strip() for line in said] == [
        "0.5 -> (0.666667)", "< -> <=",
    ]  # fmt: skip
    assert (counts.caught, counts.survivors, counts.without_tests) == (1, 2, 0)
    assert {file: file.read_bytes() for file in project.rglob("*") if file.is_file()} == before


def test_a_run_without_time_says_how_many_test_files_it_has_not_looked_at(
    project: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What those notice looks like a survivor until the next run."""
    monkeypatch.setattr("scripts.mutate_code.LOOKS_S", -1.0)
    change = changes_of(project, "coach/room")[0]
    counts = try_changes(project, [change], [Path("tests/test_late.py")], 10.0, tmp_path / "map")
    assert counts.without_tests == 1
    assert capsys.readouterr().out.startswith("test files not looked at yet: 1;")
