"""Texts shown over the drill: all keys and marks, what was heard, why this is asked for."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from functools import partial
from textwrap import fill

from coach.coaching.drill import RepetitionEnded
from coach.coaching.model import Decision
from coach.coaching.wording import trouble_lines
from coach.judging.model import Fault, Judgement, Label
from coach.judging.wording import NAME_THEIR_PLACE
from coach.playing.command_keys import CommandKey
from coach.score.model import Score
from coach.screens.keymap import (
    COMMANDS,
    DEMO_COMMANDS,
    Command,
    key_beside_letters,
    place_words,
)
from coach.screens.marks import MARK_SYMBOLS
from coach.screens.wording import bpm, clean_words

_NEAR_MS = 15.0
"""Timing errors under this are not listed: nobody hears them."""

CAUTIONS = (
    "Pain means stop. Rest ten minutes in every hour; keep headphones low.",
    "Play no stretch that strains: roll it, or leave a note out.",
    "What your teacher or your doctor tells you comes first.",
)
"""The usual cautions, for the foot of the home screen and the help."""


_LETTERS = """\
  2 3   5 6 7   9 0     black keys
 q w e r t y u i o p    C4 and up, for the right hand
  s d   g h j   l ;     black keys
 z x c v b n m , . /    C3 and up, for the left hand
Meanwhile commands take the second of their keys."""
"""On a computer keyboard with the letters in English order."""

_AT_THE_PIANO = """\
The first note of the window begins a repetition; it ends by itself.
With a click any key counts in. Playing on ends a pause and closes
what stands over the music. At the goal the lowest key goes on."""
"""What is asked for at the piano, where no hand is free for the computer."""


_COMMAND_KEYS = "While you don't play, keys that your piece leaves free ask for something:"


COLUMNS, MOST_COLUMNS = 66, 96
"""Of a text over the screen in a terminal of 80, less its frame and the bar at its side; and at
most. Own choice, because a longer row is hard to read on from."""


def columns_of_text(terminal_columns: int) -> int:
    """How wide a text over a screen of this width is: a dialog takes nine tenths of it."""
    frame = 80 * 9 // 10 - COLUMNS
    return min(terminal_columns * 9 // 10 - frame, MOST_COLUMNS)


def help_text(
    columns: int = COLUMNS, *, demo: bool = False, piano: Sequence[CommandKey] = ()
) -> str:
    """What the piano asks for, all keys, all marks, the usual cautions.

    ``piano`` are the piano's own keys that ask for something.
    """
    commands = (*(DEMO_COMMANDS if demo else ()), *COMMANDS)
    keys = "\n".join(_key_line(command, columns) for command in commands)
    marks = "\n".join(f"{face.char:>5}  {face.words}" for face in MARK_SYMBOLS.values())
    more = f"Ctrl+P finds every command by its name.\n\nLetters as piano\n{_LETTERS}"
    parts = (f"{place_words(one, piano)}: {one.command.value}" for one in piano)
    asked = fold(parts, columns)
    at_piano = f"At the piano\n{_AT_THE_PIANO}" + (f"\n{_COMMAND_KEYS}\n{asked}" if piano else "")
    cautions = "\n".join(CAUTIONS)
    return f"{at_piano}\n\nKeys\n{keys}\n\n{more}\n\nMarks under the notes\n{marks}\n\n{cautions}"


def _key_line(command: Command, columns: int) -> str:
    """Its key, the one beside it while letters are a piano, its name, what it does."""
    beside = key_beside_letters(command) if command in COMMANDS else ""
    second = "" if beside == command.shown else beside
    about = f"{command.shown:>4} {second:<6} {command.name:<16} "
    return fill(command.help, columns, initial_indent=about, subsequent_indent=" " * len(about))


def fold(parts: Iterable[str], columns: int = COLUMNS) -> str:
    """Short parts in as many rows as they need."""
    rows: list[str] = []
    for part in parts:
        if rows and len(rows[-1]) + 2 + len(part) <= columns:
            rows[-1] += f"  {part}"
        else:
            rows.append(part)
    return "\n".join(rows)


def details_text(score: Score, ended: RepetitionEnded | None) -> str:
    """The last repetition, note by note where there is something to say."""
    if ended is None:
        return "Nothing has been played yet."
    return "\n".join(detail_lines(score, ended.judgement))


def detail_lines(score: Score, judgement: Judgement) -> list[str]:
    """What can be said of a repetition, the most important first, in a screenful at most."""
    counted = [fault for fault in judgement.faults if not fault.forgiven]
    forgiven = Counter(fault.words for fault in judgement.faults if fault.forgiven)
    lines = [judgement.sentence, "", *_fault_lines(score, counted)]
    told = tuple(fault.words for fault in judgement.faults)
    lines += [line for line in judgement.details if not any(words in line for words in told)]
    lines += judgement.notices
    if judgement.qpm:
        lines.append(f"Tempo: {bpm(score, judgement.excerpt.window, judgement.qpm)} beats a minute")
    if forgiven:
        lines.append(f"Not asked for yet: {_join_counted(forgiven)}")
    furthest = sorted(_list_off_time(judgement), key=partial(_size_ms, judgement), reverse=True)
    late = [_timing_line(score, judgement, index) for index in sorted(furthest[:_MOST_LINES])]
    head = "Timing, note by note:" if len(furthest) == len(late) else "Timing, the furthest off:"
    return [*lines, *(["", head, *late] if late else [])]


_MOST_LINES = 8
"""Lines of faults at most, and of single notes' timing: with the rest a screen of 24 rows. What
comes after them matters less. Own choice."""
_MOST_PLACES = 4
"""Places of one kind of fault that are named. Own choice, because they fill a row."""


def _fault_lines(score: Score, faults: Sequence[Fault]) -> list[str]:
    """A line for each kind of fault and hand, with its first places: the heaviest first."""
    kinds: dict[tuple[str, str], list[Fault]] = {}
    for fault in faults:
        kinds.setdefault((fault.hands.value, fault.words), []).append(fault)
    lines: list[str] = []
    for (whose, words), some in list(kinds.items())[:_MOST_LINES]:
        places = [] if some[0].cause in NAME_THEIR_PLACE else [
            str(score.place(one.onset_quarters)) for one in some
        ]  # fmt: skip
        first, more = "; ".join(places[:_MOST_PLACES]), len(some) - _MOST_PLACES
        end = f"; and {more} more" if places and more > 0 else ""
        lines.append(f"{whose} {first}{end}: {words}" if first else f"{whose}: {words}")
    left = len(kinds) - len(lines)
    return [*lines, f"And {left} other faults."] if left else lines


def _join_counted(counted: Counter[str]) -> str:
    """``held on (12 times), broken slur``."""
    kinds = [f"{words} ({count} times)" if count > 1 else words for words, count in counted.items()]
    more = len(kinds) - _MOST_PLACES
    return ", ".join(kinds[:_MOST_PLACES]) + (f", and {more} other things" if more > 0 else "")


def _list_off_time(judgement: Judgement) -> list[int]:
    return [
        index
        for index, one in enumerate(judgement.score)
        if one.label is Label.MATCHED and _size_ms(judgement, index) >= _NEAR_MS
    ]


def _size_ms(judgement: Judgement, index: int) -> float:
    """How far a note is off its time."""
    return abs(judgement.score[index].error_ms or 0)


def _timing_line(score: Score, judgement: Judgement, index: int) -> str:
    one = judgement.score[index]
    note = judgement.excerpt.notes[one.note]
    place = score.place(note.onset_quarters)
    size = one.error_ms or 0
    side = "late" if size > 0 else "early"
    return f"  {note.hand.value} {place}: {note.spelling.words} {abs(size):.0f} ms {side}"


def why_text(decision: Decision) -> str:
    """The coach's reason, how far it is, and what each named place rests on."""
    lines = [decision.assignment.reason, f"So far: {clean_words(decision)}."]
    for trouble in decision.troubles:
        lines += ["", *trouble_lines(trouble)]
    return "\n".join(lines)
