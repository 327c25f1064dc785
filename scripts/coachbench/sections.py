"""Four-bar sections of arithmetic, and the faults that are planted in them (all seeded)."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from random import Random

from coach.drill import score_from_notes
from coach.playing.simulated.player import Failing, PlayerFault
from coach.score.model import Hands, Score
from coach.score.window import Excerpt, Transition, Window, excerpt

QPM = 90.0
_SCALE = (0, 2, 4, 5, 7, 9, 11)
_METRES = ("4/4", "3/4", "2/4", "6/8")


def section(random: Random, bars: int = 4) -> Score:
    """So many bars for both hands: a walking tune over single notes and two-note chords."""
    metre = random.choice(_METRES)
    beat = Fraction(3, 2) if metre == "6/8" else Fraction(1)
    beats = bars * {"4/4": 4, "3/4": 3, "2/4": 2, "6/8": 2}[metre]
    notes: list[dict[str, object]] = []
    place = random.randrange(7)
    for at in range(beats):
        parts = random.choice((1, 2, 2)) if metre != "6/8" else random.choice((1, 3))
        for part in range(parts):
            place = min(max(place + random.choice((-2, -1, -1, 1, 1, 2)), 0), 13)
            pitch = 67 + 12 * (place // 7) + _SCALE[place % 7]
            onset = at * beat + part * beat / parts
            notes.append({"pitch": pitch, "onset": onset, "length": beat / parts, "hand": "RH"})
    for at in range(beats):
        if at and random.random() < 0.25:
            continue
        low = 43 + random.choice(_SCALE)
        for pitch in (low, low + 7)[: random.choice((1, 1, 2))]:
            notes.append({"pitch": pitch, "onset": at * beat, "length": beat, "hand": "LH"})
    return score_from_notes(notes, metre=metre, qpm=QPM)


def whole(score: Score) -> Window:
    """All of it, without a landing: it ends the piece."""
    return Window(Fraction(0), score.end_quarters)


def moves(window: Excerpt) -> tuple[Transition, ...]:
    """The moves at which a fault can be planted: all but the entry."""
    return tuple(t for t in window.transitions if t.to_quarters > window.grid_quarters[0])


def plant(
    random: Random,
    score: Score,
    count: int,
    *,
    chance: float,
    ease: float = 0.0,
    learns: bool = False,
    together: bool = False,
    ways: Sequence[Failing] = tuple(Failing),
    apart: bool = True,
) -> tuple[PlayerFault, ...]:
    """So many faults at different beats, each failing in one of these ways.

    ``apart``: no two lie within two beats of each other.
    """
    places = list(moves(excerpt(score, whole(score))))
    random.shuffle(places)
    chosen: list[PlayerFault] = []
    for place in places:
        gap = 2 if apart else 0
        alone = all(abs(place.to_quarters - f.transition.to_quarters) > gap for f in chosen)
        shared = not together or _both_arrive(places, place)
        if len(chosen) < count and alone and shared:
            hands = Hands.TOGETHER if together else place.hands
            move = Transition(hands, place.from_quarters, place.to_quarters)
            chosen.append(PlayerFault(move, chance, random.choice(ways), ease, learns))
    return tuple(chosen)


def _both_arrive(places: Sequence[Transition], place: Transition) -> bool:
    return sum(one.to_quarters == place.to_quarters for one in places) == 2
