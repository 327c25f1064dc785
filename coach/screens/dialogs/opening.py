"""While a score is opened: what is being done, and a way out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from threading import Event
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import Static

from coach.record.folder import RecordError
from coach.score.formats import ScoreError
from coach.screens.dialogs.dialog import Dialog
from coach.screens.interfaces import Errand, OpenScore
from coach.screens.messages import OpeningProgress, ScoreOpened, ScoreRefused
from coach.screens.terminal import as_shown


class OpeningScreen(Dialog[None]):
    """Opens one score in a worker thread; answers the app with a message."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "give_up", "give up", show=False)]

    DEFAULT_CSS = """
    OpeningScreen {
        & > Vertical { width: 70%; }
        & #progress { margin-bottom: 1; }
    }
    """

    def __init__(
        self, open_score: OpenScore, path: Path, errand: Errand, moves: Sequence[str] = ()
    ) -> None:
        """``moves``: notes to be given to the other hand, and kept so."""
        super().__init__()
        self._opener, self._path, self._errand = open_score, path, errand
        self._moves = tuple(moves)
        self._cancelled = Event()

    def compose(self) -> ComposeResult:
        """What is opened and for how long so far, how to give up."""
        with Vertical():
            opening = as_shown(self, f"Opening {self._path.name} …")
            yield Static(opening, id="progress", markup=False)
            yield Static("Esc: give up")

    def on_mount(self) -> None:
        """Begin."""
        self._open()

    @work(thread=True, exclusive=True)
    def _open(self) -> None:
        """Open the score, in a thread: this touches no widget, and ends in one message."""
        from coach.score.hand_moves import MoveError

        try:
            score = self._opener(
                self._path,
                self._moves,
                lambda text: _drop(self.post_message(OpeningProgress(text))),
                self._cancelled.is_set,
            )
        except (ScoreError, MoveError, RecordError) as error:
            if not self._cancelled.is_set():
                self.app.post_message(ScoreRefused(str(error)))
        else:
            if not self._cancelled.is_set():
                self.app.post_message(ScoreOpened(score, self._path, self._errand))

    def on_opening_progress(self, message: OpeningProgress) -> None:
        """Say how far it is."""
        self.query_one("#progress", Static).update(as_shown(self, message.text))

    def go_back(self) -> None:
        """Open nothing."""
        self.action_give_up()

    def action_give_up(self) -> None:
        """Open nothing."""
        self._cancelled.set()
        self.dismiss()


def _drop(_: object) -> None:
    """Drop a value that a callback must not return."""
