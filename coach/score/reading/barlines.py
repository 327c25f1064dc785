"""MusicXML barlines: repeats and endings, kept as printed and never expanded."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from coach.score.reading.raw import RawBar
from coach.score.reading.safe import clean


def read_barline(element: Element, bar: RawBar) -> None:
    """Put a barline's repeat and ending onto its bar."""
    for child in element:
        kind = child.get("direction" if child.tag == "repeat" else "type", "")
        if child.tag == "repeat":
            bar.repeat_start |= kind == "forward"
            bar.repeat_end |= kind == "backward"
        elif child.tag == "ending":
            if kind == "start":
                bar.ending_start = clean(child.get("number")) or clean(child.text) or "1"
            else:
                bar.ending_stop = True
