"""The parts of a MusicXML score, partwise or timewise, and what the part list says of them."""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.etree.ElementTree import Element

from coach.score.errors import ScoreError
from coach.score.reading.safe import clean, whole

_MOST_BARS = 20_000


@dataclass
class Part:
    """One part: its names and its bars, not yet read."""

    id: str
    names: list[str] = field(default_factory=list)
    """Part name, abbreviation and the names of its instruments."""
    sounds: list[str] = field(default_factory=list)
    """MusicXML instrument sounds, such as ``keyboard.piano``."""
    programs: list[int] = field(default_factory=list)
    """General MIDI programs, 1 to 128."""
    brace: int = 0
    """Number of the braced part group that it belongs to; 0 for none."""
    measures: list[Element] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Its name for people."""
        return next(iter(self.names), "a part without a name")


def parts_of(root: Element, name: str) -> list[Part]:
    """All parts with their bars, in score order.

    Raises ScoreError where the root is no score, or the score has no or too many bars.
    """
    if root.tag == "opus":
        raise ScoreError(
            f"{name} is only a list of other score files: open the score files themselves."
        )
    listed = {part.id: part for part in _listed(root)}
    if root.tag == "score-timewise":
        held = [(part, measure) for measure in root.iter("measure") for part in measure]
        for element, measure in held:
            _add(listed, element, [_bar_of(element, measure)])
    else:
        for element in root.findall("part"):
            _add(listed, element, element.findall("measure"))
    parts = [part for part in listed.values() if part.measures]
    if not parts:
        raise ScoreError(f"{name} holds no bars: export the score again.")
    if max(len(part.measures) for part in parts) > _MOST_BARS:
        raise ScoreError(f"{name} has more than {_MOST_BARS} bars, which no score needs: refused.")
    return parts


def _add(listed: dict[str, Part], element: Element, measures: list[Element]) -> None:
    identity = element.get("id", "")
    listed.setdefault(identity, Part(identity)).measures.extend(measures)


def _bar_of(part: Element, measure: Element) -> Element:
    """A timewise score's bar of one part, in the form of a partwise one."""
    part.attrib = {**measure.attrib}
    return part


def _listed(root: Element) -> list[Part]:
    parts: list[Part] = []
    open_braces: dict[str, int] = {}
    groups = 0
    part_list = root.find("part-list")
    for element in part_list if part_list is not None else ():
        if element.tag == "part-group":
            groups += 1
            _group(element, groups, open_braces)
        elif element.tag == "score-part":
            part = _score_part(element)
            part.brace = max(open_braces.values(), default=0)
            parts.append(part)
    return parts


def _group(element: Element, serial: int, open_braces: dict[str, int]) -> None:
    number = element.get("number", "1")
    if element.get("type") == "stop":
        open_braces.pop(number, None)
    elif (element.findtext("group-symbol") or "").strip() == "brace":
        open_braces[number] = serial


def _score_part(element: Element) -> Part:
    part = Part(element.get("id", ""))
    for child in element.iter():
        if child.tag in ("part-name", "part-abbreviation", "instrument-name"):
            part.names += [text] if (text := clean(child.text)) else []
        elif child.tag == "instrument-sound":
            part.sounds.append(clean(child.text))
        elif child.tag == "midi-program":
            program = whole(child.text, 1, 128)
            part.programs += [program] if program else []
    return part
