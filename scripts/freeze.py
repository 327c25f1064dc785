"""Freeze what the program says and draws, so that a change of form can be held against it.

    python -m scripts.freeze OUT [--takes DIR] [--quick]
    python -m scripts.freeze --compare BEFORE AFTER

Writes text files without times into a folder: judgements of shared takes and of three seeds of
made windows, coached sessions decision by decision, the notes read from every sample and corpus
score, and the staves of all samples at three sizes. Two folders are compared line by line; the
exit status says whether they are the same. ``--quick`` makes a tenth of it.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from itertools import islice, zip_longest
from pathlib import Path
from typing import Any

from coach.coaching.serialize import decision_to_plain
from coach.drill import Drill, repair
from coach.judging.judge import judge
from coach.judging.model import Stage
from coach.judging.serialize import judgement_to_plain
from coach.playing.simulated.player import LEVELS, Law
from coach.score.model import Hands, Score
from coach.score.opening import open_score
from coach.score.report import notes_table
from coach.score.window import choose_window, excerpt
from coach.screens.staff.glyphs import ASCII, UNICODE
from coach.screens.staff.layout import lay_out
from scripts.coachbench.pianists import make
from scripts.coachbench.sections import QPM, whole
from scripts.corpus import PIANO_SCORES, corpus
from scripts.earcases.adapter import excerpt_of, load, played_of
from scripts.earcases.cases import cases
from scripts.earcases.material import pieces
from scripts.earcases.studies import studies

SEEDS = (61001, 61002, 61003)
"""Of the made windows."""
WINDOWS = 60
"""Windows of each seed, of four to five cases each."""
SESSIONS = 100
REPETITIONS = 40
"""At most so many in a session."""
SIZES = ((80, 14), (120, 26), (200, 46))
"""Columns and rows that a staff is given at 80x24, 120x40 and 200x60."""
SAMPLES = Path(__file__).resolve().parent.parent / "sample_scores"


def write_judgements(takes: Path | None, quick: bool) -> Iterator[str]:
    """Every case's judgement, at the default stage and as a shaped one."""
    made = [*pieces(), *studies(1, 10)]
    given: list[dict[str, Any]] = list(load(takes)) if takes else []
    for seed in SEEDS:
        given += cases(made, seed, WINDOWS // 10 if quick else WINDOWS)
    for case in given:
        window, played = excerpt_of(case), played_of(case)
        for stage in (Stage.RHYTHM, Stage.SHAPE):
            said = judgement_to_plain(judge(window, played, stage=stage))
            yield f"{case['case_id']} {stage} {json.dumps(said, sort_keys=True)}"


def write_session(number: int) -> list[str]:
    """One coached session, a decision a line."""
    law, level = list(Law)[number % len(Law)], LEVELS[number % len(LEVELS)]
    score, _, pianist = make(
        5000 + number, 1 + number % 2, level=level, law=law, chance=0.8, ease=3.0, learns=True
    )
    drill, player, lines, now_s = (
        Drill(score, repair(score, whole(score), qpm=QPM)),
        pianist(),
        [],
        0.0,
    )
    for repetition in range(REPETITIONS):
        notes = player.play(drill.excerpt, drill.assignment.qpm, start_s=now_s)
        ended = drill.repetition(notes, now_s=now_s)
        now_s = (notes[-1].onset_s if notes else now_s) + 3.0
        said = decision_to_plain(ended.decision)
        lines.append(f"{number}.{repetition} {json.dumps(said, sort_keys=True, default=str)}")
        if ended.decision.finished:
            break
    return lines


def write_sessions(quick: bool) -> Iterator[str]:
    """All sessions."""
    with ProcessPoolExecutor() as pool:
        for lines in pool.map(write_session, range(SESSIONS // 10 if quick else SESSIONS)):
            yield from lines


def scores(quick: bool) -> Iterator[tuple[str, Score]]:
    """Every score that is read here, by name."""
    paths = [*sorted(SAMPLES.iterdir()), *(corpus() / name for name in PIANO_SCORES)]
    for path in islice(paths, 6 if quick else None):
        yield path.name, open_score(path)


def write_notes(quick: bool) -> Iterator[str]:
    """The notes of every score."""
    for name, score in scores(quick):
        yield from (f"{name}: {line}" for line in notes_table(score).splitlines())


def write_staves(quick: bool) -> Iterator[str]:
    """Windows of every sample, each hand and both, at three sizes."""
    for name, score in islice(scores(True), 1 if quick else None):
        for at, bar in enumerate(score.bars):
            for hands in (Hands.RIGHT, Hands.LEFT, Hands.TOGETHER)[at % 2 :]:
                try:
                    window = choose_window(score, bars=f"{bar.number}", hands=hands)
                    shown = excerpt(score, window)
                except Exception as error:
                    yield f"{name} {bar.number} {hands}: {type(error).__name__}: {error}"
                    continue
                for width, height in SIZES:
                    glyphs = ASCII if at % 3 == 2 else UNICODE
                    sheet = lay_out(score, shown, width, height, glyphs=glyphs)
                    for page in sheet.pages:
                        head = f"{name} {bar.number} {hands} {width}x{height}"
                        yield from (f"{head}|{row.text.rstrip()}" for row in page.rows)


def write_all(folder: Path, takes: Path | None, quick: bool) -> None:
    """All files into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    parts: dict[str, Callable[[], Iterator[str]]] = {
        "judgements": lambda: write_judgements(takes, quick),
        "sessions": lambda: write_sessions(quick),
        "notes": lambda: write_notes(quick),
        "staves": lambda: write_staves(quick),
    }
    for name, lines in parts.items():
        count = 0
        with (folder / f"{name}.txt").open("w", encoding="utf-8") as file:
            for line in lines():
                file.write(line + "\n")
                count += 1
        print(f"{name}: {count} lines", flush=True)


def compare(before: Path, after: Path) -> int:
    """How many lines differ; the first of each file are printed."""
    different = 0
    for path in sorted(before.glob("*.txt")):
        old = path.read_text(encoding="utf-8").splitlines()
        new = (after / path.name).read_text(encoding="utf-8").splitlines()
        others = [(a, b) for a, b in zip_longest(old, new) if a != b]
        different += len(others)
        print(f"{path.name}: {len(others)} of {len(old)} lines differ")
        for was, now in others[:2]:
            print(f"  - {was and was[:400]}\n  + {now and now[:400]}")
    return different


def main() -> None:
    """Read the command line; write, or compare."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--compare", action="store_true")
    parser.add_argument("--takes", type=Path, help="a folder of cases, besides those made here")
    parser.add_argument("--quick", action="store_true")
    given = parser.parse_args()
    if given.compare:
        sys.exit(bool(compare(*given.folders)))
    write_all(given.folders[0], given.takes, given.quick)


if __name__ == "__main__":
    main()
