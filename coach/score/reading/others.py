"""**kern, MEI and ABC: read by music21, then by our own walk. The door to music21.

music21 writes what it read as MusicXML, so that ties, staves and bars are treated alike in all
formats. It loses notes of some files without a word, so the notes that the file writes are
counted, and a difference is said.
"""

from __future__ import annotations

import warnings
from dataclasses import replace
from typing import Any

from coach.score.errors import ScoreError
from coach.score.model import Score
from coach.score.printed import Remark
from coach.score.reading.files import Kind, Source
from coach.score.reading.musicxml import read_musicxml
from coach.score.reading.safe import count
from coach.score.reading.tokens import first_tune, written_notes

_FORMATS = {Kind.KERN: "humdrum", Kind.MEI: "mei", Kind.ABC: "abc"}


def read_other(source: Source) -> Score:
    """Read a **kern, MEI or ABC file.

    Raises ScoreError where music21 cannot read it or it has no piano part.
    """
    text = _text(source)
    refuse_entities(text, source.name)
    pieces = 1
    if source.kind is Kind.ABC:
        text, pieces = first_tune(text)
    xml = _as_musicxml(text, source)
    score = read_musicxml(Source(source.name, Kind.MUSICXML, xml))
    return replace(
        score, title=_title(score, source), remarks=_remarks(score, source, text, pieces)
    )


def _text(source: Source) -> str:
    if source.data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return source.data.decode("utf-16", "replace")
    try:
        return source.data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return source.data.decode("latin-1")


def refuse_entities(text: str, name: str) -> None:
    """Raise ScoreError where XML declares entities, which music21 would follow."""
    if "<!ENTITY" in text:
        raise ScoreError(f"{name} declares XML entities, which a score never needs: refused.")


def _as_musicxml(text: str, source: Source) -> bytes:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            return _exported(_parsed(text, _FORMATS[source.kind]))
        except MemoryError:
            raise  # no fault of the file's: the process that reads it says how much it may take
        except Exception:  # whatever a damaged file does to music21, the pianist gets one sentence
            kind = source.kind.value
            raise ScoreError(
                f"{source.name} is {kind} that cannot be read: export it as MusicXML."
            ) from None


def _parsed(text: str, format_name: str) -> Any:
    from music21 import converter, stream

    parser = converter.Converter()
    parser.parseData(text, format=format_name)
    parsed = parser.stream
    return parsed.scores[0] if isinstance(parsed, stream.Opus) else parsed


def _exported(stream: Any) -> bytes:
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    _treble_first(stream)
    exported: bytes = GeneralObjectExporter(stream).parse()
    return exported


def _treble_first(stream: Any) -> None:
    """Put the higher of two parts first: **kern lists the lowest staff first."""
    parts = list(stream.parts)
    if len(parts) != 2:
        return
    heights = [[p.midi for n in part.recurse().notes for p in n.pitches] for part in parts]
    if all(heights) and sum(heights[0]) / len(heights[0]) < sum(heights[1]) / len(heights[1]):
        for part in parts:
            stream.remove(part)
        for part in reversed(parts):
            stream.insert(0, part)


def _title(score: Score, source: Source) -> str:
    # music21 names a piece without a title after itself.
    is_named = score.title and "music21" not in score.title.lower()
    return score.title if is_named else source.name.rsplit(".", 1)[0]


def _remarks(score: Score, source: Source, text: str, pieces: int) -> tuple[Remark, ...]:
    out = list(score.remarks)
    read = sum(max(1, len(note.segments_quarters)) for note in score.notes)
    missing = written_notes(text, source.kind) - read
    if missing > 0:
        lost = f"{count(missing, 'note')} of the file may be missing: compare with the page."
        out.insert(0, Remark("left out", lost))
    if pieces > 1:
        out.insert(0, Remark("left out", f"The file has {pieces} pieces: the first was read."))
    return tuple(out)
