"""The child process in which a score is read can neither hurt nor outlive its parent."""

import os
import sys
from pathlib import Path

import pytest

from coach.score.opening.limits import PATIENCE_S, WORK_S
from coach.score.opening.process import Cancelled, Died, Limits, OutOfTime, OutOfWork, TooMuch, ask

real_limits = pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="no such limits here")


def python(code: str) -> tuple[str, ...]:
    return ("-c", code)


ECHO = "import sys; print(sys.stdin.read()[::-1])"
HANG = "import time; time.sleep(60)"


def test_the_answer_is_what_the_child_wrote() -> None:
    assert ask({"path": "x"}, program=python(ECHO)).strip() == b'}"x" :"htap"{'


def test_what_the_child_prints_as_errors_never_reaches_the_screen(
    capfd: pytest.CaptureFixture[str],
) -> None:
    ask({}, program=python("import sys; sys.stderr.write('boo'); print('ok')"))
    assert capfd.readouterr() == ("", "")


def test_a_child_that_hangs_is_ended() -> None:
    with pytest.raises(OutOfTime):
        ask({}, program=python(HANG), limits=Limits(seconds=0.2))


@real_limits
def test_a_child_that_only_waits_for_a_busy_machine_is_waited_for() -> None:
    code = LIMITED + "\nimport time; time.sleep(2.2); print('read')"  # 2 s are its processor time
    assert ask({}, program=python(code)).strip() == b"read"
    assert PATIENCE_S > 5 * WORK_S


def test_a_child_that_hangs_after_its_answer_does_not_hold_us_up() -> None:
    closing = "import os, time; os.write(1, b'done'); os.close(1); time.sleep(60)"
    assert ask({}, program=python(closing)) == b"done"


def test_cancelling_ends_the_child_at_once(tmp_path: Path) -> None:
    begun = tmp_path / "begun"
    code = f"open({str(begun)!r}, 'w').write(str(__import__('os').getpid())); {HANG}"
    with pytest.raises(Cancelled):
        ask({}, program=python(code), cancelled=lambda: begun.exists() and begun.stat().st_size > 0)
    if sys.platform != "win32":
        with pytest.raises(ProcessLookupError):
            os.kill(int(begun.read_text()), 0)


def test_one_is_told_that_it_takes_a_while() -> None:
    seen: list[float] = []
    ask({}, program=python("import time; time.sleep(0.3); print(1)"), show_wait=seen.append)
    assert seen == sorted(seen)
    assert len(seen) >= 2


def test_an_answer_without_end_is_cut_off() -> None:
    endless = "import sys\nwhile True: sys.stdout.write('x' * 65536)"
    with pytest.raises(TooMuch):
        ask({}, program=python(endless), limits=Limits(answer_bytes=1 << 20))


@pytest.mark.parametrize("code", ["raise SystemExit(3)", "import os; os.abort()", "1/0"])
def test_a_child_that_dies_has_no_answer(code: str) -> None:
    with pytest.raises(Died):
        ask({"path": "x" * 100_000}, program=python(code))


def test_modules_in_the_folder_at_hand_are_not_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "json.py").write_text("print('taken over')")
    monkeypatch.chdir(tmp_path)
    code = "import json, sys; print(json.loads('1'))"
    assert ask({}, program=python(code)).strip() == b"1"


LIMITED = "from coach.score.opening.limits import limit_process; limit_process(1 << 28, 1); "


@real_limits
def test_memory_is_limited() -> None:
    code = LIMITED + "\ntry: x = bytearray(1 << 29)\nexcept MemoryError: print('stopped')"
    assert ask({}, program=python(code)).strip() == b"stopped"


@real_limits
def test_a_score_too_large_for_the_memory_is_refused_with_the_sentence_that_says_so(
    tmp_path: Path,
) -> None:
    # The reader fills its memory to the last in small pieces, and holds them as it fails.
    (tmp_path / "large.krn").write_text("**kern\n4c\n*-\n")
    code = (
        "from pathlib import Path\n"
        "from coach.score import reading\n"
        "from coach.score.opening import child, limits\n"
        "def hoard(path, part):\n"
        "    held = None\n"
        "    while True: held = (held,)\n"
        "reading.read_score = hoard\n"
        "limits.limit_process(1 << 28, 5)\n"
        f"print(child.answer(Path({str(tmp_path / 'large.krn')!r})).decode())"
    )
    kind, _, sentence = ask({}, program=python(code)).decode().partition("\n")
    assert kind == "refused"
    assert sentence.strip() == "large.krn takes more than 1024 MiB of memory to read: refused."


@real_limits
def test_processor_time_is_limited_even_without_a_parent() -> None:
    with pytest.raises(OutOfWork):  # and not OutOfTime: the parent would wait a minute more
        ask({}, program=python(LIMITED + "\nwhile True: pass"), limits=Limits(seconds=60))


SEALED = "from coach.score.opening.limits import seal_process; seal_process()\n"
REFUSED = "try: {}\nexcept PermissionError: print('refused')"


@pytest.mark.parametrize(
    "harm",
    [
        "open({path!r}, 'w')",
        "open({path!r}, 'a+b')",
        "__import__('os').open({path!r}, 65)",
        "__import__('os').mkdir({path!r})",
        "__import__('os').rename({old!r}, {path!r})",
        "__import__('os').remove({old!r})",
        "__import__('os').system('echo harm > ' + {path!r})",
        "__import__('subprocess').run(['true'])",
        "__import__('socket').create_connection(('127.0.0.1', 9))",
        "__import__('urllib.request').request.urlopen('http://127.0.0.1:9/')",
    ],
)
def test_the_sealed_child_can_change_nothing(tmp_path: Path, harm: str) -> None:
    old, path = tmp_path / "old", tmp_path / "new"
    old.write_text("a score")
    action = harm.format(old=str(old), path=str(path))
    assert ask({}, program=python(SEALED + REFUSED.format(action))).strip() == b"refused"
    assert list(tmp_path.iterdir()) == [old]


def test_the_sealed_child_still_reads(tmp_path: Path) -> None:
    score = tmp_path / "score"
    score.write_text("music")
    code = SEALED + f"print(open({str(score)!r}).read())"
    assert ask({}, program=python(code)).strip() == b"music"
