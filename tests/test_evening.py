"""Evenings held against what was meant: the referee sees what is wrong, and evenings are right.

The whole measurement is ``python -m scripts.evening``; here are a few short evenings of it.
"""

import os
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest

from coach.coaching.drill.drill_events import AssignmentGiven, RepetitionEnded
from coach.drill import Drill, Window, played, repair
from coach.judging.faults.context import FaultSpan, make_fault
from coach.judging.judge import judge
from coach.judging.model import Cause, Outcome
from coach.judging.timing import Habits
from coach.playing.notes import Take
from coach.playing.simulated.gesture import Act, Do, Gesture, Passage, Planted, Worth
from coach.score.build import score_from_notes
from coach.score.model import Hands
from scripts.eveningbench.evening import run_evening
from scripts.eveningbench.referee import SETTLED_S, Referee
from scripts.eveningbench.tally import Tally
from tests.breadth import every
from tests.judging_help import both

PASSAGE = Passage("right", Worth.CLEAN, is_whole=True, notes_right=True)


class Table:
    """A drill on the desk, and a referee beside it."""

    def __init__(self) -> None:
        score = both()
        self.drill = Drill(score, repair(score, Window(F(0), F(4)), qpm=100))
        self.referee = Referee(Tally(), "test")

    def plays(
        self,
        passage: Passage = PASSAGE,
        *,
        wrong: int | None = None,
        heard: bool = True,
        given_s: float | None = None,
    ) -> Tally:
        """One repetition, from 0 s on; ``wrong``: a note a semitone up; the tally."""
        notes = self.drill.excerpt.notes
        times = [0.6 * float(note.onset_quarters) + 0.001 * at for at, note in enumerate(notes)]
        passage = replace(passage, struck_s=tuple(times))
        acts = tuple(Act(at_s, Do.DOWN, n.pitch, 64) for at_s, n in zip(times, notes, strict=True))
        self.referee.watch(Gesture("a gesture", acts, (passage,), 1.0))
        if given_s is not None:
            for window in (Window(F(0), F(4)), Window(F(0), F(2))):
                asked = replace(self.drill.assignment, window=window)
                given = AssignmentGiven(asked, self.drill.excerpt, self.drill.decision)
                self.referee.hear(given, given_s)
        if heard:
            keys = [
                (note.pitch + (at == wrong), 64, at_s, 0.25)
                for at, (note, at_s) in enumerate(zip(notes, times, strict=True))
            ]
            self.referee.hear(self.drill.repetition(played(keys)), times[-1] + 0.2)
        self.referee.settle(times[-1] + SETTLED_S + 1)
        return self.referee.tally


@pytest.fixture
def table() -> Table:
    return Table()


def test_a_right_repetition_counted_clean_is_as_it_should_be(table: Table) -> None:
    tally = table.plays()
    assert (tally.meant, tally.meant_clean, tally.whole) == (1, 1, 1)
    assert tally.holds


def test_one_without_a_verdict_is_lost(table: Table) -> None:
    tally = table.plays(heard=False)
    assert tally.lost == {"right": 1}
    assert not tally.holds


def test_a_fault_of_notes_that_nobody_made_is_false(table: Table) -> None:
    tally = table.plays(wrong=3)
    assert tally.meant_not == {"notes": 1}
    assert tally.false_faults == {"right": 1}


@pytest.mark.parametrize("worth", [Worth.UNCLEAN, Worth.NOTHING])
def test_what_can_not_be_clean_and_is_called_clean(table: Table, worth: Worth) -> None:
    tally = table.plays(replace(PASSAGE, kind="mashed", worth=worth))
    assert tally.false_clean == {"mashed": 1}
    assert not tally.holds


def test_a_planted_note_is_told_where_it_is_and_not_told_where_another_is(table: Table) -> None:
    note = table.drill.excerpt.notes[3]
    planted = replace(
        PASSAGE, worth=Worth.UNCLEAN, notes_right=False,
        planted=(Planted(note.onset_quarters, note.pitch, False),),
    )  # fmt: skip
    assert table.plays(planted, wrong=3).told == 1
    elsewhere = Table()
    last = len(elsewhere.drill.excerpt.notes) - 1
    assert elsewhere.plays(planted, wrong=last).told == 0


@pytest.mark.parametrize(("given_s", "whole"), [(3.0, 0), (1.3, 1)])
def test_what_was_meant_for_a_window_that_was_changed_in_a_rest_need_not_be_heard(
    table: Table, given_s: float, whole: int
) -> None:
    """A pianist who rests looks; who has had no time to do so is not let off."""
    first = replace(PASSAGE, kind="noodling", is_whole=False, struck_s=(0.0, 0.6))
    acts = tuple(Act(at_s, Do.DOWN, 60, 64) for at_s in (0.0, 0.6, 20.0))
    ups = tuple(Act(at_s + 0.1, Do.UP, 60) for at_s in (0.0, 0.6, 20.0))
    later = replace(PASSAGE, struck_s=(20.0,))
    table.referee.watch(Gesture("a gesture", (*acts, *ups), (first, later), 1.0))
    for window in (Window(F(0), F(4)), Window(F(0), F(2))):
        asked = replace(table.drill.assignment, window=window)
        given = AssignmentGiven(asked, table.drill.excerpt, table.drill.decision)
        table.referee.hear(given, given_s)
    table.referee.settle(20.0 + SETTLED_S + 1)
    assert table.referee.tally.whole == whole
    assert table.referee.tally.lost.total() == whole


def test_a_failure_of_one_hand_is_explained_by_the_fault_of_both(table: Table) -> None:
    """A take broken off with a loudness that was told: nothing failed for the break."""
    notes = table.drill.excerpt.notes
    keys = [(n.pitch, 64, 0.6 * float(n.onset_quarters), 0.25) for n in notes[:-4]]
    ended = table.drill.repetition(played(keys))
    first = ended.judgement.transitions[0].transition
    fault = make_fault(
        ended.judgement.excerpt,
        Cause.NO_CONTRAST,
        FaultSpan.at(first.to_quarters, Hands.TOGETHER),
        "x",
    )
    failed = tuple(
        replace(one, outcome=Outcome.UNEVEN)
        if one.transition.to_quarters == first.to_quarters else one
        for one in ended.judgement.transitions
    )  # fmt: skip
    passage = replace(PASSAGE, kind="stops", is_whole=False, worth=Worth.UNCLEAN)
    for faults, count in (((fault,), 0), ((), 1)):
        judgement = replace(ended.judgement, faults=faults, transitions=failed)
        referee = Referee(Tally(), "test")
        referee._false_faults(replace(ended, judgement=judgement), [passage], "stops", 9.0)
        assert referee.tally.by_breaks.total() == count


@pytest.mark.parametrize(("rest_beats", "count"), [(1.0, 0), (0.3, 1)])
def test_what_else_is_begun_just_when_the_next_note_is_due_can_t_be_heard(
    table: Table, rest_beats: float, count: int
) -> None:
    """Four notes, and the first one of other music in time: nobody knows it for no wrong one."""
    line = (60, 64, 67, 65, 62, 59)
    score = score_from_notes(
        [{"pitch": p, "onset": k, "length": 1, "hand": "RH"} for k, p in enumerate(line)]
    )
    drill = Drill(score, repair(score, Window(F(0), F(6)), qpm=100))
    times = [0.6 * at for at in range(4)]
    times += [times[-1] + 0.6 * rest_beats, times[-1] + 0.6 * rest_beats + 0.6]
    keys = [(p, 64, at_s, 0.25) for p, at_s in zip((60, 64, 67, 65, 63, 59), times, strict=True)]
    left = replace(PASSAGE, kind="broken off", worth=Worth.UNCLEAN, is_whole=False)
    passages = [replace(left, struck_s=tuple(times[:4])), replace(left, struck_s=tuple(times[4:]))]
    ended = drill.repetition(played(keys))
    table.referee._false_faults(ended, passages, "broken off", 9.0)
    assert table.referee.tally.false_faults.total() == count


@pytest.mark.parametrize(("given_s", "count"), [(1.0, 1), (9.0, 0)])
def test_a_window_may_change_after_the_last_key_and_not_before(
    table: Table, given_s: float, count: int
) -> None:
    assert table.plays(given_s=given_s).windows_changed.total() == count


@pytest.mark.parametrize(
    ("kind", "held", "given_s", "count"),
    [
        ("false start", False, 3.0, 0),  # nobody can hear that the window is to come yet
        ("false start", False, 1.3, 1),
        ("false start", True, 3.0, 1),
        ("a long stop", False, 7.0, 1),
        ("a long stop", False, 9.0, 0),
    ],
)
def test_a_silence_is_a_rest_where_no_hand_is_down_and_nothing_can_be_looked_for(
    table: Table, kind: str, held: bool, given_s: float, count: int
) -> None:
    first = replace(PASSAGE, kind=kind, struck_s=(0.0, 0.6))
    later = replace(PASSAGE, struck_s=(20.0,))
    acts = [Act(at_s, Do.DOWN, 60, 64) for at_s in (0.0, 0.6, 20.0)]
    ups = [Act(0.5, Do.UP, 60), *([] if held else [Act(1.0, Do.UP, 60)])]
    acts = sorted([*acts, *ups], key=lambda act: act.at_s)
    table.referee.watch(Gesture("a gesture", tuple(acts), (first, later), 1.0))
    for window in (Window(F(0), F(4)), Window(F(0), F(2))):
        asked = replace(table.drill.assignment, window=window)
        given = AssignmentGiven(asked, table.drill.excerpt, table.drill.decision)
        table.referee.hear(given, given_s)
    assert table.referee.tally.windows_changed.total() == count


BROKEN_OFF = Passage("broken off", Worth.UNCLEAN, is_whole=False, notes_right=True)


def broken_off(table: Table, before: int, habits: Habits) -> RepetitionEnded:
    """A repetition left before the so manyth onset, by a player of whom something is known."""
    excerpt = table.drill.excerpt
    numbered = zip(excerpt.notes, excerpt.onset_numbers, strict=True)
    keys = [(n.pitch, 64, 0.6 * float(n.onset_quarters), 0.25) for n, at in numbered if at < before]
    take = played(keys)
    ended = Table().drill.repetition(take)
    judgement = judge(excerpt, take, habits=habits)
    return replace(ended, judgement=judgement, take=Take(tuple(take)))


def hears(referee: Referee, ended: RepetitionEnded, at_s: float) -> None:
    notes = [replace(note, onset_s=note.onset_s + at_s) for note in ended.take.notes]
    times = tuple(note.onset_s for note in notes)
    acts = tuple(Act(note.onset_s, Do.DOWN, note.pitch, 64) for note in notes)
    passage = replace(BROKEN_OFF, struck_s=times)
    referee.watch(Gesture("broken off", acts, (passage,), 1.0))
    referee.hear(replace(ended, take=Take(tuple(notes))), times[-1] + 4.0)


@pytest.mark.parametrize(("first", "count"), [(3, 0), (2, 1)])
def test_a_stop_may_be_told_before_the_onset_of_an_earlier_one_only(first: int, count: int) -> None:
    table = Table()
    here = broken_off(table, 3, Habits())
    again = broken_off(table, 3, Habits().with_(here.judgement, None))
    assert Cause.STOPPED_AGAIN in {fault.cause for fault in again.judgement.faults}
    hears(table.referee, broken_off(table, first, Habits()), 0.0)
    hears(table.referee, again, 20.0)
    assert table.referee.tally.by_breaks.total() == count


@pytest.mark.parametrize(("others", "count"), [(2, 0), (3, 1)])
def test_a_stop_is_forgotten_after_the_three_repetitions_before(others: int, count: int) -> None:
    table = Table()
    here = broken_off(table, 3, Habits())
    again = broken_off(table, 3, Habits().with_(here.judgement, None))
    hears(table.referee, here, 0.0)
    for number in range(others):
        hears(table.referee, broken_off(table, 2, Habits()), 20.0 * (number + 1))
    hears(table.referee, again, 100.0)
    assert table.referee.tally.by_breaks.total() == count


def test_a_tally_comes_back_from_the_file_as_it_went_there(table: Table) -> None:
    tally = table.plays(wrong=3)
    again = Tally.from_plain(tally.plain())
    assert again == tally
    again.add(tally)
    assert again.repetitions == 2
    assert again.false_faults == {"right": 2}


def test_the_same_evening_is_the_same_in_any_process() -> None:
    """Sets of words and of objects come in another order in each."""
    code = (
        "from scripts.eveningbench.evening import run_evening;"
        "one = run_evening(5, 4, 0.02); print(one.repetitions, one.digest)"
    )
    seed = "2" if os.environ.get("PYTHONHASHSEED") == "1" else "1"
    said = subprocess.run(
        [sys.executable, "-c", code],
        cwd=Path(__file__).resolve().parent.parent,
        env={**os.environ, "PYTHONHASHSEED": seed},
        check=True,
        capture_output=True,
    ).stdout
    one = run_evening(5, 4, 0.02)
    assert list(map(int, said.split())) == [one.repetitions, one.digest]
    assert one.repetitions > 5
    assert one.digest not in (0, run_evening(5, 3, 0.01).digest)


@pytest.mark.property
@pytest.mark.parametrize("numbers", every(2, [[1], [0, 2]]), ids=str)
def test_a_few_short_evenings_break_nothing_and_lose_next_to_nothing(numbers: list[int]) -> None:
    """A quarter of an hour of all habits; the bars are for many (``scripts.evening``)."""
    tally = Tally()
    for number in numbers:
        tally.add(run_evening(8, number, 0.09))
    told = "\n".join([tally.report(), *tally.examples])
    assert tally.repetitions > 20
    assert not tally.exceptions, told
    assert not tally.false_clean, told
    assert tally.meant_share >= 0.95, told
    assert tally.told_share >= 0.85, told
    assert tally.lost.total() <= 0.02 * tally.whole, told
    assert tally.windows_changed.total() <= 0.01 * tally.repetitions, told
