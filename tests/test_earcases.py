"""The case generator: its truth is whole, and its mistakes are what they say."""

import random

import pytest

from scripts.earcases.adapter import excerpt_of
from scripts.earcases.breaking import ALL
from scripts.earcases.cases import window_cases
from scripts.earcases.planting import Attempt
from scripts.earcases.rendering import Struck
from scripts.earcases.scoring import Tally
from scripts.earcases.studies import study


def made(count: int) -> list[dict]:
    rng = random.Random(3)
    out: list[dict] = []
    while len(out) < count:
        out += window_cases(study(rng, "s", 4), rng, f"w{len(out)}", 3) or []
    return out


def take(seed: int) -> Attempt:
    """Eight beats of two hands, one note each a beat, and a sixth above every other one."""
    played = [
        Struck(pitch, 70, beat * 0.5, 0.4, None, "match", float(beat), hand)
        for beat in range(8)
        for pitch, hand in ((72 + beat, "RH"), (79 + beat, "RH"), (48 + beat, "LH"))
        if pitch < 79 or beat % 2 == 0
    ]
    for index, note in enumerate(played):
        note.score = index
    return Attempt(played, random.Random(seed), 8.0)


def test_the_same_seed_makes_the_same_cases() -> None:
    assert made(6) == made(6)


def test_truth_names_every_note_and_key_once() -> None:
    for case in made(40):
        truth = case["truth"]
        assert [t["id"] for t in truth["score"]] == [n["id"] for n in case["score"]]
        assert [t["id"] for t in truth["performed"]] == [n["id"] for n in case["performed"]]
        pitch = {n["id"]: n["pitch"] for n in case["score"]}
        keys = {n["id"]: n["pitch"] for n in case["performed"]}
        for row in truth["performed"]:
            if row["label"] in ("match", "repeated"):
                assert keys[row["id"]] == pitch[row["score_id"]]
            if row["label"] == "substituted":
                assert keys[row["id"]] != pitch[row["score_id"]]


@pytest.mark.parametrize("cause", sorted(ALL))
def test_every_cause_can_be_planted(cause: str) -> None:
    done = 0
    for seed in range(12):
        attempt = take(seed)
        planted = ALL[cause](attempt)
        assert [row["cause"] for row in attempt.planted] == [cause] * planted
        done += planted
    assert done >= 6, cause


def test_a_skip_closes_up_in_time() -> None:
    attempt = take(1)
    assert ALL["skipped_beat"](attempt)
    gaps = sorted({n.onset_s for n in attempt.played})
    assert gaps == pytest.approx([i * 0.5 for i in range(len(gaps))])


def test_truth_scores_perfect_and_nothing_scores_nothing() -> None:
    tally, empty = Tally(), Tally()
    for case in made(12):
        said = {"performed": {t["id"]: t for t in case["truth"]["performed"]}}
        assert tally.add(case, said)
        empty.add(case, {})
    assert tally.f1("match") == 1.0
    assert empty.f1("match") == 0.0


def test_the_excerpt_holds_the_cases_notes() -> None:
    for case in made(20):
        part = excerpt_of(case)
        assert len(part.notes) == len(case["score"])
        beats = {n["id"]: n["onset_beat"] for n in case["score"]}
        for note, beat in zip(part.notes, part.onset_beats, strict=True):
            assert beat == pytest.approx(beats[note.id], abs=1e-3)
