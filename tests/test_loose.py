"""Where nearly every move fails, nothing stands out: no single one is picked."""

from collections.abc import Callable
from dataclasses import replace

from coach.coaching.coach import Coach
from coach.coaching.model import Goal, Request
from coach.coaching.planning import RowState
from coach.coaching.wording import SLIPS_TODAY
from coach.drill import Drill, score_from_notes
from coach.judging.model import Stage
from coach.playing.notes import PlayedNote
from coach.score.model import Hand, Hands, NoteMark, Score, ScoreNote
from coach.score.window import Window
from tests.lessons import QPM, Lesson, Weak, piece, tempo_of

TUNE = (60, 62, 64, 65, 67, 65, 64, 62) * 2


def slurred() -> Score:
    notes = [{"pitch": p, "onset": k, "length": 1, "hand": "RH"} for k, p in enumerate(TUNE)]
    score = score_from_notes(notes, qpm=80)
    marked = [replace(note, marks=frozenset({NoteMark.UNDER_SLUR})) for note in score.notes[:-1]]
    return replace(score, notes=(*marked, score.notes[-1]))


def played(drill: Drill, held: Callable[[ScoreNote], float], at_s: float) -> list[PlayedNote]:
    return [
        PlayedNote(n.pitch, 64, at_s + 0.75 * float(n.onset_quarters), 0.75 * held(n))
        for n in drill.excerpt.notes
    ]


def begun() -> Drill:
    score = slurred()
    whole = Window(score.notes[0].onset_quarters, score.end_quarters)
    return Drill(score, Goal(whole, 80.0, stage=Stage.SHAPE))


def test_a_take_with_every_slur_broken_is_asked_for_again_whole() -> None:
    drill = begun()
    ended = drill.repetition(played(drill, lambda note: 0.4, 0.0), now_s=15.0)
    assert not ended.judgement.clean
    assert ended.decision.assignment.window == drill.goal.window
    ended = drill.repetition(played(drill, lambda note: 0.4, 20.0), now_s=35.0)
    assert ended.decision.assignment.window == drill.goal.window
    assert tempo_of(ended.decision.assignment) < 80


def test_a_slur_broken_in_one_place_is_looked_into() -> None:
    drill = begun()
    for take in range(3):
        at_s = 20.0 * take
        keys = played(drill, lambda note: 0.4 if note.onset_quarters == 6 else 1.0, at_s)
        ended = drill.repetition(keys, now_s=at_s + 15)
        if ended.decision.assignment.window != drill.goal.window:
            break
    assert ended.decision.assignment.window != drill.goal.window


def test_where_one_hand_fails_everywhere_no_place_is_looked_for() -> None:
    at = Lesson([Weak("LH", beat) for beat in range(1, 16)])
    at.plays()
    assert at.asked.window == at.drill.goal.window
    at.plays()
    assert at.asked.window == at.drill.goal.window.of(Hands.LEFT)


MOST_BEATS = [beat for beat in range(1, 16) if beat % 3]
"""Where a hand fails that fails nearly everywhere."""


def loose_hand(*, heals: bool = False) -> Lesson:
    """The left hand failed nearly everywhere, twice; the right one held."""
    at = Lesson([Weak("LH", beat) for beat in MOST_BEATS])
    at.plays()
    at.plays()
    if heals:
        at.heals()
    return at


def test_the_hand_that_fails_everywhere_is_taken_alone_and_slower() -> None:
    at = loose_hand()
    assert at.asked.window == at.drill.goal.window.of(Hands.LEFT)
    assert tempo_of(at.asked) == 80.0 < QPM
    assert at.asked.reason == (
        "The left hand breaks nearly everywhere, the other holds: left hand alone, at 80."
    )
    assert [row.what for row in at.drill.coach.plan()] == [
        "bars 1 to 4, left hand alone",
        "bars 1 to 4",
    ]


def test_where_it_holds_alone_at_the_tempo_the_hands_play_together_again() -> None:
    at = loose_hand(heals=True)
    tempi = []
    while at.asked.window.hands is Hands.LEFT:
        tempi.append(tempo_of(at.asked))
        at.plays()
    assert tempi[-2:] == [QPM, QPM]
    assert tempi == sorted(tempi)
    assert at.asked.reason == "Hands together again: bars 1 to 4."
    assert (at.asked.window, at.asked.clean_required) == (at.drill.goal.window, 3)


def test_a_hand_is_taken_alone_once_and_then_both_go_slower() -> None:
    at = loose_hand(heals=True)
    at.until(lambda ended: at.asked.window.hands is Hands.TOGETHER)
    at.weak = [Weak("LH", beat) for beat in MOST_BEATS]
    at.plays()
    at.plays()
    assert at.asked.window == at.drill.goal.window
    assert at.asked.reason.startswith("It breaks nearly everywhere: at ")


def test_what_fails_everywhere_alone_and_slowly_is_left_for_today() -> None:
    at = loose_hand()
    at.until(lambda ended: ended.decision.enough, most=12)
    assert tempo_of(at.asked) == QPM / 2
    assert {row.state for row in at.drill.coach.plan()} == {RowState.LEFT_TODAY}


def test_a_place_that_will_not_come_ends_a_hand_that_fails_elsewhere_too() -> None:
    """Alone and slowly half of it comes: one place after the other would take an evening."""
    at = loose_hand()
    at.weak = [Weak("LH", beat) for beat in (2, 4, 6, 8, 10, 12)]
    at.until(lambda ended: ended.decision.enough)
    assert SLIPS_TODAY in at.decision.proposals
    assert {row.state for row in at.drill.coach.plan()} == {RowState.LEFT_TODAY}


def test_one_place_of_a_hand_that_holds_by_now_is_left_and_the_rest_is_played() -> None:
    at = loose_hand()
    at.weak = [Weak("LH", 6)]
    at.until(lambda ended: at.asked.window.hands is Hands.TOGETHER)
    assert not at.decision.enough
    assert at.asked.window.start_quarters in (0, 6)


def test_touch_that_is_not_done_alone_nor_slower_is_left_after_six_takes() -> None:
    """The left hand is marked staccato and never short: slowness does little for that."""
    score = piece()
    marked = tuple(
        replace(note, marks=frozenset({NoteMark.STACCATO})) if note.hand is Hand.LEFT else note
        for note in score.notes
    )
    at = Lesson(score=replace(score, notes=marked))
    at.drill = Drill(at.score, replace(at.drill.goal, stage=Stage.SHAPE))
    asked = []
    for _ in range(6):
        assert not at.decision.enough
        asked.append((at.asked.window.hands, tempo_of(at.asked)))
        at.plays()
    assert [hands for hands, _ in asked] == 2 * [Hands.TOGETHER] + 4 * [Hands.LEFT]
    assert [tempo for _, tempo in asked[:4]] == 4 * [QPM]
    assert at.decision.enough


def test_the_hand_that_is_taken_alone_is_kept_for_another_day() -> None:
    at = loose_hand()
    again = Coach.resume(at.score, at.drill.coach.state())
    assert again.assignment.to_play == at.asked.to_play
    assert again.plan() == at.drill.coach.plan()


def test_larger_passes_the_hand_alone_over() -> None:
    at = loose_hand()
    assert at.drill.ask(Request.LARGER, at.now_s)
    assert at.asked.window == at.drill.goal.window


def test_where_both_hands_fail_everywhere_none_is_taken_alone() -> None:
    at = Lesson([Weak(hand, b) for hand in ("LH", "RH") for b in range(2, 12)])
    at.plays()
    at.plays()
    assert at.asked.window == at.drill.goal.window
    assert at.asked.reason.startswith("It breaks nearly everywhere: at ")


def test_half_of_what_a_hand_plays_is_not_everywhere() -> None:
    at = Lesson([Weak("LH", beat) for beat in range(1, 8)])
    at.plays()
    assert at.asked.window != at.drill.goal.window
