"""A practice sheet opened: checked against its score, looked up in the record, and followed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from coach.cli.errors import CannotDo
from coach.cli.open_score import open_piece
from coach.cli.passages import Make, PassageFollower, SetPassage
from coach.cli.practice_sheet import (
    Mistake,
    PracticeSheet,
    SheetTask,
    place_in_score,
    read_sheet,
)
from coach.coaching.planning import PlayedOnce
from coach.coaching.wording import HANDS, stretch_words
from coach.score.markings import apply_markings
from coach.score.model import Score

LARGEST_BYTES = 1 << 20
"""No sheet that people write is larger."""
NEAR_TEMPO = 0.95
"""Share of the tempo asked for from which it counts as reached. Own choice: nobody hears less."""
DONE = "The sheet is done for today."


@dataclass(frozen=True)
class OpenSheet:
    """A sheet in its score."""

    sheet: PracticeSheet
    path: Path
    """The score's."""
    score: Score
    """As it was opened last."""
    tasks: tuple[SheetTask, ...]

    def write_fingerings(self, score: Score) -> Score:
        """The score with the sheet's fingerings in it, for as long as the sheet is followed."""
        return apply_markings(score, (one for task in self.tasks for one in task.fingerings))


def open_sheet(file: Path, data: Path | None, tell: Callable[[str], None]) -> OpenSheet:
    """Read it and open its score. Raises CannotDo with every mistake; ScoreError and its like."""
    sheet = _read(file)
    path = file.parent / Path(sheet.score).expanduser()
    if not path.is_file():
        missing = sheet.places.mistake(("score",), f"there is no file {path}")
        raise CannotDo(_mistakes_words(file, [missing]))
    score = open_piece(path, data=data, on_progress=tell)
    tasks, mistakes = place_in_score(sheet, score)
    if mistakes:
        raise CannotDo(_mistakes_words(file, mistakes))
    return OpenSheet(sheet, path, score, tuple(tasks))


def _read(file: Path) -> PracticeSheet:
    try:
        with file.open("rb") as opened:
            data = opened.read(LARGEST_BYTES + 1)
        text = data.decode("utf-8")
    except OSError as error:
        raise CannotDo(f"{file} can't be read ({error.strerror or error}).") from error
    except UnicodeDecodeError as error:
        raise CannotDo(f"{file} is no text in UTF-8: save it as that.") from error
    if len(data) > LARGEST_BYTES:
        raise CannotDo(f"{file} is far larger than a practice sheet.")
    sheet, mistakes = read_sheet(text)
    if sheet is None:
        raise CannotDo(_mistakes_words(file, mistakes))
    return sheet


def _mistakes_words(file: Path, mistakes: Sequence[Mistake]) -> str:
    """``sheet.toml, line 7, column 1: ...``, one mistake a line."""
    return "\n".join(f"{file}, {one}" for one in mistakes)


# -- what of it is done ---------------------------------------------------------------------------


def held_on(task: SheetTask, played: Iterable[PlayedOnce], day_of: Callable[[float], int]) -> int:
    """The last day on which the passage held as the sheet asks: so many clean ones running at its
    tempo; 0 where there is none."""
    window, goal = task.goal.window, task.goal
    key = str(window.start_quarters), str(window.end_quarters), window.hands.value
    run = held = 0
    for one in played:
        if one.window != key:
            continue
        is_quick = one.qpm is None or one.qpm >= NEAR_TEMPO * goal.qpm
        run = run + 1 if one.clean and is_quick else 0
        if run >= goal.clean_required:
            held = day_of(one.at_s)
    return held


def order_tasks(tasks: Sequence[SheetTask], held: Sequence[int]) -> list[SheetTask]:
    """What is to be played, in this order: what hasn't held yet before what has, the longest ago
    first; of those the one that is due first; else as the sheet has them."""
    ats = sorted(range(len(tasks)), key=lambda at: (held[at], tasks[at].by or date.max, at))
    return [tasks[at] for at in ats]


def sheet_lines(opened: OpenSheet, held: Sequence[int]) -> list[str]:
    """The sheet as text: what is asked for, by when, and whether it has held."""
    sheet, score = opened.sheet, opened.score
    by = f", by {_day(sheet.by)}" if sheet.by else ""
    lines = [f"{sheet.piece or score.title or opened.path.name}{by}"]
    lines += [sheet.remark] if sheet.remark else []
    for number, (task, on) in enumerate(zip(opened.tasks, held, strict=True), start=1):
        stands = f"held on {_day(date.fromordinal(on))}" if on else "not yet"
        lines.append(f"{number}. {task_words(score, task)}: {stands}")
        lines += [f"   {task.remark}"] if task.remark else []
        lines += [f"   {one}" for one in task.fingerings]
        window = task.goal.window
        notes = score.own_notes_in(window.start_quarters, window.end_quarters)
        lines += [f"   Your note on {one.bars}: {one.words}" for one in notes]
    return lines


def task_words(score: Score, task: SheetTask) -> str:
    """``bars 5 to 8, left hand alone, at 72, 3 clean running, by 3 December``."""
    goal = task.goal
    beat = float(score.bar_at(goal.window.start_quarters).metre.beat_quarters)
    by = f", by {_day(task.by)}" if task.by else ""
    return (
        f"{stretch_words(score, goal.window)}, {HANDS[goal.window.hands]}, "
        f"at {goal.qpm / beat:.0f}, {goal.clean_required} clean running{by}"
    )


def _day(day: date) -> str:
    return f"{day.day} {day:%B}"


# -- followed -------------------------------------------------------------------------------------


def follow_sheet(opened: OpenSheet, tasks: Sequence[SheetTask], make: Make) -> PassageFollower:
    """Leads through a sheet; ``tasks`` in the order in which they are to be played."""
    of = len(opened.tasks)
    passages = [
        SetPassage(task.goal, f"{opened.tasks.index(task) + 1} of {of} on the sheet")
        for task in tasks
    ]
    return PassageFollower(opened.path, passages, make, DONE)
