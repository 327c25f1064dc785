"""Laws of the staff's layout, on made-up music and on every bar of the sample scores."""

from __future__ import annotations

from fractions import Fraction as F
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.reading import read_score
from coach.score.window import Excerpt, Window, excerpt
from coach.screens.staff.layout import lay_out
from coach.screens.staff.page import Role, Sheet

SAMPLES = sorted((Path(__file__).parent.parent / "sample_scores").glob("*.musicxml"))
SIZES = [(80, 18), (120, 29), (60, 12)]

LENGTHS = st.sampled_from([F(1, 4), F(1, 3), F(1, 2), F(2, 3), F(3, 4), F(1), F(3, 2), F(2), F(4)])


@st.composite
def pieces(draw: st.DrawFn) -> Score:
    """A few notes for each hand, one after another, at lengths that are written."""
    notes = []
    for hand, low in (("RH", 55), ("LH", 30)):
        onset = F(0)
        for _ in range(draw(st.integers(1, 10))):
            length = draw(LENGTHS)
            for pitch in draw(st.sets(st.integers(low, low + 30), min_size=1, max_size=3)):
                notes.append({"pitch": pitch, "onset": onset, "length": length, "hand": hand})
            onset += length
    return score_from_notes(notes, key_fifths=draw(st.integers(-7, 7)))


def assert_every_note_has_its_own_head(part: Excerpt, sheet: Sheet) -> None:
    seen = set()
    for page in sheet.pages:
        heads = [cells.heads[0] for cells in page.notes.values()]
        assert len(heads) == len(set(heads))
        for index, cells in page.notes.items():
            seen.add(index)
            for row, column in cells.heads:
                assert page.rows[row].roles[column] is Role.HEAD
            row, column = cells.mark
            on_line = page.rows[row].text[column] in "─_"  # of a hairpin or a pedal
            free = (Role.BLANK, Role.STEM, Role.BARLINE, *([Role.PRINT] * on_line))
            assert page.rows[row].roles[column] in free
        assert all(len(row.text) == sheet.width for row in page.rows)
        assert len(page.rows) == sheet.height
    assert seen == set(range(len(part.notes)))


@pytest.mark.property
@settings(max_examples=40, deadline=None)
@given(score=pieces(), size=st.sampled_from(SIZES), bars=st.integers(1, 3))
def test_every_note_is_on_a_page_with_a_head_and_a_mark_of_its_own(
    score: Score, size: tuple[int, int], bars: int
) -> None:
    part = excerpt(score, Window(F(0), F(4 * bars)))
    assert_every_note_has_its_own_head(part, lay_out(score, part, *size))


@pytest.mark.property
@settings(max_examples=40, deadline=None)
@given(score=pieces())
def test_time_goes_to_the_right_and_higher_notes_stand_higher(score: Score) -> None:
    part = excerpt(score, Window(F(0), F(4)))
    sheet = lay_out(score, part, 300, 90)
    cells = sheet.pages[0].notes
    assert len(sheet.pages) == 1
    for a, one in enumerate(part.notes):
        for b, two in enumerate(part.notes):
            (row_a, column_a), (row_b, column_b) = cells[a].heads[0], cells[b].heads[0]
            if one.onset_quarters < two.onset_quarters:
                assert column_a < column_b
            if one.staff == two.staff and one.spelling.diatonic > two.spelling.diatonic:
                assert row_a < row_b


@cache
def sample(path: Path) -> Score:
    return read_score(path)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_every_bar_of_the_sample_scores_can_be_shown(path: Path) -> None:
    score = sample(path)
    for bar in score.bars:
        for hands in Hands:
            window = Window(bar.onset_quarters, bar.end_quarters, hands)
            if score.notes_between(window.start_quarters, window.end_quarters, hands):
                part = excerpt(score, window)
                assert_every_note_has_its_own_head(part, lay_out(score, part, 80, 18))
