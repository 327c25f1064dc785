"""How well a labelling agrees with the truth: F1 of each label, windows without any error.

A note played several times may be matched with any one of its plays, as long as the others are
told as repeated.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from typing import Any

LABELS = ("match", "substituted", "missing", "extra", "repeated")
Tables = tuple[dict[str, tuple[str, str | None]], dict[str, tuple[str, str | None]]]


@dataclass
class Tally:
    """Counts over windows."""

    right: Counter[str] = field(default_factory=Counter)
    told: Counter[str] = field(default_factory=Counter)
    true: Counter[str] = field(default_factory=Counter)
    windows: int = 0
    perfect: int = 0

    def add(self, case: dict[str, Any], said: dict[str, Any]) -> bool:
        """Count one window; whether all of it was right."""
        mine = _tables(case, said)
        truth = _lenient(case["truth"], mine)
        for label in LABELS:
            a, b = _set(mine, label), _set(truth, label)
            self.right[label] += len(a & b)
            self.told[label] += len(a)
            self.true[label] += len(b)
        perfect = mine == truth
        self.windows += 1
        self.perfect += perfect
        return perfect

    def f1(self, label: str) -> float | None:
        """F1 of a label; None where it occurs in neither."""
        both = self.told[label] + self.true[label]
        return 2 * self.right[label] / both if both else None

    @property
    def share_perfect(self) -> float:
        """Share of windows without any error."""
        return self.perfect / self.windows if self.windows else 0.0


def _tables(case: dict[str, Any], said: dict[str, Any]) -> Tables:
    """Labels by score note and by key; what is not said is missing, or extra."""
    keys: dict[str, tuple[str, str | None]] = {}
    notes: dict[str, tuple[str, str | None]] = {n["id"]: ("missing", None) for n in case["score"]}
    for key in case["performed"]:
        row = said.get("performed", {}).get(key["id"], {"label": "extra"})
        note = None if row["label"] == "extra" else row.get("score_id")
        keys[key["id"]] = (row["label"], note)
        if row["label"] in ("match", "substituted") and note in notes:
            notes[note] = (row["label"], key["id"])
    return notes, keys


def _lenient(truth: dict[str, Any], mine: Tables) -> Tables:
    notes = {t["id"]: (t["label"], t.get("performed_id")) for t in truth["score"]}
    keys = {
        t["id"]: (t["label"], None if t["label"] == "extra" else t.get("score_id"))
        for t in truth["performed"]
    }
    plays: defaultdict[str, list[str]] = defaultdict(list)
    for key, (label, note) in keys.items():
        if label in ("match", "repeated") and note is not None:
            plays[note].append(key)
    for note, group in plays.items():
        label, chosen = mine[0].get(note, ("missing", None))
        if len(group) > 1 and label == "match" and chosen in group:
            for key in group:
                keys[key] = ("match" if key == chosen else "repeated", note)
            if notes[note][0] == "match":
                notes[note] = ("match", chosen)
    return notes, keys


def _set(tables: Tables, label: str) -> set[tuple[str, str | None]]:
    notes, keys = tables
    if label in ("match", "substituted"):
        return {(note, key) for note, (said, key) in notes.items() if said == label}
    if label == "missing":
        return {(note, None) for note, (said, _) in notes.items() if said == label}
    return {(key, None) for key, (said, _) in keys.items() if said == label}
