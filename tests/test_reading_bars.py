"""Bars: their length, metre, number, and where in the metre they begin."""

from fractions import Fraction
from pathlib import Path

import pytest

from coach.score.metre import Metre
from coach.score.model import Barline
from tests.scorexml import (
    attributes,
    back,
    bar,
    direction,
    metre,
    note,
    on,
    opened,
    part,
    piano,
    rest,
    score,
)


def test_incomplete_and_overfull_bars_are_as_long_as_they_are(tmp_path: Path) -> None:
    found = opened(tmp_path, piano(bar(note("C5", 4)), bar(note("C5", 2)), bar(note("C5", 7))))
    assert [b.length_quarters for b in found.bars] == [4, 2, 7]
    assert [b.onset_quarters for b in found.bars] == [0, 4, 6]
    assert [b.lead_quarters for b in found.bars] == [0, 0, 0]


def test_a_bar_within_an_exporters_rounding_has_its_metres_length(tmp_path: Path) -> None:
    # 3.00625 quarters, as an exporter wrote it.
    found = opened(tmp_path, piano(bar(note("C5", 481), note("D5", 1)), divisions=160, time="3/4"))
    assert found.bars[0].length_quarters == 3


@pytest.mark.parametrize(("units", "length"), [(49, 3), (50, Fraction(25, 8))])
def test_a_bar_that_is_off_by_more_than_a_sixteenth_of_a_quarter_is_as_long_as_it_is(
    tmp_path: Path, units: int, length: Fraction
) -> None:
    """In sixteenths of a quarter, 64th notes: one too many is rounding, two are written."""
    text = bar(note("C5", 48), note("D5", units - 48))
    found = opened(tmp_path, piano(text, divisions=16, time="3/4"))
    assert found.bars[0].length_quarters == length


def test_another_part_keeps_the_bars_apart(tmp_path: Path) -> None:
    text = score(
        (
            "Voice",
            part(bar(attributes(metre("4/4"), divisions=1), note("C5", 4)), bar(note("C5", 4))),
        ),
        (
            "Piano",
            part(
                bar(attributes(metre("4/4") + "<staves>2</staves>", divisions=1), note("E4", 1)),
                bar(note("G4", 1)),
                identity="P2",
            ),
        ),
    )
    found = opened(tmp_path, text)
    assert [n.onset_quarters for n in found.notes] == [0, 4]
    assert [r.text for r in found.remarks] == ["Only Piano is to be played; left out: Voice."]


def test_hidden_rests_and_forwards_fill_the_bar(tmp_path: Path) -> None:
    found = opened(tmp_path, piano(bar(note("C5", 1), on(3)), bar(rest(4, hidden=True), back(4))))
    assert [b.length_quarters for b in found.bars] == [4, 4]


def test_an_empty_bar_is_as_long_as_its_metre(tmp_path: Path) -> None:
    found = opened(tmp_path, piano(bar(note("C5", 3)), bar(), time="3/4"))
    assert found.bars[1].length_quarters == 3


def test_numbers_are_kept_as_printed(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(bar(note("C5", 4), number="8"), bar(number="X1", implicit=True), bar(number="8")),
    )
    assert [b.number for b in found.bars] == ["8", "X1", "8"]


@pytest.mark.parametrize(
    ("sign", "passes"), [(' times="3"', 3), ("", 0), (' times="two"', 0), (' times="1000"', 0)]
)
def test_a_repeat_sign_says_how_often(tmp_path: Path, sign: str, passes: int) -> None:
    """MusicXML 4.0, attribute ``times`` of ``repeat``: times that the section is played."""
    end = f'<barline location="right"><repeat direction="backward"{sign}/></barline>'
    found = opened(tmp_path, piano(bar(note("C4", 4), end)))
    assert found.bars[0].passes == passes


@pytest.mark.parametrize(("style", "barline"), [
    ("regular", Barline.SINGLE), ("light-light", Barline.DOUBLE), ("light-heavy", Barline.FINAL),
    ("dashed", Barline.DASHED), ("dotted", Barline.DOTTED), ("heavy", Barline.HEAVY),
    ("none", Barline.NONE), ("wavy", None)])  # fmt: skip
def test_a_barline_is_read_as_it_is_printed(
    tmp_path: Path, style: str, barline: Barline | None
) -> None:
    """MusicXML 4.0, ``bar-style``: of a bar's right, or of the next one's left."""
    look = f"<bar-style>{style}</bar-style>"
    right, left = (f'<barline location="{at}">{look}</barline>' for at in ("right", "left"))
    same = (
        piano(bar(note("C4", 4), right), bar(note("C4", 4))),
        piano(bar(note("C4", 4)), bar(left, note("C4", 4))),
    )
    for text in same:
        assert [b.barline for b in opened(tmp_path, text).bars] == [barline, None]


def test_the_last_bar_is_closed_finally_and_a_repeat_has_its_own_look(tmp_path: Path) -> None:
    look = "<bar-style>light-heavy</bar-style>"
    end = f'<barline location="right">{look}<repeat direction="backward"/></barline>'
    found = opened(tmp_path, piano(bar(note("C4", 4), end), bar(note("C4", 4))))
    assert found.bars[0].barline is None
    closed = [found.barline_after(one) for one in found.bars]
    assert closed == [Barline.SINGLE, Barline.FINAL]


def test_a_bar_divided_by_a_repeat_counts_on(tmp_path: Path) -> None:
    end = '<barline location="right"><repeat direction="backward"/></barline>'
    found = opened(
        tmp_path,
        piano(bar(note("C5", 4)), bar(note("C5", 3), end), bar(note("C5", 1), implicit=True)),
    )
    assert [b.lead_quarters for b in found.bars] == [0, 0, 3]
    assert str(found.place(Fraction(7))) == "bar 3, beat 4"
    assert [b.repeat_end for b in found.bars] == [False, True, False]


def test_endings_are_shown_and_not_expanded(tmp_path: Path) -> None:
    def ending(number: str, kind: str, where: str) -> str:
        return f'<barline location="{where}"><ending number="{number}" type="{kind}"/></barline>'

    found = opened(
        tmp_path,
        piano(
            bar(note("C5", 4)),
            bar(ending("1, 2", "start", "left"), note("D5", 4)),
            bar(note("D5", 4), ending("1, 2", "stop", "right")),
            bar(ending("3", "start", "left"), note("E5", 4), ending("3", "discontinue", "right")),
            bar(note("F5", 4)),
        ),
    )
    assert [b.ending for b in found.bars] == ["", "1, 2", "1, 2", "3", ""]
    assert len(found.notes) == 5


def test_metre_changes_and_late_signatures(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(note("C5", 4), attributes(metre("6/8"))),
            bar(note("C5", 3)),
            bar(attributes(metre("3+2/8")), note("C5", "2.5")),
        ),
    )
    assert [str(b.metre) for b in found.bars] == ["4/4", "6/8", "3+2/8"]
    assert found.bars[2].length_quarters == Fraction(5, 2)


def test_a_bar_without_metre_counts_what_is_in_it(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(bar(attributes("<time><senza-misura/></time>"), note("C5", 7)), bar(note("C5", 2))),
    )
    assert [b.metre for b in found.bars] == [Metre(7, 4), Metre(2, 4)]


def test_several_metres_at_once(tmp_path: Path) -> None:
    # 2/4 above 6/8: both fill the bar with what they write; it is counted by the one that fits.
    opening = attributes(metre("2/4", 1) + metre("6/8", 2))
    found = opened(tmp_path, piano(bar(opening, note("C5", 2), back(2), note("C3", 3, v="5", s=2))))
    assert found.bars[0].length_quarters == 3
    assert found.bars[0].metre == Metre(6, 8)


def test_keys_and_sections(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(attributes("<key><fifths>-3</fifths></key>"), note("C5", 4)),
            bar(direction("<rehearsal>Trio</rehearsal>"), note("C5", 4)),
        ),
    )
    assert [b.key_fifths for b in found.bars] == [-3, -3]
    assert [b.section for b in found.bars] == ["", "Trio"]


@pytest.mark.outside
@pytest.mark.parametrize(
    ("text", "beats", "beat"),
    # music21's defaults (10.5): meter.TimeSignature(text).beatCount and .beatDuration.
    [
        ("6/8", 2, "3/2"),
        ("9/8", 3, "3/2"),
        ("12/8", 4, "3/2"),
        ("2/2", 2, "2"),
        ("3/8", 1, "3/2"),
        ("5/8", 5, "1/2"),
        ("7/8", 7, "1/2"),
        ("4/4", 4, "1"),
        ("3/4", 3, "1"),
    ],
)
def test_beats_of_a_metre_as_music21_counts_them(
    tmp_path: Path, text: str, beats: int, beat: str
) -> None:
    from music21 import meter

    found = opened(tmp_path, piano(bar(note("C5", 1)), time=text)).bars[0].metre
    assert (found.beats_in_bar, found.beat_quarters) == (beats, Fraction(beat))
    theirs = meter.TimeSignature(text)
    assert (theirs.beatCount, Fraction(theirs.beatDuration.quarterLength)) == (
        beats,
        Fraction(beat),
    )
