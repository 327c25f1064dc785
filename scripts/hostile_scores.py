"""Files that would harm a trusting reader, each made small enough to be made anew at every run.

Used by the fuzz script and by the tests: every kind must end in a score or in one sentence.
"""

from __future__ import annotations

import io
import random
import struct
import zipfile
from collections.abc import Callable

Maker = Callable[[], bytes]

NOTE = (
    "<note><pitch><step>C</step><octave>4</octave></pitch>"
    "<duration>4</duration><voice>1</voice><type>whole</type></note>"
)
ATTRIBUTES = (
    "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
    "</attributes>"
)


def musicxml(bars: str, prologue: str = "", parts: str = "") -> bytes:
    """A MusicXML file around these bars."""
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>{prologue}<score-partwise version="4.0">'
        '<part-list><score-part id="P1"><part-name>Piano</part-name></score-part></part-list>'
        f'<part id="P1">{bars}</part>{parts}</score-partwise>'
    ).encode()


def bar(content: str = NOTE, number: object = 1, attributes: str = ATTRIBUTES) -> str:
    return f'<measure number="{number}">{attributes}{content}</measure>'


def with_note(old: str, new: str) -> bytes:
    """A score of three bars, in the second of which one thing is put for another."""
    odd = (ATTRIBUTES + NOTE).replace(old, new)
    return musicxml(bar() + bar(odd, 2, "") + bar(number=3, attributes=""))


def zipped(members: dict[str, bytes], packing: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", packing) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


def container(path: str = "score.xml") -> bytes:
    root = f'<rootfile full-path="{path}"/>'
    return f"<container><rootfiles>{root}</rootfiles></container>".encode()


def mxl(score: bytes, path: str = "score.xml") -> bytes:
    return zipped({"META-INF/container.xml": container(path), "score.xml": score})


GOOD = musicxml(bar() + bar(number=2, attributes=""))


def spoiled(data: bytes, at: int, new: bytes) -> bytes:
    return data[:at] + new + data[at + len(new) :]


def _lying_zip() -> bytes:
    """A member whose stated size is a thousandth of what it inflates to."""
    data = bytearray(mxl(musicxml(bar() + " " * 1_000_000)))
    at = data.rfind(b"PK\x01\x02") + 24
    struct.pack_into("<I", data, at, 1000)
    return bytes(data)


def _locked_zip() -> bytes:
    data = bytearray(mxl(GOOD))
    start = 0
    while (start := data.find(b"PK\x01\x02", start)) >= 0:
        struct.pack_into("<H", data, start + 8, 1)
        start += 1
    return bytes(data)


def _zip_in_zip() -> bytes:
    data = GOOD
    for _ in range(20):
        data = zipped({"score.xml": data})
    return data


def _laughs() -> bytes:
    def laughs(level: int) -> str:
        return f"&l{level};" * 10

    entities = "".join(
        "<!ENTITY l0 'ha'>" if not i else f"<!ENTITY l{i} '{laughs(i - 1)}'>" for i in range(10)
    )
    return musicxml(bar("<note>&l9;</note>"), f"<!DOCTYPE score-partwise [{entities}]>")


def _doctype(entity: str, use: str = "&x;") -> bytes:
    return musicxml(bar() + use, f"<!DOCTYPE score-partwise [{entity}]>")


def _dtd(address: str) -> bytes:
    return musicxml(bar(), f'<!DOCTYPE score-partwise SYSTEM "{address}">')


ARCHIVES: dict[str, Maker] = {
    "zip cut in half.mxl": lambda: mxl(GOOD)[: len(mxl(GOOD)) // 2],
    "zip without its end.mxl": lambda: mxl(GOOD)[:-10],
    "zip bomb, one file.mxl": lambda: mxl(musicxml(bar() + " " * 60_000_000)),
    "zip bomb, many files.mxl": lambda: zipped({f"{i}.xml": b" " * 9_000_000 for i in range(10)}),
    "zip that lies about a size.mxl": _lying_zip,
    "zip in zip in zip.mxl": _zip_in_zip,
    "zip of 2,000 files.mxl": lambda: zipped({f"{i}.xml": GOOD for i in range(2000)}),
    "zip naming ../../out.xml.mxl": lambda: zipped({"../../out.xml": GOOD}),
    "zip naming a root path.mxl": lambda: zipped({"/tmp/out.xml": GOOD}),
    "zip with a password.mxl": _locked_zip,
    "zip without a score.mxl": lambda: zipped({"readme.txt": b"hello"}),
    "zip whose container names nothing.mxl": lambda: zipped(
        {"META-INF/container.xml": container("gone.xml")}
    ),
    "zip whose container is a bomb.mxl": lambda: zipped(
        {"META-INF/container.xml": _laughs(), "score.xml": GOOD}
    ),
    "zip with a broken stream.mxl": lambda: spoiled(mxl(GOOD), 190, b"\xff" * 40),
    "zip packed by lzma.mxl": lambda: zipped({"score.xml": GOOD}, zipfile.ZIP_LZMA),
    "empty zip.mxl": lambda: zipped({}),
}

NO_SCORES: dict[str, Maker] = {
    "a letter.xml": lambda: b"Dear pianist,\nhere is no score at all.\n",
    "white space.xml": lambda: b" \n\t\n" * 100,
    "a web page.musicxml": lambda: b"<!DOCTYPE html><html><body>Sign in</body></html>",
    "another xml.xml": lambda: b"<?xml version='1.0'?><svg><path d='M0 0'/></svg>",
    "a picture.mid": lambda: b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8,
    "a document.mxl": lambda: b"%PDF-1.7\n" + b"x" * 5000,
    "noise.xml": lambda: random.Random(1).randbytes(20_000),
    "zeros.musicxml": lambda: bytes(10_000),
    "a pickle.xml": lambda: b"cos\nsystem\n(S'echo harm'\ntR.",
    "an opus.xml": lambda: b"<?xml version='1.0'?><opus><title>All</title></opus>",
    "no parts.musicxml": lambda: b"<score-partwise><part-list/></score-partwise>",
    "no bars.musicxml": lambda: musicxml(""),
    "no notes.musicxml": lambda: musicxml(bar("")),
    "drums.musicxml": lambda: musicxml(
        bar(
            "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave>"
            "</unpitched><duration>4</duration></note>"
        )
    ),
}

XML: dict[str, Maker] = {
    "a thousand million laughs.xml": _laughs,
    "an entity of a megabyte, often.xml": lambda: _doctype(
        f'<!ENTITY x "{"a" * 1_000_000}">', "&x;" * 10_000
    ),
    "an entity from a file.xml": lambda: _doctype('<!ENTITY x SYSTEM "file:///etc/passwd">'),
    "an entity from the network.xml": lambda: _doctype('<!ENTITY x SYSTEM "http://127.0.0.1:9">'),
    "a parameter entity.xml": lambda: _doctype('<!ENTITY % x SYSTEM "file:///etc/passwd"> %x;', ""),
    "a DTD from the network.xml": lambda: _dtd("http://127.0.0.1:9/x.dtd"),
    "a DTD that is a device.xml": lambda: _dtd("file:///dev/zero"),
    "a hundred thousand deep.xml": lambda: musicxml(bar("<a>" * 100_000 + "</a>" * 100_000)),
    "a hundred thousand deep, never closed.xml": lambda: musicxml(bar("<a>" * 100_000)),
    "a tag of ten megabytes.xml": lambda: musicxml(bar(f"<{'a' * 10_000_000}/>")),
    "an attribute of ten megabytes.xml": lambda: musicxml(bar(number="1" * 10_000_000)),
    "a hundred thousand attributes.xml": lambda: musicxml(
        bar("<a " + " ".join(f"b{i}='1'" for i in range(100_000)) + "/>")
    ),
    "a comment of ten megabytes.xml": lambda: musicxml(bar() + f"<!--{'x' * 10_000_000}-->"),
    "cut inside a bar.xml": lambda: GOOD[:-90],
    "cut before the first bar.xml": lambda: GOOD[:120],
    "NUL characters in it.xml": lambda: GOOD.replace(b"<step>", b"<step>\0"),
    "a stray ampersand.xml": lambda: GOOD.replace(b"Piano", b"Piano & voice"),
    "wrong encoding.xml": lambda: GOOD.replace(b"Piano", b"Fl\xfcgel"),
    "an unknown encoding.xml": lambda: GOOD.replace(b"UTF-8", b"EBCDIC-X"),
    "UTF-16 under another name.xml": lambda: GOOD.decode().encode("utf-16"),
    "UTF-7 in its first line.xml": lambda: GOOD.replace(b"UTF-8", b"UTF-7"),
    "escape sequences in the title.xml": lambda: GOOD.replace(
        b"<part-list>", b"<movement-title>\x1b]0;taken\x07\x1b[2J</movement-title><part-list>"
    ),
}

NUMBERS: dict[str, Maker] = {
    f"{thing} {value}.xml": lambda old=old, new=new, value=value: with_note(  # type: ignore[misc]
        old, new.format(value)
    )
    for thing, old, new, values in (
        ("duration", "<duration>4<", "<duration>{}<", ("1e30", "9" * 300, "-4", "NaN", "1/0", "0")),
        ("duration", "<duration>4<", "<duration>{}<", ("inf", "1e-400", "0.0000000001")),
        ("divisions", "<divisions>1<", "<divisions>{}<", ("0", "-1", "1e9", "999999999", "")),
        ("octave", "<octave>4<", "<octave>{}<", ("99", "-99", "1e9", "four")),
        ("beats", "<beats>4<", "<beats>{}<", ("0", "-3", "1000000", "1e9", "4+x")),
        ("beat-type", "<beat-type>4<", "<beat-type>{}<", ("0", "3", "1000000007")),
        ("step", "<step>C<", "<step>{}<", ("H", "", "CC")),
        ("staff", "</note>", "<staff>{}</staff></note>", ("0", "-1", "1000000")),
        ("alter", "</step>", "</step><alter>{}</alter>", ("1e9", "99", "0.5")),
        ("voice", "<voice>1<", "<voice>{}<", ("", "x" * 100)),
        ("fingering", "</note>", "<notations><technical><fingering>{}</fingering></technical>"
         "</notations></note>", ("9" * 100, "", "-1")),
        ("tuplet", "</type>", "</type><time-modification><actual-notes>{}</actual-notes>"
         "<normal-notes>0</normal-notes></time-modification>", ("0", "1000000000")),
        ("backup", "<note>", "<backup><duration>{}</duration></backup><note>", ("4", "1000000")),
        ("forward", "<note>", "<forward><duration>{}</duration></forward><note>",
         ("999999999", "1e9")),
        ("tempo", "<note>", '<sound tempo="{}"/><note>', ("0", "-1", "nan", "1e308", "1e-9")),
        ("repeat", "</note>", '</note><barline location="right"><repeat direction="backward"'
         ' times="{}"/></barline>', ("1000000", "-1", "x")),
        ("ending", "</note>", '</note><barline location="right"><ending number="{}" type="stop"/>'
         "</barline>", ("1-1000000000", "")),
        ("fifths", "<divisions>", "<key><fifths>{}</fifths></key><divisions>", ("999", "x")),
        ("transpose", "<divisions>", "<transpose><chromatic>{}</chromatic></transpose><divisions>",
         ("1e9", "500")),
        ("octave line", "<note>", '<direction><direction-type><octave-shift type="up" size="{}"/>'
         "</direction-type></direction><note>", ("1000001", "0")),
    )
    for value in values
}  # fmt: skip

MANY: dict[str, Maker] = {
    "a million notes.mxl": lambda: mxl(musicxml(bar(NOTE * 1_000_000))),
    "400,000 notes.xml": lambda: musicxml(bar() + bar("<note><rest/></note>" * 400_000)),
    "150,000 notes in chords.xml": lambda: musicxml(
        bar(NOTE + NOTE.replace("<pitch>", "<chord/><pitch>") * 150_000)
    ),
    "500,000 bars.xml": lambda: musicxml("<measure/>" * 500_000 + bar()),
    "20,000 parts.xml": lambda: musicxml(
        bar(), parts="".join(f'<part id="Q{i}">{bar()}</part>' for i in range(20_000))
    ),
    "50,000 voices.xml": lambda: musicxml(
        bar("".join(NOTE.replace("<voice>1", f"<voice>{i}") for i in range(50_000)))
    ),
    "50,000 open ties.xml": lambda: musicxml(
        "".join(bar(NOTE.replace("</pitch>", '</pitch><tie type="start"/>')) for _ in range(50_000))
    ),
    "50,000 grace notes.xml": lambda: musicxml(
        bar(
            NOTE.replace("<duration>4</duration>", "").replace("<pitch>", "<grace/><pitch>")
            * 50_000
        )
    ),
    "100,000 tempos.xml": lambda: musicxml(bar('<sound tempo="90"/>' * 100_000 + NOTE)),
    "20,000 changes of metre.xml": lambda: musicxml(bar() * 20_000),
    "20,000 open slurs.xml": lambda: musicxml(
        "".join(
            bar(
                NOTE.replace(
                    "</note>", f'<notations><slur type="start" number="{i}"/></notations></note>'
                )
            )
            for i in range(20_000)
        )
    ),
    "20,000 words on one note.xml": lambda: musicxml(
        bar(
            "<direction><direction-type><words>m.s.</words></direction-type></direction>" * 20_000
            + NOTE
        )
    ),
}


def midi(*tracks: bytes, kind: int = 1, division: int = 480, count: int | None = None) -> bytes:
    """A Standard MIDI file of these tracks."""
    head = struct.pack(
        ">4sIHHH", b"MThd", 6, kind, len(tracks) if count is None else count, division
    )
    return head + b"".join(struct.pack(">4sI", b"MTrk", len(t)) + t for t in tracks)


KEY = b"\x00\x90\x3c\x40\x83\x60\x80\x3c\x40"
END = b"\x00\xff\x2f\x00"

MIDI: dict[str, Maker] = {
    "header only.mid": lambda: midi(),
    "half a header.mid": lambda: b"MThd\x00\x00",
    "cut track.mid": lambda: midi(KEY * 20 + END)[:-30],
    "track of 4 GiB.mid": lambda: midi(KEY + END).replace(b"MTrk\0\0\0", b"MTrk\xff\xff\xff"),
    "65,535 tracks named.mid": lambda: midi(KEY + END, count=65_535),
    "20,000 tracks.mid": lambda: midi(*[KEY + END] * 20_000),
    "division 0.mid": lambda: midi(KEY + END, division=0),
    "division in SMPTE frames.mid": lambda: midi(KEY + END, division=0xE728),
    "tempo 0.mid": lambda: midi(b"\x00\xff\x51\x03\x00\x00\x00" + KEY + END),
    "metre over 2 to the 255.mid": lambda: midi(b"\x00\xff\x58\x04\x04\xff\x18\x08" + KEY + END),
    "metre 0 over 4.mid": lambda: midi(b"\x00\xff\x58\x04\x00\x02\x18\x08" + KEY + END),
    "key of 100 flats.mid": lambda: midi(b"\x00\xff\x59\x02\x9c\x07" + KEY + END),
    "format 2.mid": lambda: midi(KEY + END, kind=2),
    "format 9.mid": lambda: midi(KEY + END, kind=9),
    "no note ever ends.mid": lambda: midi(b"\x00\x90\x3c\x40" * 1000 + END),
    "a rest of 500 years.mid": lambda: midi((b"\xff\xff\xff\x7f" + KEY[1:]) * 500 + END),
    "a number without end.mid": lambda: midi(b"\xff" * 1000),
    "running status from nowhere.mid": lambda: midi(b"\x00\x3c\x40" + END),
    "data bytes over 127.mid": lambda: midi(b"\x00\x90\xfc\xf0" + KEY + END),
    "sysex without end.mid": lambda: midi(b"\x00\xf0\xff\xff\xff\x7f" + KEY + END),
    "names with escapes.mid": lambda: midi(b"\x00\xff\x03\x08\x1b[2J\x1b]0;" + KEY + END),
    "a million notes.mid": lambda: midi(KEY * 1_000_000 + END),
    "150,000 changes of metre.mid": lambda: midi(
        b"\x01\xff\x58\x04\x03\x02\x18\x08" * 150_000 + KEY + END
    ),
    "only drums.mid": lambda: midi(KEY.replace(b"\x90", b"\x99").replace(b"\x80", b"\x89") + END),
}

OTHERS: dict[str, Maker] = {
    "kern without notes.krn": lambda: b"**kern\n*-\n",
    "kern cut short.krn": lambda: b"**kern\t**kern\n*clefF4\t*clefG2\n=1\t=1\n4c\t4",
    "kern with a bad number.krn": lambda: b"**kern\n4c\n0000000000c\n99999999999999999999c\n*-\n",
    "kern of 2,000 spines.krn": lambda: (
        "\t".join(["**kern"] * 2000) + "\n" + "\t".join(["4c"] * 2000) + "\n"
        + "\t".join(["*-"] * 2000)
    ).encode(),
    "kern of 300,000 notes.krn": lambda: b"**kern\n" + b"4c\n" * 300_000 + b"*-\n",
    "kern with spines split for ever.krn": lambda: b"**kern\n*^\n" + b"*^\t*\n" * 500 + b"*-\n",
    "abc over nothing.abc": lambda: b"X:1\nT:x\nM:0/0\nL:1/0\nK:C\nCDEF|\n",
    "abc with a long rest.abc": lambda: b"X:1\nM:4/4\nL:1/4\nK:C\nZ999999999|C999999999|C|\n",
    "abc with a huge tuplet.abc": lambda: b"X:1\nM:4/4\nL:1/4\nK:C\n(999999999:2:3CDE|\n",
    "abc of 200,000 notes.abc": lambda: b"X:1\nM:4/4\nL:1/4\nK:C\n" + b"CDEF|\n" * 50_000,
    "abc with open repeats.abc": lambda: b"X:1\nM:4/4\nL:1/4\nK:C\n" + b"|:" * 20_000 + b"CDEF|\n",
    "mei without music.mei": lambda: b"<?xml version='1.0'?><mei xmlns='x'><music/></mei>",
    "mei with an entity.mei": lambda: b"<!DOCTYPE mei [<!ENTITY x SYSTEM 'file:///etc/passwd'>]>"
    b"<mei xmlns='http://www.music-encoding.org/ns/mei'><music>&x;</music></mei>",
    "mei a hundred thousand deep.mei": lambda: b"<mei xmlns='http://www.music-encoding.org/ns/mei'>"
    + b"<a>" * 100_000 + b"</a>" * 100_000 + b"</mei>",
}  # fmt: skip

_SLOW = (
    "150,000 changes of metre.mid",
    "kern of 2,000 spines.krn",
    "kern of 300,000 notes.krn",
    "abc of 200,000 notes.abc",
)
MANY |= {name: made.pop(name) for made in (MIDI, OTHERS) for name in _SLOW if name in made}
"""What takes more than a second or two to be opened or refused."""

KINDS: dict[str, Maker] = {**NO_SCORES, **ARCHIVES, **XML, **NUMBERS, **MANY, **MIDI, **OTHERS}
"""File names (they say what is wrong) and what makes their content."""
