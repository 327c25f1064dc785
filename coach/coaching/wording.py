"""The coach's sentences, and moves and windows in words, as a pianist finds them on the page.

All English of this room stands here, but for the names that its enumerations have; the rest of it
decides by facts, never by words.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from coach.coaching.model import AssignmentKind, Exercise, Request, Trouble, TroubleKind
from coach.judging.model import Outcome
from coach.score.counting import counted_quarters
from coach.score.model import INSTANT_QUARTERS, Hands, Place, Score
from coach.score.window import Transition, Window
from coach.score.words import capitalise, count_of, parts_words


class UntilBroken(str):
    """A reason for as long as nothing breaks.

    That it held is no reason to ask for the same once a repetition of it was unclean.
    """

    __slots__ = ()


HANDS = {
    Hands.RIGHT: "right hand alone",
    Hands.LEFT: "left hand alone",
    Hands.TOGETHER: "hands together",
}
_FAILED = {
    Outcome.WRONG: "wrong",
    Outcome.LATE: "late",
    Outcome.EARLY: "early",
    Outcome.UNEVEN: "uneven",
    Outcome.REPEATED: "stumbled",
}
NO_ONE_PLACE = "There is no one place: these are ordinary slips."
BREAK = (
    "You have played for {minutes} minutes: rest your hands for {rest}. "
    "If anything hurts, stop, and ask your teacher or a doctor."
)
FIVE_MINUTES, TEN_MINUTES = "five minutes", "ten minutes"
ENOUGH = "It holds. A night's sleep does most for it now."
"""Overlearning is offered, not forced: its gain is large after a week and mostly gone after nine
(Rohrer and others 2005, of verbal recall)."""
LEFT = "Leave {place} for today: it gets no better now. Another day try {advice}."
"""A place that was worked at without gain."""
LEFT_ALL = "Leave it for today: it gets no better now."
ENOUGH_TODAY = (
    "That is enough for today: all but {places} holds. "
    "That comes back in your next warm-up; a night's sleep does more for it than going on."
)
SLIPS_TODAY = (
    "That is enough for today: it goes no better now for repeating. "
    "A night's sleep does more for it than going on."
)
STAYING = "Stay here as long as you like, and ask when you want to go on."
READ_AGAIN = "Once more, slower if you like: was that a slip?"
BACK_AS_WRITTEN = UntilBroken("Now as it is written.")
WIDE = (
    "That was many wide stretches. Do something else for a while; "
    "if it strains or hurts, stop, and ask your teacher or a doctor."
)

# Why a day's plan asks for bars.

COMES_AGAIN = "It comes again today, to last until the day."
PLANNED_WEAK = "Today's plan: it does not hold yet."
PLANNED_NEW = "Today's plan: it is new."
PLANNED_WHOLE = "The whole piece, as you will play it."

# Why the next window is asked for: while a trouble is located, ...

AS_YOU_WOULD = "Play it as you would, so that I hear where it breaks."
"""Nothing has been heard of it yet."""
HOLDS = UntilBroken("That holds: the whole of it again.")
ANOTHER = "All of it once more: is there another place?"
A_SLIP = "That may have been a slip: the whole of it again."
THERE_IT_IS = "There it is: the whole of it again."
NOT_TOLD = "I could not hear it there: the whole of it again."
HERE_AND_THERE = "It slips here and there: {tempo}."
ALL_OVER = "It breaks nearly everywhere: {tempo}."
HAND_FIRST = "The {hand} breaks nearly everywhere, the other holds: {alone}, {tempo}."
THAT_HAND = "{name}, {alone}."
HANDS_AGAIN = "Hands together again: {name}."
NOW_HOLD_IT = UntilBroken("That is the tempo: now hold it.")
HOLD_IT_THERE = UntilBroken("Clean at the tempo asked for: hold it there.")
ON_FROM_WHERE_WE_WERE = "On from where we were."
ON_FROM_WHERE_YOU_STOPPED = "On from where you stopped."

# ... while it is repaired, ...

CLEAN_AT_TEMPO = UntilBroken("Clean at tempo: hold it there.")
A_LITTLE_MORE = UntilBroken("It holds. A little more of it.")
BACK_ONE_STEP = "That broke again: back one step."
SMALLER_STILL = "Smaller still."
BACK_TO_THE_WHOLE = "Back to the whole of it."

# ... where the pianist asked, ...

AS_ASKED = UntilBroken("As you asked.")
SMALLER_AS_ASKED = UntilBroken("Smaller, as you asked.")
LARGER_AS_ASKED = UntilBroken("Larger, as you asked.")
LEFT_ALONE = UntilBroken("As you asked: that place is left alone today.")

# ... and by the plan.

WHOLE_AT_LAST = UntilBroken("You have all its bars: now the whole of it.")
JOIN_THEM = "Join them: {name}, in one, as slowly as you need."
FIRST_READING = "{name}, first reading"
NEW_BAR = "New: {name}. Read it {hands}, in time, as slowly as you need."
NEW_HAND = "{name}, {hand}: the right keys, at your own pace."
AGAIN_IN_ONE = "Now {name} again, in one."
NOW_ON_FROM_THERE = "Now on from there."
NEW_TOGETHER = "{name}, {how}, slowly."
IN_TIME = "in time"
JOINED = "{name} joined"

# What is answered to a change of the plan.

ONE_TASK_ONLY = "Here is one task only: the order makes no difference."
ORDER_CHANGED = "From now on: {order}."
HELD_ALREADY = "{row} is held already."
HELD_ALREADY_TAKE_UP = "{row} is held already: take it up again to play it once more."
LEFT_OUT_ALREADY = "{row} is left out already."
ON_THE_PLAN_ALREADY = "{row} is on the plan already."
FIRST_ALREADY, LAST_ALREADY = "{row} comes first already.", "{row} comes last already."
MOVED_BEFORE, MOVED_AFTER = "{row} before {other}.", "{row} after {other}."
ONLY_THING_LEFT = "It is the only thing left to play, so it stays."
ROW_LEFT_OUT, ROW_TAKEN_UP = "Left out: {row}.", "Taken up again: {row}."

# Why a repetition is not counted that was begun.

TOO_SOON = "You came in before the count was over: listen to all of it."
ASKED_FOR_ELSE = "You asked for something else."
PLAN_CHANGED = "You changed the plan."
PAUSED = "You paused."
UNPLUGGED = "The piano was unplugged."

# Other ways of practising a place, as they are asked for; and what to try at one that was left.

OTHER_WAY = {
    Exercise.NOTES: "Another way: only the keys, one after the other, without rhythm.",
    Exercise.DOTTED: "Another way: the same notes dotted, long and short.",
    Exercise.SHORT_LONG: "Now the other way round: short and long.",
    Exercise.BLOCKED: "Another way: each beat's notes at once, as a chord.",
}
ADVICE = {
    Exercise.NOTES: "its keys without any rhythm",
    Exercise.DOTTED: "dotted rhythms",
    Exercise.SHORT_LONG: "short and long by turns",
    Exercise.BLOCKED: "its notes gathered into chords",
}
FINGERING = "another fingering"
BACKWARDS = "it from the end backwards, a note more each time"

_LONGEST_HELD_QUARTERS = 16
"""Longer than four bars of 4/4 no key is thought of as what a move begins with (own choice)."""
_AS_FAR_AS_IT_GOES = {
    Request.SMALLER: "This is as small as it gets.",
    Request.LARGER: "This is all that you set out to play.",
    Request.SLOWER: "It gets no slower than this.",
    Request.FASTER: "It gets no faster than this.",
    Request.OTHER_HAND: "Only this hand is in what you set out to play.",
    Request.NEXT: "There is nothing after this.",
    Request.NOT_THIS: "There is nothing else to play here.",
    Request.HARD: "It is as easy as it gets: leave it for today if you like.",
    Request.STAY: STAYING,
    Request.FINGERING: "With a new fingering it counts anew.",
}

if TYPE_CHECKING:
    from coach.coaching.diagnosis import MoveAttempt


def evidence_words(moves: Sequence[MoveAttempt], place: str, hands: Hands) -> str:
    """``4 of the last 5: late to beat 2, 0.3 to 0.6 s, LH``.

    Where none of the moves that are still known failed, that is said; empty where none is known.
    """
    failed = [move for move in moves if move.failed]
    whose = "together" if hands is Hands.TOGETHER else hands.value
    if not failed:
        return f"0 of the last {len(moves)}; it failed before that, {whose}" if moves else ""
    what = Counter(_FAILED[move.outcome] for move in failed).most_common(1)[0][0]
    share = f"{len(failed)} of the last {len(moves)}" if len(moves) > 1 else _of_last(moves)
    return f"{share}: {what}{_at(what, place)}{_size(failed)}, {whose}"


def _of_last(moves: Sequence[MoveAttempt]) -> str:
    return f"in the last {len(moves)}" if len(moves) > 1 else "the last time"


def _at(what: str, place: str) -> str:
    return f" {'to' if what in ('late', 'early') else 'at'} {place}"


def _size(failed: Sequence[MoveAttempt]) -> str:
    timed = sorted(
        abs(move.error_ms) / 1000
        for move in failed
        if move.error_ms is not None and move.outcome in (Outcome.LATE, Outcome.EARLY)
    )
    if not timed:
        return ""
    low, high = f"{timed[0]:.1f}", f"{timed[-1]:.1f}"
    return f", {low} s" if low == high else f", {low} to {high} s"


def tempo_words(qpm: float | None, beat_quarters: Fraction) -> str:
    """``at 66``: a tempo in beats a minute; ``at 76, counted in eighths`` where a beat is too slow
    to be felt; or the player's own pace."""
    if qpm is None:
        return "at your own pace"
    counted = counted_quarters(qpm, beat_quarters)
    said = f"at {qpm / float(counted):.0f}"
    return said if counted == beat_quarters else f"{said}, counted in {parts_words(counted)}"


def up_words(kind: AssignmentKind, tempo: str) -> UntilBroken:
    """Why it gets quicker: a trial at the tempo asked for, or a step."""
    if kind is AssignmentKind.TRIAL:
        return UntilBroken("It holds: try it once at the tempo asked for.")
    return UntilBroken(f"It holds: {tempo}.")


def together_words(count: int) -> UntilBroken:
    """Why both hands are asked for, where one alone holds; so many clean ones running."""
    running = f", {times(count)} running" if count > 1 else ""
    return UntilBroken(f"It holds. Hands together now{running}.")


def first_section_words(name: str) -> UntilBroken:
    """Why a part of a long passage comes first."""
    return UntilBroken(f"It does not hold in one yet: {name} first.")


def next_section_words(name: str) -> UntilBroken:
    """Why the part after it comes."""
    return UntilBroken(f"The next part: {name}.")


def sections_held_words(name: str) -> UntilBroken:
    """Why all of it comes again after its parts."""
    return UntilBroken(f"Each part holds: now {name}, in one.")


def until_words(tempo: str) -> str:
    """``at 66 until it holds``; with a comma where the tempo has one."""
    return f"{tempo}{',' if ',' in tempo else ''} until it holds"


def down_words(tempo: str) -> str:
    """Why it gets slower; it stands there also when what follows is clean."""
    return f"{capitalise(until_words(tempo))}."


def once_more_words(tempo: str) -> str:
    """Why the same is asked for after it broke, where it had held before."""
    return f"Once more {tempo}, until it holds."


def off_pace_words(played_qpm: float, asked_qpm: float, beat_quarters: Fraction) -> str:
    """What a clean repetition counts that was played at another tempo than the one asked for.

    Both are said in what is counted at the tempo asked for, so that they can be compared.
    """
    counted = counted_quarters(asked_qpm, beat_quarters)
    played = f"at {played_qpm / float(counted):.0f}"
    wanted = f"{asked_qpm / float(counted):.0f}"
    if counted != beat_quarters:
        wanted = f"{wanted}, counted in {parts_words(counted)},"
    if played_qpm < asked_qpm:
        return UntilBroken(f"Clean {played}, where {wanted} was asked: on from there.")
    return f"That was {played}, where {wanted} was asked: no need to hurry."


def surer_words(places: str, count: int) -> str:
    """Why more clean ones are asked for than usual."""
    return f"It broke at {places} before: {times(count)} more, to be sure."


def unbroken_words(count: int) -> str:
    """Why more clean ones are asked for of what was brought to be repaired and never broke."""
    return f"Nothing broke yet: {times(count)} more, to be sure."


def broke_before_words(reason: str) -> str:
    """Why a place is begun on although the whole was clean a moment ago."""
    return f"It broke before, too. {reason}"


def check_words(place: str, count: int) -> UntilBroken:
    """Why a place is asked for by itself after the whole was clean."""
    words = f"that by itself, {times(count)}, to be sure."
    return UntilBroken(f"Clean; but it broke at {place} before: {words}")


def on_with_all_words(count: int) -> UntilBroken:
    """Why the whole comes again after a place held by itself: so many clean ones are left."""
    return UntilBroken(f"That holds: the whole of it, {times(count)} more.")


def to_go_words(count: int) -> UntilBroken:
    """Why it is asked for once it has been clean: so many more clean ones are to come."""
    return UntilBroken(f"It held: {times(count)} more like that.")


def running_words(move: str, tempo: str, count: int) -> str:
    """``LH bar 2, beat 1 → 2: at 60, twice running.``: what a ladder begins with."""
    return f"{capitalise(move)}: {tempo}, {times(count)} running."


def hear_words(hands: Hands, way: str, count: int, *, apart: bool, again: bool) -> str:
    """Why a place is asked for by itself: to hear whether, or in which hand, it breaks."""
    what = HANDS[hands].capitalize() if apart else "Only this"
    often = "once more, to be sure" if again else f"{times(count)}, so that I hear it"
    return f"{what}, {often}: is it {way}?"


def held_today_words(moves: Sequence[str]) -> str:
    """What is said at the goal of moves that were mended on the way: so much is known of them."""
    places = capitalise(" and ".join(moves))
    return f"{places}: held today. Hear that first tomorrow."


def advice_words(left: Sequence[Exercise]) -> str:
    """What to try when a place comes back: ``another fingering, or dotted rhythms``.

    ``left``: in which ways it was not practised yet, the most useful first.
    """
    return f"{FINGERING}, or {ADVICE[left[0]] if left else BACKWARDS}"


def trial_failed_words(tempo: str) -> str:
    """Why a tempo that was tried is not asked for yet."""
    return f"Too soon: {until_words(tempo)}."


def as_far_as_it_goes(request: Request, qpm: float | None) -> str:
    """Why a wish changes nothing, in place of a promise."""
    if qpm is None and request in (Request.SLOWER, Request.FASTER):
        return "Your own pace sets the tempo here."
    return _AS_FAR_AS_IT_GOES[request]


def times(count: int) -> str:
    """``once``, ``twice``, ``3 times``."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def open_hand_words(chances: Mapping[Hands, float]) -> str:
    """``whose it is, is open: LH 6 in 10, RH 3 in 10``, the likeliest first."""
    ranked = sorted(chances.items(), key=lambda one: -one[1])
    said = [
        f"{'both together' if hands is Hands.TOGETHER else hands.value} {round(10 * chance)} in 10"
        for hands, chance in ranked
        if round(10 * chance)
    ]
    return f"whose it is, is open: {', '.join(said)}"


_KIND_WORDS = {
    TroubleKind.ONE_HAND: "",
    TroubleKind.TOGETHER_ONLY: "Each hand alone holds there.",
    TroubleKind.READING: "The keys are right, but late: it may be the reading.",
    TroubleKind.REACH: "It comes in time, beside the key: it may be the reach.",
}


def trouble_lines(trouble: Trouble) -> list[str]:
    """A named place, what it rests on, and what sort of trouble it is, a line each."""
    kind = "" if trouble.open_hand else _KIND_WORDS[trouble.kind]
    return [f"It breaks: {trouble.place}", *filter(None, (trouble.evidence, kind))]


def move_words(score: Score, move: Transition, window: Window | None = None) -> str:
    """``LH bar 12, beat 1 → 2``: whose move, and from where to where; ``window``: what is asked."""
    whose = "both hands," if move.hands is Hands.TOGETHER else move.hands.value
    return f"{whose} {way_words(score, move, window)}"


def way_words(score: Score, move: Transition, window: Window | None = None) -> str:
    """``bar 12, beat 1 → 2``; across a barline ``bar 12, beat 4 → bar 13, beat 1``.

    It begins at the key that is left: ``beat 3 → bar 13, beat 1`` for a half note on beat 3. What
    a window or the piece begins with is said by itself: ``bar 13, beat 1``.
    """
    leaving_quarters = _leaving_quarters(score, move)
    first_quarters = window.start_quarters if window else score.bars[0].onset_quarters
    start, end = score.place(leaving_quarters), score.place(move.to_quarters)
    if leaving_quarters < first_quarters:
        return str(end)
    if start.bar_index != end.bar_index:
        return f"{start} → {end}"
    return f"{start} → {to_words(start, end)}"


def _leaving_quarters(score: Score, move: Transition) -> Fraction:
    """The onset of what these hands still hold at the beat that a move begins with, else that
    beat."""
    beat = move.from_quarters
    start, end = beat - _LONGEST_HELD_QUARTERS, beat + INSTANT_QUARTERS
    notes = score.notes_between(start, end, move.hands)
    last = [note for note in notes if note.onset_quarters == notes[-1].onset_quarters]
    return max((note.onset_quarters for note in last if note.end_quarters > beat), default=beat)


def to_words(start: Place, end: Place) -> str:
    """The end of a way inside one bar: ``2`` after ``beat 1``, else in full: ``the & of 2``."""
    return str(end.counted) if start.on_beat and end.on_beat else end.in_bar


def arrival_words(score: Score, move: Transition) -> str:
    """``bar 12 beat 2``: where a move arrives."""
    at = score.place(move.to_quarters)
    return f"{at.bar} {at.in_bar}" if at.on_beat else str(at)


def from_there_words(score: Score, move: Transition) -> str:
    """Why what lies after a named place is asked for."""
    return f"Is there another place? Once from {arrival_words(score, move)} on."


def up_to_there_words(score: Score, move: Transition) -> str:
    """Why what lies before a named place is asked for."""
    return f"Is there another place? Once up to {arrival_words(score, move)}."


def run_up_words(score: Score, window: Window, move: Transition) -> str:
    """`` Begin at beat 3.``: what a window has before the move that it is there for.

    Empty where it has nothing before it, and where the move is not all that follows.
    """
    leaving_quarters = _leaving_quarters(score, move)
    before = window.start_quarters < leaving_quarters
    if not before or window.end_quarters > move.to_quarters:
        return ""
    start = score.place(window.start_quarters)
    same_bar = start.bar_index == score.place(leaving_quarters).bar_index
    return f" Begin at {start.in_bar if same_bar else start}."


def around_words(score: Score, window: Window, move: Transition) -> str:
    """`` From beat 1 to beat 4.``: what is played around a move that is to be heard."""
    start, end = score.place(window.start_quarters), score.place(window.end_quarters)
    near = score.place(_leaving_quarters(score, move))
    first = start.in_bar if start.bar_index == near.bar_index else str(start)
    last = end.in_bar if start.bar_index == end.bar_index else str(end)
    return f" From {first} to {last if window.landing else 'the end'}."


def whole_bars_words(score: Score, window: Window) -> str:
    """``bars 3 to 5``; empty where a window is not of whole bars."""
    first, last = score.bars_of(window.start_quarters, window.end_quarters)
    whole = window.start_quarters == first.onset_quarters
    return first.words_to(last) if whole and window.end_quarters >= last.end_quarters else ""


def stretch_words(score: Score, window: Window) -> str:
    """``bar 3``, ``bars 3 to 5``, ``bar 3, beats 2 to 4``: a window for people."""
    if whole := whole_bars_words(score, window):
        return whole
    first, last = score.place(window.start_quarters), score.place(window.end_quarters)
    if first.bar_index == last.bar_index:
        beats = "beats " if first.on_beat and last.on_beat else ""
        begin = str(first.counted) if beats else first.in_bar
        return f"{first.bar}, {beats}{begin} to {to_words(first, last)}"
    return f"{first} to {last}"


# Why a weak spot comes in the warm-up, what remains of it, and why it is over.

NOTHING_TO_WARM_UP = "Nothing is left to warm up in this piece."
STILL_HOLDS = "It still holds. Rest your hands for a moment."
NOT_NOW = "It does not hold yet. Leave it for now, and rest your hands for a moment."


def still_holds_words(held_days: int, days_ago: int, *, is_settled: bool) -> str:
    """``A weak spot: it held on 2 days since, last played yesterday. Does it still hold?``."""
    name = "Settled" if is_settled else "A weak spot"
    held = f"held on {count_of(held_days, 'day')} since" if held_days else "went better since"
    return f"{name}: it {held}, last played {_days_ago(days_ago)}. Does it still hold?"


def failed_words(failures: int, tries: int | None, weak_days: int) -> str:
    """``it failed 2 of 3 times, for the second day``; without ``tries``, at the first of them."""
    again = f", for the {_ordinal(weak_days)} day" if weak_days > 1 else ""
    if tries is None:
        often = "at the first try"
    else:
        often = "the one time it was tried" if tries == 1 else f"{failures} of {tries} times"
    return f"it failed {often}{again}"


def weak_words(failed: str, days_ago: int, *, mended: bool) -> str:
    """``Weak when you last played it yesterday: it failed 2 of 3 times.``."""
    when = f" {_days_ago(days_ago)}" if days_ago else ""
    then = ", and then it held. Does it still?" if mended else "."
    return f"Weak when you last played it{when}: {failed}{then}"


def minutes_left_words(minutes: int) -> str:
    """``6 minutes``, ``less than a minute``."""
    return count_of(minutes, "minute") if minutes >= 1 else "less than a minute"


def turn_words(held: int, of: int, minutes: int, *, is_again: bool) -> str:
    """``once more: 3 of 7 hold, about 6 minutes``: how far it is, and what is left takes."""
    again, about = "once more: " if is_again else "", "about " if minutes else ""
    return f"{again}{held} of {of} hold, {about}{minutes_left_words(minutes)}"


def minutes_over_words(minutes: float, waiting: int) -> str:
    """``The 5 minutes are over. 2 more spots wait for another day.``."""
    words = f"The {minutes:g} minutes are over."
    wait = "One more spot waits" if waiting == 1 else f"{waiting} more spots wait"
    return f"{words} {wait} for another day." if waiting else words


def nothing_due_words(loose: int, early_minutes: int | None) -> str:
    """``All that was due holds, after 3 minutes: no more is due today.``; ``loose`` of them do not.

    ``early_minutes``: after how many, where that is before the end.
    """
    held = "All that was due holds"
    if loose:
        spots = "One spot does" if loose == 1 else f"{loose} spots do"
        held = f"{spots} not hold yet, the rest does" if early_minutes else f"{spots} not hold"
    if early_minutes is None:
        return f"{held}."
    return f"{held}, after {count_of(early_minutes, 'minute')}: no more is due today."


def _days_ago(days: int) -> str:
    return {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")


def _ordinal(number: int) -> str:
    return {2: "second", 3: "third", 4: "fourth", 5: "fifth"}.get(number, f"{number}th")
