"""Planted mistakes of keys: wrong ones, missing ones, and one too many."""

from __future__ import annotations

import math
from collections import Counter
from copy import copy

from scripts.earcases.planting import Attempt, run_of
from scripts.earcases.rendering import Struck


def _key(pitch: int) -> int:
    return min(max(pitch, 21), 108)


def _free_neighbour(take: Attempt, note: Struck | None) -> int | None:
    if note is None:
        return None
    sounding = {n.pitch for n in take.played if n.beat == note.beat}
    choices = [note.pitch + s for s in (-2, -1, -1, 1, 1, 2) if note.pitch + s not in sounding]
    return _key(take.rng.choice(choices)) if choices else None


def wrong_key(take: Attempt) -> bool:
    note = take.any_whole()
    pitch = _free_neighbour(take, note)
    if note is None or pitch is None:
        return False
    take.note("wrong_key", note.hand, note.beat, written=note.pitch, played=pitch)
    _spoil(take, note, pitch)
    return True


def _spoil(take: Attempt, note: Struck, pitch: int) -> None:
    note.pitch, note.label = pitch, "substituted"
    take.spoilt.add(note.score if note.score is not None else -1)


def position_shift(take: Attempt) -> bool:
    run = run_of(take, 3, 6)
    if run is None:
        return False
    hand, onsets = run
    counts = Counter(n.pitch % 12 for n in take.played)
    scale = sorted(pc for pc, _ in counts.most_common(7))
    if len(scale) < 5:
        scale = [0, 2, 4, 5, 7, 9, 11]
    way = take.rng.choice((-1, 1))
    for note in take.played:
        if note.hand == hand and note.beat in onsets and note.score is not None:
            _spoil(take, note, _key(_scale_step(note.pitch, way, scale)))
    take.note("position_shift", hand, onsets[0], direction=way, onsets=len(onsets),
              to_beat=math.ceil(onsets[-1]))  # fmt: skip
    return True


def _scale_step(pitch: int, way: int, scale: list[int]) -> int:
    pitch += way
    while pitch % 12 not in scale:
        pitch += way
    return pitch


def octave_slip(take: Attempt) -> bool:
    run = run_of(take, 1, take.rng.choice((1, 1, 4)))
    if run is None:
        return False
    hand, onsets = run
    step = take.rng.choice((-12, 12))
    for note in take.played:
        if note.hand == hand and note.beat in onsets and note.score is not None:
            if not 21 <= note.pitch + step <= 108:
                return False
            _spoil(take, note, note.pitch + step)
    take.note("octave_slip", hand, onsets[0], semitones=step, onsets=len(onsets),
              to_beat=math.ceil(onsets[-1]))  # fmt: skip
    return True


def self_correct(take: Attempt) -> bool:
    note = take.any_whole()
    pitch = _free_neighbour(take, note)
    if note is None or pitch is None:
        return False
    delay = take.rng.uniform(0.15, 0.35)
    wrong = copy(note)
    wrong.pitch, wrong.label, wrong.score = pitch, "extra", None
    wrong.length_s = min(wrong.length_s, delay * 0.7)
    later = [n for n in take.played if n.beat > note.beat]
    for other in later:
        other.onset_s += delay
    take.note("self_correct", note.hand, note.beat, written=note.pitch, played=pitch, delay=delay)
    note.onset_s += delay
    take.played.append(wrong)
    take.spoilt.add(note.score if note.score is not None else -1)
    return True


def missed_in_chord(take: Attempt) -> bool:
    return _miss(take, "missed_in_chord", chord=True)


def missed_note(take: Attempt) -> bool:
    return _miss(take, "missed_note", chord=False)


def _miss(take: Attempt, cause: str, *, chord: bool) -> bool:
    sizes = Counter((n.beat, n.hand) for n in take.played if n.score is not None)
    able = [n for n in take.whole() if (sizes[n.beat, n.hand] > 1) == chord]
    if not able or len(take.onsets()) < 3:
        return False
    note = take.rng.choice(able)
    take.played.remove(note)
    take.note(cause, note.hand, note.beat, written=note.pitch, chord=sizes[note.beat, note.hand])
    return True


def skipped_beat(take: Attempt) -> bool:
    beats = [b for b in range(1, int(take.beats)) if any(b <= o < b + 1 for o in take.onsets())]
    beats = [b for b in beats if any(o >= b + 1 for o in take.onsets())]
    if not beats:
        return False
    beat = take.rng.choice(beats)
    gone = [n for n in take.played if beat <= n.beat < beat + 1]
    first = min(n.onset_s for n in gone)
    after = min(n.onset_s for n in take.played if n.beat >= beat + 1)
    take.played[:] = [n for n in take.played if n not in gone]
    take.shift_from(beat + 1, first - after)
    take.note("skipped_beat", "both", float(beat), beat=beat, to_beat=beat + 1)
    return True


def extra_brush(take: Attempt) -> bool:
    near = take.any_whole()
    pitch = _free_neighbour(take, near)
    if near is None or pitch is None:
        return False
    onset = near.onset_s + take.rng.uniform(-0.015, 0.03)
    length, loud = take.rng.uniform(0.04, 0.12), take.rng.randint(18, 42)
    take.played.append(Struck(pitch, loud, onset, length, None, "extra", near.beat, near.hand))
    take.note("extra_brush", near.hand, near.beat, near=near.pitch, played=pitch)
    return True
