"""The classes of coach: short chains, and a name for one thing only."""

from __future__ import annotations

import ast
from collections import defaultdict
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LONGEST_CHAIN = 2
"""Classes of our own, one made from the other; what a library gives does not count. More of them is
one class in several files: let one object hold another instead."""


def name_of(base: ast.expr) -> str:
    """``Screen`` of ``Screen``, ``Screen[None]`` and ``textual.screen.Screen``."""
    if isinstance(base, ast.Subscript):
        return name_of(base.value)
    if isinstance(base, ast.Attribute):
        return base.attr
    return base.id if isinstance(base, ast.Name) else ""


@cache
def classes_in(folder: Path) -> list[tuple[str, Path, list[str]]]:
    """Every class below a folder: its name, its file, the names of what it is made from."""
    return [
        (node.name, file.relative_to(folder), [name_of(one) for one in node.bases])
        for file in sorted(folder.rglob("*.py"))
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.ClassDef)
    ]


def find_long_chains(folder: Path) -> list[str]:
    """Chains of more classes than are wanted, each in one line."""
    bases: dict[str, list[str]] = defaultdict(list)
    for name, _, above in classes_in(folder):
        bases[name] += above

    def chain(name: str, below: tuple[str, ...] = ()) -> tuple[str, ...]:
        if name in below or name not in bases:
            return below
        here = (*below, name)
        return max((chain(above, here) for above in bases[name]), key=len, default=here)

    chains = [chain(name) for name in list(bases)]
    return [" < ".join(one) for one in chains if len(one) > LONGEST_CHAIN]


def find_shared_names(folder: Path) -> list[str]:
    """Names that several classes have, with their files."""
    files: dict[str, list[str]] = defaultdict(list)
    for name, file, _ in classes_in(folder):
        files[name].append(str(file))
    return [f"{name}: {', '.join(ats)}" for name, ats in sorted(files.items()) if len(ats) > 1]


def test_no_class_is_made_from_a_row_of_our_own() -> None:
    chains = find_long_chains(ROOT / "coach")
    assert not chains, (
        f"More than {LONGEST_CHAIN} classes of our own, one made from the other. "
        "Let one object hold the other instead:\n" + "\n".join(chains)
    )


def test_no_two_classes_share_a_name() -> None:
    shared = find_shared_names(ROOT / "coach")
    assert not shared, (
        "One name for several classes: whoever searches for it finds the wrong one. Give each the "
        "name of what it alone is:\n" + "\n".join(shared)
    )


def test_both_are_found_where_they_are(tmp_path: Path) -> None:
    (tmp_path / "one.py").write_text("class A: ...\nclass B(A): ...\nclass C(x.B[int]): ...\n")
    (tmp_path / "two.py").write_text("class A(Widget): ...\nclass D(A): ...\n")
    assert find_long_chains(tmp_path) == ["C < B < A"]
    assert find_shared_names(tmp_path) == ["A: one.py, two.py"]
