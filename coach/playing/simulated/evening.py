"""The evening player: plays as people do when nobody listens, and knows what was meant.

Repetitions that are right, and all that happens around them at home: false starts, restarts,
stops, talk, notes played again, the wrong hand, another octave, another page, other people's
hands. How often each of them happens is drawn for the evening, and so is the manner of playing.
The same random numbers and the same answers from the coach give the same evening.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from random import Random

from coach.playing.simulated.gesture import Act, Do, Gesture, Passage, Planted, Worth
from coach.playing.simulated.hands import (
    SHORTEST_GAP_S,
    Changes,
    Fingers,
    Manner,
    Stroke,
    StruckChord,
    acts_of,
    begins_like,
    chords,
    likeness,
)
from coach.score.model import Hand, Hands, Score, ScoreNote
from coach.score.window import Excerpt

REACTION_S = (0.25, 0.7)
"""From looking at the music to the first key."""
LOOK_S = 1.5
"""A pianist who wants to read what to do next leaves the keys for this long at least."""
LIKE = 0.5
"""Other music of which more than this share could be the window's is not other music."""
EQUAL = 0.99
"""Music of which more than this share could be other music is it, note for note."""
FAST_S = 0.050
"""Keys mashed through a window come at most this far apart, onset from onset. No single hand is as
fast over a whole window: a trained trill has some fifteen notes a second."""
FAST_TOGETHER_S = 0.033
"""Nor are two hands that take turns."""
DISTINCT = 6
"""Onsets that a window needs so that its notes shifted can't be anything else."""

PLAIN = 3
"""Onsets that a window needs so that one wrong of them leaves it plain which window it is."""

IN_TIME = 1.5
"""Up to so many times its written length a rest may be a note left out."""
WHOLE_S = 3.0
"""With a stop in it so long a repetition may as well be heard as two parts."""
BREAK_S, BREAK_GAPS = 5.0, 3.0
"""A stop so long, and so many times longer than what is written there, is a break; any shorter one
may as well be a hesitation, and told as one."""

ASKS = ("smaller", "larger", "slower", "faster", "other hand", "again", "next", "not this")


@dataclass(frozen=True, slots=True)
class Seen:
    """What a pianist sees when looking at the screen."""

    now_s: float
    score: Score
    excerpt: Excerpt
    qpm: float | None
    stage: str
    click_asked: bool
    """Whether the window is played with a click."""
    click_s: float | None
    """When the window's first beat is clicked, where a count-in runs."""
    finished: bool = False


@dataclass(slots=True)
class _Playing:
    """A gesture being put together."""

    strokes: list[Stroke] = field(default_factory=list)
    parts: list[tuple[list[Stroke], Passage]] = field(default_factory=list)
    others: list[Act] = field(default_factory=list)
    kinds: list[str] = field(default_factory=list)
    begun: int = 0
    """So many chords of the window were played last, and then left."""

    def add(self, strokes: list[Stroke], passage: Passage) -> None:
        self.strokes += strokes
        self.parts.append((strokes, passage))
        self.kinds.append(passage.kind)

    def gesture(self, rest_s: float, *, may_change: bool = False) -> Gesture:
        """The gesture as it is now."""
        keys = acts_of(self.strokes)
        lost = [act.at_s for act in self.others if act.do in (Do.LOST, Do.LEAVE)]
        if lost:  # a key that is down then never comes up
            keys = [act for act in keys if act.do is Do.DOWN or act.at_s < lost[0]]
        acts = sorted([*keys, *self.others], key=lambda act: act.at_s)
        passages = tuple(
            _stamp_passage(passage, strokes) for strokes, passage in self.parts if strokes
        )
        kind = " + ".join(dict.fromkeys(self.kinds)) or "nothing"
        return Gesture(kind, tuple(acts), passages, rest_s, may_change)


@dataclass(frozen=True, slots=True)
class _Turn:
    """A turn at the window: what is played, where, from when and how fast."""

    playing: _Playing
    """The gesture that it is added to."""
    seen: Seen
    row: Sequence[StruckChord]
    """The window's chords."""
    at_s: float
    """When its first chord is due."""
    quarter_s: float


def _stamp_passage(passage: Passage, strokes: Sequence[Stroke]) -> Passage:
    return replace(passage, struck_s=tuple(sorted(stroke.at_s for stroke in strokes)))


def _passage(
    kind: str,
    worth: Worth,
    *,
    whole: bool = False,
    right: bool = True,
    repeats: bool = False,
    planted: tuple[Planted, ...] = (),
) -> Passage:
    return Passage(kind, worth, whole, right, repeats, planted)


class EveningPlayer:
    """One person's evening at the piano; ``dice`` are the only source of chance."""

    def __init__(self, dice: Random) -> None:
        self._dice = dice
        self.manner = Manner.draw_manner(dice)
        self._fingers = Fingers(self.manner, dice)
        self._weak: dict[tuple[Fraction, Hand], float] = {}
        self._habits = {name: self._habit() for name in _HABITS}
        self._bodies = {name: self._habit() for name in self._body_makers()}
        self._bodies["right"] = 0.8 + dice.random()
        self._habits["planted"] = dice.uniform(0.05, 0.25)

    def _habit(self) -> float:
        """How often something happens this evening: often never, seldom often."""
        return self._dice.choice((0.0, 0.05, 0.15, 0.3)) * self._dice.random()

    def opens(self, score: Score) -> None:
        """Another piece is put on the desk: up to two of its places are weak."""
        self._weak.clear()
        for _ in range(self._dice.choice((0, 1, 1, 2))):
            note = self._dice.choice(score.notes)
            self._weak[note.onset_quarters, note.hand] = self._dice.uniform(0.3, 0.9)

    def next(self, seen: Seen) -> Gesture:
        """What is done next, by what is seen."""
        if seen.click_asked and seen.click_s is None:
            return self._calls_the_click(seen)
        if seen.click_asked:
            return self._with_click(seen)
        if not seen.finished and self._happens("aside"):
            return self._aside(seen)
        return self._repetition(seen)

    def _happens(self, habit: str) -> bool:
        return self._dice.random() < self._habits[habit]

    def _rest_s(self) -> float:
        """How long the hands rest before the player looks again."""
        if self._happens("talk"):
            return self._dice.choice((8.0, 20.0, 60.0, 120.0)) * self._dice.uniform(0.5, 1.0)
        return LOOK_S + self._dice.expovariate(0.8)

    # -- beside the music -------------------------------------------------------------------

    def _aside(self, seen: Seen) -> Gesture:
        """Something that is no playing of the window at all."""
        dice = self._dice
        at_s = seen.now_s + dice.uniform(*REACTION_S)
        kind = dice.choice(("ask", "ask", "pause", "unplug", "leave", "mash of keys", "noodling"))
        playing = _Playing()
        if kind == "ask":
            playing.others.append(Act(at_s, Do.ASK, word=dice.choice(ASKS)))
        elif kind == "pause":
            playing.others.append(Act(at_s, Do.PAUSE))
            if dice.random() < 0.5:  # or the next key ends it
                playing.others.append(Act(at_s + dice.uniform(1, 120), Do.RESUME))
        elif kind == "unplug":
            playing.others.append(Act(at_s, Do.LOST))
            playing.others.append(Act(at_s + dice.uniform(0.5, 30), Do.FOUND))
        elif kind == "leave":
            playing.others.append(Act(at_s, Do.LEAVE))
        else:
            make = self._cat if kind == "mash of keys" else self._noodle
            strokes, _ = make(seen, at_s)
            begins = begins_like(strokes, chords(seen.excerpt.notes))
            playing.add(strokes, _passage(kind, Worth.NOTHING, right=not begins))
        playing.kinds.append(kind)
        return playing.gesture(self._rest_s(), may_change=kind in ("ask", "leave"))

    def _cat(self, seen: Seen, at_s: float) -> tuple[list[Stroke], float]:
        """A child's hands, or a cat's feet: clusters anywhere."""
        dice, out = self._dice, []
        for _ in range(dice.randint(2, 25)):
            lowest, count = dice.randint(24, 100), dice.randint(1, 7)
            for pitch in range(lowest, lowest + count):
                late_s = dice.uniform(0, 0.05)
                out.append(
                    Stroke(at_s + late_s, pitch, dice.randint(20, 120), dice.uniform(0.05, 1.0))
                )
            at_s += dice.uniform(0.06, 0.9)
        return out, at_s

    def _noodle(self, seen: Seen, at_s: float) -> tuple[list[Stroke], float]:
        """A scale or broken chord in another key, somewhere else on the keyboard."""
        dice, out = self._dice, []
        pitch, steps = dice.randint(36, 84), dice.choice(((2, 2, 1), (1,), (4, 3), (3, 3, 6)))
        pace_s, way = dice.uniform(0.12, 0.5), dice.choice((-1, 1))
        for at in range(dice.randint(3, 20)):
            out.append(Stroke(at_s, pitch, self._fingers.velocity(), 0.9 * pace_s))
            pitch += way * steps[at % len(steps)]
            if not 28 < pitch < 100:
                way = -way
            at_s += pace_s * dice.uniform(0.85, 1.15)
        return out, at_s

    # -- with a click -----------------------------------------------------------------------

    def _calls_the_click(self, seen: Seen) -> Gesture:
        """Waits for the count-in, or strikes a key for it."""
        dice = self._dice
        if dice.random() < 0.6:
            return Gesture("waits for the click", (), (), 0.5)
        playing = _Playing()
        pitch = dice.choice((21, 60, dice.choice(seen.excerpt.notes).pitch))
        at_s = seen.now_s + dice.uniform(0.1, 1.0)
        strokes = [Stroke(at_s, pitch, self._fingers.velocity(), 0.2)]
        playing.add(strokes, _passage("a key for the click", Worth.NOTHING))
        return playing.gesture(0.1)

    def _with_click(self, seen: Seen) -> Gesture:
        """Plays with the count-in that runs, or lets it run out."""
        assert seen.click_s is not None
        qpm = seen.qpm or seen.excerpt.qpm
        if seen.click_s < seen.now_s + 0.2 or self._happens("misses the click"):
            return Gesture("lets the click run", (), (), max(seen.click_s - seen.now_s, 0) + 6.0)
        row = chords(seen.excerpt.notes)
        changes, planted = self._changes(seen, row) if self._plants() else ({}, ())
        playing = _Playing()
        strokes, last_s = self._fingers.play_with_click(
            row, seen.excerpt.grid_quarters[0], seen.click_s, 60 / qpm, changes
        )
        too_fast = min(_gaps_s(row, 60 / qpm), default=1.0) < SHORTEST_GAP_S
        worth = Worth.OPEN if too_fast or seen.stage == "shape" else Worth.CLEAN
        playing.add(strokes, self._name_passage(worth, planted, "with the click"))
        self._plays_on(_Turn(playing, seen, row, seen.click_s, 60 / qpm), last_s)
        return playing.gesture(self._rest_s())

    # -- repetitions ------------------------------------------------------------------------

    def _repetition(self, seen: Seen) -> Gesture:
        """A repetition of any sort, with what comes before and after it."""
        dice, playing = self._dice, _Playing()
        row = chords(seen.excerpt.notes)
        quarter_s = self._quarter_s(seen, row)
        at_s = seen.now_s + dice.uniform(*REACTION_S)
        turn = _Turn(playing, seen, row, at_s, quarter_s)
        if not seen.finished:
            turn = replace(turn, at_s=self._before(turn))
        last_s = self._body(seen)(turn)
        if self._happens("pedal"):
            self._hold_pedal(playing)
        if last_s is not None:
            if self._happens("again at once"):
                # A chord that is rolled to the end is first let go.
                ended_s = max(last_s, *(stroke.at_s for stroke in playing.strokes))
                again_s = ended_s + dice.uniform(0.25, 1.0)
                last_s = self._right(replace(turn, at_s=again_s), "again at once")
            if self._happens("hum"):
                self._hum(playing)
            self._plays_on(turn, last_s)
        return playing.gesture(self._rest_s())

    def _quarter_s(self, seen: Seen, row: Sequence[StruckChord]) -> float:
        """The own tempo: around the one asked for, and no faster than fingers are."""
        manner = self.manner
        asked_s = 60 / (seen.qpm or seen.excerpt.qpm)
        quarter_s = asked_s / self._dice.uniform(manner.tempo_low, manner.tempo_high)
        shortest = min(_gaps_s(row, 1.0), default=1.0)
        return max(quarter_s, SHORTEST_GAP_S / shortest)

    def _body_makers(self) -> dict[str, Callable[[_Turn], float | None]]:
        return {
            "right": self._right,
            "planted": self._play_with_slips,
            "pause": self._pause,
            "goes back": self._goes_back,
            "note by note": self._note_by_note,
            "stops": self._stops,
            "joins in": self._joins,
            "octave": self._octave,
            "transposed": self._play_transposed,
            "clef": self._clef,
            "hand": self._other_hands,
            "page": self._other_page,
            "mashed": self._mash_keys,
            "doubled": self._play_doubled,
            "unplugged": self._lose_piano,
            "leaves": self._leaves,
        }

    def _body(self, seen: Seen) -> Callable[[_Turn], float | None]:
        makers = self._body_makers()
        names = ["right", "planted"] if seen.finished else list(makers)
        weights = [self._bodies[name] + 1e-9 for name in names]
        if self._plants():
            return self._play_with_slips
        return makers[self._dice.choices(names, weights)[0]]

    def _plants(self) -> bool:
        return self._happens("planted")

    def _name_passage(
        self, worth: Worth, planted: tuple[Planted, ...], kind: str = "right"
    ) -> Passage:
        if planted:
            kind = "left out" if planted[0].missed else "wrong note"
            return _passage(kind, Worth.UNCLEAN, whole=True, right=False, planted=planted)
        return _passage(kind, worth, whole=True)

    def _worth(self, seen: Seen) -> Worth:
        return Worth.OPEN if seen.stage == "shape" else Worth.CLEAN

    def _right(self, turn: _Turn, kind: str = "right") -> float:
        strokes, last_s = self._fingers.play(turn.row, turn.at_s, turn.quarter_s, {})
        turn.playing.add(strokes, self._name_passage(self._worth(turn.seen), (), kind))
        return last_s

    def _play_with_slips(self, turn: _Turn) -> float:
        changes, planted = self._changes(turn.seen, turn.row)
        strokes, last_s = self._fingers.play(turn.row, turn.at_s, turn.quarter_s, changes)
        turn.playing.add(strokes, self._name_passage(self._worth(turn.seen), planted))
        return last_s

    def _changes(
        self, seen: Seen, row: Sequence[StruckChord]
    ) -> tuple[Changes, tuple[Planted, ...]]:
        """One wrong or missed note, mostly at a weak place; none where nothing can be planted."""
        dice = self._dice
        able = [
            (at, note)
            for at, chord in enumerate(row)
            for note in chord.notes
            if not note.grace and not any(n.is_free for n in chord.notes)
            and sum(n.pitch == note.pitch for n in chord.notes) == 1
        ]  # fmt: skip
        weak = [one for one in able if (one[1].onset_quarters, one[1].hand) in self._weak]
        if not able or len(row) < PLAIN:  # of two onsets with one wrong nobody can tell the window
            return {}, ()
        at, note = dice.choice(weak if weak and dice.random() < 0.6 else able)
        alone = len(row[at].pitches) == 1
        left = [one for by, one in enumerate(row) if by != at or not alone]
        is_plain = any(not _is_like(row[:1], [one]) for one in left)  # else it is a false start
        if dice.random() < 0.4 and at < len(row) - 1 and not (alone and at == 0) and is_plain:
            return {note.id: None}, (Planted(note.onset_quarters, note.pitch, True),)
        taken = {n.pitch for chord in row[max(at - 1, 0) : at + 2] for n in chord.notes}
        ways = [way for way in (-5, -4, -3, -2, -1, 1, 2, 3, 4, 5) if note.pitch + way not in taken]
        if not ways:
            return {}, ()
        near = [way for way in ways if abs(way) < 3] or ways
        pitch = note.pitch + dice.choice(near if dice.random() < 0.7 else ways)
        return {note.id: pitch}, (Planted(note.onset_quarters, note.pitch, False),)

    # -- before and after -------------------------------------------------------------------

    def _before(self, turn: _Turn) -> float:
        """What comes before it; when it begins then."""
        dice, playing, row, at_s = self._dice, turn.playing, turn.row, turn.at_s
        if self._happens("noodle"):
            strokes, at_s = self._noodle(turn.seen, at_s)
            begins = begins_like(strokes, row)
            playing.add(strokes, _passage("noodling", Worth.NOTHING, right=not begins))
            at_s += dice.uniform(0.3, 3.0)
        if len(row) > 1 and not _is_like(row[:1], row[1:2]) and self._happens("false start"):
            for _ in range(dice.choice((1, 1, 2, 3))):
                first = [row[0]]
                if len(row[0].notes) > 1 and dice.random() < 0.3:  # one hand only
                    hand = dice.choice(row[0].notes).hand
                    some = tuple(note for note in row[0].notes if note.hand is hand)
                    first = [StruckChord(row[0].onset_quarters, some)]
                strokes, _ = self._fingers.play(first, at_s, turn.quarter_s, {})
                playing.add(strokes, _passage("false start", Worth.NOTHING))
                playing.begun = 1
                at_s += dice.uniform(0.5, 5.0)
        if len(row) > 3 and self._happens("restart"):
            for _ in range(dice.choice((1, 1, 2))):
                upto = dice.randint(2, min(len(row) - 1, 9))
                if _is_like(row[:1], row[upto : upto + 1]):
                    continue  # the first chord could as well be the next one
                strokes, at_s = self._fingers.play(row[:upto], at_s, turn.quarter_s, {})
                rest_s = dice.uniform(0.3, 3.0)
                plain = not _may_leave_one_out(turn, upto, rest_s)
                playing.add(
                    strokes, _passage("broken off", Worth.UNCLEAN, right=plain, repeats=True)
                )
                playing.begun = upto
                at_s += rest_s
        elif self._happens("lead-in"):
            at_s = self._lead_in(replace(turn, at_s=at_s))
        return at_s

    def _lead_in(self, turn: _Turn) -> float:
        """The bar before the window, played in time with it."""
        start = turn.row[0].onset_quarters
        bar = turn.seen.score.bar_at(start)
        begins = bar.onset_quarters if bar.onset_quarters < start else start - bar.length_quarters
        hands = turn.seen.excerpt.window.hands
        before = chords(turn.seen.score.notes_between(begins, start, hands))
        if not before or _is_like(before, turn.row) or _is_like(turn.row, before):
            return turn.at_s
        strokes, last_s = self._fingers.play(before, turn.at_s, turn.quarter_s, {})
        turn.playing.add(strokes, _passage("the bar before", Worth.NOTHING))
        return last_s + float(start - before[-1].onset_quarters) * turn.quarter_s

    def _plays_on(self, turn: _Turn, last_s: float) -> None:
        """On past the window's end, in time."""
        if not self._happens("plays on"):
            return
        dice, last = self._dice, turn.row[-1].onset_quarters
        hands = Hands.TOGETHER if dice.random() < 0.3 else turn.seen.excerpt.window.hands
        end = last + dice.choice((1, 2, 4, 8))
        after = chords(
            n for n in turn.seen.score.notes_between(last, end, hands) if n.onset_quarters > last
        )
        if not after:
            return
        at_s = last_s + float(after[0].onset_quarters - last) * turn.quarter_s
        strokes, _ = self._fingers.play(after, max(at_s, last_s + 0.06), turn.quarter_s, {})
        like = _is_like(after, turn.row) or _is_like(turn.row, after)
        worth = Worth.OPEN if like else Worth.NOTHING
        turn.playing.add(strokes, _passage("past the end", worth, right=not like))

    def _hold_pedal(self, playing: _Playing) -> None:
        """The pedal down throughout, now and then changed."""
        first_s = min(stroke.at_s for stroke in playing.strokes)
        last_s = max(stroke.at_s for stroke in playing.strokes)
        playing.others.append(Act(first_s - 0.1, Do.PEDAL, 64, 127))
        at_s = first_s + self._dice.uniform(1, 10)
        while at_s < last_s:
            playing.others += [Act(at_s, Do.PEDAL, 64, 0), Act(at_s + 0.15, Do.PEDAL, 64, 127)]
            at_s += self._dice.uniform(1, 10)
        playing.others.append(Act(last_s + 1.0, Do.PEDAL, 64, 0))

    def _hum(self, playing: _Playing) -> None:
        """Other keys along with it, softly: then nothing of it can be clean."""
        dice = self._dice
        strokes, _ = playing.parts[-1]
        from_s, to_s = strokes[0].at_s, max(stroke.at_s for stroke in strokes)
        if to_s - from_s < 1.5:
            return
        taken = {stroke.pitch for stroke in strokes}
        keys = [pitch for pitch in range(36, 96) if pitch not in taken]
        more = []
        at_s = from_s + dice.uniform(0.1, 0.5)
        while at_s < to_s:
            more.append(Stroke(at_s, dice.choice(keys), dice.randint(20, 60), 0.3))
            at_s += dice.uniform(0.15, 0.8)
        if len(more) < 3:
            return
        playing.parts[-1] = (
            strokes + more,
            _passage("humming along", Worth.UNCLEAN, right=False),
        )
        playing.strokes += more
        playing.kinds.append("humming along")

    # -- broken, mended, and played again ---------------------------------------------------

    def _pause(self, turn: _Turn) -> float:
        """A stop in the middle, and on from there."""
        if len(turn.row) < 3:
            return self._right(turn)
        dice = self._dice
        at = dice.randint(2, len(turn.row) - 1)  # after one chord it is a false start
        stop_s = dice.choice((1.0, 2.0, 4.0, 8.0, 30.0, 120.0)) * dice.uniform(0.7, 1.0)
        before, middle_s = self._fingers.play(turn.row[:at], turn.at_s, turn.quarter_s, {})
        after, last_s = self._fingers.play(turn.row[at:], middle_s + stop_s, turn.quarter_s, {})
        written_s = float(turn.row[at].onset_quarters - turn.row[at - 1].onset_quarters)
        if stop_s < max(BREAK_S, BREAK_GAPS * written_s * turn.quarter_s):
            turn.playing.add(before + after, _passage("a stop", Worth.OPEN, whole=stop_s < WHOLE_S))
        else:
            turn.playing.add(before, _passage("a long stop", Worth.UNCLEAN))
            turn.playing.add(after, _passage("on after a long stop", Worth.UNCLEAN))
        return last_s

    def _goes_back(self, turn: _Turn) -> float:
        """A few notes or a bar again, and on."""
        if len(turn.row) < 4:
            return self._right(turn)
        dice = self._dice
        at = dice.randint(2, len(turn.row) - 1)
        back = dice.choice((1, 2, 2, 3, at)) if at > 1 else 1
        if dice.random() < 0.4:  # to the bar's beginning
            bar = turn.seen.score.bar_at(turn.row[at - 1].onset_quarters).onset_quarters
            back = sum(bar <= one.onset_quarters for one in turn.row[:at])
        back = min(max(back, 1), at)
        before, middle_s = self._fingers.play(turn.row[:at], turn.at_s, turn.quarter_s, {})
        again_s = middle_s + dice.uniform(0.3, 2.0)
        after, last_s = self._fingers.play(turn.row[at - back :], again_s, turn.quarter_s, {})
        if _may_go_on(turn, at, at - back, again_s - middle_s):
            turn.playing.add(before + after, _passage("goes back", Worth.OPEN, right=False))
        elif back == at:
            turn.playing.add(before, _passage("broken off", Worth.UNCLEAN, repeats=True))
            turn.playing.add(
                after, self._name_passage(self._worth(turn.seen), (), "right after all")
            )
        else:
            turn.playing.add(before + after, _passage("goes back", Worth.OPEN, repeats=True))
        return last_s

    def _note_by_note(self, turn: _Turn) -> float:
        """One chord is found note by note."""
        dice = self._dice
        wide = [at for at, one in enumerate(turn.row) if len(one.pitches) > 1 and at]
        if not wide:
            return self._right(turn)
        at = dice.choice(wide)
        strokes, last_s = self._fingers.play(turn.row[:at], turn.at_s, turn.quarter_s, {})
        find_s = last_s + dice.uniform(0.5, 2.0)
        for pitch in sorted(turn.row[at].pitches):
            strokes.append(Stroke(find_s, pitch, self._fingers.velocity(), 1.5))
            last_s = find_s
            find_s += dice.uniform(0.3, 1.0)
        if at + 1 < len(turn.row):
            after, last_s = self._fingers.play(turn.row[at + 1 :], find_s, turn.quarter_s, {})
            strokes += after
        turn.playing.add(strokes, _passage("note by note", Worth.OPEN, whole=True))
        return last_s

    def _stops(self, turn: _Turn) -> None:
        """Stops somewhere, and does not go on."""
        upto = self._dice.randint(1, max(len(turn.row) - 1, 1))
        if _is_like(turn.row[:1], turn.row[upto : upto + 1]):
            upto = len(turn.row)  # what is begun next could as well go on from there
        strokes, _ = self._fingers.play(turn.row[:upto], turn.at_s, turn.quarter_s, {})
        whole = upto == len(turn.row)
        worth = self._worth(turn.seen) if whole else Worth.UNCLEAN
        turn.playing.add(strokes, _passage("right" if whole else "stops", worth, whole=whole))

    def _joins(self, turn: _Turn) -> float:
        """Begins in the middle, on purpose."""
        if len(turn.row) < 4:
            return self._right(turn)
        at = self._dice.randint(2, len(turn.row) - 2)
        if _is_like(turn.row[at:], turn.row[: len(turn.row) - at]):
            return self._right(turn)  # it could as well be the beginning
        part = turn.row[at:]
        if any(_is_like(part, turn.row[by : by + len(part)], EQUAL) for by in range(1, at)):
            return self._right(turn)  # it could as well be another place, and not yet the end
        begun = turn.playing.begun
        if begun and at == begun + 1:
            return self._right(turn)  # one could as well be left out of what was begun
        if begun and _is_like(turn.row[at:], turn.row[begun : begun + len(turn.row) - at]):
            return self._right(turn)  # it could as well go on with what was begun
        strokes, last_s = self._fingers.play(turn.row[at:], turn.at_s, turn.quarter_s, {})
        turn.playing.add(strokes, _passage("joins in", Worth.UNCLEAN))
        return last_s

    def _lose_piano(self, turn: _Turn) -> None:
        """The piano goes in the middle, and comes back."""
        upto = self._dice.randint(1, max(len(turn.row) - 1, 1))
        strokes, _ = self._fingers.play(turn.row[:upto], turn.at_s, turn.quarter_s, {})
        lost_s = max(stroke.at_s for stroke in strokes) + self._dice.uniform(0.02, 0.1)
        turn.playing.add(
            strokes, _passage("unplugged", Worth.NOTHING if upto < len(turn.row) else Worth.OPEN)
        )
        turn.playing.others.append(Act(lost_s, Do.LOST))
        turn.playing.others.append(Act(lost_s + self._dice.uniform(0.5, 20), Do.FOUND))

    def _leaves(self, turn: _Turn) -> None:
        """Leaves in the middle, and comes back tomorrow."""
        upto = self._dice.randint(1, max(len(turn.row) - 1, 1))
        strokes, _ = self._fingers.play(turn.row[:upto], turn.at_s, turn.quarter_s, {})
        left_s = max(stroke.at_s for stroke in strokes) + self._dice.uniform(0.02, 0.5)
        worth = Worth.NOTHING if upto < len(turn.row) else Worth.OPEN
        turn.playing.add(strokes, _passage("leaves", worth))
        turn.playing.others.append(Act(left_s, Do.LEAVE))

    # -- other keys than are written --------------------------------------------------------

    def _play_shifted(
        self, turn: _Turn, shift: Callable[[ScoreNote], int], passage: Passage
    ) -> float:
        changes = {note.id: note.pitch + shift(note) for one in turn.row for note in one.notes}
        strokes, last_s = self._fingers.play(turn.row, turn.at_s, turn.quarter_s, changes)
        turn.playing.add(strokes, passage)
        return last_s

    def _octave(self, turn: _Turn) -> float:
        """All of it an octave off."""
        by = self._dice.choice((-12, 12, 24))
        pitches = [note.pitch for one in turn.row for note in one.notes]
        if not 21 <= min(pitches) + by <= max(pitches) + by <= 108:
            by = -12 if min(pitches) - 12 >= 21 else 12
        if not 21 <= min(pitches) + by <= max(pitches) + by <= 108:
            return self._right(turn)
        right = len(turn.row) >= DISTINCT and likeness(turn.row, turn.row, by) <= LIKE
        passage = _passage("an octave off", Worth.NOTHING, right=right)
        return self._play_shifted(turn, lambda note: by, passage)

    def _play_transposed(self, turn: _Turn) -> float:
        """All of it in another key."""
        by = self._dice.choice((-7, -5, -4, -3, -2, -1, 1, 2, 3, 4, 5, 7))
        right = len(turn.row) >= DISTINCT and likeness(turn.row, turn.row, by) <= LIKE
        passage = _passage("transposed", Worth.NOTHING, right=right)
        return self._play_shifted(turn, lambda note: by, passage)

    def _clef(self, turn: _Turn) -> float:
        """One hand read in the other hand's clef: twelve steps off, about."""
        hand = self._dice.choice([note.hand for one in turn.row for note in one.notes])
        by = 20 if hand is Hand.LEFT else -20
        pitches = [n.pitch for one in turn.row for n in one.notes if n.hand is hand]
        if not 21 <= min(pitches) + by - 1 <= max(pitches) + by + 1 <= 108:
            return self._right(turn)

        def shift(note: ScoreNote) -> int:
            return by + note.pitch % 2 if note.hand is hand else 0

        passage = _passage("a forgotten clef", Worth.UNCLEAN, right=False)
        return self._play_shifted(turn, shift, passage)

    def _other_hands(self, turn: _Turn) -> float:
        """Other hands than are asked for."""
        dice, window = self._dice, turn.seen.excerpt.window
        asked = window.hands
        end = turn.row[-1].onset_quarters + Fraction(1, 64)
        all_notes = turn.seen.score.notes_between(turn.row[0].onset_quarters, end, Hands.TOGETHER)
        wanted = dice.choice([hands for hands in Hands if hands is not asked])
        other = chords(note for note in all_notes if note.hand in wanted.members)
        missing = [
            note for one in turn.row for note in one.notes if note.hand not in wanted.members
        ]
        more = [note for one in other for note in one.notes if note.hand not in asked.members]
        count = sum(len(one.notes) for one in turn.row)
        off = max(len(missing), len(more))
        same = asked is not Hands.TOGETHER is not wanted and _is_like(other, turn.row)
        if len(other) < 3 or off < max(4, count // 4) or same:
            return self._right(turn)
        strokes, last_s = self._fingers.play(other, turn.at_s, turn.quarter_s, {})
        kind = {Hands.TOGETHER: "both hands for one"}.get(wanted, "the other hand")
        if asked is Hands.TOGETHER:
            kind = "one hand for both"
        few = min(len(missing) or len(more), len(other)) < DISTINCT
        turn.playing.add(strokes, _passage(kind, Worth.NOTHING, right=not few))
        return last_s

    def _other_page(self, turn: _Turn) -> float:
        """Other music of the same score."""
        dice, bars = self._dice, turn.seen.score.bars
        length = turn.row[-1].onset_quarters - turn.row[0].onset_quarters
        for _ in range(8):
            start = dice.choice(bars).onset_quarters
            notes = turn.seen.score.notes_between(
                start, start + length, turn.seen.excerpt.window.hands
            )
            other = chords(notes)
            if (
                len(other) >= DISTINCT
                and not _is_like(other, turn.row)
                and not _is_like(turn.row, other)
            ):
                pace_s = max(turn.quarter_s, SHORTEST_GAP_S / min(_gaps_s(other, 1.0), default=1.0))
                strokes, last_s = self._fingers.play(other, turn.at_s, pace_s, {})
                begins = all(_is_like([b], [a]) for a, b in zip(other[:2], turn.row, strict=False))
                turn.playing.add(strokes, _passage("another page", Worth.NOTHING, right=not begins))
                return last_s
        return self._right(turn)

    def _mash_keys(self, turn: _Turn) -> float:
        """The whole window in a moment."""
        step_s = self._dice.uniform(0.003, FAST_S)
        quickest_s = min(_gaps_s(turn.row, turn.quarter_s), default=1.0)
        if len(turn.row) < 4 or quickest_s < 2 * step_s:
            return self._right(turn)
        strokes = []
        for at, one in enumerate(turn.row):
            for pitch in one.pitches:
                strokes.append(
                    Stroke(turn.at_s + at * step_s, pitch, self._fingers.velocity(), 0.1)
                )
        busiest = max(
            sum(any(n.hand is hand for n in one.notes) for one in turn.row) for hand in Hand
        )
        by_hand_s = step_s * len(turn.row) / busiest
        can_be = by_hand_s > FAST_S and step_s > FAST_TOGETHER_S
        turn.playing.add(strokes, _passage("mashed", Worth.OPEN if can_be else Worth.NOTHING))
        return strokes[-1].at_s

    def _play_doubled(self, turn: _Turn) -> float:
        """Right, through a keyboard that says every key on two channels."""
        strokes, last_s = self._fingers.play(turn.row, turn.at_s, turn.quarter_s, {})
        turn.playing.add(strokes, _passage("doubled", Worth.OPEN, right=False))
        for act in acts_of(strokes):
            late_s = self._dice.uniform(0.0, 0.004)
            turn.playing.others.append(Act(act.at_s + late_s, act.do, act.one, act.two))
        return last_s


_HABITS = (
    "aside", "talk", "misses the click", "pedal", "hum", "again at once", "noodle", "false start",
    "restart", "lead-in", "plays on", "planted",
)  # fmt: skip


def _may_leave_one_out(turn: _Turn, upto: int, rest_s: float) -> bool:
    """Whether the first chords, played again after so many and a rest, could as well go on in time
    with one left out."""
    next_but_one = turn.row[upto + 1 : upto + 3]
    if not _is_like(turn.row[:2], next_but_one):
        return False
    written = float(next_but_one[0].onset_quarters - turn.row[upto - 1].onset_quarters)
    return rest_s < IN_TIME * written * turn.quarter_s


def _may_go_on(turn: _Turn, left: int, entered: int, rest_s: float) -> bool:
    """Whether the chord that is gone back to could as well be the next one, or in time the one
    after that."""
    row = turn.row
    again, due = row[entered : entered + 1], row[left : left + 1]
    if _is_like(again, due):
        return True
    then = row[left + 1 : left + 2]
    if not then or not _is_like(again, then):
        return False
    written = float(then[0].onset_quarters - row[left - 1].onset_quarters)
    return rest_s < IN_TIME * written * turn.quarter_s


def _gaps_s(row: Sequence[StruckChord], quarter_s: float) -> list[float]:
    """The times between one chord and the next, small notes aside."""
    onsets = [float(one.onset_quarters) for one in row]
    return [(b - a) * quarter_s for a, b in pairwise(onsets)]


def _is_like(one: Sequence[StruckChord], other: Sequence[StruckChord], limit: float = LIKE) -> bool:
    return likeness(one, other) > limit
