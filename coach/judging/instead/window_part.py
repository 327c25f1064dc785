"""Which of the keys were for the window, where others were played before it or after it.

Whoever leads in from the bar before, goes on past the end, or warms the fingers up first, plays the
window all the same. So the keys are cut in two where that explains them best: one part is the
window as far as it came, the other what is written before or after it, or a filler (see
``other_music``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from math import inf
from typing import NamedTuple

from coach.judging.instead.key_sequence import (
    count_fewest_errors,
    list_errors_to_end,
    order_in_strokes,
)
from coach.judging.instead.recognise import recognise_hand_alone, recognise_other
from coach.judging.instead.surroundings import STRANGE_SHARE, Surroundings
from coach.judging.model import Judgement, Label, Matching, PlayedLabel, ScoreLabel
from coach.playing.notes import ONE_STROKE_S, PlayedNote
from coach.score.window import Excerpt

MOST_SHARE = 0.6
"""The window was played where so much of it came as it is written. Own choice, because with fewer
keys right nobody would call it that."""

STOP_S, STOP_GAPS = 2.0, 2.5
"""A stop is so long at the least, and so many times as long as any gap before it. Own choice,
because learners stretch time by less where they go on."""
FEWEST_KEPT = 3
"""So many keys tell, before a stop as after it. Own choice, because one or two may be slips."""
PASSED_ONSETS = 2
"""So many onsets passed over after keys of which none is right: these were something else. Own
choice, because one may be left out on the way."""
FALSE_START_S = 0.8
"""A first onset alone, left for this long and struck again, was a trial of the sound. Own choice,
because it is longer than a beat at most tempi."""
_RIGHT = (Label.MATCHED, Label.REPEATED)


class Cut(NamedTuple):
    """The keys from ``first`` up to ``end`` are the window, the others are not."""

    errors: float
    """How many slips it costs at the least."""
    first: int
    end: int


def find_window_part(
    take: Sequence[PlayedNote], surroundings: Surroundings
) -> tuple[PlayedNote, ...]:
    """The keys that are most of the window, where the others are what stands right before it or
    after it; none where the window was not played."""
    order = order_in_strokes(take)
    keys = [take[at].pitch for at in order]
    cut = find_cut(keys, surroundings, inf)
    part = keys[cut.first : cut.end]
    right = len(part) - count_fewest_errors(part, surroundings.inside)
    if right < MOST_SHARE * len(surroundings.inside) or cut.errors > STRANGE_SHARE * len(keys):
        return ()
    return tuple(take[at] for at in sorted(order[cut.first : cut.end]))


def find_cut(keys: Sequence[int], surroundings: Surroundings, filler: float) -> Cut:
    """The best cut of the keys; ``filler``: what any key costs that is neither, in slips."""
    count, inside = len(keys), surroundings.inside
    errors, cut = _find_cut(keys, surroundings.before, inside, filler)
    after, kept = _find_cut(keys[::-1], surroundings.after[::-1], inside[::-1], filler)
    return min(Cut(errors, cut, count), Cut(after, 0, count - kept))


def _find_cut(keys: Sequence[int], first: bytes, then: bytes, filler: float) -> tuple[float, int]:
    """What the keys cost as a stretch up to the end of one row, or a filler, and one from the
    beginning of the next row; and how many keys are before the cut."""
    before = list_errors_to_end(keys, first)
    after = list_errors_to_end(keys[::-1], then[::-1])[::-1]
    return min(
        (min(before[cut], filler * cut) + after[cut], cut) for cut in range(1, len(keys) + 1)
    )


def find_own_keys(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    surroundings: Surroundings | None,
) -> range | None:
    """Which keys were for the window, where those before or after them plainly were not.

    None where all may have been. Whoever goes on at once past the end strikes what is written
    there; nobody leaves more of a window out at once than they play of it; what comes after a
    long stop, and is mostly not what is written there, is something else; who begins again may
    begin something else; and the first keys may be tried before. Nor do hands that strike nothing
    right enter farther on.
    """
    return (
        _find_up_to_end(excerpt, played, matching, surroundings)
        or _find_after_trial(excerpt, played, matching)
        or _find_after_strange(excerpt, matching)
        or _find_up_to_other(excerpt, played, matching)
        or _find_up_to_stop(excerpt, played, matching)
        or _find_more_than_left_out(excerpt, matching)
    )


def _find_up_to_end(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    surroundings: Surroundings | None,
) -> range | None:
    """The keys up to the window's last, where those after it are what is written next."""
    ended = [one.played for one in matching.played if one.note is not None]
    last = matching.played[ended[-1]] if ended else None
    if surroundings is None or last is None or last.label is not Label.MATCHED:
        return None
    on = played[last.played + 1 :]
    numbers = excerpt.onset_numbers
    is_over = last.note is not None and numbers[last.note] == numbers[-1]
    is_later = bool(on) and on[0].onset_s - played[last.played].onset_s >= ONE_STROKE_S
    goes_on = is_over and is_later and surroundings.goes_on_with(on)
    return range(last.played + 1) if goes_on else None


def _find_after_trial(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching
) -> range | None:
    """The keys from the first that is for a note on, where the first chord was tried before."""
    beginnings = (Label.MATCHED, Label.WRONG)
    begun = next((one.played for one in matching.played if one.label in beginnings), 0)
    if not begun or played[begun].onset_s - played[begun - 1].onset_s < FALSE_START_S:
        return None
    before = matching.played[:begun]
    if any(one.note is not None and excerpt.onset_numbers[one.note] for one in before):
        return None  # more than that was begun
    tried = {key.pitch for key in played[:begun]}
    return range(begun, len(played)) if tried <= _list_first_keys(excerpt) else None


def _find_after_strange(excerpt: Excerpt, matching: Matching) -> range | None:
    """The keys from the first right one on, where the window was entered with it and those before
    it are no slips of what is written before."""
    count = len(matching.played)
    entered = next((one.played for one in matching.played if one.label in _RIGHT), count)
    if not FEWEST_KEPT <= entered < count:
        return None
    numbers = [
        excerpt.onset_numbers[one.note]
        for one in matching.played[: entered + 1]
        if one.note is not None
    ]
    before = max(numbers[:-1], default=-1)
    return range(entered, count) if numbers[-1] - before > PASSED_ONSETS else None


def _find_up_to_other(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching
) -> range | None:
    """The keys up to where it was begun again, with one hand alone or in another octave."""
    again = [one.played for one in matching.played if one.label is Label.REPEATED]
    since = again[-1] + 1 if again else 0
    other = recognise_other(excerpt, played[since:]) if 0 < since < len(played) else None
    return range(since) if other is not None else None


def _list_first_keys(excerpt: Excerpt) -> set[int]:
    rows = zip(excerpt.notes, excerpt.onset_numbers, strict=True)
    return {note.pitch for note, number in rows if not number}


def _find_up_to_stop(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching
) -> range | None:
    """The keys up to a stop, where they are right and those after it mostly are not, or are one
    hand's alone; or where only the first keys come after it, for a trial."""
    steps = (after.onset_s - before.onset_s for before, after in pairwise(played))
    longest_s = 0.0
    for at, gap_s in enumerate(steps, 1):
        if gap_s >= max(STOP_S, STOP_GAPS * longest_s):
            return range(at) if _is_left_at(excerpt, played, matching, at) else None
        longest_s = max(longest_s, gap_s)
    return None


def _is_left_at(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, at: int
) -> bool:
    """Whether all was right up to a key, and the window was left with it."""
    after = matching.played[at:]
    if at < FEWEST_KEPT or any(one.label not in _RIGHT for one in matching.played[:at]):
        return False
    right = len({one.note for one in after if one.label is Label.MATCHED})
    if _is_one_grip(excerpt, played[at:], after) or _is_hand_alone(excerpt, matching, at):
        return True
    first = _list_first_keys(excerpt)
    is_trial = not right and first.issuperset(key.pitch for key in played[at:])
    return is_trial or (len(after) >= FEWEST_KEPT and 2 * right < len(after))


def _is_hand_alone(excerpt: Excerpt, matching: Matching, at: int) -> bool:
    """Whether from a key on one hand played alone, all of it right."""
    score = tuple(
        one if one.played is not None and one.played >= at else ScoreLabel(one.note, Label.MISSED)
        for one in matching.score
    )
    after = Matching(score, matching.played[at:], matching.doubtful)
    return recognise_hand_alone(excerpt, after) is not None


def _is_one_grip(
    excerpt: Excerpt, keys: Sequence[PlayedNote], labels: Sequence[PlayedLabel]
) -> bool:
    """Whether notes of several onsets went down at once, and other keys with them."""
    numbers = excerpt.onset_numbers
    onsets = {numbers[one.note] for one in labels if one.note is not None}
    is_other = any(one.label is Label.EXTRA for one in labels)
    steps = pairwise(key.onset_s for key in keys)
    return is_other and len(onsets) > 1 and all(b - a < ONE_STROKE_S for a, b in steps)


def _find_more_than_left_out(excerpt: Excerpt, matching: Matching) -> range | None:
    """The keys on the larger side of a place where more was left out than was played in all."""
    numbers = excerpt.onset_numbers
    struck = [(numbers[one.note], one.played) for one in matching.score if one.played is not None]
    struck.sort()
    for (before, _), (after, first) in pairwise(struck):
        if sum(before < number < after for number in numbers) > len(struck):
            is_before = 2 * sum(key < first for _, key in struck) >= len(struck)
            return range(first) if is_before else range(first, len(matching.played))
    return None


def add_other_keys(judgement: Judgement, part: Sequence[int], count: int) -> Judgement:
    """The judgement on a part of ``count`` keys as one on all of them: the others count nothing."""
    played = [PlayedLabel(key, Label.EXTRA) for key in range(count)]
    for label in judgement.played:
        played[part[label.played]] = label._replace(played=part[label.played])
    score = tuple(
        label if label.played is None else label._replace(played=part[label.played])
        for label in judgement.score
    )
    return replace(judgement, score=score, played=tuple(played))
