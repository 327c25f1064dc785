"""What the home screen offers, from a real record and real files."""

import time
from argparse import Namespace
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import pytest

from coach.cli import main
from coach.cli.commands.practice import warmup
from coach.cli.errors import CannotDo
from coach.cli.open_score import open_piece
from coach.cli.score_library import HomeLibrary, _days_ago, samples
from coach.cli.sessions import SessionMaker
from coach.cli.storage import Storage, close_record
from coach.coaching.drill import Drill
from coach.coaching.drill.drill_events import RepetitionEnded
from coach.coaching.model import PlanChange, Way
from coach.coaching.observations import observe_transitions
from coach.coaching.planning import DatePlan, RowState
from coach.judging.model import Outcome, TransitionResult
from coach.record.calendar import day_of
from coach.record.pieces import PieceKey, piece_key
from coach.score.build import score_from_notes
from coach.score.model import Score
from coach.score.window import Window, excerpt
from coach.screens.interfaces import Errand
from tests.records import SCORE, ended

SAMPLE = samples()[0].path


@pytest.fixture
def options(tmp_path: Path) -> Namespace:
    return Namespace(data=tmp_path / "data", counting=None, list=True, minutes=5.0)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "two-hands.musicxml"
    path.write_text("a score")
    return path


def library_of(options: Namespace, file: Path, at_s: float) -> Iterator[HomeLibrary]:
    storage = Storage(options)
    assert storage.store
    storage.store.save_repetition(piece_key(SCORE, file), ended(clean=False), at_s)
    yield HomeLibrary(storage)
    close_record(storage.store)


@pytest.fixture
def library(options: Namespace, file: Path) -> Iterator[HomeLibrary]:
    yield from library_of(options, file, time.time())


@pytest.fixture
def yesterdays(options: Namespace, file: Path) -> Iterator[HomeLibrary]:
    yield from library_of(options, file, time.time() - 86400.0)


def lines(library: HomeLibrary) -> list[tuple[Errand, str, str]]:
    return [(item.errand, item.title, item.detail) for item in library.items()]


def test_a_day_opens_with_the_weak_spots_then_the_piece_to_go_on_with(
    yesterdays: HomeLibrary,
) -> None:
    assert lines(yesterdays)[:2] == [
        (Errand.WARM_UP, "Warm-up", "1 spot, about 1 minute"),
        (Errand.GO_ON, "Two Hands", "go on where you stopped yesterday"),
    ]


def test_right_after_playing_the_piece_comes_before_its_weak_spots(library: HomeLibrary) -> None:
    assert lines(library)[:2] == [
        (Errand.GO_ON, "Two Hands", "go on where you stopped today"),
        (Errand.WARM_UP, "Warm-up", "1 spot, about 1 minute"),
    ]


def test_what_a_clock_that_was_wrong_put_into_the_future_is_of_today(
    options: Namespace, file: Path
) -> None:
    for library in library_of(options, file, time.time() + 5 * 86400.0):
        assert lines(library)[0] == (Errand.GO_ON, "Two Hands", "go on where you stopped today")


def test_an_evening_goes_on_past_midnight_till_four(monkeypatch: pytest.MonkeyPatch) -> None:
    def at_s(day: int, hour: int, minute: int) -> float:
        return datetime(2026, 11, day, hour, minute).timestamp()

    for now_s, said in (
        (at_s(30, 0, 30), "today"),
        (at_s(30, 3, 59), "today"),
        (at_s(30, 4, 1), "yesterday"),
    ):
        monkeypatch.setattr(
            "coach.cli.score_library.time", SimpleNamespace(time=lambda now_s=now_s: now_s)
        )
        assert _days_ago(at_s(29, 23, 30)) == said
    assert _days_ago(at_s(27, 23, 0)) == "3 days ago"


def test_a_wild_take_marks_no_weak_spot(options: Namespace, file: Path) -> None:
    storage = Storage(options)
    assert storage.store
    storage.store.save_repetition(piece_key(SCORE, file), wild(bars=4), time.time())
    told = HomeLibrary(storage).warm_ups()
    close_record(storage.store)
    assert told == ()


def test_a_piece_with_a_date_says_how_long_it_is_to_it(
    options: Namespace, file: Path, yesterdays: HomeLibrary
) -> None:
    storage = Storage(options)
    assert storage.store
    storage.store.save_plan(piece_key(SCORE, file), DatePlan(day_of(time.time()) + 12, 20.0))
    close_record(storage.store)
    assert lines(yesterdays)[1:3] == [
        (Errand.PLAN, "Today: Two Hands", "what the plan asks for; 12 days to its date"),
        (Errand.GO_ON, "Two Hands", "go on where you stopped yesterday"),
    ]


@pytest.fixture
def planned(options: Namespace) -> Iterator[tuple[Storage, Score, PieceKey]]:
    """A sample of which nothing was played, to be learnt in a week in ten minutes a day."""
    score = open_piece(SAMPLE, data=options.data)
    storage, piece = Storage(options), piece_key(score, SAMPLE)
    assert storage.store
    storage.store.save_plan(piece, DatePlan(day_of(time.time()) + 7, 10.0))
    yield storage, score, piece
    close_record(storage.store)


def test_home_names_the_bars_that_the_plan_has_for_today(
    planned: tuple[Storage, Score, PieceKey],
) -> None:
    storage, _, _ = planned
    assert lines(HomeLibrary(storage))[0] == (
        Errand.PLAN, "Today: Low Tide", "drill bars 1 to 2 (10 min); 7 days to its date"
    )  # fmt: skip


def test_it_opens_them_and_is_gone_from_home_once_they_are_done(
    planned: tuple[Storage, Score, PieceKey],
) -> None:
    storage, score, piece = planned
    assert storage.store
    session = SessionMaker(storage.store).make(score, SAMPLE, Errand.PLAN, 0.0)
    assert session.title == "Low Tide: 1 of 1 today"
    assert isinstance(session.drill, Drill)
    goal = session.drill.coach.goal
    assert goal.window == Window(Fraction(0), score.bars[1].end_quarters)
    assert goal.way is Way.LEARN
    assert session.next_drill is not None
    assert session.next_drill.reached == "Today's part of the plan is done."
    minutes, at_s = 11, time.time() - 700.0
    for n in range(60 * minutes // 30):  # longer than the plan's minutes
        storage.store.save_repetition(piece, ended(clean=False), at_s + 30 * n)
    assert Errand.PLAN not in {item.errand for item in HomeLibrary(storage).items()}
    with pytest.raises(ValueError, match=r"Today's part of the plan is done\."):
        SessionMaker(storage.store).make(score, SAMPLE, Errand.PLAN, 0.0)


def test_in_plain_lines_a_part_that_is_done_is_one_sentence(
    planned: tuple[Storage, Score, PieceKey],
    options: Namespace,
    capsys: pytest.CaptureFixture[str],
) -> None:
    storage, _, piece = planned
    assert storage.store
    for n in range(22):  # longer than the plan's minutes
        storage.store.save_repetition(piece, ended(clean=False), time.time() - 700.0 + 30 * n)
    assert main(["plan", str(SAMPLE), "--play", "--plain", "--data", str(options.data)]) == 2
    assert "Today's part of the plan is done." in capsys.readouterr().err


def test_what_was_begun_of_it_is_gone_on_with(planned: tuple[Storage, Score, PieceKey]) -> None:
    storage, score, piece = planned
    maker = SessionMaker(storage.store)
    session = maker.make(score, SAMPLE, Errand.PLAN, 0.0)
    assert isinstance(session.drill, Drill)
    coach = session.drill.coach
    coach.change_plan(0, PlanChange.LEAVE_OUT)
    assert storage.store
    storage.store.save_session_state(piece, coach.state())
    again = maker.make(score, SAMPLE, Errand.PLAN, 0.0)
    assert isinstance(again.drill, Drill)
    assert again.drill.coach.plan()[0].state is RowState.LEFT_OUT


def test_one_warm_up_is_over_all_pieces(options: Namespace, tmp_path: Path) -> None:
    storage = Storage(options)
    assert storage.store
    for at in range(4):
        path = tmp_path / f"piece-{at}.musicxml"
        path.write_text("a score")
        score = replace(SCORE, notes=SCORE.notes[at:], title=f"Piece {at}")
        then_s = time.time() - 86400.0 * (4 - at)
        storage.store.save_repetition(piece_key(score, path), ended(clean=False), then_s)
    told = [detail for errand, _, detail in lines(HomeLibrary(storage)) if errand is Errand.WARM_UP]
    close_record(storage.store)
    assert told == ["4 spots in 4 pieces, about 3 minutes"]


def wild(bars: int) -> RepetitionEnded:
    """A repetition in which nothing at all was right."""
    notes = [
        {"pitch": pitch, "onset": onset, "length": 1, "hand": hand}
        for onset in range(4 * bars)
        for pitch, hand in ((72, "RH"), (48, "LH"))
    ]
    part = excerpt(score_from_notes(notes), Window(Fraction(0), Fraction(4 * bars)))
    wrong = tuple(TransitionResult(one, Outcome.WRONG) for one in part.transitions)
    bad = ended(clean=False)
    judgement = replace(bad.judgement, excerpt=part, transitions=wrong)
    return replace(bad, judgement=judgement, observed=observe_transitions(judgement, 0.0))


def test_a_last_piece_whose_file_is_gone_is_still_named(library: HomeLibrary, file: Path) -> None:
    file.unlink()
    errand, title, detail = lines(library)[0]
    assert (errand, title) == (Errand.GO_ON, "Two Hands")
    assert f"its file is gone from {file.parent}" in detail


def test_a_warm_up_without_its_file_says_so_and_not_that_nothing_was_weak(
    library: HomeLibrary, options: Namespace, file: Path
) -> None:
    file.unlink()
    with pytest.raises(CannotDo, match=r"two-hands\.musicxml is gone"):
        warmup(options)


def test_titles_of_sample_scores_have_small_words_small() -> None:
    assert {"The Ferry Bell", "Waltz in Sea Boots"} <= {item.title for item in samples()}


def test_before_anything_was_played_the_warm_up_does_not_speak_of_last_time(
    options: Namespace, capsys: pytest.CaptureFixture[str]
) -> None:
    assert warmup(options) == 0
    assert "Nothing was played yet." in capsys.readouterr().out
