"""Real scores, damaged: one seeded change after another, as bytes, as text and as XML elements."""

from __future__ import annotations

import io
import random
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

from scripts.corpus import PIANO_SCORES, corpus
from scripts.hostile_scores import KINDS, MANY, midi, mxl

SAMPLES = Path(__file__).parents[1] / "sample_scores"
OTHER_SCORES = (
    "chopin/mazurka06-2.krn",
    "palestrina/Agnus_II_47.krn",
    "bach/bwv66.6.mxl",
    "demos/two-parts.musicxml",
)

_NASTY = (
    *("0", "-1", "1e30", "999999999", "NaN", "", " ", "1/0", "0.333333333", "4294967296", "x"),
    *("٣", "1e-9", "-0", "16383", "256", "65536", "true", "0x10", "\u2028", "&amp;", "9" * 40),
)
_SLOW_KINDS = frozenset(MANY)


def bases() -> list[tuple[str, bytes]]:
    """Names and contents of what is to be damaged: unpacked scores, MIDI files, hostile files."""
    files = [corpus() / name for name in (*PIANO_SCORES, *OTHER_SCORES)]
    files += sorted(SAMPLES.glob("*.musicxml"))
    out = [(file.name, unpacked(file.read_bytes())) for file in files if file.exists()]
    out += [("tune.mid", _tune()), ("tune.abc", _abc())]
    return out + [(n, make()) for n, make in KINDS.items() if n not in _SLOW_KINDS]


def unpacked(data: bytes) -> bytes:
    """The score in a compressed file, or the data as it is."""
    if not data.startswith(b"PK"):
        return data
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        names = [n for n in archive.namelist() if n.endswith(("xml",)) and "META-INF" not in n]
        return archive.read(names[0])


def _tune() -> bytes:
    """Two tracks, a hand each, with tempo, metre, pedal, overlaps and running status."""
    rng = random.Random(5)
    head = b"\x00\xff\x51\x03\x07\xa1\x20\x00\xff\x58\x04\x03\x02\x18\x08\x00\xff\x59\x02\xfe\x00"
    tracks = [head]
    for low in (60, 36):
        notes = b"\x00\xff\x03\x05Piano\x00\xb0\x40\x7f"
        for _ in range(200):
            key = low + rng.randrange(24)
            notes += bytes((0, 0x90, key, 64, *rng.choice(((0x60,), (0x83, 0x60))), key, 0))
        tracks.append(notes)
    return midi(*(track + b"\x00\xff\x2f\x00" for track in tracks))


def _abc() -> bytes:
    bars = "CDEF GABc|{c}d2 (3efg [CEG]4|c>B A/2G/2 z2 ^F_B|"
    return (
        f"X:1\nT:Tune\nM:4/4\nL:1/8\nQ:1/4=90\nK:G\nV:1\n{bars * 4}]\nV:2 bass\n{bars}\n".encode()
    )


def damaged(name: str, data: bytes, others: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    """The data after one to six changes; MusicXML is sometimes packed, and the pack damaged."""
    is_text = b"\0" not in data[:1000] and data[:2] != b"PK"
    for _ in range(rng.choice((1, 1, 2, 3, 6))):
        kinds = _TEXT if is_text and rng.random() < 0.8 else _BYTES
        data = rng.choice(kinds)(data, others, rng)
        if len(data) > 4_000_000:
            data = data[:4_000_000]
    if data.lstrip()[:1] == b"<" and rng.random() < 0.1:
        data = mxl(data)
        if rng.random() < 0.5:
            data = rng.choice(_BYTES)(data, others, rng)
    return data


Change = Callable[[bytes, list[tuple[str, bytes]], random.Random], bytes]


def _place(data: bytes, rng: random.Random) -> tuple[int, int]:
    """A stretch of the data, mostly short."""
    start = rng.randrange(len(data) + 1)
    return start, min(len(data), start + int(2 ** rng.uniform(0, 12)))


def _flip(data: bytes, others: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 4, 30))):
        if out:
            out[rng.randrange(len(out))] = rng.choice((0, 0xFF, 0x7F, 0x80, rng.randrange(256)))
    return bytes(out)


def _delete(data: bytes, others: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    start, end = _place(data, rng)
    return data[:start] + data[end:]


def _double(data: bytes, others: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    start, end = _place(data, rng)
    return data[:end] + data[start:end] * rng.choice((1, 2, 50)) + data[end:]


def _cut(data: bytes, others: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def _splice(data: bytes, others: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    other = rng.choice(others)[1]
    start, end = _place(other, rng)
    at = rng.randrange(len(data) + 1)
    return data[:at] + other[start:end] + data[at:]


_NUMBER = re.compile(rb"(?<=[>\"' ])-?\d+(?:\.\d+)?(?=[<\"' ])")
_ELEMENT = re.compile(rb"<([a-z-]++)[^<>]*+>(?:[^<>]*+</\1>)?")
"""It never goes back ("++"): a name of 100,000 letters without an end would take hours."""
_TAG_PAIRS = ("note", "measure", "attributes", "direction", "notations", "barline", "part", "time")


def _number(data: bytes, others: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    """Another number for one of those that stand in the text."""
    at = _one(_NUMBER, data, rng)
    return data[: at[0]] + rng.choice(_NASTY).encode() + data[at[1] :] if at else data


def _element_lost(data: bytes, others: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    at = _one(_ELEMENT, data, rng)
    return data[: at[0]] + data[at[1] :] if at else data


def _element_moved(data: bytes, others: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    """An element (or a copy of it) goes where another begins."""
    one, two = _one(_ELEMENT, data, rng), _one(_ELEMENT, data, rng)
    if not one or not two:
        return data
    return data[: two[0]] + data[one[0] : one[1]] * rng.choice((1, 1, 20)) + data[two[0] :]


def _element_foreign(data: bytes, others: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    """An element of another score."""
    other = rng.choice(others)[1]
    one, two = _one(_ELEMENT, data, rng), _one(_ELEMENT, other, rng)
    return data[: one[0]] + other[two[0] : two[1]] + data[one[0] :] if one and two else data


def _whole(data: bytes, others: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    """A whole note, bar or part is lost, doubled, or put into another."""
    tag = rng.choice(_TAG_PAIRS).encode()
    starts = [m.start() for m in re.finditer(b"<" + tag + rb"\b", data)]
    if not starts:
        return data
    start = rng.choice(starts)
    end = data.find(b"</" + tag + b">", start)
    if end < 0:
        return data
    end += len(tag) + 3
    piece = data[start:end]
    at = rng.choice((start, end, rng.choice(starts), start + len(tag) + 2))
    return data[:start] + data[end:] if rng.random() < 0.4 else data[:at] + piece + data[at:]


def _tag_renamed(data: bytes, others: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    """One element's tags become another's."""
    names = list({m[1] for m in re.finditer(_ELEMENT, data[:200_000])})
    if len(names) < 2:
        return data
    old, new = rng.sample(sorted(names), 2)
    return re.sub(rb"(</?)" + old + rb"\b", rb"\g<1>" + new, data, count=rng.choice((1, 2, 0)))


def _one(pattern: re.Pattern[bytes], data: bytes, rng: random.Random) -> tuple[int, int] | None:
    """One of the pattern's places: the first after a random point."""
    found = pattern.search(data, rng.randrange(len(data) + 1)) or pattern.search(data)
    return found.span() if found else None


_BYTES: tuple[Change, ...] = (_flip, _flip, _delete, _double, _cut, _splice)
_TEXT: tuple[Change, ...] = (
    *(_number, _number, _number, _element_lost, _element_moved, _element_foreign),
    *(_whole, _whole, _tag_renamed),
)
