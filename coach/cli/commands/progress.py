"""``coach progress``: the map of the bars, today or on an earlier day, and the days in figures."""

from __future__ import annotations

import shutil
from argparse import Namespace
from datetime import date
from fractions import Fraction

from coach.cli.errors import CannotDo
from coach.cli.progress import SIGNS, PieceProgress, day_of, map_lines, open_progress
from coach.cli.terminal import say, waiting_line
from coach.coaching.observations import FAILED
from coach.coaching.planning import BarState, DayFigures, chance_of_failing
from coach.coaching.wording import move_words
from coach.judging.model import Outcome
from coach.score.model import Hands

LAST_DAYS = 14
"""Days that are told one by one."""
TEMPI = 5
"""Passages whose tempo is told, those that were played most."""


def show_progress(options: Namespace) -> int:
    """Say how the piece, or each, stands."""
    until = _day(options.on)
    with waiting_line() as tell:
        pieces = open_progress(options.score, options.data, tell)
    for at, one in enumerate(pieces):
        if at:
            say("")
        say("\n".join(progress_lines(one, until, shutil.get_terminal_size().columns)))
    return 0


def _day(text: str | None) -> int | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text).toordinal()
    except ValueError:
        raise CannotDo(f"{text} is no day; write it as 2026-03-14.") from None


def _said(day: int) -> str:
    return date.fromordinal(day).isoformat()


def progress_lines(one: PieceProgress, until: int | None, width: int) -> list[str]:
    """Everything about one piece, as text."""
    states = one.map_until(until)
    days = [day for day in one.days if until is None or day.day <= until]
    last = days[-1].day if days else None
    lines = [f"{one.score.title or 'Untitled'}" + (f", as of {_said(until)}" if until else "")]
    if last is None:
        return [*lines, "Nothing was played of it by then."]
    lines += ["", *map_lines(one.score.bars, states, width), "", _legend(states.values())]
    lines += ["", *_day_lines(days)]
    if until is None:
        lines += _weak_lines(one)
    return lines + _tempo_lines(one, until)


def _legend(states: object) -> str:
    counts = dict.fromkeys(BarState, 0)
    for state in states:  # type: ignore[attr-defined]
        counts[state] += 1
    told = (f"{SIGNS[state]} {state.value} {count}" for state, count in counts.items())
    return "   ".join(told)


def _day_lines(days: list[DayFigures]) -> list[str]:
    lines = ["day         minutes  repetitions  clean at the first try"]
    for day in days[-LAST_DAYS:]:
        share = f"{day.first_clean} of {day.first_tries}"
        lines.append(f"{_said(day.day)}  {day.minutes:7.0f}  {day.repetitions:11}  {share:>12}")
    return lines


def _weak_lines(one: PieceProgress) -> list[str]:
    if not one.weak:
        return ["", "Nothing was weak when you last played."]
    lines = ["", "Weak when you last played, worst first:"]
    for item in one.weak:
        move = item.spot.transition
        tries = [
            seen.outcome in FAILED
            for seen in one.history
            if seen.transition == move and seen.outcome is not Outcome.NOT_REACHED
        ]
        days = {day_of(seen.at_s) for seen in one.history if seen.transition == move}
        lines.append(
            f"  {move_words(one.score, move)}: failed {sum(tries)} of {len(tries)} times on "
            f"{len(days)} {'day' if len(days) == 1 else 'days'}; it would now hold in "
            f"{round(10 * (1 - chance_of_failing(tries)))} of 10."
        )
    return lines


def _tempo_lines(one: PieceProgress, until: int | None) -> list[str]:
    tempi = one.tempi()
    played: dict[tuple[str, str, str], int] = {}
    for repetition in one.played:
        played[repetition.window] = played.get(repetition.window, 0) + 1
    most = sorted((window for window in tempi), key=lambda window: -played[window])[:TEMPI]
    lines: list[str] = []
    for start, end, hands in most:
        by_day = {
            day: qpm for day, qpm in tempi[start, end, hands].items() if not until or day <= until
        }
        if not by_day:
            continue
        first, last = one.score.bars_of(Fraction(start), Fraction(end))
        beat = float(one.score.bar_at(Fraction(start)).metre.beat_quarters)
        steps = ", ".join(
            f"{qpm / beat:.0f} on {_said(day)}" for day, qpm in sorted(by_day.items())[-6:]
        )
        which = {"both": "hands together"}.get(Hands(hands).value, hands)
        lines.append(f"  {first.words_to(last)}, {which}: {steps}")
    return ["", "Quickest clean repetition, in beats a minute:", *lines] if lines else []
