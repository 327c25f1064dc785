"""A mistake of our own: one sentence, its traceback in a file, what was played kept."""

import asyncio
from pathlib import Path

import pytest
from screenfakes import Staging

from coach.cli.errors import OUR_FAULT, said_plainly
from coach.playing.events import KeyDown, PianoFound
from coach.screens.app import KeyholeApp
from coach.screens.collaborators import Start


def test_a_mistake_of_ours_is_one_sentence_and_its_traceback_is_kept(tmp_path, capsys):
    with said_plainly(tmp_path) as ran:
        raise ZeroDivisionError("no beats")
    assert ran.status == OUR_FAULT
    [said] = capsys.readouterr().err.strip().splitlines()
    [file] = tmp_path.glob("mistake-*.txt")
    assert str(file) in said
    assert "ZeroDivisionError: no beats" in file.read_text()


def test_where_no_file_can_be_written_the_sentence_names_the_mistake(tmp_path, capsys):
    (tmp_path / "file").write_text("in the way")
    with said_plainly(tmp_path / "file"):
        raise ZeroDivisionError("no beats")
    [said] = capsys.readouterr().err.strip().splitlines()
    assert "ZeroDivisionError: no beats" in said


def test_a_mistake_on_the_screen_ends_it_without_a_traceback_and_keeps_the_place(capsys):
    staging = Staging()

    def broken(pitch, velocity, at_s):
        raise ZeroDivisionError("no beats")

    async def main(app):
        async with app.run_test() as pilot:
            for _ in range(100):
                if staging.errands:
                    break
                await asyncio.sleep(0.01)
            await pilot.pause()
            staging.ports.post(PianoFound("Test piano"))
            await pilot.pause()
            staging.drill.key_down = broken
            staging.ports.post(KeyDown(60, 64, 0.0))
            await asyncio.sleep(0)
            await pilot.pause()

    app = KeyholeApp(staging.given, None, Start(Path("tune.musicxml")))
    with pytest.raises(ZeroDivisionError):
        asyncio.run(main(app))
    assert isinstance(app.mistake, ZeroDivisionError)
    assert "Traceback" not in "".join(capsys.readouterr())
    assert staging.left == 1
