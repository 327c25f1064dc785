"""What the documents and the comments name is there: nobody is sent where nothing is."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PAGES = [ROOT / "DEVELOPERS.md", ROOT / "scripts" / "README.md", *(ROOT / "coach").rglob("*.py")]
FILES = {
    path.relative_to(ROOT).as_posix()
    for folder in ("coach", "scripts", "tests")
    for path in (ROOT / folder).rglob("*.py")
}
OTHERS = {"rtmidi.py"}
"""Files that a pianist may have."""
MOST_WORDS = 4300
"""Twenty minutes at 215 words a minute: a little slower than the 238 that adults read of plain
non-fiction (Brysbaert 2019, Journal of Memory and Language 109, from memory): it is technical."""
NAMED = re.compile(r"`((?:[a-z_]+/)*[a-z_]+\.py)`")


def is_there(name: str) -> bool:
    return any(file == name or file.endswith(f"/{name}") for file in FILES)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_every_file_that_is_named_is_there(page: Path) -> None:
    named = set(NAMED.findall(page.read_text(encoding="utf-8"))) - OTHERS
    assert all(map(is_there, named)), [one for one in named if not is_there(one)]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_every_module_that_is_named_is_there(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    for name in re.findall(r"(?:mod|func|class|meth|attr|data):`~?(coach(?:\.\w+)+)`", text):
        parts = name.split(".")
        modules = ["/".join(parts[:end]) for end in range(len(parts), 1, -1)]
        assert any(f"{one}.py" in FILES or f"{one}/__init__.py" in FILES for one in modules), name
        module = next(m for m in modules if f"{m}.py" in FILES or f"{m}/__init__.py" in FILES)
        rest = parts[len(module.split("/")) :]
        if rest:
            file = ROOT / (f"{module}.py" if f"{module}.py" in FILES else f"{module}/__init__.py")
            assert re.search(rf"\b{rest[-1]}\b", file.read_text(encoding="utf-8")), name


def list_prose() -> str:
    """The developers' page without its examples and its tables, which are looked up, not read."""
    text = re.sub(r"```.*?```", "", PAGES[0].read_text(encoding="utf-8"), flags=re.DOTALL)
    return "\n".join(line for line in text.splitlines() if not line.startswith("|"))


def test_the_developers_page_is_read_in_twenty_minutes() -> None:
    assert 1000 < len(list_prose().split()) <= MOST_WORDS


def test_every_class_and_table_that_the_developers_page_names_is_there() -> None:
    defined = re.compile(r"^\s*(?:class )?([A-Z]\w+)\b(?:[(:]|.* = )", re.MULTILINE)
    files = [ROOT / name for name in FILES if not name.startswith("tests")]
    known = {name for path in files for name in defined.findall(path.read_text(encoding="utf-8"))}
    named = set(re.findall(r"`([A-Z][A-Za-z]+|[A-Z_]{3,})\b[^`]*`", list_prose()))
    assert len(named) > 20
    assert named - known <= {"Fraction", "KEYHOLE_REQUIRE_REAL"}
