"""Slips that are natural at a piano and puzzle an ear that goes by the page alone.

A chord that is found note by note and then struck again; a trill that is written out, with two
strokes more or fewer than written; a slide that is written out and played in its own time; and a
finger that slides off a neighbouring key on to its own.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Callable, Iterator
from copy import copy
from fractions import Fraction as F
from itertools import pairwise
from typing import Any

from scripts.earcases import rendering
from scripts.earcases.cases import case_of
from scripts.earcases.material import Piece, Written
from scripts.earcases.planting import Attempt
from scripts.earcases.rendering import Struck

Slip = Callable[[Attempt], bool]


def found_chord(take: Attempt) -> bool:
    """A chord is looked for key by key, then struck as a whole, and the playing goes on."""
    chords: defaultdict[float, list[Struck]] = defaultdict(list)
    for key in take.whole():
        chords[key.beat].append(key)
    able = [beat for beat, keys in chords.items() if len(keys) >= 3]
    if not able:
        return False
    beat = take.rng.choice(able)
    keys = sorted(chords[beat], key=lambda key: key.pitch)
    hand = take.rng.choice(("RH", "LH", "both"))
    looked_for = [key for key in keys if hand in ("both", key.hand)]
    if len(looked_for) < 2:
        looked_for, hand = keys, "both"
    way = take.rng.choice(("up", "down", "any"))
    if way == "down":
        looked_for = looked_for[::-1]
    elif way == "any":
        take.rng.shuffle(looked_for)
    start_s = min(key.onset_s for key in keys) + take.rng.uniform(0.0, 0.8)
    step_s, at_s = take.rng.uniform(0.2, 0.6), start_s
    are_held = take.rng.random() < 0.5
    found: list[Struck] = []
    for key in looked_for:
        one = copy(key)
        one.onset_s, one.label = at_s, "repeated"
        one.length_s = step_s * (len(looked_for) - len(found)) if are_held else step_s * 0.8
        found.append(one)
        at_s += step_s * take.rng.uniform(0.7, 1.4)
    wait_s = take.rng.uniform(0.1, 0.6)
    take.shift_from(beat, at_s + wait_s - min(key.onset_s for key in keys))
    take.played += found
    take.note("found_chord", hand, beat, way=way, wait_s=wait_s)
    return True


def slid_key(take: Attempt) -> bool:
    """A finger lands on the key beside its own and slides on to it: both sound."""
    key = take.any_whole()
    if key is None:
        return False
    near = {other.pitch for other in take.played if abs(other.onset_s - key.onset_s) < 0.3}
    beside = [key.pitch + step for step in (-1, 1) if key.pitch + step not in near]
    if not beside:
        return False
    slid = copy(key)
    slid.pitch, slid.label, slid.score = take.rng.choice(beside), "extra", None
    slid.onset_s -= take.rng.uniform(0.025, 0.09)
    slid.length_s = 0.08
    take.played.append(slid)
    take.note("slid_key", key.hand, key.beat)
    return True


def trill_count(take: Attempt) -> bool:
    """Two strokes more or fewer in a written-out trill; the strokes keep their own speed."""
    trill = sorted((key for key in take.played if key.beat in TRILL_BEATS), key=_onset_s)
    trill = [key for key in trill if key.hand == "RH"]
    if len(trill) < 6:
        return False
    fewer = take.rng.random() < 0.5
    first = trill[2]
    if fewer:
        pair = trill[2:4]
        gone_s = trill[4].onset_s - trill[2].onset_s
        take.played[:] = [key for key in take.played if key not in pair]
        for key in trill[4:]:
            key.onset_s -= gone_s
        squeeze(trill[:2] + trill[4:], take.rng)
        return True
    pair = [copy(key) for key in trill[2:4]]
    step_s = trill[4].onset_s - first.onset_s
    for key in pair:
        key.label, key.score = "extra", None
    for key in trill[2:]:
        key.onset_s += step_s
    take.played += pair
    squeeze([*trill[:2], *pair, *trill[2:]], take.rng)
    return True


def squeeze(trill: list[Struck], rng: random.Random) -> None:
    """Fit a trill's strokes into its written time, each a little off."""
    first_s, end_s = trill[0].onset_s, trill[0].onset_s + TRILL_S[0]
    step_s = (end_s - first_s) / len(trill)
    for at, key in enumerate(trill):
        key.onset_s = first_s + at * step_s + rng.gauss(0, 0.1 * step_s)


TRILL_BEATS: set[float] = set()
TRILL_S = [0.0]
"""Of the window in hand: where the trill's strokes are written, and how long it lasts."""


def _onset_s(key: Struck) -> float:
    return key.onset_s


def slide(take: Attempt) -> bool:
    """A written-out slide goes as fast as the hand goes, before its beat or on it."""
    keys = sorted((key for key in take.played if key.beat in SLIDE_BEATS), key=_onset_s)
    keys = [key for key in keys if key.hand == "RH"]
    main = min((k.onset_s for k in take.played if k.beat == max(SLIDE_BEATS) + 0.125), default=None)
    if len(keys) < 3 or main is None:
        return False
    step_s = take.rng.uniform(0.03, 0.07)
    for at, key in enumerate(reversed(keys), 1):
        key.onset_s = main - at * step_s
    return True


SLIDE_BEATS: set[float] = set()


def trill_piece(rng: random.Random, kind: str) -> tuple[Piece, list[float]]:
    """Two bars of 4/4 with a written-out trill (or slide) in the right hand; its beats."""
    main = rng.randrange(67, 80)
    upper = main + rng.choice((1, 2))
    notes, trill, at = [], [], F(0)
    beats = [rng.choice(("q", "ee", "q")) for _ in range(8)]
    where = rng.randrange(1, 6)
    for beat in range(8):
        at = F(beat)
        if beat == where and kind == "trill":
            count = rng.choice((6, 8))
            for i in range(count):
                pitch = (main, upper)[i % 2]
                notes.append(Written(pitch, at + F(i, count), F(1, count), 1))
                trill.append(float(at + F(i, count)))
        elif beat == where:
            notes.append(Written(main, at, F(5, 8), 1))
            for i in range(3):
                onset = at + F(5 + i, 8)
                notes.append(Written(main + (0, 2, 4)[i] - 5, onset, F(1, 8), 1))
                trill.append(float(onset))
        else:
            for i in range(len(beats[beat])):
                size = F(1, len(beats[beat]))
                notes.append(
                    Written(main + rng.choice((-4, -2, 0, 2, 4, 5)), at + i * size, size, 1)
                )
        notes.append(Written(main - 24 + (0, 7, 4, 7)[beat % 4], at, F(1), 2))
    notes.sort(key=lambda note: (note.onset, note.pitch))
    return Piece(kind, "4/4", F(1), (F(0), F(4)), tuple(notes)), trill


def trill_case(rng: random.Random, name: str, kind: str) -> dict[str, Any] | None:
    """A window with a written-out trill or slide, played by somebody."""
    piece, beats_of = trill_piece(rng, kind)
    notes = list(piece.notes)
    beats = [float(note.onset) for note in notes]
    window = {
        "kind": "2bar", "hands": "both", "beats": 8.0, "landing": False, "time_signature": "4/4",
        "beats_per_bar": 4.0, "quarters_per_beat": 1.0, "first_measure": 0,
        "first_beat_in_bar": 0,
    }  # fmt: skip
    shortest = min(b - a for a, b in pairwise(sorted(set(beats))))
    take = Attempt(rendering.play(notes, beats, rng, rendering.manner(rng, shortest)), rng, 8.0)
    if rng.random() < 0.4:
        rendering.unsteady(take.played, rng)
    TRILL_BEATS.clear()
    SLIDE_BEATS.clear()
    if kind == "trill":
        TRILL_BEATS.update(beats_of)
        last = max(beats_of)
        begin = min(k.onset_s for k in take.played if k.beat == min(beats_of) and k.hand == "RH")
        end = min((k.onset_s for k in take.played if k.beat > last), default=begin + 1)
        TRILL_S[0] = end - begin
        done = trill_count(take)
    else:
        SLIDE_BEATS.update(beats_of)
        done = slide(take)
    return case_of(name, "natural", kind, window, notes, beats, take) if done else None


def take_cases(
    slip: Slip, made: Iterator[tuple[dict[str, Any], list[Written], list[float], list[Struck]]],
    rng: random.Random,
) -> Iterator[dict[str, Any]]:  # fmt: skip
    """Each window with one such slip, where it has a place for it."""
    for window, notes, beats, keys in made:
        take = Attempt([copy(key) for key in keys], rng, window["beats"])
        if slip(take):
            yield case_of(slip.__name__, "natural", slip.__name__, window, notes, beats, take)
