"""How much of what is printed the staff in cells shows, bar by bar, at the usual terminals' sizes.

    python -m scripts.bench_staff [--bars 2000] [--seed 1] [--show]

Random bars of music21's scores with a piano, each as a window of both hands, laid out in the rows
that the drill screen leaves the staff. Counted are bars with a row cut, pages to a bar, forms,
notes without a head, and the print by kind: what stands in the score beside what is to be read on
the pages, with nothing written over it.
"""

from __future__ import annotations

import argparse
import random
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

from coach.score.formats import ScoreError
from coach.score.model import Bar, Hands, NoteMark, Score, ScoreNote
from coach.score.notation import is_dynamic
from coach.score.reading import read_score
from coach.score.window import Excerpt, Window, excerpt
from coach.screens.staff.layout import lay_out
from coach.screens.staff.page import Sheet
from coach.screens.staff.texts import LINE_NAMES, PrintName
from scripts.corpus import SCORES_WITH_PIANO, corpus

STAFF_SIZES = ((80, 18), (120, 29), (200, 49))
"""Columns and rows of the staff in terminals of 80x24, 120x40 and 200x60: three rows less each than
the drill screen leaves it with three lines of words under it, but for the smallest."""
AT_LAST_PIECE = (NoteMark.FERMATA, NoteMark.SLUR_END)
UNSIGNED = (
    NoteMark.UNDER_SLUR,
    NoteMark.SMALL_PRINT,
    NoteMark.SLASH,
    NoteMark.ROLLED_ACROSS,
    NoteMark.TREMOLO_TO_NEXT,
)
"""Marks without a sign of their own."""


def scores() -> Iterator[tuple[str, Score]]:
    """Every score that can be read."""
    for name in SCORES_WITH_PIANO:
        try:
            yield name, read_score(corpus() / name)
        except ScoreError as error:
            print(error)


def window_of(score: Score, bar: Bar) -> Excerpt | None:
    """A bar as a window of both hands; None where nothing is struck in it."""
    shown = excerpt(score, Window(bar.onset_quarters, bar.end_quarters, Hands.TOGETHER))
    return shown if shown.notes else None


def expected_print(score: Score, shown: Excerpt) -> set[PrintName]:
    """What a window has in print: its kind and its onset."""
    low, high = shown.window.start_quarters, shown.window.end_quarters
    out: set[PrintName] = {
        (mark.value, note.onset_quarters + _tied_before(note, mark, shown))
        for note in shown.notes
        for mark in note.marks
        if mark not in UNSIGNED
    }
    out |= {("fingering", note.onset_quarters) for note in shown.notes if note.fingering}
    for one in score.directions:
        if low <= one.onset_quarters < high and one.text.strip():
            out.add(("dynamic" if is_dynamic(one) else "words", one.onset_quarters))
    sounding = [(n.staff, n.voice, n.onset_quarters, n.end_quarters) for n in shown.notes]
    for rest in score.rests:
        start, end = rest.onset_quarters, rest.onset_quarters + rest.length_quarters
        beside = any(
            staff == rest.staff and voice != rest.voice and a < end and b > start
            for staff, voice, a, b in sounding
        )
        if low <= start < high and beside:
            out.add(("rest", start))
    for line in score.lines:
        if line.start_quarters < high and line.end_quarters > low:
            out.add((LINE_NAMES[line.kind], line.start_quarters))
    return out


def _tied_before(note: ScoreNote, mark: NoteMark, shown: Excerpt) -> Fraction:
    """How far into a tied note a mark stands: some stand at the last piece in sight."""
    pieces = note.segments_quarters[:-1] if mark in AT_LAST_PIECE else ()
    out = Fraction(0)
    last = max(shown.window.end_quarters, shown.notes[-1].onset_quarters + Fraction(1, 64))
    for piece in pieces:
        if note.onset_quarters + out + piece >= last:
            break
        out += piece
    return out


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--bars", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--show", action="store_true", help="name the bars that are cut")
    given = parser.parse_args()
    every = [(name, score, bar) for name, score in scores() for bar in score.bars]
    chance = random.Random(given.seed)
    drawn = [chance.choice(every) for _ in range(given.bars)]
    windows = {(name, bar.index): window_of(score, bar) for name, score, bar in drawn}
    print(f"{len(drawn)} bars drawn of {len(every)}, {len(windows)} of them different")
    for width, height in STAFF_SIZES:
        cut = headless = 0
        pages: Counter[int] = Counter()
        known: dict[tuple[str, int], Sheet] = {}
        wanted: Counter[str] = Counter()
        seen: Counter[str] = Counter()
        forms: Counter[str] = Counter()
        for name, score, bar in drawn:
            shown = windows[name, bar.index]
            if shown is None:
                continue
            sheet = known.setdefault((name, bar.index), lay_out(score, shown, width, height))
            pages[len(sheet.pages)] += 1
            forms[sheet.form] += 1
            headed = {note for page in sheet.pages for note in page.notes}
            headless += len(shown.notes) - len(headed)
            over = any(len(row.text.rstrip()) > width for page in sheet.pages for row in page.rows)
            if sheet.height > height or over:
                cut += 1
                if given.show:
                    print("cut:", name, bar.words, sheet.height)
            expected = expected_print(score, shown)
            printed = set().union(*(page.printed for page in sheet.pages))
            wanted.update(kind for kind, _ in expected)
            seen.update(kind for kind, _ in expected & printed)
        print(f"\n{width}x{height}: {cut} cut, {headless} notes without a head")
        print("  pages:", ", ".join(f"{n}: {many}" for n, many in sorted(pages.items())))
        print("  forms:", ", ".join(f"{form}: {many}" for form, many in forms.most_common()))
        for kind in sorted(wanted):
            print(f"  {kind:14} {seen[kind]:6} of {wanted[kind]:6}")


if __name__ == "__main__":
    main()
