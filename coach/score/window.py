"""The window: what of the score is in sight now, and the excerpt that lies in it.

A window runs from one onset to another, for one hand or both. It ends with the first onset at or
after its end, the note that one must arrive at, because the trouble is in arriving.

Where something ends, one may broaden on the way to it. Players broaden before a piece or a section
ends (phrase-final lengthening: Todd 1985, Music Perception 3, 33-58, from memory), and wherever it
is written. In the middle of a phrase they don't.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from coach.score.forms import WrittenForm, write_in_form
from coach.score.model import (
    INSTANT_QUARTERS,
    Bar,
    Barline,
    Direction,
    Hand,
    Hands,
    NoteMark,
    Place,
    PrintedLine,
    Score,
    ScoreNote,
)
from coach.score.pitch import Spelling


@dataclass(frozen=True, slots=True)
class Window:
    """From ``start_quarters`` up to ``end_quarters``, and the landing note after it."""

    start_quarters: Fraction
    end_quarters: Fraction
    hands: Hands = Hands.TOGETHER
    landing: bool = True
    """Whether the first onset at or after the end belongs to it."""
    form: WrittenForm = WrittenForm.AS_WRITTEN
    """In which rhythm or grip its notes are played."""

    def of(self, hands: Hands) -> Window:
        """The same stretch for other hands."""
        return replace(self, hands=hands)

    def contains(self, other: Window) -> bool:
        """True where the other window's stretch and hands lie within this one's."""
        return (
            self.start_quarters <= other.start_quarters
            and other.end_quarters <= self.end_quarters
            and other.hands.members <= self.hands.members
        )


@dataclass(frozen=True, slots=True)
class Transition:
    """The move of one hand (or both together) to the beat at ``to_quarters``.

    It holds every onset after the beat ``from_quarters`` up to and including ``to_quarters``,
    both in quarters from the piece's start. A mistake belongs to the transition that it arrives
    in. The transition into the window's first onset starts one beat before it.
    """

    hands: Hands
    from_quarters: Fraction
    to_quarters: Fraction

    def to_plain(self) -> dict[str, str]:
        """JSON-ready; :meth:`from_plain` reads it back."""
        start, end = str(self.from_quarters), str(self.to_quarters)
        return {"hands": self.hands.value, "from": start, "to": end}

    @classmethod
    def from_plain(cls, plain: Mapping[str, str]) -> Transition:
        """A transition from the data of :meth:`to_plain`, what else stands there passed over.

        Raises KeyError or ValueError where it is none.
        """
        return cls(Hands(plain["hands"]), Fraction(plain["from"]), Fraction(plain["to"]))


@dataclass(frozen=True)
class Excerpt:
    """The notes of a window, with the beats that they lie on: all that judging needs.

    Build it with :func:`excerpt`. ``beats`` counts the metre's beats (a dotted quarter in 6/8)
    from the window's first beat, so a note's place is ``beat_of(onset)``: 0 at the start.
    """

    window: Window
    notes: tuple[ScoreNote, ...]
    """Sorted by onset, grace notes first, then pitch."""
    landing_quarters: Fraction | None
    """The onset arrived at, or None where the piece ends with the window."""
    grid_quarters: tuple[Fraction, ...]
    """Onsets of the beats from the one at or before the start to the one at or after the last
    note; at least two."""
    qpm: float
    """The piece's own tempo here, in quarters a minute."""
    places: tuple[Place, ...] = ()
    """Bar and beat of each of ``grid_quarters``; empty where no score stands behind it."""
    other_hand: tuple[ScoreNote, ...] = ()
    """What the hand that is not asked for has in the same stretch."""
    key_fifths: int = 0
    """The key signature at the start: sharps positive, flats negative."""
    directions: tuple[Direction, ...] = ()
    """Words and dynamics that stand in the window."""
    lines: tuple[PrintedLine, ...] = ()
    """Hairpins and pedal marks that begin in the window."""
    may_broaden: bool = False
    """Whether something ends with its last onset, so that one may broaden to it."""

    @cached_property
    def grid(self) -> tuple[float, ...]:
        """``grid_quarters`` as floats."""
        return tuple(map(float, self.grid_quarters))

    def beat_of(self, onset_quarters: Fraction | float) -> float:
        """Place of an onset in beats on the grid: 0 at the first grid beat; linear outside."""
        grid, at = self.grid, float(onset_quarters)
        return self._beat_at(at, bisect_left(grid, at))

    def _beat_at(self, at: float, arrival: int) -> float:
        """The beat of an onset whose next grid beat is known."""
        grid = self.grid
        index = min(max(arrival, 1), len(grid) - 1)
        low, high = grid[index - 1], grid[index]
        return index - 1 + (at - low) / (high - low)

    @cached_property
    def onset_beats(self) -> tuple[float, ...]:
        """Place in beats of each of ``notes``."""
        return tuple(self.beats_of_onsets[number] for number in self.onset_numbers)

    @cached_property
    def beats_of_onsets(self) -> tuple[float, ...]:
        """Place in beats of each of ``onsets_quarters``."""
        return tuple(map(self._beat_at, self.onsets, self.arrivals))

    def place_of(self, onset_quarters: Fraction) -> Place:
        """Bar and beat of an onset; without a score behind it, beats counted in the window."""
        grid = self.grid_quarters
        index = max(bisect_right(grid, onset_quarters) - 1, 0)
        if self.places and onset_quarters == grid[index]:
            return self.places[index]
        after = onset_quarters - grid[index]
        if self.places:
            beat = self.places[index]
            return replace(beat, beat=beat.beat + after / beat.metre.beat_quarters)
        step = grid[index + 1] - grid[index] if index + 1 < len(grid) else grid[-1] - grid[-2]
        return Place(0, "", 1 + index + after / step)

    def transition_to(self, onset_quarters: Fraction, hands: Hands) -> Transition:
        """The transition in which an onset is arrived at: beats (k-1, k], k rounded up."""
        return self._into(bisect_left(self.grid_quarters, onset_quarters), hands)

    def _into(self, index: int, hands: Hands) -> Transition:
        """The transition to a grid beat, also one beat outside the grid."""
        index = min(max(index, 0), len(self.grid_quarters))
        beats = self._beats_round
        return Transition(hands, beats[index], beats[index + 1])

    @cached_property
    def _beats_round(self) -> tuple[Fraction, ...]:
        """``grid_quarters`` with one beat more on each side."""
        grid = self.grid_quarters
        return (2 * grid[0] - grid[1], *grid, 2 * grid[-1] - grid[-2])

    @cached_property
    def onsets_quarters(self) -> tuple[Fraction, ...]:
        """The different onsets of ``notes``, in order of time."""
        return tuple(self._numbered[1])

    @cached_property
    def onsets(self) -> tuple[float, ...]:
        """``onsets_quarters`` as floats."""
        return tuple(map(float, self.onsets_quarters))

    @cached_property
    def onset_numbers(self) -> tuple[int, ...]:
        """For each of ``notes``, the index of its onset in ``onsets_quarters``."""
        return tuple(self._numbered[0])

    @cached_property
    def _numbered(self) -> tuple[list[int], list[Fraction]]:
        numbers: list[int] = []
        onsets: list[Fraction] = []
        for note in self.notes:
            onset = note.onset_quarters
            if not onsets or (onset is not onsets[-1] and onset != onsets[-1]):
                onsets.append(onset)
            numbers.append(len(onsets) - 1)
        return numbers, onsets

    @cached_property
    def hands(self) -> Hands:
        """The hands that have notes here."""
        members = {note.hand for note in self.notes}
        return Hands(members.pop()) if len(members) == 1 else Hands.TOGETHER

    @cached_property
    def same_key(self) -> dict[int, int]:
        """For each note that is another's key at the same onset: the note that is struck for both.

        Two voices or both hands may be written on one key, which is struck but once. It is played
        by the hand that has less to play there; of one hand's two notes the longer one is held.
        """
        places: dict[tuple[int, int], list[int]] = {}
        sizes: dict[tuple[int, Hand], int] = {}
        for index, (note, number) in enumerate(zip(self.notes, self.onset_numbers, strict=True)):
            if note.grace is None:
                places.setdefault((number, note.pitch), []).append(index)
                sizes[number, note.hand] = sizes.get((number, note.hand), 0) + 1
        out: dict[int, int] = {}
        for (number, _), shared in places.items():
            if len(shared) > 1:
                notes = {index: self.notes[index] for index in shared}
                struck = min(
                    shared,
                    key=lambda index: (
                        not notes[index].is_ornament,
                        sizes[number, notes[index].hand],
                        -notes[index].length_quarters,
                    ),
                )
                out |= {index: struck for index in shared if index != struck}
        return out

    @property
    def beat_quarters(self) -> Fraction:
        """The length of its first beat."""
        return self.grid_quarters[1] - self.grid_quarters[0]

    @cached_property
    def is_one_bar(self) -> bool:
        """Whether all notes but the landing's lie in one bar."""
        landing = self.landing_quarters
        return len({n.bar_index for n in self.notes if n.onset_quarters != landing}) <= 1

    @cached_property
    def spellings(self) -> dict[int, Spelling]:
        """For each pitch class (key number modulo 12) that is written, its first spelling."""
        out: dict[int, Spelling] = {}
        for note in self.notes:
            out.setdefault(note.pitch % 12, note.spelling)
        return out

    @cached_property
    def arrivals(self) -> tuple[int, ...]:
        """For each of ``onsets_quarters``, the grid beat k of its transition (k-1, k]."""
        out, k, grid = [], 0, self.grid
        for onset in self.onsets:
            while k < len(grid) and grid[k] < onset:
                k += 1
            out.append(k)
        return tuple(out)

    @cached_property
    def transitions(self) -> tuple[Transition, ...]:
        """Every transition of every single hand in the window, in order of time, RH first."""
        return tuple(self._into(k, Hands(hand)) for k, hand in self.moves)

    @cached_property
    def moves(self) -> tuple[tuple[int, Hand], ...]:
        """``transitions`` in short: the grid beat that each leads to, and its hand."""
        arrivals = self.arrivals
        seen = {
            (arrivals[number], note.hand)
            for number, note in zip(self.onset_numbers, self.notes, strict=True)
        }
        return tuple(sorted(seen, key=lambda move: (move[0], move[1] is Hand.LEFT)))


def landing_quarters(score: Score, window: Window) -> Fraction | None:
    """The first onset of the window's hands at or after its end, None at the piece's end.

    An onset more than a bar after the window's end is not arrived at from here, so it is None.
    """
    if not window.landing:
        return None
    reach = window.end_quarters + score.bar_at(window.end_quarters).length_quarters
    after = score.notes_between(window.end_quarters, reach, window.hands)
    return after[0].onset_quarters if after else None


def excerpt(score: Score, window: Window) -> Excerpt:
    """The window's notes and beats.

    Raises ValueError, with a sentence for the pianist, where the window holds no note.
    """
    landing = landing_quarters(score, window)
    notes = _notes(score, window, landing, window.hands)
    if not notes:
        raise ValueError(_nothing_to_play(score, window))
    other = _OTHER.get(window.hands)
    grid = beat_grid(
        score, window.start_quarters, max(notes[-1].onset_quarters, window.end_quarters)
    )
    written = Excerpt(
        window=window,
        notes=notes,
        landing_quarters=landing,
        grid_quarters=grid,
        qpm=score.tempo_at(window.start_quarters),
        places=tuple(map(score.place, grid)),
        other_hand=_notes(score, window, landing, other) if other else (),
        key_fifths=score.bar_at(window.start_quarters).key_fifths,
        directions=tuple(
            one
            for one in score.directions
            if window.start_quarters <= one.onset_quarters <= notes[-1].onset_quarters
        ),
        lines=tuple(
            one
            for one in score.lines
            if window.start_quarters <= one.start_quarters <= notes[-1].onset_quarters
        ),
        may_broaden=may_broaden_to(score, notes[-1].onset_quarters, window.hands),
    )
    return write_excerpt(written)


def _nothing_to_play(score: Score, window: Window) -> str:
    """That a window is empty, and where the next key is struck."""
    whose = "either hand" if window.hands is Hands.TOGETHER else window.hands.value
    after = score.notes_between(window.end_quarters, score.end_quarters, window.hands)
    said = f"There is nothing for {whose} to strike there"
    if not after:
        return f"{said}, nor after it; begin earlier."
    return f"{said}; what comes next is at {score.place(after[0].onset_quarters)}."


def write_excerpt(written: Excerpt) -> Excerpt:
    """The excerpt in its window's form: the landing stays as it is written."""
    form, landing = written.window.form, written.landing_quarters
    if form is WrittenForm.AS_WRITTEN:
        return written
    inside = [note for note in written.notes if note.onset_quarters != landing]
    arrived = [note for note in written.notes if note.onset_quarters == landing]
    rewritten = write_in_form(inside, form, written.grid_quarters)
    return replace(written, notes=(*rewritten, *arrived))


_OTHER = {Hands.RIGHT: Hands.LEFT, Hands.LEFT: Hands.RIGHT}


def _notes(
    score: Score, window: Window, landing: Fraction | None, hands: Hands
) -> tuple[ScoreNote, ...]:
    """The notes of these hands in a window, and on its landing."""
    notes = score.notes_between(window.start_quarters, window.end_quarters, hands)
    if landing is None:
        return notes
    return notes + score.notes_between(landing, landing + INSTANT_QUARTERS, hands)


def beat_grid(
    score: Score, start_quarters: Fraction, last_quarters: Fraction
) -> tuple[Fraction, ...]:
    """Beat onsets from the one at or before ``start`` to the one at or after ``last``."""
    first = score.bar_at(start_quarters).index
    beats: list[Fraction] = []
    for bar in score.bars[first:]:
        beats += bar.beats_quarters()
        if beats and beats[-1] >= last_quarters and len(beats) > 1:
            break
    step = score.bars[-1].metre.beat_quarters
    if not beats or beats[0] > start_quarters:
        beats.insert(0, (beats[0] if beats else start_quarters) - step)
    while beats[-1] < last_quarters or len(beats) < 2:
        beats.append(beats[-1] + step)
    low = max(i for i, beat in enumerate(beats) if beat <= start_quarters)
    high = next(i for i, beat in enumerate(beats) if beat >= last_quarters)
    return tuple(beats[low : max(high, low + 1) + 1])


# Choosing a window by bars and beats, as a pianist says it: ``5-8``, ``12``, beats ``3-1``.
#
# Bars are named by their printed numbers; where a number stands twice, the first one counts, and
# ``#12`` means the twelfth bar of the piece whatever is printed. Beats count from 1 in the first
# bar and in the last bar of the stretch: bars 5-6, beats 3-2 is from beat 3 of bar 5 to beat 2 of
# bar 6; the note on that last beat is the one arrived at.


_HANDS = {
    "rh": Hands.RIGHT,
    "right": Hands.RIGHT,
    "lh": Hands.LEFT,
    "left": Hands.LEFT,
    "both": Hands.TOGETHER,
    "together": Hands.TOGETHER,
}


class WindowError(ValueError):
    """The window that was asked for is not in the piece; the message says what is."""


def choose_window(
    score: Score, *, bars: str | None = None, beats: str | None = None, hands: str = "both"
) -> Window:
    """The window of these bars, beats and hands; the whole piece where nothing is said.

    Raises WindowError, one sentence for the pianist, where it lies outside the piece, is the
    wrong way round or holds no note.
    """
    chosen = hands_named(hands)
    first, last = _bar_range(score, bars)
    if bars is not None and last.time:
        last = _last_time(score, first, last)
    start, end = first.onset_quarters, last.end_quarters
    if beats is not None:
        start, end = _beat_range(first, last, beats)
    if start >= end:
        raise WindowError("The window ends before it begins; name the earlier bar or beat first.")
    window = Window(start, end, chosen)
    try:
        excerpt(score, window)
    except ValueError as nothing:
        raise WindowError(str(nothing)) from None
    return window


def hands_named(name: str) -> Hands:
    """The hands that a word means: rh, lh, both and their long forms."""
    try:
        return _HANDS[name.strip().lower()]
    except KeyError:
        raise WindowError(f"There is no hand “{name}”; say rh, lh or both.") from None


def bar_named(score: Score, name: str) -> Bar:
    """The bar with this printed number, the n-th bar for ``#n``, or ``pickup``."""
    name = name.strip()
    for bar in score.bars:
        if name in (bar.number, f"#{bar.index + 1}", bar.words):
            return bar
    first, last = score.bars[0], score.bars[-1]
    there = first.words_to(last) if last.number else f"bars #1 to #{len(score.bars)}"
    raise WindowError(f"There is no bar {name or '(none named)'}; the piece has {there}.")


def _bar_range(score: Score, bars: str | None) -> tuple[Bar, Bar]:
    if bars is None:
        return score.bars[0], score.bars[-1]
    low, _, high = bars.partition("-")
    return bar_named(score, low), bar_named(score, high or low)


def _last_time(score: Score, first: Bar, last: Bar) -> Bar:
    """Of a bar that is played several times the one that a window from ``first`` ends with: the
    last before anything else is played, so that bars 1 to 8 are played as often as they are
    repeated; else the first that comes."""
    numbers = [bar.number for bar in score.bars]
    low, high = numbers.index(first.number), numbers.index(last.number)
    inside = set(numbers[low : high + 1])
    found = None
    for bar in score.bars[first.index :]:
        if bar.number not in inside and found:
            break
        if bar.number == last.number:
            found = bar
            if not inside.issuperset(one.number for one in score.bars[first.index : bar.index]):
                break
    return found or last


def _beat_range(first: Bar, last: Bar, beats: str) -> tuple[Fraction, Fraction]:
    low, dash, high = beats.partition("-")
    start = _onset_of_beat(first, low)
    if not dash:
        return start, start + first.metre.beat_quarters
    return start, _onset_of_beat(last, high)


def _onset_of_beat(bar: Bar, text: str) -> Fraction:
    try:
        beat = sum((Fraction(part) for part in text.split()), Fraction(0))
    except (ValueError, ZeroDivisionError):
        raise WindowError(f"“{text}” is not a beat; say for example 2, 2.5 or 2 1/2.") from None
    onset = bar.onset_quarters - bar.lead_quarters + (beat - 1) * bar.metre.beat_quarters
    if not text.strip() or not bar.onset_quarters <= onset <= bar.end_quarters:
        raise WindowError(f"Bar {bar.number} has no beat {text or '(none given)'}.")
    return onset


def whole_piece(score: Score, hands: Hands = Hands.TOGETHER) -> Window:
    """All of it."""
    return Window(score.bars[0].onset_quarters, score.end_quarters, hands)


# Where something ends, so that one may broaden on the way to it.

_SLOWING = re.compile(
    r"\b(rit|riten|ritard|rall|rallent|allarg|slent|smorz|mor|calando|ritenuto|ritardando"
    r"|rallentando|allargando|slentando|smorzando|morendo|c[ée]dez|retenu|zurückhaltend)\b",
    re.IGNORECASE,
)
"""Words that ask to slow down, with their usual short forms (common practice)."""
_IN_TEMPO = re.compile(r"\b(tempo|mouvement|zeitma[ßs]s?)\b", re.IGNORECASE)
"""Words that end that: a tempo, tempo I, au mouvement."""
_BARS_OF_SLOWING = 2
"""So many bars on, a word that asks to slow down has been obeyed. Own choice: it is mostly written
one bar or two before what it leads to."""


_SECTION_BARLINES = {Barline.DOUBLE, Barline.FINAL, Barline.HEAVY}


def may_broaden_to(score: Score, onset_quarters: Fraction, hands: Hands) -> bool:
    """Whether these hands may broaden to an onset that is the last of a window.

    The piece ends with it; or a section, by a double bar or a repeat sign before it, or at its
    bar's end with no more to play before that; or a fermata or a ritardando is written.
    """
    last = next(note for note in reversed(score.notes) if note.hand in hands.members)
    if onset_quarters >= last.onset_quarters or _is_slowing(score, onset_quarters):
        return True
    struck = score.notes_between(onset_quarters, onset_quarters + INSTANT_QUARTERS, hands)
    if any(NoteMark.FERMATA in note.marks for note in struck):
        return True
    bar = score.bar_at(onset_quarters)
    ended = []
    if onset_quarters == bar.onset_quarters and bar.index:
        ended.append(score.bars[bar.index - 1])
    if not score.notes_between(onset_quarters + INSTANT_QUARTERS, bar.end_quarters, hands):
        ended.append(bar)
    return any(map(_ends_section, ended))


def _ends_section(bar: Bar) -> bool:
    return bar.repeat_end or bar.barline in _SECTION_BARLINES


def _is_slowing(score: Score, onset_quarters: Fraction) -> bool:
    """Whether a word asks to slow down there."""
    here = score.bar_at(onset_quarters).index
    first_quarters = score.bars[max(here - _BARS_OF_SLOWING, 0)].onset_quarters
    asked = False
    for one in score.directions:
        if first_quarters <= one.onset_quarters <= onset_quarters:
            asked = bool(_SLOWING.search(one.text)) or (asked and not _IN_TEMPO.search(one.text))
    return asked
