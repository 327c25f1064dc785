"""Setting the piano up: one screen, a minute, and all of it done from the keys."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import Screen
from textual.widgets import Static

from coach.playing.midi_events import KeyDown, MidiEvent
from coach.playing.piano_check import PianoCheck
from coach.screens.interfaces import ClickLike, PortsLike, piano_words
from coach.screens.setup_steps import COMES_BACK, PianoSetup, SetupFound
from coach.screens.terminal import as_shown
from coach.screens.widgets import HelpLine, StateLine

LOOK_S = 0.1
"""How often what arrives is shown. Own choice: as it is played, for the eye."""
NO_PIANO = "No piano yet: plug it in and switch it on; I notice it by myself."


class SetupScreen(Screen[SetupFound | None]):
    """Asks, and shows what arrives; answers with what was found, None where it was left at once."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,q", "leave", "leave", show=False),
        Binding("n", "next_port", "another port", show=False),
    ]

    DEFAULT_CSS = """
    SetupScreen {
        & VerticalScroll { padding: 1 2; height: 1fr; }
        & Static { height: auto; }
        & #asked { text-style: bold; margin-bottom: 1; }
        & #arrives { margin-bottom: 1; }
        & #said { margin-bottom: 1; }
    }
    """

    def __init__(
        self,
        ports: PortsLike | None,
        sound: ClickLike | None,
        clock: Callable[[], float],
        piano: str | None,
        listen_to_next: Callable[[], None],
        why_none: str = "",
    ) -> None:
        """``listen_to_next`` turns to the next of several pianos; ``why_none`` says why none can be
        heard at all."""
        super().__init__()
        self._ports, self._sound, self._clock = ports, sound, clock
        self._listen_to_next = listen_to_next
        self._piano, self._why_none = piano, why_none
        self._others = ""
        self._check = PianoCheck()
        self._setup = PianoSetup(can_sound=bool(sound and sound.play(())))

    def compose(self) -> ComposeResult:
        """What is asked, what arrives, what is known, what there is to do."""
        yield StateLine(id="state")
        with VerticalScroll():
            for name in ("asked", "arrives", "said", "known"):
                yield Static(id=name, markup=False)
        keys = "Esc leave; what is known by then is kept  n another port"
        yield HelpLine(as_shown(self, keys), id="help", markup=False)

    def on_mount(self) -> None:
        """Begin to look at what arrives."""
        if self._ports:
            self._ports.watch(self._check.take)
        if self._sound and self._piano:
            self._sound.prepare()
        self.set_interval(LOOK_S, self._look)
        self._show()

    def on_unmount(self) -> None:
        """Look no more."""
        if self._ports:
            self._ports.watch(None)

    def hear(self, event: MidiEvent) -> None:
        """Something was played; at the end any key goes on."""
        if self._setup.is_over:
            if isinstance(event, KeyDown):
                self.action_leave()
            return
        self._setup.hear(event)
        self._show()

    def show_piano(self, name: str | None) -> None:
        """Which piano is heard now: what was found of another one holds no more."""
        if name and name != self._piano:
            self._setup = PianoSetup(can_sound=bool(self._sound and self._sound.play(())))
            self._check = PianoCheck()
            if self._ports:
                self._ports.watch(self._check.take)
        self._piano = name
        self._show()

    def show_others(self, sentence: str) -> None:
        """Which other pianos are there."""
        self._others = sentence
        self._show()

    def action_next_port(self) -> None:
        """Hear another of several pianos."""
        self._listen_to_next()

    def action_leave(self) -> None:
        """Keep what is known."""
        self.dismiss(self._setup.found)

    def _look(self) -> None:
        self._setup.tick(self._clock())
        self._show()

    def _show(self) -> None:
        """Write it all anew, and sound what is due."""
        if not self.is_mounted:
            return
        setup = self._setup
        sound = setup.take_sound()
        if sound and self._sound:
            self._sound.play(sound)
        piano = piano_words(self._piano) if self._piano else "no piano"
        self.query_one(StateLine).show("Setting up", piano)
        asked = setup.step.value if self._piano else self._why_none or NO_PIANO
        arrives = f"Arrives: {self._check.last}" if self._check.last else ""
        self._write("asked", asked)
        self._write("arrives", arrives)
        self._write("said", setup.said or self._others)
        known = [f"- {row}" for row in setup.done]
        comes_back = [COMES_BACK] if self._ports and self._ports.own.comes_back else []
        notes = [*self._check.findings, *comes_back]
        if setup.is_over:
            notes = [*setup.found.remedies, *notes]
        self._write("known", "\n".join([*known, "", *notes]))

    def _write(self, name: str, text: str) -> None:
        self.query_one(f"#{name}", Static).update(as_shown(self, text))
