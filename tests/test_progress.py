"""Progress over days: the map of the bars, the days in figures, the page for the teacher."""

from __future__ import annotations

import re
import shutil
import stat
import subprocess
from datetime import date, datetime
from fractions import Fraction
from pathlib import Path

import pytest

from coach.cli import main
from coach.cli.commands import report
from coach.coaching.model import Observation
from coach.coaching.observations import FAILED
from coach.coaching.planning import (
    BarMap,
    BarState,
    Diary,
    Endings,
    PlayedOnce,
    Try,
    bars_around,
    chance_of_difference,
    chance_of_failing,
    fold_days,
)
from coach.coaching.planning.progress import Nights
from coach.coaching.wording import move_words
from coach.judging.model import Outcome
from coach.playing.notes import Take
from coach.record.calendar import day_of
from coach.record.packing import pack_moves, unpack_moves, unpack_tries
from coach.record.pieces import piece_key
from coach.record.progress import PieceProgress, forget_diary, gather_progress
from coach.record.store import Store
from coach.score.build import score_from_notes
from coach.score.model import Hand, Hands
from coach.score.reading import read_score
from coach.score.window import Transition, Window
from coach.screens.diary_text import (
    Look,
    change_words,
    days_page,
    map_lines,
    map_page,
    passages_page,
    spots_page,
    story_words,
    text_of,
)
from scripts.simulated_week import make_week
from tests.jackrig import missing
from tests.records import SCORE as RECORDED
from tests.records import ended

SAMPLES = Path(__file__).parent.parent / "sample_scores"
DAY_S = 86400.0
NOON_S = datetime(2026, 3, 9, 12).timestamp()
TWO_BARS = score_from_notes(
    [
        {"pitch": pitch, "onset": at, "length": 1, "hand": hand}
        for at in range(8)
        for pitch, hand in ((72, "RH"), (48, "LH"))
    ],
    metre="4/4",
)


WHOLE = ("0", "8", "both")


def tries(
    line: str,
    hand: Hands = Hands.RIGHT,
    beat: int = 2,
    window: tuple[str, str, str] = WHOLE,
) -> list[PlayedOnce]:
    """One try a letter, ``c`` clean and ``w`` wrong; a bar is the night: ``ww|c|c``."""
    move = Transition(hand, Fraction(beat - 1), Fraction(beat))
    return [
        PlayedOnce(
            NOON_S + day * DAY_S + 60 * at,
            window,
            letter == "c",
            80.0,
            (Try(move, Fraction(beat), letter == "w"),),
        )
        for day, letters in enumerate(line.split("|"))
        for at, letter in enumerate(letters)
    ]


def states(played: list[PlayedOnce], until: int | None = None) -> BarMap:
    """The map of the two bars."""
    return Diary(TWO_BARS, fold_days(TWO_BARS, played, day_of)).map_on(until)


def day(number: int) -> int:
    """The n-th day's number, the first is 0."""
    return date(2026, 3, 9 + number).toordinal()


@pytest.mark.parametrize(
    ("line", "state"),
    [
        ("ccc", BarState.HOLDING),
        ("www", BarState.WEAK),
        ("wwccc", BarState.HOLDING),
        ("cccw", BarState.WEAK),
        ("ccc|c|c", BarState.HOLDING),  # two later days
        ("ccc|c|c|c", BarState.SETTLED),
        ("wwccc|c|wccccc|c|c", BarState.SETTLED),  # a day with a slip does not count
        ("ccc|c|c|c|ww", BarState.WEAK),  # it broke again
    ],
)
def test_a_bar_is_weak_holding_or_settled(line: str, state: BarState) -> None:
    assert states(tries(line))[0, Hand.RIGHT] is state


def test_a_bar_is_weak_while_a_move_in_it_is_whatever_else_of_it_was_clean_since() -> None:
    failed, rest = tries("ww", beat=2), tries("|cccccc", beat=3)
    assert states([*failed, *rest])[0, Hand.RIGHT] is BarState.WEAK
    assert states([*failed, *rest], day(0))[0, Hand.RIGHT] is BarState.WEAK
    mended = [*failed, *tries("|cccccc", beat=2)]
    assert states(mended)[0, Hand.RIGHT] is BarState.HOLDING
    once = [*tries("w", beat=2), *rest]
    assert states(once)[0, Hand.RIGHT] is BarState.HOLDING  # one may be chance


def test_each_hand_and_bar_stands_for_itself() -> None:
    assert states([*tries("www"), *tries("ccc", Hands.LEFT, beat=6)]) == {
        (0, Hand.RIGHT): BarState.WEAK,
        (0, Hand.LEFT): BarState.UNTOUCHED,
        (1, Hand.RIGHT): BarState.UNTOUCHED,
        (1, Hand.LEFT): BarState.HOLDING,
    }


@pytest.mark.parametrize(
    ("window", "line", "state"),
    [
        (("0", "4", "both"), "ccc", BarState.UNTOUCHED),
        (("0", "4", "both"), "ww", BarState.WEAK),  # to arrive there is to be practised
        (("0", "5", "both"), "ccc", BarState.HOLDING),
    ],
)
def test_a_bar_of_which_only_the_landing_was_played_is_untouched(
    window: tuple[str, str, str], line: str, state: BarState
) -> None:
    played = tries(line, beat=4, window=window)
    assert states(played)[1, Hand.RIGHT] is state


def test_the_map_of_an_earlier_day_knows_nothing_of_later_ones() -> None:
    history = tries("www|ccc|ccc|ccc|ccc")
    found = [states(history, day(n))[0, Hand.RIGHT] for n in (-1, 0, 1, 3)]
    assert found == [BarState.UNTOUCHED, BarState.WEAK, BarState.HOLDING, BarState.SETTLED]


def test_a_day_ends_at_four_in_the_morning() -> None:
    late = datetime(2026, 3, 10, 3, 59).timestamp()
    assert day_of(late) == date(2026, 3, 9).toordinal()
    assert day_of(late + 60) == date(2026, 3, 10).toordinal()


def test_the_days_in_figures() -> None:
    window, other = ("0", "4", "both"), ("4", "8", "LH")
    played = [
        PlayedOnce(NOON_S, window, False, 80.0),
        PlayedOnce(NOON_S + 20, window, True, 84.0),
        PlayedOnce(NOON_S + 620, other, True, 60.0),  # ten minutes of tea count for one
        PlayedOnce(NOON_S + DAY_S, window, True, 92.0),
    ]
    diary = Diary(TWO_BARS, fold_days(TWO_BARS, played, day_of))
    first, second = diary.days
    assert first.minutes == pytest.approx(80 / 60)
    assert (first.repetitions, first.clean, first.first_tries, first.first_clean) == (3, 2, 2, 1)
    assert second.first_clean == second.first_tries == 1
    others, mine = diary.passages()  # the minute of the other is the most
    assert mine.best_qpm == {first.day: 84.0, second.day: 92.0}
    assert (mine.repetitions, mine.clean, others.repetitions) == (3, 2, 1)
    assert mine.minutes + others.minutes == pytest.approx(first.minutes)
    earlier = diary.passages(first.day)
    assert [one.best_qpm for one in earlier] == [{first.day: 60.0}, {first.day: 84.0}]
    assert diary.minutes_by_bar() == {0: pytest.approx(20 / 60), 1: pytest.approx(1.0)}


def test_what_was_played_lately_says_most() -> None:
    assert chance_of_failing([]) == 0.5
    assert chance_of_failing([True] * 4 + [False] * 8) < chance_of_failing([False] * 8 + [True] * 4)
    assert chance_of_failing([False] * 50) < 0.11


def test_the_map_is_read_without_colour() -> None:
    shown = states([*tries("www"), *tries("ccc", Hands.LEFT, beat=6)])
    lines = text_of(map_lines(TWO_BARS.bars, shown, Look(12))).splitlines()
    assert lines[1:] == ["RH   xxxx ····", "LH   ···· ○○○○"]
    lines = text_of(map_lines(TWO_BARS.bars, shown, Look(12, plain=True))).splitlines()
    assert lines[1:] == ["RH   xxxx ....", "LH   .... oooo"]


@pytest.mark.parametrize("width", [56, 76, 116])
def test_no_line_of_the_passages_is_wider_than_the_page(width: int) -> None:
    """Three weeks of tempi, and a passage with a long name."""
    long = Transition(Hands.RIGHT, Fraction(3), Fraction(5))
    windows = (WHOLE, (str(long.from_quarters), str(long.to_quarters), "RH"))
    played = [
        PlayedOnce(NOON_S + DAY_S * day + 60 * n, window, True, 80.0 + day)
        for day in range(21)
        for n, window in enumerate(windows)
    ]
    diary = Diary(TWO_BARS, fold_days(TWO_BARS, played, day_of))
    told = text_of(passages_page(diary, diary.days[-1].day, Look(width))).splitlines()
    assert max(map(len, told)) <= width
    assert "RH bar 1, beat 4 to bar 2, beat 2" in "\n".join(told) or width < 76


def test_what_a_day_changed_is_said() -> None:
    diary = Diary(TWO_BARS, fold_days(TWO_BARS, tries("www|ccc"), day_of))
    said = text_of(map_page(diary, day(1), Look()))
    assert "New on that day: holding bar 1 RH." in said
    assert "10 March: 2 minutes, 3 repetitions; 1 of 1 passage clean at the first try" in said
    assert "New" not in text_of(map_page(diary, day(0), Look()))


def test_a_pickup_is_called_so_where_a_day_changed_it() -> None:
    score = read_score(SAMPLES / "2-the-ferry-bell.musicxml")
    places = [(bar, hand) for bar in (0, 1) for hand in (Hand.RIGHT, Hand.LEFT)]
    holding = dict.fromkeys(places, BarState.HOLDING)
    assert change_words({}, {places[0]: BarState.WEAK}, score) == "New on that day: weak pickup RH."
    assert change_words({}, holding, score).startswith(
        "New on that day: holding bars pickup RH, pickup LH, 1 RH"
    )


def test_a_spots_story_is_told_in_the_order_of_its_days() -> None:
    diary = Diary(TWO_BARS, fold_days(TWO_BARS, tries("ccc|www|cccc|c|cc|www"), day_of))
    (spot,) = diary.spots()
    assert story_words(spot) == (
        "16 tries on 6 days, 6 failed. It first failed on 10 March (3 of 3). "
        "On 11 March it held. From 13 March it was settled. On 14 March it broke again."
    )
    assert diary.spots(day(0)) == ()
    assert "settled" in text_of(spots_page(diary, day(4), Look()))


def test_a_spot_that_was_weak_from_the_start_is_told_once() -> None:
    (spot,) = Diary(TWO_BARS, fold_days(TWO_BARS, tries("www|cw"), day_of)).spots()
    assert story_words(spot) == "5 tries on 2 days, 4 failed. It first failed on 9 March (3 of 3)."


def nights(left_clean: str, left_before: str) -> Diary:
    """One passage a letter, left in this way and found clean (``c``) or not (``w``) next day."""
    played = []
    for at, (ending, found) in enumerate(
        [*(("ccc", one) for one in left_clean), *(("ccw", one) for one in left_before)]
    ):
        window = (str(at), str(at + 1), "RH")
        for nth, letter in enumerate(f"{ending}|{found}c"):
            if letter != "|":
                at_s = NOON_S + 30 * nth + DAY_S * (nth > 3)
                played.append(PlayedOnce(at_s, window, letter == "c", 80.0))
    return Diary(TWO_BARS, fold_days(TWO_BARS, played, day_of))


@pytest.mark.parametrize(
    ("left_clean", "left_before", "told"),
    [
        ("c" * 10 + "w" * 2, "c" * 2 + "w" * 10, True),
        ("c" * 8 + "w" * 4, "c" * 5 + "w" * 7, False),  # chance does as much
        ("c" * 9, "w" * 12, False),  # too few nights
        ("w" * 12, "c" * 12, True),  # also where it speaks against us
    ],
)
def test_accuracy_that_saved_time_is_told_only_where_the_record_shows_it(
    left_clean: str, left_before: str, told: bool
) -> None:
    found = nights(left_clean, left_before).endings()
    assert (found is not None) is told
    if found:
        assert found.left_clean.count == len(left_clean)
        assert found.left_clean.first_clean == left_clean.count("c")
        assert found.left_before.until_clean == len(left_before) + left_before.count("w")


@pytest.mark.outside
def test_the_chance_of_a_difference_is_fishers() -> None:
    """Against scipy's exact test."""
    from scipy.stats import fisher_exact

    for clean, first, before, later in ((12, 10, 12, 2), (31, 24, 28, 9), (10, 5, 15, 9)):
        table = [[first, clean - first], [later, before - later]]
        found = Endings(Nights(clean, first), Nights(before, later))
        assert chance_of_difference(found) == pytest.approx(fisher_exact(table)[1], rel=1e-6)


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three days of a simulated pianist."""
    folder = tmp_path_factory.mktemp("week")
    make_week(folder, SAMPLES / "4-waltz-in-sea-boots.musicxml", 3, 2.0, 3)
    return folder


def test_progress_is_told_in_text(week: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["progress", "--data", str(week)]) == 0
    told = capsys.readouterr().out
    assert "Waltz in Sea Boots" in told
    assert "untouched" in told
    assert "Clean at the first try of the day" in told
    assert main(["progress", "--data", str(week), "--on", "2001-01-01"]) == 0
    assert "Nothing was played of it by then." in capsys.readouterr().out
    assert main(["progress", "--data", str(week), "--on", "someday"]) == 2
    assert "write it as 2026-03-14" in capsys.readouterr().err


def test_without_practice_there_is_a_sentence(
    tmp_path: Path, week: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for command in ("progress", "report"):
        assert main([command, "--data", str(tmp_path)]) == 2
        assert "Nothing was played yet" in capsys.readouterr().err
    score = str(SAMPLES / "1-low-tide.musicxml")
    assert main(["progress", score, "--data", str(week)]) == 2
    assert "was not played yet" in capsys.readouterr().err


@pytest.fixture(scope="module")
def page(week: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("page") / "report.html"
    assert main(["report", "--data", str(week), "--file", str(file)]) == 0
    return file


@pytest.mark.outside
def test_the_report_is_valid_html(page: Path) -> None:
    """By html5lib's strict parser; and no two parts of it have the same name."""
    import html5lib

    text = page.read_text(encoding="utf-8")
    html5lib.HTMLParser(strict=True).parse(text)
    names = re.findall(r'\bid="([^"]+)"', text)
    assert len(names) == len(set(names))
    assert set(re.findall(r'href="#([^"]+)"', text)) <= set(names)


def test_the_report_asks_for_nothing_from_elsewhere(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    assert "<script" not in text
    assert not re.findall(r"""(?:src|href)=["'](?!#|data:)|url\(|@import""", text)
    assert "http" not in re.sub(r"data:[^\"]*", "", text)
    assert not page.stat().st_mode & 0o077


def test_the_report_holds_notes_and_takes(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    assert "Weak, or broke when last played" in text
    if "<figcaption><strong>" in text:
        pytest.importorskip("verovio")
        assert 'class="notehead"' in text
        assert "data:audio/midi;base64," in text


@pytest.mark.real
def test_in_a_browser_the_report_fits_a_phone_a_sheet_of_paper_and_a_desk(
    page: Path, tmp_path: Path
) -> None:
    """680 pixels are A4 less its margins, 180 mm; Letter is wider."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if not chromium:
        missing("needs Chromium: apt-get install chromium")
    assert chromium
    copy = tmp_path / "measured.html"
    script = (
        "<script>document.title = 'width ' + document.documentElement.scrollWidth + ' of ' "
        "+ window.innerWidth + ' svg ' + document.querySelectorAll('figure svg').length"
        "+ ' cut ' + [...document.querySelectorAll('.wide')].filter("
        "one => one.querySelector('table.days') && one.scrollWidth > one.clientWidth).length"
        "</script>"
    )
    copy.write_text(page.read_text(encoding="utf-8").replace("</body>", f"{script}</body>"))
    widths = (390, 680, 900)
    frame = tmp_path / "frame.html"  # a window is never narrower than 500 pixels; a frame is
    frame.write_text(
        "".join(
            f'<iframe src="{copy.name}" style="width:{width}px;height:800px;border:0"></iframe>'
            for width in widths
        )
        + "<script>onload = () => { document.title = [0, 1, 2]"
        ".map(n => frames[n].document.title).join(', ') }</script>"
    )
    done = subprocess.run(
        [chromium, "--headless", "--no-sandbox", "--disable-gpu", "--allow-file-access-from-files",
         f"--user-data-dir={tmp_path / 'profile'}", "--virtual-time-budget=3000", "--dump-dom",
         frame.as_uri()],
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    (title,) = re.findall(r"<title>(.*)</title>", done.stdout) or [done.stderr[-300:]]
    found = re.findall(r"width (\d+) of (\d+)", title)
    assert len(found) == len(widths), title
    for width, (needed, there) in zip(widths, found, strict=True):
        assert int(needed) <= int(there) <= width
    assert re.findall(r"cut (\d+)", title) == ["0"] * len(widths)


def test_a_repetition_without_a_take_does_not_end_the_report(
    week: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coach.record.store.Store.take", lambda self, repetition: Take(()))
    file = tmp_path / "report.html"
    assert main(["report", "--data", str(week), "--file", str(file)]) == 0
    assert "data:audio/midi" not in file.read_text(encoding="utf-8")


def test_a_report_written_over_another_is_the_owners_alone(week: Path, tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    file.write_text("older")
    file.chmod(0o644)
    assert main(["report", "--data", str(week), "--file", str(file)]) == 0
    assert not file.stat().st_mode & 0o077


def test_what_was_written_into_the_piece_is_in_the_report(tmp_path: Path) -> None:
    score = SAMPLES / "4-waltz-in-sea-boots.musicxml"
    make_week(tmp_path / "pianists" / "Ada", score, 1, 2.0, 3)
    read = read_score(score)
    first, last = read.bars[0].number, read.bars[-1].number
    words = [f"bars {first}-{last} note Sing <it> first.", "bar 2 beat 1 RH finger 4"]
    ada, file = ["--data", str(tmp_path), "--pianist", "Ada"], tmp_path / "report.html"
    assert main(["mark", str(score), *words, *ada]) == 0
    assert main(["report", "--file", str(file), *ada]) == 0
    text = file.read_text(encoding="utf-8")
    assert "<h1>Practice report of Ada</h1>" in text
    assert f"<li>bars {first} to {last}: <bdi>Sing &lt;it&gt; first.</bdi></li>" in text
    assert "<li>bar 2 beat 1 RH finger 4</li>" in text
    assert (
        "Weak, or broke when last played</h3>\n<p>Nothing" not in text
    )  # there is something to write on
    assert "Sing &lt;it&gt; first." in text
    assert re.search(r'style="max-width: \d+px"', text)  # no staff grows with the page
    assert "Tried: " in text
    assert "Where the time went" in text


def test_what_has_no_room_in_the_report_is_named_and_words_from_right_to_left_stay_by_themselves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coach.cli.commands.report.MOST_SPOTS", 0)
    sample = (SAMPLES / "2-the-ferry-bell.musicxml").read_text(encoding="utf-8")
    score = tmp_path / "bell.musicxml"
    score.write_text(sample.replace("The Ferry Bell", "שיר הסירה"), encoding="utf-8")
    make_week(tmp_path / "data", score, 1, 1.0, 3)
    file = tmp_path / "report.html"
    assert main(["report", "--file", str(file), "--data", str(tmp_path / "data")]) == 0
    text = file.read_text(encoding="utf-8")
    assert "<h2><bdi>שיר הסירה</bdi></h2>" in text
    read = read_score(score)
    weak = gather_progress(Store(tmp_path / "data"), piece_key(read, score), read).diary.weak()
    assert weak
    named = "; ".join(move_words(read, story.move) for story in weak)
    assert f"<p>And {len(weak)} more: {named}.</p>" in text


def test_days_and_minutes_of_the_report_have_no_noughts() -> None:
    score = read_score(SAMPLES / "1-low-tide.musicxml")
    begin_s = datetime(2026, 3, 2, 12).timestamp()
    days = fold_days(score, [PlayedOnce(begin_s, ("0", "8", "both"), True, 80.0)], day_of)
    one = PieceProgress(piece_key(score), score, Diary(score, days), day(0))
    text = report._days(one.diary) + report._summary(one.diary)
    assert "<td>2&nbsp;Mar</td><td>&lt; 1</td>" in text
    assert "last on 2 March." in text


def test_what_was_tried_and_never_clean_has_no_tempo(page: Path) -> None:
    told = re.findall(r"\(\d+ clean of \d+[^)]*\)", page.read_text(encoding="utf-8"))
    assert told
    for words in told:
        assert re.fullmatch(r"\(0 clean of \d+\)|\([1-9]\d* clean of \d+, at [\d →]+\)", words)


def test_what_broke_last_is_weak_once_for_each_hand_and_bar() -> None:
    twice = [*tries("ccc|cwcw"), *tries("ccc|cccw", beat=3), *tries("www|ccc", Hands.LEFT, beat=6)]
    found = Diary(TWO_BARS, fold_days(TWO_BARS, twice, day_of)).weak()
    assert [one.move for one in found] == [Transition(Hands.RIGHT, Fraction(1), Fraction(2))]
    around = bars_around(TWO_BARS, found[0].move)
    assert around == Window(Fraction(0), Fraction(4), Hands.RIGHT)
    still = Diary(TWO_BARS, fold_days(TWO_BARS, tries("www"), day_of)).weak()
    assert [one.state for one in still] == [BarState.WEAK]


def test_years_of_moves_are_read_quickly_and_as_they_were_observed() -> None:
    """Numbers of one byte and of more, fractions, errors, and moves that were not reached."""
    moves = [
        Observation(
            0.0,
            Transition(hand, Fraction(start), Fraction(start) + Fraction(step, 3)),
            Fraction(start) + Fraction(onset, 3),
            Hands.TOGETHER,
            outcome,
            80.0,
            error_ms,
            heard,
        )
        for hand in (Hands.RIGHT, Hands.LEFT)
        for start, step, onset, outcome, error_ms, heard in (
            (0, 3, 3, Outcome.CLEAN, None, 1.0),
            (1, 3, 2, Outcome.LATE, 812.5, 0.2),
            (5, 1, 1, Outcome.NOT_REACHED, None, 1.0),
            (700, 900, 5, Outcome.WRONG, -4000.0, 0.0),
            (3, 3, 3, Outcome.UNEVEN, 0.1, 1.0),
        )
    ]
    packed = pack_moves(moves)
    observed = unpack_moves(packed, 0.0, Hands.TOGETHER, 80.0)
    assert unpack_tries(packed) == tuple(
        Try(one.transition, one.onset_quarters, one.outcome in FAILED)
        for one in observed
        if one.outcome is not Outcome.NOT_REACHED
    )
    for broken in (packed[:-1], packed[:3], packed + b"\x01", b"\x09" + packed[1:]):
        with pytest.raises(ValueError, match=r"."):
            unpack_tries(broken)


# -- days that are over are kept folded ----------------------------------------------------------

PIECE = piece_key(RECORDED)
DAYS = (NOON_S, NOON_S + DAY_S, NOON_S + 4 * DAY_S)


@pytest.fixture
def practised(tmp_path: Path) -> Store:
    """Three days of practice: broken, mended, kept."""
    store = Store(tmp_path)
    for at_s, line in zip(DAYS, ("wwc", "wcccc", "c"), strict=True):
        for n, sign in enumerate(line):
            store.save_repetition(PIECE, ended(clean=sign == "c"), at_s + 30 * n)
    return store


def told(store: Store, now_s: float = NOON_S + 4 * DAY_S + 3600) -> str:
    """All that the diary shows."""
    diary = gather_progress(store, PIECE, RECORDED, now_s).diary
    return "\n".join(
        text_of(page(diary, day.day, Look()))
        for day in diary.days
        for page in (map_page, days_page, passages_page, spots_page)
    )


def test_what_is_kept_of_past_days_shows_what_all_facts_show(practised: Store) -> None:
    first = told(practised)
    kept = list((practised.folder / "diary").iterdir())
    assert told(practised) == first
    assert [file.name for file in kept] == [f"{PIECE.key}.json"]
    assert all(not stat.S_IMODE(file.stat().st_mode) & 0o077 for file in kept)
    forget_diary(practised.folder)
    assert told(practised) == first


def test_of_past_days_nothing_is_read_again(
    practised: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    told(practised)
    read: list[int] = []
    unpack = unpack_tries

    def counted(moves: bytes) -> tuple[Try, ...]:
        read.append(1)
        return unpack(moves)

    monkeypatch.setattr("coach.record.rows.unpack_tries", counted)
    told(practised)
    assert len(read) == 1
    told(practised, NOON_S + 5 * DAY_S)  # the next day one more is over
    told(practised, NOON_S + 5 * DAY_S)
    assert len(read) == 2


@pytest.mark.parametrize("damage", ["cut", "changed", "of another form", "gone"])
def test_what_is_kept_of_past_days_is_made_anew_where_it_is_damaged(
    practised: Store, damage: str
) -> None:
    first = told(practised)
    (file,) = (practised.folder / "diary").iterdir()
    text = file.read_text()
    if damage == "gone":
        file.unlink()
    else:
        changed = {
            "cut": text[:-20],
            "changed": text.replace('"until_s":', '"until_s":1'),
            "of another form": text.replace("1 ", "0 ", 1),
        }
        file.write_text(changed[damage])
    assert told(practised) == first
    assert file.read_text() == text


def test_what_joins_the_record_is_in_the_days_that_are_over(practised: Store) -> None:
    told(practised)
    practised.save_repetition(PIECE, ended(clean=False), NOON_S + DAY_S + 900)
    joined = told(practised)
    forget_diary(practised.folder)
    assert joined == told(practised)
    assert "6 repetitions" in joined
