"""The drill as lines of text, for screen readers and logs: the same facts as on the screen.

What is asked for is said once, with the notes of the window hand by hand; then each repetition is a
line with its verdict and the clean run. Single marks are left out: who listens to the lines plays
meanwhile.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from coach.coaching.drill import (
    AssignmentGiven,
    CountIn,
    DrillEvent,
    DrillState,
    PlanChanged,
    Proposed,
    RepetitionEnded,
    SetAside,
    StateChanged,
)
from coach.coaching.model import Assignment
from coach.score.fingering import FingerAdvice
from coach.score.model import Hand, Score, ScoreNote
from coach.score.notation import Counts
from coach.score.window import Excerpt
from coach.screens.interfaces import GOAL_REACHED, DrillSession
from coach.screens.wording import (
    FINGERS_PRINTED,
    FINGERS_SUGGESTED,
    assignment_words,
    clean_words,
    own_notes_words,
)

PLAY = "Play when ready."
COUNTS_IN = "Any key counts in."
NO_PIANO = "No piano. Plug it in and switch it on; nothing is lost."
RESTING = "Resting. Let your hands hang loose; pain means stop. Play or type pause to go on."


class PlainDrill:
    """Puts what a drill answers into lines."""

    def __init__(self, session: DrillSession, counts: Counts, *, can_ask: bool = True) -> None:
        """``counts`` says what is counted aloud; ``can_ask``: whether anybody can type."""
        self._session, self._counts, self._can_ask = session, counts, can_ask
        self._said: Assignment | None = None
        self._advice: FingerAdvice | None = None
        self.ended: RepetitionEnded | None = None
        """The last repetition that was judged."""

    def lines(self, outcomes: Iterable[DrillEvent]) -> Iterator[str]:
        """What these outcomes are in words, in their order."""
        for outcome in outcomes:
            match outcome:
                case AssignmentGiven(assignment, excerpt):
                    yield from self._lines_of_assignment(assignment, excerpt)
                case CountIn(_, _, count_in_beats):
                    yield f"Count-in: {count_in_beats} beats."
                case RepetitionEnded():
                    self.ended = outcome
                    yield from self._lines_of_repetition(outcome)
                case SetAside(reason):
                    yield reason
                case Proposed(text) | PlanChanged(text):
                    yield text
                case StateChanged(state):
                    yield from self._lines_of_state(state)
                case _:
                    pass

    def switch_fingers(self) -> Iterator[str]:
        """Suggest fingers where none are printed, or no more, and say the notes once more."""
        self._advice = None if self._advice else FingerAdvice(self._session.score)
        yield FINGERS_SUGGESTED if self._advice else FINGERS_PRINTED
        yield from self._lines_of_notes(self._session.drill.excerpt)

    def repeat(self) -> Iterator[str]:
        """What is asked for now, once more."""
        self._said = None
        drill = self._session.drill
        yield from self._lines_of_assignment(drill.assignment, drill.excerpt)

    def _lines_of_assignment(self, assignment: Assignment, excerpt: Excerpt) -> Iterator[str]:
        score, before = self._session.score, self._said
        if assignment == before:
            return
        self._said = assignment
        yield ""
        yield f"{assignment_words(score, assignment)}. {assignment.reason}"
        if before is None or before.window != assignment.window:
            yield from self._lines_of_notes(excerpt)
            yield from own_notes_words(score, assignment.window)
        yield COUNTS_IN if assignment.click else PLAY

    def _lines_of_notes(self, excerpt: Excerpt) -> Iterator[str]:
        suggested = self._advice.suggest(excerpt.notes) if self._advice else {}
        return note_lines(self._session.score, excerpt, self._counts, suggested)

    def _lines_of_repetition(self, ended: RepetitionEnded) -> Iterator[str]:
        decision = ended.decision
        sentence = ended.judgement.sentence.rstrip(".")
        yield f"{sentence}." if decision.changed else f"{sentence}. {clean_words(decision)}."
        if decision.note:
            yield decision.note

    def _lines_of_state(self, state: DrillState) -> Iterator[str]:
        match state:
            case DrillState.NO_PIANO:
                yield NO_PIANO
            case DrillState.RESTING:
                yield RESTING
            case DrillState.FINISHED:
                coming = self._session.next_drill
                reached = coming.reached if coming else GOAL_REACHED
                on = f"type next to go on to {coming.where}" if coming else "type quit"
                yield f"{reached} Play it again, or {on}." if self._can_ask else reached
            case _:
                pass


def note_lines(
    score: Score, excerpt: Excerpt, counts: Counts, suggested: Mapping[str, str] = {}
) -> Iterator[str]:
    """The notes of a window, a line for each bar and hand: ``bar 3, RH: 1 G4 (finger 2), & A4``.

    What is counted stands before the notes that are struck on it; the landing, which the window
    leads to, is named as such. ``suggested`` has by a note's id a finger that nobody printed.
    """
    onsets = excerpt.onsets_quarters
    said = dict(zip(onsets, counts(score, onsets), strict=True))
    landing = excerpt.landing_quarters
    groups: dict[tuple[int, Hand, bool], dict[str, list[str]]] = {}
    for note in excerpt.notes:
        lands = note.onset_quarters == landing
        beats = groups.setdefault((note.bar_index, note.hand, lands), {})
        beats.setdefault(said[note.onset_quarters], []).append(
            _note_words(note, suggested.get(note.id))
        )
    for (bar, hand, lands), beats in sorted(
        groups.items(), key=lambda one: (one[0][0], one[0][2], one[0][1] is Hand.LEFT)
    ):
        notes = ", ".join(f"{count} {' '.join(names)}".strip() for count, names in beats.items())
        to = "on to " if lands else ""
        yield f"  {to}{score.bars[bar].words}, {hand.value}: {notes}"


def _note_words(note: ScoreNote, suggested: str | None) -> str:
    """``G4``, with its fingering where any is printed or suggested."""
    finger = f" (finger {'-'.join(note.fingering)})" if note.fingering else ""
    if suggested and not finger:
        finger = f" (finger {suggested}?)"
    return f"{note.spelling.words}{finger}"
