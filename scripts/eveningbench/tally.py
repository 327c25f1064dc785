"""What is counted over evenings, and the report of it with the bars that it is held to."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, fields
from typing import Any

MEANT_CLEAN, PLANTED_TOLD = 0.98, 0.95
FALSE_FAULTS_PER_1000 = 1.0
LONGEST_STEP_MS = 20.0
DIGESTS = 1 << 64
"""So many digests there are."""
EXAMPLES = 400
"""Examples kept of each evening, at the most."""


@dataclass
class Tally:
    """Counts of one evening, or of many."""

    evenings: int = 0
    hours: float = 0.0
    gestures: Counter[str] = field(default_factory=Counter)
    repetitions: int = 0
    """Verdicts given."""
    meant: int = 0
    """Repetitions meant and played right."""
    meant_clean: int = 0
    meant_not: Counter[str] = field(default_factory=Counter)
    """Those not counted clean, by why."""
    planted: int = 0
    told: int = 0
    whole: int = 0
    """Repetitions meant from the first note to the last, right or not."""
    lost: Counter[str] = field(default_factory=Counter)
    false_clean: Counter[str] = field(default_factory=Counter)
    could_not_be_clean: Counter[str] = field(default_factory=Counter)
    false_faults: Counter[str] = field(default_factory=Counter)
    by_breaks: Counter[str] = field(default_factory=Counter)
    windows_changed: Counter[str] = field(default_factory=Counter)
    recorded_nothings: Counter[str] = field(default_factory=Counter)
    """What was no repetition, and was recorded as one all the same."""
    exceptions: Counter[str] = field(default_factory=Counter)
    steps: int = 0
    slow_steps: int = 0
    longest_ms: float = 0.0
    longest_what: str = ""
    growth_mb: float = 0.0
    """Memory at the end above that after a third of the evening, the most of any evening."""
    examples: list[str] = field(default_factory=list)
    digest: int = 0
    """Of everything done and answered: the same evenings have the same one, in any order."""

    def add(self, other: Tally) -> None:
        """Take in another tally."""
        if other.longest_ms > self.longest_ms:
            self.longest_ms, self.longest_what = other.longest_ms, other.longest_what
        self.growth_mb = max(self.growth_mb, other.growth_mb)
        for one in fields(self):
            if one.name in ("longest_ms", "longest_what", "growth_mb"):
                continue
            ours, theirs = getattr(self, one.name), getattr(other, one.name)
            if isinstance(ours, Counter):
                ours.update(theirs)
            else:
                setattr(self, one.name, ours + theirs)
        self.digest %= DIGESTS

    def plain(self) -> dict[str, Any]:
        """As data for JSON."""
        values = ((one.name, getattr(self, one.name)) for one in fields(self))
        return {name: dict(v) if isinstance(v, Counter) else v for name, v in values}

    @classmethod
    def from_plain(cls, plain: dict[str, Any]) -> Tally:
        """The tally back."""
        made = cls()
        for name, value in plain.items():
            setattr(made, name, Counter(value) if isinstance(value, dict) else value)
        return made

    def example(self, text: str) -> None:
        """Keep an example of what went wrong."""
        if len(self.examples) < EXAMPLES:
            self.examples.append(text)

    # -- bars -------------------------------------------------------------------------------

    @property
    def meant_share(self) -> float:
        """Share of what was meant and right that was counted clean."""
        return self.meant_clean / self.meant if self.meant else 1.0

    @property
    def told_share(self) -> float:
        """Share of what was planted that was told."""
        return self.told / self.planted if self.planted else 1.0

    @property
    def faults_per_1000(self) -> float:
        """False faults of notes, and those caused by breaks, per 1,000 repetitions."""
        faults = self.false_faults.total() + self.by_breaks.total()
        return 1000 * faults / max(self.repetitions, 1)

    def bars(self) -> list[tuple[str, str, bool]]:
        """Each bar: what it is, the figure, and whether it holds."""
        per_1000 = self.faults_per_1000
        return [
            ("exceptions: 0", str(self.exceptions.total()), not self.exceptions),
            (
                f"meant and right, counted clean: {MEANT_CLEAN:.0%}",
                f"{self.meant_share:.2%} of {self.meant}",
                self.meant_share >= MEANT_CLEAN,
            ),
            (
                f"planted notes told: {PLANTED_TOLD:.0%}",
                f"{self.told_share:.2%} of {self.planted}",
                self.told_share >= PLANTED_TOLD,
            ),
            (
                "clean that can't be: 0",
                f"{self.false_clean.total()} of {self.could_not_be_clean.total()}",
                not self.false_clean,
            ),
            (
                f"false faults of notes or by breaks in 1,000: {FALSE_FAULTS_PER_1000:.0f}",
                f"{per_1000:.2f} in {self.repetitions}",
                per_1000 <= FALSE_FAULTS_PER_1000,
            ),
            (
                "windows changed under the hands: 0",
                str(self.windows_changed.total()),
                not self.windows_changed,
            ),
            ("repetitions lost: 0", f"{self.lost.total()} of {self.whole}", not self.lost),
            (
                f"longest step: {LONGEST_STEP_MS:.0f} ms",
                f"{self.longest_ms:.1f} ms ({self.longest_what}); {self.slow_steps} of "
                f"{self.steps} were longer",
                self.longest_ms <= LONGEST_STEP_MS,
            ),
        ]

    def report(self) -> str:
        """The whole report."""
        lines = [f"{self.evenings} evenings, {self.hours:.1f} hours, {self.repetitions} verdicts"]
        for what, figure, holds in self.bars():
            lines.append(f"  {'holds ' if holds else 'FAILS '} {what:55} {figure}")
        lines.append(f"  memory grew by {self.growth_mb:.1f} MB in an evening at the most")
        lines.append(f"  digest of all that was played and answered: {self.digest:016x}")
        for name in (
            "meant_not", "lost", "false_clean", "false_faults", "by_breaks", "windows_changed",
            "recorded_nothings", "exceptions",
        ):  # fmt: skip
            counts: Counter[str] = getattr(self, name)
            if counts:
                words = ", ".join(f"{key} {n}" for key, n in counts.most_common(12))
                lines.append(f"  {name.replace('_', ' ')}: {words}")
        return "\n".join(lines)

    @property
    def holds(self) -> bool:
        """Whether every bar holds."""
        return all(holds for _, _, holds in self.bars())
