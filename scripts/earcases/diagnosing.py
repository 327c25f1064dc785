"""Whether a diagnosis names the planted mistake, and whether it accuses where there is none.

What is told counts as named also where the stage forgives it: a key let go too early is no
matter of rhythm, but it is what a listener would name where nothing else was amiss. Accused is
only who is asked for it; what is told besides is counted apart.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass
class Named:
    """Counts over windows with one mistake, and over windows with none."""

    single: int = 0
    first: int = 0
    exact: int = 0
    clean: dict[str, int] = field(default_factory=dict)
    accused: dict[str, int] = field(default_factory=dict)
    told: dict[str, int] = field(default_factory=dict)
    causes: dict[str, list[int]] = field(default_factory=dict)
    """For each cause: windows, named first, with exact beats."""

    def add(self, case: dict[str, Any], items: list[dict[str, Any]]) -> None:
        """Count one window's diagnosis, its most important item first."""
        variant = case["variant"]
        true = [p for p in case["truth"]["planted"] if p["cause"] != "slow_tempo"]
        if variant in ("real", "clean"):
            told = [i for i in items if variant == "real" or i["family"] != "tempo"]
            asked = [i for i in told if not i["forgiven"]]
            self.clean[variant] = self.clean.get(variant, 0) + 1
            self.accused[variant] = self.accused.get(variant, 0) + bool(asked)
            self.told[variant] = self.told.get(variant, 0) + bool(told)
        elif len(true) == 1:
            named = bool(items) and _hits(items[0], true[0])
            exact = named and all(items[0][k] == true[0][k] for k in ("from_beat", "to_beat"))
            self.single += 1
            self.first += named
            self.exact += exact
            row = self.causes.setdefault(true[0]["cause"], [0, 0, 0])
            for place, count in enumerate((1, named, exact)):
                row[place] += count

    def false_alarms(self, variant: str) -> float:
        """Share of the windows of a kind without a mistake in which one was named."""
        return self.accused.get(variant, 0) / max(self.clean.get(variant, 0), 1)

    def told_besides(self, variant: str) -> float:
        """The same with what the stage forgives."""
        return self.told.get(variant, 0) / max(self.clean.get(variant, 0), 1)


def _hits(item: dict[str, Any], true: dict[str, Any]) -> bool:
    """Overlaps the mistake's place, no more than a beat wider, and has its hand."""
    wide = item["to_beat"] - item["from_beat"] > true["to_beat"] - true["from_beat"] + 1
    meets = item["from_beat"] < true["to_beat"] and true["from_beat"] < item["to_beat"]
    return meets and not wide and true["hand"] in ("both", item["hand"])
