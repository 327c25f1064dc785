"""Between the cases' JSON form and the product's own facts."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

from coach.judging.model import Judgement, Label, Matching
from coach.playing.notes import PlayedNote
from coach.score.build import exact, score_from_notes
from coach.score.model import Hands
from coach.score.window import Excerpt, Window

NAMES = {
    Label.MATCHED: "match", Label.WRONG: "substituted", Label.MISSED: "missing",
    Label.EXTRA: "extra", Label.REPEATED: "repeated",
}  # fmt: skip


def load(folder: Path, sub: str = "cases") -> Iterator[dict[str, Any]]:
    """The cases of a folder, in order of their names."""
    for path in sorted((folder / sub).glob("*.json")):
        yield json.loads(path.read_text())


def excerpt_of(case: dict[str, Any]) -> Excerpt:
    """The case's window as an excerpt: beat 0 of its grid is the window's start."""
    window = case["window"]
    beat = exact(float(window["quarters_per_beat"]))
    score = score_from_notes(
        [
            {"id": n["id"], "pitch": n["pitch"], "hand": n["hand"], "staff": n["staff"],
             "onset": exact(float(n["onset_beat"])) * beat,
             "length": exact(float(n["duration_beat"])) * beat, "grace": n.get("grace", False)}
            for n in case["score"]
        ],
        metre=window["time_signature"],
        qpm=60.0 * float(beat) / (window.get("beat_period_sec") or 0.5),
    )  # fmt: skip
    end = exact(float(window["beats"])) * beat
    last = max(n.onset_quarters for n in score.notes)
    count = max(math.ceil(end / beat), math.ceil(last / beat), 1)
    grid = tuple(Fraction(i) * beat for i in range(count + 1))
    landing = last if window["landing"] and last >= end else None
    reach = Window(Fraction(0), end, Hands(window["hands"]), bool(window["landing"]))
    return Excerpt(reach, score.notes, landing, grid, score.tempos[0].qpm)


def played_of(case: dict[str, Any]) -> tuple[PlayedNote, ...]:
    """The case's playing, in the order given."""
    return tuple(
        PlayedNote(int(n["pitch"]), int(n["velocity"]), n["onset_sec"], n["duration_sec"])
        for n in case["performed"]
    )


def prediction(case: dict[str, Any], excerpt: Excerpt, matching: Matching) -> dict[str, Any]:
    """A matching in the form that the scorer reads."""
    keys = [n["id"] for n in case["performed"]]
    notes = [n.id for n in excerpt.notes]
    score: dict[str, Any] = {}
    for mark in matching.score:
        score[notes[mark.note]] = {"label": NAMES[mark.label]}
        if mark.played is not None and mark.label is not Label.MISSED:
            score[notes[mark.note]]["performed_id"] = keys[mark.played]
    performed: dict[str, Any] = {}
    for key in matching.played:
        performed[keys[key.played]] = {"label": NAMES[key.label]}
        if key.note is not None and key.label is not Label.EXTRA:
            performed[keys[key.played]]["score_id"] = notes[key.note]
    return {"score": score, "performed": performed}


def diagnosis(judgement: Judgement) -> list[dict[str, Any]]:
    """A judgement's faults as the scorer's diagnosis items, the most important first.

    ``from_beat`` and ``to_beat`` count from the window's start; ``forgiven`` marks a fault that
    is only told, not asked for at this stage. Those come last.
    """
    grid = judgement.excerpt.grid_quarters
    step = grid[1] - grid[0]
    items = []
    for fault in judgement.faults:
        low = (fault.transition.from_quarters - grid[0]) / step
        high = (fault.transition.to_quarters - grid[0]) / step
        items.append({
            "hand": fault.hands.value, "family": fault.family.value,
            "from_beat": int(low) if fault.from_beat is None else fault.from_beat,
            "to_beat": int(high) if fault.to_beat is None else fault.to_beat,
            "cause": fault.cause, "forgiven": fault.forgiven,
        })  # fmt: skip
    return items
