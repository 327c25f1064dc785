"""A chord that was found key by key and then struck again as a whole, and a note struck again.

To the decoder each key that is struck again is one too many, or a jump back of its own: both are
dear, so it takes what is cheapest, and a key or two of the search come out as stray ones. A pianist
hears one thing: the notes were looked for, and then the chord was played. So the last stroke that
has the whole chord counts, and its keys before that stroke are the same notes, played already.
So is a note alone that is struck again before the next one: the pianist went back to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from coach.judging.alignment.hypothesis import Labels
from coach.judging.alignment.score_arrays import ScoreArrays
from coach.judging.model import Label
from coach.playing.notes import ONE_STROKE_S, PlayedNote

STROKE_BEATS = 1 / 6
"""Keys that follow each other within this share of a beat may be one stroke, rolled: 0.1 s at a
beat of 0.6 s. Own choice, because a chord is looked for at 0.2 s a key and slower; and of the beat,
since no label may hang on how fast it all went."""
STROKE_SHARE = 1 / 5
"""Nor may keys of one stroke lie further apart than this share of the longest wait between the
keys: in a slow piece a sixth of a beat is as long as the search's own steps. Own choice."""
AGAIN_S = 0.25
"""A key that comes again sooner bounced, or was brushed. Own choice, because hardly anyone goes
back to a note so soon."""
THEN_SHARE = 0.6
"""Whoever has gone back goes on in time: so much of what is written lies before the next key, at
the least. Own choice, because a wrong key is put right at once."""
LEAST_NOTES = 2
"""Of fewer no chord is made."""
BEYOND = 1 << 30
"""Farther than any onset."""


def collect_found_chords(
    score: ScoreArrays, take: Sequence[PlayedNote], labels: Labels, period_s: float
) -> Labels:
    """The labels, with each chord that was found key by key matched to the stroke that had it.

    ``period_s`` is the take's beat.
    """
    if all(label is Label.MATCHED for label, _ in labels):
        return labels
    out = list(labels)
    matched: dict[int, list[int]] = {}
    for at, (label, note) in enumerate(labels):
        if label is Label.MATCHED and not score.free[note]:
            matched.setdefault(score.onset[note], []).append(at)
    for onset, keys in matched.items():
        if len(keys) >= LEAST_NOTES:
            _collect_chord(score, take, out, onset, keys, STROKE_BEATS * period_s)
    return out


def collect_restruck(
    score: ScoreArrays, take: Sequence[PlayedNote], labels: Labels, period_s: float
) -> Labels:
    """The labels, with each note alone that was struck again matched to its last stroke.

    Not where the next key comes too soon after that: then it was a wrong key, put right.
    """
    out = list(labels)
    for at in range(1, len(take) - 1):
        label, note = out[at - 1]
        is_again = out[at][0] is Label.EXTRA and take[at].pitch == take[at - 1].pitch
        if not is_again or label is not Label.MATCHED or not _is_alone(score, note):
            continue
        waited_s = take[at].onset_s - take[at - 1].onset_s
        then_s = take[at + 1].onset_s - take[at].onset_s
        beats = score.beat[score.onset[note] + 1] - score.beat[score.onset[note]]
        if waited_s >= AGAIN_S and then_s >= THEN_SHARE * beats * period_s:
            out[at - 1], out[at] = (Label.REPEATED, note), (Label.MATCHED, note)
    return out


def collect_chords_gone_back_to(
    score: ScoreArrays, take: Sequence[PlayedNote], labels: Labels
) -> Labels:
    """The labels, with all keys of a chord gone back to: its first ones may be due next, too, and
    seemed to go on."""
    out = list(labels)
    struck = {note for label, note in labels if label in (Label.MATCHED, Label.WRONG)}
    for at in range(len(take) - 2, -1, -1):
        (label, _), (then, note) = out[at], out[at + 1]
        is_one = take[at + 1].onset_s - take[at].onset_s < ONE_STROKE_S
        if not is_one or label is not Label.REPEATED or then is not Label.MATCHED:
            continue
        onset = score.onset[note]
        for own in range(score.first[onset], score.first[onset + 1]):
            if own not in struck and score.pitch[own] == take[at].pitch:
                out[at] = Label.MATCHED, own
                struck.add(own)
    return out


def _is_alone(score: ScoreArrays, note: int) -> bool:
    onset = score.onset[note]
    is_one = score.first[onset + 1] - score.first[onset] == 1
    return is_one and onset + 1 < len(score.beat) and not score.free[note]


def _collect_chord(
    score: ScoreArrays,
    take: Sequence[PlayedNote],
    labels: Labels,
    onset: int,
    matched: Sequence[int],
    stroke_s: float,
) -> None:
    """``matched``: the keys that are matched to the onset, in order."""
    notes = range(score.first[onset], score.first[onset + 1])
    wanted = {score.pitch[note]: note for note in notes if not score.free[note]}
    low, high = _find_room(score, labels, onset, matched[-1])
    if low > matched[0]:
        return
    room = [at for at in range(low + 1, high) if take[at].pitch in wanted]
    waits_s = [take[after].onset_s - take[at].onset_s for at, after in pairwise(room)]
    stroke_s = min(stroke_s, STROKE_SHARE * max(waits_s, default=0.0))
    pitches = {take[at].pitch for at in matched}
    for stroke in reversed(_split_strokes(take, room, stroke_s)):
        if pitches <= {take[at].pitch for at in stroke}:
            found = _list_search(take, room, stroke, stroke_s)
            one_by_one = len(_split_strokes(take, found[::-1], stroke_s)) == len(found)
            if one_by_one and len({take[at].pitch for at in found}) >= LEAST_NOTES:
                follows = low >= 0 and found[-1] == low + 1
                _label_stroke(take, labels, wanted, found, stroke, follows)
            return


def _list_search(
    take: Sequence[PlayedNote], room: Sequence[int], stroke: Sequence[int], stroke_s: float
) -> list[int]:
    """The keys of the chord before its stroke, with no other key between them: the last first.

    Not those that went down with what was played before: they are brushed keys.
    """
    before = [at for at in room if at < stroke[0]]
    run = [at for nth, at in enumerate(reversed(before), 1) if stroke[0] - at == nth]
    while run and run[-1] and take[run[-1]].onset_s - take[run[-1] - 1].onset_s < stroke_s:
        run.pop()
    return run


def _find_room(score: ScoreArrays, labels: Labels, onset: int, last: int) -> tuple[int, int]:
    """The keys between the onset before and the one after: the last of the former, the first."""
    low, high = last, last
    while low >= 0 and not _stands_for(score, labels[low], before=onset):
        low -= 1
    while high < len(labels) and not _stands_for(score, labels[high], after=onset):
        high += 1
    return low, high


def _stands_for(
    score: ScoreArrays, key: tuple[Label, int], *, before: int = -1, after: int = BEYOND
) -> bool:
    """Whether a key counts for a note of an onset before or after these."""
    label, note = key
    counts = label in (Label.MATCHED, Label.WRONG)
    return counts and (score.onset[note] < before or score.onset[note] > after)


def _split_strokes(
    take: Sequence[PlayedNote], keys: Sequence[int], stroke_s: float
) -> list[list[int]]:
    strokes: list[list[int]] = []
    for at in keys:
        if strokes and take[at].onset_s - take[strokes[-1][-1]].onset_s < stroke_s:
            strokes[-1].append(at)
        else:
            strokes.append([at])
    return strokes


def _label_stroke(
    take: Sequence[PlayedNote],
    labels: Labels,
    wanted: dict[int, int],
    found: Sequence[int],
    stroke: Sequence[int],
    follows: bool,
) -> None:
    """The stroke's keys count; those before it were struck for it already.

    What was taken for a note that was played again stays so, but where the search follows right
    after the onset before: then nothing was played again but this.
    """
    own = set(wanted.values())
    is_found = [labels[at][0] is Label.MATCHED for at in found]
    is_strange = [labels[at][1] not in own for at in (*found, *stroke)]
    if not any(is_strange):
        return
    for at in found:
        label, note = labels[at]
        if label is not Label.REPEATED or (follows and note not in own):
            labels[at] = Label.REPEATED, wanted[take[at].pitch]
    if any(is_found) or any(labels[at][0] is Label.EXTRA for at in stroke):
        struck: set[int] = set()
        for at in stroke:
            note = wanted[take[at].pitch]
            if note not in struck:
                struck.add(note)
                labels[at] = Label.MATCHED, note
