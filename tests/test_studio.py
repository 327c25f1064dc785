"""A studio's records: the queries of scripts/README.md over the exports of several pupils."""

from __future__ import annotations

import re
from collections import Counter
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest

from coach.cli import main
from coach.coaching.observations import FAILED
from coach.record.progress import gather_progress
from coach.record.store import Store
from coach.score.reading import read_score
from scripts.simulated_week import make_week

duckdb = pytest.importorskip("duckdb", reason="needs DuckDB: pip install .[test]")

ROOT = Path(__file__).parent.parent
QUERIES = re.findall(r"```sql\n(.*?)```", (ROOT / "scripts" / "README.md").read_text(), re.S)
PUPILS = {"anna": "4-waltz-in-sea-boots", "ben": "4-waltz-in-sea-boots", "cleo": "1-low-tide"}


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two days of each, invented, exported."""
    top = tmp_path_factory.mktemp("studio")
    for seed, (pupil, score) in enumerate(PUPILS.items()):
        data = top / "data" / pupil
        make_week(data, ROOT / "sample_scores" / f"{score}.musicxml", 2, 1.0, seed)
        assert main(["export", str(top / "exports" / pupil), "--data", str(data)]) == 0
    return top


def ask(query: str, folder: Path) -> list[tuple[Any, ...]]:
    """DuckDB's rows, asked in that folder."""
    with duckdb.connect() as db:
        db.execute(f"SET file_search_path = '{folder}'")
        rows: list[tuple[Any, ...]] = db.execute(query).fetchall()
        return rows


def half_up(percent: float) -> int:
    """As SQL rounds."""
    return int(percent + 0.5)


@pytest.mark.outside
def test_the_three_queries_say_what_the_records_say(studio: Path) -> None:
    """DuckDB reads the exports as they are; the same counted from the records by ourselves."""
    by_pupil, by_day, broken = [], [], Counter[tuple[str, str, str]]()
    for pupil in PUPILS:
        store = Store(studio / "data" / pupil)
        (seen,) = store.pieces()
        played = store.repetitions(seen.piece, 10_000)
        last = datetime.fromtimestamp(max(one.at_s for one in played)).date()
        share = half_up(100 * seen.clean / seen.repetitions)
        by_pupil.append((pupil, seen.repetitions, share, str(last)))
        score = read_score(ROOT / "sample_scores" / f"{PUPILS[pupil]}.musicxml")
        for day in gather_progress(store, seen.piece, score).diary.days:
            share = half_up(100 * day.first_clean / day.first_tries)
            named = str(date.fromordinal(day.day))
            by_day.append((pupil, seen.piece.title, named, day.first_tries, share))
        for one in store.history(seen.piece):
            if one.outcome in FAILED:
                move = one.transition
                broken[seen.piece.title, move.hands.value, str(move.to_quarters)] += 1
        store.close()
    first, second, third = (ask(query, studio / "exports") for query in QUERIES)
    assert first == by_pupil
    assert {(title, hand, at): failures for title, hand, at, _, failures in second}.items() <= dict(
        broken
    ).items()
    assert len(second) == min(10, len(broken))
    assert third == by_day
