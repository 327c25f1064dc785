"""The door to verovio: MEI to a picture in SVG, and where each note stands in it.

Verovio 6 (https://www.verovio.org; LGPL) lays the window out as one system. It is made as large as
the box allows: first its natural size is asked for, then the system is set anew at the width that
fills the box at the largest scale.

Sizes are in pixels of the picture that is asked for.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any
from xml.etree import ElementTree

from coach.engraving.fingers import clear_fingers

STAFF_UNITS = 8.0
"""A staff is four spaces high, a space two of the engraver's units."""
UNIT_PX = 9.0
"""The engraver's own unit at its plain scale, in pixels."""
MOST_STRETCH = 1.6
"""A window with little in it is spread to at most this many times its natural width. Own choice,
because notes far apart are no longer read as one line."""
FONT = "Leland"
_PLENTY_PX = 100_000
"""A page that no window fills."""
_OPTIONS: Mapping[str, Any] = {
    "font": FONT,
    "breaks": "none",
    "header": "none",
    "footer": "none",
    "scale": 100,
    "adjustPageHeight": True,
    "pageHeight": 60_000,
    "pageMarginLeft": 40,
    "pageMarginRight": 20,
    "pageMarginTop": 40,
    "pageMarginBottom": 10,
    "fingeringScale": 1.1,
    "minLastJustification": 0.0,
    "spacingStaff": 8,
    "spacingBraceGroup": 8,
    "svgFormatRaw": True,
    "xmlIdSeed": 1,
}
"""Fingerings are larger than in print: they are the smallest thing that is read from a metre."""


class CannotEngrave(Exception):
    """The engraver could not make anything of a window."""


@dataclass(frozen=True, slots=True)
class Box:
    """The room that there is."""

    width_px: float
    height_px: float
    largest_staff_px: float
    """No staff is drawn higher than this."""


@dataclass(frozen=True, slots=True)
class Engraved:
    """A window as a picture."""

    svg: str
    width_px: float
    height_px: float
    staff_px: float
    """How high a staff is."""
    notes: Mapping[str, tuple[float, float]]
    """By id where each note's head stands: left edge and middle, from the picture's top left."""
    staves: tuple[tuple[float, float], ...]
    """The top and the bottom line of each staff."""


def engrave(mei: str, box: Box) -> Engraved:
    """The window as large as it fits into the box. Raises CannotEngrave."""
    toolkit = _toolkit()
    toolkit.setOptions(
        {**_OPTIONS, "pageWidth": _PLENTY_PX, "adjustPageWidth": True, "noJustification": True}
    )
    if not toolkit.loadData(mei):
        raise CannotEngrave("the engraver could not read the window")
    natural = _size(toolkit.renderToSVG(1))
    scale = min(
        box.largest_staff_px / (STAFF_UNITS * UNIT_PX),
        box.height_px / natural[1],
        box.width_px / natural[0],
    )
    page = min(box.width_px / scale, natural[0] * MOST_STRETCH)
    toolkit.setOptions(
        {
            **_OPTIONS,
            "pageWidth": round(page),
            "adjustPageWidth": False,
            "noJustification": False,
        }
    )
    toolkit.redoLayout()
    svg = clear_fingers(toolkit.renderToSVG(1))
    width, height = _size(svg)
    scale = min(scale, box.width_px / width, box.height_px / height)
    return _located(svg, width, height, scale)


@lru_cache(maxsize=1)
def _toolkit() -> Any:
    import verovio  # some 0.1 s

    verovio.enableLog(verovio.LOG_OFF)
    return verovio.toolkit()


_SIZE = re.compile(r'<svg width="([\d.]+)px" height="([\d.]+)px"')


def _size(svg: str) -> tuple[float, float]:
    found = _SIZE.search(svg)
    if not found:
        raise CannotEngrave("the engraver gave no picture")
    return float(found[1]), float(found[2])


_SVG = "{http://www.w3.org/2000/svg}"
_TRANSLATE = re.compile(r"translate\(\s*(-?[\d.]+)[, ]\s*(-?[\d.]+)\s*\)")
_LINE = re.compile(r"M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+) (-?[\d.]+)")


def _located(svg: str, width: float, height: float, scale: float) -> Engraved:
    root = ElementTree.fromstring(svg)
    inner = next(one for one in root.iter(f"{_SVG}svg") if one.get("class") == "definition-scale")
    _, _, inner_width, _ = map(float, str(inner.get("viewBox")).split())
    factor = scale * width / inner_width
    margin = next(one for one in inner.iter(f"{_SVG}g") if one.get("class") == "page-margin")
    left, top = _moved(margin)
    notes: dict[str, tuple[float, float]] = {}
    staves: list[tuple[float, float]] = []
    for group in margin.iter(f"{_SVG}g"):
        kinds = str(group.get("class")).split()
        if "note" in kinds and (head := _head_of(group)) is not None:
            notes[str(group.get("id"))] = (factor * (left + head[0]), factor * (top + head[1]))
        elif "staff" in kinds and (lines := _lines_of(group)):
            span = (factor * (top + min(lines)), factor * (top + max(lines)))
            if span not in staves:
                staves.append(span)
    return Engraved(
        svg,
        scale * width,
        scale * height,
        scale * STAFF_UNITS * UNIT_PX,
        notes,
        tuple(sorted(staves)),
    )


def _head_of(note: ElementTree.Element) -> tuple[float, float] | None:
    for group in note.iter(f"{_SVG}g"):
        if group.get("class") == "notehead":
            for use in group.iter(f"{_SVG}use"):
                return _moved(use)
    return None


def _lines_of(staff: ElementTree.Element) -> list[float]:
    paths = (str(path.get("d")) for path in staff.findall(f"{_SVG}path"))
    return [float(found[2]) for path in paths if (found := _LINE.match(path))]


def _moved(element: ElementTree.Element) -> tuple[float, float]:
    found = _TRANSLATE.search(str(element.get("transform")))
    return (float(found[1]), float(found[2])) if found else (0.0, 0.0)
