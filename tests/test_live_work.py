"""How much a key may be thought about while the pianist plays: bounded, whatever is played."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction as F
from typing import Any

import pytest

from coach.coaching.drill.drill import MOST_WINDOWS, Drill
from coach.coaching.drill.drill_events import DrillEvent, RepetitionEnded, ToJudge
from coach.coaching.model import Goal, Request
from coach.judging.alignment.beam_search import MOST_LIVE
from coach.judging.alignment.exact_match import ExactMatcher
from coach.judging.alignment.initial_tempo import beat_period, count_neighbours, written_period
from coach.judging.alignment.score_arrays import ScoreArrays, make_score_arrays
from coach.judging.alignment.transitions import COSTS, Transitions
from coach.judging.following import live_alignment
from coach.judging.following.events import Ended, NoteMarked
from coach.judging.following.follower import Follower
from coach.judging.following.live_alignment import (
    FEW,
    FEWEST,
    MANY_KEYS,
    MOST_WORK,
    FollowedWindow,
    LiveAlignment,
)
from coach.judging.following.states import FollowerState
from coach.judging.instead import recognise, recognise_live, recognise_other
from coach.judging.instead.key_sequence import find_common
from coach.judging.model import Label
from coach.playing.midi_events import KeyDown
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hands
from coach.score.window import Excerpt, Window
from tests.breadth import every
from tests.judging_help import both, play, tune, whole


def piece(bars: int = 60, seed: int = 3) -> Excerpt:
    """Eighths over quarters in a narrow compass: every key stands in very many places."""
    rng = random.Random(seed)
    notes: list[dict[str, object]] = [
        {"pitch": rng.randrange(60, 73), "onset": F(at, 2), "length": F(1, 2), "hand": "RH"}
        for at in range(8 * bars)
    ]
    notes += [
        {"pitch": rng.randrange(43, 56), "onset": at, "length": 1, "hand": "LH"}
        for at in range(4 * bars)
    ]
    return whole(score_from_notes(notes))


def mashed(part: Excerpt, rng: random.Random) -> list[PlayedNote]:
    """Handfuls of the window's keys, twenty a second."""
    pitches = sorted({note.pitch for note in part.notes})
    return [PlayedNote(rng.choice(pitches), 80, at // 5 * 0.05) for at in range(120)]


def noodled(part: Excerpt, rng: random.Random) -> list[PlayedNote]:
    """The window's keys one by one, in any order and time."""
    pitches = sorted({note.pitch for note in part.notes})
    gaps = [rng.choice((0.1, 0.2, 0.35, 0.6)) for _ in range(120)]
    return [PlayedNote(rng.choice(pitches), 60, sum(gaps[:at])) for at in range(120)]


def off(part: Excerpt, rng: random.Random) -> list[PlayedNote]:
    """All of it a semitone off, and slower than asked for."""
    return [PlayedNote(n.pitch + 1, 64, n.onset_s) for n in play(part, qpm=55)[:150]]


def counted_work(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Counts from now on how often a hypothesis is taken further."""
    work, extend = Counter[str](), Transitions.extend

    def count(self: Transitions, *given: Any) -> float:
        work["extended"] += 1
        return extend(self, *given)

    monkeypatch.setattr(Transitions, "extend", count)
    return work


@pytest.mark.parametrize("playing", [mashed, noodled, off])
@pytest.mark.parametrize("bars", every(2, [60, 1]))
def test_a_key_takes_only_so_many_hypotheses_further(
    monkeypatch: pytest.MonkeyPatch,
    playing: Callable[[Excerpt, random.Random], list[PlayedNote]],
    bars: int,
) -> None:
    work = counted_work(monkeypatch)
    part = piece(bars)
    follower, most = Follower(part), 0
    for key in playing(part, random.Random(1)):
        work.clear()
        follower.hear(KeyDown(key.pitch, key.velocity, key.onset_s))
        most = max(most, work.total())
    assert most <= MOST_WORK + MOST_LIVE + max(FEW * MANY_KEYS, FEWEST * 120)


def test_a_key_of_a_long_take_is_compared_with_the_beginning_no_oftener_than_of_a_short_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    work, compare = Counter[str](), ExactMatcher.find_last_onset

    def count(self: ExactMatcher, *given: Any) -> int | None:
        work["compared"] += 1
        return compare(self, *given)

    monkeypatch.setattr(ExactMatcher, "find_last_onset", count)
    part, most = piece(30), 0
    follower = Follower(part)
    for key in play(part):
        work.clear()
        follower.hear(KeyDown(key.pitch, key.velocity, key.onset_s))
        most = max(most, work.total())
    assert most <= 64


def test_a_better_tempo_is_taken_up_over_several_keys() -> None:
    """All is possible, and little can be thought of at once: yet it has heard all in the end."""
    part = piece(4)
    rng = random.Random(5)
    pitches = sorted({note.pitch for note in part.notes})
    take = [
        PlayedNote(rng.choice(pitches), 64, 1.9 * at * rng.uniform(0.9, 1.1)) for at in range(9)
    ]
    heard = LiveAlignment(FollowedWindow(part), written_period(part, None))
    was_behind = False
    for count in range(1, len(take) + 1):
        before = heard.decoder
        heard.add_key(take[:count])
        was_behind |= heard._better is not None and heard.decoder is before
        assert len(heard.trace.keys) == count  # never behind in what is shown
    assert was_behind
    last = take[-1]
    for more in range(1, 31):  # from the sixteenth on no tempo is looked for any more
        take.append(PlayedNote(last.pitch, 64, last.onset_s + more))
        heard.add_key(take)
    assert heard._better is None


def test_the_place_is_kept_in_a_long_piece_though_few_hypotheses_are() -> None:
    """Bars from the middle of a long piece, after a right beginning: their notes are marked."""
    part = piece()
    keys = play(part, qpm=80)
    follower, marks = Follower(part), {}
    for key in [*keys[:24], *keys[120:180]]:
        late = 0.0 if key in keys[:24] else keys[24].onset_s - keys[120].onset_s + 1.0
        for one in follower.hear(KeyDown(key.pitch, 64, key.onset_s + late)):
            if isinstance(one, NoteMarked):
                marks[one.note] = one.label
    right = [note for note, label in marks.items() if label is Label.MATCHED]
    assert sum(note >= 120 for note in right) >= 40


def test_pairs_counted_once_give_the_same_tempo() -> None:
    part = whole(both(32))
    score = make_score_arrays(part)
    for qpm in (50, 100, 171):
        take = play(part, qpm=qpm)[::3]
        usual_s = written_period(part, None)
        assert beat_period(score, take, usual_s) == beat_period(
            score, take, usual_s, neighbours=count_neighbours(score)
        )


@pytest.mark.parametrize("room", [0.5, 1.0, 2.0, 3.0, 50.0])
def test_a_jump_back_looks_only_as_far_as_it_can_pay_for(room: float) -> None:
    """Nothing that is left out could have been paid for."""
    score = make_score_arrays(piece())
    restarts = Transitions(score, COSTS).restarts
    last = len(score.beat) - 1
    for pitch, targets in score.of_pitch.items():
        kept = restarts.find_affordable(restarts.find_targets(pitch, last), last, 0.0, room)
        for target in targets:
            onset = score.onset[target]
            back = min(COSTS.jump_onset * (last - onset), COSTS.jump_onsets_most)
            back += restarts.deletions.leap_cost(score.beat[last] - score.beat[onset])
            assert (target in kept) == (onset == 0 or back <= room)


def test_a_jump_back_in_a_verdict_may_go_anywhere() -> None:
    """Only the live line leaves out what is far back."""
    score = make_score_arrays(piece())
    pitch = max(score.of_pitch, key=lambda one: len(score.of_pitch[one]))
    last = len(score.beat) - 1
    everywhere = Transitions(score, COSTS).restarts.find_targets(pitch, last)
    near = Transitions(score, COSTS, 5).restarts.find_targets(pitch, last)
    assert list(everywhere) == score.of_pitch[pitch]
    assert [note for note in near if score.onset[note] > 0] == score.of_pitch[pitch][-5:]


def test_what_was_played_instead_of_a_long_piece_is_told_by_its_beginning(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A key waits for it: however much was played, so many keys and notes are compared."""
    part = piece()
    moved = [replace(key, pitch=key.pitch + 12) for key in play(part)]
    whole_take = recognise_other(part, moved)
    compared: list[tuple[int, int]] = []

    def counting(written: list[int], keys: list[int]) -> list[int]:
        compared.append((len(written), len(keys)))
        return find_common(written, keys)

    monkeypatch.setattr(recognise, "find_common", counting)
    assert whole_take
    assert recognise_live(part, moved) == whole_take
    assert compared
    assert max(keys for _, keys in compared) <= recognise.LIVE_KEYS
    assert max(written for written, _ in compared) <= 6 * recognise.LIVE_KEYS


def given_out(keys: list[PlayedNote], part: Excerpt) -> bool:
    """Whether a playing of a bar is given out to be judged."""
    score = score_from_notes(
        [
            {"pitch": n.pitch, "onset": n.onset_quarters, "length": n.length_quarters, "hand": "RH"}
            for n in part.notes
        ]
    )
    drill = Drill(score, Goal(part.window, 100.0), judges_elsewhere=True)
    out: list[DrillEvent] = []
    for key in keys:
        out += drill.key_down(key.pitch, key.velocity, key.onset_s)
    for tick in range(200):
        out += drill.tick(keys[-1].onset_s + 0.05 * tick)
    assert any(isinstance(one, ToJudge | RepetitionEnded) for one in out)
    return any(isinstance(one, ToJudge) for one in out)


def test_what_was_played_strangely_is_judged_elsewhere_however_short() -> None:
    """Judging a bar takes 2 ms where it is right, and 300 where it is mashed."""
    part = whole(score_from_notes(tune(8)))
    right = play(part)
    one_wrong = [replace(key, pitch=key.pitch + (at == 4)) for at, key in enumerate(right)]
    strange = [replace(key, pitch=key.pitch + (at in (3, 4, 6))) for at, key in enumerate(right)]
    assert not given_out(right, part)
    assert not given_out(one_wrong, part)
    assert given_out(strange, part)


def test_a_window_that_is_turned_back_to_is_not_made_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """Making a whole piece ready to be followed takes as long as five keys."""
    made: list[Excerpt] = []
    make = make_score_arrays

    def counting(excerpt: Excerpt) -> ScoreArrays:
        made.append(excerpt)
        return make(excerpt)

    monkeypatch.setattr(live_alignment, "make_score_arrays", counting)
    drill = Drill(score_from_notes(tune(64)), Goal(Window(F(0), F(64), Hands.RIGHT), 100.0))
    whole_piece = drill.excerpt
    drill.pause(1.0)
    drill.resume(2.0)
    drill.piano_lost(3.0)
    drill.piano_found(4.0)
    drill.ask(Request.SLOWER, 5.0)
    assert made == [whole_piece]
    drill.ask(Request.SMALLER, 6.0)
    drill.ask(Request.LARGER, 7.0)
    assert drill.excerpt == whole_piece
    assert len(made) == 2


def test_no_more_windows_are_kept_than_a_coach_turns_between() -> None:
    drill = Drill(score_from_notes(tune(64)), Goal(Window(F(0), F(64), Hands.RIGHT), 100.0))
    for at in range(12):
        drill.ask(Request.SMALLER if at < 6 else Request.NEXT, float(at))
        assert len(drill._ear._windows) <= MOST_WINDOWS


def test_a_few_keys_of_a_long_window_are_judged_elsewhere() -> None:
    """The beginning of a window of 625 notes took 37 ms to judge: all of it was looked at."""
    long, short = whole(score_from_notes(tune(120))), whole(score_from_notes(tune(16)))
    assert given_out(play(long)[:6], long)
    assert not given_out(play(short)[:6], short)
    assert not given_out(play(short), short)


def test_a_beginning_found_late_is_not_followed_again_once_it_is_over(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Nine strange keys, then the window from its middle on: the first right ones were not heeded.

    Following them all anew at the end took 10 ms for 60 keys, and longer for more.
    """
    part = whole(score_from_notes(tune(64)))
    strange = [PlayedNote(30 + at, 64, 0.3 * at) for at in range(9)]
    joined = [replace(key, onset_s=key.onset_s - 9.0) for key in play(part)[20:]]
    follower = Follower(part)
    for key in [*strange, *joined]:
        follower.hear(KeyDown(key.pitch, key.velocity, key.onset_s))
    assert follower.state is FollowerState.FOLLOWING
    followed = len(follower._take)
    assert followed < len(joined)

    def extend(self: Transitions, *given: Any) -> float:
        raise AssertionError

    monkeypatch.setattr(Transitions, "extend", extend)
    last_s = joined[-1].onset_s
    out = [one for tick in range(80) for one in follower.tick(last_s + 0.05 * tick)]
    assert [len(one.take.notes) for one in out if isinstance(one, Ended)] == [len(joined)]


def test_a_chord_has_no_more_time_to_be_thought_about_than_a_key(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its ten keys are shown together, so the last one waits for all of them."""
    work = counted_work(monkeypatch)
    part = piece()
    pitches = sorted({note.pitch for note in part.notes})
    most = 0
    for seed in range(6):
        rng, follower = random.Random(seed), Follower(part)
        for stroke in range(6):
            work.clear()
            for pitch in rng.sample(pitches, 10):
                follower.hear(KeyDown(pitch, 64, 0.2 * stroke**2))
            most = max(most, work.total())
    assert most <= MOST_WORK + 10 * MOST_LIVE + FEW * MANY_KEYS


def test_whether_it_is_over_is_found_out_once_after_a_key(monkeypatch: pytest.MonkeyPatch) -> None:
    """All that was played is read for it; time passes twenty times a second."""
    part = whole(score_from_notes(tune(64)))
    follower, found = Follower(part), 0
    of = Follower._find_end

    def counting(self: Follower) -> tuple[float, bool]:
        nonlocal found
        found += 1
        return of(self)

    monkeypatch.setattr(Follower, "_find_end", counting)
    keys = play(part)[:20]
    for key in keys:
        follower.hear(KeyDown(key.pitch, 64, key.onset_s))
        for tick in range(1, 8):
            follower.tick(key.onset_s + 0.05 * tick)
    assert found == len(keys)
