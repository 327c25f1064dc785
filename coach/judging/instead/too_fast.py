"""The rate of onsets, where hands can't play so fast: no repetition, however right the keys."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from coach.judging.model import Label, Matching
from coach.playing.notes import PlayedNote
from coach.score.model import FREE_MARKS, Hand, NoteMark
from coach.score.window import Excerpt

MOST_ONSETS_S = 30.0
"""Onsets a second over a whole bar: two hands that take turns reach about so many. Own choice: the
fastest single fingers tap some seven times a second, a trained trill has some fifteen notes."""
MANY_ONSETS, MOST_OF_MANY_S = 3, 20.0
"""Of so many onsets or more nobody plays so many a second where nothing like it is written; of two,
one may come too soon. Own choice."""
CLUSTER_ONSETS, CLUSTER_HASTE = 4, 2.0
"""So many onsets anywhere, so many times faster than that, were one grip of the hand. Own choice:
of three, two may have slipped together, and a learner's hands stumble at half of it at the most."""
AS_WRITTEN = 2.0
"""Where the score itself asks for more than half of that, so many times its own rate is allowed.
Own choice, because nobody practises at more than twice the tempo."""
HAND_ONSETS, HAND_AS_WRITTEN = 8, 1.25
"""But so many onsets of one hand it plays at ``MOST_OF_MANY_S`` and no faster, or at so many times
what is written where that is more. Own choice: a trained trill has some fifteen notes a second."""
STRUCK_SHARE = 0.6
"""How much of a bar's onsets has to be struck for its rate to mean anything. Own choice, because
of fewer nobody can say how fast the bar went by."""

ONE_ONSET = FREE_MARKS - {NoteMark.GLISSANDO}
"""Ornaments that lie between their neighbours, as written."""


def is_too_fast(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, qpm: float | None = None
) -> bool:
    """Whether a whole bar, or the whole window, went by faster than hands play, or a few onsets
    of it were struck in one grip.

    The times of small notes and free ornaments are left out, and a rolled chord begins with its
    first key.
    """
    when = _list_onset_times(excerpt, played, matching)
    least_s = 1 / MOST_OF_MANY_S
    ornaments = _list_struck_ornaments(excerpt, matching)
    in_time = all(after - before >= least_s for before, after in pairwise(when.values()))
    if in_time and not ornaments:
        return False
    quarter_s = 60.0 / max(qpm or 0.0, excerpt.qpm)
    if _has_cluster(excerpt, when, quarter_s):
        return True
    return any(
        _is_too_fast_in(excerpt, matching, when, ornaments, stretch, quarter_s)
        or any(_is_hand_too_fast(excerpt, when, hand, stretch, quarter_s) for hand in Hand)
        for stretch in _list_bars(excerpt)
    )


def _is_hand_too_fast(
    excerpt: Excerpt,
    when: dict[int, float],
    hand: Hand,
    stretch: tuple[Fraction, Fraction],
    quarter_s: float,
) -> bool:
    """Whether the onsets of one hand alone, in a row, came faster than one hand plays."""
    low, high = stretch
    written = sorted(
        {
            number
            for note, number in zip(excerpt.notes, excerpt.onset_numbers, strict=True)
            if note.hand is hand and low <= note.onset_quarters <= high
        }
    )
    struck = [number for number in written if number in when]
    if len(struck) < max(HAND_ONSETS, STRUCK_SHARE * len(written)):
        return False
    times_s = [when[number] for number in struck]
    as_written = HAND_AS_WRITTEN * _find_written_rate(excerpt, struck, quarter_s)
    most = max(MOST_OF_MANY_S, as_written)
    return len(struck) - 1 > most * (max(times_s) - min(times_s))


def _list_onset_times(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching
) -> dict[int, float]:
    """When each onset that was played right began, by its number."""
    when: dict[int, float] = {}
    notes = excerpt.notes
    for label, number in zip(matching.score, excerpt.onset_numbers, strict=True):
        key = label.played
        if key is None or label.label is not Label.MATCHED:
            continue
        note = notes[label.note]
        if note.grace is None and not note.is_free:
            at = played[key].onset_s
            if number not in when or at < when[number]:
                when[number] = at
    return when


def _list_struck_ornaments(excerpt: Excerpt, matching: Matching) -> set[int]:
    """The numbers of the onsets of which only an ornament was played right.

    When exactly it began is not known, as its first key may be another; that it lay between its
    neighbours is.
    """
    struck = set()
    for label, number in zip(matching.score, excerpt.onset_numbers, strict=True):
        note = excerpt.notes[label.note]
        if label.label is Label.MATCHED and note.marks & ONE_ONSET and not note.is_small_print:
            struck.add(number)
    return struck


def _list_bars(excerpt: Excerpt) -> Iterator[tuple[Fraction, Fraction]]:
    """From the beginning of each whole bar to that of the next, and the whole window."""
    starts = [
        onset
        for at, (onset, place) in enumerate(
            zip(excerpt.grid_quarters, excerpt.places, strict=False)
        )
        if (place.bar_index != excerpt.places[at - 1].bar_index if at else place.beat == 1)
    ]
    yield from pairwise(starts)
    yield excerpt.onsets_quarters[0], excerpt.onsets_quarters[-1]


def _is_too_fast_in(
    excerpt: Excerpt,
    matching: Matching,
    when: dict[int, float],
    ornaments: set[int],
    stretch: tuple[Fraction, Fraction],
    quarter_s: float,
) -> bool:
    low, high = stretch
    written = [i for i, on in enumerate(excerpt.onsets_quarters) if low <= on <= high]
    timed = [number for number in written if number in when]
    if len(timed) < 2:
        return False
    struck = [n for n in written if n in when or (n in ornaments and timed[0] < n < timed[-1])]
    if len(struck) < STRUCK_SHARE * len(written):
        return False
    if len(written) == 2 and not _all_right(excerpt, matching, written):
        return False  # one chord of which a key was taken for the next
    times_s = [when[number] for number in timed]
    span_s = max(times_s) - min(times_s)
    least = MOST_OF_MANY_S if len(struck) >= MANY_ONSETS else MOST_ONSETS_S
    most = max(least, AS_WRITTEN * _find_written_rate(excerpt, written, quarter_s))
    return len(struck) - 1 > most * span_s


def _has_cluster(excerpt: Excerpt, when: dict[int, float], quarter_s: float) -> bool:
    """Whether a few onsets, one after the other, came in a fraction of the time that they need."""
    numbers = sorted(when)
    for at in range(len(numbers) - CLUSTER_ONSETS + 1):
        few = numbers[at : at + CLUSTER_ONSETS]
        times_s = [when[number] for number in few]
        as_written = AS_WRITTEN * _find_written_rate(excerpt, few, quarter_s)
        most = max(CLUSTER_HASTE * MOST_OF_MANY_S, as_written)
        if most * (max(times_s) - min(times_s)) < CLUSTER_ONSETS - 1:
            return True
    return False


def _find_written_rate(excerpt: Excerpt, numbers: Sequence[int], quarter_s: float) -> float:
    """Onsets a second from the first of these onsets to the last, as written."""
    onsets = excerpt.onsets
    return (len(numbers) - 1) / ((onsets[numbers[-1]] - onsets[numbers[0]]) * quarter_s)


def _all_right(excerpt: Excerpt, matching: Matching, numbers: Sequence[int]) -> bool:
    return all(
        label.label is Label.MATCHED
        for label, number in zip(matching.score, excerpt.onset_numbers, strict=True)
        if number in numbers
    )
