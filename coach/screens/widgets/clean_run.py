"""The clean run, in figures that can be read from the bench."""

from __future__ import annotations

from textual.widgets import Static

from coach.screens.big_letters import big

CLEAN = "CLEAN"
"""The verdict that stands beside the figures, which it belongs to."""


class CleanRun(Static):
    """``2 of 3 clean``, the figures large enough to be read from the bench.

    In their place, in large letters too: the verdict, where it has no room of its own; and while a
    click runs, its beat, in the same columns.
    """

    DEFAULT_CSS = """
    CleanRun { width: auto; height: auto; margin-right: 2; text-style: bold; }
    """

    def __init__(self, *, ascii_only: bool = False, id: str | None = None) -> None:
        super().__init__(id=id, markup=False)
        self._ascii_only = ascii_only
        self._run = (0, 0)
        self._said = ""
        self._tall = False

    @property
    def words(self) -> str:
        """The same in words."""
        run, required = self._run
        return f"{run} of {required} clean"

    def stand(self, *, tall: bool) -> None:
        """Write the figures tall, or not."""
        if tall is not self._tall:
            self._tall = tall
            self._write()

    def show(self, run: int, required: int) -> None:
        """So many clean running, of so many; past the goal as many as were asked for."""
        self._run = min(run, required), required
        self._write()

    def add_one(self) -> None:
        """One more, up to as many as were asked for."""
        run, required = self._run
        self.show(run + 1, required)

    def say(self, text: str) -> None:
        """Something in its place; ``CLEAN`` beside the figures; the figures alone for ""."""
        if text != self._said:
            self._said = text
            self._write()

    def show_beat(self, beat: int) -> None:
        """The beat that sounds, in place of the clean run."""
        width = max(map(len, self._rows()))
        self.update("\n".join(row.center(width) for row in self._big(str(beat))))

    def hide_beat(self) -> None:
        """The clean run again."""
        self._write()

    def _write(self) -> None:
        self.update("\n".join(self._rows()))

    def _rows(self) -> list[str]:
        if self._said == CLEAN:
            clean = self._big(CLEAN)
            return [f"{run} {word}" for run, word in zip(self._figures(), clean, strict=True)]
        return list(self._big(self._said)) if self._said else self._figures(" clean")

    def _figures(self, word: str = "") -> list[str]:
        left, right = (self._big(str(figure)) for figure in self._run)
        middle = len(left) // 2
        parts = zip(left, right, strict=True)
        return [
            f"{one}{' of ' if row == middle else '    '}{other}{word if row == middle else ''}"
            for row, (one, other) in enumerate(parts)
        ]

    def _big(self, text: str) -> tuple[str, ...]:
        return big(text, tall=self._tall, plain=self._ascii_only)
