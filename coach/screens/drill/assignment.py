"""The assignment that is in sight, and the lines above the staff that say it.

After a repetition the drill is ahead of the screen: it knows what comes next while the pianist
still looks at what was wrong. So the screen has an assignment of its own.
"""

from __future__ import annotations

from collections.abc import Callable

from textual.timer import Timer

from coach.coaching.drill import AssignmentGiven, DrillState
from coach.coaching.model import Assignment, Decision
from coach.score.pitch import Spelling
from coach.score.words import printable
from coach.screens.drill.company import Company
from coach.screens.drill.player import Player
from coach.screens.interfaces import DrillLike, DrillSession, Host
from coach.screens.terminal import as_shown
from coach.screens.widgets import AssignmentLine, StaffView, StateLine, StripLine
from coach.screens.wording import assignment_words, state_words

LOW_ROWS = 28
"""In a terminal with fewer rows the state line gives its row to the staff. Own choice: the staff of
two hands with fingering takes 20 to 24."""

_BESIDE_THE_STRIP = 42
"""Letters beside the strip. Own choice: some 35 of 80 columns are left for the strip."""
_HEARD = "heard"
"""How the name of a key begins that begins nothing."""


class AssignmentInSight:
    """What is asked for on the screen, and what waits to be asked for next."""

    def __init__(self, drill: DrillLike, host: Host) -> None:
        self._drill, self._host = drill, host
        self._shown: Assignment | None = None
        self._waiting: AssignmentGiven | None = None
        self._hold: Timer | None = None

    @property
    def assignment(self) -> Assignment:
        """What is asked for on the screen: the staff, the top line and the reason agree in it."""
        return self._shown or self._drill.assignment

    @property
    def is_held(self) -> bool:
        """Whether the marks of the last repetition are to stay in sight."""
        return self._hold is not None

    def hold(self, for_s: float, then: Callable[[], None]) -> None:
        """Keep it in sight for so many seconds, then call ``then``."""
        self.let_go()
        self._hold = self._host.set_timer(for_s, then)

    def let_go(self) -> None:
        """Nothing needs to stay in sight: the pianist plays on, or asks for something."""
        if self._hold:
            self._hold.stop()
        self._hold = None

    def put_next(self, given: AssignmentGiven) -> None:
        """This comes next."""
        self._waiting = given

    def take_next(self) -> AssignmentGiven | None:
        """What comes next is in sight from now on; None where nothing waits."""
        self.let_go()
        given, self._waiting = self._waiting, None
        if given:
            self._shown = given.assignment
        return given


class TopLines:
    """Above the staff: the piece and who plays, the strip of the piece, what is asked for."""

    def __init__(
        self,
        session: DrillSession,
        player: Player,
        staff: StaffView,
        asked: AssignmentInSight,
        company: Company,
        *,
        ascii_only: bool,
    ) -> None:
        self._company = company
        self._session, self._player, self._staff, self._asked = session, player, staff, asked
        self.state_line = StateLine(id="state")
        self.strip = StripLine(ascii_only=ascii_only, id="strip")
        self.assignment_line = AssignmentLine(id="assignment")
        self._sounds = ""
        """What sounds, in words, while something does."""
        self._status = ""
        """Where the drill stands, or what is said in its place."""
        self._is_low = False

    def show_player(self, rows: int) -> None:
        """The piece, and who plays it; in a terminal of few rows only who, beside the strip."""
        self._is_low = rows < LOW_ROWS
        self.state_line.display = not self._is_low
        self._show_title()

    def _show_title(self) -> None:
        """The piece and who plays, and what remains of a warm-up."""
        title, player, rest = self._session.title, self._player.words, self._session.what_remains()
        self.state_line.show(" · ".join(filter(None, (title, rest))), player)
        right = self._say_beside_the_strip(rest) if rest else player
        self.strip.show_right(right if self._is_low else "")

    def _say_beside_the_strip(self, rest: str) -> str:
        """``The Ferry Bell · 1 of 2 hold, about 2 minutes``; where long, without the minutes."""
        said = f"{self._session.score.title} · {rest}"
        if len(said) > _BESIDE_THE_STRIP:
            said = said.rpartition(", ")[0]
        return printable(said, _BESIDE_THE_STRIP)

    def show_piece(self, decision: Decision) -> None:
        """Where in the piece the window lies, and where the troubles are."""
        self.strip.show(self._session.score, decision)
        if self._session.what_remains():
            self._show_title()

    def show_assignment(self) -> None:
        """What to play, and where the drill stands, or what sounds. That there is no piano stands
        above it, where its name would."""
        state = self._session.drill.state
        has_name = not (self._is_low and self._session.what_remains())
        is_said = state is DrillState.NO_PIANO and not self._player.piano and has_name
        stands = "" if is_said else state_words(state, self._asked.assignment)
        self.show_status(self._sounds or stands)

    def show_sounding(self, words: str) -> None:
        """What sounds, until nothing does: then the words are empty."""
        self._sounds = words
        self.show_assignment()

    def show_status(self, status: str) -> None:
        """What to play; at the right ``status``, in place of where the drill stands."""
        self._status = status
        asked = assignment_words(self._session.score, self._asked.assignment)
        words = " · ".join(filter(None, (asked, self._company.words)))
        right = " · ".join(filter(None, (self._staff.page_words, status)))
        line = self.assignment_line
        line.show(as_shown(line, words), as_shown(line, right))

    def show_page(self) -> None:
        """Which page of the window is in sight; all else stays."""
        self.show_status(self._status)

    # -- keys that are no part of the music ---------------------------------------------------

    def name_key(self, pitch: int) -> None:
        """A key that begins nothing was heard, as when the sound is tested."""
        self.show_status(f"{_HEARD}: {self._key_words(pitch)}")

    def forget_key(self) -> None:
        """Where the drill stands, in place of a key that begins nothing."""
        if self._status.startswith(_HEARD):
            self.show_assignment()

    def name_stray_key(self, pitch: int) -> None:
        """A key that is not in the window, in a repetition."""
        self.show_status(f"not in the window: {self._key_words(pitch)}")

    def _key_words(self, pitch: int) -> str:
        """A key's name, as it would be written here."""
        start = self._asked.assignment.window.start_quarters
        return Spelling.of(pitch, self._session.score.bar_at(start).key_fifths).words
