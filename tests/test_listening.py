"""Hearing the window, and one's own take: what sounds, what is marked, and what ends it."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from coach.coaching.drill import DrillState
from coach.drill import Drill, Window, repair
from coach.playing.notes import PlayedNote
from coach.score.model import Hands
from coach.score.window import excerpt
from coach.screens.dialogs.texts import help_text
from coach.screens.drill.listening import (
    NOTHING_PLAYED,
    OFFER,
    HearingWay,
    Listening,
    find_failed_hand,
    find_run_up,
    marks_in_sight,
    plan_take,
    plan_window,
)
from tests.records import SCORE, WINDOW, ended
from tests.screenfakes import FakeClick, FakeDrill, two_hands
from tests.seat import RIGHT, Seat, reason_line, seated

PART = excerpt(SCORE, WINDOW)


def strikes(hearing_messages: tuple[tuple[float, tuple[int, ...]], ...]) -> list[tuple[float, int]]:
    return [(round(at_s, 3), one[1]) for at_s, one in hearing_messages if one[0] == 0x90]


def played_wrong() -> tuple[tuple[PlayedNote, ...], Drill]:
    """Two hands at 60, the right hand's third note a semitone too high."""
    drill = Drill(SCORE, repair(SCORE, WINDOW, qpm=60.0))
    notes = []
    for note in drill.excerpt.notes:
        wrong = note.hand.value == "RH" and note.onset_quarters == 2
        onset_s = 10.0 + float(note.onset_quarters)
        notes.append(PlayedNote(note.pitch + wrong, 61, onset_s, 0.8))
    return tuple(notes), drill


def test_the_window_sounds_as_it_is_written_at_the_tempo_asked_for() -> None:
    hearing = plan_window(PART, 120.0, 5.0)
    assert sorted(strikes(hearing.messages)) == sorted(
        (5.0 + float(note.onset_quarters) / 2, note.pitch) for note in PART.notes
    )
    assert sorted(one.note for one in hearing.marks) == list(range(len(PART.notes)))
    for one in hearing.marks:
        assert one.at_s == pytest.approx(5.0 + float(PART.notes[one.note].onset_quarters) / 2)


def test_a_take_is_heard_from_a_beat_before_it_broke_and_then_as_written() -> None:
    notes, drill = played_wrong()
    done = drill.repetition(notes, now_s=10.0)
    assert not done.judgement.clean
    hearing = plan_take(done.take, done.judgement, 100.0)
    own = [(at_s, pitch) for at_s, pitch in strikes(hearing.messages)][: 2 * 3]
    # beats 2 to 4, as they were played
    assert sorted(own) == sorted(
        (100.0 + float(note.onset_quarters) - 1, note.pitch + (note.pitch == 76))
        for note in PART.notes
        if note.onset_quarters >= 1
    )
    written = strikes(hearing.messages)[2 * 3 :]
    assert written[0][0] == pytest.approx(100.0 + 2.8 + 0.8)
    assert {pitch for _, pitch in written} == {n.pitch for n in PART.notes if n.onset_quarters >= 1}


def test_of_a_take_the_notes_are_marked_that_are_still_in_sight() -> None:
    """The coach made the window smaller meanwhile: one hears its own bars in what was played."""
    notes, drill = played_wrong()
    done = drill.repetition(notes, now_s=10.0)
    marks = plan_take(done.take, done.judgement, 100.0).marks
    judged = done.judgement.excerpt
    assert marks_in_sight(marks, judged, judged) == marks
    assert marks_in_sight(marks, judged, None) == ()
    seen = excerpt(SCORE, Window(Fraction(2), Fraction(3), Hands.RIGHT))
    found = marks_in_sight(marks, judged, seen)
    assert found
    when = {(one.at_s, judged.notes[one.note].id) for one in marks}
    assert all((one.at_s, seen.notes[one.note].id) in when for one in found)
    assert {one.note for one in found} == set(range(len(seen.notes)))


def test_half_the_speed_is_of_both() -> None:
    notes, drill = played_wrong()
    done = drill.repetition(notes, now_s=10.0)
    once = plan_take(done.take, done.judgement, 0.0)
    slowly = plan_take(done.take, done.judgement, 0.0, slower=2.0)
    first, last = strikes(once.messages), strikes(slowly.messages)
    assert len(first) == len(last)
    assert last[5][0] == pytest.approx(2 * first[5][0])
    assert last[-1][0] - last[6][0] == pytest.approx(2 * (first[-1][0] - first[6][0]))


def test_the_hand_that_failed_is_heard_alone() -> None:
    notes, drill = played_wrong()
    done = drill.repetition(notes, now_s=10.0)
    assert find_failed_hand(done.judgement) is Hands.RIGHT
    hearing = plan_take(done.take, done.judgement, 100.0, hands=Hands.RIGHT)
    own = [pitch for _, pitch in strikes(hearing.messages)]
    right = [note.pitch for note in PART.notes if note.hand.value == "RH"][1:]
    assert own == [right[0], right[1] + 1, *right[2:], *right]
    assert {PART.notes[one.note].hand.value for one in hearing.marks} == {"RH"}


def test_while_ones_own_is_heard_it_goes_slower_and_with_one_hand() -> None:
    click = FakeClick()

    async def run(seat: Seat) -> None:
        await seat.play(60, 62, 66, 65, 62)
        await seat.pilot.press("j")
        assert "you hear your own" in seat.text
        await seat.pilot.press("o", "down")
        assert "you hear your own, right hand alone, at half the speed" in seat.text
        await seat.pilot.press("up", "o")
        assert "hand alone" not in seat.text
        assert seat.drill_screen.presenter.listening.is_running
        await seat.pilot.press("h")
        assert "you hear" not in seat.text

    seated((120, 40), run, click=click)


def test_a_window_is_heard_from_the_beat_before() -> None:
    """In its own hand, or both; with the click that counts in, and at the piece's start, not."""
    later = excerpt(SCORE, Window(Fraction(2), Fraction(4), Hands.RIGHT))
    alone, both = (find_run_up(SCORE, later, both_hands=both) for both in (False, True))
    assert {(one.onset_quarters, one.hand.value) for one in alone} == {(Fraction(1), "RH")}
    assert {one.hand.value for one in both} == {"RH", "LH"}
    hearing = plan_window(later, 60.0, 5.0, alone)
    first = next(note for note in later.notes if note.onset_quarters == 2)
    assert (6.0, first.pitch) in strikes(hearing.messages)
    assert min(one.at_s for one in hearing.marks) == pytest.approx(6.0)
    assert find_run_up(SCORE, PART, both_hands=True) == ()


def test_a_clean_take_is_heard_from_its_beginning() -> None:
    drill = Drill(SCORE, repair(SCORE, WINDOW, qpm=60.0))
    notes = [
        PlayedNote(note.pitch, 61, 10.0 + float(note.onset_quarters), 0.8)
        for note in drill.excerpt.notes
    ]
    done = drill.repetition(notes, now_s=10.0)
    hearing = plan_take(done.take, done.judgement, 0.0)
    assert len(strikes(hearing.messages)) == 2 * len(notes)


def test_the_window_is_heard_and_any_key_ends_it_and_counts() -> None:
    click = FakeClick()

    async def run(seat: Seat) -> None:
        await seat.pilot.press("h")
        listening = seat.drill_screen.presenter.listening
        assert listening.is_running
        assert [one[1] for _, one in click.played if one[0] == 0x90] == list(RIGHT)
        await seat.play(*RIGHT)
        assert not listening.is_running
        assert click.stopped
        assert seat.clean_run == "1 of 3 clean"

    seated((120, 40), run, click=click)


def test_pressing_it_again_is_silence() -> None:
    click = FakeClick()

    async def run(seat: Seat) -> None:
        await seat.pilot.press("h")
        await seat.pilot.press("h")
        assert not seat.drill_screen.presenter.listening.is_running
        assert click.stopped

    seated((120, 40), run, click=click)


def test_what_sounds_is_marked_while_it_sounds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coach.screens.drill.listening.BEFORE_S", 0.0)

    async def run(seat: Seat) -> None:
        await seat.pilot.press("h")
        for _ in range(200):
            await asyncio.sleep(0.01)
            if seat.staff.is_marked:
                break
        marks = [line for line in seat.text.splitlines() if line.split() == ["o"]]
        assert marks
        await seat.pilot.press("h")
        await seat.pilot.pause()
        assert not seat.staff.is_marked

    seated((120, 40), run, click=FakeClick())


def test_where_nothing_can_sound_that_is_said() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("h")
        await seat.pilot.pause()
        assert "Nothing can sound here" in reason_line(seat)
        await seat.pilot.press("j")
        await seat.pilot.pause()
        assert NOTHING_PLAYED in seat.text

    seated((120, 40), run, click=FakeClick(sounds=False))


def test_the_same_failure_three_times_offers_to_listen() -> None:
    nobody: Any = None
    listening = Listening(nobody, nobody, float, nobody, FakeClick(), lambda: "Press h.")
    failed, right, asked = ended(clean=False), ended(), f"{OFFER} Press h."
    assert [listening.offer(one) for one in (failed, failed, failed)] == ["", "", asked]
    assert [listening.offer(one) for one in (failed, right, failed, failed)] == [""] * 4
    assert listening.offer(failed) == asked
    mute = Listening(nobody, nobody, float, nobody, None, str)
    assert [mute.offer(failed) for _ in range(3)] == [""] * 3


def test_nothing_sounds_while_one_plays() -> None:
    click = FakeClick()

    async def run(seat: Seat) -> None:
        await seat.play(*RIGHT[:2])
        assert seat.staging.drill.state is DrillState.PLAYING
        await seat.pilot.press("h")
        assert not click.played

    seated((120, 40), run, click=click)


def test_a_key_that_was_never_let_go_of_is_shown_for_as_long_as_it_sounds() -> None:
    notes, drill = played_wrong()
    done = drill.repetition([replace(note, length_s=None) for note in notes], now_s=10.0)
    hearing = plan_take(done.take, done.judgement, 100.0)
    off_s = {one[1]: at_s for at_s, one in reversed(hearing.messages) if one[0] == 0x80}
    for one in hearing.marks[:3]:
        assert one.end_s == pytest.approx(off_s[PART.notes[one.note].pitch])


def test_what_can_not_be_heard_is_said_without_a_headline_of_another_thing() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("h")
        await seat.pilot.pause()
        assert not seat.is_large("A BREAK")

    seated((120, 40), run, click=FakeClick(sounds=False))


def test_the_keys_are_told_with_all_others() -> None:
    assert "The window as it is written" in help_text(demo=False)
    assert Window(Fraction(0), Fraction(4)) == WINDOW


def test_it_can_be_heard_slower_louder_in_a_loop_and_with_the_click() -> None:
    click, drill = FakeClick(), FakeDrill(two_hands())

    async def run(seat: Seat) -> None:
        await seat.pilot.press("h")
        listening = seat.drill_screen.presenter.listening
        assert "you hear it at 60 bpm" in seat.text
        usual = [one[2] for _, one in click.played if one[0] == 0x90]
        await seat.pilot.press("down", "down", ">", "l", "c")
        assert listening.is_hearing_window
        assert "you hear it at 48 bpm, louder, in a loop, with the click" in seat.text
        louder = [one[2] for _, one in click.played if one[0] == 0x90]
        assert all(now > then for now, then in zip(louder, usual, strict=True))
        on_s = [at_s for at_s, one in click.played if one[0] == 0x90]
        counted_s = [at_s for at_s, one in click.played if one[0] == 0x99 and one[2] >= 80]
        assert len(counted_s) == 4 + 5  # the count-in and the window's grid
        assert on_s[0] == pytest.approx(counted_s[4])
        assert not drill.asked
        await seat.pilot.press("B")
        assert 48 in [one[1] for _, one in click.played if one[0] == 0x90]
        await seat.pilot.press("h")
        assert "you hear it" not in seat.text

    seated((120, 40), run, click=click, drill=drill)


def test_a_loop_begins_again_until_a_key_is_struck(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coach.screens.drill.listening.BEFORE_S", 0.0)
    click = FakeClick()

    async def run(seat: Seat) -> None:
        listening = seat.drill_screen.presenter.listening
        await seat.pilot.press("l")
        first = click.played
        assert listening._hearing
        listening._hearing = replace(listening._hearing, messages=tuple(first[:1]))  # it is over
        for _ in range(300):
            await asyncio.sleep(0.01)
            if click.played is not first:
                break
        assert listening.is_hearing_window
        await seat.play(60)
        assert not listening.is_running

    seated((120, 40), run, click=click)


def test_from_the_piano_what_is_heard_goes_slower_and_the_assignment_stays() -> None:
    click, drill = FakeClick(), FakeDrill(two_hands())

    async def run(seat: Seat) -> None:
        await seat.play(21)  # hear
        seat.drill_screen._commands._last_s = -10.0
        await seat.play(24)  # slower
        assert "you hear it at 54 bpm" in seat.text
        assert not drill.asked
        seat.drill_screen._commands._last_s = -10.0
        await seat.play(108)  # larger: louder, while it is heard
        assert "louder" in seat.text
        assert not drill.asked
        seat.drill_screen._commands._last_s = -10.0
        await seat.play(21)  # silence
        assert not seat.drill_screen.presenter.listening.is_running

    seated((120, 40), run, click=click, drill=drill)


def test_the_tempo_stays_within_what_can_be_heard() -> None:
    way = HearingWay()
    for _ in range(20):
        way = way.turn("slower").turn("softer")
    assert (way.share, round(way.loudness, 1)) == (0.3, 0.2)
    for _ in range(40):
        way = way.turn("faster").turn("louder")
    assert (way.share, round(way.loudness, 1)) == (1.5, 1.6)
