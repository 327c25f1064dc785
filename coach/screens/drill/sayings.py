"""What the drill screen says besides the verdict: proposals, keys, trouble with the record."""

from __future__ import annotations

from textual.timer import Timer

from coach.coaching.drill import DrillState, RepetitionEnded
from coach.playing.end_key import Edge
from coach.score.pitch import Spelling
from coach.screens.drill.frame import DrillFrame
from coach.screens.interfaces import Desk, Settings
from coach.screens.wording import finished_words, proposal_headline, way_on_headline

SAVE_S = 2.0
"""How often it is tried again to keep what the record does not take."""
HEARD_S = 2.0
"""How long a key that begins nothing is named. Our choice."""
READ_S = 4.0
"""How long a verdict stays beside a proposal that needs its row: time to read both. Our choice."""


class DrillSayings(DrillFrame):
    """Sentences that come and go in the frame's lines, each with its own time."""

    _ended: RepetitionEnded | None = None
    """The last repetition."""
    _waits = False
    """Whether the verdict's place is taken until the drill goes on."""
    _trying: Timer | None = None
    _forgetting: Timer | None = None

    def __init__(self, desk: Desk, settings: Settings, *, piano: str | None, letters: bool) -> None:
        """``letters``: whether the computer keyboard stands in for the piano."""
        super().__init__(desk, settings, piano=piano, letters=letters)
        self._told: set[str] = set()

    def propose(self, text: str) -> None:
        """Say it in the reason's place, until it is answered or the next repetition is over.

        Whoever plays straight on has not read it yet: so it outlasts that repetition.
        """
        self._proposed = " ".join(filter(None, (self._proposed, text)))
        self.show_reason()
        if self.desk.drill.state is not DrillState.FINISHED:
            self.result.show_headline(proposal_headline(text))
        self.set_timer(READ_S, self.make_room)

    def say_once(self, text: str) -> None:
        """Say what is so as long as this drill lasts, in the place of a proposal, and no more."""
        if text not in self._told:
            self._told.add(text)
            self._proposed = " ".join(filter(None, (self._proposed, text)))
            self.show_reason()

    def make_room(self) -> None:
        """In a low terminal give the verdict's row to a proposal, which needs it."""
        if (
            self._proposed
            and not self.result.is_roomy
            and self.desk.drill.state is DrillState.READY
        ):
            self.result.show_verdict("", self.result.headline)

    def take_back(self) -> None:
        """A proposal is answered, or passed over."""
        self._proposed = ""
        self.show_reason()

    def show_unkept(self, sentence: str) -> None:
        """Say what goes wrong with the record, until it no longer does."""
        if sentence == self._unkept:
            return
        self._unkept = sentence
        self.choose_foot()
        self.show_keys()
        if self._trying:
            self._trying.stop()
        self._trying = self.set_interval(SAVE_S, self._save) if sentence else None

    def _save(self) -> None:
        self.show_unkept(self.desk.save())

    @property
    def _edge(self) -> Edge:
        return Edge.clear_of(self._pitches)

    @property
    def _pitches(self) -> set[int]:
        return {note.pitch for note in self.desk.drill.excerpt.notes}

    def goes_on(self, pitch: int) -> bool:
        """Whether this key of the piano goes on from the goal that is reached."""
        return self.is_reached and self._edge.is_struck(pitch, self._pitches)

    @property
    def is_reached(self) -> bool:
        """Whether the goal is reached and something comes after it."""
        drill = self.desk.drill
        waits = drill.state in (DrillState.READY, DrillState.FINISHED)
        return waits and drill.decision.finished and self.desk.onward is not None

    @property
    def finished_words(self) -> str:
        """What can be done at the goal."""
        key = "F7" if self.letters else f"Your {self._edge} key"
        return finished_words(key, self.desk.onward, click=self.asked.click)

    def show_way_on(self) -> None:
        """The key that goes on, large, once it has been read that the goal is reached."""
        if self.is_reached and not self.letters:
            self.result.show_headline(way_on_headline(self._edge))

    def show_heard(self, pitch: int) -> None:
        """A key that begins nothing: say that it was heard, as when the sound is tested."""
        if self.desk.drill.state in (DrillState.READY, DrillState.FINISHED):
            self.show_assignment(f"heard: {self._key_words(pitch)}")
            self.take_back_clean()
            if self._forgetting:
                self._forgetting.stop()
            self._forgetting = self.set_timer(HEARD_S, self.forget_heard)

    def show_stray(self, pitch: int) -> None:
        """A key that is not in the window, in a repetition."""
        self.show_assignment(f"not in the window: {self._key_words(pitch)}")
        self.take_back_clean()

    def forget_heard(self) -> None:
        """Where the drill stands, in place of the key."""
        if self._said.startswith("heard"):
            self.show_assignment()

    def take_back_clean(self) -> None:
        """No ``Clean.`` is left standing beside a key that is not in the window."""
        if self._ended and self._ended.judgement.clean and not self._waits:
            self.result.show_verdict("")

    def _key_words(self, pitch: int) -> str:
        """A key's name, as it would be written here."""
        start = self.asked.window.start_quarters
        return Spelling.of(pitch, self.desk.score.bar_at(start).key_fifths).words
