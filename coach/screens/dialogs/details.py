"""One key away: all that was heard, and why this is asked for."""

from __future__ import annotations

from coach.coaching.drill import RepetitionEnded
from coach.coaching.model import Decision
from coach.judging.model import Judgement, Label
from coach.score.model import Score
from coach.screens.dialogs.notice import SheetScreen
from coach.screens.wording import bpm, clean_words

_NEAR_MS = 15.0
"""Timing errors under this are not listed: nobody hears them."""


class DetailsScreen(SheetScreen):
    """The last repetition, note by note where there is something to say."""

    def __init__(self, score: Score, ended: RepetitionEnded | None) -> None:
        super().__init__()
        self._score, self._ended = score, ended

    def text(self) -> str:
        """Verdict, faults, tempo, timing."""
        if self._ended is None:
            return "Nothing has been played yet."
        return "\n".join(detail_lines(self._score, self._ended.judgement))


def detail_lines(score: Score, judgement: Judgement) -> list[str]:
    """What can be said of a repetition, the most important first."""
    lines = [judgement.sentence, ""]
    for fault in judgement.faults:
        place = score.place(fault.onset_quarters)
        mild = " (not asked for yet)" if fault.forgiven else ""
        lines.append(f"{fault.hands.value} {place}: {fault.words}{mild}")
    told = tuple(fault.words for fault in judgement.faults)
    lines += [line for line in judgement.details if not any(words in line for words in told)]
    lines += judgement.notices
    if judgement.qpm:
        lines.append(f"Tempo: {bpm(score, judgement.excerpt.window, judgement.qpm)} beats a minute")
    late = [_timing(score, judgement, index) for index in _off_time(judgement)]
    return [*lines, *(["", "Timing, note by note:", *late] if late else [])]


def _off_time(judgement: Judgement) -> list[int]:
    return [
        index
        for index, one in enumerate(judgement.score)
        if one.label is Label.MATCHED and abs(one.error_ms or 0) >= _NEAR_MS
    ]


def _timing(score: Score, judgement: Judgement, index: int) -> str:
    one = judgement.score[index]
    note = judgement.excerpt.notes[one.note]
    place = score.place(note.onset_quarters)
    size = one.error_ms or 0
    side = "late" if size > 0 else "early"
    return f"  {note.hand.value} {place}: {note.spelling.words} {abs(size):.0f} ms {side}"


class WhyScreen(SheetScreen):
    """The coach's reasons, with the evidence."""

    def __init__(self, why: str, decision: Decision) -> None:
        super().__init__()
        self._why, self._decision = why, decision

    def text(self) -> str:
        """Reason, trouble, evidence."""
        decision = self._decision
        lines = [decision.assignment.reason, f"So far: {clean_words(decision)}."]
        if self._why != decision.assignment.reason:
            lines += ["", self._why]
        for trouble in decision.troubles:
            sure = round(100 * trouble.sure)
            lines += ["", f"{trouble.place}: {trouble.kind.value}, {sure} % sure", trouble.evidence]
        return "\n".join(lines)
