"""What the coach asks for and believes, as plain data for JSON and for other programs.

Positions are quarters from the piece's start, as exact strings ("7/2"); beats are counted on the
grid of the window given, 0 at its first beat.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from coach.coaching.model import Assignment, Decision, Trouble
from coach.score.model import Hands
from coach.score.window import Excerpt, Window


def window_to_plain(window: Window) -> dict[str, Any]:
    """Start, end and hands."""
    return {
        "start_quarters": str(window.start_quarters),
        "end_quarters": str(window.end_quarters),
        "hands": window.hands.value,
        "landing": window.landing,
    }


def window_from_plain(plain: Mapping[str, Any]) -> Window:
    """The window back. Raises KeyError or ValueError where it is none."""
    return Window(
        Fraction(plain["start_quarters"]),
        Fraction(plain["end_quarters"]),
        Hands(plain["hands"]),
        bool(plain["landing"]),
    )


def assignment_to_plain(assignment: Assignment) -> dict[str, Any]:
    """Window, tempo, stage, clean run asked for, kind and reason."""
    return {
        "window": window_to_plain(assignment.window),
        "qpm": assignment.qpm,
        "stage": assignment.stage.value,
        "clean_required": assignment.clean_required,
        "kind": assignment.kind.value,
        "click": assignment.click,
        "reason": assignment.reason,
    }


def trouble_to_plain(trouble: Trouble, within: Excerpt | None = None) -> dict[str, Any]:
    """Hand, transition, sureness and evidence; with an excerpt also beats on its grid."""
    plain: dict[str, Any] = {
        "hand": trouble.hands.value,
        "from_quarters": str(trouble.transition.from_quarters),
        "to_quarters": str(trouble.transition.to_quarters),
        "onset_quarters": str(trouble.onset_quarters),
        "kind": trouble.kind.value,
        "sure": round(trouble.sure, 4),
        "evidence": trouble.evidence,
        "place": trouble.place,
    }
    if within is not None:
        plain["from_beat"] = round(within.beat_of(trouble.transition.from_quarters))
        plain["to_beat"] = round(within.beat_of(trouble.transition.to_quarters))
    return plain


def decision_to_plain(decision: Decision, within: Excerpt | None = None) -> dict[str, Any]:
    """The assignment, the clean run, the trouble and the offers."""
    trouble = decision.trouble
    return {
        "assignment": assignment_to_plain(decision.assignment),
        "changed": decision.changed,
        "clean_run": decision.clean_run,
        "trouble": trouble and trouble_to_plain(trouble, within),
        "troubles": [trouble_to_plain(one, within) for one in decision.troubles],
        "finished": decision.finished,
        "proposals": list(decision.proposals),
        "note": decision.note,
    }
