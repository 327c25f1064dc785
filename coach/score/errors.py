"""What can go wrong with a score file, said to the pianist."""

from __future__ import annotations


class ScoreError(ValueError):
    """A score that cannot be opened.

    Its text is one sentence for the pianist: the file's name, the place in it where there is one,
    the reason, and what to do where that is not plain.
    """
