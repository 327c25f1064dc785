"""Where nearly every move fails, nothing stands out: no single one is picked."""

from collections.abc import Callable
from dataclasses import replace

from coach.coaching.model import Goal
from coach.drill import Drill, score_from_notes
from coach.judging.model import Stage
from coach.playing.notes import PlayedNote
from coach.score.model import NoteMark, Score, ScoreNote
from coach.score.window import Window
from tests.lessons import Lesson, Weak, tempo_of

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
    assert at.asked.window == at.drill.goal.window
    assert at.asked.reason.startswith("It breaks nearly everywhere: at ")


def test_half_of_what_a_hand_plays_is_not_everywhere() -> None:
    at = Lesson([Weak("LH", beat) for beat in range(1, 8)])
    at.plays()
    assert at.asked.window != at.drill.goal.window
