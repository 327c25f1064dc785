"""A chord found key by key and struck again is one search, at its place, and no stray keys."""

from __future__ import annotations

import pytest

from coach.judging.alignment.align import match
from coach.judging.alignment.exact_match import match_exactly
from coach.judging.judge import judge
from coach.judging.model import Cause, Family, Label, Matching, Stage
from coach.playing.notes import PlayedNote
from tests.notated import all_of, played, written

TRIADS = {"RH": "C4+E4+G4 D4+F4+A4 E4+G4+B4 F4+A4+C5 E4+G4+B4 D4+F4+A4 C4+E4+G4"}
BEFORE, AFTER = "C4+E4+G4 D4+F4+A4", "F4+A4+C5 E4+G4+B4 D4+F4+A4 C4+E4+G4"
WINDOW = all_of(written(TRIADS), TRIADS)


def take_of(search: str) -> list[PlayedNote]:
    """The third chord looked for, a quarter for each key; then struck, and on from there."""
    keys = " ".join(f"@3:{key}" for key in search.split())
    line = f"{BEFORE} {keys} |0.2|@3:E4+G4+B4 {AFTER}"
    return played(TRIADS, {"RH": line})


def labels_of(found: Matching) -> str:
    """The keys' labels in order: m matched, r repeated, x extra, w wrong."""
    names = {Label.MATCHED: "m", Label.REPEATED: "r", Label.EXTRA: "x", Label.WRONG: "w"}
    return "".join(names[key.label] for key in found.played)


@pytest.mark.parametrize("search", ["E4 G4 B4", "B4 G4 E4", "G4 E4 B4", "B4 E4", "E4 E4 G4 B4"])
def test_the_keys_of_a_search_are_repeated_and_the_last_stroke_counts(search: str) -> None:
    found = match(WINDOW, take_of(search))
    assert labels_of(found) == "m" * 6 + "r" * len(search.split()) + "m" * 15


@pytest.mark.parametrize("search", ["E4 G4 B4", "B4 G4 E4", "G4 E4 B4"])
@pytest.mark.parametrize("stage", [Stage.NOTES, Stage.RHYTHM])
def test_it_is_told_at_the_chord(search: str, stage: Stage) -> None:
    judgement = judge(WINDOW, take_of(search), stage=stage)
    assert judgement.sentence == "Felt for the chord at bar 1 beat 3"
    fault = judgement.faults[0]
    assert (fault.cause, fault.from_beat, fault.to_beat) == (Cause.STUMBLE, 1, 2)
    assert not judgement.clean


def test_a_key_brushed_with_the_chord_before_is_no_search() -> None:
    line = f"{BEFORE}(B4) E4+G4+B4 {AFTER}"
    assert labels_of(match(WINDOW, played(TRIADS, {"RH": line}))).count("x") == 1


def test_a_chord_struck_twice_is_a_stumble_before_the_next() -> None:
    line = f"{BEFORE} E4+G4+B4 |0.3|@3:E4+G4+B4 {AFTER}"
    judgement = judge(WINDOW, played(TRIADS, {"RH": line}), stage=Stage.NOTES)
    assert judgement.sentence == "Stumbled at bar 1 beat 4"


def test_a_restart_keeps_its_keys() -> None:
    """The first chord's keys are in what was broken off too, and were no search for it."""
    score = {"RH": "C4+E4+G4 G4 E4 C4 D4+F4 E4+G4 C4+E4"}
    line = "C4+E4+G4 G4 E4 |1.5|@1:C4+E4+G4 G4 E4 C4 D4+F4 E4+G4 C4+E4"
    window = all_of(written(score), score)
    judgement = judge(window, played(score, {"RH": line}), stage=Stage.NOTES)
    assert judgement.sentence == "Broke off at bar 1 beat 4 and started again"


def test_keys_that_are_all_of_the_window_are_the_window_however_late() -> None:
    """A chord looked for key by key, and the same one after it: nothing was left out."""
    lines = {"RH": "B4 C4+E4+G4 C4+E4+G4 B4 C5 D5+A5"}
    part = all_of(written(lines), lines)
    keys = [(71, 0.0), (60, 1.5), (64, 2.1), (67, 2.8), (60, 3.1), (64, 3.1), (67, 3.1),
            (71, 3.6), (72, 4.1), (74, 4.6), (81, 4.6)]  # fmt: skip
    take = [PlayedNote(pitch, 64, at_s, 0.2) for pitch, at_s in keys]
    found = match_exactly(part, take, None)
    assert found is not None
    assert labels_of(found) == "m" * 11
    judged = judge(part, take)
    assert [fault.words for fault in judged.faults if fault.family is not Family.TIMING] == []


LINE = {"RH": "C4 D4 E4 F4 G4 A4"}


@pytest.mark.parametrize("wait", ["0.0", "0.6"])
def test_a_note_struck_again_is_a_stumble_and_no_key_too_many(wait: str) -> None:
    part = all_of(written(LINE), LINE)
    for at, key in enumerate(["D4", "E4", "F4", "G4"], 2):
        words = LINE["RH"].split()
        words.insert(at, f"|{wait}|@{at}:{key}")
        judged = judge(part, played(LINE, {"RH": " ".join(words)}), stage=Stage.NOTES)
        assert [fault.cause for fault in judged.faults] == [Cause.STUMBLE]


def test_a_key_that_bounces_is_one_too_many() -> None:
    part = all_of(written(LINE), LINE)
    take = played(LINE, {"RH": "C4 D4(D4>0.2) E4 F4 G4 A4"})
    judged = judge(part, take, stage=Stage.NOTES)
    assert [fault.cause for fault in judged.faults] == [Cause.BRUSHED_KEY]
