"""Of several programs only one has the lease, and one that crashes gives it back."""

import subprocess
import sys
from pathlib import Path

import pytest

from coach.record.lock import FILE, Lease

HOLD = """
import sys; from pathlib import Path; from coach.record.lock import Lease
lease = Lease(Path(sys.argv[1])); print(lease.take(), flush=True); sys.stdin.read()
"""


def holder(folder: Path) -> "subprocess.Popen[str]":
    """Another program, which has the lease until it ends."""
    home = Path(__file__).parent.parent
    child = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(folder)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=home,
    )  # fmt: skip
    assert child.stdout
    assert child.stdout.readline() == "True\n"
    return child


def test_a_program_that_is_killed_gives_the_lease_back(tmp_path: Path) -> None:
    with holder(tmp_path) as child:
        lease = Lease(tmp_path)
        assert not lease.take()
        assert not lease.ours
        child.kill()
        child.wait()
        assert lease.take()
        assert lease.ours
    lease.give_back()


def test_it_is_one_drills_until_it_is_given_back(tmp_path: Path) -> None:
    first, second = Lease(tmp_path), Lease(tmp_path)
    assert first.take()
    assert first.take()
    assert not second.take()
    first.give_back()
    assert not first.ours
    assert second.take()
    second.give_back()
    second.give_back()
    assert first.take()
    first.give_back()


def test_two_folders_have_two_leases(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    leases = [Lease(tmp_path), Lease(tmp_path / "other")]
    assert all(lease.take() for lease in leases)
    for lease in leases:
        lease.give_back()


def test_a_file_left_behind_holds_nothing(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text("4711")
    lease = Lease(tmp_path)
    assert lease.take()
    lease.give_back()


def test_where_nothing_can_be_known_it_is_ours(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert Lease(tmp_path / "gone").take()

    def unsupported(file: int) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr("coach.record.lock._lock", unsupported)
    if sys.platform != "win32":  # there every error means that it is taken
        assert Lease(tmp_path).take()
