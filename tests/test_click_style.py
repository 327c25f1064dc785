"""How the click sounds: which beats, divided, accented, silent for some bars, how loud."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from coach.playing.click_schedule import (
    ClickBeats,
    ClickSound,
    ClickStyle,
    clicks,
    count_in_beats,
    messages,
)
from coach.record.settings import StoredSettings, click_of, load_settings, save_settings
from coach.score.model import Score
from coach.screens.dialogs.click import ClickScreen
from tests.screenfakes import FakeClick
from tests.seat import Seat, seated
from tests.test_click import piece


def heard(score: Score, style: ClickStyle, bpm: float = 120.0, start: Fraction | int = 0) -> str:
    """The window from ``start`` to the end by its beats: ``X`` accented, ``x``, ``.`` between two,
    ``-`` a beat that is silent; a bar line before each downbeat."""
    first = Fraction(start)
    grid = [q for bar in score.bars for q in bar.beats_quarters() if q >= first]
    quarters = float(score.bar_at(first).metre.beat_quarters)
    made = clicks(
        score, grid, qpm=bpm * quarters, first_click_s=0, count_in=count_in_beats(score, first)
    )
    struck = {round(at_s, 4): one for at_s, one in messages(made, style) if one[0] == 0x99}
    out = ""
    for beat in made:
        out += "|" if beat.beat == 1 else ""
        one = struck.pop(round(beat.at_s, 4), None)
        out += "-" if one is None else "X" if one[2] > 100 * style.loudness else "x"
        length_s = made[1].at_s - made[0].at_s
        out += "." * sum(0.01 < at_s - beat.at_s < length_s - 0.01 for at_s in struck)
    return out


FOUR = piece("4/4", "4/4", "4/4", "4/4")


@pytest.mark.parametrize(
    ("style", "bars"),
    [
        (ClickStyle(), "|Xxxx" * 5),
        (ClickStyle(accents=False), "|xxxx" * 5),
        (ClickStyle(beats=ClickBeats.FIRST), "|Xxxx" + "|X---" * 4),
        (ClickStyle(beats=ClickBeats.BACK), "|Xxxx" + "|-x-x" * 4),
        (ClickStyle(beats=ClickBeats.NONE), "|----" * 5),
        (ClickStyle(silent_bars=1), "|Xxxx|Xxxx|----|Xxxx|----"),
        (ClickStyle(silent_bars=2), "|Xxxx|Xxxx|Xxxx|----|----"),
        (ClickStyle(loudness=0.5), "|Xxxx" * 5),
    ],
)
def test_the_count_in_sounds_and_then_what_was_chosen(style: ClickStyle, bars: str) -> None:
    assert heard(FOUR, style) == bars


def test_in_three_the_back_beats_are_all_but_the_first() -> None:
    assert heard(piece("3/4", "3/4"), ClickStyle(beats=ClickBeats.BACK)) == "|Xxx|-xx|-xx"


def test_a_slow_beat_is_divided_in_two_a_compound_one_in_three_and_a_very_slow_one_again() -> None:
    style = ClickStyle()
    assert heard(piece("2/4"), style, 50) == "|X.x.|X.x"
    assert heard(piece("6/8"), style, 50) == "|X..x..|X..x"
    assert heard(piece("2/4"), style, 25) == "|X...x...|X...x"
    assert heard(piece("2/4"), style, 60 / 1.0) == "|Xx|Xx"
    assert heard(piece("2/4"), replace(style, divides=False), 25) == "|Xx|Xx"


def test_a_pickup_and_a_change_of_metre_keep_bars_and_beats() -> None:
    upbeat = piece("4/4", "4/4", pickup=Fraction(1))
    assert heard(upbeat, ClickStyle()) == "|Xxxx|Xxxx|Xxxx"
    changing = piece("4/4", "3/4", "2/4")
    assert heard(changing, ClickStyle(beats=ClickBeats.BACK)) == "|Xxxx|-x-x|-xx|-x"
    assert heard(changing, ClickStyle(silent_bars=1)) == "|Xxxx|Xxxx|---|Xx"


@pytest.mark.outside
@pytest.mark.parametrize(
    ("sound", "keys"),
    [
        (ClickSound.WOOD, {76, 77}),
        (ClickSound.STICK, {37}),
        (ClickSound.CLAVES, {75}),
        (ClickSound.BELL, {56}),
    ],
)
def test_every_sound_is_of_general_midis_percussion(sound: ClickSound, keys: set[int]) -> None:
    """General MIDI level 1: 37 side stick, 56 cowbell, 75 claves (from memory), 76 and 77."""
    made = clicks(FOUR, [Fraction(0), Fraction(1)], qpm=120, first_click_s=0, count_in=2)
    struck = {one[1] for _, one in messages(made, ClickStyle(sound=sound)) if one[0] == 0x99}
    assert struck == keys


def test_louder_and_softer_change_the_velocity_alone() -> None:
    made = clicks(FOUR, [Fraction(0), Fraction(1)], qpm=120, first_click_s=0, count_in=2)
    usual, soft = messages(made), messages(made, ClickStyle(loudness=0.5))
    assert [one[:2] for _, one in usual] == [one[:2] for _, one in soft]
    assert [round(one[2] / 2) for _, one in usual] == [one[2] for _, one in soft]


def test_it_is_kept_and_a_damaged_one_is_said(tmp_path: Path) -> None:
    save_settings(tmp_path, StoredSettings(click={"beats": "only 2 and 4", "silent_bars": 2}))
    kept, said = load_settings(tmp_path)
    assert click_of(kept) == ClickStyle(beats=ClickBeats.BACK, silent_bars=2)
    assert not said
    (tmp_path / "settings.json").write_text('{"click": {"beats": "backwards"}}')
    kept, said = load_settings(tmp_path)
    assert click_of(kept) == ClickStyle()
    assert "choose the click again" in said


def test_on_the_screen_each_choice_is_heard_and_holds_from_now_on() -> None:
    click = FakeClick()

    async def run(seat: Seat) -> None:
        await seat.pilot.press("c")
        await seat.until(ClickScreen)
        await seat.pilot.press("enter", "enter")
        assert "only 2 and 4" in seat.text
        tried = [one for _, one in click.played if one[0] == 0x99]
        assert len(tried) == 4
        await seat.play(23, 23, 23, 21)  # B: down, A: choose
        assert "every other bar" in seat.text
        await seat.play(26)  # D: back
        style = seat.drill_screen.presenter.click.style
        assert style == ClickStyle(beats=ClickBeats.BACK, silent_bars=1)
        assert seat.app.settings.click == style
        assert click.stopped

    seated((80, 24), run, click=click)
