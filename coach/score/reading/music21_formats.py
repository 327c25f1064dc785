"""How many notes a **kern, MEI or ABC file writes: a check on what a library makes of it.

Tied notes count one by one, rests not at all.

**kern, MEI and ABC: read by music21, then by our own walk. The door to music21.

music21 writes what it read as MusicXML, so that ties, staves and bars are treated alike in all
formats. It loses notes of some files without a word, so the notes that the file writes are
counted, and a difference is said.
"""

from __future__ import annotations

import re
import warnings
from dataclasses import replace
from itertools import pairwise
from typing import Any

from coach.score.formats import FileKind, ScoreError
from coach.score.model import Remark, Score
from coach.score.reading.files import Source
from coach.score.reading.musicxml import read_musicxml
from coach.score.words import count_of

_ABC_FIELD = re.compile(r"^\s*[A-Za-z+]:.*$", re.MULTILINE)
_ABC_NOISE = re.compile(r'"[^"]*"|![^!\n]*!|\+[^+\n]*\+|\[[A-Za-z]:[^\]]*\]|%.*$', re.MULTILINE)
_MEI_NOTE = re.compile(r"<(?:\w+:)?note[\s/>]")


def written_notes(text: str, kind: FileKind) -> int:
    """The number of notes that are written in the first piece of a file."""
    if kind is FileKind.KERN:
        return _kern_notes(text)
    if kind is FileKind.MEI:
        return len(_MEI_NOTE.findall(text))
    return _abc_notes(text)


def _kern_notes(text: str) -> int:
    """Note tokens in the **kern spines, which may split, join, swap and end on the way."""
    spines: list[bool] = []
    notes = 0
    for line in text.splitlines():
        if not line or line.startswith("!"):
            continue
        cells = line.split("\t")
        if line.startswith("**"):
            spines = [cell == "**kern" for cell in cells]
        elif line.startswith("*"):
            spines = _follow_spine_path(spines, cells)
        elif not line.startswith("="):
            for is_kern, cell in zip(spines, cells, strict=False):
                notes += _notes_in(cell) if is_kern else 0
    return notes


def _notes_in(cell: str) -> int:
    return sum(
        "r" not in token and re.search("[A-Ga-g]", token) is not None for token in cell.split(" ")
    )


def _follow_spine_path(spines: list[bool], cells: list[str]) -> list[bool]:
    """The spines after a line of spine paths: split ``*^``, join ``*v``, end ``*-``, add ``*+``."""
    out: list[bool] = []
    joining = False
    for is_kern, cell in zip(spines, cells, strict=False):
        if cell == "*v":
            if not joining:
                out.append(is_kern)
            joining = True
            continue
        joining = False
        out += {"*^": [is_kern] * 2, "*-": [], "*+": [is_kern, False]}.get(cell, [is_kern])
    return out


def first_tune(text: str) -> tuple[str, int]:
    """The first tune of an ABC file, with what stands before all tunes, and how many there are."""
    starts = [match.start() for match in re.finditer(r"^X:", text, re.MULTILINE)]
    return (text[: starts[1]] if len(starts) > 1 else text), max(len(starts), 1)


def _abc_notes(text: str) -> int:
    """Letters of notes in the body of a tune."""
    body = _ABC_FIELD.sub("", _ABC_NOISE.sub("", text))
    return len(re.findall(r"[A-Ga-g]", body))


_FORMATS = {FileKind.KERN: "humdrum", FileKind.MEI: "mei", FileKind.ABC: "abc"}


def read_other(source: Source) -> Score:
    """Read a **kern, MEI or ABC file.

    Raises ScoreError where music21 cannot read it or it has no piano part.
    """
    text = _text(source)
    refuse_entities(text, source.name)
    pieces = 1
    if source.kind is FileKind.ABC:
        text, pieces = first_tune(text)
    xml = _as_musicxml(text, source)
    score = read_musicxml(Source(source.name, FileKind.MUSICXML, xml, source.part))
    return replace(
        score,
        title=_title(score, source),
        composer="" if score.composer.lower() == "music21" else score.composer,
        remarks=_remarks(score, source, text, pieces),
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
            return _export(_parse(text, _FORMATS[source.kind]))
        except MemoryError:
            raise  # no fault of the file's: the process that reads it says how much it may take
        except Exception:  # whatever a damaged file does to music21, the pianist gets one sentence
            kind = source.kind.value
            raise ScoreError(
                f"{source.name} is {kind} that cannot be read: export it as MusicXML."
            ) from None


def _parse(text: str, format_name: str) -> Any:
    from music21 import converter, stream

    parser = converter.Converter()
    parser.parseData(text, format=format_name)
    parsed = parser.stream
    return parsed.scores[0] if isinstance(parsed, stream.Opus) else parsed


def _export(stream: Any) -> bytes:
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    _treble_first(stream)
    _keep_halves(stream)
    exported: bytes = GeneralObjectExporter(stream).parse()
    return exported


def _keep_halves(stream: Any) -> None:
    """Have the halves of a bar that a repeat sign cuts be one bar's halves.

    A barline in mid-bar has no number in **kern. music21 makes a bar of what follows, numbers it 0
    and fills both up with rests that nobody wrote; padding says that they are to stay short.
    """
    for part in stream.parts:
        measures = list(part.getElementsByClass("Measure"))
        for before, after in pairwise(measures):
            whole, played = before.barDuration.quarterLength, before.highestTime
            if after.number == 0 and played + after.highestTime <= whole:
                before.paddingRight, after.paddingLeft = whole - played, played
                after.number = before.number


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
        lost = f"{count_of(missing, 'note')} of the file may be missing: compare with the page."
        out.insert(0, Remark("left out", lost))
    if pieces > 1:
        out.insert(0, Remark("left out", f"The file has {pieces} pieces: the first was read."))
    return tuple(out)
