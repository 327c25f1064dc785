"""The ear beside parangonar's DualDTW, in one run: labels, diagnosis, times, growth.

``python -m scripts.bench_ear`` makes its cases; ``--data DIR`` takes a folder of them. Times are
processor time of one process, medians over windows.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from statistics import median
from typing import Any

from coach.judging.alignment.align import match
from coach.judging.judge import judge
from coach.judging.model import Judgement
from coach.judging.timing import Habits
from scripts.earcases.adapter import diagnosis, excerpt_of, load, played_of, prediction
from scripts.earcases.cases import cases
from scripts.earcases.diagnosing import Named
from scripts.earcases.listening import Listening
from scripts.earcases.material import Piece, corpus_piece, pieces
from scripts.earcases.rival import DualDTW, arrays, labelled
from scripts.earcases.scoring import LABELS, Tally
from scripts.earcases.studies import studies, study
from scripts.earcases.whole import LONG, whole_case

GOALS = {"match": 0.996, "substituted": 0.93, "missing": 0.95, "extra": 0.93, "repeated": 0.95}
PERFECT_GOALS = {"restart": 0.85, "stumble_repeat": 0.85, "position_shift": 0.85,
                 "skipped_beat": 0.90}  # fmt: skip
KINDS = ("1beat", "2beat", "1bar", "2bar", "4bar")


class Bench:
    """Both ears over the same cases."""

    def __init__(self) -> None:
        self.rival = DualDTW()
        self.tallies: defaultdict[tuple[str, str], Tally] = defaultdict(Tally)
        self.times: defaultdict[tuple[str, str], list[float]] = defaultdict(list)
        self.named = Named()
        self.listening = Listening()
        self.untouched: Judgement | None = None
        """The last window as it was recorded."""

    def add(self, case: dict[str, Any]) -> None:
        """One case through both."""
        excerpt, fresh, played = excerpt_of(case), excerpt_of(case), played_of(case)
        score, performed = arrays(case)
        kind = case["window"]["kind"]
        start = time.process_time()
        matching = match(excerpt, played)
        matched = time.process_time()
        judgement = judge(fresh, played, habits=self._known(case))
        judged = time.process_time()
        alignment = self.rival.align(score, performed)
        aligned = time.process_time()
        self.times["matched", kind].append(matched - start)
        self.times["judged", kind].append(judged - matched)
        self.times["rival", kind].append(aligned - judged)
        for group in _groups(case):
            self.tallies["ours", group].add(case, prediction(case, excerpt, matching))
            self.tallies["rival", group].add(case, labelled(case, alignment))
        self.named.add(case, diagnosis(judgement))
        self.listening.add(case)
        if case["variant"] == "real":
            self.untouched = judgement

    def _known(self, case: dict[str, Any]) -> Habits | None:
        """What is known of the player: how the keys were held, where some are let go early.

        One repetition alone never shows that, so that two untouched ones come before.
        """
        causes = {planted["cause"] for planted in case["truth"]["planted"]}
        if "early_release" not in causes or self.untouched is None:
            return None
        once = Habits().with_(self.untouched)
        return Habits(holds=once.with_(self.untouched).holds)

    def report(self) -> None:
        """Print the table."""
        print(f"{'':28}{'goal':>8}{'ours':>9}{'DualDTW':>9}")
        for label in LABELS:
            mine, theirs = (self.tallies[who, "all"].f1(label) for who in WHO)
            self._row(f"F1 {label}", GOALS[label], mine, theirs)
        for group in ("all", *sorted(PERFECT_GOALS), "untouched", "clean"):
            goal = PERFECT_GOALS.get(group, 0.997 if group == "untouched" else 0.95)
            ours, rival = (self.tallies[w, group] for w in WHO)
            if ours.windows:
                name = f"no error: {group} ({ours.windows})"
                self._row(name, goal, ours.share_perfect, rival.share_perfect)
        ours, rival = (self.tallies[w, "untouched"] for w in WHO)
        self._row("untouched: F1 match", None, ours.f1("match"), rival.f1("match"))
        named = self.named
        single = max(named.single, 1)
        self._row(f"named first ({named.single})", 0.92, named.first / single, None)
        self._row("  with exact beats", 0.80, named.exact / single, None)
        self._row("false alarms, untouched", 0.05, named.false_alarms("real"), None)
        self._row("false alarms, practice", 0.05, named.false_alarms("clean"), None)
        self._row("  or forgiven, untouched", None, named.told_besides("real"), None)
        self._row("  or forgiven, practice", None, named.told_besides("clean"), None)
        print("\nsingle mistakes     windows  named first  exact beats")
        for cause, (windows, first, exact) in sorted(named.causes.items()):
            print(f"  {cause:16}{windows:9}{first / windows:13.2f}{exact / windows:13.2f}")
        self._timing()

    def _timing(self) -> None:
        print("\nmedian ms        matched    judged   DualDTW     ratio")
        for kind in KINDS:
            if self.times["rival", kind]:
                times = [1000 * median(self.times[w, kind]) for w in ("matched", "judged", "rival")]
                row = "".join(f"{ms:10.2f}" for ms in (*times, times[1] / times[2]))
                print(f"  {kind:12}{row}")
        heard = self.listening
        keys = sorted(heard.key_s)
        p99 = keys[int(len(keys) * 0.99)]
        print(f"\na key followed: median {1000 * median(keys):.3f} ms, 99 % {1000 * p99:.2f} ms")
        rate = 100 * heard.taken_back / max(heard.notes, 1)
        print(f"accusations taken back: {rate:.2f} in 100 notes ({heard.told} made)")
        print(f"repetitions found in a take: {dict(sorted(heard.ends.items()))}")

    @staticmethod
    def _row(name: str, goal: float | None, ours: float | None, rival: float | None) -> None:
        cells = ("-" if x is None else f"{x:.4f}" for x in (goal, ours, rival))
        first, *others = cells
        print(f"{name:28}{first:>8}" + "".join(f"{cell:>9}" for cell in others))


WHO = ("ours", "rival")


def _groups(case: dict[str, Any]) -> Iterable[str]:
    yield "all"
    if case["variant"] == "real":
        yield "untouched"
    if case["variant"] == "clean":
        yield "clean"
    causes = {p["cause"] for p in case["truth"]["planted"]} - {"slow_tempo"}
    if len(causes) == 1:
        yield causes.pop()


def whole_pieces(rival: DualDTW, most: int) -> None:
    """Whole pieces, played once through: rightly, then with a mistake for every fifty notes."""
    print("\nwhole pieces      notes  mistakes   ours F1  DualDTW F1   ours s  DualDTW s")
    long = (corpus_piece(name) for name in LONG)
    for piece in (*pieces(reductions=True), *(piece for piece in long if piece)):
        if 150 <= len(piece.notes) <= most:
            for mistakes in (0, len(piece.notes) // 50):
                _whole(rival, piece, mistakes)


def _whole(rival: DualDTW, piece: Piece, mistakes: int) -> None:
    case = whole_case(piece, random.Random(1), mistakes)
    excerpt, played = excerpt_of(case), played_of(case)
    score, performed = arrays(case)
    start = time.process_time()
    matching = match(excerpt, played)
    middle = time.process_time()
    alignment = rival.align(score, performed)
    end = time.process_time()
    ours, theirs = Tally(), Tally()
    ours.add(case, prediction(case, excerpt, matching))
    theirs.add(case, labelled(case, alignment))
    figures = (ours.f1("match") or 0.0, theirs.f1("match") or 0.0)
    row = "".join(f"{x:11.4f}" for x in (*figures, middle - start, end - middle))
    name = piece.name.removesuffix(".mxl")[-16:]
    print(f"  {name:16}{len(case['score']):5}{mistakes:10}{row}")


def growth() -> None:
    """Time of a long take as it doubles."""
    print("\ngrowth: notes   matched+judged s   us a note")
    for bars in (40, 80, 160, 320):
        case = whole_case(study(random.Random("growth"), "growth", bars), random.Random(2))
        excerpt, played = excerpt_of(case), played_of(case)
        start = time.process_time()
        judge(excerpt, played)
        took = time.process_time() - start
        print(f"  {len(played):12}{took:16.2f}{1e6 * took / len(played):12.0f}")


def main() -> None:
    """Read the command line, run, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, nargs="*", help="folders with a cases/ folder")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=60, help="windows to make")
    parser.add_argument("--whole", type=int, default=0, help="whole pieces up to so many notes")
    given = parser.parse_args()
    bench = Bench()
    made: Iterable[dict[str, Any]]
    if given.data:
        made = (case for folder in given.data for case in load(folder))
    else:
        made = cases([*pieces(), *studies(given.seed, 30)], given.seed, given.count)
    for case in made:
        bench.add(case)
    bench.report()
    if given.whole:
        whole_pieces(bench.rival, given.whole)
    growth()


if __name__ == "__main__":
    main()
