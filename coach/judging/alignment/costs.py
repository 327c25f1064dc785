"""The costs of the hidden Markov model: one figure for each kind of event.

Costs are negative log likelihoods up to a constant, in nats: a sum that is lower by 3 means some
twenty times likelier. All are our own choice, because none is published for a learner's playing:
they were set by a search over seeded cases (``scripts/earcases``).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

WILD_SEMITONES = 13
"""A key so far off, or farther, is wrong no matter how far."""
NEAR_SEMITONES = 2
"""A wrong key up to a tone away is a neighbour."""
FOURTH_SEMITONES = 5
"""Up to here a wrong key costs more with each semitone; beyond, it is no slip of a finger."""
DEAR_NOTES = 4
"""So many notes left out at one place cost the full price each; own choice, because after that
whole beats are skipped."""
IMPOSSIBLE = 99.0
"""More than any hypothesis that is kept may cost."""


@dataclass(frozen=True)
class Costs:
    """One number for each kind of event."""

    skip: float = 1.2
    """Leaving something out, whatever its size."""
    missed: float = 2.4
    """Each note left out, the first ``DEAR_NOTES``."""
    missed_many: float = 1.2
    """Each further one: whole beats are skipped."""
    missed_most: float = 8.0
    """The most that one gap costs: after it, a lost hypothesis finds its place again."""
    far: float = 2.0
    """Each time that a leap, ahead or back, grows e times longer than four beats."""
    lost: float = 10.0
    """A gap that costs more is taken for a place lost and found again,"""
    found: float = 2.0
    """which costs this much, whatever the time."""
    shared: float = 0.2
    """Each note left out where the other hand has skipped too."""
    end: float = 1.6
    """Breaking off before the last note: as dear as time that closes up over a beat, or nearly."""
    enter: float = 2.5
    """Coming in after the first note: rarer than breaking off."""
    order: float = 0.6
    """A note that comes after a later one of its hand."""
    extra: float = 5.3
    """A key too many."""
    brush: float = 2.5
    """A key too many that is soft and short."""
    wrong_near: float = 5.0
    """A wrong key up to a tone away."""
    wrong_far: float = 0.7
    """Each further semitone, up to a fourth."""
    wrong_octave: float = 3.4
    wrong_wild: float = 7.5
    """Any other wrong key."""
    wrong_same: float = 1.0
    """A wrong key as far off as the hand's last: the hand lies in a shifted position."""
    wrong_shift: float = 2.0
    """A wrong key off in the same direction as the hand's last."""
    wrong_timing: float = 1.0
    """How much the time of a wrong key counts."""
    wrong_over: float = 1.0
    """A wrong key may cost so much more than a key too many with its note left out."""
    free: float = 0.3
    """One more key of an ornament that is played freely."""
    corrected: float = 1.0
    """The right key after a wrong one beside it."""
    closed: float = 1.5
    """Time that closes up over a skipped beat."""
    closed_part: float = 3.0
    """Time that closes up over less than a beat."""
    closed_off: float = 1.0
    """Going on elsewhere than on a beat after it: the eye that skips lands on a beat."""
    together: float = 0.3
    """A skip in which this hand follows the other."""
    jump: float = 9.4
    """Going back to an earlier place."""
    jump_onset: float = 0.15
    """Each onset gone back over,"""
    jump_onsets_most: float = 2.0
    """and the most that they cost together."""
    pause: float = 4.5
    """How much of it a pause before it takes off."""
    erred: float = 1.0
    """How much of it a wrong key just before takes off: who has slipped goes back."""
    late: float = 4.0
    """The most that coming late costs."""
    early: float = 5.5
    """The most that coming early costs."""
    other: float = 0.3
    """How much the worse of the two hands' clocks counts."""
    spread_s: float = 0.03
    """Spread of notes meant together, at the least."""
    spread_share: float = 0.1
    """The same for each beat between the two nearest onsets: where those are far apart a chord
    may be loose, and where a beat is short 30 ms are much of it."""
    give: float = 0.16
    """Spread of a gap in time, as a share of it."""
    surely: float = 1.2
    """A note that fits better than this needs no other explanation."""
    doubtful: float = 2.5
    """A note that fits worse than this may be a jump back."""
    beam: int = 30
    """How many hypotheses are kept,"""
    width: float = 15.0
    """and how much more than the best one they may cost."""

    def list_deletion_costs(self, notes: int) -> list[float]:
        """What leaving out none, one, two ... notes at one place costs, up to so many notes."""
        out = []
        for count in range(notes + 1):
            many = max(count - DEAR_NOTES, 0)
            cost = self.skip + self.missed * (count - many) + self.missed_many * many
            out.append(min(cost, self.missed_most))
        return out

    @cached_property
    def wrong_by_size(self) -> list[float]:
        """What a wrong key costs by the semitones that it is off, up to ``WILD_SEMITONES``."""
        octave = WILD_SEMITONES - 1
        near = [self.wrong_near] * (NEAR_SEMITONES + 1)
        farther = [
            self.wrong_near + self.wrong_far * more
            for more in range(1, FOURTH_SEMITONES - NEAR_SEMITONES + 1)
        ]
        wild = [self.wrong_wild] * (octave - FOURTH_SEMITONES - 1)
        return [*near, *farther, *wild, self.wrong_octave]


COSTS = Costs()
"""The costs that Keyhole aligns with."""
