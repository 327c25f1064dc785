"""Asking another process whether a system is there: its answers; it is never waited for."""

import time

import pytest

from coach.playing.ports import driver
from coach.playing.ports.driver import Probe


def asked(code: str, monkeypatch: pytest.MonkeyPatch, within_s: float = 20.0) -> bool | None:
    """The first answer of a process that runs this, or None where there is none."""
    monkeypatch.setattr(driver, "ASK_PATIENCE_S", 0.3 if "sleep" in code else 20.0)
    asking = Probe(["-c", code])
    end_s = time.perf_counter() + within_s
    try:
        while time.perf_counter() < end_s:
            if (answer := asking.answer()) is not None:
                return answer
            time.sleep(0.01)
        return None
    finally:
        asking.stop()


def test_a_system_that_answers_is_there_and_one_that_refuses_is_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert asked("pass", monkeypatch) is True
    assert asked("raise SystemExit(3)", monkeypatch) is False


@pytest.mark.parametrize("code", ["raise SystemExit(9)", "import time; time.sleep(60)"])
def test_of_one_that_fails_or_hangs_nothing_is_known(
    code: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert asked(code, monkeypatch, within_s=1.5) is None


def test_a_process_that_hangs_is_ended_and_another_asks(monkeypatch: pytest.MonkeyPatch) -> None:
    now_s = [0.0]
    asking = Probe(["-c", "import time; time.sleep(60)"], lambda: now_s[0])
    children = []
    for _ in range(3):
        assert asking.answer() is None
        children.append(asking._child)
        now_s[0] += driver.ASK_PATIENCE_S
        assert asking.answer() is None
        assert children[-1] is not None
        assert children[-1].returncode not in (None, 0)
        now_s[0] += driver.ASK_EVERY_S
    assert len(set(map(id, children))) == 3
    asking.stop()
