"""Other ways of practising a place: its notes without rhythm, dotted, or gathered into chords.

What is played the same way again and again, and won't come, is asked for in another way (common
practice). Each exercise is a window in a form of its own (``score/forms.py``): it is drawn and
judged as that, never by the print.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from coach.coaching.model import Assignment, AssignmentKind, Exercise, TroubleKind
from coach.coaching.windows import PracticeMap
from coach.coaching.wording import OTHER_WAY
from coach.judging.model import Stage
from coach.score.forms import WrittenForm
from coach.score.window import Window, excerpt

CLEAN_REQUIRED = 2
"""Clean ones running that an exercise asks for. Own choice: it is a way back, and not the goal."""
MOST_TRIES = 3
"""Repetitions after which an exercise is over, clean or not; two unclean ones running end it
sooner, like all else. Own choice: its use is the change."""
SLOWER_SHARE = 0.8
"""Tempo of an exercise in another rhythm, as a share of what was asked for. Own choice, because its
short notes come at twice the speed."""


FORMS = {
    Exercise.NOTES: WrittenForm.AS_WRITTEN,
    Exercise.DOTTED: WrittenForm.DOTTED,
    Exercise.SHORT_LONG: WrittenForm.SHORT_LONG,
    Exercise.BLOCKED: WrittenForm.BLOCKED,
}
ORDER = {
    TroubleKind.REACH: (Exercise.BLOCKED, Exercise.NOTES, Exercise.DOTTED, Exercise.SHORT_LONG),
    TroubleKind.READING: (Exercise.NOTES, Exercise.BLOCKED, Exercise.DOTTED, Exercise.SHORT_LONG),
}
USUAL_ORDER = (Exercise.NOTES, Exercise.DOTTED, Exercise.SHORT_LONG, Exercise.BLOCKED)
"""Which exercise comes first. Own choice: a leap is felt as a grip; what is not known yet is read;
for all else the keys first, then the rhythm."""


def choose_exercise(
    practice_map: PracticeMap,
    windows: Sequence[Window],
    kind: TroubleKind | None,
    used: Iterable[Exercise],
) -> tuple[Exercise, Window] | None:
    """The next exercise, and the first of these windows in which it changes something.

    None where none is left.
    """
    done = set(used)
    order = ORDER.get(kind, USUAL_ORDER) if kind else USUAL_ORDER
    for exercise in (one for one in order if one not in done):
        for window in windows:
            if _is_one(practice_map, window, exercise):
                return exercise, window
    return None


def _is_one(practice_map: PracticeMap, window: Window, exercise: Exercise) -> bool:
    form = FORMS[exercise]
    if form is WrittenForm.AS_WRITTEN:
        return True
    plain = excerpt(practice_map.score, window)
    return excerpt(practice_map.score, replace(window, form=form)).notes != plain.notes


def make_exercise(exercise: Exercise, asked: Assignment, slowest_qpm: float | None) -> Assignment:
    """The exercise, made of what was asked for; nothing slower than ``slowest_qpm``."""
    in_rhythm = exercise in (Exercise.DOTTED, Exercise.SHORT_LONG)
    slower_qpm = max(SLOWER_SHARE * (asked.qpm or 0.0), slowest_qpm or 0.0)
    return replace(
        asked,
        window=replace(asked.window, form=FORMS[exercise]),
        qpm=slower_qpm if in_rhythm and asked.qpm else None,
        stage=Stage.RHYTHM if in_rhythm else Stage.NOTES,
        clean_required=CLEAN_REQUIRED,
        kind=AssignmentKind.OTHER_WAY,
        reason=OTHER_WAY[exercise],
        click=False,
    )


def list_untried(used: Iterable[Exercise]) -> list[Exercise]:
    """The ways in which a place was not practised yet, the most useful first."""
    done = set(used)
    return [one for one in USUAL_ORDER if one not in done]
