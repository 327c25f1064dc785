"""Laws of the ear, over windows of all kinds: one hand or both, pickups, tuplets, grace notes.

They hold for the matching, the verdict, and what is followed while it is played.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TypeVar

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.strategies._internal.random import ArtificialRandom

from coach.judging.following.events import (
    Ended,
    FollowerEvent,
    NoteMarked,
    NotThis,
    RepetitionBegan,
    StrayKey,
)
from coach.judging.following.follower import Follower
from coach.judging.judge import judge
from coach.judging.model import Family, Judgement, Label, Stage
from coach.playing.midi_events import KeyDown, KeyUp
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt
from tests.windows import WAYS, mistaken, performance, windows

pytestmark = pytest.mark.property
LAWS = settings(max_examples=40, deadline=None, derandomize=True)
"""The same cases every time: a window in which a pattern recurs can be read in two ways."""
FAR_OFF = 23


@st.composite
def takes(
    draw: st.DrawFn, most: int = 4, ways: tuple[str, ...] = WAYS, graces: bool = True
) -> tuple[Excerpt, list[PlayedNote]]:
    """A window and a playing of it with some mistakes or none.

    Times are in 1024ths of a second, which floats hold exactly, so that no law hangs on rounding.
    """
    window = draw(windows(graces))
    keys = draw(mistaken(performance(window), most, ways))
    return window, [replace(key, onset_s=round(key.onset_s * 1024) / 1024) for key in keys]


def moved(keys: list[PlayedNote], shift_s: float = 0.0, scale: float = 1.0) -> list[PlayedNote]:
    return [
        replace(k, onset_s=k.onset_s * scale + shift_s, length_s=(k.length_s or 0) * scale)
        for k in keys
    ]


def labels(judgement: Judgement) -> tuple[list[Label], list[Label]]:
    return [n.label for n in judgement.score], [k.label for k in judgement.played]


def told(judgement: Judgement) -> tuple[object, ...]:
    """Everything that is said, in words."""
    faults = [(f.transition, f.onset_quarters, f.family, f.cause) for f in judgement.faults]
    return judgement.clean, judgement.complete, judgement.sentence, faults


class TestTheVerdict:
    @LAWS
    @given(takes())
    def test_every_key_and_every_note_is_one_thing_once(
        self, take: tuple[Excerpt, list[PlayedNote]]
    ) -> None:
        window, keys = take
        heard = judge(window, keys)
        assert [k.played for k in heard.played] == list(range(len(keys)))
        assert [n.note for n in heard.score] == list(range(len(window.notes)))
        assert Label.MISSED not in {k.label for k in heard.played}
        assert {n.label for n in heard.score} <= {Label.MATCHED, Label.WRONG, Label.MISSED}
        for note in heard.score:
            assert (note.played is None) == (note.label is Label.MISSED)
            if note.played is not None:
                right = keys[note.played].pitch == window.notes[note.note].pitch
                assert right == (note.label is Label.MATCHED)
        struck = Counter(n.played for n in heard.score if n.played is not None)
        assert max(struck.values(), default=1) == 1

    @LAWS
    @given(takes(), st.integers(-1000, 1000))
    def test_when_it_is_played_changes_nothing(
        self, take: tuple[Excerpt, list[PlayedNote]], shift_s: int
    ) -> None:
        window, keys = take
        here, there = judge(window, keys), judge(window, moved(keys, shift_s))
        assert labels(here) == labels(there)
        assert told(here) == told(there)
        here_ms, there_ms = ([n.error_ms for n in j.score] for j in (here, there))
        assert here_ms == pytest.approx(there_ms, abs=0.01)

    @LAWS
    @given(takes(), st.sampled_from([0.5, 2.0]))
    def test_how_fast_it_is_played_changes_no_verdict_on_the_notes(
        self, take: tuple[Excerpt, list[PlayedNote]], scale: float
    ) -> None:
        window, keys = take
        here, there = (judge(window, k, stage=Stage.NOTES) for k in (keys, moved(keys, 0, scale)))
        assume(here.is_repetition and there.is_repetition)  # twice as fast may be mashed
        assert here.clean == there.clean

    @LAWS
    @given(takes(most=1, ways=("wrong", "out")), st.sampled_from([0.5, 2.0]))
    def test_how_fast_it_is_played_changes_no_label(
        self, take: tuple[Excerpt, list[PlayedNote]], scale: float
    ) -> None:
        window, keys = take
        here, there = judge(window, keys), judge(window, moved(keys, 0, scale))
        assume(not here.unsure and len(window.notes) > 5)
        assume(here.is_repetition and there.is_repetition)  # twice as fast may be mashed
        assert labels(here) == labels(there)

    @LAWS
    @given(windows(), st.floats(25, 200), st.sampled_from([Stage.NOTES, Stage.RHYTHM, Stage.SHAPE]))
    def test_a_perfect_performance_is_clean_at_any_tempo(
        self, window: Excerpt, beats_a_minute: float, stage: Stage
    ) -> None:
        heard = judge(window, performance(window, 60 / beats_a_minute), stage=stage)
        assert heard.clean, heard.sentence
        assert {n.label for n in heard.score} == {Label.MATCHED}

    @LAWS
    @given(windows(), st.floats(0, 1))
    def test_one_far_off_key_is_one_key_too_many_and_changes_nothing_else(
        self, window: Excerpt, place: float
    ) -> None:
        keys = performance(window)
        at_s = keys[0].onset_s + place * (keys[-1].onset_s - keys[0].onset_s)
        before = judge(window, keys)
        after = judge(window, sorted([*keys, PlayedNote(FAR_OFF, 70, at_s, 0.2)], key=_onset))
        assert labels(after)[0] == labels(before)[0]
        early, late = ([n.error_ms for n in j.score] for j in (before, after))
        assert early == pytest.approx(late, abs=0.01)
        assert Counter(labels(after)[1]) == Counter([*labels(before)[1], Label.EXTRA])
        assert [fault.family for fault in after.faults] == [Family.EXTRA]
        assert not after.clean

    @LAWS
    @given(windows(), st.randoms(use_true_random=False))
    def test_in_which_order_a_chord_is_struck_changes_nothing(
        self, window: Excerpt, rng: ArtificialRandom
    ) -> None:
        keys = performance(window)
        spread = sorted(
            (replace(k, onset_s=k.onset_s + rng.uniform(0, 0.02)) for k in keys), key=_onset
        )
        heard = judge(window, spread)
        assert heard.clean, heard.sentence
        assert set(labels(heard)[1]) == {Label.MATCHED}


def _onset(key: PlayedNote) -> float:
    return key.onset_s


def follow(
    window: Excerpt, keys: list[PlayedNote], qpm: float | None = None
) -> list[FollowerEvent]:
    """All that is said while the keys come in, with the clock ticking between and after them."""
    follower, heard, now_s = Follower(window, qpm=qpm), list[FollowerEvent](), keys[0].onset_s
    moves = [(k.onset_s, 1, k) for k in keys] + [
        (k.onset_s + (k.length_s or 0), 0, k) for k in keys
    ]
    for at_s, down, key in sorted(moves, key=lambda move: move[:2]):
        while now_s + 0.05 < at_s:
            now_s += 0.05
            heard += follower.tick(now_s)
        now_s = at_s
        if down:
            heard += follower.hear(KeyDown(key.pitch, key.velocity, at_s))
        else:
            follower.hear(KeyUp(key.pitch, at_s))
    return heard + list(follower.tick(now_s + 15.0))


Event = TypeVar("Event")


def said(heard: list[FollowerEvent], kind: type[Event]) -> list[Event]:
    return [one for one in heard if isinstance(one, kind)]


def beat_quarters(window: Excerpt) -> float:
    return float(window.grid_quarters[-1] - window.grid_quarters[-2])


class TestWhilePlaying:
    @LAWS
    @given(windows(graces=False), st.floats(40, 200))
    def test_a_perfect_performance_is_one_repetition_with_every_note_right(
        self, window: Excerpt, bpm: float
    ) -> None:
        keys = performance(window, 60 / bpm)
        heard = follow(window, keys, bpm * beat_quarters(window))
        assert len(said(heard, RepetitionBegan)) == 1
        (ended,) = said(heard, Ended)
        assert [k.pitch for k in ended.take.notes] == [k.pitch for k in keys]
        marks = {one.note: one.label for one in said(heard, NoteMarked)}
        assert marks == dict.fromkeys(range(len(window.notes)), Label.MATCHED)
        assert not said(heard, StrayKey) + said(heard, NotThis)

    @LAWS
    @given(takes())
    def test_no_key_is_in_two_repetitions_and_none_is_invented(
        self, take: tuple[Excerpt, list[PlayedNote]]
    ) -> None:
        window, keys = take
        heard = follow(window, keys)
        struck = [(k.pitch, k.onset_s) for e in said(heard, Ended) for k in e.take.notes]
        assert len(set(struck)) == len(struck)
        assert set(struck) <= {(k.pitch, k.onset_s) for k in keys}
        assert len(said(heard, RepetitionBegan)) >= len(said(heard, Ended))

    @LAWS
    @given(takes(most=1, ways=("wrong", "out", "brushed"), graces=False))
    def test_the_last_mark_of_a_note_is_the_verdict_s(
        self, take: tuple[Excerpt, list[PlayedNote]]
    ) -> None:
        """Where it was one repetition and its reading is not in doubt."""
        window, keys = take
        heard = follow(window, keys, 100 * beat_quarters(window))
        ends = said(heard, Ended)
        assume(len(ends) == 1 and len(said(heard, RepetitionBegan)) == 1)
        verdict = judge(window, ends[0].take.notes)
        assume(not verdict.unsure)
        marks = {one.note: one.label for one in said(heard, NoteMarked)}
        right = {n.note for n in verdict.score if n.label is Label.MATCHED}
        assert right == {note for note, label in marks.items() if label is Label.MATCHED}

    @LAWS
    @given(takes(), st.integers(0, 100))
    def test_when_it_is_played_changes_no_mark(
        self, take: tuple[Excerpt, list[PlayedNote]], shift_s: int
    ) -> None:
        window, keys = take
        here, there = follow(window, keys), follow(window, moved(keys, shift_s))
        for kind in (NoteMarked, StrayKey, NotThis):
            assert said(here, kind) == said(there, kind)

    @LAWS
    @given(windows(graces=False), st.floats(0.1, 0.9))
    def test_one_far_off_key_is_one_stray_and_the_marks_stay(
        self, window: Excerpt, place: float
    ) -> None:
        keys = performance(window)
        at_s = keys[0].onset_s + place * (keys[-1].onset_s - keys[0].onset_s)
        assume(len(keys) > 3 and all(abs(k.onset_s - at_s) > 0.02 for k in keys))
        more = sorted([*keys, PlayedNote(FAR_OFF, 70, at_s, 0.2)], key=_onset)
        heard = follow(window, more, 100 * beat_quarters(window))
        assert [one.pitch for one in said(heard, StrayKey)] == [FAR_OFF]
        marks = {one.note: one.label for one in said(heard, NoteMarked)}
        assert marks == dict.fromkeys(range(len(window.notes)), Label.MATCHED)
