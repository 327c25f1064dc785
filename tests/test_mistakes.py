"""A mistake of our own: one sentence, its traceback in a file, what was played kept."""

import ast
import asyncio
from pathlib import Path

import pytest
from textual.app import App
from textual.screen import Screen
from textual.widgets import Static

from coach.cli.errors import OUR_FAULT, say_errors_plainly
from coach.coaching.drill.drill_events import DrillEvent
from coach.playing.midi_events import KeyDown, KeyEvent, PianoFound
from coach.screens.app import KeyholeApp
from coach.screens.interfaces import Start
from tests.screenfakes import Staging


def test_a_mistake_of_ours_is_one_sentence_and_its_traceback_is_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with say_errors_plainly(tmp_path) as ran:
        raise ZeroDivisionError("no beats")
    assert ran.status == OUR_FAULT
    [said] = capsys.readouterr().err.strip().splitlines()
    [file] = tmp_path.glob("mistake-*.txt")
    assert str(file) in said
    assert "ZeroDivisionError: no beats" in file.read_text()


def test_where_no_file_can_be_written_the_sentence_names_the_mistake(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("in the way")
    with say_errors_plainly(tmp_path / "file"):
        raise ZeroDivisionError("no beats")
    [said] = capsys.readouterr().err.strip().splitlines()
    assert "ZeroDivisionError: no beats" in said


def test_a_mistake_on_the_screen_ends_it_without_a_traceback_and_keeps_the_place(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    staging = Staging()

    def broken(event: KeyEvent) -> tuple[DrillEvent, ...]:
        raise ZeroDivisionError("no beats")

    async def main(app: KeyholeApp) -> None:
        async with app.run_test() as pilot:
            for _ in range(100):
                if staging.errands:
                    break
                await asyncio.sleep(0.01)
            await pilot.pause()
            staging.ports.post(PianoFound("Test piano"))
            await pilot.pause()
            monkeypatch.setattr(staging.drill, "hear", broken)
            staging.ports.post(KeyDown(60, 64, 0.0))
            await asyncio.sleep(0)
            await pilot.pause()

    app = KeyholeApp(staging.given, None, Start(Path("tune.musicxml")))
    with pytest.raises(ZeroDivisionError):
        asyncio.run(main(app))
    assert isinstance(app.mistake, ZeroDivisionError)
    assert "Traceback" not in "".join(capsys.readouterr())
    assert staging.left == 1


SCREENS = Path(__file__).parent.parent / "coach" / "screens"
MISTAKES, PAINTING = SCREENS / "ending.py", SCREENS / "terminal" / "painter.py"


def is_private(name: str) -> bool:
    return name.startswith("_") and not name.endswith("__")


def taken(file: Path) -> set[str]:
    """The private names that a module takes of anything, or gives to what it defines."""
    found = list(ast.walk(ast.parse(file.read_text(encoding="utf-8"))))
    attributes = {one.attr for one in found if isinstance(one, ast.Attribute)}
    methods = {one.name for one in found if isinstance(one, ast.FunctionDef)}
    return set(filter(is_private, attributes | methods))


def test_textual_still_has_the_private_names_that_ending_in_order_needs() -> None:
    names = taken(MISTAKES)
    assert "_fatal_error" in names
    assert names <= set(dir(App()))


def test_no_other_module_takes_a_private_name_of_textuals_or_calls_its_own_so() -> None:
    textuals = {*dir(App()), *dir(Screen()), *dir(Static())}
    elsewhere = [
        file
        for file in SCREENS.rglob("*.py")
        if file not in (MISTAKES, PAINTING) and "textual" in file.read_text(encoding="utf-8")
    ]
    assert len(elsewhere) > 10
    assert {(file.name, name) for file in elsewhere for name in taken(file) & textuals} == set()
