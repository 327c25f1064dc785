"""Fingers moved clear of stems, beams, slurs and each other, and words clear of fingers.

The engraver sets a finger so near to stems and slurs that from the bench they are one (seen with
verovio 6.4). Each is moved outwards here, away from its note, until it touches nothing. Then the
words over the staff and under it make room for the fingers. The picture grows where that takes more
room.

Places are in the engraver's own units: a space of the staff is 180.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from xml.etree import ElementTree

FINGER_ID = "fing-"
"""How the id of a finger begins; its note's follows."""
ABOVE_ID, BELOW_ID = "above-", "below-"
"""How the ids of words over a staff and under one begin; a number of their own follows."""
_SVG = "{http://www.w3.org/2000/svg}"
_SPACE = 180.0
_GAP = 25.0
"""What is left free around a finger. Own choice: about the thickness of two stems."""
_LETTER_WIDTH, _DIGIT_HEIGHT = 0.7, 0.75
"""Of a bold digit of DejaVu Serif, in parts of its size (from the font, rounded up); letters are
about as wide."""
_DESCENT = 0.24
"""How far a g of DejaVu Serif reaches under its line, in parts of its size (from the font)."""
_MOST_MOVES = 12
"""So often a finger is moved out of the way before it stays. Own choice, because what is in the way
of a finger is seldom more than a stem, a beam and a slur."""
_CLEAR = 1.0
"""Moved so much farther than to the edge, for a rounding error must not make the two touch."""
_MARGIN = 40.0
"""Left free above the highest finger and under the lowest."""
_CURVE_STEPS = 24
"""Straight pieces that a slur is taken for. Own choice: each is shorter than a head is wide."""
_NUMBER = r"(-?[\d.]+)"
_TRANSLATE = re.compile(rf"translate\(\s*{_NUMBER}[, ]\s*{_NUMBER}\s*\)")
_NOT_IN_THE_WAY = frozenset({"clef", "keySig", "meterSig", "barLine", "fing", "mNum"})


@dataclass(frozen=True, slots=True)
class _Box:
    left: float
    top: float
    right: float
    bottom: float

    def touches(self, other: _Box) -> bool:
        """Whether the two overlap."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


@dataclass(frozen=True, slots=True)
class _Text:
    """A finger, or words."""

    id: str
    x: float
    """Where it begins, or its middle."""
    left: float
    right: float
    y: float
    """Of its letters' lower edge."""
    size: float
    above: bool
    depth: float = 0.0
    """How far its letters reach under that edge."""
    is_between: bool = False
    """Whether it may stand between the staves: then it makes room for nothing but other texts, or
    it would go through the staff under it."""

    def box(self, y: float) -> _Box:
        """What it covers where it stands at this height."""
        top = y - self.size * _DIGIT_HEIGHT
        return _Box(self.left - _GAP, top - _GAP, self.right + _GAP, y + self.depth + _GAP)


def clear_fingers(svg: str) -> str:
    """The picture with every finger and all words clear of what else is drawn."""
    if not any(f'"{begins}' in svg for begins in (FINGER_ID, ABOVE_ID, BELOW_ID)):
        return svg
    root = ElementTree.fromstring(svg)
    obstacles, placed = list(_find_obstacles(root)), list[_Box]()
    highest, lowest = 0.0, 0.0
    for texts in (_find_fingers(root), _find_words(root, _right_edge(svg))):
        for text in sorted(texts, key=lambda one: -one.y if one.above else one.y):
            y = _free_place(text, placed if text.is_between else (*obstacles, *placed))
            box = text.box(y)
            placed.append(box)
            highest, lowest = min(highest, box.top), max(lowest, box.bottom)
            svg = _move(svg, text, y)
    return _grow(svg, highest, lowest)


def _find_fingers(root: ElementTree.Element) -> Iterator[_Text]:
    heads = {
        str(group.get("id")): place
        for group in root.iter(f"{_SVG}g")
        if "note" in _kinds(group) and (place := _head_of(group)) is not None
    }
    for name, text in _find_texts(root, FINGER_ID):
        head = heads.get(name.removeprefix(FINGER_ID))
        if head is not None:
            yield _text_of(name, text, above=float(str(text.get("y"))) < head[1])


def _find_words(root: ElementTree.Element, right_edge: float) -> Iterator[_Text]:
    """Where they would reach over the picture's edge they begin sooner, but never before it."""
    for begins, above in ((ABOVE_ID, True), (BELOW_ID, False)):
        for name, text in _find_texts(root, begins):
            words = _text_of(name, text, above=above)
            over = min(max(words.right - right_edge, 0.0), max(words.left, 0.0))
            yield replace(
                words,
                is_between=not above,
                depth=_DESCENT * words.size,
                left=words.left - over,
                right=words.right - over,
                x=words.x - over,
            )


def _find_texts(
    root: ElementTree.Element, begins: str
) -> Iterator[tuple[str, ElementTree.Element]]:
    for group in root.iter(f"{_SVG}g"):
        name, text = str(group.get("id")), group.find(f"{_SVG}text")
        if name.startswith(begins) and text is not None:
            yield name, text


def _text_of(name: str, text: ElementTree.Element, *, above: bool) -> _Text:
    sizes = [str(one.get("font-size")) for one in text.iter(f"{_SVG}tspan")]
    size = next((float(one.removesuffix("px")) for one in sizes if one.endswith("px")), 0.0)
    x, y = float(str(text.get("x"))), float(str(text.get("y")))
    width = size * _LETTER_WIDTH * len("".join(text.itertext()).strip())
    left = x - width / 2 if text.get("text-anchor") == "middle" else x
    return _Text(name, x, left, left + width, y, size, above)


def _kinds(group: ElementTree.Element) -> list[str]:
    return str(group.get("class")).split()


def _head_of(note: ElementTree.Element) -> tuple[float, float] | None:
    for group in note.iter(f"{_SVG}g"):
        if "notehead" in _kinds(group):
            return next((_moved(use) for use in group.iter(f"{_SVG}use")), None)
    return None


def _moved(element: ElementTree.Element) -> tuple[float, float]:
    found = _TRANSLATE.search(str(element.get("transform")))
    return (float(found[1]), float(found[2])) if found else (0.0, 0.0)


# -- what is in the way ---------------------------------------------------------------------------


def _find_obstacles(
    element: ElementTree.Element, kind: str = "", *, is_music: bool = False
) -> Iterator[_Box]:
    """What a finger must not touch, from here down; lines of the staff it may."""
    for child in element:
        kinds = _kinds(child) if child.tag == f"{_SVG}g" else [kind]
        if _NOT_IN_THE_WAY.intersection(kinds):
            continue
        inside = is_music or "measure" in kinds
        if inside:
            yield from _boxes_of(child, kinds[0])
        yield from _find_obstacles(child, kinds[0], is_music=inside)


_STRAIGHT = re.compile(rf"^M{_NUMBER} {_NUMBER} L{_NUMBER} {_NUMBER}$")
_FLAG_HEIGHT = 3.2 * _SPACE


def _boxes_of(element: ElementTree.Element, kind: str) -> Iterator[_Box]:
    if element.tag == f"{_SVG}use":
        x, y = _moved(element)
        if kind == "flag":
            yield _Box(x, y - _FLAG_HEIGHT / 4, x + _SPACE, y + _FLAG_HEIGHT / 4)
        else:  # heads, accidentals, articulation, digits of tuplets: about a space
            yield _Box(x, y - _SPACE / 2, x + 1.2 * _SPACE, y + _SPACE / 2)
    elif element.tag == f"{_SVG}path" and kind == "stem":
        if found := _STRAIGHT.match(str(element.get("d"))):
            yield _around([(float(found[1]), float(found[2])), (float(found[3]), float(found[4]))])
    elif element.tag == f"{_SVG}path" and kind in ("slur", "tie", "lv"):
        yield from _boxes_of_curve(str(element.get("d")))
    elif element.tag == f"{_SVG}polygon":
        pairs = (pair.split(",") for pair in str(element.get("points")).split())
        yield from _slices([(float(x), float(y)) for x, y in pairs])


def _around(points: Iterable[tuple[float, float]]) -> _Box:
    xs, ys = zip(*points, strict=True)
    return _Box(min(xs), min(ys), max(xs), max(ys))


def _slices(corners: list[tuple[float, float]]) -> Iterator[_Box]:
    """A beam in upright slices, since a slanting one is high only at one end."""
    left, right = min(x for x, _ in corners), max(x for x, _ in corners)
    thick = max(y for x, y in corners if x == left) - min(y for x, y in corners if x == left)
    start, end = min(y for x, y in corners if x == left), min(y for x, y in corners if x == right)
    for step in range(_CURVE_STEPS):
        one, other = (start + (end - start) * (step + at) / _CURVE_STEPS for at in (0, 1))
        x = left + (right - left) * step / _CURVE_STEPS
        width = (right - left) / _CURVE_STEPS
        yield _Box(x, min(one, other), x + width, max(one, other) + thick)


def _boxes_of_curve(path: str) -> Iterator[_Box]:
    """A slur: the first of its two curves, in short pieces."""
    numbers = [float(one) for one in re.findall(_NUMBER, path)]
    if len(numbers) < 8:
        return
    corners = list(zip(numbers[:8:2], numbers[1:8:2], strict=True))
    points = [_on_curve(corners, step / _CURVE_STEPS) for step in range(_CURVE_STEPS + 1)]
    for one, other in pairwise(points):
        yield _around([one, other])


def _on_curve(corners: list[tuple[float, float]], at: float) -> tuple[float, float]:
    """A point of a cubic Bézier curve."""
    shares = ((1 - at) ** 3, 3 * at * (1 - at) ** 2, 3 * at**2 * (1 - at), at**3)
    x, y = (
        sum(share * corner[axis] for share, corner in zip(shares, corners, strict=True))
        for axis in (0, 1)
    )
    return x, y


# -- moving ---------------------------------------------------------------------------------------


def _free_place(text: _Text, obstacles: Iterable[_Box]) -> float:
    """The nearest height, outwards from where it stands, at which it touches nothing."""
    y = text.y
    beside = text.box(y)
    near = [one for one in obstacles if one.left < beside.right and beside.left < one.right]
    for _ in range(_MOST_MOVES):
        box = text.box(y)
        hit = [one for one in near if box.touches(one)]
        if not hit:
            return y
        if text.above:
            y -= box.bottom - min(one.top for one in hit) + _CLEAR
        else:
            y += max(one.bottom for one in hit) - box.top + _CLEAR
    return text.y


def _move(svg: str, text: _Text, y: float) -> str:
    opening = re.compile(rf'(<g id="{re.escape(text.id)}"[^>]*><text x=")[^"]*(" y=")[^"]*(")')
    return opening.sub(rf"\g<1>{text.x:.0f}\g<2>{y:.0f}\g<3>", svg, count=1)


_WHOLE = re.compile(r'(<svg width="[\d.]+px" height=")([\d.]+)(px")')
_INNER = re.compile(r'(class="definition-scale"[^>]*viewBox="0 0 ([\d.]+) )([\d.]+)(")')
_LEFT = re.compile(r'class="page-margin"[^>]*translate\(\s*(-?[\d.]+)')
_TOP = re.compile(r'(class="page-margin"[^>]*translate\(\s*-?[\d.]+[, ]\s*)(-?[\d.]+)')


def _right_edge(svg: str) -> float:
    """How far to the right there is room for words."""
    inner, left = _INNER.search(svg), _LEFT.search(svg)
    return float(inner[2]) - float(left[1]) - _MARGIN if inner and left else float("inf")


def _grow(svg: str, highest: float, lowest: float) -> str:
    """The picture with room for what was moved up or down."""
    inner, top = _INNER.search(svg), _TOP.search(svg)
    if inner is None or top is None:
        return svg
    height, margin = float(inner[3]), float(top[2])
    over = max(_MARGIN - (margin + highest), 0.0)
    under = max(margin + lowest + _MARGIN - height, 0.0)
    if not over and not under:
        return svg
    grown = height + over + under
    svg = _WHOLE.sub(
        lambda found: f"{found[1]}{float(found[2]) * grown / height:.2f}{found[3]}", svg, 1
    )
    svg = _INNER.sub(lambda found: f"{found[1]}{grown:.0f}{found[4]}", svg, 1)
    return _TOP.sub(lambda found: f"{found[1]}{margin + over:.0f}", svg, 1)
