"""The piano scores that music21 comes with: what the measurements of reading are made on."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

PIANO_SCORES = (
    "bach/bwv846.mxl",
    "cpebach/h186.mxl",
    "joplin/maple_leaf_rag.mxl",
    "mozart/k545/movement1_exposition.mxl",
    "schumann_clara/polonaise_op1n1.mxl",
    "schumann_clara/polonaise_op1n2.mxl",
    "schumann_clara/polonaise_op1n3.mxl",
    "schumann_clara/polonaise_op1n4.mxl",
    "schoenberg/opus19/movement2.mxl",
    "schoenberg/opus19/movement6.mxl",
)
"""Written for the piano, on two staves."""

SCORES_WITH_PIANO = (
    *PIANO_SCORES,
    "schubert/Lindenbaum.xml",
    "schumann_robert/dichterliebe_no2.xml",
    "schumann_clara/opus17/movement3.xml",
    "beach/prayer_of_a_tired_child.musicxml",
    "verdi/laDonnaEMobile.mxl",
    "handel/rinaldo/Lascia_chio_pianga.mxl",
    "liliuokalani/aloha_oe.mxl",
    "weber/concertino_clarinet.mxl",
)
"""Those with a piano part among others besides: the piano's part is read."""


def corpus() -> Path:
    """The folder of music21's own scores, without importing music21: that takes seconds."""
    found = find_spec("music21")
    assert found
    assert found.origin
    return Path(found.origin).parent / "corpus"
