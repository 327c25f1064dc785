"""What is on the desk of an evening: every sample score, and the piano scores of music21."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from coach.score.model import Score
from coach.score.reading import read_score
from scripts.corpus import PIANO_SCORES, corpus

SAMPLES = Path(__file__).resolve().parent.parent.parent / "sample_scores"


@cache
def paths() -> tuple[Path, ...]:
    """Every score that is played."""
    return (*sorted(SAMPLES.glob("*.musicxml")), *(corpus() / name for name in PIANO_SCORES))


@cache
def score_at(path: Path) -> Score:
    """A score, read once."""
    return read_score(path)
