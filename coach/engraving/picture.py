"""The door to resvg: an engraved window as a PNG picture, in the terminal's own colours."""

from __future__ import annotations

from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from coach.engraving.engraver import Engraved

INK, GROUND = "#000000", "#ffffff"


def draw(engraved: Engraved, *, ink: str = INK, ground: str | None = GROUND) -> bytes:
    """The picture as PNG; ``ground`` None is transparent. Colours are ``#rrggbb``."""
    import resvg_py

    svg = engraved.svg.replace('color="black"', f'color="{ink}" fill="{ink}"', 1)
    drawn = resvg_py.svg_to_bytes(
        svg_string=svg,
        width=round(engraved.width_px),
        height=round(engraved.height_px),
        background=ground,
        skip_system_fonts=True,
        font_files=list(_fonts()),
        serif_family="DejaVu Serif",
        font_family="DejaVu Serif",
    )
    return bytes(drawn)


@lru_cache(maxsize=1)
def _fonts() -> tuple[str, ...]:
    """A text font for fingerings and words: DejaVu, which comes with matplotlib, as that does with
    music21. It is found without importing either."""
    found = find_spec("matplotlib")
    if found is None or not found.submodule_search_locations:
        return ()
    folder = Path(found.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"
    names = ("DejaVuSerif.ttf", "DejaVuSerif-Bold.ttf", "DejaVuSerif-Italic.ttf")
    return tuple(str(folder / name) for name in names if (folder / name).is_file())
