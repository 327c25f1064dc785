"""What is said of a repetition: faults, keys and places in words, and what was played instead.

All English of this room stands here; the rest of it decides by enumerations, never by words.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from statistics import fmean

from coach.judging.model import Cause, Family, Fault, Instead
from coach.score.model import Hand, Hands, Place, ScoreNote
from coach.score.pitch import Spelling, fifths_name
from coach.score.window import Excerpt

WORDS: dict[Cause, str] = {
    Cause.WRONG_KEY: "{key} for {note}",
    Cause.OCTAVE_SLIP: "{octaves} too {way}",
    Cause.SHIFTED_POSITION: "hand lies {how}",
    Cause.WRONG_ORDER: "{key} before {note}",
    Cause.CORRECTED_KEY: "{key} corrected to {note}",
    Cause.MISSED_NOTE: "{note} missed",
    Cause.MISSED_IN_CHORD: "{note} missed",
    Cause.STRETCH_LEFT_OUT: "{count} notes left out",
    Cause.SKIPPED_BEAT: "skipped {beats}",
    Cause.BRUSHED_KEY: "extra {key}",
    Cause.STUMBLE: "{did}",
    Cause.RESTART: "broke off {place} and started again",
    Cause.MISREAD_VALUE: "{note} at {place} {got}",
    Cause.MISREAD_PACE: "{notes} at {speed} their speed",
    Cause.EARLY_ENTRY: "{way} {place} ({size})",
    Cause.LATE_ENTRY: "{way} {place} ({size})",
    Cause.HESITATION: "{way} {place} ({size})",
    Cause.BARLINE_WAIT: "waits at the barline",
    Cause.STOPPED_AGAIN: "stopped again",
    Cause.ONE_HAND_LATE: "{way} {place} ({size})",
    Cause.ONE_HAND_EARLY: "{way} {place} ({size})",
    Cause.SPLIT_CHORD: "{note} after its chord ({size})",
    Cause.HANDS_DRIFT: "drifts {way} {other} ({size})",
    Cause.HAND_DISPLACED: "{size} {way} {other} from {place} on",
    Cause.UNEVEN: "uneven ({measure})",
    Cause.WRONG_PROPORTIONS: "{figure}",
    Cause.BEHIND_THE_CLICK: "behind the click ({size})",
    Cause.AHEAD_OF_THE_CLICK: "ahead of the click ({size})",
    Cause.TEMPO_DRIFT: "faster and faster ({times} times)",
    Cause.SLOWING_DOWN: "slower and slower ({times} times)",
    Cause.SLOWER_THAN_ASKED: "slower than asked ({bpm} for {asked_bpm})",
    Cause.FASTER_THAN_ASKED: "faster than asked ({bpm} for {asked_bpm})",
    Cause.EARLY_RELEASE: "let go early",
    Cause.BROKEN_SLUR: "gap under the slur",
    Cause.HELD_ON: "staccato not short",
    Cause.LATE_PEDAL: "pedal late ({size})",
    Cause.NO_PEDAL: "no pedal",
    Cause.PEDAL_NOT_CHANGED: "pedal not changed",
    Cause.NO_CONTRAST: "no {way} at the {mark}",
    Cause.NO_HAIRPIN: "no {name}",
}
"""What is said of each cause, with gaps for what it was in the case at hand."""

CLEAN = "Clean"
UNSURE = "unsure: "
"""Before what is told of a take that may have been one thing or another."""
BEHIND, AHEAD_OF = "behind", "ahead of"
LONG_TO_SHORT, SCATTERED_BY = "{ratio:.1f} to 1", "by {cv:.0%}"
"""How a row is uneven: long and short in turns, or all of it scattered."""
STARTED_AGAIN = "started again"
"""A restart in fewest words."""
STUMBLED, FELT_FOR_CHORD = "stumbled", "felt for the chord"
FIRST_OF_MANY = "{said}, first {place}"
NOTE, NOTE_AND_REST = "note", "note and rest"
"""What fills the way to the next onset, where it has no name of its own."""

# What is said besides the faults, in the details and as notices.

NOT_ASKED = " (does not count at this stage)"
EVENNESS = "{hand}: equal notes vary by {cv:.0%} (in a professional's scale by {professional:.0%})"
EVENNESS_PARTS = "; pulse {pulse_ms:.0f} ms, fingers {fingers_ms:.0f} ms"
SPREAD_CHORD = "{hand} chord spread at {place} ({size})"
UNSURE_READING = "It may have been one thing or another: it does not count"
CLICK_OFFSET = "Always {size} {way} the click: not counted"
COVERED_HAND = "The left hand covers the right"
UNJUDGED = "There was no time to judge it: it does not count."

# What figures were played as, in other proportions than written.

SWUNG = "swung: written even"
SHORT_LONG = "short and long: written even"
AS_TRIPLET = "dotted rhythm played as a triplet"
DOTTED_EVEN = "even: written dotted"
DOUBLE_DOTTED = "double dotted: written dotted"
LONG_SHORT_EVEN = "even: written long and short"
LONG_SHORT_DOTTED = "dotted: written long and short"
TRIPLET_SHORT_FIRST = "triplet played short, short, long"
TRIPLET_LONG_FIRST = "triplet played long, short, short"

NAME_THEIR_PLACE = frozenset(
    {
        Cause.RESTART,
        Cause.SKIPPED_BEAT,
        Cause.HESITATION,
        Cause.MISREAD_VALUE,
        Cause.EARLY_ENTRY,
        Cause.LATE_ENTRY,
        Cause.ONE_HAND_LATE,
        Cause.ONE_HAND_EARLY,
        Cause.HAND_DISPLACED,
    }
)
"""Causes whose words name their place already."""
_TENTHS_FROM_S = 0.095
"""From here on a time is told in tenths of a second: it rounds to a tenth or more."""


def describe(cause: Cause, **gaps: str) -> str:
    """What is said of a cause. Raises KeyError where a gap of its words is not filled."""
    return WORDS[cause].format_map(gaps)


def place(excerpt: Excerpt, onset: Fraction) -> str:
    """``beat 2``; with its bar where the window has more than one: ``bar 12, the & of 2``."""
    at = excerpt.place_of(onset)
    bar = name_bar(excerpt, at)
    if not bar:
        return at.in_bar
    if at.on_beat:
        return f"{bar} {at.in_bar}"
    return f"{bar}, {at.in_bar if '&' in at.in_bar else at.in_bar.removeprefix('the ')}"


def beat_around(excerpt: Excerpt, onset: Fraction) -> str:
    """The beat that an onset lies in, where its own name is too long: ``bar 12 beat 2``."""
    at = excerpt.place_of(onset)
    return f"{name_bar(excerpt, at)} beat {int(at.counted)}".strip()


def name_bar(excerpt: Excerpt, at: Place) -> str:
    """``bar 12``; empty for the bar of a window of one bar, and where no score stands behind it."""
    if not at.bar_number:
        return ""
    first = excerpt.places[0].bar_index
    if excerpt.is_one_bar and at.bar_index == first:
        return ""
    again = any(at.bar == one.bar and one.bar_index < at.bar_index for one in excerpt.places)
    return f"the second {at.bar}" if again else at.bar


def describe_skip(excerpt: Excerpt, onset: Fraction, count: int) -> str:
    """``skipped beat 2``, ``skipped 2 beats from beat 2``."""
    where = beat_around(excerpt, onset)
    beats = where if count == 1 else f"{count} beats from {where}"
    return describe(Cause.SKIPPED_BEAT, beats=beats)


def describe_hand_stop(excerpt: Excerpt, hand: Hand, onset: Fraction) -> tuple[str, ...]:
    """``RH stopped before beat 3, LH played on``; then the same with its beat alone."""
    other = hand.other
    ways = (f"before {place(excerpt, onset)}", f"in {beat_around(excerpt, onset)}")
    return tuple(f"{hand.value} stopped {way}, {other.value} played on" for way in ways)


def describe_break(
    excerpt: Excerpt, onset: Fraction, hand: Hand | None, *, in_chord: bool, again: bool
) -> tuple[str, ...]:
    """``RH stopped again before beat 3``; the same with its beat alone; in fewest words.

    ``hand``: the one that played on where the other had stopped; ``in_chord``: amid the onset.
    """
    who = f"{hand.value} " if hand else ""
    stopped = f"{who}stopped{' again' * again}"
    where = f"{'at' if in_chord else 'before'} {place(excerpt, onset)}"
    return f"{stopped} {where}", f"{stopped} in {beat_around(excerpt, onset)}", f"then {who}stopped"


def describe_entry(excerpt: Excerpt, onset: Fraction) -> tuple[str, ...]:
    """``began at beat 2``; then the same with its beat alone."""
    return f"began at {place(excerpt, onset)}", f"began in {beat_around(excerpt, onset)}"


def name_way(late_s: float) -> str:
    """On which side of something else it was."""
    return BEHIND if late_s > 0 else AHEAD_OF


def describe_restart(excerpt: Excerpt, onset: Fraction) -> tuple[str, str]:
    """``broke off at beat 3 and started again``; then the same with its beat alone."""
    where = f"at {place(excerpt, onset)}", f"in {beat_around(excerpt, onset)}"
    full, short = (describe(Cause.RESTART, place=one) for one in where)
    return full, short


def describe_pace(length_quarters: Fraction, ratio: float) -> str:
    """``eighths at half their speed``, where they took that many times as long as written."""
    name = (name_value(length_quarters) or "").split(" note")[0]
    speed = "half" if ratio > 1 else "twice"
    return describe(Cause.MISREAD_PACE, notes=f"{name}s" if name else "notes", speed=speed)


def describe_lateness(cause: Cause, where: str, error_s: float) -> str:
    """``late to beat 2 (0.4 s)``."""
    way = "late" if error_s > 0 else "early"
    return describe(cause, way=way, place=where, size=seconds(error_s))


_BASES = {
    Fraction(8): "breve", Fraction(4): "whole note", Fraction(2): "half note",
    Fraction(1): "quarter note", Fraction(1, 2): "eighth note", Fraction(1, 4): "sixteenth note",
    Fraction(1, 8): "thirty-second note", Fraction(1, 16): "sixty-fourth note",
}  # fmt: skip
_DOTTED, _DOUBLE_DOTTED, _TRIPLET = Fraction(3, 2), Fraction(7, 4), Fraction(2, 3)
_SHARES = {
    Fraction(1, 4): "a quarter its length", Fraction(1, 3): "a third its length",
    Fraction(1, 2): "half its length", Fraction(2, 3): "two thirds its length",
    Fraction(3, 2): "once and a half its length", Fraction(2): "twice its length",
    Fraction(3): "three times its length", Fraction(4): "four times its length",
}  # fmt: skip
_COUNTS = {
    Fraction(1, 2): "half a beat", Fraction(1): "one beat", Fraction(3, 2): "one and a half",
    Fraction(2): "two beats", Fraction(3): "three beats", Fraction(4): "four beats",
    Fraction(6): "six beats", Fraction(8): "eight beats",
}  # fmt: skip
_NUMBERS = {
    Fraction(1): "one", Fraction(2): "two", Fraction(3): "three", Fraction(4): "four",
    Fraction(6): "six", Fraction(8): "eight",
}  # fmt: skip


def name_value(quarters: Fraction) -> str | None:
    """A written length by its name: ``half note``, ``dotted quarter``; None where it has none."""
    if quarters in _BASES:
        return _BASES[quarters]
    for share, words in ((_DOTTED, "dotted"), (_DOUBLE_DOTTED, "double-dotted")):
        if quarters / share in _BASES:
            return f"{words} {_BASES[quarters / share].removesuffix(' note')}"
    if quarters / _TRIPLET in _BASES:
        return f"triplet {_BASES[quarters / _TRIPLET].removesuffix(' note')}"
    return None


def describe_length(ratio: Fraction | None, written_beats: Fraction) -> str:
    """What a note got instead of its length: ``got one beat, not two``, ``got half its length``."""
    if ratio is None:
        return "cut short"
    if written_beats in _NUMBERS and written_beats * ratio in _COUNTS:
        return f"got {_COUNTS[written_beats * ratio]}, not {_NUMBERS[written_beats]}"
    return f"got {_SHARES[ratio]}"


def describe_length_in_short(
    excerpt: Excerpt, note: str, onset: Fraction, got: str, shift_s: float
) -> tuple[str, ...]:
    """For a sentence with little room: what a note got and no more, then only the way.

    ``eighth at the & of 2 got half its length``, ``half note at the & of 2 got half a beat``,
    ``half note at the & of 2 too short``, ``half note in beat 2 too short``.
    """
    where, around = place(excerpt, onset), beat_around(excerpt, onset)
    value, note = note.removesuffix(" note"), note.partition(" and ")[0]
    way = "too long" if shift_s > 0 else "too short"
    return (
        *([] if "," in got else [f"{value} at {where} {got}"]),
        f"{note} at {where} {got.partition(',')[0]}",
        f"{note} at {where} {way}",
        f"{note} in {around} {way}",
    )


_OFF_BY = {
    Fraction(1, 2): "half a beat", Fraction(1): "a beat", Fraction(3, 2): "one and a half beats",
    Fraction(2): "two beats",
}  # fmt: skip
_OFF_NEAR = 0.15
"""So near to a number of beats, in beats, that many were miscounted. Own choice: a third of a beat
off is neither none nor a half."""


def describe_delay(shift_s: float, beat_s: float) -> str:
    """How far a hand was off its beat: ``half a beat``, ``a beat``; else ``0.7 s``."""
    beats = abs(shift_s) / beat_s
    nearest = min(_OFF_BY, key=lambda count: abs(count - beats))
    return _OFF_BY[nearest] if abs(nearest - beats) <= _OFF_NEAR else seconds(shift_s)


def seconds(value: float) -> str:
    """``0.4 s``; hundredths below a tenth."""
    size = abs(value)
    return f"{size:.1f} s" if size >= _TENTHS_FROM_S else f"{size:.2f} s"


_TIMES = {1: "once", 2: "twice"}


def name_times(count: int) -> str:
    """``once``, ``twice``, ``3 times``."""
    return _TIMES.get(count, f"{count} times")


def hand_prefix(excerpt: Excerpt, fault: Fault) -> str:
    """``LH ``; nothing for both hands, or where only one hand plays anyway."""
    if excerpt.hands is not Hands.TOGETHER or fault.hands is Hands.TOGETHER:
        return ""
    return f"{fault.hands.value} "


def describe_with_hand(
    excerpt: Excerpt, fault: Fault, *, words: str | None = None, both: bool = False
) -> str:
    """A fault with its hand: ``RH C sharp for C``, ``RH lies a step too high``.

    ``words`` may stand for its own. ``both``: each hand did it, ``both hands an octave too high``.
    """
    words = fault.words if words is None else words
    if both:
        return "both hands " + words.replace("hand lies", "lie")
    prefix = hand_prefix(excerpt, fault)
    return prefix + (words.removeprefix("hand ") if prefix else words)


def describe_with_place(excerpt: Excerpt, fault: Fault) -> str:
    """A fault with its hand and place: ``RH C sharp for C at beat 3``."""
    words = describe_with_hand(excerpt, fault)
    where = "" if fault.cause in NAME_THEIR_PLACE else list_places(excerpt, fault)[0]
    return f"{words} {where}".rstrip()


def list_places(excerpt: Excerpt, fault: Fault, *, only_first: bool = False) -> tuple[str, ...]:
    """Where it was, from the fullest words to none: ``at bar 12, the & of 2`` ....

    A fault that spans several onsets is told with where it begins and ends; one of the whole window
    is said to be there all along. ``only_first``: where it begins and no more.
    """
    first, last = fault.reach
    if first == last or only_first:
        at = fault.onset_quarters if first == last else first
        return f"at {place(excerpt, at)}", f"in {beat_around(excerpt, at)}", ""
    if fault.family is Family.TEMPO and _is_all(excerpt, fault):
        return ("",)
    if _is_all(excerpt, fault):
        return "all along", ""
    begin, near = place(excerpt, first), beat_around(excerpt, first)
    starts = (f"from {begin}", f"from {near}", "")
    if fault.cause is Cause.STRETCH_LEFT_OUT:  # how much is told besides
        return starts
    if last >= excerpt.onsets_quarters[-1]:
        return f"from {begin} on", f"from {near} on", ""
    start, end = excerpt.place_of(first), excerpt.place_of(last)
    if start.bar_index != end.bar_index:
        return f"from {begin} to {place(excerpt, last)}", *starts
    if start.on_beat and end.on_beat:
        bar = name_bar(excerpt, start)
        return f"at {bar} beats {start.counted} to {end.counted}".replace("  ", " "), *starts
    return f"from {begin} to {end.in_bar}", *starts


def _is_all(excerpt: Excerpt, fault: Fault) -> bool:
    """Whether a fault spans the window; one of time shows from the second onset on."""
    first, last = fault.reach
    onsets = excerpt.onsets_quarters
    opening = onsets[:2][-1] if fault.family in (Family.TIMING, Family.TEMPO) else onsets[0]
    return first <= opening and last >= onsets[-1]


_NAMES_NEAR = range(-3, 4)
"""Octaves of the line of fifths (twelve fifths each) in which a key has a name: from triple flats
to triple sharps, of which the nearest is taken."""
_SECONDS, _THIRDS = {1, 2}, {3, 4}
"""Semitones, minor and major."""
_FIFTHS = "FCGDAEB"
"""The white keys in the order of the line of fifths."""
_MIDDLE_OF_C_MAJOR = 2.0
"""The middle of F to B on the line of fifths, C being 0."""
_OCTAVE = 12
"""Semitones."""
_FIFTH = 7
"""Semitones, and also how far a sharp lies from its white key on the line of fifths."""
_MIDDLE_OCTAVE = 4
"""The octave that begins with middle C (scientific pitch notation)."""


def spell(pitch: int, excerpt: Excerpt) -> Spelling:
    """A key's spelling in this passage: as it is written there, else the nearest by fifths."""
    known = excerpt.spellings.get(pitch % _OCTAVE)
    if known is not None:
        step, alter = known.step, known.alter
    else:
        step, alter = fifths_name(_nearest_fifths(pitch, excerpt.spellings.values()))
    above = pitch - Spelling(step, alter, _MIDDLE_OCTAVE).midi
    octave = _MIDDLE_OCTAVE + above // _OCTAVE
    return Spelling(step, alter, octave)


def _nearest_fifths(pitch: int, known: Collection[Spelling]) -> int:
    """The place of a key on the line of fifths that lies nearest to those that are written."""
    centre = fmean(map(_fifths, known)) if known else _MIDDLE_OF_C_MAJOR
    fifths = pitch * _FIFTH % _OCTAVE
    names = (fifths + _OCTAVE * k for k in _NAMES_NEAR)
    return min(names, key=lambda name: abs(name - centre))


def _fifths(spelling: Spelling) -> int:
    return _FIFTHS.index(spelling.step) - 1 + _FIFTH * spelling.alter


def describe_wrong_key(played: int, written: ScoreNote, excerpt: Excerpt) -> str:
    """``C sharp for C``; by octaves: ``C an octave too high``.

    A sharp or a flat that was forgotten is said as that: ``B for B flat``, and never C flat.
    """
    name = written.spelling.words
    steps = played - written.pitch
    if steps == -written.spelling.alter != 0:
        natural = replace(written.spelling, alter=0)
        return describe(Cause.WRONG_KEY, key=natural.words, note=name)
    if steps % _OCTAVE == 0 and steps:
        return f"{name} {describe_octaves(steps)}"
    return describe(Cause.WRONG_KEY, key=spell(played, excerpt).words, note=name)


def describe_octaves(semitones: int) -> str:
    """``an octave too high``, ``2 octaves too low``."""
    count = abs(semitones) // _OCTAVE
    octaves = "an octave" if count == 1 else f"{count} octaves"
    return describe(Cause.OCTAVE_SLIP, octaves=octaves, way="high" if semitones > 0 else "low")


def describe_shift(semitones: Sequence[int]) -> str:
    """How a hand lies that is off its keys: ``hand lies a step too high``."""
    way = "high" if semitones[0] > 0 else "low"
    sizes = set(map(abs, semitones))
    if sizes <= _SECONDS:
        return describe(Cause.SHIFTED_POSITION, how=f"a step too {way}")
    if sizes <= _THIRDS:
        return describe(Cause.SHIFTED_POSITION, how=f"a third too {way}")
    return describe(Cause.SHIFTED_POSITION, how=f"too {way}")


# What a teacher says to what was played instead of the window: what was heard, and what to do.

OTHER_NOTES = "These are not the notes of this window."
OTHER_PLACE = "That is another place of the piece."
UNCLEAR = "Too little came through to say what was meant: play all of it."
TOO_FAST = "Too fast to hear a rhythm: play what you can count."

ONLY_THE_FIRST = "Only the first notes were played."
ONLY_ONE_STROKE = "One note or chord alone is not judged: play all of it."
TOO_FEW = "Too few notes to judge: play all of it."
AROUND = "That was not the window but what stands around it."
FALSE_START = "A false start: it does not count."
TOO_MANY_KEYS = "More keys come than two hands can play. Stop what sends them, then begin again."

_HAND_NAMES = {Hand.RIGHT: "right hand", Hand.LEFT: "left hand"}
_HALF_STEPS = (
    "no", "one", "two", "three", "four", "five",
    "six", "seven", "eight", "nine", "ten", "eleven",
)  # fmt: skip


def octave_words(by: Mapping[Hand, int]) -> str:
    """``The left hand is an octave too low: move it up.``; ``by`` in half steps for each hand."""
    moved = {hand: steps for hand, steps in by.items() if steps}
    if len(set(moved.values())) > 1:
        right, left = _octaves(moved[Hand.RIGHT]), _octaves(moved[Hand.LEFT])
        return f"Right hand {right}, left hand {left}."
    steps = next(iter(moved.values()))
    way = "down" if steps > 0 else "up"
    if len(moved) == 2:
        return f"Both hands are {_octaves(steps)}: move them {way}."
    return f"The {_HAND_NAMES[next(iter(moved))]} is {_octaves(steps)}: move it {way}."


def _octaves(steps: int) -> str:
    way = "too high" if steps > 0 else "too low"
    return f"an octave {way}" if abs(steps) == 12 else f"two octaves {way}"


def transposed_words(steps: int) -> str:
    """``All of it is two half steps too high: is transpose on?``."""
    way = "too high" if steps > 0 else "too low"
    count = f"{_HALF_STEPS[abs(steps)]} half step{'s' if abs(steps) > 1 else ''}"
    return f"All of it is {count} {way}. Is the piano's transpose switched on?"


def clef_words(hand: Hand, clef: str) -> str:
    """``The left hand read the treble clef: it is the bass clef.``."""
    other = "bass" if clef == "treble" else "treble"
    return f"The {_HAND_NAMES[hand]} read the {clef} clef: read the {other} clef."


def one_hand_words(heard: Hand) -> str:
    """Both hands are asked for, and one was heard."""
    return f"Both hands are asked for: only the {_HAND_NAMES[heard]} was heard."


def both_hands_words(asked: Hand) -> str:
    """One hand is asked for, and the other played too."""
    return f"{_HAND_NAMES[asked].capitalize()} alone: the {_HAND_NAMES[asked.other]} played too."


def other_hand_words(heard: Hand) -> str:
    """One hand is asked for, and the other was heard."""
    return f"The {_HAND_NAMES[heard.other]} is asked for: the {_HAND_NAMES[heard]} was heard."


_SHORT = {
    Instead.OCTAVE: "OCTAVE",
    Instead.TRANSPOSED: "TRANSPOSED",
    Instead.CLEF: "THE CLEF",
    Instead.ONE_HAND: "BOTH HANDS",
    Instead.NOT_RIGHT_ALONE: "RH ALONE",
    Instead.NOT_LEFT_ALONE: "LH ALONE",
    Instead.TOO_FAST: "TOO FAST",
    Instead.OTHER_NOTES: "OTHER NOTES",
    Instead.OTHER_PLACE: "ANOTHER PLACE",
    Instead.UNCLEAR: "NOT CLEAR",
}


def name_in_short(what: Instead | None) -> str:
    """What was played, or what is asked for, in a word or two, to be read from afar."""
    return _SHORT[what] if what else ""
