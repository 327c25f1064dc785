"""The diary in words and characters, for ``coach progress`` and the diary's screen.

A line is made of parts, each with a role that the screen gives a colour; the shapes alone say it
all, for paper and for eyes that tell no colours.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from datetime import date
from typing import NamedTuple

from coach.coaching.planning import (
    BarMap,
    BarState,
    DayFigures,
    DayTries,
    Diary,
    Endings,
    PassageFigures,
    SpotStory,
)
from coach.coaching.wording import move_words, stretch_words
from coach.score.model import Bar, Hand, Hands, Score
from coach.score.words import count_of


class LinePart(NamedTuple):
    """Some characters of a line."""

    text: str
    role: str = ""
    """"", ``head``, ``faint``, ``chosen``, ``bar``, or a state of :class:`BarState`."""


Line = tuple[LinePart, ...]


class Look(NamedTuple):
    """How wide and how high a page may be, and whether in plain letters."""

    width: int = 80
    plain: bool = False
    rows: int = 18


SIGNS = {
    BarState.UNTOUCHED: "·",
    BarState.WEAK: "x",
    BarState.HOLDING: "○",
    BarState.SETTLED: "●",
}
"""A bar's state as a character: from nothing to full, and a cross where it breaks."""
PLAIN_SIGNS = {
    BarState.UNTOUCHED: ".",
    BarState.WEAK: "x",
    BarState.HOLDING: "o",
    BarState.SETTLED: "@",
}
_BLOCKS, _PLAIN_BLOCKS = " ▁▂▃▄▅▆▇█", " 1234567#"
"""Eighths of a cell."""
_FULL = len(_BLOCKS) - 1

MARGIN = 5
"""Columns before a map or a chart: ``RH``, ``100 %``."""
WIDEST_CELL = 6
"""Columns that a bar takes on the map at most. Own choice: a short piece needs no wider row."""
LEAST_ROWS, MOST_ROWS = 4, 10
"""Of a chart. Own choice: fewer show no course, more is no easier to read."""
NARROWEST_DAY, WIDEST_DAY = 3, 6
"""Columns that a day takes in a chart: two figures and a gap."""
MOST_PASSAGES, MOST_SPOTS, MOST_TEMPI = 12, 8, 14
"""What is listed at most. Own choice: more isn't read."""
LEAST_TEMPI = 4
"""Days of a tempo's curve that there is room for beside the longest name. Own choice: of less room
the name is cut."""
_FIGURES, _TEMPI_ENDS = 28, 11
"""Columns of a passage's figures, and of the tempo that its curve begins and ends with."""


def line(text: str = "", role: str = "") -> Line:
    """A line of one part."""
    return (LinePart(text, role),)


def text_of(lines: Sequence[Line]) -> str:
    """Without roles."""
    return "\n".join("".join(part.text for part in one).rstrip() for one in lines)


def day_words(day: int) -> str:
    """``Monday 9 March 2026``."""
    at = date.fromordinal(day)
    return f"{at:%A} {at.day} {at:%B} {at.year}"


def short_day(day: int) -> str:
    """``9 March``."""
    at = date.fromordinal(day)
    return f"{at.day} {at:%B}"


# -- the map --------------------------------------------------------------------------------------


def map_page(diary: Diary, until: int, look: Look) -> list[Line]:
    """Where the piece stood when a day was over: bars by hand, and what that day changed."""
    states = diary.map_on(until)
    lines = map_lines(diary.score.bars, states, look, diary.minutes_by_bar(until))
    lines += [line(), legend(states, look), line()]
    figures = next((one for one in diary.days if one.day == until), None)
    if figures:
        lines += [line(text) for text in wrap(figures_words(figures), look)]
    earlier = [one.day for one in diary.days if one.day < until]
    if figures and earlier:
        changes = change_words(diary.map_on(earlier[-1]), states, diary.score)
        lines += [line(text) for text in wrap(changes, look)]
    return lines


def map_lines(
    bars: Sequence[Bar], states: BarMap, look: Look, minutes: Mapping[int, float] | None = None
) -> list[Line]:
    """The grid of bars by hand; under it the minutes spent on each bar."""
    room = max(look.width - MARGIN, 10)
    cell = min(max(room // max(len(bars), 1), 2), WIDEST_CELL)
    each = room // cell
    rows = -(-len(bars) // each)
    each = -(-len(bars) // rows) if rows else each  # rows of about one length
    signs = PLAIN_SIGNS if look.plain else SIGNS
    most = max((minutes or {}).values(), default=0.0)
    lines: list[Line] = []
    for start in range(0, len(bars), each):
        part = bars[start : start + each]
        lines += [line()] if lines else []
        lines.append(line(_bar_numbers(part, cell), "faint"))
        for hand in Hand:
            cells = [LinePart(f"{hand.value:<{MARGIN}}")]
            for bar in part:
                state = states.get((bar.index, hand))
                if state is None:
                    cells.append(LinePart(" " * cell))
                else:
                    cells.append(LinePart(signs[state] * (cell - 1), state.value))
                    cells.append(LinePart(" "))
            lines.append(tuple(cells))
        if minutes and most:
            shares = (minutes.get(bar.index, 0.0) / most for bar in part)
            told = "".join(block(share, look) * (cell - 1) + " " for share in shares)
            lines.append((LinePart(f"{'time':<{MARGIN}}", "faint"), LinePart(told, "bar")))
    return lines


def _bar_numbers(bars: Sequence[Bar], cell: int) -> str:
    """The first bar's number, and every fifth, each over its bar."""
    numbers = [" "] * (cell * len(bars) + MARGIN + 4)
    for at, bar in enumerate(bars):
        if at == 0 or (bar.number.isdigit() and int(bar.number) % 5 == 0):
            place = MARGIN + cell * at
            if numbers[place - 1] == " " and (at == 0 or numbers[place] == " "):
                numbers[place : place + len(bar.number)] = bar.number or "0"
    return "".join(numbers).rstrip()


def legend(states: BarMap, look: Look) -> Line:
    """The four states, with how many there are of each."""
    signs = PLAIN_SIGNS if look.plain else SIGNS
    counts = dict.fromkeys(BarState, 0)
    for state in states.values():
        counts[state] += 1
    parts: list[LinePart] = []
    for state, count in counts.items():
        parts += [LinePart(signs[state], state.value), LinePart(f" {state.value} {count}   ")]
    return tuple(parts)


def block(share: float, look: Look, *, least: int = 0) -> str:
    """A share as a block of so many eighths; whatever is more than nothing is seen."""
    eighths = round(share * _FULL)
    if share > 0:
        eighths = max(eighths, 1)
    return (_PLAIN_BLOCKS if look.plain else _BLOCKS)[min(max(eighths, least), _FULL)]


def figures_words(day: DayFigures) -> str:
    """One day in a sentence."""
    return (
        f"{short_day(day.day)}: {count_of(round(day.minutes), 'minute')}, "
        f"{count_of(day.repetitions, 'repetition')}; {day.first_clean} of "
        f"{count_of(day.first_tries, 'passage')} clean at the first try of the day."
    )


_PICKUP = "pickup"


def _bars_of(places: Sequence[str]) -> str:
    """What stands before them: ``bar ``, ``bars ``; nothing before the pickup alone."""
    if len(places) == 1:
        return "" if places[0].startswith(_PICKUP) else "bar "
    return "bars "


def change_words(before: BarMap, now: BarMap, score: Score) -> str:
    """What the day changed, the gains first; "" where nothing did."""
    order = [*BarState]
    became: dict[BarState, list[str]] = {state: [] for state in reversed(order)}
    for place, state in now.items():
        if state is not before.get(place):
            bar, hand = score.bars[place[0]], place[1]
            number = _PICKUP if bar.is_pickup else bar.number
            became[state].append(f"{number} {hand.value}")
    told = [
        f"{state.value} {_bars_of(places)}{_some(places)}"
        for state, places in became.items()
        if places
    ]
    return f"New on that day: {'; '.join(told)}." if told else ""


def _some(places: Sequence[str], most: int = 6) -> str:
    more = len(places) - most
    return ", ".join(places[:most]) + (f" and {more} more" if more > 0 else "")


# -- the days -------------------------------------------------------------------------------------


def days_page(diary: Diary, until: int, look: Look) -> list[Line]:
    """Minutes and clean first tries of the last days; what leaving a passage clean was worth."""
    days = [day for day in diary.days if day.day <= until][-_most_days(look) :]
    cell, rows = _chart_size(len(days), look, charts=2)
    shares = [day.first_clean / day.first_tries if day.first_tries else None for day in days]
    most = max((day.minutes for day in days), default=0.0)
    lines = [line("Clean at the first try of the day", "head")]
    lines += bar_chart(shares, ("100%", "0%"), look, cell, rows)
    lines += [line(), line("Minutes", "head")]
    scaled = [day.minutes / most if most else 0.0 for day in days]
    lines += bar_chart(scaled, (f"{most:.0f}", "0"), look, cell, rows - 1)
    lines += [line(text, "faint") for text in _day_labels([day.day for day in days], cell)]
    found = diary.endings(until)
    if found:
        lines += [line(), *(line(text) for text in wrap(endings_words(found), look))]
    return lines


def _most_days(look: Look) -> int:
    return max((look.width - MARGIN - 2) // NARROWEST_DAY, 1)


def _chart_size(days: int, look: Look, *, charts: int = 1) -> tuple[int, int]:
    """The columns of each day, and the rows of each of so many charts on a page."""
    cell = (look.width - MARGIN - 2) // max(days, 1)
    rows = (look.rows - _BESIDE_CHARTS) // charts
    return min(max(cell, NARROWEST_DAY), WIDEST_DAY), min(max(rows, LEAST_ROWS), MOST_ROWS)


_BESIDE_CHARTS = 10
"""Rows of a page that are headings, labels and sentences."""


def bar_chart(
    shares: Sequence[float | None],
    ends: tuple[str, str],
    look: Look,
    cell: int,
    rows: int,
) -> list[Line]:
    """A column for each value from 0 to 1, so many rows high; None leaves its place empty."""
    edge = "|" if look.plain else "│"
    lines: list[Line] = []
    for row in range(rows):
        below = rows - 1 - row
        cells = []
        for share in shares:
            part = min(max((share or 0.0) * rows - below, 0.0), 1.0)
            is_foot = below == 0 and share is not None
            char = block(part, look, least=1 if is_foot else 0)
            cells.append(char * (cell - 1) + " ")
        label = ends[0] if row == 0 else ends[1] if below == 0 else ""
        lines.append(
            (LinePart(f"{label:>{MARGIN - 1}}{edge}", "faint"), LinePart("".join(cells), "bar"))
        )
    return lines


def _day_labels(days: Sequence[int], cell: int) -> list[str]:
    """The days' numbers, and below the first and each new month its name."""
    numbers, months, before = "", "", 0
    for at, day in enumerate(days):
        on = date.fromordinal(day)
        numbers += f"{on.day:<{cell}}"
        if on.month != before and len(months) <= cell * at:
            months = f"{months:<{cell * at}}{on:%b}" + (f" {on.year}" if at == 0 else "")
        before = on.month
    return [" " * MARGIN + numbers, " " * MARGIN + months]


def endings_words(found: Endings) -> str:
    """What the pianist's own record says of leaving a passage clean, with its numbers."""
    clean, before = found.left_clean, found.left_before
    return (
        f"Passages that you left clean (the last three of the day) were clean at the first try "
        f"next time in {clean.first_clean} of {clean.count}; those that you left before that, in "
        f"{before.first_clean} of {before.count}. Up to the first clean one it then took "
        f"{clean.until_clean / clean.count:.1f} repetitions, against "
        f"{before.until_clean / before.count:.1f}. That is your own record; harder passages are "
        "left unclean more often, so a part of it is theirs."
    )


# -- the passages ---------------------------------------------------------------------------------


def passages_page(diary: Diary, until: int, look: Look) -> list[Line]:
    """Where the minutes went, and the tempo reached day by day."""
    passages = diary.passages(until)
    longest = max(
        (len(passage_words(diary.score, one)) for one in passages[:MOST_PASSAGES]), default=8
    )
    name = min(longest, max(look.width - _FIGURES - _TEMPI_ENDS - LEAST_TEMPI, 16))
    days = min(max(look.width - name - _FIGURES - _TEMPI_ENDS, 1), MOST_TEMPI)
    lines = [line(f"{'':<{name}}  minutes   times  clean   tempo by day", "faint")]
    for one in passages[:MOST_PASSAGES]:
        share = f"{100 * one.clean / one.repetitions:.0f} %"
        words = passage_words(diary.score, one)
        words = words if len(words) <= name else words[: name - 1] + "…"
        tempi = tempo_curve(diary.score, one, look, days)
        told = (
            f"{words:<{name}}  {minutes_words(one.minutes):>7}  {one.repetitions:6}  {share:>5}   "
        )
        lines.append((LinePart(told), *tempi))
    rest = passages[MOST_PASSAGES:]
    if rest:
        minutes = sum(one.minutes for one in rest)
        lines.append(
            line(f"and {count_of(len(rest), 'more passage')}: {minutes_words(minutes)} min")
        )
    return lines


def passage_words(score: Score, one: PassageFigures) -> str:
    """``RH bars 3 to 5``, ``both hands bar 7``."""
    hands = one.window.hands
    whose = "both hands" if hands is Hands.TOGETHER else hands.value
    return f"{whose} {stretch_words(score, one.window)}"


def tempo_curve(score: Score, one: PassageFigures, look: Look, days: int = MOST_TEMPI) -> Line:
    """``▃▅█ 60 → 92``: the quickest clean repetition of each of so many days, the last ones, in
    beats a minute."""
    beat = float(score.bar_at(one.window.start_quarters).metre.beat_quarters)
    tempi = [qpm / beat for _, qpm in sorted(one.best_qpm.items())][-days:]
    if not tempi:
        return (LinePart("none clean yet", "faint"),)
    low, high = min(tempi), max(tempi)
    span = (high - low) or 1.0
    curve = "".join(block(0.2 + 0.8 * (tempo - low) / span, look) for tempo in tempi)
    return (LinePart(curve, "bar"), LinePart(f" {tempo_words(tempi, plain=look.plain)}"))


def tempo_words(tempi: Sequence[float], *, plain: bool = False) -> str:
    """``60 → 92``: the first and the last; one of them where both are the same."""
    first, last = f"{tempi[0]:.0f}", f"{tempi[-1]:.0f}"
    return first if first == last else f"{first} {'->' if plain else '→'} {last}"


def minutes_words(minutes: float) -> str:
    """``12``, or ``< 1``."""
    return f"{minutes:.0f}" if minutes >= 1 else "< 1"


# -- the spots ------------------------------------------------------------------------------------


def spots_page(diary: Diary, until: int, look: Look, chosen: int = 0) -> list[Line]:
    """The moves that failed more than once; the story and the curve of the chosen one."""
    stories = diary.spots(until)
    if not stories:
        return [line("No move has failed more than once.")]
    chosen = min(chosen, len(stories) - 1)
    first = min(max(chosen - MOST_SPOTS // 2, 0), max(len(stories) - MOST_SPOTS, 0))
    signs = PLAIN_SIGNS if look.plain else SIGNS
    lines: list[Line] = []
    for at, story in enumerate(stories[first : first + MOST_SPOTS], start=first):
        words = f"{move_words(diary.score, story.move)}, {story.state.value}"
        role = "chosen" if at == chosen else ""
        mark = ">" if at == chosen else " "
        lines.append((LinePart(f"{mark} "), LinePart(signs[story.state], story.state.value),
                      LinePart(f" {words}", role)))  # fmt: skip
    if len(stories) > MOST_SPOTS:
        lines.append(line(f"  {chosen + 1} of {len(stories)}", "faint"))
    story = stories[chosen]
    lines.append(line())
    lines += [line(text) for text in wrap(spot_words(diary.score, story), look)]
    days = story.days[-_most_days(look) :]
    cell, _ = _chart_size(len(days), look)
    rows = min(max(look.rows - len(lines) - 4, LEAST_ROWS), MOST_ROWS)
    lines += [line(), line("Clean, of that day's tries", "head")]
    shares = [1 - one.failed / one.tries for one in days]
    lines += bar_chart(shares, ("100%", "0%"), look, cell, rows)
    lines += [line(text, "faint") for text in _day_labels([one.day for one in days], cell)]
    return lines


def spot_words(score: Score, story: SpotStory) -> str:
    """One move, and its history in sentences."""
    return f"{move_words(score, story.move)}: {story_words(story)}"


def story_words(story: SpotStory) -> str:
    """A move's history in sentences."""
    days = story.days
    told = [
        f"{count_of(story.tries, 'try', 'tries')} on {count_of(len(days), 'day')}, "
        f"{story.failed} failed."
    ]
    first = next((day for day in days if day.failed), None)
    for before, day in zip([None, *days], days, strict=False):
        if day is first:
            told.append(f"It first failed on {short_day(day.day)} ({day.failed} of {day.tries}).")
        is_news = day is not first or day.state is not BarState.WEAK
        if before and before.state is not day.state and is_news:
            told.append(_turn_words(day))
    if len(told) > _MOST_SENTENCES:
        told[3:-2] = ["…"]
    return " ".join(told)


def _turn_words(day: DayTries) -> str:
    on = short_day(day.day)
    if day.state is BarState.SETTLED:
        return f"From {on} it was settled."
    return f"On {on} it broke again." if day.state is BarState.WEAK else f"On {on} it held."


_MOST_SENTENCES = 7
"""Of a story that went to and fro, the beginning and the end are told."""


def wrap(text: str, look: Look) -> list[str]:
    """A text in lines that fit."""
    return textwrap.wrap(text, look.width)
