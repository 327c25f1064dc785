"""Prints every sentence on a repetition, and the take that makes it.

    python -m scripts.sentences

What is written and what was played stand below each sentence, in the notation of
``tests/notated.py``. That each take makes its sentence is tested (``tests/test_sentences.py``).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from coach.judging.faults import CATALOGUE
from tests.sentences import (
    DOUBTFUL,
    INSTEAD,
    MORE,
    OF_CAUSES,
    OF_PLACES,
    SAID_ONCE,
    SET_ASIDE,
    WHOLE,
    AtThePiano,
    Take,
)
from tests.test_catalogue import MADE
from tests.test_lesson_sentences import ASKED, PLANNED, SAID


def list_lines() -> Iterator[str]:
    """The list, line by line."""
    yield "Of each cause, at the first stage that asks for it:"
    for cause, sentence in OF_CAUSES.items():
        made = MADE[cause]
        yield f"\n{sentence}"
        yield f"    ({cause}, {CATALOGUE[cause].stages[0]}; {made.qpm:g} quarters a minute)"
        yield from _list_hands("written", made.score)
        yield from _list_hands("played", {"RH": made.take})
    for title, takes in (
        ("Said once, with its span, its hands and how often:", SAID_ONCE),
        ("Places:", OF_PLACES),
        ("Doubt:", DOUBTFUL),
        ("In the details:", MORE),
        ("Something else than the window:", INSTEAD),
    ):
        yield f"\n\n{title}"
        for take in takes:
            yield from _list_take(take)
    yield "\n\nNot judged, at the piano:"
    yield from _list_hands("written", WHOLE)
    for at_piano in SET_ASIDE:
        yield from _list_keys(at_piano)
    yield "\n\nOf the coach, in lessons of four bars in quarters at 96:"
    for sentence, lesson in SAID:
        yield f"\n{sentence}\n    ({lesson})"
    yield "\n\nAnswers to wishes:"
    for answer, wish in (*ASKED, *PLANNED):
        yield f"\n{answer}\n    (asked for: {wish})"


def _list_take(take: Take) -> Iterator[str]:
    yield f"\n{take.sentence}"
    asked = "" if take.asked == "both" else f", {take.asked} asked for"
    yield f"    ({take.stage}; {take.qpm:g} quarters a minute{asked})"
    yield from _list_hands("written", take.score)
    yield from _list_hands("played", take.lines)


def _list_keys(take: AtThePiano) -> Iterator[str]:
    yield f"\n{take.sentence}"
    yield f"    played   {take.keys}; then {take.then}"


def _list_hands(what: str, lines: Mapping[str, str]) -> Iterator[str]:
    for hand, line in lines.items():
        yield f"    {what:8} {hand}  {' '.join(line.split()) or 'nothing'}"


def main() -> None:
    """Print the list."""
    print("\n".join(list_lines()))


if __name__ == "__main__":
    main()
