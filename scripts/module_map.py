"""The map of the modules in DEVELOPERS.md, one line each, from their own first sentences.

python -m scripts.module_map          prints it
python -m scripts.module_map --write  puts it into DEVELOPERS.md, between its two marks
"""

from __future__ import annotations

import ast
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- modules -->", "<!-- end of modules -->"


def module_map(root: Path = ROOT) -> str:
    """Every module under ``coach`` with the first sentence of its docstring, room by room."""
    lines: list[str] = []
    for folder in sorted({path.parent for path in (root / "coach").rglob("*.py")}):
        lines += ["", f"**{folder.relative_to(root).as_posix()}**", ""]
        for path in sorted(folder.glob("*.py")):
            sentence = first_sentence(path)
            if path.name != "__init__.py" or len(sentence) > 0:
                lines.append(f"- `{path.name}`: {sentence}")
    return "\n".join(lines).strip()


def first_sentence(path: Path) -> str:
    """What a module says of itself in its first sentence."""
    text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    paragraph = " ".join(text.split("\n\n")[0].split())
    end = paragraph.find(". ")
    return paragraph if end < 0 else paragraph[: end + 1]


def written(page: str, modules: str) -> str:
    """The page with the map between its marks."""
    before, rest = page.split(BEGIN)
    return f"{before}{BEGIN}\n{modules}\n{END}{rest.split(END)[1]}"


def main() -> None:
    """Print the map, or write it."""
    modules = module_map()
    if "--write" in sys.argv:
        PAGE.write_text(written(PAGE.read_text(encoding="utf-8"), modules), encoding="utf-8")
    else:
        print(modules)


if __name__ == "__main__":
    main()
