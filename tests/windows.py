"""Scores and playing for the laws: one hand or both, a pickup, tuplets, grace notes, chords."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

from hypothesis import strategies as st

from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Excerpt, Window, excerpt

METRES = {"4/4": F(1), "3/4": F(1), "2/4": F(1), "6/8": F(3, 2)}
DIVISIONS = {
    "4/4": (1, 1, 2, 3, 4),
    "3/4": (1, 1, 2, 3, 4),
    "2/4": (1, 2, 3, 5),
    "6/8": (1, 3, 3, 6),
}
"""Into how many equal notes a beat is cut: 3 and 5 are tuplets in simple metre."""
WAYS = ("wrong", "out", "brushed", "late", "again")
"""What can go wrong with a key."""
STEPS = (0, 2, 4, 5, 7, 9, 11)


def _pitch(base: int, place: int) -> int:
    return base + 12 * (place // 7) + STEPS[place % 7]


@st.composite
def scores(draw: st.DrawFn, hands: Hands | None = None, graces: bool = True) -> Score:
    """Two or three bars of a walking tune, over single notes and chords where both hands play."""
    hands = hands or draw(st.sampled_from(Hands))
    metre = draw(st.sampled_from(sorted(METRES)))
    beat, beats = METRES[metre], {"4/4": 4, "3/4": 3, "2/4": 2, "6/8": 2}[metre]
    pickup = draw(st.sampled_from([F(0), F(0), beat, beat / 2]))
    count = beats * draw(st.integers(2, 3))
    notes: list[dict[str, object]] = []
    if pickup and hands is not Hands.LEFT:
        notes.append({"pitch": 67, "onset": F(0), "length": pickup, "hand": "RH"})
    if hands is not Hands.LEFT:
        notes += _tune(draw, metre, pickup, count, graces)
    if hands is not Hands.RIGHT:
        notes += _bass(draw, beat, pickup, count)
    return score_from_notes(notes, metre=metre, pickup_quarters=pickup, qpm=90)


def _tune(
    draw: st.DrawFn, metre: str, start: F, beats: int, graces: bool
) -> list[dict[str, object]]:
    beat, place, out = METRES[metre], draw(st.integers(0, 6)), []
    for at in range(beats):
        parts = draw(st.sampled_from(DIVISIONS[metre]))
        for part in range(parts):
            place = min(max(place + draw(st.sampled_from((-2, -1, 1, 2))), 0), 13)
            note = {"pitch": _pitch(67, place), "onset": start + (at + F(part, parts)) * beat,
                    "length": beat / parts, "hand": "RH"}  # fmt: skip
            if graces and part == 0 and parts < 3 and draw(st.integers(0, 7)) == 0:
                out.append(note | {"pitch": _pitch(67, place + 1), "grace": True})
            out.append(note)
    return out


def _bass(draw: st.DrawFn, beat: F, start: F, beats: int) -> list[dict[str, object]]:
    out: list[dict[str, object]] = []
    for at in range(beats):
        if at and draw(st.integers(0, 3)) == 0:
            continue
        low = 43 + draw(st.sampled_from(STEPS))
        chord = draw(st.sampled_from([(0,), (0,), (0, 7), (0, 4, 9)]))
        out += [
            {"pitch": low + up, "onset": start + at * beat, "length": beat, "hand": "LH"}
            for up in chord
        ]
    return out


@st.composite
def windows(draw: st.DrawFn, graces: bool = True) -> Excerpt:
    """All of such a score, or one of its bars with the note that it lands on."""
    score = draw(scores(graces=graces))
    bars = [Window(F(0), score.end_quarters)]
    bars += [Window(bar.onset_quarters, bar.end_quarters) for bar in score.bars]
    sounding = [w for w in bars if score.notes_between(w.start_quarters, w.end_quarters)]
    return excerpt(score, draw(st.sampled_from(sounding)))


def performance(window: Excerpt, beat_s: float = 0.6, start_s: float = 1.0) -> list[PlayedNote]:
    """What is written, in time; grace notes 60 ms ahead of their note, less where it is crowded."""
    out = []
    before, last = window.grid_quarters[-2:]  # the first may be a pickup's part of a beat
    quarter_s = beat_s / float(last - before)
    last_s = start_s - beat_s
    for note in window.notes:
        at_s = start_s + float(note.onset_quarters - window.grid_quarters[0]) * quarter_s
        length_s = max(0.9 * float(note.length_quarters) * quarter_s, 0.05)
        if note.grace is not None:
            at_s -= min(0.06, 0.4 * (at_s - last_s))
        else:
            last_s = at_s
        out.append(PlayedNote(note.pitch, 64, at_s, length_s))
    return sorted(out, key=lambda key: key.onset_s)


@st.composite
def mistaken(
    draw: st.DrawFn, keys: list[PlayedNote], most: int = 4, ways: tuple[str, ...] = WAYS
) -> list[PlayedNote]:
    """The same keys with some mistakes: wrong, left out, brushed, late, or played again."""
    keys = list(keys)
    for _ in range(draw(st.integers(0, most))):
        at = draw(st.integers(0, len(keys) - 1))
        key, way = keys[at], draw(st.sampled_from(ways))
        if way == "wrong":
            keys[at] = replace(
                key, pitch=key.pitch + draw(st.sampled_from([-12, -2, -1, 1, 2, 12]))
            )
        elif way == "out" and len(keys) > 1:
            del keys[at]
        elif way == "brushed":
            keys.append(
                PlayedNote(key.pitch + draw(st.sampled_from([-1, 1])), 30, key.onset_s, 0.05)
            )
        elif way == "late":
            keys[at:] = [_later(k, 0.4) for k in keys[at:]]
        else:
            first, back_s = max(at - 2, 0), key.onset_s - keys[max(at - 2, 0)].onset_s + 0.6
            keys[at + 1 :] = [_later(k, back_s) for k in keys[first:]]
        keys.sort(key=lambda k: k.onset_s)
    return keys


def _later(key: PlayedNote, by_s: float) -> PlayedNote:
    return replace(key, onset_s=key.onset_s + by_s)
