"""When a repetition begins and ends, told from the playing alone.

Rules over the labels and times of the likeliest hypothesis. No figure for them is published. Times
are in seconds.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from itertools import dropwhile, pairwise
from math import inf
from statistics import median
from typing import NamedTuple

from coach.judging.alignment import ExactMatcher, Hypothesis, Labels, ScoreArrays, Trace
from coach.judging.following.states import FollowerInput
from coach.judging.instead import FALSE_START_S, is_wild
from coach.judging.model import Label
from coach.playing.notes import ONE_STROKE_S, PlayedNote

STRAY_S = 0.15
"""Keys this soon after the last note still belong to the repetition. Own choice, because hands that
end together are never so far apart."""
SPREAD_S = 1.1
"""How long a landing chord of which notes are wanting is waited for, at the least. Own choice,
because who finds a chord note by note finds about one in a second."""
LONGEST_SPREAD_S = 2.0
"""And at the most. Own choice, because by then the pianist looks for an answer."""
SILENCE_S = 3.0
"""A silence that ends a repetition, at the least. Own choice, because it takes a learner about so
long to find the next note."""
SILENCE_GAPS, SILENCE_MORE_S = 2.5, 1.5
"""A silence that ends a repetition is so many times the written gap, and so much more. Own choice,
because after a long note the next one may be late by its length."""
LONGEST_SILENCE_S = 20.0
"""No silence is waited through for longer. Own choice, because it is more than eight slow bars."""
FRESH_S = 1.0
"""After such a silence a key of the first onset begins a repetition at once. Own choice, because
who plays on does not stop for so long."""
MOST_KEYS_A_NOTE = 10
"""Keys of a repetition for each note of the window, at the most. Own choice, because whoever starts
over more often in one breath is not playing it."""
LEAST_MOST_KEYS = 100
"""And at the least. Own choice, because two notes may be tried often."""
TELLS_NOTHING = 2
"""An attempt of so many onsets, begun again from the start, is a false start: one interval shows
neither a tempo nor a place that fails."""
TELLING_ONSETS = 2
"""So many onsets played after going back show that the window was begun again. Own choice, because
one may be a note struck twice."""
REST_GAPS = 1.5
"""So many times its written gap a note may be held and still be followed in time. Own choice,
because learners stretch time by less where they do not stop."""
LONGEST_REST_S = 3.0
"""A silence this long is a rest, whatever is written. Own choice, as ``SILENCE_S``."""
TELLING_GAPS = 3
"""So many gaps tell the player's own pace, though one may be a rest: the median of fewer is it."""
TURNED_ROUND = 3.0
"""More than so many times longer than another gap, by what is written, nobody plays one. Own
choice, because a dotted figure may be played evenly, and a quarter for an eighth is 4."""
FEW_KEYS = 4
"""So many keys may be a beginning that was not noticed yet; more would have begun it."""
SLOWEST = 2.0
"""So many times slower than asked it may be played before the tempo is known. Own choice, because
half of the tempo is where slow practice begins."""
LONGEST_GAP_S = 20.0
"""No written rest or long note is waited through for longer. Own choice, as
``LONGEST_SILENCE_S``."""
LEFT_OUT_ONSETS = 2
"""So many onsets passed over after a rest, and two played from there: the window was left, and
entered again farther on. Own choice, because who only skips goes on, and one may be a slip."""
IN_TIME = 1.5
"""But where the rest is as long as what was passed over, within this ratio, it was left out in
time. Own choice, as ``REST_GAPS``."""
AFTER_ORNAMENT_S, LONG_AFTER_ORNAMENT_S = 0.25, 0.5
"""After an ornament on the last note, and such a silence, two onsets of the window's beginning are
no more of its keys; the first one alone is none after the longer. Own choice, because a learner's
trill has some five keys a second, and a slow one two."""
RIGHT_AFTER_REST, RIGHT_AMID = 2, 3
"""So many right keys begin a repetition where the first one was not right: at the beginning and
after a rest, and otherwise. Own choice, because in other music one key in a few fits by chance."""
FEW_NOTES = 4
"""So many notes come by chance, one after the other, in other music. Own choice, because a chord of
three and its octave are four, and broken chords are what hands play that wait."""
FAR_TOO_FAST = 3.0
"""More than so many times faster than asked for, and than the piece's own tempo, such a window
needs a rest before it and after it. Own choice, because who plays three times as fast as asked
plays it for fun, and a chord is broken faster than melodies are played."""
SURE_SHARE = 0.75
"""While other keys go on of which it was said what they are, so many have to be right. Own choice,
because a scale touches every other note of a window by chance."""
DOUBTFUL_SHARE = 0.75
"""With no more than this share of the onsets before it played, or of the keys right, the last one
may be another. Own choice, because a repetition with every fourth note wrong is still one."""
ENDING_ONSETS = 3
"""But where the last so many onsets came right, one after the other, the end was reached; one less
where the last one's keys come nowhere before in the window. Own choice, because of fewer the last
may be another."""
LEAST_SHARE = 0.5
"""With no more than this share of them it is no end that only a silence shows. Own choice, because
where half is wanting the keys may as well be something else."""
ENOUGH_KEYS = 8
"""After so many keys that do not fit it is said that this is not the window. Own choice, because
that is about a bar, and a learner wants to know soon."""
RIGHT_BY_CHANCE = 4
"""After a stop no more than one key of so many fits by chance. Own choice, because of a scale in
another key about one in four is in the window."""
LOST_OF = 12
"""Of the last so many keys,"""
LOST_KEYS = 10
"""so many that belong nowhere mean that something else is being played. Own choice, because even a
take with many mistakes has more right keys than that."""


def find_opening_pitches(score: ScoreArrays) -> frozenset[int]:
    """The keys with which the window begins, small notes before the first onset included."""
    end = 1
    while end < len(score.beat) and all(score.small[: score.first[end]]):
        end += 1
    return frozenset(score.pitch[: score.first[end]])


def count_right(keys: Labels) -> int:
    """How many keys are right."""
    return sum(label in (Label.MATCHED, Label.REPEATED) for label, _ in keys)


def is_begun(score: ScoreArrays, keys: Labels, fresh: bool) -> bool:
    """Whether the keys so far are the beginning of a repetition.

    After a silence the first right key is enough, so that its mark comes at once. Without one,
    or where the first keys are wrong, it takes two right keys, three where the window was entered
    from its middle, and half of all keys right.
    """
    right = count_right(keys)
    if fresh and keys[0][0] is Label.MATCHED and score.onset[keys[0][1]] == 0:
        return True
    entered = min((score.onset[note] for _, note in keys if note >= 0), default=0)
    wanted = RIGHT_AFTER_REST if entered <= 1 and fresh else RIGHT_AMID
    onsets = {score.onset[note] for label, note in keys if label is Label.MATCHED}
    few = len(score.beat) == 1
    return right >= wanted and right * 2 >= len(keys) and (few or len(onsets) > 1)


def is_plainly_begun(score: ScoreArrays, keys: Labels) -> bool:
    """Whether amid other keys that go on most are right, from the first one that fits, and hardly
    a note between them is left out."""
    fitting = list(dropwhile(lambda key: key[0] is not Label.MATCHED, keys))
    struck = {note for _, note in fitting if note >= 0}
    if not struck:
        return False
    first, last = score.onset[min(struck)], score.onset[max(struck)]
    # Of the window's first chord some keys may have come before, and of the last they may yet come.
    due = range(score.first[max(first, 1)], score.first[last])
    left_out = len(set(due) - struck)
    slips = left_out + len(fitting) - count_right(fitting)
    return slips <= (1 - SURE_SHARE) * len(fitting)


def is_wrong_first(
    score: ScoreArrays, onsets: Sequence[int], take: Sequence[PlayedNote], before: PlayedNote
) -> bool:
    """Whether a key before the take was struck for the first onset: the take begins with the
    second, and that came when it was due, by the third.

    ``onsets``: which each key of the take was struck for; -1 where for none.
    """
    at_s: dict[int, float] = {}
    for onset, key in zip(onsets, take, strict=False):
        at_s.setdefault(onset, key.onset_s)
    if not onsets or onsets[0] != 1 or 0 in at_s or 2 not in at_s:
        return False
    beats, later_beats = score.beat[1] - score.beat[0], score.beat[2] - score.beat[1]
    due_s = beats / later_beats * (at_s[2] - at_s[1]) if later_beats else 0.0
    return _is_about(at_s[1] - before.onset_s, due_s)


def count_strokes(take: Sequence[PlayedNote]) -> int:
    """How many strokes of the hands: keys of a chord go down together."""
    pairs = pairwise(note.onset_s for note in take)
    return bool(take) + sum(after - before >= ONE_STROKE_S for before, after in pairs)


def find_last_rest(take: Sequence[PlayedNote], rest_s: float) -> int:
    """The first key after the last silence so long; 0 where there was none."""
    gaps = enumerate(pairwise(note.onset_s for note in take))
    return max((at + 1 for at, (before, after) in gaps if after - before >= rest_s), default=0)


def is_turned_round(score: ScoreArrays, take: Sequence[PlayedNote]) -> bool:
    """Whether of a window of equal chords all came, and a long gap where a shorter one is written.

    Only their times tell which of them is the first: it was another, and one is wanting yet.
    """
    size = score.first[1]
    chords = [score.pitch[low:high] for low, high in pairwise(score.first)]
    if any(chord != chords[0] for chord in chords) or len(take) != len(score.pitch):
        return False
    written = [after - before for before, after in pairwise(score.beat)]
    when = [note.onset_s for note in take[::size]]
    gaps = [after - before for before, after in pairwise(when)]
    return any(
        long > short and gap_of_short * long > TURNED_ROUND * gap_of_long * short
        for long, gap_of_long in zip(written, gaps, strict=True)
        for short, gap_of_short in zip(written, gaps, strict=True)
    )


def find_own_period_s(score: ScoreArrays, whole: Sequence[PlayedNote]) -> float:
    """Seconds in a beat of the whole window, played key for key; 0 where too few gaps tell it.

    The median of its gaps: one rest among them changes nothing.
    """
    when = [whole[at].onset_s for at in score.first[:-1]]
    gaps = zip(pairwise(when), pairwise(score.beat), strict=True)
    periods = [(after - before) / (later - sooner) for (before, after), (sooner, later) in gaps]
    return median(periods) if len(periods) >= TELLING_GAPS else 0.0


def is_far_too_fast(
    score: ScoreArrays, whole: Sequence[PlayedNote], periods_s: Iterable[float]
) -> bool:
    """Whether the whole window, played key for key, has few notes, and they came far faster than at
    all these tempi (seconds in a beat): in other music they may come so by chance."""
    took_s = whole[-1].onset_s - whole[0].onset_s
    written_s = (score.beat[-1] - score.beat[0]) * min(periods_s)
    return len(whole) <= FEW_NOTES and took_s * FAR_TOO_FAST < written_s


def most_keys(score: ScoreArrays) -> int:
    """More keys are no repetition: a cat, or a knee on the keyboard."""
    return max(MOST_KEYS_A_NOTE * len(score.pitch), LEAST_MOST_KEYS)


def find_stroke(take: Sequence[PlayedNote], openers: frozenset[int], at_s: float) -> int:
    """The first of the last keys that are of one stroke with a key struck now, to begin with."""
    first = len(take)
    while first and at_s - take[first - 1].onset_s < ONE_STROKE_S:
        first -= 1
    return first if all(note.pitch in openers for note in take[first:]) else len(take)


def find_first_key(keys: Labels, take: Sequence[PlayedNote]) -> int:
    """The first key that may belong to the repetition: what came well before its first note
    was played before the window."""
    belongs = next((at for at, (_, note) in enumerate(keys) if note >= 0), 0)
    begun_s = take[belongs].onset_s
    return next(at for at, note in enumerate(take) if begun_s - note.onset_s < STRAY_S)


def find_restart(
    score: ScoreArrays, trace: Trace, take: Sequence[PlayedNote], openers: frozenset[int]
) -> tuple[FollowerInput, int] | None:
    """Whether the pianist went back to the window's start and on from there, and with which key.

    After a first onset alone, and a stop, already the key struck again tells.
    """
    if not trace.pass_key:
        return _find_trial(trace, take, openers)
    if trace.pass_note or trace.left_at < 0:
        return None
    here = {score.onset[n] for n, key in trace.current.items() if key >= trace.pass_key}
    stopped_s = take[trace.pass_key].onset_s - take[trace.pass_key - 1].onset_s
    is_trial = trace.left_at == 0 and stopped_s >= FALSE_START_S
    if len(here) < TELLING_ONSETS and not is_trial:
        return None
    at = trace.pass_key
    while at > 1 and take[at].onset_s - take[at - 1].onset_s < ONE_STROKE_S:
        at -= 1  # another key of the same chord
    is_short = trace.left_at < TELLS_NOTHING and count_strokes(take[:at]) <= TELLS_NOTHING
    return (FollowerInput.FALSE_START if is_short else FollowerInput.BEGUN_AGAIN), at


def _find_trial(
    trace: Trace, take: Sequence[PlayedNote], openers: frozenset[int]
) -> tuple[FollowerInput, int] | None:
    """Whether the first keys were tried, and only those after them begin the window."""
    at = find_first_key(trace.keys, take)
    stopped_s = take[at].onset_s - take[at - 1].onset_s if at else 0.0
    tried = all(note.pitch in openers for note in take[:at])
    if at and (tried or stopped_s >= FALSE_START_S):
        return FollowerInput.FALSE_START, at
    return None


def is_lost(score: ScoreArrays, keys: Labels, take: Sequence[PlayedNote]) -> bool:
    """Whether the last keys belong to something else than this window."""
    if len(keys) < LOST_KEYS:
        return False
    first = max(len(keys) - LOST_OF, 0)
    return (
        sum(_is_strange(score, keys[at], take[at]) for at in range(first, len(keys))) >= LOST_KEYS
    )


def _is_strange(score: ScoreArrays, key: tuple[Label, int], played: PlayedNote) -> bool:
    """A key too many, or one that is no likely slip (a fourth, an octave) for its note."""
    label, note = key
    if label is not Label.WRONG:
        return label is Label.EXTRA
    return is_wild(played.pitch - score.pitch[note])


def count_beyond(keys: Labels, take: Sequence[PlayedNote]) -> int:
    """Strokes since the last key that fits: they may stand for as many onsets."""
    strange = next((at for at, key in enumerate(reversed(keys)) if key[1] >= 0), len(keys))
    return count_strokes(take[len(take) - strange :])


def silence_s(score: ScoreArrays, fronts: Iterable[int], beyond: int, period_s: float) -> float:
    """How long a silence breaks a repetition off here.

    Three seconds, or two and a half times the written gap and a second and a half more, up to
    twenty seconds: long enough to find the next note, too long for a rest. ``fronts``: the onsets
    that may have been reached, and ``beyond`` so many onsets after them.
    """
    last = len(score.beat) - 1
    gap = max(
        score.beat[at + 1] - score.beat[at] if at < last else 1.0
        for front in fronts
        for at in range(min(front, last), min(front + beyond, last) + 1)
    )
    return min(max(SILENCE_S, SILENCE_GAPS * gap * period_s + SILENCE_MORE_S), LONGEST_SILENCE_S)


def rest_s(score: ScoreArrays, usual_s: float) -> float:
    """How long a silence between keys is a rest: longer than the next written onset is away.

    Whoever plays on past the window's end, or begins before it, goes on in time.
    """
    return min(max(FRESH_S, REST_GAPS * _find_longest_gap(score) * usual_s), LONGEST_REST_S)


def is_doubtful(score: ScoreArrays, hypothesis: Hypothesis, keys: Labels, share: float) -> bool:
    """Whether no more than a share of the onsets before the last was played, or of the keys right.

    Then the keys may be the window's first ones, struck again: the next key will tell.
    """
    last, done = len(score.beat) - 1, hypothesis.done
    if not last:
        return False
    if _ends_right(score, keys):
        return False
    played = sum(
        bool(done >> score.first[at] & (1 << score.first[at + 1] - score.first[at]) - 1)
        for at in range(last)
    )
    return played <= share * last or count_right(keys) <= share * len(keys)


def _is_last_alone(score: ScoreArrays) -> bool:
    """Whether the last onset's keys come nowhere before in the window."""
    end = score.first[len(score.beat) - 1]
    return not set(score.pitch[:end]) & set(score.pitch[end:])


def _ends_right(score: ScoreArrays, keys: Labels) -> bool:
    """Whether the last keys are the window's last notes, all of them right."""
    onsets = ENDING_ONSETS - _is_last_alone(score)
    first = score.first[max(len(score.beat) - onsets, 0)]
    ending = keys[len(keys) - (len(score.pitch) - first) :]
    wanted = set(range(first, len(score.pitch)))
    return all(label is Label.MATCHED for label, _ in ending) and wanted == {n for _, n in ending}


def find_entry_ahead(
    score: ScoreArrays,
    exact: ExactMatcher,
    keys: Labels,
    take: Sequence[PlayedNote],
    rest_s: float,
    usual_s: float,
) -> int | None:
    """The key with which, after a rest, the window was entered farther on than it was left.

    ``usual_s``: seconds in a beat, where only one onset came before the rest.
    """
    if len(keys) < len(take) or not (at := find_last_rest(take, rest_s)):
        return None
    jump = _find_exact_jump(exact, take, at) or _find_jump(score, keys, at)
    if jump is None or jump.entered - jump.left - 1 < LEFT_OUT_ONSETS:
        return None
    beats = score.beat[jump.left] - score.beat[jump.begun]
    period_s = (take[at - 1].onset_s - take[0].onset_s) / beats if beats else usual_s
    written_s = (score.beat[jump.entered] - score.beat[jump.left]) * period_s
    return None if _is_in_time(take, at, written_s) else at


def goes_on_in_time(
    score: ScoreArrays, keys: Labels, take: Sequence[PlayedNote], at: int, period_s: float
) -> bool:
    """Whether it was gone on with a key, onsets left out or not, and it came when it was due."""
    (before, left), (label, entered) = keys[at - 1], keys[at]
    if not before is label is Label.MATCHED:
        return False
    left, entered = score.onset[left], score.onset[entered]
    written_s = (score.beat[entered] - score.beat[left]) * period_s
    return entered > left and _is_in_time(take, at, written_s)


def _is_in_time(take: Sequence[PlayedNote], at: int, written_s: float) -> bool:
    """Whether a key came about as long after the one before it as is written."""
    return _is_about(take[at].onset_s - take[at - 1].onset_s, written_s)


def _is_about(gap_s: float, written_s: float) -> bool:
    return written_s / IN_TIME < gap_s < written_s * IN_TIME


class _Jump(NamedTuple):
    """From where to where it was played, and from where it was played on, as onsets."""

    begun: int
    left: int
    entered: int


def _find_exact_jump(exact: ExactMatcher, take: Sequence[PlayedNote], at: int) -> _Jump | None:
    """The jump before a key, where all is exactly as written."""
    if not exact.is_beginning(take[:at]):
        return None
    left = exact.find_last_onset([note.pitch for note in take[:at]], 0)
    then = exact.find_run(take[at:], None)
    return None if then is None or left is None else _Jump(0, left, then.first)


def _find_jump(score: ScoreArrays, keys: Labels, at: int) -> _Jump | None:
    """The same by the labels."""
    after = {score.onset[note] for label, note in keys[at:] if label is Label.MATCHED}
    before = [score.onset[note] for label, note in keys[:at] if label is Label.MATCHED]
    if not before or len(after) < TELLING_ONSETS or count_right(keys[at:]) < len(keys) - at:
        return None
    return _Jump(min(before), max(before), min(after))


def find_end_key(score: ScoreArrays, trace: Trace) -> int | None:
    """The key with which all of the last onset was played, where it may go on as an ornament."""
    last = range(score.first[-2], len(score.pitch))
    if not any(score.free[note] for note in last) or any(n not in trace.current for n in last):
        return None
    return max(trace.current[note] for note in last)


def gap_s(score: ScoreArrays, period_s: float, slower: float = 1.0) -> float:
    """How long a silence may still lie between two neighbouring onsets of the window.

    ``slower``: how many times slower than the period it may be played.
    """
    return min(REST_GAPS * slower * _find_longest_gap(score) * period_s, LONGEST_GAP_S)


def count_before_stop(
    score: ScoreArrays, keys: Labels, take: Sequence[PlayedNote], period_s: float
) -> int:
    """How many keys came before a stop after which none was for the window, and some far from it:
    what was begun again then was begun with them."""
    right = (Label.MATCHED, Label.REPEATED)
    for last in range(len(keys) - 2, -1, -1):
        if keys[last][0] in right and _is_left_after(score, keys, take, last, period_s):
            return last + 1
    return len(keys)


def _is_left_after(
    score: ScoreArrays, keys: Labels, take: Sequence[PlayedNote], last: int, period_s: float
) -> bool:
    """Whether a stop came after a right key, and then hardly a key that fits, and some far off."""
    onset = score.onset[keys[last][1]] + 1
    after = keys[last + 1 :]
    if onset == len(score.beat) or count_right(after) * RIGHT_BY_CHANCE > len(after):
        return False
    due_s = (score.beat[onset] - score.beat[onset - 1]) * period_s
    if take[last + 1].onset_s - take[last].onset_s < SILENCE_GAPS * due_s:
        return False
    due = score.pitch[score.first[onset] : score.first[onset + 1]]
    return any(all(is_wild(key.pitch - pitch) for pitch in due) for key in take[last + 1 :])


def count_to_end(score: ScoreArrays, keys: Labels) -> int | None:
    """How many keys it was to the window's end, where it was reached before other keys came."""
    last = len(score.beat) - 1
    ends = [
        at for at, (label, note) in enumerate(keys)
        if label is Label.MATCHED and score.onset[note] == last
    ]  # fmt: skip
    if not ends:
        return None
    upto = keys[: ends[-1] + 1]
    right = {note for label, note in upto if label is Label.MATCHED}
    is_most = len(right) > DOUBTFUL_SHARE * max(len(score.pitch), len(upto))
    return len(upto) if is_most else None


def _find_longest_gap(score: ScoreArrays) -> float:
    """Beats between the two neighbouring onsets that are furthest apart."""
    return max((after - before for before, after in pairwise(score.beat)), default=1.0)


def ends_wrong(
    score: ScoreArrays, keys: Labels, take: Sequence[PlayedNote], period_s: float
) -> bool:
    """Whether all notes came right but the last, and when that was due a wrong key was struck."""
    (_, before), (label, last) = keys[-2:] if len(keys) > 1 else (keys[-1], keys[-1])
    is_last = label is Label.WRONG and last == len(score.pitch) - 1 > before >= 0
    if not is_last or count_right(keys) < len(score.pitch) - 1:
        return False
    due_s = (score.beat[score.onset[last]] - score.beat[score.onset[before]]) * period_s
    return score.onset[before] < score.onset[last] and _is_in_time(take, len(take) - 1, due_s)


def end_after_s(score: ScoreArrays, hypothesis: Hypothesis, period_s: float) -> float | None:
    """How long after the last key the repetition is over; None: the end is not reached.

    With the last note of each hand played it is over at once, but for a stray key. With some of
    the last onset's notes wanting, or a hand behind, it is given a beat.
    """
    last = len(score.beat) - 1
    if max(hypothesis.right, hypothesis.left) < last or not hypothesis.done >> score.first[last]:
        return None
    if any(score.free[score.first[last] :]):
        return SPREAD_S
    hands = {0: hypothesis.right, 1: hypothesis.left}
    behind = any(
        not hypothesis.done >> note & 1 and score.onset[note] >= hands[score.hand[note]]
        for note in range(len(score.pitch))
    )
    return spread_s(period_s) if behind else STRAY_S


def spread_s(period_s: float) -> float:
    """How long what is wanting of the last onset is waited for: a beat, about."""
    return min(max(SPREAD_S, period_s), LONGEST_SPREAD_S)


# More keys than two hands can play are no playing, and nobody reads them.

MOST_KEYS = 200
"""Keys in a second, at the most. Own choice, because ten fingers that strike together seven times a
second make 70, two glissandi about as many, and both forearms, laid on the keys four times, 160."""
QUIET_S = 1.0
"""After so long without a key it may be a player again. Own choice, because whoever plays on does
not stop for so long (as ``FRESH_S``)."""


class KeyRate:
    """Tells a flood of keys from playing, by when the last of them came; nothing else is kept."""

    def __init__(self) -> None:
        self._times_s: deque[float] = deque(maxlen=MOST_KEYS)
        self._last_s = -inf
        self.is_flood = False
        """Whether more keys come than two hands can play, until there is a silence."""

    def count_key(self, at_s: float) -> None:
        """A key went down."""
        if at_s - self._last_s >= QUIET_S:
            self.is_flood = False
            self._times_s.clear()
        self._last_s = at_s
        is_full = len(self._times_s) == MOST_KEYS
        self.is_flood = self.is_flood or (is_full and at_s - self._times_s[0] < 1.0)
        self._times_s.append(at_s)
