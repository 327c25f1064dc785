"""Whole cases: a window of a piece, played with or without mistakes, in the JSON form."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from copy import deepcopy
from fractions import Fraction
from itertools import pairwise
from typing import Any

from scripts.earcases import rendering
from scripts.earcases.breaking import ALL
from scripts.earcases.material import Piece, Written
from scripts.earcases.planting import LAST, Attempt
from scripts.earcases.rendering import Struck

_RECORDED = 0.2
"""Share of the windows that a recording gives at least: there are few, but they are real."""
KINDS = {"1beat": 1, "2beat": 2, "1bar": 0, "2bar": 0, "4bar": 0}


def cases(
    pieces: Sequence[Piece], seed: int, count: int, planted: int = 3
) -> Iterator[dict[str, Any]]:
    """Cases of ``count`` windows: each untouched, most in a learner's way, some with mistakes."""
    recorded = [piece for piece in pieces if piece.recording] or pieces
    for index in range(count):
        rng = random.Random(f"{seed}/{index}")
        made = None
        while made is None:
            piece = rng.choice(recorded if rng.random() < _RECORDED else pieces)
            made = window_cases(piece, rng, f"g{seed}w{index:04d}", planted)
        yield from made


def window_cases(
    piece: Piece, rng: random.Random, name: str, planted: int
) -> list[dict[str, Any]] | None:
    """The cases of one random window of a piece, or None where it holds too little."""
    window, notes, beats, chosen = _window(piece, rng)
    if len(set(beats)) < 2 or len(notes) < 3:
        return None
    real = _play(piece, notes, beats, chosen, rng)
    if sum(key.label == "match" for key in real) != max(len(notes), len(real)):
        return None  # a slip of the recorded pianist: nothing that is called untouched
    out = [
        case_of(
            f"{name}_real",
            "real",
            "as_recorded",
            window,
            notes,
            beats,
            Attempt(real, rng, window["beats"]),
        )
    ]
    if rng.random() < 0.5:
        take = Attempt(deepcopy(real), rng, window["beats"])
        condition = rng.choice(("learner", "learner", "slow"))
        _condition(take, condition)
        out.append(case_of(f"{name}_clean", "clean", condition, window, notes, beats, take))
    for number in range(planted):
        made = _with_mistakes(real, rng, window)
        if made is not None:
            condition, take = made
            out.append(
                case_of(f"{name}_e{number}", "planted", condition, window, notes, beats, take)
            )
    return out


def windows(
    pieces: Sequence[Piece], seed: int, count: int
) -> Iterator[tuple[dict[str, Any], list[Written], list[float], list[Struck]]]:
    """Windows of random places, played without a mistake: some as recorded, some by a learner."""
    recorded = [piece for piece in pieces if piece.recording] or pieces
    for index in range(count):
        rng = random.Random(f"windows {seed}/{index}")
        while True:
            piece = rng.choice(recorded if rng.random() < _RECORDED else pieces)
            window, notes, beats, chosen = _window(piece, rng)
            if len(set(beats)) < 2 or len(notes) < 3:
                continue
            real = _play(piece, notes, beats, chosen, rng)
            if sum(key.label == "match" for key in real) == max(len(notes), len(real)):
                break
        take = Attempt(real, rng, window["beats"])
        _condition(take, rng.choice(("as_recorded", "learner", "slow")))
        yield window, notes, beats, take.played


def _window(
    piece: Piece, rng: random.Random
) -> tuple[dict[str, Any], list[Written], list[float], dict[int, int]]:
    kind = rng.choice(tuple(KINDS))
    hands = rng.choice(("both", "both", "both", "RH", "LH"))
    number = rng.randrange(len(piece.bars))
    upper, lower = map(int, piece.metre.split("/"))
    in_bar = Fraction(4 * upper, lower) / piece.beat
    first = rng.randrange(int(in_bar)) if KINDS[kind] else 0
    beats = Fraction(KINDS[kind]) if KINDS[kind] else in_bar * int(kind[0])
    start = piece.bars[number] + first * piece.beat
    end = start + beats * piece.beat
    landing = bool(KINDS[kind])
    chosen = [
        i for i, n in enumerate(piece.notes)
        if (start <= n.onset < end or (landing and n.onset == end)) and hands in ("both", n.hand)
    ]  # fmt: skip
    notes = [piece.notes[i] for i in chosen]
    window = {
        "kind": kind, "hands": hands, "beats": float(beats), "landing": landing,
        "time_signature": piece.metre, "beats_per_bar": float(in_bar),
        "quarters_per_beat": float(piece.beat), "first_measure": number,
        "first_beat_in_bar": first,
    }  # fmt: skip
    places = [float((n.onset - start) / piece.beat) for n in notes]
    return window, notes, places, {i: at for at, i in enumerate(chosen)}


def _play(
    piece: Piece,
    notes: list[Written],
    beats: list[float],
    chosen: dict[int, int],
    rng: random.Random,
) -> list[Struck]:
    if piece.recording:
        return rendering.from_recording(piece.recording, chosen, notes, beats)
    places = sorted(set(beats))
    shortest = min((b - a for a, b in pairwise(places)), default=1.0)
    return rendering.play(notes, beats, rng, rendering.manner(rng, shortest))


def _condition(take: Attempt, condition: str) -> None:
    if condition == "slow":
        speed = take.rng.uniform(0.45, 0.6)
        rendering.slower(take.played, 1 / speed)
        take.note("slow_tempo", "both", None, speed=speed)
    elif condition == "learner":
        rendering.slower(take.played, take.rng.uniform(1.0, 1.4))
    if condition != "as_recorded":
        rendering.unsteady(take.played, take.rng)


def _with_mistakes(
    real: list[Struck], rng: random.Random, window: dict[str, Any]
) -> tuple[str, Attempt] | None:
    take = Attempt(deepcopy(real), rng, window["beats"])
    condition = rng.choice(("as_recorded", "as_recorded", "learner", "slow"))
    _condition(take, condition)
    wanted = rng.choice((1, 1, 1, 2, 2, 3))
    causes = rng.sample(sorted(ALL), wanted)
    causes.sort(key=lambda c: LAST.index(c) if c in LAST else -1)
    before = len(take.planted)
    for cause in causes:
        ALL[cause](take)
    return (condition, take) if len(take.planted) > before else None


def case_of(
    name: str, variant: str, condition: str, window: dict[str, Any], notes: Sequence[Written],
    beats: Sequence[float], take: Attempt,
) -> dict[str, Any]:  # fmt: skip
    """One case in the JSON form."""
    played = sorted(take.played, key=lambda n: n.onset_s)
    score = [
        {"id": f"s{i}", "pitch": n.pitch, "onset_beat": round(b, 6),
         "duration_beat": round(float(n.length) / window["quarters_per_beat"], 6),
         "staff": n.staff, "hand": n.hand, **({"grace": True} if n.grace else {})}
        for i, (n, b) in enumerate(zip(notes, beats, strict=True))
    ]  # fmt: skip
    performed = [
        {"id": f"p{i}", "onset_sec": round(n.onset_s, 4), "duration_sec": round(n.length_s, 4),
         "pitch": n.pitch, "velocity": n.velocity}
        for i, n in enumerate(played)
    ]  # fmt: skip
    truth = {"score": _score_truth(len(notes), played), "performed": _played_truth(played),
             "planted": take.planted}  # fmt: skip
    window = {**window, "beat_period_sec": _beat_period(played)}
    return {
        "format": 1, "case_id": name, "variant": variant, "condition": condition,
        "source": {"dataset": "made", "piece": name}, "window": window, "score": score,
        "performed": performed, "truth": truth,
    }  # fmt: skip


def _beat_period(played: Sequence[Struck]) -> float:
    good = [n for n in played if n.label == "match"]
    if len(good) < 2 or good[-1].beat <= good[0].beat:
        return 0.5
    return round((good[-1].onset_s - good[0].onset_s) / (good[-1].beat - good[0].beat), 4)


def _score_truth(count: int, played: Sequence[Struck]) -> list[dict[str, Any]]:
    of = {
        n.score: (i, n.label) for i, n in enumerate(played) if n.label in ("match", "substituted")
    }
    return [
        {"id": f"s{i}", "label": of[i][1], "performed_id": f"p{of[i][0]}"}
        if i in of
        else {"id": f"s{i}", "label": "missing"}
        for i in range(count)
    ]


def _played_truth(played: Sequence[Struck]) -> list[dict[str, Any]]:
    return [
        {
            "id": f"p{i}",
            "label": n.label,
            **({} if n.label == "extra" else {"score_id": f"s{n.score}"}),
        }
        for i, n in enumerate(played)
    ]
