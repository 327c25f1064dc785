"""What is heard is what is written, or what was played."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from coach.playing.click_schedule import Timed
from coach.playing.notes import PedalMove, PlayedNote, Take
from coach.playing.playback import note_messages, plan_notes, take_messages
from coach.score.build import score_from_notes
from coach.score.model import Grace, Hand, Score, ScoreNote
from coach.score.reading import read_score

SCORES = sorted((Path(__file__).parent.parent / "sample_scores").glob("*.musicxml"))


def strikes(messages: Sequence[Timed]) -> list[tuple[float, int]]:
    return [(at_s, message[1]) for at_s, message in messages if message[0] == 0x90]


def never_hangs(messages: Sequence[Timed]) -> None:
    """Every key is let go of before it is struck again, and at the end none is down."""
    down: set[int] = set()
    for _, message in sorted(messages):
        if message[0] == 0x90:
            assert message[1] not in down
            down.add(message[1])
        elif message[0] == 0x80:
            down.remove(message[1])
    assert not down


def written(score: Score) -> set[tuple[Fraction, int, bool]]:
    return {(note.onset_quarters, note.pitch, note.grace is not None) for note in score.notes}


@pytest.mark.parametrize("path", SCORES, ids=lambda path: path.stem)
def test_every_written_note_is_heard_once_at_its_time(path: Path) -> None:
    score = read_score(path)
    sounding = plan_notes(score.notes, qpm=90, from_quarters=Fraction(0), start_s=10.0)
    assert {
        (one.note.onset_quarters, one.note.pitch, one.note.grace is not None) for one in sounding
    } == written(score)
    for one in sounding:
        if one.note.grace is None:
            assert one.at_s == pytest.approx(10.0 + float(one.note.onset_quarters) * 60 / 90)
        else:
            assert one.at_s < 10.0 + float(one.note.onset_quarters) * 60 / 90
    messages = note_messages(sounding)
    assert len(strikes(messages)) == len(sounding)
    never_hangs(messages)


def take(*notes: PlayedNote, pedals: tuple[PedalMove, ...] = ()) -> Take:
    return Take(notes, pedals)


def test_a_take_sounds_as_it_was_played() -> None:
    played = take(
        PlayedNote(60, 50, 100.0, 0.5),
        PlayedNote(64, 90, 100.7, 0.2),
        pedals=(PedalMove(64, 100, 100.1), PedalMove(64, 0, 100.9)),
    )
    messages = take_messages(played, start_s=5.0, from_s=100.0)
    assert [(round(at_s, 6), message) for at_s, message in messages] == [
        (5.0, (0x90, 60, 50)),
        (5.1, (0xB0, 64, 100)),
        (5.5, (0x80, 60, 0)),
        (5.7, (0x90, 64, 90)),
        (5.9, (0x80, 64, 0)),
        (5.9, (0xB0, 64, 0)),
    ]


def test_half_the_speed_takes_twice_as_long_and_begins_where_it_is_asked_to() -> None:
    played = take(PlayedNote(60, 50, 0.0, 0.5), PlayedNote(62, 50, 1.0, 0.5))
    assert strikes(take_messages(played, start_s=0.0, from_s=0.0, slower=2)) == [(0, 60), (2, 62)]
    assert strikes(take_messages(played, start_s=0.0, from_s=1.0)) == [(0, 62)]


def test_a_key_that_was_struck_again_is_let_go_of_before() -> None:
    played = take(PlayedNote(60, 50, 0.0, None), PlayedNote(60, 50, 0.2, None))
    messages = take_messages(played, start_s=0.0)
    never_hangs(messages)
    offs_s = [at_s for at_s, message in messages if message[0] == 0x80]
    assert offs_s == pytest.approx([0.2 - 0.03, 0.2 + 0.4])


def test_voices_that_share_a_key_strike_it_once() -> None:
    score = read_score(SCORES[0])
    note: ScoreNote = score.notes[0]
    sounding = plan_notes([note, note], qpm=60, from_quarters=note.onset_quarters, start_s=0.0)
    assert len(sounding) == 1


@pytest.mark.parametrize(
    ("length", "sounds_s"),
    [(Fraction(1), 0.95), (Fraction(1, 16), 0.059375), (Fraction(1, 32), 0.04)],
)
def test_a_note_sounds_a_little_shorter_than_written_and_no_click(
    length: Fraction, sounds_s: float
) -> None:
    one = score_from_notes([{"pitch": 60, "onset": 0, "length": length, "hand": "RH"}]).notes
    (sounding,) = plan_notes(one, qpm=60, from_quarters=Fraction(0), start_s=10.0)
    assert (sounding.at_s, sounding.end_s) == pytest.approx((10.0, 10.0 + sounds_s))


def test_the_right_hand_stands_out_a_little() -> None:
    score = read_score(SCORES[0])
    sounding = plan_notes(score.notes, qpm=60, from_quarters=Fraction(0), start_s=0.0)
    loudness = {one.note.hand: note_messages([one])[0][1][2] for one in sounding}
    assert loudness == {Hand.RIGHT: 76, Hand.LEFT: 64}


def test_grace_notes_come_a_tenth_of_a_second_before_their_note_one_by_one() -> None:
    note = read_score(SCORES[0]).notes[0]
    graces = [replace(note, pitch=note.pitch + up, grace=Grace.BEFORE) for up in (3, 1)]
    sounding = plan_notes([*graces, note], qpm=60, from_quarters=note.onset_quarters, start_s=10.0)
    assert [round(one.at_s, 3) for one in sounding] == [9.82, 9.91, 10.0]
