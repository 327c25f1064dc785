"""Small MusicXML scores for tests, written as a musician would say them.

``note("C#4", 2)`` is a C sharp of two divisions; ``piano(bar(...), bar(...))`` is a whole score.
"""

from __future__ import annotations

import re
from pathlib import Path

from coach.score.model import Score, ScoreNote
from coach.score.reading import read_score

_NAME = re.compile(r"([A-G])(##|bb|[#b]?)(-?\d)")
_HOOKS = {"forward": "forward hook", "backward": "backward hook"}
_ALTERS = {"": "", "#": "<alter>1</alter>", "b": "<alter>-1</alter>"}
_ALTERS |= {"##": "<alter>2</alter>", "bb": "<alter>-2</alter>"}


def note(
    name: str,
    duration: int | str = 1,
    *,
    v: str = "1",
    s: int | None = 1,
    chord: bool = False,
    tie: str = "",
    grace: str = "",
    cue: bool = False,
    looks: str = "",
    tuplet: tuple[int, int] | None = None,
    notations: str = "",
    hidden: bool = False,
    beams: str = "",
    sign: str = "",
) -> str:
    """A note; ``tie`` is "start", "stop" or "stop start"; ``grace`` is "slash" or "plain".

    ``sign``: the accidental that is printed, "sharp".
    ``beams``: of each beam from the first on "begin", "continue", "end", "forward" or "backward".
    """
    parts = _NAME.fullmatch(name)
    assert parts, name
    step, alter, octave = parts.groups()
    ties = tie.split()
    slash = ' slash="yes"' if grace == "slash" else ""
    shown = ' print-object="no"' if hidden else ""
    drawn = "".join(f'<tied type="{kind}"/>' for kind in ties)
    inner = [
        f"<grace{slash}/>" if grace else "",
        "<cue/>" if cue else "",
        "<chord/>" if chord else "",
        f"<pitch><step>{step}</step>{_ALTERS[alter]}<octave>{octave}</octave></pitch>",
        "" if grace else f"<duration>{duration}</duration>",
        *(f'<tie type="{kind}"/>' for kind in ties),
        f"<voice>{v}</voice>" if v else "",
        f"<type>{looks}</type>" if looks else "",
        f"<accidental>{sign}</accidental>" if sign else "",
        _tuplet(tuplet),
        f"<staff>{s}</staff>" if s else "",
        *(
            f'<beam number="{at}">{_HOOKS.get(beam, beam)}</beam>'
            for at, beam in enumerate(beams.split(), start=1)
        ),
        f"<notations>{drawn}{notations}</notations>" if drawn or notations else "",
    ]
    return f"<note{shown}>{''.join(inner)}</note>"


def _tuplet(tuplet: tuple[int, int] | None) -> str:
    if not tuplet:
        return ""
    actual, normal = tuplet
    return (
        f"<time-modification><actual-notes>{actual}</actual-notes>"
        f"<normal-notes>{normal}</normal-notes></time-modification>"
    )


def rest(duration: int | str, *, v: str = "1", s: int = 1, hidden: bool = False) -> str:
    """A rest."""
    attribute = ' print-object="no"' if hidden else ""
    return (
        f"<note{attribute}><rest/><duration>{duration}</duration><voice>{v}</voice>"
        f"<staff>{s}</staff></note>"
    )


def back(duration: int | str) -> str:
    """A step back."""
    return f"<backup><duration>{duration}</duration></backup>"


def on(duration: int | str) -> str:
    """A step on, without a note."""
    return f"<forward><duration>{duration}</duration></forward>"


def metre(text: str, staff: int | None = None) -> str:
    """A time signature."""
    upper, lower = text.split("/")
    number = f' number="{staff}"' if staff else ""
    return f"<time{number}><beats>{upper}</beats><beat-type>{lower}</beat-type></time>"


def attributes(inner: str = "", *, divisions: int | None = None) -> str:
    """An attributes element."""
    units = f"<divisions>{divisions}</divisions>" if divisions else ""
    return f"<attributes>{units}{inner}</attributes>"


def words(text: str, *, staff: int = 1, voice: str = "", more: str = "") -> str:
    """A direction with words."""
    spoken = f"<voice>{voice}</voice>" if voice else ""
    return (
        f"<direction><direction-type><words>{text}</words></direction-type>{more}{spoken}"
        f"<staff>{staff}</staff></direction>"
    )


def direction(kind: str, *, staff: int = 1, sound: str = "") -> str:
    """A direction of any kind."""
    return (
        f"<direction><direction-type>{kind}</direction-type><staff>{staff}</staff>{sound}"
        "</direction>"
    )


def bar(*content: str, number: str = "", implicit: bool = False) -> str:
    """A bar; without a number it is numbered by :func:`part`."""
    implied = ' implicit="yes"' if implicit else ""
    return f'<measure number="{number or "?"}"{implied}>{"".join(content)}</measure>'


def part(*bars: str, identity: str = "P1", opening: str = "") -> str:
    """A part; ``opening`` is put in front of the first bar's content."""
    numbered = [text.replace('number="?"', f'number="{i}"') for i, text in enumerate(bars, 1)]
    if opening:
        numbered[0] = numbered[0].replace(">", ">" + opening, 1)
    return f'<part id="{identity}">{"".join(numbered)}</part>'


def score(*parts: tuple[str, str]) -> str:
    """A whole score, from (name, part) pairs; the parts' ids are P1, P2 and so on."""
    listed = "".join(
        f'<score-part id="P{i}"><part-name>{name}</part-name></score-part>'
        for i, (name, _) in enumerate(parts, 1)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0">'
        f"<part-list>{listed}</part-list>{''.join(text for _, text in parts)}</score-partwise>"
    )


def piano(*bars: str, time: str = "4/4", divisions: int = 1) -> str:
    """A piano score of two staves in this metre."""
    opening = attributes(metre(time) + "<staves>2</staves>", divisions=divisions)
    return score(("Piano", part(*bars, opening=opening)))


def opened(folder: Path, content: str | bytes, name: str = "case.musicxml") -> Score:
    """The score that a file of this content opens as."""
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_score(path)


def said(found: ScoreNote) -> str:
    """A note to be compared: name, onset, length, and staff."""
    length = "grace" if found.grace else str(found.length_quarters)
    return f"{found.spelling.symbol} @{found.onset_quarters} {length} s{found.staff}"


def all_said(found: Score) -> list[str]:
    """All notes of a score."""
    return [said(one) for one in found.notes]
