"""What was played instead: something a teacher would name at once, which is no repetition.

A likelihood ratio test between rows of keys, each compared by its longest common subsequence with
the keys played.

The hand lies an octave off, the piano's transpose is on, a clef was forgotten, one hand plays where
both are asked, or the other one. Whoever plays so makes no mistakes of the notes: what has to be
said is one sentence, with the remedy. So nothing of it is evidence.

How it is recognised
--------------------
Each such way of playing gives another row of keys than is written (``alternatives``). It is taken
for the one that was meant where nearly all of it was played, and the keys agree with it so much
better than with what is written that slips would be a far less likely reason: each slip more that
the written keys would need counts as much as in alignment (some e^5 to 1), and each way has a
number of slips that it must save. Whatever agrees with what is written, even badly, stays a
repetition.
"""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.instead.alternatives import Alternative, Alternatives
from coach.judging.instead.key_sequence import count_onsets, find_common, order_keys
from coach.judging.model import Instead, Label, Matching, PlayedInstead
from coach.judging.wording import one_hand_words
from coach.playing.notes import PlayedNote
from coach.score.model import Hand, Hands, ScoreNote
from coach.score.window import Excerpt

# All figures here are our own choice, because nothing is published: they are set so that nothing is
# taken for one of these that was not one in the shared takes and in made windows
# (tests/test_instead.py), and no laxer than that.

STRUCK_SHARE = 0.75
"""Where so much of each hand's keys was struck, there is nothing to look for."""
FITS_SHARE = 0.75
"""How much of what was meant has to have been played,"""
KEYS_SHARE = 0.5
"""how much of all that was struck it has to explain: played over again, it is half; other music
that happens to hold the notes is less,"""
HAND_SHARE = 0.6
"""and how much of each hand's part."""
FITS_SHARE_SO_FAR = 0.8
"""The same while it is still going on."""
MOVED_SHARE = 0.65
"""How much of what was moved was played so, on the mean of all of it and of what is not explained
by what is written: some wrong keys are let pass, but hardly any that are right where they stand."""
SAVED_SHARE = 0.4
"""How many of the moved notes must not be explained by what is written, as a share."""
LEAST_ONSETS_SO_FAR = 5
"""Keys or chords one after the other from which it can be told while it is still going on:
a slip of the hand by an octave holds for four at the most in made windows."""
MANY_KEYS, MANY_KEYS_ONSETS = 8, 3
"""Of both hands so many keys in so many onsets are enough."""
BEGINNING_KEYS = 24
"""In a take more than twice as long so many keys tell first whether it may be; half of them have to
fit."""
SHORT_NOTES = 100
"""With no more notes and keys than this all of them are compared, whoever waits: some five
milliseconds;"""
LIVE_KEYS = 48
"""with more the beginning alone, while a key is waited for. Own choice, because a look at as many
takes some five milliseconds, and who plays a clef, an octave or a transposition begins with it."""
LEAST_ONSETS = 2
"""Keys or chords of which anything can be told once all is played."""
SILENT_ONSETS = 3
"""So many onsets of a hand, each between two of the other's, are none that it only missed. Own
choice, because one or two may be."""
OTHERS_SHARE = 0.5
"""So many keys too many, as a share of the other hand's notes, may be that hand."""


def recognise_live(excerpt: Excerpt, played: Sequence[PlayedNote]) -> PlayedInstead | None:
    """The same as ``recognise_other`` while a key or a tick is waited for.

    Of a long take, or in a long window, from the beginning alone: the work is bounded.
    """
    if len(excerpt.notes) + len(excerpt.other_hand) <= SHORT_NOTES and len(played) <= SHORT_NOTES:
        return recognise_other(excerpt, played)
    beginning = played[:LIVE_KEYS]
    return recognise_other(excerpt, beginning, most_onsets=2 * count_onsets(beginning))


def recognise_hand_alone(excerpt: Excerpt, matching: Matching) -> PlayedInstead | None:
    """One hand alone, all of it right, from wherever it came in; the other did not even try."""
    rows = [*zip(excerpt.notes, excerpt.onset_numbers, matching.score, strict=True)]
    struck = [(note.hand, number) for note, number, one in rows if one.played is not None]
    hands, numbers = {hand for hand, _ in struck}, {number for _, number in struck}
    is_right = all(one.label in (Label.MATCHED, Label.REPEATED) for one in matching.played)
    if len(hands) != 1 or not is_right or len(numbers) < SILENT_ONSETS:
        return None
    silent = {
        number
        for note, number, _ in rows
        if note.hand not in hands and min(numbers) < number < max(numbers)
    }
    if len(silent) < SILENT_ONSETS:
        return None
    return PlayedInstead(Instead.ONE_HAND, one_hand_words(hands.pop()))


def recognise_other(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    *,
    so_far: bool = False,
    most_onsets: int | None = None,
) -> PlayedInstead | None:
    """What was played instead of the window; None where it was the window.

    ``so_far``: the playing still goes on, and it has to be surer. ``most_onsets``: no more of the
    window's onsets are compared. Played notes are in the order of their onsets. What fits nothing
    at all is None too.
    """
    if not _needs_a_look(excerpt, played):
        return None
    count = count_onsets(played)
    if count < (MANY_KEYS_ONSETS if so_far else LEAST_ONSETS):
        return None
    keys = order_keys(played)
    alternatives = Alternatives(excerpt, keys, count if so_far else most_onsets)
    as_written = len(find_common([key for _, key, _ in alternatives.written], keys))
    likely = 0.0
    found: Alternative | None = None
    for one in alternatives.list_all():
        this = _fit_of(one, keys, as_written, so_far=so_far)
        if this is not None and this > likely:
            likely, found = this, one
    if so_far:  # with a hand that plays what is asked for it may go on as a repetition
        return found.instead if found and found.is_all else None
    return found.instead if found else alternatives.find_only_hand(as_written)


def _needs_a_look(excerpt: Excerpt, played: Sequence[PlayedNote]) -> bool:
    """Whether it is worth a closer look: a hand's keys are wanting, or there are many too many."""
    if len(played) > 2 * BEGINNING_KEYS and _lacks_keys(
        excerpt.notes[:BEGINNING_KEYS], played[:BEGINNING_KEYS]
    ):
        return True
    if _lacks_keys(excerpt.notes, played):
        return True
    others = len(excerpt.other_hand)
    return others > 0 and len(played) - len(excerpt.notes) >= OTHERS_SHARE * others


def _lacks_keys(notes: Sequence[ScoreNote], played: Sequence[PlayedNote]) -> bool:
    """Whether many keys of a hand were never struck."""
    struck = {note.pitch for note in played}
    hits = [0, 0]
    counts = [0, 0]
    for note in notes:
        hand = note.hand is Hand.LEFT
        counts[hand] += 1
        hits[hand] += note.pitch in struck
    return hits[0] < STRUCK_SHARE * counts[0] or hits[1] < STRUCK_SHARE * counts[1]


def _may_begin(row: Sequence[int], keys: Sequence[int]) -> bool:
    """Whether a long take may be this: most things are told by its beginning."""
    return 2 * len(find_common(row[: 2 * BEGINNING_KEYS], keys[:BEGINNING_KEYS])) >= BEGINNING_KEYS


def _fit_of(
    way: Alternative, keys: Sequence[int], as_written: int, *, so_far: bool
) -> float | None:
    """How well the keys agree with it, in notes; None where they don't, or as well with others."""
    row = [key for _, key, _ in way.notes]
    if len(keys) > 2 * BEGINNING_KEYS and not _may_begin(row, keys):
        return None
    got = find_common(row, keys)
    fits = FITS_SHARE_SO_FAR if so_far else FITS_SHARE
    if len(got) < max(fits * min(len(keys), len(way.notes)), KEYS_SHARE * len(keys)):
        return None
    if so_far and (way.notes[got[0]][0] > 0 or len(got) < fits * len(keys)):
        return None
    reached = way.notes[got[0] : got[-1] + 1]
    played = [way.notes[at] for at in got]
    for hand in Hand:
        wanted = sum(one[2] is hand for one in reached)
        if sum(one[2] is hand for one in played) < (fits if so_far else HAND_SHARE) * wanted:
            return None
    moved = [one for one in played if one[2] in way.moved]
    onsets = len({onset for onset, _, _ in moved})
    if onsets < way.threshold.onsets or len(moved) < way.threshold.notes:
        return None
    many = way.moved is Hands.TOGETHER and len(moved) >= MANY_KEYS
    if so_far and onsets < (MANY_KEYS_ONSETS if many else LEAST_ONSETS_SO_FAR):
        return None
    saved = len(got) - as_written
    if saved < max(way.threshold.saves + so_far, SAVED_SHARE * len(moved)):
        return None
    wanted = sum(one[2] in way.moved for one in reached)
    if len(moved) + saved < 2 * MOVED_SHARE * wanted:
        return None  # a part of it was played as it is written
    return len(got) - way.threshold.slips
