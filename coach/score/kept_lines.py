"""What a pianist gave to a piece, kept as lines of text: a small file for each piece.

What follows ``//`` is for people, and the pianist may change a file by hand.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from coach.private_files import make_private_folder, replace_private
from coach.score.formats import ScoreError

_Line = TypeVar("_Line")
_COMMENT = "//"
_LONGEST_BYTES = 1 << 20
"""No more of a file is read. Own choice, because nobody writes a megabyte of lines into a piece."""


@dataclass(frozen=True, slots=True)
class KeptLines:
    """One kind of lines, in a folder of its own below the data folder."""

    folder: str
    called: str
    """What they are called in a sentence: ``Your hand moves``."""
    cannot: str = "cannot"
    """How a sentence says what is not possible."""
    earlier_folder: str = ""
    """Where they were kept before: what lies there goes before what lies in ``folder``."""

    def file(self, data: Path, key: str) -> Path:
        """Where those of the piece with this key are kept."""
        return data / self.folder / f"{key}.txt"

    def load(self, data: Path, key: str, parse: Callable[[str], _Line]) -> tuple[_Line, ...]:
        """Those of the piece with this key, in order; () where none are kept.

        ``parse`` reads a line, and raises ValueError, a sentence, where it is wrong. Raises
        ScoreError where the file can't be read, or for such a line.
        """
        kept: list[_Line] = []
        for file in self._files(data, key):
            try:
                with file.open("rb") as opened:
                    text = opened.read(_LONGEST_BYTES).decode("utf-8", "replace")
            except FileNotFoundError:
                continue
            except OSError as error:
                if not data.is_dir():  # nothing can be kept there, and nothing is
                    return ()
                raise self._trouble("be read", file, error) from None
            lines = (line.partition(_COMMENT)[0].strip() for line in text.splitlines())
            try:
                kept += (parse(line) for line in lines if line)
            except ValueError as error:
                raise ScoreError(
                    f"{self.called} in {file} {self.cannot} be used: {error}"
                ) from None
        return tuple(kept)

    def _files(self, data: Path, key: str) -> list[Path]:
        """Where they may lie, the earlier place first."""
        earlier = [data / self.earlier_folder / f"{key}.txt"] if self.earlier_folder else []
        return [*earlier, self.file(data, key)]

    def save(self, data: Path, key: str, lines: Iterable[object], title: str) -> None:
        """Keep these, and only these, below a title for people; none of them: forget the file.

        Raises ScoreError where the folder can't be written.
        """
        file, written = self.file(data, key), [str(line) for line in lines]
        try:
            if written:
                make_private_folder(file.parent)
                replace_private(file, "\n".join([f"{_COMMENT} {title}", *written, ""]))
            for old in self._files(data, key)[: -1 if written else None]:
                old.unlink(missing_ok=True)
        except OSError as error:
            raise self._trouble("be kept", file, error) from None

    def _trouble(self, what: str, file: Path, error: OSError) -> ScoreError:
        reason = (error.strerror or type(error).__name__).lower()
        return ScoreError(
            f"{self.called} {self.cannot} {what} in {file.parent} ({reason}): see to that folder."
        )


def join_lines(here: Path, theirs: Path) -> None:
    """Take in another's file: its lines that are not here yet go before those that are, which hold
    where two contradict each other. Raises OSError."""
    mine = _lines_of(here) if here.exists() else []
    if new := [line for line in _lines_of(theirs) if line.strip() and line not in mine]:
        make_private_folder(here.parent)
        replace_private(here, "\n".join([*new, *mine, ""]))


def _lines_of(file: Path) -> list[str]:
    return file.read_text(encoding="utf-8", errors="replace").splitlines()
