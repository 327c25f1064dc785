"""The click through the piano's own sound."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coach.coaching.drill import CountIn
    from coach.playing.click_output import ClickThread
    from coach.playing.ports import Ports
    from coach.score.model import Score
    from coach.score.window import Excerpt


class PianoClick:
    """Sounds the click at whatever piano is plugged in when it starts; silent where none is."""

    def __init__(self, ports: Ports) -> None:
        self._ports = ports
        self._thread: ClickThread | None = None

    def start(self, score: Score, excerpt: Excerpt, click: CountIn) -> bool:
        """Sound the count-in and the click of one repetition, if the piano takes it."""
        from coach.playing.click_output import ClickThread
        from coach.playing.click_schedule import clicks, messages

        self.stop()
        out = self._ports.open_out()
        if out is None:
            return False
        beat = score.bar_at(excerpt.grid_quarters[0]).metre.beat_quarters
        sounding = clicks(
            score,
            excerpt.grid_quarters,
            qpm=60.0 * float(beat) / click.beat_s,
            first_click_s=click.first_beat_s,
            count_in=click.count_in_beats,
        )
        self._thread = ClickThread(out)
        self._thread.play(messages(sounding))
        return True

    def stop(self) -> None:
        """Silence."""
        if self._thread:
            self._thread.close()
            self._thread = None
