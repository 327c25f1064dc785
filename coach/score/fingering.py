"""Fingers suggested where none are printed.

The method is that of Parncutt, Sloboda, Clarke, Raekallio and Desain (1997), "An ergonomic model of
keyboard fingering for melodic fragments", Music Perception 14(4), 341-382: twelve rules give each
fingering of a line a difficulty, from how far each pair of fingers reaches in comfort, from weak
fingers, from black keys and from how often and how far the hand has to move. The easiest fingering
of all is found by dynamic programming (Viterbi), as they propose.

They fingered single lines of one hand. Ours goes on to chords and to keys that are held, in the way
of Al Kasimi, Nichols and Raphael (2007, "A simple algorithm for automatic generation of polyphonic
piano fingerings", ISMIR): what one hand has down at a moment is fingered together, from the thumb
up, and the cost of a move is that of its outer voices. What is printed stays as it is, and the rest
is fingered around it.

A suggestion is one possibility. Nobody is judged by it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import combinations

from coach.score.model import Hand, Score, ScoreNote


@dataclass(frozen=True, slots=True)
class _Reach:
    """How far apart two fingers may strike, in semitones, the second finger to the right of the
    first; less than nothing where the thumb goes under."""

    least: int
    comfortable_from: int
    relaxed_from: int
    relaxed_to: int
    comfortable_to: int
    most: int


_REACHES = {
    (1, 2): _Reach(-5, -3, 1, 5, 8, 10),
    (1, 3): _Reach(-4, -2, 3, 7, 10, 12),
    (1, 4): _Reach(-3, -1, 5, 9, 12, 14),
    (1, 5): _Reach(-1, 1, 7, 10, 13, 15),
    (2, 3): _Reach(1, 1, 1, 2, 3, 5),
    (2, 4): _Reach(1, 1, 3, 4, 5, 7),
    (2, 5): _Reach(2, 2, 5, 6, 8, 10),
    (3, 4): _Reach(1, 1, 1, 2, 2, 4),
    (3, 5): _Reach(1, 1, 3, 4, 5, 7),
    (4, 5): _Reach(1, 1, 1, 2, 3, 5),
}
"""Parncutt et al. 1997, table 1: the right hand, upwards."""
_ONE_KEY = _Reach(0, 0, 0, 0, 0, 0)
"""One finger's, without moving the hand."""

# The points that their rules give are whole numbers in the paper, and stand at each rule. Own
# choices follow: the paper has neither chords, nor leaps of one finger, nor rests.

_OUT_OF_REACH = 20.0
"""For each semitone that fingers can't span together: only where nothing else is left, and then the
chord is rolled. Own choice, because no sum of the rules for two notes comes near it."""
_LEAP = 12.0
"""For one finger on two keys, one after the other, and for a move beyond all reach: the hand leaps.
Own choice: dearer than any change of position that stays in reach."""
_FOURTH_IN_CHORD = 0.5
"""For the fourth finger in a chord. Own choice: triads are taught with 1 3 5, to which the reaches
make 1 2 4 an equal."""
_MOST_MOVED = 12
"""Semitones of a change of position that are counted: beyond an octave the arm moves, and one leap
is like another. Own choice."""
_THUMB_ON_BLACK = 3.0
"""How many times rule 10 counts. Own choice: at their weight of 1 the thumb begins the scales of E
flat and A flat; at 3 more of the standard fingerings of all major scales come out (561 of 720 notes
in place of 492), and no other weight that was tried changes as much."""
_FREE_AFTER_QUARTERS = Fraction(1)
"""A silence as long as this gives the hand time to move. Own choice."""
_FREE_SHARE = 0.25
"""Of a move's cost, where there is time for it. Own choice: the nearest fingers are still best."""
_MOST_KEPT = 25
"""Pairs of grips that are kept from one onset to the next. Own choice: a line has no more."""
_CHUNK, _ROUND = 32, 8
"""Onsets that are fingered at once, and those on each side that are looked at besides. Own choice,
so that a window of a long piece is fingered at once, and as the whole piece would be."""

_BLACK = frozenset({1, 3, 6, 8, 10})

_Key = tuple[int, bool]
"""A key by its place to the right (for the left hand to the left), and whether it is black."""
_Touch = tuple[int, bool, int]
"""A key and the finger on it."""


# -- the rules of 1997, for a line ----------------------------------------------------------------


@lru_cache(maxsize=16384)
def pair_cost(first: _Touch, second: _Touch) -> float:
    """What one move of a line costs: rules 1 to 3, 6, 8, 9 and 12."""
    interval, one, other = second[0] - first[0], first[2], second[2]
    cost = float(other in (4, 5))  # rule 6
    if one == other:
        return cost + _LEAP * bool(interval)
    out_of_reach, uneasy = _span_cost(interval, one, other)
    if out_of_reach:
        return cost + _LEAP
    cost += uneasy
    cost += (one, other) == (3, 4)  # rule 8
    for three, four in ((first, second), (second, first)):  # rule 9
        cost += (three[2], four[2]) == (3, 4) and four[1] and not three[1]
    return cost + _passing_cost(first, second)


def _span_cost(interval: int, one: int, other: int) -> tuple[int, int]:
    """How many semitones two fingers are out of reach; and rules 1 to 3, how far beyond comfort
    and ease."""
    reach = _REACHES[min(one, other), max(one, other)]
    if one > other:
        interval = -interval
    beyond = max(interval - reach.most, reach.least - interval, 0)
    stretched = max(interval - reach.comfortable_to, reach.comfortable_from - interval, 0)
    tight = max(interval - reach.relaxed_to, reach.relaxed_from - interval, 0)
    each = 1 if 1 in (one, other) else 2
    return beyond, 2 * stretched + each * tight


def _passing_cost(first: _Touch, second: _Touch) -> float:
    """Rule 12: the thumb goes under, or a finger over it."""
    lower, upper = sorted((first, second))
    if upper[2] != 1 or lower[2] == 1 or lower[0] == upper[0]:
        return 0.0
    if lower[1] == upper[1]:
        return 1.0
    return 3.0 if upper[1] else 0.0


def triple_cost(first: _Touch, second: _Touch, third: _Touch) -> float:
    """What three notes of a line cost besides: rules 4, 5, 7, 10 and 11."""
    cost = float({first[2], second[2], third[2]} == {3, 4, 5})  # rule 7
    neighbours = (not first[1]) + (not third[1])
    if second[1] and second[2] == 1:  # rule 10
        cost += _THUMB_ON_BLACK * (1 + 2 * neighbours)
    if second[1] and second[2] == 5:  # rule 11
        cost += 2 * neighbours
    one, other, interval = first[2], third[2], third[0] - first[0]
    reach = _REACHES.get((min(one, other), max(one, other)), _ONE_KEY)
    if one > other:
        interval = -interval
    moved = max(interval - reach.comfortable_to, reach.comfortable_from - interval, 0)
    if not moved:
        return cost
    low, high = sorted((first[0], third[0]))
    is_full = (
        second[2] == 1 and low < second[0] < high and not reach.least <= interval <= reach.most
    )
    return cost + (2 if is_full else 1) + min(moved, _MOST_MOVED)  # rules 4 and 5


# -- grips: what one hand has down at a moment ----------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Moment:
    """One onset of a hand: the keys it has down, from the thumb's side out."""

    notes: tuple[ScoreNote, ...]
    struck: frozenset[str]
    """The ids of the notes that are struck now; the others are held."""
    rest_before: bool
    """Whether the hand had time to move."""
    keys: tuple[_Key, ...]
    """In the order of ``notes``."""


def _key(note: ScoreNote) -> _Key:
    place = note.pitch if note.hand is Hand.RIGHT else -note.pitch
    return place, note.pitch % 12 in _BLACK


def _moments(notes: Iterable[ScoreNote]) -> Iterator[_Moment]:
    """The onsets of one hand, in order; each small note is one of its own."""
    held: list[ScoreNote] = []
    for group in _struck_together(notes):
        onset = group[0].onset_quarters
        was_down = bool(held)
        end = max((note.end_quarters for note in held), default=onset)
        held = [note for note in held if note.end_quarters > onset]
        held = _without_keys(held, group)
        together = sorted((*held, *group), key=_key)
        down = tuple(_playable(together, group))
        rested = was_down and onset - end >= _FREE_AFTER_QUARTERS
        struck = frozenset(note.id for note in group)
        yield _Moment(down, struck, rested, tuple(map(_key, down)))
        held = list(down)


def _struck_together(notes: Iterable[ScoreNote]) -> Iterator[list[ScoreNote]]:
    group: list[ScoreNote] = []
    for note in notes:
        apart = group and (
            note.onset_quarters != group[0].onset_quarters
            or note.grace is not group[0].grace
            or (note.grace is not None and note.voice == group[-1].voice)
        )
        if apart:
            yield _one_a_key(group)
            group = []
        group.append(note)
    if group:
        yield _one_a_key(group)


def _one_a_key(group: Sequence[ScoreNote]) -> list[ScoreNote]:
    """Of two voices on one key the longer note, which is held."""
    by_key: dict[int, ScoreNote] = {}
    for note in sorted(group, key=lambda one: one.length_quarters):
        by_key[note.pitch] = note
    return list(by_key.values())


def _without_keys(held: Iterable[ScoreNote], struck: Sequence[ScoreNote]) -> list[ScoreNote]:
    keys = {note.pitch for note in struck}
    return [note for note in held if note.pitch not in keys]


_FINGERS = 5
_SPAN = _REACHES[1, 5].most


def _playable(together: list[ScoreNote], struck: Sequence[ScoreNote]) -> list[ScoreNote]:
    """Without held notes that the hand can't keep: no finger is left for them, or no reach."""
    mine = {note.id for note in struck}
    kept = list(together)
    for note in sorted(together, key=lambda one: one.onset_quarters):
        spans = _key(kept[-1])[0] - _key(kept[0])[0]
        if len(kept) <= _FINGERS and spans <= _SPAN:
            break
        if note.id not in mine:
            kept.remove(note)
    return kept[:_FINGERS]


_Grip = tuple[int, ...]
"""A finger for each note of a moment, from the thumb's side out."""


def _grips(moment: _Moment) -> list[_Grip]:
    """Every way to finger a moment, with what is printed as it is; in order of the keys where the
    print allows it."""
    printed = [_printed_finger(note) for note in moment.notes]
    many = len(moment.notes)
    wanted = [
        grip
        for grip in combinations(range(1, _FINGERS + 1), many)
        if all(at is None or at == finger for at, finger in zip(printed, grip, strict=True))
    ]
    if wanted or many > _FINGERS:
        return wanted
    free = [finger for finger in range(1, _FINGERS + 1) if finger not in printed]
    fill = iter(free)
    return [tuple(at if at is not None else next(fill, 1) for at in printed)]


def _printed_finger(note: ScoreNote) -> int | None:
    first = note.fingering[0] if note.fingering else ""
    return int(first) if first in ("1", "2", "3", "4", "5") else None


@lru_cache(maxsize=65536)
def _grip_cost(keys: tuple[_Key, ...], grip: _Grip) -> float:
    """What it costs to have these keys down together."""
    cost = 0.0
    pairs = list(zip(keys, grip, strict=True))
    for (low, one), (high, other) in combinations(pairs, 2):
        if one >= other:
            cost += _OUT_OF_REACH
        else:
            out_of_reach, uneasy = _span_cost(high[0] - low[0], one, other)
            cost += _OUT_OF_REACH * out_of_reach + uneasy / (len(keys) - 1)
    for key, finger in pairs if len(keys) > 1 else ():
        cost += (key[1] and finger == 1) + _FOURTH_IN_CHORD * (finger == 4)
    return cost


# -- the easiest way through ----------------------------------------------------------------------


class _Way:
    """The cheapest way to two grips, one after the other."""

    __slots__ = ("before", "cost", "earlier", "grip")

    def __init__(self, cost: float, grip: _Grip, earlier: _Grip | None, before: _Way | None):
        self.cost, self.grip, self.earlier, self.before = cost, grip, earlier, before

    def grips(self) -> list[_Grip]:
        """Every grip from the first on."""
        out: list[_Grip] = []
        way: _Way | None = self
        while way is not None:
            out.append(way.grip)
            way = way.before
        return out[::-1]


def _easiest(moments: Sequence[_Moment]) -> list[_Grip]:
    """A grip for each moment, so that the sum of all costs is the least."""
    first = moments[0]
    ways = [_Way(_grip_cost(first.keys, g) + _start_cost(g), g, None, None) for g in _grips(first)]
    for at in range(1, len(moments)):
        before = moments[at - 2] if at > 1 else None
        ways = _step(ways, before, moments[at - 1], moments[at])
    return min(ways, key=lambda way: way.cost).grips()


def _start_cost(grip: _Grip) -> float:
    return sum(finger in (4, 5) for finger in grip) / len(grip)  # rule 6


def _step(ways: list[_Way], before: _Moment | None, last: _Moment, now: _Moment) -> list[_Way]:
    """The ways one moment further; of those that end in the same two grips the cheapest."""
    share = _FREE_SHARE if now.rest_before else 1.0
    kept = _kept_places(last, now)
    ways = sorted(ways, key=lambda way: way.cost)[:_MOST_KEPT]
    ends = {way.grip for way in ways}
    lowest, highest = (_Turns(before, last, now, outer, share / 2) for outer in (0, -1))
    out: list[_Way] = []
    for grip in _grips(now):
        own = _grip_cost(now.keys, grip)
        moves = {end: own + share * _move_cost(last, end, now, grip, kept) for end in ends}
        low, high = grip[0], grip[-1]
        best: dict[_Grip, _Way] = {}
        for way in ways:
            end, earlier = way.grip, way.earlier
            cost = way.cost + moves[end]
            if earlier is not None:
                cost += lowest[earlier[0], end[0], low] + highest[earlier[-1], end[-1], high]
            if end not in best or cost < best[end].cost:
                best[end] = _Way(cost, grip, end, way)
        out += best.values()
    return out


class _Turns(dict[tuple[int, int, int], float]):
    """What three fingers running cost in one outer voice, each worked out once."""

    def __init__(
        self, before: _Moment | None, last: _Moment, now: _Moment, outer: int, share: float
    ) -> None:
        super().__init__()
        self._keys = [moment.keys[outer] for moment in (before or last, last, now)]
        self._share = share

    def __missing__(self, fingers: tuple[int, int, int]) -> float:
        touches = [(*key, one) for key, one in zip(self._keys, fingers, strict=True)]
        self[fingers] = self._share * triple_cost(*touches)
        return self[fingers]


def _move_cost(
    last: _Moment, end: _Grip, now: _Moment, grip: _Grip, kept: Sequence[tuple[int, int]]
) -> float:
    """From one grip to the next: the mean of the outer voices; a held key keeps its finger."""
    changed = sum(end[old] != grip[new] for old, new in kept)
    (low, high), (last_low, last_high) = _outer(now, grip), _outer(last, end)
    move = (pair_cost(last_low, low) + pair_cost(last_high, high)) / 2
    return move + _OUT_OF_REACH * changed


def _outer(moment: _Moment, grip: _Grip) -> tuple[_Touch, _Touch]:
    keys = moment.keys
    return (*keys[0], grip[0]), (*keys[-1], grip[-1])


def _kept_places(last: _Moment, now: _Moment) -> list[tuple[int, int]]:
    """The notes that are held from one moment to the next, by their places in both."""
    places = {note.id: place for place, note in enumerate(last.notes)}
    return [
        (places[note.id], place)
        for place, note in enumerate(now.notes)
        if note.id in places and note.id not in now.struck
    ]


class FingerAdvice:
    """Suggested fingers of one piece; worked out for a stretch when it is first asked for."""

    def __init__(self, score: Score) -> None:
        self._score = score
        self._chunks: dict[tuple[Hand, int], dict[str, str]] = {}

    def suggest(self, notes: Iterable[ScoreNote]) -> dict[str, str]:
        """By the note's id a finger for each of these notes that has none printed."""
        out: dict[str, str] = {}
        for note in notes:
            chunk = self._chunk_of.get(note.id)
            if chunk is not None and not note.fingering:
                if chunk not in self._chunks:
                    self._chunks[chunk] = self._finger(*chunk)
                if finger := self._chunks[chunk].get(note.id):
                    out[note.id] = finger
        return out

    @cached_property
    def _moments(self) -> Mapping[Hand, Sequence[_Moment]]:
        return {
            hand: list(_moments(note for note in self._score.notes if note.hand is hand))
            for hand in Hand
        }

    @cached_property
    def _chunk_of(self) -> dict[str, tuple[Hand, int]]:
        return {
            note: (hand, at // _CHUNK)
            for hand, moments in self._moments.items()
            for at, moment in enumerate(moments)
            for note in moment.struck
        }

    def _finger(self, hand: Hand, chunk: int) -> dict[str, str]:
        first, stop = chunk * _CHUNK, (chunk + 1) * _CHUNK
        start = max(first - _ROUND, 0)
        moments = self._moments[hand][start : stop + _ROUND]
        out: dict[str, str] = {}
        for at, (moment, grip) in enumerate(zip(moments, _easiest(moments), strict=True), start):
            if first <= at < stop:
                pairs = zip(moment.notes, grip, strict=True)
                out |= {note.id: str(one) for note, one in pairs if note.id in moment.struck}
        return out
