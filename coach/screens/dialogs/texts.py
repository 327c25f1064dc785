"""Texts shown over the drill: all keys and marks, what was heard, why this is asked for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from coach.coaching.drill import RepetitionEnded
from coach.coaching.model import Decision
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


def help_text(*, demo: bool = False, piano: Sequence[CommandKey] = ()) -> str:
    """What the piano asks for, all keys, all marks, the usual cautions.

    ``piano`` are the piano's own keys that ask for something.
    """
    commands = (*(DEMO_COMMANDS if demo else ()), *COMMANDS)
    keys = "\n".join(map(_key_line, commands))
    marks = "\n".join(f"{face.char:>5}  {face.words}" for face in MARK_SYMBOLS.values())
    more = f"Ctrl+P finds every command by its name.\n\nLetters as piano\n{_LETTERS}"
    asked = fold(f"{place_words(one, piano)}: {one.command.value}" for one in piano)
    at_piano = f"At the piano\n{_AT_THE_PIANO}" + (f"\n{_COMMAND_KEYS}\n{asked}" if piano else "")
    cautions = "\n".join(CAUTIONS)
    return f"{at_piano}\n\nKeys\n{keys}\n\n{more}\n\nMarks under the notes\n{marks}\n\n{cautions}"


def _key_line(command: Command) -> str:
    """Its key, the one beside it while letters are a piano, its name, what it does."""
    beside = key_beside_letters(command) if command in COMMANDS else ""
    second = "" if beside == command.shown else beside
    return f"{command.shown:>5} {second:<6}  {command.name:<17} {command.help}"


def fold(parts: Iterable[str], columns: int = 66) -> str:
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
    """What can be said of a repetition, the most important first."""
    lines = [judgement.sentence, ""]
    for fault in judgement.faults:
        mild = " (not asked for yet)" if fault.forgiven else ""
        lines.append(f"{_whose_and_where(score, fault)}{fault.words}{mild}")
    told = tuple(fault.words for fault in judgement.faults)
    lines += [line for line in judgement.details if not any(words in line for words in told)]
    lines += judgement.notices
    if judgement.qpm:
        lines.append(f"Tempo: {bpm(score, judgement.excerpt.window, judgement.qpm)} beats a minute")
    late = [_timing_line(score, judgement, index) for index in _list_off_time(judgement)]
    return [*lines, *(["", "Timing, note by note:", *late] if late else [])]


def _whose_and_where(score: Score, fault: Fault) -> str:
    """``RH bar 2, beat 3: ``; whose only, where the words name the place."""
    if fault.cause in NAME_THEIR_PLACE:
        return f"{fault.hands.value}: "
    return f"{fault.hands.value} {score.place(fault.onset_quarters)}: "


def _list_off_time(judgement: Judgement) -> list[int]:
    return [
        index
        for index, one in enumerate(judgement.score)
        if one.label is Label.MATCHED and abs(one.error_ms or 0) >= _NEAR_MS
    ]


def _timing_line(score: Score, judgement: Judgement, index: int) -> str:
    one = judgement.score[index]
    note = judgement.excerpt.notes[one.note]
    place = score.place(note.onset_quarters)
    size = one.error_ms or 0
    side = "late" if size > 0 else "early"
    return f"  {note.hand.value} {place}: {note.spelling.words} {abs(size):.0f} ms {side}"


def why_text(why: str, decision: Decision) -> str:
    """The coach's reasons, with the evidence."""
    lines = [decision.assignment.reason, f"So far: {clean_words(decision)}."]
    if why != decision.assignment.reason:
        lines += ["", why]
    for trouble in decision.troubles:
        sure = round(100 * trouble.sure)
        lines += ["", f"{trouble.place}: {trouble.kind.value}, {sure} % sure", trouble.evidence]
    return "\n".join(lines)
