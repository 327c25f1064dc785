"""Playing with the pianist: the other hand sounds while one is practised.

At the pianist's own pace it follows what they strike; with a click it goes by the click. With each
clean repetition it is softer, so that the pianist hears more of themselves: the way back to hands
together, as a teacher does it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from statistics import fmean

from coach.coaching.drill import CountIn, DrillEvent, DrillState, RepetitionBegan, RepetitionEnded
from coach.playing.accompaniment import Accompanist, PaceFollower, find_other_hand
from coach.playing.click_schedule import Timed
from coach.playing.playback import note_messages, plan_notes
from coach.score.model import Hands, ScoreNote
from coach.score.window import Excerpt
from coach.screens.drill.listening import NOT_HERE
from coach.screens.interfaces import ClickLike, DrillSession

SOFTER = (1.0, 0.7, 0.5)
"""How loud it is after no clean repetition, one, and more. Own choice, because at half of the
usual velocity a hand is still heard and covers nothing."""
REMEMBERED = 3
"""So many repetitions tell at what tempo the next will begin."""
ALONE = "I play no more with you."
NO_OTHER_HAND = "The other hand rests here; elsewhere I play it with you."
FOR_LATER = "Both hands are yours here; where one is asked for, I play the other with you."
_HAND = {Hands.RIGHT: "left", Hands.LEFT: "right"}


class Company:
    """Sounds the other hand along with what is played."""

    def __init__(
        self, session: DrillSession, clock: Callable[[], float], sound: ClickLike | None
    ) -> None:
        self._session, self._clock, self._sound = session, clock, sound
        self.is_wanted = False
        """Whether the pianist asked for it: it then comes wherever one hand plays alone."""
        self._accompanist: Accompanist | None = None
        self._tempi: deque[float] = deque(maxlen=REMEMBERED)
        """How fast the last repetitions were, as shares of what was asked for."""

    @property
    def words(self) -> str:
        """``LH with you``, while the other hand is played along; else ""."""
        notes = self._notes(self._session.drill.excerpt)
        return f"{notes[0].hand} with you" if notes else ""

    def toggle(self) -> str:
        """Play with the pianist, or no more; answers in a sentence."""
        if self._sound is None or not self._sound.play((), self._clock()):
            return NOT_HERE
        self.is_wanted = not self.is_wanted
        if not self.is_wanted:
            return ALONE
        part = self._session.drill.excerpt
        if part.window.hands is Hands.TOGETHER:
            return FOR_LATER
        if not find_other_hand(self._session.score, part):
            return NO_OTHER_HAND
        by = "with the click" if self._session.drill.assignment.click else "at your pace"
        return f"I play the {_HAND[part.window.hands]} hand with you, {by}."

    def hear(self, outcomes: Iterable[DrillEvent], at_s: float) -> None:
        """A key went down, and this came of it: sound what is due with it and until the next."""
        if any(isinstance(one, RepetitionBegan) for one in outcomes):
            self._accompanist = self._find_accompanist()
        if self._accompanist:
            self._follow(self._accompanist, at_s)

    def _find_accompanist(self) -> Accompanist | None:
        """Who follows the pianist at their own pace."""
        drill = self._session.drill
        notes = self._notes(drill.excerpt)
        if not notes or drill.assignment.click:
            return None
        onsets = [float(onset) for onset in drill.excerpt.onsets_quarters]
        qpm = drill.assignment.qpm or drill.excerpt.qpm
        own = fmean(self._tempi) if self._tempi else 1.0
        pace = PaceFollower(60 / (qpm * own), is_known=bool(self._tempi))
        return Accompanist(notes, onsets, pace, share=self._share)

    def note_tempo(self, ended: RepetitionEnded) -> None:
        """A repetition was played at its own tempo: the next one begins about there."""
        judgement = ended.judgement
        if judgement.qpm and judgement.is_repetition:
            self._tempi.append(judgement.qpm / (ended.assignment.qpm or judgement.excerpt.qpm))

    def _follow(self, accompanist: Accompanist, at_s: float) -> None:
        reached = self._session.drill.reached
        coming = accompanist.follow(float(reached), at_s) if reached is not None else None
        if coming is not None and self._sound:
            now_s = self._clock()
            self._sound.play([(max(when_s, now_s), message) for when_s, message in coming], now_s)

    def messages_with(self, click: CountIn) -> tuple[Timed, ...]:
        """What the other hand plays by a click."""
        drill, score = self._session.drill, self._session.score
        notes = self._notes(drill.excerpt)
        if not notes:
            return ()
        first = drill.excerpt.grid_quarters[0]
        beat = float(score.bar_at(first).metre.beat_quarters)
        start_s = click.first_beat_s + click.count_in_beats * click.beat_s
        qpm = 60.0 * beat / click.beat_s
        planned = plan_notes(notes, qpm=qpm, from_quarters=first, start_s=start_s)
        return note_messages(planned, self._share)

    def note_state(self, state: DrillState) -> None:
        """Where nothing is played any more, no new note sounds, and the last ones end."""
        accompanist = self._accompanist
        if state is DrillState.PLAYING or accompanist is None or self._sound is None:
            return
        self._accompanist = None
        now_s = self._clock()
        self._sound.play(accompanist.end(now_s), now_s)

    def _notes(self, part: Excerpt) -> tuple[ScoreNote, ...]:
        if not self.is_wanted or self._sound is None:
            return ()
        return find_other_hand(self._session.score, part)

    @property
    def _share(self) -> float:
        return SOFTER[min(self._session.drill.decision.clean_run, len(SOFTER) - 1)]
