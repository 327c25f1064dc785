"""Score files: which formats can be opened, how each is known, and what can go wrong with one.

All that the house knows of a format stands in its row of :data:`FORMATS`, but for its reader. The
format is told by the content, because names lie: a MusicXML file called ``.mid`` still opens.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

_HEAD_BYTES = 4096
_LONG_HEAD_BYTES = 16 * _HEAD_BYTES
"""What may stand before the first line or element that tells: long comments, a document type."""


class ScoreError(ValueError):
    """A score that cannot be opened.

    Its text is one sentence for the pianist: the file's name, the place in it where there is one,
    the reason, and what to do where that is not plain.
    """


class FileKind(Enum):
    """What a score file is."""

    MIDI = "MIDI"
    MUSICXML = "MusicXML"
    MEI = "MEI"
    KERN = "**kern"
    ABC = "ABC"


@dataclass(frozen=True, slots=True)
class Format:
    """A format of score files."""

    suffixes: tuple[str, ...]
    """Which files are offered as scores."""
    is_in: Callable[[bytes], bool]
    """Whether a file's content is in it."""
    reader: str
    """The function that reads it, as ``module:function``: imported only for such a file."""
    largest_bytes: int | None = None
    """What is larger is refused at once; None where only the general limit holds."""


def _is_midi(data: bytes) -> bool:
    return data.startswith(b"MThd") or (data.startswith(b"RIFF") and data[8:12] == b"RMID")


def _is_musicxml(data: bytes) -> bool:
    head = data[:_LONG_HEAD_BYTES].replace(b"\x00", b"").decode("latin-1")
    is_xml = "<" in head[:_HEAD_BYTES]
    roots = r"<(\w+:)?(score-partwise|score-timewise|opus)\b"
    return is_xml and re.search(roots, head) is not None


def _is_mei(data: bytes) -> bool:
    return re.search(r"<(\w+:)?mei\b", _head(data)) is not None


def _is_kern(data: bytes) -> bool:
    if re.search(r"^\*\*kern|\t\*\*kern", _head(data), re.MULTILINE):
        return True
    # The first line that is no comment, whatever stands before it.
    lines = (line for line in _text(data[:_LONG_HEAD_BYTES]).splitlines() if line)
    return "**kern" in next((line for line in lines if not line.startswith("!")), "")


def _is_abc(data: bytes) -> bool:
    if not re.search(r"^X:\s*\d", _head(data), re.MULTILINE):
        return False
    return re.search(r"^K:", _text(data), re.MULTILINE) is not None


def _head(data: bytes) -> str:
    return data[:_HEAD_BYTES].replace(b"\x00", b"").decode("latin-1")


def _text(data: bytes) -> str:
    return data.decode("latin-1").replace("\r", "\n")


_OTHERS = "coach.score.reading.music21_formats:read_other"
FORMATS = {
    FileKind.MIDI: Format(
        (".mid", ".midi"), _is_midi, "coach.score.reading.midi:read_midi", 2 << 20
    ),
    FileKind.MUSICXML: Format(
        (".musicxml", ".mxl", ".xml"), _is_musicxml, "coach.score.reading.musicxml:read_musicxml"
    ),
    FileKind.MEI: Format((".mei",), _is_mei, _OTHERS),
    FileKind.KERN: Format((".krn",), _is_kern, _OTHERS, 4 << 20),
    FileKind.ABC: Format((".abc",), _is_abc, _OTHERS, 4 << 20),
}
"""Every format that can be opened, in the order in which a file is asked for them."""
SUFFIXES = tuple(suffix for one in FORMATS.values() for suffix in one.suffixes)
"""Which files are offered as scores."""


def recognise_format(data: bytes) -> FileKind | None:
    """What a file's content is; None where it is no score."""
    return next((kind for kind, one in FORMATS.items() if one.is_in(data)), None)


def name_formats() -> str:
    """Every format by its name and how such files are called, for people."""
    *most, last = (f"{kind.value} ({', '.join(one.suffixes)})" for kind, one in FORMATS.items())
    return f"{', '.join(most)} and {last}"
