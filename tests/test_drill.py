"""The drill, live: keys, silence and wishes in; marks, verdicts and assignments out."""

from collections.abc import Container
from fractions import Fraction as F
from typing import TypeVar

import pytest

from coach.coaching.drill.drill import Drill, count_in
from coach.coaching.drill.drill_events import (
    AssignmentGiven,
    CountIn,
    DrillEvent,
    DrillState,
    NoteMarked,
    RepetitionBegan,
    RepetitionEnded,
    SetAside,
    StateChanged,
)
from coach.coaching.model import Goal, Request
from coach.coaching.wording import TOO_SOON
from coach.judging.model import Instead, Label, Stage
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Window, excerpt

QPM = 100.0
BEAT_S = 60.0 / QPM

Event = TypeVar("Event")


def piece() -> Score:
    right = [
        {"pitch": 72 + step, "onset": i, "length": 1, "hand": "RH"}
        for i, step in enumerate([0, 4, 7, 4, 5, 9, 7, 2])
    ]
    left = [
        {"pitch": pitch, "onset": 2 * i, "length": 2, "hand": "LH"}
        for i, pitch in enumerate([48, 55, 53, 43])
    ]
    return score_from_notes([*right, *left], qpm=QPM)


def goal(stage: Stage = Stage.RHYTHM) -> Goal:
    return Goal(Window(F(0), F(8)), QPM, stage)


class Player:
    """Someone at the piano of a drill: plays, waits, and keeps what came back."""

    def __init__(self, drill: Drill) -> None:
        self.drill, self.now_s = drill, 10.0
        self.heard: list[DrillEvent] = []
        self.note(drill.start(self.now_s))

    def note(
        self,
        outcomes: tuple[
            DrillEvent,
            ...,
        ],
    ) -> tuple[
        DrillEvent,
        ...,
    ]:
        self.heard += outcomes
        return outcomes

    def state(self) -> DrillState:
        return self.drill.state

    def waits(self, seconds: float) -> None:
        end = self.now_s + seconds
        while self.now_s < end:
            self.now_s += 0.05
            self.note(self.drill.tick(self.now_s))

    def plays(self, *, wrong: Container[int] = (), only: int | None = None) -> None:
        """The present window at its tempo; ``wrong``: indices of notes struck a semitone up."""
        window = self.drill.excerpt
        beat_s = 60.0 / (self.drill.assignment.qpm or QPM)
        moves = []
        for i, note in list(enumerate(window.notes))[:only]:
            at_s = (
                self.now_s
                + 0.5
                + float(note.onset_quarters - window.notes[0].onset_quarters) * beat_s
            )
            pitch = note.pitch + (i in wrong)
            held_s = 0.9 * float(note.length_quarters) * beat_s
            moves += [(at_s, 1, pitch), (at_s + held_s, 0, pitch)]
        for at_s, down, pitch in sorted(moves):
            self.waits(max(at_s - self.now_s, 0))
            act = self.drill.key_down(pitch, 64, at_s) if down else self.drill.key_up(pitch, at_s)
            self.note(act)

    def all(self, kind: type[Event]) -> list[Event]:
        return [one for one in self.heard if isinstance(one, kind)]


@pytest.fixture
def player() -> Player:
    return Player(Drill(piece(), goal()))


def test_the_first_assignment_is_shown_at_the_start(player: Player) -> None:
    assert [type(one) for one in player.heard] == [StateChanged, AssignmentGiven]


def test_a_repetition_is_recognised_from_its_first_note_to_its_end_with_no_key_pressed(
    player: Player,
) -> None:
    player.plays()
    player.waits(4)
    assert len(player.all(RepetitionBegan)) == 1
    (ended,) = player.all(RepetitionEnded)
    assert ended.judgement.clean, ended.judgement.sentence
    assert ended.decision.clean_run == 1


def test_each_note_is_marked_as_it_arrives(player: Player) -> None:
    player.plays()
    marked = {one.note for one in player.all(NoteMarked) if one.label is Label.MATCHED}
    assert marked == set(range(len(player.drill.excerpt.notes)))


def test_a_wrong_note_makes_it_unclean_and_is_named(player: Player) -> None:
    player.plays(wrong={2})
    player.waits(4)
    (ended,) = player.all(RepetitionEnded)
    assert not ended.judgement.clean
    assert ended.decision.clean_run == 0


def test_who_plays_on_slowly_past_the_end_has_hands_that_do_not_rest() -> None:
    """At well under half the tempo asked for; what is asked for changes after the last key."""
    player = Player(Drill(piece(), Goal(Window(F(0), F(4), Hands.RIGHT), QPM)))
    line = [72, 77, 79, 76, 77, 81, 79, 74]  # F for E, and on past the end
    for _ in range(2):
        player.heard.clear()
        for pitch in line:
            player.note(player.drill.key_down(pitch, 64, player.now_s))
            player.waits(0.1)
            player.note(player.drill.key_up(pitch, player.now_s))
            player.waits(1.4)
        assert player.all(RepetitionEnded)
        under_the_hands = player.all(AssignmentGiven)
        player.waits(5)
    assert under_the_hands == []
    assert player.all(AssignmentGiven)


def test_the_goal_is_reached_by_clean_repetitions_alone(player: Player) -> None:
    for _ in range(5):
        player.plays()
        player.waits(4)
    assert player.state() is DrillState.FINISHED
    assert player.all(RepetitionEnded)[-1].decision.finished


def test_at_the_goal_the_window_is_heard_again_when_it_is_played_and_other_keys_are_not(
    player: Player,
) -> None:
    """No hand is free for the computer: who plays on is heard."""
    for _ in range(5):
        player.plays()
        player.waits(4)
    player.heard.clear()
    for pitch in (61, 63, 66, 90):
        player.note(player.drill.key_down(pitch, 64, player.now_s))
        player.waits(2)
    assert player.heard == []
    player.plays()
    player.waits(4)
    (again,) = player.all(RepetitionEnded)
    assert again.judgement.clean
    assert player.state() is DrillState.FINISHED
    player.plays(wrong={2, 3})
    player.waits(4)
    assert player.state() is DrillState.READY


@pytest.mark.parametrize(
    ("semitones", "said"),
    [
        (12, "Both hands are an octave too high: move them down."),
        (-12, "Both hands are an octave too low: move them up."),
    ],
)
def test_at_the_goal_an_octave_off_is_told_as_before_and_nothing_else_follows(
    player: Player, semitones: int, said: str
) -> None:
    for reached in (False, True):
        for _ in range(5 * reached):
            player.plays()
            player.waits(4)
        player.heard.clear()
        begun_s, seen = player.now_s + 0.5, player.drill.coach.observed
        for note in player.drill.excerpt.notes:
            at_s = begun_s + float(note.onset_quarters) * BEAT_S
            player.waits(at_s - player.now_s)
            player.note(player.drill.key_down(note.pitch + semitones, 64, at_s))
        player.waits(8)
        assert player.heard == [SetAside(said, what=Instead.OCTAVE)]
        assert player.drill.coach.observed == seen
    assert player.state() is DrillState.FINISHED
    player.heard.clear()
    player.plays()
    player.waits(4)
    assert [one.judgement.clean for one in player.all(RepetitionEnded)] == [True]


def test_at_the_goal_three_notes_an_octave_off_are_told_once_the_hands_rest() -> None:
    """Too few to tell while more may come."""
    player = Player(Drill(piece(), Goal(Window(F(0), F(3), Hands.RIGHT), QPM)))
    for _ in range(5):
        player.plays()
        player.waits(4)
    assert player.state() is DrillState.FINISHED
    player.heard.clear()
    for pitch in (84, 88, 91):
        player.note(player.drill.key_down(pitch, 64, player.now_s))
        assert player.heard == []
        player.waits(BEAT_S)
    player.waits(4)
    assert [one.what for one in player.all(SetAside)] == [Instead.OCTAVE]
    assert player.state() is DrillState.FINISHED


def test_a_piano_unplugged_in_mid_bar_sets_the_repetition_aside_and_loses_nothing(
    player: Player,
) -> None:
    player.plays()
    player.waits(4)
    player.plays(only=3)
    player.note(player.drill.piano_lost(player.now_s))
    assert isinstance(player.heard[-2], SetAside)
    assert player.state() is DrillState.NO_PIANO
    assert player.drill.key_down(60, 64, player.now_s) == ()
    player.note(player.drill.piano_found(player.now_s + 5))
    assert player.state() is DrillState.READY
    assert player.drill.decision.clean_run == 1


def test_a_pause_ends_by_playing(player: Player) -> None:
    player.note(player.drill.pause(player.now_s))
    assert player.state() is DrillState.RESTING
    player.plays()
    player.waits(4)
    assert len(player.all(RepetitionEnded)) == 1


def test_what_the_pianist_asks_for_is_given(player: Player) -> None:
    player.plays(only=2)
    player.note(player.drill.ask(Request.OTHER_HAND, player.now_s))
    given = player.heard[-1]
    assert isinstance(given, AssignmentGiven)
    assert given.assignment.window.hands is not Hands.TOGETHER
    assert player.state() is DrillState.READY


def test_a_single_key_and_silence_are_no_repetition(player: Player) -> None:
    player.note(player.drill.key_down(36, 64, player.now_s))
    player.waits(10)
    assert player.all(RepetitionEnded) == []
    assert player.state() is DrillState.READY


class TestTheClick:
    @pytest.fixture
    def player(self) -> Player:
        return Player(Drill(piece(), goal(stage=Stage.PULSE)))

    @pytest.mark.parametrize("stage", [Stage.PULSE, Stage.TEMPO, Stage.SHAPE])
    def test_each_stage_from_the_pulse_on_has_a_click(self, stage: Stage) -> None:
        player = Player(Drill(piece(), goal(stage=stage)))
        assert player.drill.assignment.click
        player.note(player.drill.key_down(60, 64, player.now_s))
        assert len(player.all(CountIn)) == 1

    def test_a_key_starts_the_count_in(self, player: Player) -> None:
        player.note(player.drill.key_down(60, 64, player.now_s))
        assert player.state() is DrillState.COUNT_IN
        (click,) = player.all(CountIn)
        assert click.count_in_beats == 4

    def test_fidgeting_through_the_count_in_is_no_repetition(self, player: Player) -> None:
        player.note(player.drill.key_down(60, 64, player.now_s))
        assert player.drill.key_down(72, 64, player.now_s + 0.6) == ()
        assert player.all(RepetitionBegan) == []

    def test_coming_in_a_beat_early_is_said_and_counted_in_again(self, player: Player) -> None:
        player.note(player.drill.key_down(60, 64, player.now_s))
        player.note(player.drill.key_up(60, player.now_s))
        (click,) = player.all(CountIn)
        due_s = click.first_beat_s + click.count_in_beats * click.beat_s
        for pitch, beats in ((72, -1.0), (48, -0.98), (76, 0.02)):
            at_s = due_s + beats * click.beat_s
            player.note(player.drill.key_down(pitch, 64, at_s))
            player.note(player.drill.key_up(pitch, at_s))
        assert [one.reason for one in player.all(SetAside)] == [TOO_SOON]
        assert player.all(RepetitionBegan) == []
        player.now_s = due_s
        player.waits(2)
        assert len(player.all(CountIn)) == 2

    def test_who_strikes_for_the_count_in_and_plays_on_at_once_is_told_so(
        self, player: Player
    ) -> None:
        """At a first try nobody waits: the key that counts in is the window's first."""
        keys = [(72, 0), (48, 0), (76, 1), (52, 1), (79, 2)]
        for pitch, beat in keys:
            player.note(player.drill.key_down(pitch, 64, player.now_s + beat * BEAT_S))
        assert [one.reason for one in player.all(SetAside)] == [TOO_SOON]
        assert player.all(RepetitionBegan) == []

    @pytest.mark.parametrize(("slower", "told"), [(1.8, [TOO_SOON]), (2.2, [])])
    def test_down_to_half_the_tempo_it_is_the_window_that_is_played_on(
        self, player: Player, slower: float, told: list[str]
    ) -> None:
        for pitch, beat in [(72, 0), (48, 0), (76, slower)]:
            player.note(player.drill.key_down(pitch, 64, player.now_s + beat * BEAT_S))
        assert [one.reason for one in player.all(SetAside)] == told

    def test_who_left_the_first_note_out_did_not_come_in_too_soon(self, player: Player) -> None:
        for pitch in (72, 48):
            player.note(player.drill.key_down(pitch, 64, player.now_s))
        (click,) = player.all(CountIn)
        due_s = click.first_beat_s + click.count_in_beats * click.beat_s
        for pitch, beat in ((76, 1), (79, 2), (55, 2), (76, 3), (77, 4), (53, 4)):
            player.note(player.drill.key_down(pitch, 64, due_s + beat * click.beat_s))
        assert player.all(SetAside) == []
        assert len(player.all(RepetitionBegan)) == 1

    def test_a_first_note_tried_out_in_the_count_in_does_no_harm(self, player: Player) -> None:
        player.note(player.drill.key_down(60, 64, player.now_s))
        (click,) = player.all(CountIn)
        due_s = click.first_beat_s + click.count_in_beats * click.beat_s
        for pitch, beats in ((72, -2.0), (48, -2.0), (72, 0.0), (48, 0.0), (76, 1.0)):
            player.note(player.drill.key_down(pitch, 64, due_s + beats * click.beat_s))
        assert player.all(SetAside) == []
        assert len(player.all(RepetitionBegan)) == 1

    def test_at_the_goal_any_key_counts_in_again(self, player: Player) -> None:
        """No hand is free for the computer: what began every repetition before begins this."""
        player.drill.state = DrillState.FINISHED
        player.note(player.drill.key_down(60, 64, player.now_s))
        assert player.state() is DrillState.COUNT_IN
        assert len(player.all(CountIn)) == 1

    def test_nobody_playing_lets_it_run_out(self, player: Player) -> None:
        player.note(player.drill.key_down(60, 64, player.now_s))
        player.waits(20)
        assert player.state() is DrillState.READY


def test_a_window_that_begins_on_beat_three_is_counted_in_with_a_bar_and_two() -> None:
    """Common practice: a whole bar, then the beats before."""
    score = piece()
    click = count_in(excerpt(score, Window(F(2), F(6))), score, 60.0, 100.0)
    assert click.count_in_beats == 4 + 2
    assert click.beat_s == 1.0


def test_a_whole_repetition_can_be_given_at_once() -> None:
    drill = Drill(piece(), goal())
    notes = [
        PlayedNote(n.pitch, 64, float(n.onset_quarters) * BEAT_S, 0.4) for n in drill.excerpt.notes
    ]
    ended = drill.repetition(notes, now_s=30.0)
    assert ended.judgement.clean
    assert ended.decision.clean_run == 1


@pytest.mark.parametrize("request_", Request)
def test_a_window_of_a_single_note_can_be_asked_anything(request_: Request) -> None:
    score = score_from_notes([{"pitch": 60, "onset": 0, "length": 4, "hand": "RH"}])
    drill = Drill(score, Goal(Window(F(0), F(4)), QPM, own_pace=True))
    given = drill.ask(request_, 1.0)[-1]
    assert isinstance(given, AssignmentGiven)
    assert given.excerpt.notes
    for at_s in (5.0, 15.0, 25.0):
        drill.repetition([PlayedNote(61, 64, at_s)], now_s=at_s)
