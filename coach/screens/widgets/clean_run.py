"""The clean run, in figures that can be read from the bench."""

from __future__ import annotations

from textual.widgets import Static

from coach.screens.big import big


class CleanRun(Static):
    """``2 of 3 clean``, the figures large enough to be read from the bench.

    While a click runs, its beat stands in their place, in the same columns.
    """

    DEFAULT_CSS = """
    CleanRun { width: auto; height: auto; margin-right: 2; text-style: bold; }
    """

    def __init__(self, *, ascii_only: bool = False, id: str | None = None) -> None:
        super().__init__(id=id, markup=False)
        self._ascii_only = ascii_only
        self._run = (0, 0)
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
            self.show(*self._run)

    def show(self, run: int, required: int) -> None:
        """So many clean running, of so many; past the goal as many as were asked for."""
        self._run = min(run, required), required
        self.update("\n".join(self._rows()))

    def add_one(self) -> None:
        """One more, up to as many as were asked for."""
        run, required = self._run
        self.show(run + 1, required)

    def show_beat(self, beat: int) -> None:
        """The beat that sounds, in place of the clean run."""
        width = max(map(len, self._rows()))
        rows = ("", str(beat), "") if self._ascii_only else big(str(beat), tall=self._tall)
        self.update("\n".join(row.center(width) for row in rows))

    def hide_beat(self) -> None:
        """The clean run again."""
        self.show(*self._run)

    def _rows(self) -> list[str]:
        if self._ascii_only:
            return ["", f"  {self.words}  ", ""]
        left, right = (big(str(figure), tall=self._tall) for figure in self._run)
        middle = len(left) // 2
        parts = zip(left, right, strict=True)
        return [
            f"{one}{' of ' if row == middle else '    '}{other}{' clean' if row == middle else ''}"
            for row, (one, other) in enumerate(parts)
        ]
