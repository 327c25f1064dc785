"""Who shares the piano: the folders of those who have a record of their own."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from coach.record.folder import PIANISTS, RecordError, named_folder, pianist_folder


class Pianists:
    """Everyone with a folder within the data folder that all share."""

    def __init__(self, shared: Path | None) -> None:
        """``shared``: the data folder that was asked for, whoever plays."""
        self._shared = shared

    def names(self) -> Sequence[str]:
        """By the alphabet."""
        try:
            folders = [one.name for one in (named_folder(self._shared) / PIANISTS).iterdir()]
        except OSError:  # nobody was named yet, or it may not be looked into
            return ()
        return sorted(name for name in folders if not self.why_not(name))

    def why_not(self, name: str) -> str:
        """Why a name can't be kept; "" where it can."""
        try:
            pianist_folder(name, self._shared)
        except RecordError as error:
            return str(error)
        return ""

    def folder_of(self, name: str) -> Path | None:
        """The data folder to ask for where this one plays; "" has no name."""
        return pianist_folder(name, self._shared) if name else self._shared
