"""What is said beside the verdict, each for its own time: proposals, keys, the record, the goal."""

from __future__ import annotations

from collections.abc import Callable

from textual.timer import Timer

from coach.coaching.drill import DrillState
from coach.playing.command_keys import Edge
from coach.screens.drill.assignment import AssignmentInSight, TopLines
from coach.screens.drill.foot import Foot, VerdictPlace
from coach.screens.drill.player import Player
from coach.screens.interfaces import DrillSession, Host
from coach.screens.wording import finished_words, now_you_words, way_on_headline

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
