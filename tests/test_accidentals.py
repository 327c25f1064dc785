"""Where a sign stands before a note: common practice."""

from __future__ import annotations

import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest

from coach.score.build import score_from_notes
from coach.score.notation import choose_accidentals
from coach.score.reading import read_score
from scripts.corpus import PIANO_SCORES, corpus
from tests.breadth import every
from tests.scorexml import bar, note, opened, piano


def signs(*pitches: int, each: F = F(1), fifths: int = 0, hands: str = "R") -> list[str]:
    """The sign of each key, one after another; a hand for each, or one for all."""
    notes = [
        {"pitch": pitch, "onset": at * each, "length": each, "hand": hand + "H"}
        for at, (pitch, hand) in enumerate(zip(pitches, hands * len(pitches), strict=False))
    ]
    score = score_from_notes(notes, key_fifths=fifths)
    return list(choose_accidentals(score, score.notes))


@pytest.mark.parametrize(
    ("pitches", "found"),
    [
        ((66, 66), ["#", ""]),  # in the same octave it holds
        ((66, 78), ["#", "#"]),  # in another it does not
        ((78, 66, 78), ["#", "#", ""]),
        ((66, 65), ["#", "n"]),
        ((66, 77), ["#", ""]),  # nor is it taken back there
    ],
)
def test_a_sign_holds_in_its_octave_alone(pitches: tuple[int, ...], found: list[str]) -> None:
    assert signs(*pitches) == found


def test_a_sign_holds_to_the_end_of_its_bar() -> None:
    assert signs(66, 60, 62, 66, 66) == ["#", "", "", "", "#"]


def test_a_sign_holds_on_its_staff_alone() -> None:
    assert signs(66, 66, hands="RL") == ["#", "#"]


def test_the_key_s_own_need_no_sign_in_any_octave() -> None:
    assert signs(66, 78, 65, 66, fifths=1) == ["", "", "n", "#"]


def test_under_an_octave_line_a_sign_holds_where_the_note_is_written() -> None:
    """F sharp 5 under 8va stands where F sharp 4 does."""
    notes = [{"pitch": p, "onset": i, "length": 1, "hand": "RH"} for i, p in enumerate((66, 78))]
    score = score_from_notes(notes)
    low, high = score.notes
    score = replace(score, notes=(low, replace(high, octave_shift=-1)))
    assert list(choose_accidentals(score, score.notes)) == ["#", ""]


# Reminders: what the page has, though it is not needed.


def test_a_reminder_of_the_page_is_shown(tmp_path: Path) -> None:
    """F sharp in the bar before, F in this one: many a page reminds of it."""
    sharp, plain = note("F#4", 4, sign="sharp"), note("F4", 2)
    reminds = opened(tmp_path, piano(bar(sharp), bar(note("F4", 2, sign="natural"), plain)))
    assert list(choose_accidentals(reminds, reminds.notes)) == ["#", "n", ""]
    silent = opened(tmp_path, piano(bar(sharp), bar(plain, plain)))
    assert list(choose_accidentals(silent, silent.notes)) == ["#", "", ""]


def test_a_sign_that_is_needed_is_shown_though_the_page_forgot_it(tmp_path: Path) -> None:
    found = opened(tmp_path, piano(bar(note("F#4", 2), note("F4", 2))))
    assert list(choose_accidentals(found, found.notes)) == ["#", "n"]


@pytest.mark.outside
@pytest.mark.parametrize("name", every(3, PIANO_SCORES))
def test_every_sign_of_the_page_is_shown_as_music21_reads_it(name: str) -> None:
    path = corpus() / name
    score = read_score(path)
    shown: Counter[tuple[int, float, int]] = Counter()
    for one, sign in zip(score.notes, choose_accidentals(score, score.notes), strict=True):
        if sign and not one.grace:
            here = score.bar_at(one.onset_quarters)
            onset = round(float(one.onset_quarters - here.onset_quarters), 2)
            shown[here.index, onset, one.pitch] += 1
    printed = Counter(_signs_in_music21(path))
    assert printed
    assert not printed - shown


def _signs_in_music21(path: Path) -> Iterator[tuple[int, float, int]]:
    music21 = pytest.importorskip("music21")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        parsed = music21.converter.parse(str(path))
    for part in parsed.parts:
        for at, measure in enumerate(part.getElementsByClass("Measure")):
            for one in measure.recurse().notes:
                if one.duration.isGrace or (one.tie and one.tie.type != "start"):
                    continue
                onset = round(float(one.getOffsetInHierarchy(measure)), 2)
                for pitch in one.pitches:
                    if pitch.accidental and pitch.accidental.displayStatus:
                        yield at, onset, pitch.midi
