"""What the screens say: plain text, made from facts.

The core counts in quarters a minute; only here they become beats a minute of the metre.
"""

from __future__ import annotations

from coach.coaching.drill import DrillState
from coach.coaching.model import Assignment, Decision
from coach.coaching.wording import ENOUGH, WIDE, to_words, whole_bars_words
from coach.judging.completion import before_the_break, entered_at
from coach.judging.model import Cause, Judgement
from coach.judging.wording import name_in_short
from coach.playing.command_keys import Edge
from coach.score.counting import counted_quarters
from coach.score.forms import WrittenForm
from coach.score.model import Hands, Score
from coach.score.window import Window
from coach.score.words import BEAT_NAMES, parts_words
from coach.screens.interfaces import GOAL_REACHED, NextDrill

HANDS = {
    Hands.RIGHT: "RH alone",
    Hands.LEFT: "LH alone",
    Hands.TOGETHER: "hands together",
}


def bpm(score: Score, window: Window, qpm: float) -> int:
    """Beats a minute of the metre at the window's start, rounded."""
    beat = score.bar_at(window.start_quarters).metre.beat_quarters
    return round(qpm / float(beat))


def tempo_words(score: Score, window: Window, qpm: float | None) -> str:
    """``60 bpm`` or ``own tempo``; compound metres name their beat: ``dotted quarter = 56``.

    Where a beat is too slow to be felt its parts are counted: ``eighths at 76``.
    """
    if qpm is None:
        return "own tempo"
    metre = score.bar_at(window.start_quarters).metre
    counted = counted_quarters(qpm, metre.beat_quarters)
    if counted != metre.beat_quarters:
        return f"{parts_words(counted)} at {round(qpm / float(counted))}"
    beats = bpm(score, window, qpm)
    if not metre.is_compound:
        return f"{beats} bpm"
    return f"{BEAT_NAMES.get(metre.beat_quarters, 'dotted beat')} = {beats}"


def window_words(score: Score, window: Window) -> str:
    """Where a window lies: ``bars 5 to 8``, ``bar 12``, ``bar 12, beat 1 → 3``."""
    if whole := whole_bars_words(score, window):
        return whole
    start = score.place(window.start_quarters)
    end = score.place(window.end_quarters)
    if start.bar_index == end.bar_index:
        return f"{start} → {to_words(start, end)}"
    return f"{start} → {end}"


def assignment_words(score: Score, assignment: Assignment) -> str:
    """The assignment in one line: hands, window, tempo, stage."""
    window = assignment.window
    parts = [
        HANDS[window.hands],
        window_words(score, window),
        tempo_words(score, window, assignment.qpm),
        assignment.stage.value,
    ]
    if window.form is not WrittenForm.AS_WRITTEN:
        parts[-1] = window.form.value
    if assignment.click:
        parts.append("click")
    return " · ".join(parts)


_HANDS_LARGE = {
    Hands.RIGHT: "RH ALONE",
    Hands.LEFT: "LH ALONE",
    Hands.TOGETHER: "BOTH HANDS",
}


def assignment_headline(score: Score, before: Assignment, after: Assignment) -> str:
    """What is new in an assignment, in a word or three, to be written large: ``LH ALONE``,
    ``BAR 8``, ``54 BPM``. The hands come first, then the place, then the tempo; "" for nothing new.
    """
    old, new = before.window, after.window
    if old.hands is not new.hands:
        return _HANDS_LARGE[new.hands]
    if (old.start_quarters, old.end_quarters) != (new.start_quarters, new.end_quarters):
        return _window_headline(score, new)
    if before.qpm != after.qpm:
        if after.qpm is None:
            return "OWN TEMPO"
        return f"{bpm(score, new, after.qpm)} BPM"
    return "" if before.stage is after.stage else after.stage.value.upper()


def _window_headline(score: Score, window: Window) -> str:
    """``BAR 8``, ``BARS 5-8``, ``BAR 8 BEAT 3``; "" where a bar's number is no plain number."""
    first, last = score.bars_of(window.start_quarters, window.end_quarters)
    if not whole_bars_words(score, window):
        text = f"{first.words} beat {int(score.place(window.start_quarters).counted)}"
    elif first is last:
        text = first.words
    else:
        text = f"bars {first.number}-{last.number}"
    is_plain = first.number.isdecimal() and last.number.isdecimal()
    return text.upper() if is_plain else ""


def verdict_headline(score: Score, judgement: Judgement) -> str:
    """The verdict in a word or three, to be written large: ``CLEAN``, ``LH BEAT 2``.

    Of a wait at one barline after another no single beat is named.
    """
    if judgement.clean:
        return "CLEAN"
    if not judgement.is_repetition:
        return name_in_short(judgement.instead)
    if judgement.unsure:
        return "NOT SURE"
    counted = [one for one in judgement.faults if not one.forgiven]
    before = before_the_break(judgement.excerpt, judgement.score, counted)
    fault = next(iter(before), None)
    if fault is None:
        if judgement.complete:
            return "NOT YET"
        return "A PART" if entered_at(judgement.excerpt, judgement.score) else "BROKE OFF"
    if fault.cause is Cause.BARLINE_WAIT:
        return "BARLINES"
    beat = int(score.place(fault.onset_quarters).counted)
    return f"{fault.hands.value.upper()} BEAT {beat}"


def proposal_headline(text: str) -> str:
    """What is proposed in a word or two, to be written large."""
    return {ENOUGH: "ENOUGH", WIDE: "A CHANGE"}.get(text, "A BREAK")


COUNTS_IN = "any key counts in"
"""In place of ``play when ready``, where a click is to be played with."""

STATES = {
    DrillState.READY: "play when ready",
    DrillState.COUNT_IN: "count in",
    DrillState.PLAYING: "listening",
    DrillState.NO_PIANO: "no piano",
    DrillState.RESTING: "resting",
    DrillState.FINISHED: "finished",
}
"""Where the drill stands, short."""


def state_words(state: DrillState, assignment: Assignment) -> str:
    """Where the drill stands; where a click is asked for, how it is started."""
    return COUNTS_IN if state is DrillState.READY and assignment.click else STATES[state]


NO_PIANO = (
    "No piano. Plug it in and switch it on, or press k to play with letters; nothing is lost."
)
STRIKE = "Strike any key for the count-in; then play with the click."
LISTENING_BACK = "Listening back ..."
RESTING = "Resting. Let your hands hang loose; pain means stop. Play or press p to go on."


def finished_words(key: str, next_drill: NextDrill | None, *, click: bool) -> str:
    """What can be done at the goal; ``key`` goes on to what comes after it, or home."""
    again = "any other counts in again" if click else "or play this again"
    if next_drill is None:
        return f"{GOAL_REACHED} {key} goes home to your pieces; {again}."
    return f"{next_drill.reached} {key} goes on to {next_drill.where}; {again}."


def now_you_words(next_drill: NextDrill) -> str:
    """What whoever watched the demo can do now."""
    return (
        f"{next_drill.reached} Now you, {next_drill.where}: strike any key of your piano, "
        "or press k to play with letters."
    )


def way_on_headline(edge: Edge, *, leads_home: bool) -> str:
    """The key that goes on, or home, to be written large: short enough for 80 columns."""
    key = "LOW" if edge is Edge.LOWEST else "HIGH"
    return f"{key}: HOME" if leads_home else f"{key} KEY: ON"


def too_tall(missing: int) -> str:
    """What to do about a window that needs more rows than there are."""
    return f"This window needs {missing} more rows. Make the terminal taller, or press o."


def clean_words(decision: Decision) -> str:
    """The clean run in words: ``2 of 3 clean``."""
    return f"{decision.clean_run} of {decision.assignment.clean_required} clean"


FINGERS_SUGGESTED = "A finger with ? is a suggestion: nobody printed it, and nobody judges it."
FINGERS_PRINTED = "Only the fingers that are printed, or that you wrote."


def own_notes_words(score: Score, window: Window) -> list[str]:
    """What the pianist or the teacher wrote on the bars of a window."""
    written = score.own_notes_in(window.start_quarters, window.end_quarters)
    return [f"Your note on {one.bars}: {one.words}" for one in written]
