"""The case generator: its truth is whole, and its mistakes are what they say."""

import random
from itertools import pairwise
from typing import Any

import pytest

from scripts.earcases.adapter import excerpt_of
from scripts.earcases.breaking import ALL
from scripts.earcases.cases import window_cases
from scripts.earcases.diagnosing import Named
from scripts.earcases.planting import Attempt
from scripts.earcases.rendering import Struck
from scripts.earcases.scoring import Tally
from scripts.earcases.studies import study


def made(count: int) -> list[dict[str, Any]]:
    rng = random.Random(3)
    out: list[dict[str, Any]] = []
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


@pytest.mark.parametrize("seed", range(8))
def test_uneven_moves_every_second_onset_from_the_first_named_to_the_last(seed: int) -> None:
    before, after = take(seed), take(seed)
    if not ALL["uneven"](after):
        pytest.skip("no place for it")
    (row,) = after.planted
    moved = {
        b.beat for a, b in zip(before.played, after.played, strict=True) if b.onset_s > a.onset_s
    }
    assert row["at_beat"] == min(moved)
    assert (row["from_beat"], row["to_beat"]) == (min(moved) - 1, max(moved))
    assert {b - a for a, b in pairwise(sorted(moved))} <= {2.0}


@pytest.mark.parametrize("seed", range(8))
def test_hands_that_drift_start_together_and_part_from_the_beat_before_the_first_moved(
    seed: int,
) -> None:
    before, after = take(seed), take(seed)
    assert ALL["hands_drift"](after)
    (row,) = after.planted
    moved = [b for a, b in zip(before.played, after.played, strict=True) if b.onset_s != a.onset_s]
    assert {note.hand for note in moved} == {row["hand"]}
    assert row["from_beat"] == min(note.beat for note in moved) - 1 >= 0
    largest = max(
        abs(b.onset_s - a.onset_s) for a, b in zip(before.played, after.played, strict=True)
    )
    assert largest == pytest.approx(abs(row["params"]["drift_sec"]))


@pytest.mark.parametrize("seed", range(20))
def test_a_late_hand_does_not_come_after_its_own_next_note(seed: int) -> None:
    late = take(seed)
    if ALL["one_hand_late"](late):
        for hand in ("RH", "LH"):
            own = sorted((n for n in late.played if n.hand == hand), key=lambda n: n.beat)
            assert all(a.onset_s < b.onset_s for a, b in pairwise(own) if a.beat < b.beat)


def test_a_forgiven_fault_is_named_and_accuses_nobody() -> None:
    named = Named()
    item = {"hand": "RH", "family": "release", "from_beat": 1, "to_beat": 2, "forgiven": True}
    truth = {"cause": "early_release", "hand": "RH", "from_beat": 1, "to_beat": 2}
    named.add({"variant": "planted", "truth": {"planted": [truth]}}, [item])
    named.add({"variant": "real", "truth": {"planted": []}}, [item])
    assert (named.first, named.exact) == (1, 1)
    assert named.false_alarms("real") == 0
    assert named.told_besides("real") == 1
