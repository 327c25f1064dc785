"""Where something ends, so that one may broaden on the way to it.

Players broaden before a piece or a section ends (phrase-final lengthening: Todd 1985, Music
Perception 3, 33-58, from memory), and wherever it is written. In the middle of a phrase they don't.
"""

from __future__ import annotations

import re
from fractions import Fraction

from coach.score.model import INSTANT_QUARTERS, Bar, Barline, Hands, NoteMark, Score

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
