"""A plan to a date: what is begun when, when it comes again, and what has no room."""

import time
from datetime import date
from itertools import pairwise
from pathlib import Path

import pytest

from coach.cli import main
from coach.coaching.model import Way
from coach.coaching.planning import (
    BarStanding,
    BarState,
    DatePlan,
    Diary,
    PlannedDay,
    Schedule,
    best_gap_days,
    goals_of,
    minutes_that_fit,
    schedule,
    stretches,
)
from coach.coaching.planning.date_plan import BEGIN_MIN, LEAST_MIN
from coach.coaching.wording import stretch_words
from coach.record.calendar import day_of
from coach.record.pieces import piece_key
from coach.record.progress import PieceProgress
from coach.score.build import score_from_notes
from coach.score.reading import read_score
from scripts.simulated_week import make_week

SAMPLE = Path(__file__).parents[1] / "sample_scores" / "1-low-tide.musicxml"
UNTOUCHED, WEAK, SETTLED = BarState.UNTOUCHED, BarState.WEAK, BarState.SETTLED


def new_bars(count: int, state: BarState = UNTOUCHED) -> list[BarStanding]:
    return [BarStanding(bar, state) for bar in range(count)]


def planned(count: int, days: int, minutes: float = 20.0) -> Schedule:
    return schedule(new_bars(count), DatePlan(1000 + days, minutes), 1000)


def days_of(found: Schedule, bar: int) -> list[int]:
    """On which days a bar is played, from its first one."""
    days = [day.day for day in found.days if bar in (*day.begin, *day.again)]
    return [day - days[0] for day in days]


@pytest.mark.outside
def test_pauses_are_those_that_kept_facts_best() -> None:
    """Cepeda and others 2008 (Psychological Science 19, 1095-1102): 20 to 40 % of a week, 5 to 10 %
    of a year; by their figure 3, 8, 12 and 27 days were best of 7, 35, 70 and 350 (from memory:
    held to a third)."""
    assert 1 <= round(best_gap_days(7)) <= 3
    assert 18 <= best_gap_days(365) <= 37
    assert 0.20 <= best_gap_days(7) / 7 <= 0.40
    assert 0.05 <= best_gap_days(365) / 365 <= 0.10
    for delay, best in ((7, 3), (35, 8), (70, 12), (350, 27)):
        assert best_gap_days(delay) == pytest.approx(best, rel=0.34)
    for before, after in pairwise(range(1, 400)):
        assert best_gap_days(after) > best_gap_days(before)
        assert best_gap_days(after) / after < best_gap_days(before) / before


def test_a_bar_comes_the_next_morning_and_then_after_longer_pauses() -> None:
    days = days_of(planned(1, 30), 0)
    assert days[:2] == [0, 1]
    pauses = [after - before for before, after in pairwise(days)]
    assert pauses == sorted(pauses)
    assert 4 <= pauses[1] <= 6
    assert len(days) >= 4  # it can settle: three days after the first


def test_for_a_week_it_holds_on_three_later_days() -> None:
    days = days_of(planned(1, 8), 0)
    assert days == [0, 1, 3, 5]


def test_the_last_day_is_for_the_whole_piece() -> None:
    last = planned(8, 14).days[-1]
    assert last.is_whole
    assert not last.begin
    assert [day.is_whole for day in planned(8, 14).days].count(True) == 1


@pytest.mark.parametrize("minutes", [10.0, 20.0, 45.0])
def test_no_day_is_longer_than_its_minutes(minutes: float) -> None:
    for day in planned(40, 30, minutes).days:
        assert day.minutes <= max(minutes, 0.2 * 40) + 1e-9


def test_what_is_certain_not_to_fit_is_said_with_the_least_that_it_takes() -> None:
    """Three evenings of ten minutes, and the last for the whole."""
    fits = round(3 * 10 / LEAST_MIN[UNTOUCHED])
    assert planned(fits, 4, 10.0).lost == ()
    assert planned(fits + 2, 4, 10.0).lost == (fits, fits + 1)
    assert planned(fits, 4, 10.0).late  # but mostly it would not


def test_what_mostly_does_not_fit_is_told_apart() -> None:
    begun = round(20 / BEGIN_MIN[UNTOUCHED])
    found = planned(begun * 30, 40, 20.0)
    assert found.lost == ()
    assert found.late
    enough = minutes_that_fit(new_bars(begun * 30), 1040, 1000)
    assert enough is not None
    assert not planned(begun * 30, 40, enough).late
    assert planned(begun * 30, 40, enough - 5).late


def test_what_is_begun_in_the_last_days_is_too_fresh_to_hold() -> None:
    assert planned(3, 5, 20.0).late == ()
    assert planned(3, 3, 20.0).late == (0, 1, 2)


def test_weak_bars_come_before_new_ones() -> None:
    bars = [*new_bars(3), BarStanding(7, WEAK, 999)]
    assert schedule(bars, DatePlan(1020, 20.0), 1000).days[0].begin[0] == 7


def test_a_settled_piece_is_only_kept() -> None:
    bars = [BarStanding(bar, SETTLED, 995) for bar in range(8)]
    found = schedule(bars, DatePlan(1020, 20.0), 1000)
    assert not any(day.begin for day in found.days)
    assert sum(day.minutes for day in found.days[:-1]) <= 8 * 8 * 0.5


def test_what_was_practised_today_counts() -> None:
    bars = new_bars(10)
    full = schedule(bars, DatePlan(1020, 20.0), 1000).days[0]
    spent = schedule(bars, DatePlan(1020, 20.0), 1000, played_min=20.0).days[0]
    assert full.begin
    assert not spent.begin


def test_a_day_is_played_again_then_mended_then_new_and_then_as_a_whole() -> None:
    """In parts of at most a phrase, as it is learnt."""
    score = score_from_notes(
        [{"pitch": 60, "onset": n, "length": 1, "hand": "RH"} for n in range(40)], title="Ten Bars"
    )
    bars = [BarStanding(bar, UNTOUCHED if bar in (8, 9) else WEAK) for bar in range(10)]
    day = PlannedDay(1000, begin=(7, 8, 9), again=(0, 1, 2, 3, 4, 5), is_whole=True)
    goals = goals_of(score, day, bars)
    told = [(stretch_words(score, goal.window), goal.way, goal.clean_required) for goal in goals]
    assert told == [
        ("bars 1 to 4", Way.REPAIR, 1),
        ("bars 5 to 6", Way.REPAIR, 1),
        ("bar 8", Way.REPAIR, 3),
        ("bars 9 to 10", Way.LEARN, 3),
        ("bars 1 to 10", Way.REPAIR, 1),
    ]


def test_a_pickup_goes_with_the_phrase_that_it_leads_to() -> None:
    score = read_score(SAMPLE.with_name("2-the-ferry-bell.musicxml"))
    day = PlannedDay(1000, again=tuple(range(9)))
    goals = goals_of(score, day, new_bars(9, SETTLED))
    told = [stretch_words(score, goal.window) for goal in goals]
    assert told == ["pickup to bar 4", "bars 5 to 8"]
    alone = goals_of(score, PlannedDay(1000, again=(0, 2)), new_bars(3, SETTLED))
    assert [stretch_words(score, goal.window) for goal in alone] == ["pickup to bar 1", "bar 2"]


def test_bars_running_are_one_stretch() -> None:
    assert stretches([4, 1, 2, 9, 3]) == [(1, 4), (9, 9)]


# -- at the command line -----------------------------------------------------------------------


@pytest.fixture
def at_noon(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is Sunday, 29 November 2026."""
    for module in ("coach.cli.commands.plan", "coach.record.progress"):
        monkeypatch.setattr(f"{module}.day_of", lambda at_s: 739_949)


@pytest.mark.usefixtures("at_noon")
def test_the_plan_is_said_and_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = ["--data", str(tmp_path)]
    assert main(["plan", str(SAMPLE), "--by", "2026-12-06", "--minutes", "10", *data]) == 0
    told = capsys.readouterr().out
    assert told.startswith("Low Tide, by Sun 6 Dec: 7 days, 10 minutes a day.\n")
    assert "\ntoday       drill bars 1 to 2 (10 min)\n" in told
    assert "\nSat 5 Dec   the whole piece, as you will play it" in told
    assert main(["plan", str(SAMPLE), *data]) == 0
    assert capsys.readouterr().out == told
    assert main(["plan", str(SAMPLE), "--forget", *data]) == 0
    assert main(["plan", str(SAMPLE), *data]) != 0
    assert "There is no plan yet" in capsys.readouterr().err


@pytest.mark.usefixtures("at_noon")
@pytest.mark.parametrize(
    ("day", "said"),
    [
        ("tomorrow", "is no day: write it as 2026-12-31."),
        ("2026-11-29", "is not in the future"),
        ("2020-01-01", "is not in the future"),
        ("2036-01-01", "is too far away"),
    ],
)
def test_a_day_that_cannot_be_is_answered_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], day: str, said: str
) -> None:
    assert main(["plan", str(SAMPLE), "--by", day, "--data", str(tmp_path)]) != 0
    assert said in capsys.readouterr().err


def test_the_plan_stands_in_the_diary_and_in_the_report(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_week(tmp_path, SAMPLE, 1, 0.3, 1)
    data, page = ["--data", str(tmp_path)], tmp_path / "page.html"
    by = date.fromordinal(day_of(time.time()) + 7)

    assert main(["plan", str(SAMPLE), "--by", by.isoformat(), *data]) == 0
    planned = capsys.readouterr().out.splitlines()
    assert main(["progress", str(SAMPLE), *data]) == 0
    diary = capsys.readouterr().out
    assert main(["report", str(SAMPLE), "--file", str(page), *data]) == 0
    report = page.read_text(encoding="utf-8")
    days = [row for row in planned if row.endswith("min)")]
    assert days
    assert all(row in diary for row in days)
    assert f"Planned {planned[0].split(', ', 1)[1].rstrip('.')}</h3>" in report
    assert report.count("min)</td>") == len(days)


def test_a_plan_is_shown_until_its_day_has_come() -> None:
    score = score_from_notes([{"pitch": 60, "onset": 0, "length": 4, "hand": "RH"}])
    shown = [
        PieceProgress(piece_key(score), score, Diary(score, ()), today, DatePlan(10, 20.0)).plan
        for today in (9, 10)
    ]
    assert shown == [DatePlan(10, 20.0), None]
