"""Reading a score file: the one door to the score formats.

:func:`read_score` opens MusicXML 2.0 to 4.0 (plain and compressed, partwise and timewise) with a
walk of our own; Standard MIDI files through mido; **kern, MEI and ABC through music21.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from pathlib import Path

from coach.score.formats import FORMATS
from coach.score.model import Score
from coach.score.reading.files import Source, load
from coach.score.reading.hands import hands_by_voice

__all__ = ["hands_by_voice", "read_score"]


def read_score(path: Path, part: str = "") -> Score:
    """The score in a file, exactly as written; of several pianos the ``part`` that is named.

    What was repaired, left out or guessed stands in the score's ``remarks``. Raises
    :class:`~coach.score.formats.ScoreError`, one sentence for the pianist, where the file cannot
    be opened.
    """
    source = load(path, part)
    module, name = FORMATS[source.kind].reader.split(":")
    read: Callable[[Source], Score] = getattr(import_module(module), name)
    return read(source)
