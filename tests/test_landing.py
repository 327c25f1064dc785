"""Arriving late at a window's last note: free where something ends, a hesitation where not."""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.judging.judge import judge
from coach.judging.model import Judgement
from coach.score.model import Barline, Direction, Hands, NoteMark, Score
from coach.score.window import Excerpt, Window, excerpt, may_broaden_to
from tests.judging_help import play
from tests.test_note_values import written

QPM = 88.0
BEAT_S = 60 / QPM
TUNE = written(*[1] * 12, 2, 2)
OFF_S = (0.006, -0.011, 0.017, -0.004, -0.015, 0.012, 0.003, -0.009, 0.014, -0.006, 0.01, -0.002)
"""A steady player's strokes, each off by some 10 ms."""


def to_beat(score: Score, last: int = 8) -> Excerpt:
    """Quarter notes from bar 1 to a last one, counted from 0."""
    return excerpt(score, Window(F(0), F(last), Hands.RIGHT))


def landing_late(window: Excerpt, beats: float, scatter: float = 1.0) -> Judgement:
    off_s = [scatter * OFF_S[i % len(OFF_S)] for i in range(len(window.notes))]
    off_s[-1] += beats * BEAT_S
    return judge(window, play(window, qpm=QPM, late=dict(enumerate(off_s))))


def marked(score: Score, onset: int, mark: NoteMark) -> Score:
    notes = [
        replace(note, marks=frozenset({mark})) if note.onset_quarters == onset else note
        for note in score.notes
    ]
    return replace(score, notes=tuple(notes))


def closed(score: Score, bar: int, barline: Barline) -> Score:
    bars = [replace(one, barline=barline) if one.index == bar else one for one in score.bars]
    return replace(score, bars=tuple(bars))


def worded(score: Score, *words: tuple[int, str]) -> Score:
    return replace(score, directions=tuple(Direction(F(at), 1, text) for at, text in words))


@pytest.mark.parametrize("last", [4, 6, 8, 11])
def test_where_the_music_goes_on_a_late_landing_is_told(last: int) -> None:
    take = landing_late(to_beat(TUNE, last), 0.8)
    assert take.sentence.startswith(f"Late to bar {last // 4 + 1} beat {last % 4 + 1} (0.")


def test_one_that_is_late_by_its_whole_length_may_be_misread() -> None:
    take = landing_late(to_beat(TUNE), 1.0)
    assert take.sentence == "Quarter note at bar 2 beat 4 got two beats, not one"


@pytest.mark.parametrize("late", [0.0, 0.1, 0.2])
def test_a_landing_may_be_broadened_anywhere(late: float) -> None:
    assert landing_late(to_beat(TUNE), late).clean


@pytest.mark.parametrize(
    "score",
    [
        written(*[1] * 9),
        marked(TUNE, 8, NoteMark.FERMATA),
        worded(TUNE, (5, "poco rit.")),
        worded(TUNE, (0, "a tempo"), (4, "rallentando")),
    ],
)
def test_where_the_piece_ends_or_it_is_written_the_landing_may_come_late(score: Score) -> None:
    window = to_beat(score)
    assert window.may_broaden
    assert landing_late(window, 0.6).clean
    assert not landing_late(window, 1.3).clean


def test_at_a_double_bar_it_may_come_late_too() -> None:
    window = to_beat(closed(TUNE, 1, Barline.DOUBLE))
    assert window.may_broaden
    assert landing_late(window, 0.45).clean
    assert not landing_late(window, 1.0).clean


@pytest.mark.parametrize(
    ("score", "onset", "may_broaden"),
    [
        (TUNE, 14, True),
        (TUNE, 8, False),
        (closed(TUNE, 1, Barline.DOUBLE), 7, True),
        (closed(TUNE, 1, Barline.DOUBLE), 6, False),
        (closed(TUNE, 1, Barline.DASHED), 8, False),
        (worded(TUNE, (2, "rit."), (7, "a tempo")), 8, False),
        (worded(TUNE, (2, "rit.")), 12, False),
        (worded(TUNE, (6, "ritmico")), 8, False),
        (worded(TUNE, (6, "cédez")), 8, True),
        (marked(TUNE, 7, NoteMark.FERMATA), 8, False),
    ],
)
def test_where_something_ends_one_may_broaden(score: Score, onset: int, may_broaden: bool) -> None:
    assert may_broaden_to(score, F(onset), Hands.RIGHT) is may_broaden


def test_one_who_broke_off_came_to_no_end() -> None:
    """The last note that was played is not the piece's."""
    window = to_beat(written(*[1] * 9))
    off_s = dict(enumerate(OFF_S)) | {7: 0.7 * BEAT_S}
    take = judge(window, play(window, qpm=QPM, late=off_s)[:8])
    assert any("Late" in fault.words or "late" in fault.words for fault in take.faults)


@pytest.mark.parametrize("beats", [0.5, 1.0, 3.0])
def test_a_fermata_is_held_as_long_as_one_likes(beats: float) -> None:
    window = to_beat(marked(TUNE, 4, NoteMark.FERMATA))
    late = {i: beats * BEAT_S * (i > 4) + OFF_S[i] for i in range(len(window.notes))}
    take = judge(window, play(window, qpm=QPM, late=late))
    assert take.clean
    assert take.qpm == pytest.approx(QPM, rel=0.04)
    plain = to_beat(TUNE)
    assert not judge(plain, play(plain, qpm=QPM, late=late)).clean
