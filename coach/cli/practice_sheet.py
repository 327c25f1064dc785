"""The practice sheet: what a teacher sets; read, held against its score, followed, and written.

It is a small file in TOML (https://toml.io/en/v1.0.0)::

    piece = "Two Lamps"
    score = "two-lamps.musicxml"        # beside the sheet, or a whole path
    by = 2026-12-10                     # the lesson

    [[passage]]
    bars = "5-8"                        # as printed; "#3" is the third
    beats = "3-2"                       # where it is no whole bars
    hands = "lh"                        # rh, lh or both
    tempo = 72                          # beats a minute
    clean = 3                           # so many clean ones running
    by = 2026-12-03
    stage = "rhythm"
    remark = "Think the leap before you play it."
    fingering = ["bar 5 beat 2 F3 finger 4"]

Only ``score`` and each passage's ``bars`` have to be there. Every mistake is told with its line and
column. TOML's own reader says where a file is no TOML, but not where a value stood that is none of
ours; so the places are found here, by going through the text once more.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from difflib import get_close_matches
from pathlib import Path
from typing import Any, NamedTuple

from coach.cli.errors import CannotDo
from coach.cli.open_score import open_piece
from coach.cli.passages import Make, PassageFollower, SetPassage
from coach.coaching.model import USUAL_CLEAN, Goal
from coach.coaching.planning import PlayedOnce
from coach.coaching.wording import HANDS, stretch_words
from coach.judging.model import Stage
from coach.score.hand_moves import MoveError
from coach.score.markings import Fingering, apply_markings, check_marking, parse_marking
from coach.score.model import Score
from coach.score.window import WindowError, choose_window

SLOWEST, QUICKEST = 10, 400
"""Beats a minute, as for ``coach drill --tempo``."""
MOST_CLEAN = 100
"""As for ``coach drill --clean``."""


class Mistake(NamedTuple):
    """What is wrong in a sheet, and where."""

    line: int
    column: int
    words: str

    def __str__(self) -> str:
        return f"line {self.line}, column {self.column}: {self.words}"


@dataclass(frozen=True, slots=True)
class SheetPassage:
    """One passage as it is written."""

    bars: str
    beats: str | None
    hands: str
    tempo: float | None
    clean: int
    stage: Stage
    by: date | None
    remark: str
    fingering: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PracticeSheet:
    """A sheet that is well formed; whether its score has such passages is another question."""

    piece: str
    score: str
    by: date | None
    remark: str
    passages: tuple[SheetPassage, ...]
    places: Places


@dataclass(frozen=True, slots=True)
class SheetTask:
    """One passage of a sheet in its score."""

    goal: Goal
    by: date | None
    remark: str
    fingerings: tuple[Fingering, ...]


def read_sheet(text: str) -> tuple[PracticeSheet | None, list[Mistake]]:
    """The sheet, or everything that is wrong with it."""
    try:
        plain = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, [_toml_mistake(str(error), text)]
    reader = _Reader(Places.find(text))
    sheet = reader.sheet(plain)
    return (None if reader.mistakes else sheet), _in_order(reader.mistakes)


def place_in_score(sheet: PracticeSheet, score: Score) -> tuple[list[SheetTask], list[Mistake]]:
    """The sheet's passages in their score, and those that it doesn't have."""
    tasks: list[SheetTask] = []
    mistakes: list[Mistake] = []
    for at, one in enumerate(sheet.passages):
        fingerings, wrong = _place_fingerings(sheet, at, score)
        mistakes += wrong
        try:
            window = choose_window(score, bars=one.bars, beats=one.beats, hands=one.hands)
        except WindowError as error:
            key = "bars" if one.beats is None or "bar" in str(error).split()[:4] else "beats"
            mistakes.append(sheet.places.mistake(("passage", at, key), str(error)))
            continue
        beat = float(score.bar_at(window.start_quarters).metre.beat_quarters)
        qpm = one.tempo * beat if one.tempo else score.tempo_at(window.start_quarters)
        goal = Goal(window, qpm, one.stage, one.clean, reason=one.remark, is_set_work=True)
        tasks.append(SheetTask(goal, one.by or sheet.by, one.remark, tuple(fingerings)))
    return tasks, _in_order(mistakes)


def _place_fingerings(
    sheet: PracticeSheet, at: int, score: Score
) -> tuple[list[Fingering], list[Mistake]]:
    """A passage's fingerings, each of a note that is there."""
    fingerings: list[Fingering] = []
    mistakes: list[Mistake] = []
    for nth, line in enumerate(sheet.passages[at].fingering):
        try:
            marking = parse_marking(line)
            if not isinstance(marking, Fingering):
                raise MoveError(f'"{line}" is a note; write it as the remark.')
            check_marking(score, marking)
            fingerings.append(marking)
        except MoveError as error:
            place = ("passage", at, "fingering", nth)
            mistakes.append(sheet.places.mistake(place, str(error)))
    return fingerings, mistakes


def _in_order(mistakes: Iterable[Mistake]) -> list[Mistake]:
    return sorted(mistakes, key=lambda one: one[:2])


# -- what is written ------------------------------------------------------------------------------

_SHEET_KEYS = ("piece", "score", "by", "remark", "passage")
_PASSAGE_KEYS = ("bars", "beats", "hands", "tempo", "clean", "by", "stage", "remark", "fingering")
KeyPath = tuple[str | int, ...]
"""Where a value stands in the file: ``("passage", 0, "bars")``."""


class _Reader:
    """Reads the values and collects what is wrong with them."""

    def __init__(self, places: Places) -> None:
        self.mistakes: list[Mistake] = []
        self._places = places

    def sheet(self, plain: Mapping[str, Any]) -> PracticeSheet:
        self._know(plain, _SHEET_KEYS, ())
        passages = plain.get("passage", [])
        if not isinstance(passages, list) or not all(isinstance(p, dict) for p in passages):
            self._add(("passage",), "write each passage under a line [[passage]]")
            passages = []
        elif not passages:
            self._add((), "there is no passage; write each under a line [[passage]]")
        score = self._text(plain, ("score",))
        if not score and isinstance(plain.get("score", ""), str):
            self._add(("score",) if "score" in plain else (), 'name the score: score = "FILE"')
        return PracticeSheet(
            self._text(plain, ("piece",)),
            score,
            self._day(plain, ("by",)),
            self._text(plain, ("remark",)),
            tuple(self._passage(one, ("passage", at)) for at, one in enumerate(passages)),
            self._places,
        )

    def _passage(self, plain: Mapping[str, Any], path: KeyPath) -> SheetPassage:
        self._know(plain, _PASSAGE_KEYS, path)
        bars = plain.get("bars")
        if isinstance(bars, int) and not isinstance(bars, bool):
            bars = str(bars)
        if not isinstance(bars, str) or not bars.strip():
            where = (*path, "bars") if "bars" in plain else path
            self._add(where, 'say which bars: bars = "5-8"')
            bars = "1"
        tempo = self._number(plain, (*path, "tempo"), SLOWEST, QUICKEST)
        clean = self._number(plain, (*path, "clean"), 1, MOST_CLEAN, whole=True)
        return SheetPassage(
            bars,
            self._text(plain, (*path, "beats")) or None,
            self._one_of(plain, (*path, "hands"), ("both", "rh", "lh")),
            tempo,
            int(clean or USUAL_CLEAN),
            Stage(self._one_of(plain, (*path, "stage"), _STAGES)),
            self._day(plain, (*path, "by")),
            self._text(plain, (*path, "remark")),
            self._lines(plain, (*path, "fingering")),
        )

    def _know(self, plain: Mapping[str, Any], known: Sequence[str], path: KeyPath) -> None:
        for key in plain:
            if key not in known:
                near = get_close_matches(key, known, 1)
                hint = f"did you mean {near[0]}?" if near else f"there are: {', '.join(known)}."
                self._add((*path, key), f"there is no key {key}; {hint}")

    def _text(self, plain: Mapping[str, Any], path: KeyPath) -> str:
        found = plain.get(str(path[-1]), "")
        if isinstance(found, str):
            return " ".join(found.split())
        self._add(path, f'{path[-1]} is a text: {path[-1]} = "..."')
        return ""

    def _lines(self, plain: Mapping[str, Any], path: KeyPath) -> tuple[str, ...]:
        found = plain.get("fingering", [])
        if isinstance(found, list) and all(isinstance(one, str) for one in found):
            return tuple(found)
        self._add(path, 'fingering is a list: fingering = ["bar 3 beat 2 F4 finger 4"]')
        return ()

    def _day(self, plain: Mapping[str, Any], path: KeyPath) -> date | None:
        found = plain.get("by")
        if found is None or (isinstance(found, date) and not isinstance(found, datetime)):
            return found
        self._add(path, "write the day without quotes or a time: by = 2026-12-03")
        return None

    def _number(
        self, plain: Mapping[str, Any], path: KeyPath, low: int, high: int, *, whole: bool = False
    ) -> float | None:
        found, key = plain.get(str(path[-1])), path[-1]
        if found is None:
            return None
        kinds = (int,) if whole else (int, float)
        if type(found) in kinds and low <= found <= high:
            return float(found)
        kind = "a whole number" if whole else "a number"
        self._add(path, f"{key} is {kind} from {low} to {high}, without quotes")
        return None

    def _one_of(self, plain: Mapping[str, Any], path: KeyPath, words: Sequence[str]) -> str:
        """One of some words; the first where nothing is said."""
        found = plain.get(str(path[-1]), words[0])
        if isinstance(found, str) and found.lower() in words:
            return found.lower()
        self._add(path, f"{path[-1]} is one of: {', '.join(sorted(words))}")
        return words[0]

    def _add(self, path: KeyPath, words: str) -> None:
        self.mistakes.append(self._places.mistake(path, words))


_STAGES = ("rhythm", *(stage.value for stage in Stage if stage is not Stage.RHYTHM))


# -- where it is written --------------------------------------------------------------------------

_AT = re.compile(r"^(.*) \(at line (\d+), column (\d+)\)$", re.S)

_A_DATE = re.compile(r"^\s*by\s*=\s*(\d+-\d+-\d+)\s*(?:#.*)?$")


def _toml_mistake(said: str, text: str) -> Mistake:
    """What TOML's reader says, whose place stands in its sentence, and how a line is written."""
    if found := _AT.match(said):
        line = text.split("\n")[int(found[2]) - 1]
        if date_there := _A_DATE.match(line):
            words = f"{date_there[1]} is no day; write it like by = 2026-12-10"
            return Mistake(int(found[2]), date_there.start(1) + 1, words)
        return Mistake(int(found[2]), int(found[3]), f"{found[1]}; {_HOW_A_LINE_IS}")
    lines = text.split("\n")
    reason = said.removesuffix(" (at end of document)")
    return Mistake(len(lines), len(lines[-1]) + 1, f"{reason}; {_HOW_A_LINE_IS}")


_HOW_A_LINE_IS = 'a line is written like bars = "5-8", with words in quotes'


@dataclass(frozen=True, slots=True)
class Places:
    """The line and the column of each key and of each value in a list."""

    _at: Mapping[KeyPath, tuple[int, int]]

    @classmethod
    def find(cls, text: str) -> Places:
        """Those of a text that TOML's reader has read."""
        starts = [0, *(found.end() for found in re.finditer("\n", text))]
        out: dict[KeyPath, tuple[int, int]] = {}
        for path, at in _Scanner(text).places():
            line = next(n for n, start in reversed([*enumerate(starts)]) if start <= at)
            out.setdefault(path, (line + 1, at - starts[line] + 1))
        return cls(out)

    def mistake(self, path: KeyPath, words: str) -> Mistake:
        """A mistake at a value, or where that stands nowhere at what it would stand in."""
        while path and path not in self._at:
            path = path[:-1]
        return Mistake(*self._at.get(path, (1, 1)), words)


_TOKEN = re.compile(
    r"""(?P<space>[ \t\r\n]+ | \#[^\n]*)
    | (?P<string>\"\"\"(?:[^\\]|\\.)*?\"{3,5} | '''.*?'{3,5} | "(?:[^"\\\n]|\\.)*" | '[^'\n]*')
    | (?P<mark>[\[\]{},=.])
    | (?P<bare>[^\s\[\]{},=.\#"']+)""",
    re.VERBOSE | re.DOTALL,
)


class _Scanner:
    """Goes through the tokens of a TOML text and tells where keys and list items begin."""

    def __init__(self, text: str) -> None:
        self._tokens = [
            (str(found.lastgroup), found[0], found.start())
            for found in _TOKEN.finditer(text)
            if found.lastgroup != "space"
        ]
        self._lines = [text.count("\n", 0, at) for _, _, at in self._tokens]
        self._next = 0
        self._counts: dict[KeyPath, int] = {}

    def places(self) -> Iterator[tuple[KeyPath, int]]:
        """Each place, in the order of the text."""
        table: KeyPath = ()
        while self._next < len(self._tokens):
            _, token, at = self._tokens[self._next]
            if token == "[":
                table = self._header()
                yield table, at
            else:
                yield from self._pair(table)

    def _header(self) -> KeyPath:
        is_array = self._token(1) == "["
        self._next += 2 if is_array else 1
        name = self._key()
        self._next += 2 if is_array else 1
        if not is_array:
            return name
        count = self._counts.get(name, 0)
        self._counts[name] = count + 1
        return (*name, count)

    def _pair(self, table: KeyPath) -> Iterator[tuple[KeyPath, int]]:
        at = self._tokens[self._next][2]
        path = (*table, *self._key())
        yield path, at
        self._next += 1  # the sign of equality
        yield from self._value(path)

    def _key(self) -> KeyPath:
        names = [self._take()]
        while self._token() == ".":
            self._next += 1
            names.append(self._take())
        return tuple(name.strip("\"'") for name in names)

    def _value(self, path: KeyPath) -> Iterator[tuple[KeyPath, int]]:
        opening = self._token()
        if opening == "[":
            yield from self._items(path)
        elif opening == "{":
            self._next += 1
            while self._token() not in ("}", ""):
                if self._token() == ",":
                    self._next += 1
                else:
                    yield from self._pair(path)
            self._next += 1
        else:  # one value; a number or a day may be of several tokens of one line
            line = self._lines[min(self._next, len(self._lines) - 1)]
            self._next += 1
            while self._token() not in (",", "]", "}", "") and self._lines[self._next] == line:
                self._next += 1

    def _items(self, path: KeyPath) -> Iterator[tuple[KeyPath, int]]:
        self._next += 1
        count = 0
        while self._token() not in ("]", ""):
            if self._token() == ",":
                self._next += 1
                continue
            yield (*path, count), self._tokens[self._next][2]
            count += 1
            yield from self._value((*path, count - 1))
        self._next += 1

    def _token(self, ahead: int = 0) -> str:
        at = self._next + ahead
        return self._tokens[at][1] if at < len(self._tokens) else ""

    def _take(self) -> str:
        token = self._token()
        self._next += 1
        return token


# -- writing one ----------------------------------------------------------------------------------


class ProposedPassage(NamedTuple):
    """A passage for a sheet that is written from a session."""

    bars: str
    hands: str
    tempo: float
    remark: str


def write_sheet(piece: str, score: str, passages: Iterable[ProposedPassage]) -> str:
    """A sheet as text, for the teacher to change."""
    lines = [
        "# A practice sheet for Keyhole: coach sheet FILE checks it and follows it.",
        f"piece = {_quoted(piece)}",
        f"score = {_quoted(score)}",
        "# by = 2026-12-10            (the lesson)",
        "",
    ]
    for one in passages:
        lines += [
            "[[passage]]",
            f"bars = {_quoted(one.bars)}",
            f"hands = {_quoted(one.hands)}",
            f"tempo = {one.tempo:.0f}",
            f"clean = {USUAL_CLEAN}",
            f"remark = {_quoted(one.remark)}",
            '# fingering = ["bar 3 beat 2 F4 finger 4"]',
            "",
        ]
    return "\n".join(lines)


def _quoted(text: str) -> str:
    clean = "".join(char if char.isprintable() else " " for char in text)
    return '"' + clean.replace("\\", "\\\\").replace('"', '\\"') + '"'


# A sheet opened: checked against its score, looked up in the record, and followed.

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
