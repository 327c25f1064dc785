"""The two commands' set-up, as far as it goes without a network: what it says, when it works."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from scripts import prepare

SCRIPTS = Path(prepare.__file__).parent


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty project; pip and venv only note that they were called."""
    monkeypatch.setattr(prepare, "PROJECT", tmp_path)
    monkeypatch.setattr(prepare, "HOME", tmp_path / ".venv")
    monkeypatch.setattr(prepare, "STAMP", tmp_path / ".venv/keyhole.json")
    monkeypatch.setattr(prepare, "LOG", tmp_path / ".venv/set-up.log")
    monkeypatch.setattr(prepare, "PYTHON", tmp_path / ".venv/bin/python")
    monkeypatch.setattr(prepare, "LOCKS", tmp_path / "locks")
    monkeypatch.setattr(prepare, "_make", lambda: _touch(tmp_path / ".venv/bin/python"))
    monkeypatch.setattr(prepare, "_install", lambda extras: _note(tmp_path, extras))
    (tmp_path / "pyproject.toml").write_text("[project]\n")
    (tmp_path / "locks").mkdir()
    for name in ("start.txt", "test.txt"):
        (tmp_path / "locks" / name).write_text("one==1\n")
    return tmp_path


def _touch(path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch()


def _note(project: Path, extras: list[str]) -> None:
    with (project / "installed").open("a") as log:
        print("+".join(["keyhole", *extras]), file=log)


def installed(project: Path) -> list[str]:
    return (project / "installed").read_text().split()


def test_the_second_start_installs_nothing(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    prepare.prepare()
    capsys.readouterr()
    prepare.prepare()
    assert installed(project) == ["keyhole"]
    assert capsys.readouterr().out == ""


def test_the_tests_need_more_and_a_start_after_them_keeps_it(project: Path) -> None:
    prepare.prepare()
    prepare.prepare("test")
    prepare.prepare()
    assert installed(project) == ["keyhole", "keyhole+test"]


def test_new_requirements_are_installed_with_what_was_there(project: Path) -> None:
    prepare.prepare("test")
    (project / "pyproject.toml").write_text("[project]\ndependencies = []\n")
    prepare.prepare()
    assert installed(project) == ["keyhole+test"] * 2


def test_another_lock_is_installed_by_those_who_use_it(project: Path) -> None:
    prepare.prepare()
    (project / "locks/test.txt").write_text("one==2\n")
    prepare.prepare()
    assert installed(project) == ["keyhole"]
    (project / "locks/start.txt").write_text("one==2\n")
    prepare.prepare()
    assert installed(project) == ["keyhole"] * 2


@pytest.mark.parametrize("left", ["", "{", "[]", '{"extras": 3}', '{"extras": ["test"]}'])
def test_a_broken_stamp_means_a_new_set_up(project: Path, left: str) -> None:
    prepare.prepare()
    prepare.STAMP.write_text(left)
    prepare.prepare()
    assert len(installed(project)) == 2


def test_an_environment_whose_python_is_gone_is_set_up_anew(project: Path) -> None:
    prepare.prepare()
    prepare.PYTHON.unlink()
    prepare.prepare()
    assert len(installed(project)) == 2


def test_a_set_up_that_was_stopped_goes_on_the_next_time(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(extras: list[str]) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(prepare, "_install", stopped)
        with pytest.raises(SystemExit, match="run the same command again"):
            prepare.prepare()
    prepare.prepare()
    assert installed(project) == ["keyhole"]


def test_without_the_venv_module_it_says_what_to_install(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(SystemExit, match="sudo apt install python3-venv"):
        prepare.prepare()


def test_a_folder_that_may_not_be_written_is_named(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused() -> None:
        raise PermissionError(13, "Permission denied", str(prepare.HOME))

    monkeypatch.setattr(prepare, "_make", refused)
    with pytest.raises(SystemExit, match="Permission denied"):
        prepare.prepare()


def test_what_pip_says_becomes_one_sentence() -> None:
    # Lines as pip 23.2 writes them, without a network and with a package that does not exist.
    no_network = (
        "WARNING: Retrying (Retry(total=1)) after connection broken by 'NewConnectionError("
        "'<pip>: Failed to establish a new connection: [Errno -3] Temporary failure in name "
        "resolution')'\nERROR: No matching distribution found for setuptools>=77"
    )
    assert "connect this computer to the internet" in prepare._why_not(no_network)
    missing = "ERROR: No matching distribution found for nothing==9"
    assert "No matching distribution found for nothing==9" in prepare._why_not(missing)
    assert "pip failed" in prepare._why_not("")


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (
            "ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE. If you have",
            "not the one that Keyhole was tested with",
        ),
        (
            '../meson.build:66:15: ERROR: Dependency "alsa" not found (tried pkg-config)\n'
            "error: metadata-generation-failed",
            "g++ pkg-config python3-dev libasound2-dev",
        ),
    ],
)
def test_what_pip_says_of_a_package_becomes_one_sentence(said: str, told: str) -> None:
    # Lines as pip 24.2 writes them.
    assert told in prepare._why_not(said)


def test_nothing_is_installed_without_a_hash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    commands: list[list[str]] = []

    def note(command: list[str], **_: object) -> subprocess.CompletedProcess[str]:
        commands.append(command)
        return subprocess.CompletedProcess(command, 0)

    monkeypatch.setattr(prepare, "LOG", tmp_path / "set-up.log")
    monkeypatch.setattr("subprocess.run", note)
    prepare._install(["test"])
    packages, project = commands
    assert "--require-hashes" in packages
    assert packages[-1].endswith("test.txt")
    assert {"--no-deps", "--no-build-isolation"} <= set(project)


@pytest.mark.parametrize("name", ["start.py", "test.py"])
def test_an_old_python_gets_one_sentence(name: str) -> None:
    pretend = f"import sys; sys.version_info = (3, 9, 2); sys.version = '3.9.2 (old)'; \
exec(compile(open({str(SCRIPTS / name)!r}).read(), {name!r}, 'exec'))"
    done = subprocess.run(
        [sys.executable, "-c", pretend], capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert done.stderr == "Keyhole needs Python 3.11 or newer; this one is 3.9.2.\n"


@pytest.mark.parametrize("name", ["start.py", "test.py"])
def test_the_first_lines_can_be_read_by_an_old_python(name: str) -> None:
    import ast

    ast.parse((SCRIPTS / name).read_text(), feature_version=(3, 7))
