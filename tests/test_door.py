"""The headless door: the example in DEVELOPERS.md runs and does what it says."""

import json
import re
from pathlib import Path

import pytest

from coach.drill import (
    Drill,
    decision_to_plain,
    judge_window,
    judgement_to_plain,
    played,
    repair,
    score_from_notes,
    window,
)
from coach.playing.notes import PlayedNote
from coach.score.model import Score

PAGE = Path(__file__).parent.parent / "DEVELOPERS.md"


def test_the_ten_line_example_runs(capsys: pytest.CaptureFixture[str]) -> None:
    (example,) = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    exec(compile(example, "DEVELOPERS.md", "exec"), {})
    assert capsys.readouterr().out == "True True\n"


@pytest.fixture
def scale() -> Score:
    return score_from_notes(
        [{"pitch": 60 + i, "onset": i, "length": 1, "hand": "RH"} for i in range(8)]
    )


def keys(wrong: int | None = None) -> tuple[PlayedNote, ...]:
    return played([(60 + i + (i == wrong), 64, 0.6 * i, 0.5) for i in range(8)])


def test_one_window_is_judged_without_a_drill(scale: Score) -> None:
    chosen = window(scale, bars="1-2")
    assert judge_window(scale, chosen, keys()).clean
    assert not judge_window(scale, chosen, keys(wrong=3)).clean


def test_verdict_and_decision_come_back_as_json(scale: Score) -> None:
    drill = Drill(scale, repair(scale, window(scale), qpm=100))
    ended = drill.repetition(keys(wrong=3))
    plain = {
        "verdict": judgement_to_plain(ended.judgement),
        "decision": decision_to_plain(ended.decision, drill.excerpt),
    }
    again = json.loads(json.dumps(plain))
    assert again["verdict"]["clean"] is False
    assert again["decision"]["assignment"]["reason"]


def test_played_notes_may_come_as_tuples_or_mappings_in_any_order() -> None:
    as_mapping = {"pitch": 60, "velocity": 64, "onset_s": 0.5}
    early, late = played([as_mapping, (62, 64, 0.1, 0.2)])
    assert (early.pitch, late.pitch, late.length_s) == (62, 60, None)
