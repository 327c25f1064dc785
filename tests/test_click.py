"""The count-in and the click."""

from fractions import Fraction
from itertools import pairwise

import pytest

from coach.playing.click_schedule import clicks, count_in_beats, messages
from coach.score.metre import Metre
from coach.score.model import Bar, Score


def piece(*metres: str, pickup: Fraction = Fraction(0)) -> Score:
    """Empty bars in these metres; ``pickup`` is the length of a first bar that is short."""
    bars, at = [], Fraction(0)
    for index, words in enumerate(metres):
        beats, beat_type = map(int, words.split("/"))
        metre = Metre(beats, beat_type)
        length = pickup if pickup and index == 0 else metre.bar_quarters
        lead = metre.bar_quarters - length
        bars.append(Bar(index, str(index), at, length, metre, lead_quarters=lead))
        at += length
    return Score("", tuple(bars), ())


def counted(score: Score, start: Fraction | int) -> str:
    """The numbers of the count-in, as one counts aloud."""
    first = Fraction(start)
    grid = (first, first + score.bar_at(first).metre.beat_quarters)
    count = count_in_beats(score, first)
    made = clicks(score, grid, qpm=60, first_click_s=0, count_in=count)
    return " ".join(str(click.beat) for click in made if click.counting_in)


@pytest.mark.outside
@pytest.mark.parametrize(
    ("score", "start", "aloud"),
    [
        (piece("4/4"), 0, "1 2 3 4"),
        (piece("3/4"), 0, "1 2 3"),
        (piece("6/8"), 0, "1 2"),
        (piece("3/8"), 0, "1 1"),  # one beat a bar: two bars, or nobody knows the tempo
        (piece("4/4"), 2, "1 2 3 4 1 2"),
        (piece("4/4", "4/4", pickup=Fraction(1)), 0, "1 2 3 4 1 2 3"),
        (piece("6/8", "6/8", pickup=Fraction(3, 2)), 0, "1 2 1"),
        (piece("2/2"), 0, "1 2"),
    ],
)
def test_one_bar_and_what_lies_before_the_window_is_counted_in(
    score: Score, start: int, aloud: str
) -> None:
    """Common practice."""
    assert counted(score, start) == aloud


def test_clicks_stand_on_the_beats_and_the_downbeat_is_accented() -> None:
    score = piece("3/4", "3/4")
    grid = tuple(map(Fraction, range(4)))
    made = clicks(score, grid, qpm=90, first_click_s=10.0, count_in=3)
    assert [click.at_s for click in made] == pytest.approx([10 + k * 60 / 90 for k in range(7)])
    assert [click.beat for click in made] == [1, 2, 3, 1, 2, 3, 1]
    assert [click.accent for click in made] == [click.beat == 1 for click in made]
    assert [click.counting_in for click in made] == [True] * 3 + [False] * 4


def test_the_printed_groups_of_a_metre_are_heard() -> None:
    """Common practice: 3+2/8 is felt in a three and a two, though its eighths are counted."""
    for metre, loud in (
        (Metre(5, 8, (3, 2)), [1, 4]),
        (Metre(8, 8, (3, 3, 2)), [1, 4, 7]),
        (Metre(5, 8), [1]),  # nobody can say whether it is 3+2 or 2+3
        (Metre(4, 4), [1]),
    ):
        score = Score("", (Bar(0, "1", Fraction(0), metre.bar_quarters, metre),), ())
        grid = score.bars[0].beats_quarters()
        made = clicks(score, grid, qpm=120, first_click_s=0.0, count_in=metre.beats)
        strikes = [message for _, message in messages(made) if message[0] == 0x99]
        heard = [
            click.beat for click, (_, _, force) in zip(made, strikes, strict=True) if force == 110
        ]
        assert heard == 2 * loud
        assert [key for _, key, _ in strikes].count(76) == 2


def test_a_change_of_metre_keeps_the_quarter() -> None:
    """6/8 into 2/4 at 60 quarters a minute: dotted beats of 1.5 s, then quarters of 1 s."""
    score = piece("6/8", "2/4")
    grid = (Fraction(0), Fraction(3, 2), Fraction(3), Fraction(4))
    made = clicks(score, grid, qpm=60, first_click_s=0.0, count_in=2)
    gaps = [b.at_s - a.at_s for a, b in pairwise(made)]
    assert gaps == pytest.approx([1.5, 1.5, 1.5, 1.5, 1.0])


@pytest.mark.outside
def test_the_click_is_general_midis_wood_block_on_channel_10() -> None:
    """General MIDI level 1: 76 is the high wood block, 77 the low one (found; music21 agrees)."""
    made = clicks(piece("2/4"), (Fraction(0), Fraction(1)), qpm=60, first_click_s=0, count_in=2)
    on = [message for _, message in messages(made) if message[0] == 0x99]
    assert [key for _, key, _ in on] == [76, 77, 76, 77]
    assert on[0][2] > on[1][2]
    off = [message for _, message in messages(made) if message[0] == 0x89]
    assert len(off) == len(on)
