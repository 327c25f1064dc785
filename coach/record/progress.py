"""A piece's progress, gathered from the record: what ``coach progress``, the diary and the report
show.

Days that are over are kept folded beside the record, a file for each piece (``diary/``), so that
only what was played since is read: twenty thousand repetitions would take two seconds. The file
follows from the record; where it is missing, damaged, or of other repetitions than the record now
has, it is made anew.
"""

from __future__ import annotations

import json
import time
import zlib
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import astuple, dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from coach.coaching.planning import (
    BarStanding,
    DatePlan,
    Day,
    DayFigures,
    Diary,
    DiaryDay,
    PassageDay,
    PlaceDay,
    fold_days,
    stand_bars,
)
from coach.private_files import make_private_folder, replace_private
from coach.record.calendar import begin_of_day_s, day_of
from coach.record.pieces import PieceKey
from coach.record.store import Store
from coach.score.model import Hand, Hands, Score
from coach.score.window import Transition

MOST_REPETITIONS = 20_000
"""Of one piece, at most, the newest: some years of it."""
FOLDER = "diary"
FORM = 1
"""Of what is kept: another one is made anew. Raise it where what a day tells changes."""


@dataclass(frozen=True, slots=True)
class PieceProgress:
    """All that is shown of one piece."""

    piece: PieceKey
    score: Score
    diary: Diary
    today: Day = 0
    """The day on which it was gathered."""
    kept_plan: DatePlan | None = None

    @property
    def title(self) -> str:
        """The piece's name."""
        return self.score.title or self.piece.title

    @property
    def plan(self) -> DatePlan | None:
        """The plan to a date that has not come yet."""
        kept = self.kept_plan
        return kept if kept and kept.by_day > self.today else None

    @property
    def minutes_today(self) -> float:
        """How long it was practised on the day of gathering."""
        return sum(one.minutes for one in self.diary.days if one.day == self.today)

    def bar_standings(self) -> list[BarStanding]:
        """How each bar stands for a plan."""
        return stand_bars(self.diary)


def gather_progress(
    store: Store, piece: PieceKey, score: Score, now_s: float | None = None
) -> PieceProgress:
    """A piece's progress from the record. Raises RecordError."""
    today = day_of(time.time() if now_s is None else now_s)
    begin_s, file = begin_of_day_s(today), store.folder / FOLDER / f"{piece.key}.json"
    past = store.played_before(piece, begin_s)
    days, since_s, known = _load(file)
    if not days or known != store.played_before(piece, since_s):
        days, since_s = (), 0.0
    found = store.played(piece, MOST_REPETITIONS, since_s)
    days = (*days, *fold_days(score, found, day_of))
    if since_s < begin_s and past[0]:
        with suppress(OSError):  # then it is read anew the next time
            _keep(file, [one for one in days if one.day < today], begin_s, past)
    return PieceProgress(piece, score, Diary(score, days), today, store.plan(piece))


def forget_diary(folder: Path, key: str = "*") -> None:
    """Forget what is kept of a piece's days, or of all pieces'. Raises OSError."""
    for file in (folder / FOLDER).glob(f"{key}.json"):
        file.unlink(missing_ok=True)


# -- days as they are kept ------------------------------------------------------------------------


def _load(file: Path) -> tuple[tuple[DiaryDay, ...], float, tuple[int, float]]:
    """The days that are kept, until when they are, and of which repetitions; none where the file is
    not as it was written."""
    try:
        told, _, text = file.read_text(encoding="utf-8").partition("\n")
        if told != _sum(text):
            return _NOTHING
        plain = json.loads(text)
        return (*_days_from(plain),), plain["until_s"], tuple(plain["played"])
    except (OSError, ValueError, LookupError, TypeError, ZeroDivisionError):
        return _NOTHING


_NOTHING: tuple[tuple[DiaryDay, ...], float, tuple[int, float]] = ((), 0.0, (0, 0.0))


def _keep(file: Path, days: Sequence[DiaryDay], until_s: float, played: tuple[int, float]) -> None:
    text = json.dumps(
        {"until_s": until_s, "played": played, **_to_plain(days)}, separators=(",", ":")
    )
    make_private_folder(file.parent)
    replace_private(file, f"{_sum(text)}\n{text}")


def _sum(text: str) -> str:
    return f"{FORM} {zlib.crc32(text.encode()):08x}"


def _to_plain(days: Sequence[DiaryDay]) -> dict[str, Any]:
    """Windows, bars and moves are named once, and meant by their place in the list. What is told of
    them stands in columns: they are read several times as quickly as rows."""
    windows, bars, moves = _Names(), _Names(), _Names()
    told = [
        [
            astuple(one.figures),
            windows.columns(one.passages),
            bars.columns(one.bars),
            moves.columns(one.moves),
        ]
        for one in days
    ]
    return {
        "windows": [*windows.places],
        "bars": [*bars.places],
        "moves": [
            [one.hands.value, str(one.from_quarters), str(one.to_quarters)] for one in moves.places
        ],
        "days": told,
    }


class _Names:
    """Numbers for what is told of, in the order in which it comes."""

    def __init__(self) -> None:
        self.places: dict[Any, int] = {}

    def columns(self, told: Sequence[tuple[Any, tuple[Any, ...]]]) -> list[tuple[Any, ...]]:
        numbers = [self.places.setdefault(place, len(self.places)) for place, _ in told]
        return [tuple(numbers), *zip(*(one for _, one in told), strict=True)]


def _days_from(plain: dict[str, Any]) -> list[DiaryDay]:
    windows = [tuple(one) for one in plain["windows"]]
    places = [(bar, Hand(hand)) for bar, hand in plain["bars"]]
    named = [Transition(Hands(h), Fraction(a), Fraction(b)) for h, a, b in plain["moves"]]
    return [
        DiaryDay(
            DayFigures(*figures),
            tuple(zip(map(windows.__getitem__, w), map(PassageDay, *passages), strict=True)),
            tuple(zip(map(places.__getitem__, b), map(PlaceDay, *bars), strict=True)) if b else (),
            tuple(zip(map(named.__getitem__, m), map(PlaceDay, *moves), strict=True)) if m else (),
        )
        for figures, (w, *passages), (b, *bars), (m, *moves) in plain["days"]
    ]
