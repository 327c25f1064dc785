"""The rate of onsets, where hands can't play so fast: no repetition, however right the keys."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from coach.judging.model import Label, Matching
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt

MOST_ONSETS_S = 30.0
"""Onsets a second over a whole bar: two hands that take turns reach about so many. Own choice: the
fastest single fingers tap some seven times a second, a trained trill has some fifteen notes."""
MANY_ONSETS, MOST_OF_MANY_S = 4, 20.0
"""Of so many onsets or more nobody plays so many a second where nothing like it is written; of two
or three, one may come too soon. Own choice."""
AS_WRITTEN = 2.0
"""Where the score itself asks for more than half of that, so many times its own rate is allowed.
Own choice, because nobody practises at more than twice the tempo."""
STRUCK_SHARE = 0.6
"""How much of a bar's onsets has to be struck for its rate to mean anything. Own choice, because
of fewer nobody can say how fast the bar went by."""


def is_too_fast(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, qpm: float | None = None
) -> bool:
    """Whether a whole bar, or a whole window shorter than one, went by faster than hands play.

    Small notes and free ornaments are left out, and a rolled chord begins with its first key.
    """
    when = _list_onset_times(excerpt, played, matching)
    least_s = 1 / MOST_OF_MANY_S
    if all(after - before >= least_s for before, after in pairwise(when.values())):
        return False
    quarter_s = 60.0 / max(qpm or 0.0, excerpt.qpm)
    return any(
        _is_too_fast_in(excerpt, matching, when, stretch, quarter_s)
        for stretch in _list_bars(excerpt)
    )


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


def _list_bars(excerpt: Excerpt) -> Iterator[tuple[Fraction, Fraction]]:
    """From the beginning of each whole bar to that of the next; then the whole window."""
    starts = [
        onset
        for at, (onset, place) in enumerate(
            zip(excerpt.grid_quarters, excerpt.places, strict=False)
        )
        if (place.bar_index != excerpt.places[at - 1].bar_index if at else place.beat == 1)
    ]
    yield from pairwise(starts)
    if len(starts) < 2:
        yield excerpt.onsets_quarters[0], excerpt.onsets_quarters[-1]


def _is_too_fast_in(
    excerpt: Excerpt,
    matching: Matching,
    when: dict[int, float],
    stretch: tuple[Fraction, Fraction],
    quarter_s: float,
) -> bool:
    low, high = stretch
    written = [i for i, on in enumerate(excerpt.onsets_quarters) if low <= on <= high]
    struck = [when[number] for number in written if number in when]
    if len(struck) < max(2, STRUCK_SHARE * len(written)):
        return False
    if len(written) == 2 and not _all_right(excerpt, matching, written):
        return False  # one chord of which a key was taken for the next
    span_s = max(struck) - min(struck)
    onsets = excerpt.onsets
    as_written_s = (onsets[written[-1]] - onsets[written[0]]) * quarter_s
    least = MOST_OF_MANY_S if len(struck) >= MANY_ONSETS else MOST_ONSETS_S
    most = max(least, AS_WRITTEN * (len(written) - 1) / as_written_s)
    return len(struck) - 1 > most * span_s


def _all_right(excerpt: Excerpt, matching: Matching, numbers: Sequence[int]) -> bool:
    return all(
        label.label is Label.MATCHED
        for label, number in zip(matching.score, excerpt.onset_numbers, strict=True)
        if number in numbers
    )
