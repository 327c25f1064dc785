"""Below the staff: the verdict, the reason, the keys, and how many rows each of them gets.

Beside the verdict there is more to say (:class:`Announcements`), each for its own time: proposals,
keys, the record, the goal.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from textual.timer import Timer

from coach.coaching.drill import DrillState, RepetitionEnded
from coach.playing.command_keys import CommandKey, Edge
from coach.score.model import Score
from coach.score.window import Excerpt
from coach.screens.dialogs import is_too_small
from coach.screens.drill.assignment import LOW_ROWS, AssignmentInSight, TopLines
from coach.screens.drill.player import Player
from coach.screens.interfaces import DrillSession, Host
from coach.screens.keymap import help_line
from coach.screens.terminal import as_shown
from coach.screens.widgets import HelpLine, Result, StaffView
from coach.screens.wording import finished_words, now_you_words, too_tall, way_on_headline

_FRAME_ROWS = 4
"""Rows of the drill screen besides the staff and the result: three lines above, the keys below."""
_HELP_MARGIN, _ASCII_HELP_MARGIN = 2, 8
"""Columns that the keys leave free: the padding. In plain letters arrows take more, six in all."""


class VerdictPlace:
    """What stands as the verdict: the last repetition's, or what is said there meanwhile."""

    def __init__(self, result: Result) -> None:
        self._result = result
        self.ended: RepetitionEnded | None = None
        """The last repetition that was judged."""
        self._is_taken = False
        self._says_clean = False

    def show_ended(self, ended: RepetitionEnded, headline: str) -> None:
        """The verdict on a repetition; ``headline`` is the same in a word or three."""
        self.ended = ended
        judgement = ended.judgement
        self._result.show_verdict(judgement.sentence, headline, fault=not judgement.clean)
        self._says_clean = judgement.clean

    def say(self, sentence: str, headline: str = "") -> None:
        """Something in the verdict's place."""
        self._result.show_verdict(sentence, headline)
        self._says_clean = False

    def say_until_it_goes_on(self, sentence: str, headline: str) -> None:
        """The same, to stand until the drill goes on."""
        self.say(sentence, headline)
        self._is_taken = True

    def give_back(self) -> bool:
        """The drill goes on; whether something stood there until now."""
        was_taken, self._is_taken = self._is_taken, False
        return was_taken

    def take_back_clean(self) -> None:
        """Leave no ``Clean.`` standing beside a key that is not in the window."""
        if self._says_clean:
            self.say("")


@dataclass(frozen=True, slots=True)
class Shares:
    """Who gets how many rows."""

    result_rows: int
    staff_rows: int
    has_row_for_keys: bool
    missing_rows: int
    """Rows that the staff would need besides; 0 and less where it has enough."""


class Foot:
    """Gives rows to verdict, reason and keys, and says the one reason that matters most."""

    def __init__(
        self,
        host: Host,
        player: Player,
        staff: StaffView,
        command_keys: Sequence[CommandKey] = (),
        *,
        ascii_only: bool,
    ) -> None:
        self._host, self._player, self._staff = host, player, staff
        self._command_keys = command_keys
        self._help_margin = _ASCII_HELP_MARGIN if ascii_only else _HELP_MARGIN
        self.result = Result(ascii_only=ascii_only, id="result")
        self.help_line = HelpLine("", id="help", markup=False)
        self._reason = self._proposal = self._too_tall = self._record_fault = ""
        self._has_row_for_keys = True
        self._has_verdict = False
        """Whether a repetition was judged: then the verdict matters more than the keys."""

    # -- the reason -------------------------------------------------------------------------

    def set_reason(self, text: str) -> None:
        """Why this is asked for."""
        self._reason = text
        self._show_reason()

    @property
    def has_proposal(self) -> bool:
        """Whether something is proposed in the reason's place."""
        return bool(self._proposal)

    def add_proposal(self, text: str) -> None:
        """Say it in the reason's place, after what is said there already."""
        self._proposal = " ".join(filter(None, (self._proposal, text)))
        self._show_reason()

    def take_back_proposal(self) -> None:
        """It is answered, or passed over."""
        self._proposal = ""
        self._show_reason()

    def _show_reason(self) -> None:
        """What is proposed; else what keeps the window from being seen; else why it is asked for.

        The verdict has its own place: it is what the pianist looks for.
        """
        first = self._proposal or self._too_tall
        self.result.show_reason(first or self._reason, strong=bool(first))

    # -- the keys ---------------------------------------------------------------------------

    @property
    def record_fault(self) -> str:
        """What goes wrong with the record; "" where nothing does."""
        return self._record_fault

    def set_record_fault(self, sentence: str) -> None:
        """Say it in place of the keys; the keys again for ""."""
        self._record_fault = sentence
        self._staff.forget_expected()
        self.choose_rows()
        self.show_keys()

    def show_keys(self) -> None:
        """The keys, as many as fit; in their place what goes wrong with the record."""
        text = help_line(
            self._host.size.width - self._help_margin,
            demo=self._player.is_simulated,
            letters=self._player.uses_letters,
            piano=self._command_keys if self._player.piano else (),
        )
        line = self.help_line
        line.update(as_shown(line, self._record_fault or text))
        line.set_class(bool(self._record_fault), "-unkept")
        line.display = bool(self._record_fault) or self._has_row_for_keys

    # -- the rows ---------------------------------------------------------------------------

    def prefer_verdict(self) -> None:
        """A repetition was judged: from now on the verdict may take the keys' row."""
        if not self._has_verdict:
            self._has_verdict = True
            self._staff.forget_expected()
            self.choose_rows()

    def choose_rows(self) -> None:
        """Take rows for the words, and for a large verdict, where the staff is no smaller for it.

        A terminal that can show no music at all keeps what it had: something else is over it.
        """
        if self._staff.excerpt is None or is_too_small(self._host.size):
            return
        shares = self._share_rows(self._staff.rows_needed)
        self._has_row_for_keys = shares.has_row_for_keys
        self.result.set_rows(shares.result_rows)
        self.show_keys()
        missing = shares.missing_rows
        self._too_tall = too_tall(missing) if missing > 1 else ""
        self._show_reason()

    def expect_window(self, score: Score, excerpt: Excerpt) -> None:
        """This window may be shown next: its picture is made for the rows that it will have."""
        if not is_too_small(self._host.size):
            self._staff.expect_window(
                score, excerpt, lambda needed: self._share_rows(needed).staff_rows
            )

    def _share_rows(self, rows_needed: Callable[[int, int], int]) -> Shares:
        """How many rows the parts get; ``rows_needed``: what the staff needs of columns and rows
        that there are."""
        size = self._host.size
        room = size.height - _FRAME_ROWS + (size.height < LOW_ROWS)
        needed = rows_needed(size.width, room - Result.ROWS)
        spare = (
            rows
            for rows in Result.HEIGHTS
            if room - rows >= needed == rows_needed(size.width, room - rows)
        )
        rows = next(spare, Result.ROWS)
        missing = needed - (room - Result.ROWS)
        # Else it is the staff's, or that of the words beside a large verdict: ? still works.
        takes_keys_row = rows == Result.ROWS and self._has_verdict and not self._record_fault
        has_row_for_keys = missing <= 0 and not takes_keys_row
        rows += missing <= 0 and takes_keys_row
        keys = bool(self._record_fault) or has_row_for_keys
        return Shares(rows, room - rows + (not keys), has_row_for_keys, missing)


SAVE_S = 2.0
"""How often it is tried again to keep what the record does not take. Own choice."""
HEARD_S = 2.0
"""How long a key that begins nothing is named. Our choice."""
READ_S = 4.0
"""How long a verdict stays beside a proposal that needs its row: time to read both. Our choice."""


class WayOn:
    """The way on from a goal that is reached: a key at the end of the piano's keyboard. After the
    whole piece it leads home."""

    def __init__(self, session: DrillSession, player: Player, asked: AssignmentInSight) -> None:
        self._session, self._player, self._asked = session, player, asked

    @property
    def is_open(self) -> bool:
        """Whether the goal is reached."""
        drill = self._session.drill
        waits = drill.state in (DrillState.READY, DrillState.FINISHED)
        return waits and drill.decision.finished

    def is_struck(self, pitch: int) -> bool:
        """Whether this key of the piano goes on."""
        return self.is_open and self._edge.is_struck(pitch, self._pitches)

    @property
    def words(self) -> str:
        """What can be done at the goal."""
        if self._player.is_simulated and (coming := self._session.next_drill):
            return now_you_words(coming)
        key = "F7" if self._player.uses_letters else f"Your {self._edge} key"
        return finished_words(key, self._session.next_drill, click=self._asked.assignment.click)

    @property
    def headline(self) -> str:
        """The key that goes on, to be written large; "" where none does."""
        if self._player.is_simulated:
            return "NOW YOU" if self.is_open else ""
        exists = self.is_open and not self._player.uses_letters
        if not exists:
            return ""
        return way_on_headline(self._edge, leads_home=self._session.next_drill is None)

    @property
    def _edge(self) -> Edge:
        return Edge.clear_of(self._pitches)

    @property
    def _pitches(self) -> set[int]:
        return {note.pitch for note in self._session.drill.excerpt.notes}


class Announcements:
    """Sentences that come and go in the lines of the screen."""

    def __init__(
        self, session: DrillSession, host: Host, top: TopLines, foot: Foot, verdict: VerdictPlace
    ) -> None:
        self._session, self._host = session, host
        self._top, self._foot, self._verdict = top, foot, verdict
        self._said_once: set[str] = set()
        self._saving: Timer | None = None
        self._forgetting: Timer | None = None

    def propose(self, text: str, headline: str = "") -> None:
        """Say it in the reason's place, until it is answered or the next repetition is over.

        Whoever plays straight on has not read it yet: so it outlasts that repetition. The headline
        is the same in a word or two, to be written large.
        """
        self._foot.add_proposal(text)
        if headline and self._session.drill.state is not DrillState.FINISHED:
            self._foot.result.show_headline(headline)
        self.call_when_read(self._make_room)

    def say_once(self, text: str) -> None:
        """Say what is so as long as this drill lasts, in the place of a proposal, and no more."""
        if text not in self._said_once:
            self._said_once.add(text)
            self._foot.add_proposal(text)

    def call_when_read(self, then: Callable[[], None]) -> None:
        """Call ``then`` once there was time to read what is said now."""
        self._host.set_timer(READ_S, then)

    def _make_room(self) -> None:
        """In a low terminal give the verdict's row to a proposal, which needs it."""
        result = self._foot.result
        waits = self._session.drill.state is DrillState.READY
        if self._foot.has_proposal and not result.is_roomy and waits:
            self._verdict.say("", result.headline)

    def show_record_fault(self, sentence: str) -> None:
        """Say what goes wrong with the record, and try again until nothing does."""
        if sentence == self._foot.record_fault:
            return
        self._foot.set_record_fault(sentence)
        if self._saving:
            self._saving.stop()
        self._saving = self._host.set_interval(SAVE_S, self._save) if sentence else None

    def _save(self) -> None:
        self.show_record_fault(self._session.save())

    def name_key(self, pitch: int) -> None:
        """Name a key that begins nothing for a while, so that it is seen that it was heard."""
        if self._session.drill.state not in (DrillState.READY, DrillState.FINISHED):
            return
        self._top.name_key(pitch)
        self._verdict.take_back_clean()
        if self._forgetting:
            self._forgetting.stop()
        self._forgetting = self._host.set_timer(HEARD_S, self._top.forget_key)

    def name_stray_key(self, pitch: int) -> None:
        """Name a key that is not in the window, in a repetition."""
        self._top.name_stray_key(pitch)
        self._verdict.take_back_clean()
