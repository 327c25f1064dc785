"""Score files: which formats can be opened, and what can go wrong with one."""

from __future__ import annotations


class ScoreError(ValueError):
    """A score that cannot be opened.

    Its text is one sentence for the pianist: the file's name, the place in it where there is one,
    the reason, and what to do where that is not plain.
    """


SUFFIXES = (".musicxml", ".mxl", ".xml", ".mid", ".midi", ".krn", ".mei", ".abc")
"""Which files are offered as scores; what a file really is, its content tells
(``score/reading/files.py``)."""
