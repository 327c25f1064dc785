"""English stands in one module of a room: whoever mends or translates it finds all of it there."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

COACH = Path(__file__).resolve().parent.parent / "coach"
SENTENCE = re.compile(r"[A-Za-z],? [a-z].*[.?!]$")
"""Some words and a full stop: what a pianist reads, and no name of a table's row."""


def list_sentences(path: Path) -> Iterator[str]:
    """The sentences of a module, but for its docstrings and what it raises for programmers."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    apart: set[int] = set()
    for node in ast.walk(tree):
        is_docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        if is_docstring or isinstance(node, ast.Raise):
            apart |= {id(one) for one in ast.walk(node) if isinstance(one, ast.Constant)}
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str):
            continue
        if id(node) not in apart and SENTENCE.search(node.value):
            yield node.value


@pytest.mark.parametrize("room", ["coaching", "judging"])
def test_every_sentence_of_a_room_stands_in_its_wording(room: str) -> None:
    wording = COACH / room / "wording.py"
    assert len(list(list_sentences(wording))) > 5
    others = [path for path in (COACH / room).rglob("*.py") if path != wording]
    assert not [(path.name, words) for path in others for words in list_sentences(path)]
