"""parangonar's DualDTW on a case, with plain labelling of wrong and repeated notes on top."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np

SCORE_FIELDS = [
    ("onset_beat", "f4"), ("duration_beat", "f4"), ("onset_quarter", "f4"),
    ("duration_quarter", "f4"), ("onset_div", "i4"), ("duration_div", "i4"), ("pitch", "i4"),
    ("voice", "i4"), ("id", "U16"), ("is_grace", "b"),
]  # fmt: skip
PLAYED_FIELDS = [
    ("onset_sec", "f4"), ("duration_sec", "f4"), ("onset_tick", "i4"), ("duration_tick", "i4"),
    ("pitch", "i4"), ("velocity", "i4"), ("track", "i4"), ("channel", "i4"), ("id", "U16"),
]  # fmt: skip
NEAR_S = 0.3
"""A wrong key is looked for this near to where its note would have been."""
AGAIN_S = 6.0
"""A key too many is a repetition where its note is matched within this time after it."""


def arrays(case: dict[str, Any]) -> tuple[Any, Any]:
    """The case's score and playing as parangonar's note arrays."""
    beat = case["window"]["quarters_per_beat"]
    score = [
        (n["onset_beat"], n["duration_beat"], n["onset_beat"] * beat, n["duration_beat"] * beat,
         round(n["onset_beat"] * 480), round(n["duration_beat"] * 480), n["pitch"], n["staff"],
         n["id"], bool(n.get("grace")))
        for n in case["score"]
    ]  # fmt: skip
    played = [
        (n["onset_sec"], n["duration_sec"], int(n["onset_sec"] * 960), int(n["duration_sec"] * 960),
         n["pitch"], n["velocity"], 0, 0, n["id"])
        for n in case["performed"]
    ]  # fmt: skip
    return np.array(score, dtype=SCORE_FIELDS), np.array(played, dtype=PLAYED_FIELDS)


class DualDTW:
    """The aligner, made once."""

    def __init__(self) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import parangonar

            self.matcher = parangonar.DualDTWNoteMatcher()

    def align(self, score: Any, played: Any) -> list[dict[str, Any]]:
        """Its alignment; nothing where it fails on so short a window."""
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                return list(self.matcher(score, played, process_ornaments=False))
        except (ValueError, IndexError):
            return []


def labelled(case: dict[str, Any], alignment: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """The alignment in the scorer's form, wrong and repeated notes told by plain rules."""
    score = {n["id"]: n for n in case["score"]}
    played = {n["id"]: n for n in case["performed"]}
    pairs = {
        str(a["performance_id"]): str(a["score_id"]) for a in alignment if a["label"] == "match"
    }
    out: dict[str, Any] = {p: {"label": "match", "score_id": s} for p, s in pairs.items()}
    free = [n for n in case["performed"] if n["id"] not in pairs]
    wanting = [n for n in case["score"] if n["id"] not in pairs.values()]
    when = sorted((score[s]["onset_beat"], played[p]["onset_sec"]) for p, s in pairs.items())
    for key in free:
        note = _meant(key, wanting, when)
        if note is not None:
            wanting.remove(note)
            out[key["id"]] = {"label": "substituted", "score_id": note["id"]}
            continue
        later = [
            (played[p]["onset_sec"], s)
            for p, s in pairs.items()
            if score[s]["pitch"] == key["pitch"]
            and 0 < played[p]["onset_sec"] - key["onset_sec"] < AGAIN_S
        ]
        out[key["id"]] = (
            {"label": "repeated", "score_id": min(later)[1]} if later else {"label": "extra"}
        )
    return {"performed": out}


def _meant(
    key: dict[str, Any], wanting: list[dict[str, Any]], when: list[tuple[float, float]]
) -> dict[str, Any] | None:
    best, found = NEAR_S, None
    for note in wanting:
        if abs(key["pitch"] - note["pitch"]) in (1, 2, 12) and when:
            beats, times = zip(*when, strict=True)
            away = abs(float(np.interp(note["onset_beat"], beats, times)) - key["onset_sec"])
            if away < best:
                best, found = away, note
    return found
