"""Each mistake gets its hand, its beats and its name; nothing else is touched by it."""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.judging.judge import judge
from coach.judging.model import Family, Fault, Judgement, Outcome, Stage
from coach.judging.timing import Habits
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hand, Hands
from coach.score.window import Window, excerpt
from tests.judging_help import both, play, tune, whole

PIECE = both(32)
WINDOW = excerpt(PIECE, Window(F(4), F(12)))
"""Two bars of four, and the downbeat arrived at."""


def struck(onset: F, hand: Hand = Hand.RIGHT) -> int:
    """The index of the note that a hand has at an onset."""
    return next(
        i for i, n in enumerate(WINDOW.notes) if n.onset_quarters == onset and n.hand is hand
    )


def take(
    at: Callable[[float], float] | None = None,
    late: dict[int, float] | None = None,
    held: float = 0.9,
) -> list[PlayedNote]:
    return play(WINDOW, qpm=80, at=at, late=late, held=held)


def changed(notes: list[PlayedNote], onset: F, hand: Hand, steps: int) -> list[PlayedNote]:
    """The same with one key wrong by some semitones."""
    written = WINDOW.notes[struck(onset, hand)]
    at_s = 0.5 + float(onset - 4) * 0.75
    return [
        replace(n, pitch=n.pitch + steps)
        if n.pitch == written.pitch and abs(n.onset_s - at_s) < 0.01
        else n
        for n in notes
    ]


def without(notes: list[PlayedNote], low: float, high: float) -> list[PlayedNote]:
    """The same with all that sounds between two positions (in quarters) left out."""
    first, last = (0.5 + (x - 4) * 0.75 - 0.01 for x in (low, high))
    return [n for n in notes if not first <= n.onset_s < last]


def first(judgement: Judgement) -> tuple[str, str, int | None, int | None]:
    fault: Fault = judgement.faults[0]
    return fault.cause, fault.hands.value, fault.from_beat, fault.to_beat


def test_a_wrong_key_lies_in_the_transition_it_arrives_in() -> None:
    judgement = judge(WINDOW, changed(take(), F(13, 2), Hand.RIGHT, 1))
    assert first(judgement) == ("wrong key", "RH", 2, 3)


def test_a_hand_that_lies_wrong_is_one_fault_over_its_beats() -> None:
    notes = take()
    for k in range(4):
        notes = changed(notes, F(6) + k * F(1, 2), Hand.RIGHT, 2)
    judgement = judge(WINDOW, notes)
    assert first(judgement) == ("shifted position", "RH", 1, 4)
    assert judgement.sentence == "RH lies a step too high from bar 2 beat 3"


def test_an_octave_slip_is_named_by_the_octave() -> None:
    judgement = judge(WINDOW, changed(take(), F(6), Hand.LEFT, -12))
    assert first(judgement) == ("octave slip", "LH", 1, 2)
    assert "an octave too low" in judgement.sentence


def test_a_skipped_beat_with_the_time_closed_up() -> None:
    notes = without(take(), 6, 7)
    closed = [replace(n, onset_s=n.onset_s - 0.75) if n.onset_s > 2.7 else n for n in notes]
    assert first(judge(WINDOW, closed)) == ("skipped beat", "both", 1, 3)


def test_a_missed_note_of_a_chord() -> None:
    chords = [
        {"pitch": p + i, "onset": F(i), "length": F(1), "hand": "RH"}
        for i in range(8)
        for p in (60, 64)
    ]
    window = whole(score_from_notes(chords), Hands.RIGHT)
    notes = [n for n in play(window) if n.pitch != 67 or n.onset_s > 3]
    judgement = judge(window, notes)
    assert first(judgement) == ("missed in chord", "RH", 2, 3)
    assert judgement.sentence == "G missed at bar 1 beat 4"


def test_a_stumble_names_the_move_that_broke() -> None:
    """Played up to beat 3, stopped, and taken up again from beat 2 1/2."""
    notes = take()
    low = [n for n in notes if n.onset_s < 0.5 + 2.2 * 0.75]
    again = [replace(n, onset_s=n.onset_s + 1.3) for n in notes if n.onset_s > 0.5 + 1.2 * 0.75]
    judgement = judge(WINDOW, [*low, *again])
    assert judgement.faults[0].family is Family.REPEAT
    assert first(judgement)[2:] == (2, 3)


def test_a_stumble_over_a_chord_that_was_not_all_struck_names_that_chord() -> None:
    """The right hand gets to beat 3, the left hand does not: the left hand's move broke."""
    notes = take()
    at_s = 0.5 + 2.2 * 0.75
    low = [n for n in notes if n.onset_s < at_s]
    left = max((n for n in low if n.pitch < 60), key=lambda n: n.onset_s)
    again = [replace(n, onset_s=n.onset_s + 1.3) for n in notes if n.onset_s > 0.5 + 1.2 * 0.75]
    judgement = judge(WINDOW, [n for n in [*low, *again] if n is not left])
    assert first(judgement) == ("stumble", "LH", 1, 2)


def test_the_notes_taken_up_again_after_a_stumble_are_not_called_late_besides() -> None:
    """One hand stumbles on its own while the other waits for it."""
    notes = take()
    at_s = 0.5 + 2.2 * 0.75
    low = [n for n in notes if n.onset_s < at_s]
    again = [replace(n, onset_s=n.onset_s + 1.0) for n in low if n.onset_s > at_s - 0.8]
    rest = [replace(n, onset_s=n.onset_s + 1.0) for n in notes if n.onset_s >= at_s]
    right = [n for n in again if n.pitch >= 60]
    judgement = judge(WINDOW, [*low, *right, *rest])
    assert Family.REPEAT in {fault.family for fault in judgement.faults}
    assert Family.TIMING not in {fault.family for fault in judgement.faults}


def test_a_restart_is_told_as_one() -> None:
    notes = take()
    low = [n for n in notes if n.onset_s < 0.5 + 2.7 * 0.75]
    again = [replace(n, onset_s=n.onset_s + 3.5) for n in notes]
    judgement = judge(WINDOW, [*low, *again])
    assert first(judgement) == ("restart", "both", 2, 3)
    assert judgement.sentence == "Broke off at bar 2 beat 4 and started again"
    assert judgement.complete
    assert not judgement.clean


def test_a_key_corrected_at_once_is_a_fault_of_pitch() -> None:
    onset_s = 0.5 + 2 * 0.75
    written = WINDOW.notes[struck(F(6), Hand.LEFT)]
    notes = [
        replace(n, onset_s=n.onset_s + 0.25)
        if n.pitch == written.pitch and abs(n.onset_s - onset_s) < 0.01
        else n
        for n in take()
    ]
    slip = PlayedNote(written.pitch + 1, 60, onset_s, 0.15)
    judgement = judge(WINDOW, sorted([*notes, slip], key=lambda n: n.onset_s))
    assert first(judgement) == ("corrected key", "LH", 1, 2)


def test_early_release_is_told_and_forgiven_before_the_shape_stage() -> None:
    target = WINDOW.notes[struck(F(6), Hand.LEFT)].pitch
    notes = [replace(n, length_s=0.05) if n.pitch == target else n for n in take()]
    known = Habits().with_(judge(WINDOW, take())).with_(judge(WINDOW, take()))
    rhythm, shape = (
        judge(WINDOW, notes, stage=s, habits=known) for s in (Stage.RHYTHM, Stage.SHAPE)
    )
    assert rhythm.clean
    assert rhythm.faults[0].cause == "early release"
    assert rhythm.faults[0].forgiven
    assert not shape.clean
    assert (shape.faults[0].from_beat, shape.faults[0].to_beat) == (2, 3)


def test_a_fault_marks_its_transition_and_no_other() -> None:
    judgement = judge(WINDOW, changed(take(), F(13, 2), Hand.RIGHT, 1))
    bad = [r for r in judgement.transitions if r.outcome is not Outcome.CLEAN]
    assert [(r.transition.hands, r.transition.to_quarters) for r in bad] == [(Hands.RIGHT, F(7))]


def test_what_was_not_reached_is_not_held_against_the_hand() -> None:
    judgement = judge(WINDOW, [n for n in take() if n.onset_s < 3.4])
    outcomes = {r.outcome for r in judgement.transitions}
    assert outcomes == {Outcome.CLEAN, Outcome.NOT_REACHED}
    assert judgement.sentence == "Stopped before bar 3 beat 1"


def test_a_dotted_rhythm_played_even() -> None:
    notes = []
    for i in range(8):
        for at, length in ((F(0), F(3, 4)), (F(3, 4), F(1, 4))):
            pitch = 60 + i * 2 + (at > 0)
            notes.append({"pitch": pitch, "onset": i + at, "length": length, "hand": "RH"})
    window = whole(score_from_notes(notes), Hands.RIGHT)
    even = {i: -0.15 for i, n in enumerate(window.notes) if n.length_quarters == F(1, 4)}
    assert judge(window, play(window, qpm=100)).clean
    judgement = judge(window, play(window, qpm=100, late=even))
    assert judgement.sentence == "Even: written dotted all along"


def test_triplets_played_short_short_long() -> None:
    window = whole(score_from_notes(tune(12, F(1, 3))), Hands.RIGHT)
    shift = {i: (0, -1 / 12, -1 / 6)[i % 3] for i in range(12)}
    late = {i: by * 0.75 for i, by in shift.items()}
    assert judge(window, play(window, qpm=80)).clean
    judgement = judge(window, play(window, qpm=80, late=late))
    assert judgement.faults[0].words == "triplet played short, short, long"


def test_long_short_playing_of_even_eighths() -> None:
    window = whole(score_from_notes(tune(16, F(1, 2))), Hands.RIGHT)
    late = dict.fromkeys(range(1, 16, 2), 0.12)
    judgement = judge(window, play(window, qpm=80, late=late))
    assert judgement.faults[0].cause == "wrong proportions"
    assert "swung" in judgement.faults[0].words.lower()
    assert judgement.faults[0].hands is Hands.RIGHT


@pytest.mark.property
@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 25), st.integers(-3, 3)), max_size=8))
def test_no_sentence_is_longer_than_twelve_words(slips: list[tuple[int, int]]) -> None:
    notes = take()
    for at, steps in slips:
        notes[at % len(notes)] = replace(notes[at % len(notes)], pitch=60 + at + steps)
    assert len(judge(WINDOW, notes).sentence.split()) <= 12
