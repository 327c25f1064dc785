"""The click: sounded through the piano, and its beats shown for those who can't hear it."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction

from textual.timer import Timer

from coach.coaching.drill import CountIn
from coach.playing.click_schedule import (
    ClickBeat,
    ClickStyle,
    Timed,
    clicks,
    messages,
    with_parts,
)
from coach.score.counting import counted_quarters
from coach.score.model import Score
from coach.score.window import Excerpt
from coach.screens.interfaces import ClickLike, DrillSession, Host
from coach.screens.widgets import Result

SILENT_CLICK = "The click can't sound here: go by the count on the screen."
"""Said once in a drill, where there is no piano or none that can sound the click."""

Counts = Callable[[Score, Sequence[Fraction]], Sequence[str]]
"""What is said at each of these onsets."""
BEAT_S = 0.01
"""How often it is looked whether a beat is due, while a click runs. Own choice: within a frame."""


def plan_clicks(score: Score, excerpt: Excerpt, click: CountIn) -> tuple[ClickBeat, ...]:
    """The beats that the drill asks for: the count-in, and the window's."""
    beat = score.bar_at(excerpt.grid_quarters[0]).metre.beat_quarters
    return clicks(
        score,
        excerpt.grid_quarters,
        qpm=60.0 * float(beat) / click.beat_s,
        first_click_s=click.first_beat_s,
        count_in=click.count_in_beats,
    )


def plan_counts(
    score: Score, excerpt: Excerpt, click: CountIn, counts: Counts
) -> tuple[ClickBeat, ...]:
    """What is counted on the screen: the beats, and the parts of slow ones, as the tempo says."""
    bar = score.bar_at(excerpt.grid_quarters[0])
    beat_quarters = bar.metre.beat_quarters
    counted = counted_quarters(60.0 * float(beat_quarters) / click.beat_s, beat_quarters)
    parts = [bar.onset_quarters + at * counted for at in range(int(beat_quarters / counted))]
    return with_parts(plan_clicks(score, excerpt, click), click.beat_s, counts(score, parts)[1:])


class BeatQueue:
    """The beats of a count-in and of the repetition after it that are still to come.

    Time is an argument.
    """

    def __init__(self) -> None:
        self._waiting: deque[ClickBeat] = deque()
        self.is_running = False

    def start(self, beats: Iterable[ClickBeat]) -> None:
        """These beats in place of any others."""
        self._waiting = deque(beats)
        self.is_running = True

    def stop(self) -> None:
        """No more beats."""
        self._waiting.clear()
        self.is_running = False

    @property
    def times_s(self) -> list[float]:
        """When those that are still to come will come; parts of a beat are none."""
        return [beat.at_s for beat in self._waiting if not beat.part]

    def take_due(self, now_s: float) -> ClickBeat | None:
        """The beat that has come since this was asked last, the newest of several."""
        beat = None
        while self._waiting and self._waiting[0].at_s <= now_s:
            beat = self._waiting.popleft()
        return beat


class ClickRunner:
    """Starts and stops the click that the drill asks for."""

    def __init__(
        self,
        session: DrillSession,
        host: Host,
        clock: Callable[[], float],
        result: Result,
        sound: ClickLike | None,
        style: ClickStyle,
        counts: Counts,
    ) -> None:
        """``result`` shows the beats, ``counts`` says what is counted in a slow one; ``sound`` is
        None where the click can't be heard.
        """
        self.style, self._counts = style, counts
        self._session, self._host, self._clock = session, host, clock
        self._result, self._sound = result, sound
        self._beats = BeatQueue()
        self._timer: Timer | None = None

    @property
    def is_running(self) -> bool:
        """Whether a click runs."""
        return self._beats.is_running

    @property
    def beats_s(self) -> list[float]:
        """When the beats that are still to come will come, the window's last of all."""
        return self._beats.times_s

    def set_style(self, style: ClickStyle) -> None:
        """How it sounds from the next count-in on."""
        self.style = style

    def start(self, click: CountIn, also: Sequence[Timed] = ()) -> bool:
        """Show its beats, and sound it and what goes along with it; whether it can sound."""
        self._result.begin()
        score, excerpt = self._session.score, self._session.drill.excerpt
        beats = plan_clicks(score, excerpt, click)
        self._beats.start(plan_counts(score, excerpt, click, self._counts))
        if self._timer is None:
            self._timer = self._host.set_interval(BEAT_S, self.show_beat)
        self._timer.resume()
        return self._sound is not None and self._sound.play([*messages(beats, self.style), *also])

    def stop(self) -> None:
        """Silence, and the clean run in place of the beats."""
        self._beats.stop()
        if self._timer:
            self._timer.pause()
        self._result.hide_beat()
        if self._sound:
            self._sound.stop()

    def show_beat(self) -> None:
        """Show the beat that sounds now."""
        beat = self._beats.take_due(self._clock())
        if beat:
            self._result.show_beat(beat.said)
