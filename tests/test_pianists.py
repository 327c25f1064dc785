"""Several pianists at one piano: each has a record of their own."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from coach.cli import main
from coach.cli.commands.own_data import LINES, README
from coach.cli.open_score import PARTS_FOLDER, REPEATS_FOLDER
from coach.cli.parser import make_parser
from coach.cli.storage import Storage
from coach.cli.wiring import Pianists, options_of
from coach.record.folder import FILE, close_to_others, pianist_folder
from coach.record.progress import FOLDER as DIARY
from coach.screens.dialogs import PianistScreen
from coach.screens.dialogs.dialog import Choices
from coach.screens.interfaces import Settings, Start
from tests.seat import SIZES, Seat, seated

SAMPLE = Path(__file__).parents[1] / "sample_scores" / "1-low-tide.musicxml"


def plan(data: Path, *more: str) -> int:
    return main(["plan", str(SAMPLE), "--data", str(data), *more])


def test_each_has_a_record_of_their_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    day = (date.today() + timedelta(days=30)).isoformat()
    assert plan(tmp_path, "--by", day, "--pianist", "Ada") == 0
    assert main(["check", "--data", str(tmp_path), "--pianist", "Ada"]) == 0
    assert main(["check", "--data", str(tmp_path), "--pianist", "Ben"]) != 0
    assert (tmp_path / "pianists" / "Ada" / FILE).exists()
    assert not (tmp_path / FILE).exists()
    capsys.readouterr()


def test_the_environment_names_who_plays_and_the_command_line_goes_before_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    day = (date.today() + timedelta(days=30)).isoformat()
    monkeypatch.setenv("KEYHOLE_DATA", str(tmp_path))
    monkeypatch.setenv("KEYHOLE_PIANIST", "Ada")
    assert main(["plan", str(SAMPLE), "--by", day]) == 0
    assert main(["plan", str(SAMPLE), "--by", day, "--pianist", "Ben"]) == 0
    assert {path.parent.name for path in tmp_path.rglob(FILE)} == {"Ada", "Ben"}
    monkeypatch.setenv("KEYHOLE_PIANIST", "../Ada")
    assert main(["check"]) == 2
    assert "can't be kept as a pianist's name" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["Ada", "Ada Müller", "ben-2", "O'Hara", "李"])
def test_names_as_people_have_them(tmp_path: Path, name: str) -> None:
    assert pianist_folder(name, tmp_path) == tmp_path / "pianists" / name


@pytest.mark.parametrize("name", ["", "..", "../Ada", "a/b", "a\\b", ".hidden", "a\n", "x" * 41])
def test_what_is_no_folder_s_name_is_answered_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    assert main(["check", "--data", str(tmp_path), "--pianist", name]) == 2
    assert "can't be kept as a pianist's name" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_the_shared_folder_is_closed_to_others_all_the_same(tmp_path: Path) -> None:
    tmp_path.chmod(0o755)
    (tmp_path / "pianists" / "Ada").mkdir(parents=True)
    close_to_others(tmp_path)
    assert tmp_path.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("name", [*LINES, PARTS_FOLDER, REPEATS_FOLDER, DIARY])
def test_whatever_we_keep_in_the_folder_it_is_closed_to_others(tmp_path: Path, name: str) -> None:
    tmp_path.chmod(0o755)
    (tmp_path / name).mkdir()
    close_to_others(tmp_path)
    assert tmp_path.stat().st_mode & 0o077 == 0
    assert name == DIARY or f"{name}/ " in README


@pytest.mark.parametrize("size", [*SIZES, (60, 18)])
def test_who_plays_is_chosen_on_the_screen(size: tuple[int, int], tmp_path: Path) -> None:
    (tmp_path / "pianists" / "Ada").mkdir(parents=True)
    (tmp_path / "pianists" / "Ben").mkdir()
    (tmp_path / "pianists" / ".hidden").mkdir()

    async def run(seat: Seat) -> None:
        choices = seat.app.screen.query_one("#choices", Choices)
        choices.highlighted = choices.get_option_index("app.choose_pianist")
        await seat.play(21)  # by the piano: choose
        await seat.until(PianistScreen)
        assert "Ada, who plays now" in seat.text
        assert ".hidden" not in seat.text
        await seat.pilot.press("tab", "slash", "x", "enter")
        assert "can't be kept as a pianist's name" in " ".join(seat.text.split())
        await seat.pilot.press("shift+tab")
        await seat.play(23, 23, 21)  # down to Ben, and choose
        await seat.until_ended()
        assert seat.app.next_pianist == "Ben"

    settings = Settings(pianist="Ada")
    seated(size, run, start=Start(), pianists=Pianists(tmp_path), settings=settings)


def test_who_plays_next_has_their_own_record_and_none_of_the_other_s_wishes(tmp_path: Path) -> None:
    asked = ["drill", str(SAMPLE), "--bars", "1-2", "--pianist", "Ada", "--data", str(tmp_path)]
    options = make_parser().parse_args(asked)
    options.shared_data, options.data = tmp_path, tmp_path / "pianists" / "Ada"
    ben, nobody = options_of(options, "Ben"), options_of(options, "")
    assert (ben.pianist, ben.data, ben.command) == ("Ben", tmp_path / "pianists" / "Ben", None)
    assert nobody.data == tmp_path


def test_a_record_that_is_let_go_of_is_kept_and_can_be_opened_again(tmp_path: Path) -> None:
    options = make_parser().parse_args(["--data", str(tmp_path)])
    first = Storage(options)
    assert first.store
    assert first.lease
    assert first.lease.take()
    first.close()
    again = Storage(options)
    assert again.lease
    assert again.lease.take()
    again.close()
