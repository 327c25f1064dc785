"""The catalogue of faults is whole: each cause can be made, is asked for, told and shown."""

from __future__ import annotations

from pathlib import Path
from string import Formatter

import pytest

from coach.judging.faults import CATALOGUE, as_markdown, is_asked
from coach.judging.model import Cause, Family, Outcome, Stage
from coach.judging.wording import WORDS, describe

NOTES = {Family.PITCH, Family.MISSING, Family.EXTRA, Family.REPEAT}
"""The families that every stage asks for."""


def test_every_cause_has_its_entry_and_its_words() -> None:
    assert set(CATALOGUE) == set(Cause)
    assert set(WORDS) == set(Cause)


def test_developers_md_shows_the_catalogue_as_it_is() -> None:
    text = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert as_markdown() in text


@pytest.mark.parametrize("cause", Cause)
def test_a_gap_that_is_not_filled_is_an_error_and_no_blank(cause: Cause) -> None:
    gaps = [name for _, name, _, _ in Formatter().parse(WORDS[cause]) if name]
    assert describe(cause, **dict.fromkeys(gaps, "x"))
    for gap in gaps:
        with pytest.raises(KeyError):
            describe(cause, **dict.fromkeys(set(gaps) - {gap}, "x"))


@pytest.mark.parametrize("cause", Cause)
def test_a_stage_asks_for_all_that_the_stages_before_it_ask(cause: Cause) -> None:
    asked = [is_asked(cause, stage) for stage in Stage]
    assert asked == sorted(asked)
    assert asked[-1]


@pytest.mark.parametrize("cause", Cause)
def test_a_family_is_asked_for_from_its_stage_on(cause: Cause) -> None:
    family = CATALOGUE[cause].family
    assert is_asked(cause, Stage.NOTES) == (family in NOTES)
    if family is Family.TIMING and "click" not in cause:
        assert is_asked(cause, Stage.RHYTHM)
    if family is Family.RELEASE:
        assert CATALOGUE[cause].stages == (Stage.SHAPE,)


def test_the_click_is_asked_for_where_one_runs() -> None:
    for cause in (Cause.BEHIND_THE_CLICK, Cause.AHEAD_OF_THE_CLICK):
        assert CATALOGUE[cause].stages == tuple(stage for stage in Stage if stage.has_click)


def test_an_even_rallentando_is_forgiven_by_the_rhythm_stage_and_running_away_is_not() -> None:
    assert is_asked(Cause.TEMPO_DRIFT, Stage.RHYTHM)
    assert not is_asked(Cause.SLOWING_DOWN, Stage.RHYTHM)
    assert is_asked(Cause.SLOWING_DOWN, Stage.PULSE)


def test_the_tempo_asked_for_is_held_to_from_the_tempo_stage_on() -> None:
    for cause in (Cause.SLOWER_THAN_ASKED, Cause.FASTER_THAN_ASKED):
        assert CATALOGUE[cause].stages == (Stage.TEMPO, Stage.SHAPE)


def test_only_the_tempo_as_a_whole_touches_no_transition() -> None:
    for entry in CATALOGUE.values():
        assert (entry.outcomes == ()) == (entry.family is Family.TEMPO)
        assert not set(entry.outcomes) & {Outcome.CLEAN, Outcome.NOT_REACHED}
        assert all(0 < weight <= 1 for weight in (entry.weight, entry.doubtful or entry.weight))


def test_what_broke_the_playing_comes_before_wrong_keys_and_touch_comes_last() -> None:
    def of(*families: Family) -> list[float]:
        return [entry.weight for entry in CATALOGUE.values() if entry.family in families]

    assert min(of(Family.REPEAT)) > max(of(Family.PITCH, Family.MISSING, Family.TIMING))
    assert max(of(Family.RELEASE)) < min(of(Family.TIMING))
