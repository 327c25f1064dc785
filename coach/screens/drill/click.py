"""The click as it is seen: the beats of a count-in and of the repetition after it.

The click on the drill screen: sounded through the piano, and its beats shown.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from textual.timer import Timer

from coach.coaching.drill import CountIn
from coach.playing.click_schedule import Click, clicks
from coach.score.model import Score
from coach.score.window import Excerpt
from coach.screens.drill.sayings import DrillSayings
from coach.screens.interfaces import ClickLike, Desk, Settings


class Pulse:
    """The beats that are still to come; time is an argument."""

    def __init__(self) -> None:
        self._waiting: deque[Click] = deque()
        self.running = False

    def start(self, score: Score, excerpt: Excerpt, click: CountIn) -> None:
        """These beats in place of any others."""
        beat = score.bar_at(excerpt.grid_quarters[0]).metre.beat_quarters
        self._waiting = deque(
            clicks(
                score,
                excerpt.grid_quarters,
                qpm=60.0 * float(beat) / click.beat_s,
                first_click_s=click.first_beat_s,
                count_in=click.count_in_beats,
            )
        )
        self.running = True

    def stop(self) -> None:
        """No more beats."""
        self._waiting.clear()
        self.running = False

    def due(self, now_s: float) -> Click | None:
        """The beat that has come since this was asked last, the newest of several."""
        beat = None
        while self._waiting and self._waiting[0].at_s <= now_s:
            beat = self._waiting.popleft()
        return beat


SILENT_CLICK = "The click can't sound here: go by the count on the screen."
"""Said once a drill, where the piano takes no click or there is none."""

BEAT_S = 0.01
"""How often it is looked whether a beat is due, while a click runs."""


class DrillClick(DrillSayings):
    """Starts and stops the click that the drill asks for."""

    def __init__(
        self,
        desk: Desk,
        settings: Settings,
        clock: Callable[[], float],
        *,
        piano: str | None,
        click: ClickLike | None,
        letters: bool,
    ) -> None:
        """``clock`` gives seconds on the clock that the piano's events are stamped with."""
        super().__init__(desk, settings, piano=piano, letters=letters)
        self._clock = clock
        self._click = click
        self._pulse = Pulse()
        self._beats: Timer | None = None

    @property
    def clicks(self) -> bool:
        """Whether a click runs."""
        return self._pulse.running

    def start_click(self, click: CountIn) -> None:
        """Sound and show it."""
        self.result.show_run_alone()
        excerpt = self.desk.drill.excerpt
        self._pulse.start(self.desk.score, excerpt, click)
        if self._beats is None:
            self._beats = self.set_interval(BEAT_S, self.beat)
        self._beats.resume()
        sounds = self._click is not None and self._click.start(self.desk.score, excerpt, click)
        if not sounds and not self.is_demo:
            self.say_once(SILENT_CLICK)

    def stop_click(self) -> None:
        """Silence, and the clean run again."""
        self._pulse.stop()
        if self._beats:
            self._beats.pause()
        self.result.hide_beat()
        if self._click:
            self._click.stop()

    def beat(self) -> None:
        """Show the beat that sounds now, for those who can't hear it."""
        beat = self._pulse.due(self._clock())
        if beat:
            self.result.show_beat(beat.beat)
