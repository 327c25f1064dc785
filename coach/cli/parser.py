"""The commands and their options."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import NoReturn

from coach import __version__
from coach.judging.model import Stage
from coach.score.words import printable_lines

PIANIST = "KEYHOLE_PIANIST"
"""Names who plays, where several share the piano; the command line's ``--pianist`` goes before."""
WARM_UP_MIN = 5.0
"""How long a warm-up is as long as nobody has said, in minutes: a short one, before the piece
itself. Our choice."""


class _Parser(argparse.ArgumentParser):
    """Says what is wrong with the words of a command, safe for a terminal."""

    def error(self, message: str) -> NoReturn:
        """End with a sentence; the shell may have put a file's name among the words."""
        super().error(printable_lines(message))


def make_parser() -> argparse.ArgumentParser:
    """The parser of the ``coach`` command."""
    parser: argparse.ArgumentParser = _Parser(
        prog="coach",
        description="A live drill coach for pianists at a digital piano.",
        epilog="Without a command the home screen opens.",
    )
    parser.add_argument(
        "--version", action="version", version=f"Keyhole {__version__}", help="say which Keyhole"
    )
    _add_common(parser)
    parser.set_defaults(command=None)
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    _add_drill(commands)
    _add_demo(commands)
    _add_warmup(commands)
    _add_judge(commands)
    _add_score(commands)
    ports = commands.add_parser("ports", help="list the MIDI ports that are there")
    _add_common(ports, again=True)
    setup = commands.add_parser("setup", help="set the piano up, all of it from its keys")
    _add_common(setup, again=True)
    calibrate = commands.add_parser("calibrate", help="tap along with a click to set its offset")
    _add_common(calibrate, again=True)
    _add_sheet(commands)
    _add_mark(commands)
    _add_plan(commands)
    _add_progress(commands)
    _add_own_data(commands)
    return parser


def _add_common(parser: argparse.ArgumentParser, *, again: bool = False) -> None:
    unset = argparse.SUPPRESS if again else None
    parser.add_argument(
        "--data", type=Path, metavar="FOLDER", default=unset,
        help="where the record of your practice is kept (also: KEYHOLE_DATA)",
    )  # fmt: skip
    parser.add_argument(
        "--pianist", metavar="NAME", default=unset,
        help=f"whose record it is, where several play at this piano (also: {PIANIST})",
    )  # fmt: skip
    parser.add_argument(
        "--port", metavar="NAME", default=unset, help="the piano's MIDI port, or part of its name"
    )
    parser.add_argument(
        "--ascii", action="store_true", default=argparse.SUPPRESS if again else False,
        help="draw with plain letters, for terminals without box lines",
    )  # fmt: skip
    parser.add_argument(
        "--keys", type=int, choices=[88, 76, 73, 61, 49], default=unset,
        help="how many keys your piano has; the choice is kept",
    )  # fmt: skip
    parser.add_argument(
        "--cells", action="store_true", default=argparse.SUPPRESS if again else False,
        help="draw the staff in letters, even where the terminal shows pictures",
    )  # fmt: skip
    parser.add_argument(
        "--plain", action="store_true", default=argparse.SUPPRESS if again else False,
        help="no screen: lines of text, for screen readers and logs; commands are typed",
    )  # fmt: skip
    parser.add_argument(
        "--counting", choices=["traditional", "eastman", "takadimi"], default=unset,
        help="the syllables under the beats; the choice is kept",
    )  # fmt: skip


def _add_window(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("score", type=Path, metavar="SCORE", help="a MusicXML or MIDI file")
    parser.add_argument("--bars", metavar="5-8", help="bars by printed number; #3 is the third bar")
    parser.add_argument(
        "--beats", metavar="3-2", help="from this beat of the first bar to that of the last"
    )
    parser.add_argument("--hand", default="both", metavar="HAND", help="rh, lh or both")
    parser.add_argument(
        "--tempo", type=_tempo, metavar="BPM", help="beats a minute; the piece's own if not given"
    )
    parser.add_argument(
        "--move", action="append", default=[], metavar="RULE",
        help="give notes to the other hand, for example “bar 3 beat 2 F4 to LH”; it is kept",
    )  # fmt: skip
    parser.add_argument(
        "--strictness", choices=["strict", "usual", "lenient"], default="usual",
        help="how closely timing is judged",
    )  # fmt: skip
    _add_part(parser)


def _add_part(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--repeats", action=argparse.BooleanOptionalAction, default=None,
        help="play repeats, endings and da capo through; the choice is kept with the piece",
    )  # fmt: skip
    parser.add_argument(
        "--part", metavar="NAME",
        help="of four hands or two pianos, by name or number; it is kept, “” forgets it",
    )  # fmt: skip


def _add_stage(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--stage", choices=[stage.value for stage in Stage], default="rhythm",
        help="what a repetition is judged for",
    )  # fmt: skip


def _add_drill(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    drill = commands.add_parser("drill", help="practise a piece or a passage")
    _add_window(drill)
    _add_stage(drill)
    drill.add_argument(
        "--clean", type=_clean, default=3, metavar="N", help="clean repetitions running (1 to 100)"
    )
    drill.add_argument(
        "--learn", action="store_true", help="new music: read first, then learnt where it breaks"
    )
    drill.add_argument(
        "--order", choices=["forward", "from-end", "hard-first"], default="forward",
        help="with --learn: in which order the bars are taken",
    )  # fmt: skip
    drill.add_argument(
        "--own-pace", action="store_true", help="never ask for a tempo, judge notes and rhythm"
    )
    drill.add_argument(
        "--afresh", action="store_true", help="begin anew, not where you stopped last time"
    )
    _add_common(drill, again=True)


def _add_demo(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    demo = commands.add_parser("demo", help="watch the coach with a simulated pianist")
    demo.add_argument("score", type=Path, nargs="?", metavar="SCORE", help="another piece")
    demo.add_argument(
        "--speed", type=_speed, metavar="TIMES", help="how many times as fast as life; otherwise 2"
    )
    demo.add_argument("--seed", type=int, default=1, help="another simulated pianist")
    _add_common(demo, again=True)


def _add_warmup(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    warmup = commands.add_parser("warmup", help="the weak spots that are due, over all pieces")
    warmup.add_argument("--minutes", type=_minutes, help="how long you have; the choice is kept")
    warmup.add_argument("--list", action="store_true", help="only say what it would be")
    _add_common(warmup, again=True)


def _add_judge(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    judged = commands.add_parser("judge", help="judge recorded takes, without a screen")
    _add_window(judged)
    judged.add_argument(
        "takes", type=Path, nargs="+", metavar="TAKE",
        help="a take as a MIDI file; of several, or a folder of them, one line of JSON each",
    )  # fmt: skip
    _add_stage(judged)
    judged.add_argument(
        "--json", action="store_true", help="the verdict as data; of many takes it always is"
    )
    judged.add_argument("--notes", action="store_true", help="every note, not only the faults")
    _add_common(judged, again=True)


def _add_score(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    score = commands.add_parser("score", help="say what was read from a score")
    score.add_argument("score", type=Path, metavar="FILE")
    score.add_argument("--notes", action="store_true", help="list every note")
    score.add_argument("--json", action="store_true", help="as data")
    score.add_argument("--move", action="append", default=[], metavar="RULE")
    _add_part(score)
    _add_common(score, again=True)


def _add_sheet(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    sheet = commands.add_parser("sheet", help="what your teacher sets: check it and follow it")
    sheet.add_argument("file", type=Path, metavar="FILE", help="the practice sheet, in TOML")
    sheet.add_argument(
        "--check", action="store_true", help="only say what it asks for, and what of it has held"
    )
    sheet.add_argument(
        "--from-session", type=Path, metavar="SCORE",
        help="write FILE: what of this piece was weak when you last played it",
    )  # fmt: skip
    _add_common(sheet, again=True)


def _add_mark(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    mark = commands.add_parser("mark", help="own fingerings, and notes on passages")
    mark.add_argument("score", type=Path, metavar="SCORE")
    mark.add_argument(
        "lines", nargs="*", metavar="LINE",
        help="for example “bar 3 beat 2 F4 finger 4” or “bars 5-8 note Think the leap.”",
    )  # fmt: skip
    mark.add_argument("--remove", type=int, metavar="N", help="take out the N-th of them")
    _add_common(mark, again=True)


def _add_plan(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    plan = commands.add_parser("plan", help="what to drill on which day, until a lesson or concert")
    plan.add_argument("score", type=Path, metavar="SCORE", help="a MusicXML or MIDI file")
    plan.add_argument("--by", metavar="DATE", help="the day, such as 2026-12-31; it is kept")
    plan.add_argument("--minutes", type=_minutes, help="for this piece, a day; 20 if not given")
    plan.add_argument("--play", action="store_true", help="at the piano: today's part of it")
    plan.add_argument("--forget", action="store_true", help="no plan any more")
    _add_common(plan, again=True)


def _add_progress(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    progress = commands.add_parser("progress", help="which bars hold, and how it came about")
    progress.add_argument(
        "score", type=Path, nargs="?", metavar="SCORE", help="one piece; all without it"
    )
    progress.add_argument("--on", metavar="DAY", help="as it stood on a day, such as 2026-03-14")
    _add_common(progress, again=True)
    report = commands.add_parser("report", help="a page for your teacher, in one file")
    report.add_argument(
        "score", type=Path, nargs="?", metavar="SCORE", help="one piece; all without it"
    )
    report.add_argument("--file", type=Path, metavar="FILE", help="where to write it")
    _add_common(report, again=True)


def _add_own_data(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    export = commands.add_parser("export", help="write all that is kept into a folder, readable")
    export.add_argument("folder", type=Path, metavar="FOLDER", help="a new or empty one")
    take_in = commands.add_parser("import", help="take an export in; nothing twice")
    take_in.add_argument("folder", type=Path, metavar="FOLDER", help="of coach export")
    merge = commands.add_parser("merge", help="take another machine's record in; nothing twice")
    merge.add_argument("record", type=Path, metavar="RECORD", help="its file, or its folder")
    check = commands.add_parser("check", help="look the whole record over; nothing is changed")
    rebuild = commands.add_parser("rebuild", help="count anew what follows from the repetitions")
    backup = commands.add_parser("backup", help="a copy of the record, also while it is in use")
    backup.add_argument("file", type=Path, nargs="?", metavar="FILE", help="where to")
    forget = commands.add_parser("forget", help="delete a piece and all that was played of it")
    forget.add_argument("piece", metavar="PIECE", help="its title, file or key")
    forget.add_argument("--yes", action="store_true", help="don't ask first")
    for parser in (export, take_in, merge, check, rebuild, backup, forget):
        _add_common(parser, again=True)


def _number(text: str, low: float, high: float, what: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = low - 1
    if not low <= value <= high:
        raise argparse.ArgumentTypeError(f"{what} is a number from {low:g} to {high:g}")
    return value


def _tempo(text: str) -> float:
    return _number(text, 10, 400, "a tempo")


def _speed(text: str) -> float:
    return _number(text, 0.25, 16, "the speed")


def _minutes(text: str) -> float:
    return _number(text, 1, 120, "the time")


def _clean(text: str) -> int:
    return int(_number(text, 1, 100, "the clean run"))
