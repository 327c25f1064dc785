"""A session line by line: what is asked for, how it was played, and what is said."""

from __future__ import annotations

from coach.coaching.wording import HANDS, stretch_words, tempo_words
from scripts.coachbench.bars import case, lead, mended, pianist_of

KINDS: dict[str, dict[str, float]] = {
    "one hard place, learning": {"chance": 0.9, "count": 1},
    "one place that never comes": {"chance": 0.9, "count": 1, "gain": 0.0},
    "two places, learning": {"chance": 0.75, "count": 2},
    "a place that fails every second time, never better": {"chance": 0.5, "count": 1, "gain": 0.0},
}


def sessions(pianists: int, seed: int) -> None:
    """One session of each kind."""
    del pianists
    for at, (what, about) in enumerate(KINDS.items()):
        score, faults = case(seed + at, int(about["count"]), about["chance"])
        changes = {"gain": about["gain"]} if "gain" in about else {}
        pianist = pianist_of(seed + at, score, faults, **changes)
        drill = mended(score)
        print(f"\n== {what} (seed {seed + at})")
        for fault in faults:
            move = fault.transition
            print(f"   fails in {fault.chance:.2f}: {move.hands.value} into "
                  f"{score.place(move.to_quarters)}, {fault.failing}")  # fmt: skip
        record = lead(drill, pianist)
        for number, (asked, clean) in enumerate(zip(record.asked, record.clean, strict=True), 1):
            beat = score.bar_at(asked.window.start_quarters).metre.beat_quarters
            print(f"{number:4} {'clean ' if clean else 'BROKE '} {HANDS[asked.window.hands]}, "
                  f"{stretch_words(score, asked.window)} {tempo_words(asked.qpm, beat)} "
                  f"[{asked.kind}] {asked.reason}")  # fmt: skip
        said = drill.decision
        ended = "goal reached" if record.finished else "enough" if record.ended else "given up"
        print(f"   {ended} after {record.now_s / 60:.1f} minutes; {' '.join(record.said)}")
        print(f"   next: {said.assignment.reason}")
