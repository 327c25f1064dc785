"""What is in a file, without trusting it: numbers, words and XML."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from xml.etree.ElementTree import Element, TreeBuilder
from xml.parsers import expat

from coach.score.formats import ScoreError
from coach.score.model import Remark
from coach.score.words import printable

# Numbers and words out of a file, without trusting it.
#
# A hostile file may write 1e999999999, and exact arithmetic on that never ends: so a number is
# taken only in the plain decimal form that the formats use, and only up to a sensible size.


_DECIMAL = re.compile(r"[+-]?\d{1,9}(\.\d{1,9})?|[+-]?\.\d{1,9}")
_LONGEST_WORDS = 200
"""Letters of a title or a direction that are kept. Own choice: more than a line of any screen."""


@lru_cache(maxsize=4096)
def number(text: str | None) -> Fraction | None:
    """A plain decimal as an exact fraction; None for anything else."""
    stripped = (text or "").strip()
    return Fraction(stripped) if _DECIMAL.fullmatch(stripped) else None


@lru_cache(maxsize=4096)
def whole(text: str | None, low: int, high: int) -> int | None:
    """A whole number from low to high; None for anything else."""
    value = number(text)
    if value is None or value.denominator != 1 or not low <= value <= high:
        return None
    return int(value)


def clean(text: str | None) -> str:
    """Words on one line, without control characters, cut at 200 characters."""
    if not text:
        return ""
    return " ".join(printable(text, len(text), unseen=" ").split())[:_LONGEST_WORDS]


# XML that cannot hurt: no entity is declared, no DTD is loaded, nothing is fetched.
#
# A DOCTYPE line as real MusicXML files carry it is accepted and ignored. The tree is built by
# expat itself, which neither recurses nor leaves the file; the readers of the tree walk it at a
# fixed depth, so that nesting cannot exhaust the stack either.


_STRAY_AMPERSAND = re.compile(r"&(?!(?:amp|lt|gt|quot|apos|#\d{1,7}|#x[0-9a-fA-F]{1,6});)")
_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_BOMS = ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig"))


class _Forbidden(Exception):
    """An entity declaration was met."""


def parse_xml(data: bytes, name: str) -> tuple[Element, list[Remark]]:
    """The root of an XML file, and what had to be repaired to get it.

    A file that breaks off gives what stands before the break, without the bar that is broken.
    Raises ScoreError where the file declares entities, or is no XML at all.
    """
    try:
        root, error = _build(data)
        if root is not None and error is None:
            return root, []
        return _read_repaired(data, name)
    except _Forbidden:
        raise ScoreError(
            f"{name} declares XML entities, which a score never needs and which can be used to"
            " harm the computer: it is refused; export the score again."
        ) from None


def _build(
    data: bytes, encoding: str | None = None
) -> tuple[Element | None, expat.ExpatError | None]:
    builder = TreeBuilder()
    parser = expat.ParserCreate(encoding)
    parser.buffer_text = True
    parser.StartElementHandler = builder.start
    parser.EndElementHandler = builder.end
    parser.CharacterDataHandler = builder.data
    parser.EntityDeclHandler = _refuse
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, LookupError, ValueError) as error:
        found = error if isinstance(error, expat.ExpatError) else expat.ExpatError(str(error))
        return builder.close(), found
    return builder.close(), None


def _refuse(*_: object) -> None:
    raise _Forbidden


def _read_repaired(data: bytes, name: str) -> tuple[Element, list[Remark]]:
    """A second reading, with the characters put right; then whatever stands before the break."""
    text = _as_utf8(data)
    root, error = _build(text, "utf-8")
    if root is None:
        raise ScoreError(f"{name} is not a readable XML file{_at(error)}; export the score again.")
    if error is None:
        return root, [Remark("repaired", "Characters that XML does not allow were put right.")]
    ends_between_bars = text.rfind(b"</measure>") > text.rfind(b"<measure")
    if not (_only_breaks_off(error) and ends_between_bars) and not _drop_last_bar(root):
        raise ScoreError(f"{name} is damaged{_at(error)} and holds no whole bar before that.")
    said = f"The file is broken{_at(error)}: only the whole bars before that place were read."
    return root, [Remark("left out", said)]


def _only_breaks_off(error: expat.ExpatError) -> bool:
    """True where all is well up to the file's end, which comes too soon."""
    return getattr(error, "code", 0) in (
        expat.errors.codes[expat.errors.XML_ERROR_NO_ELEMENTS],
        expat.errors.codes[expat.errors.XML_ERROR_UNCLOSED_TOKEN],
    )


def _at(error: expat.ExpatError | None) -> str:
    line = getattr(error, "lineno", 0)
    return f" at line {line}" if line else ""


def _as_utf8(data: bytes) -> bytes:
    text = _NOT_XML.sub(" ", _decode(data))
    start = text.find("<")
    return _STRAY_AMPERSAND.sub("&amp;", text[max(start, 0) :]).encode()


def _decode(data: bytes) -> str:
    for bom, encoding in _BOMS:
        if data.startswith(bom):
            return data.decode(encoding, "replace")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _drop_last_bar(root: Element) -> bool:
    """Take away the bar in which the file broke; True where a bar is left."""
    if root.tag == "score-timewise":
        bars, holder = root.findall("measure"), root
    else:
        parts = root.findall("part")
        holder = parts[-1] if parts else root
        bars = holder.findall("measure")
    if bars:
        holder.remove(bars[-1])
    return next(root.iter("measure"), None) is not None
