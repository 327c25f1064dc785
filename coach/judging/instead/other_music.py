"""Other music than the window: a likelihood ratio test against rival explanations of the keys.

As a keyword is told from other speech (Rose & Paul 1990, "A hidden Markov model based keyword
recognition system", ICASSP, 129-132): what is asked for has to explain what was heard better than a
filler model, which takes any key for as likely as another, and better than each rival. The rivals
are the other places of the piece and the window transposed. Near slips, in order and in time, are
cheap in the window's own explanation; so a repetition with many of them stays one.

Costs are negative log likelihoods in nats, as in alignment.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from itertools import accumulate, pairwise
from math import log
from operator import itemgetter
from typing import NamedTuple

from coach.judging.alignment import COSTS
from coach.judging.instead.key_sequence import count_fewest_errors, order_in_strokes
from coach.judging.instead.surroundings import Surroundings, list_keys
from coach.judging.instead.window_part import find_cut
from coach.judging.model import Instead, Label, Matching, PlayedInstead
from coach.judging.wording import OTHER_NOTES, OTHER_PLACE, transposed_words
from coach.playing.notes import PlayedNote
from coach.score.model import Hand
from coach.score.window import Excerpt

# Figures are our own choice, because nothing is published for a learner's playing. They are set
# with evenings of the simulated player (scripts/evening.py): of their repetitions meant for the
# window none is taken for other music.

FOURTH = 5
"""Half steps up to which a wrong key may be a slip of a finger or of the hand;"""
OCTAVE = 12
"""and a whole octave may be one of the arm."""
FILLER = log(2 * OCTAVE + 1)
"""What a key costs that may be any within an octave of the hand."""
TELLING_ONSETS, TELLING_KEYS = 3, 8
"""A window of fewer onsets tells nothing of fewer keys: whatever is played for it is a try. Own
choice, because of two notes both may be wrong, and be tried again and again."""
FEWEST_KEYS = 3
"""Fewer keys are not taken for the window amid others. Own choice, because two may fit anywhere."""
NEAR = 2
"""A key no farther off costs no more than in the filler: who slips much hits one of the four
neighbours, and such a slip tells nothing either way."""
STEP, STEP_FILLER = 2, log(9)
"""A key up to a tone from the one before costs less. Own choice, because about half of what is
played moves by steps, of which there are four, and scales are what fingers warm up with."""
FILLER_BETTER = 2.0
"""So much less the filler has to cost. Own choice, because playing meant for the window is seven
times as frequent as any other."""
RIVAL_BETTER = 12.0
"""And so much less a rival: some 400 to 1 because it is rare, and as much to be sure."""
RIVAL_STRANGE_SHARE = 1 / 3
"""Nor is it a rival with fewer of the keys strange to the window: in like passages a pianist may
slip from one into the other, and then it is the window with wrong notes."""
SLIP = COSTS.wrong_near
"""What a slip costs in a rival."""
TRANSPOSITIONS = tuple(steps for steps in range(-11, 12) if steps)
"""Half steps by which the window may be transposed."""


STRANGE_NOTES = PlayedInstead(Instead.OTHER_NOTES, OTHER_NOTES)


class Explanation(NamedTuple):
    """What explains keys better than the window with slips does."""

    instead: PlayedInstead
    """What it is;"""
    part: list[int] | None = None
    """but where some of the keys were for the window all the same: their indices."""


def explain_otherwise(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    surroundings: Surroundings | None,
) -> Explanation | None:
    """What explains the keys better than the window does; None where it explains them best.

    ``surroundings``: what else is written, where that is known.
    """
    if len(excerpt.onsets_quarters) < TELLING_ONSETS and len(played) < TELLING_KEYS:
        return None
    cost = find_window_cost(excerpt, played, matching)
    filler = sum(_list_filler_costs(played)) + FILLER_BETTER
    if cost < min(RIVAL_BETTER, filler):
        return None
    order = order_in_strokes(played)
    keys = [played[at].pitch for at in order]
    inside = surroundings.inside if surroundings else list_keys(excerpt)
    errors = count_fewest_errors(keys, inside)
    best = min(cost, SLIP * errors)
    found: list[tuple[float, Explanation]] = [(filler, Explanation(STRANGE_NOTES))]
    rival, instead = min(_list_rivals(keys, inside, surroundings), key=itemgetter(0))
    if errors >= RIVAL_STRANGE_SHARE * len(keys):
        found.append((SLIP * rival + RIVAL_BETTER, Explanation(instead)))
    if surroundings:
        cut = find_cut(keys, surroundings, FILLER / SLIP)
        part = sorted(order[cut.first : cut.end])
        if cut.errors <= rival + 1 and len(part) >= FEWEST_KEYS:
            # Where the piece repeats itself, the place with the window in it is meant.
            found.append((SLIP * (cut.errors - 1) + RIVAL_BETTER, Explanation(STRANGE_NOTES, part)))
    change = _find_change(_list_key_costs(excerpt, played, matching), _list_filler_costs(played))
    if change is not None:
        of_keys, kept = change
        of_notes = _find_deletion_cost(excerpt, matching, kept)
        found.append((of_keys + of_notes + RIVAL_BETTER, Explanation(STRANGE_NOTES, [*kept])))
    least, explanation = min(found, key=itemgetter(0))
    if explanation.part is None and explanation.instead == STRANGE_NOTES:
        best = cost
    return explanation if least <= best else None


def is_wild(semitones: int) -> bool:
    """Whether a wrong key is too far off to be a slip: beyond a fourth, and no octave."""
    return abs(semitones) > FOURTH and abs(semitones) != OCTAVE


def find_window_cost(excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching) -> float:
    """What the keys cost as the window with slips, by the labels that alignment gave them.

    Time is left out, and going back too: who stumbles plays the window all the same.
    """
    return sum(_list_key_costs(excerpt, played, matching)) + _find_deletion_cost(excerpt, matching)


def _list_key_costs(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching
) -> list[float]:
    """What each key costs, in the order of the keys."""
    costs: list[float] = []
    filler = _list_filler_costs(played)
    shift: dict[Hand | None, int] = {}
    for label in matching.played:
        if label.label is Label.WRONG and label.note is not None:
            off = played[label.played].pitch - excerpt.notes[label.note].pitch
            costs.append(_find_slip_cost(off, shift.get(label.hand, 0), filler[label.played]))
            shift[label.hand] = off
        elif label.label is Label.EXTRA:
            costs.append(COSTS.extra)
        else:
            costs.append(0.0)
            shift.pop(label.hand, None)
    return costs


def _find_change(costs: Sequence[float], filler: Sequence[float]) -> tuple[float, range] | None:
    """What the keys cost where those before or after the window are a filler, and which are the
    window's; None where none are better explained so.

    The change point where the likelihoods differ most, as in a cumulative sum test (Page 1954,
    Biometrika 41, 100-115).
    """
    gains = [cost - any_key for cost, any_key in zip(costs, filler, strict=True)]
    count = len(gains)
    before, first = max(zip(accumulate(gains), range(1, count + 1), strict=True))
    after, kept = max(zip(accumulate(reversed(gains)), range(1, count + 1), strict=True))
    part = range(first, count) if before >= after else range(count - kept)
    gain = max(before, after)
    return (sum(costs) - gain, part) if gain > 0 and len(part) >= FEWEST_KEYS else None


def _find_slip_cost(off: int, before: int, filler: float) -> float:
    """What a wrong key costs by how far it is off, and how far the hand's last key was."""
    if off == before:
        return COSTS.wrong_same
    if abs(off) <= NEAR:
        return filler
    by_size = COSTS.wrong_by_size
    return by_size[abs(off)] if abs(off) < len(by_size) else COSTS.wrong_wild


def _list_filler_costs(played: Sequence[PlayedNote]) -> list[float]:
    """What each key costs where any is as likely as another, but for steps, which are likelier."""
    steps = (abs(key.pitch - before.pitch) <= STEP for before, key in pairwise(played))
    return [FILLER, *(STEP_FILLER if is_step else FILLER for is_step in steps)][: len(played)]


def _find_deletion_cost(
    excerpt: Excerpt, matching: Matching, part: Collection[int] | None = None
) -> float:
    """What the notes left out cost, stretch by stretch of each hand; what comes before the first
    note played and after the last is not left out. ``part``: only these keys count as played."""
    if part is None:
        part = range(len(matching.played))
    struck = [one.note for one in matching.score if one.played in part]
    if not struck:
        return 0.0
    of_count = COSTS.list_deletion_costs(len(excerpt.notes))
    cost, missed = 0.0, dict.fromkeys(Hand, 0)
    for one in matching.score[struck[0] : struck[-1] + 1]:
        hand = excerpt.notes[one.note].hand
        if one.played not in part:
            missed[hand] += 1
        elif missed[hand]:
            cost += of_count[missed[hand]]
            missed[hand] = 0
    return cost + sum(of_count[count] for count in missed.values() if count)


def _list_rivals(
    keys: Sequence[int], inside: bytes, surroundings: Surroundings | None
) -> Iterator[tuple[int, PlayedInstead]]:
    """How many slips each rival needs, and what it is."""
    if surroundings:
        for row in (surroundings.before, surroundings.after):
            yield count_fewest_errors(keys, row), PlayedInstead(Instead.OTHER_PLACE, OTHER_PLACE)
        yield count_fewest_errors(keys, surroundings.both_hands), STRANGE_NOTES
    for steps in TRANSPOSITIONS:
        moved = [key - steps for key in keys]
        said = PlayedInstead(Instead.TRANSPOSED, transposed_words(steps))
        yield count_fewest_errors(moved, inside), said
