"""The door to resvg: an engraved window as a PNG picture, in the terminal's own colours."""

from __future__ import annotations

import base64
import io
import re
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from coach.engraving.engraver import Engraved

WORDS = "STIXGeneral"
"""The font of words in italics: as wide as Times, for which the engraver leaves room. In a wider
one they ran into what stands beside them (seen with verovio 6.4 and DejaVu)."""
INK, GROUND = "#000000", "#ffffff"


def draw(engraved: Engraved, *, ink: str = INK, ground: str | None = GROUND) -> bytes:
    """The picture as PNG; ``ground`` None is transparent. Colours are ``#rrggbb``."""
    import resvg_py

    svg = engraved.svg.replace('color="black"', f'color="{ink}" fill="{ink}"', 1)
    svg = svg.replace("font-style:italic;", f"font-style:italic;font-family:{WORDS};")
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
    """Text fonts, which come with matplotlib, as that does with music21; found without importing
    either. DejaVu for fingerings, for its digits are sturdy, and STIX for words."""
    found = find_spec("matplotlib")
    if found is None or not found.submodule_search_locations:
        return ()
    folder = Path(found.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"
    names = ("DejaVuSerif.ttf", "DejaVuSerif-Bold.ttf", "STIXGeneralItalic.ttf")
    return tuple(str(folder / name) for name in names if (folder / name).is_file())


_KITTY_CHUNK = 4096
"""Bytes of a picture in one escape sequence, at most (Kitty's graphics protocol)."""


def terminal_code(png: bytes, protocol: str, ground: str) -> str:
    """What puts the picture on a terminal, from the cursor's place on: sixel, or Kitty's protocol.
    Kitty's is under the text, and the cursor stays."""
    if protocol == "sixel":
        return _sixels(png, ground)
    data = base64.b64encode(png).decode("ascii")
    chunks = [data[at : at + _KITTY_CHUNK] for at in range(0, len(data), _KITTY_CHUNK)]
    out = []
    for at, chunk in enumerate(chunks):
        about = f"a=T,f=100,i={_KITTY_ID},q=2,C=1,z=-1," if at == 0 else ""
        more = int(at + 1 < len(chunks))
        out.append(f"\x1b_G{about}m={more};{chunk}\x1b\\")
    return "".join(out)


_SHADES = 16
"""Between ink and ground, for smooth edges. Own choice, because more can't be told apart, and each
takes bytes."""
_KITTY_ID = 7
"""The one picture of ours: a new one takes its place."""
KITTY_GONE = f"\x1b_Ga=d,d=I,i={_KITTY_ID},q=2\x1b\\"
"""What takes it away."""


def _sixels(png: bytes, ground: str) -> str:
    """By textual-image's own encoder, which its widgets use in the screen's thread."""
    from PIL import Image
    from textual_image._sixel import SixelOptions, image_to_sixels

    red, green, blue = (int(ground[at : at + 2], 16) for at in (1, 3, 5))
    image = Image.open(io.BytesIO(png)).convert("RGB")
    code = image_to_sixels(image, SixelOptions(colors=_SHADES), (red, green, blue, 1.0))
    return _name_colours_first(code)


_COLOUR = re.compile(r"#(\d+);2;(\d+);(\d+);(\d+)")
_OPENING = re.compile(r"\x1bP[\d;]*q(\"[\d;]+)?")


def _name_colours_first(sixels: str) -> str:
    """The same with every colour defined before the first is used: xterm gives what was drawn
    before a definition other colours (seen with its version 379)."""
    opening = _OPENING.match(sixels)
    if opening is None:
        return sixels
    colours = "".join(found[0] for found in _COLOUR.finditer(sixels))
    return opening[0] + colours + _COLOUR.sub(r"#\1", sixels[opening.end() :])
