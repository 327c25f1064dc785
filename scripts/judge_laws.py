"""The laws of every judgement, whatever was played; and what may not change with the clock."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from math import isfinite
from typing import Any

from coach.judging.model import Family, Judgement, Label
from coach.judging.serialize import judgement_to_plain
from coach.judging.verdict import MOST_WORDS
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt

OF_NOTES = {Label.MATCHED, Label.WRONG, Label.MISSED}
OF_KEYS = {Label.MATCHED, Label.WRONG, Label.EXTRA, Label.REPEATED}


def broken_laws(excerpt: Excerpt, take: Sequence[PlayedNote], judgement: Judgement) -> list[str]:
    """Each law that the judgement breaks, in words."""
    return [law for law, holds in _laws(excerpt, take, judgement) if not holds]


def _laws(
    excerpt: Excerpt, take: Sequence[PlayedNote], found: Judgement
) -> Iterator[tuple[str, Any]]:
    keys, notes = found.played, found.score
    yield "each key once, in order", [key.played for key in keys] == list(range(len(take)))
    yield "each note once, in order", [one.note for one in notes] == list(range(len(excerpt.notes)))
    yield "a key is matched, wrong, extra or repeated", {key.label for key in keys} <= OF_KEYS
    yield "a note is matched, wrong or missed", {one.label for one in notes} <= OF_NOTES
    yield (
        "a note has a key unless it is missed",
        all((one.played is None) == (one.label is Label.MISSED) for one in notes),
    )
    same = excerpt.same_key  # notes that another one of the same key and onset is struck for
    struck = Counter(one.played for one in notes if one.played is not None and one.note not in same)
    yield "no key stands for two notes", max(struck.values(), default=1) == 1
    inside = all(0 <= at < len(take) for at in struck)
    yield "a note's key is one of the take", inside
    if inside:
        yield (
            "the note of a matched key is its own",
            all(
                (excerpt.notes[one.note].pitch == take[one.played].pitch)
                == (one.label is Label.MATCHED)
                and keys[one.played].label is one.label
                and keys[one.played].note == same.get(one.note, one.note)
                for one in notes
                if one.played is not None
            ),
        )
    counted = [fault for fault in found.faults if not fault.forgiven]
    yield "clean: no fault that counts", not (found.clean and counted)
    yield "clean: played to the end", found.complete or not found.clean
    yield (
        "not clean: for a reason",
        found.clean or counted or not (found.complete and found.is_repetition),
    )
    yield (
        "something else than the window is no fault",
        found.is_repetition or not (counted or found.clean),
    )
    yield "nothing struck is not clean", take or not found.clean
    words = found.sentence.split()
    yield "a sentence of few words", 0 < len(words) <= MOST_WORDS or not found.is_repetition
    said = (found.sentence, *found.details, *found.notices, *(one.words for one in found.faults))
    yield "no fraction in words", not any(FRACTION.search(line) for line in said)
    yield (
        "nothing is said twice",
        not any(map(_repeats, (found.sentence.split("; "), *_told(found)))),
    )
    yield "all that is said can be shown", all(line.isprintable() for line in said)
    yield "no nan in words", not any(" nan" in line or "inf " in line for line in said)
    yield (
        "one result for each move",
        [one.transition for one in found.transitions] == list(excerpt.transitions),
    )
    yield "weights", all(0 <= fault.weight <= 1 for fault in found.faults)
    figures = [found.qpm, found.offset_ms, *(one.error_ms for one in notes)]
    figures += [one.error_beats for one in notes] + [fault.size_ms for fault in found.faults]
    yield "figures are finite", all(figure is None or isfinite(figure) for figure in figures)
    yield "a tempo is more than nothing", found.qpm is None or found.qpm > 0
    onsets = {note.onset_quarters for note in excerpt.notes}
    yield "a fault lies at an onset", all(one.onset_quarters in onsets for one in found.faults)
    yield "it can be written as data", _is_data(judgement_to_plain(found))


FRACTION = re.compile(r"\d/\d")
"""A place in a bar is named as it is counted: the last sixteenth of beat 2."""


def _told(found: Judgement) -> Iterator[list[str]]:
    """All the details; and what is told of the time of each onset, by whom."""
    yield list(found.details)
    told: dict[object, list[str]] = {}
    for fault in found.faults:
        if fault.family is Family.TIMING and fault.note is None:
            told.setdefault((fault.onset_quarters, fault.hands), []).append(fault.words)
    yield from told.values()


def _repeats(lines: Sequence[str]) -> bool:
    return len({line.lower() for line in lines}) < len(lines)


def _is_data(plain: object) -> bool:
    try:
        return bool(json.dumps(plain, allow_nan=False))
    except ValueError:
        return False


def differences(here: Judgement, there: Judgement) -> list[str]:
    """What differs in two verdicts that should be one."""
    out = []
    for name in ("clean", "complete", "unsure", "is_repetition", "sentence"):
        if getattr(here, name) != getattr(there, name):
            out.append(f"{name}: {getattr(here, name)} / {getattr(there, name)}")
    if [one[:3] for one in here.score] != [one[:3] for one in there.score]:
        out.append("the notes' labels")
    if here.played != there.played:
        out.append("the keys' labels")
    causes = [[(f.transition, f.onset_quarters, f.cause) for f in j.faults] for j in (here, there)]
    if causes[0] != causes[1]:
        out.append(
            f"the faults: {[f.words for f in here.faults]} / {[f.words for f in there.faults]}"
        )
    return out
