"""The score formats that can be opened, by the ends of their files' names."""

from __future__ import annotations

SUFFIXES = (".musicxml", ".mxl", ".xml", ".mid", ".midi", ".krn", ".mei", ".abc")
"""Which files are offered as scores; what a file really is, its content tells
(``score/reading/files.py``)."""
