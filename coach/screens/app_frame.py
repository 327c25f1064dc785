"""The app's frame: its keys and look, a terminal that is too small, and the command palette."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.events import Event, InputEvent, Resize
from textual.filter import LineFilter
from textual.geometry import Size
from textual.screen import Screen
from textual.theme import ThemeProvider

from coach.screens.dialog import Palette
from coach.screens.mistakes import PlainlyEnding
from coach.screens.notices import NoticeScreen, TooSmallScreen, is_too_small
from coach.screens.plainly import SeenOnly

if TYPE_CHECKING:
    from coach.screens.drill_screen import DrillScreen


MOST_SCREENS = 12
"""So many screens over each other: nobody reads more of them, and Textual draws each through those
over it, 40 deep at most. Own choice."""


class AppFrame(PlainlyEnding):
    """What is so whatever is played."""

    TITLE = "Keyhole"
    CSS = """
    App.-plain ModalScreen > * { border: ascii $foreground; }
    App.-plain ModalScreen > .keys { border: none; }
    App.-plain Input, App.-plain Input:focus { border: ascii $foreground; }
    OptionList, Input, Tree { min-width: 20; }  /* Textual can't fold words into no columns */
    SearchIcon { display: none; }  /* not every terminal has that character */
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+q", "quit", "quit", show=False, priority=True),
        Binding("ctrl+c", "quit", "quit", show=False),  # as everywhere in a terminal
    ]

    _seen_only = SeenOnly()

    @property
    def drill(self) -> DrillScreen | None:
        """The drill that is on the screen, also under a small screen."""
        raise NotImplementedError

    def get_line_filters(self) -> Sequence[LineFilter]:
        """Textual's own, and ours after them."""
        return (*super().get_line_filters(), self._seen_only)

    @property
    def top(self) -> Screen[object] | None:
        """The screen that is seen; None while the app ends, when timers may still run."""
        stack = self.screen_stack
        return stack[-1] if stack else None

    async def on_event(self, event: Event) -> None:
        """Textual's own; keys that are struck while the program ends come to nothing."""
        if self.screen_stack or not isinstance(event, InputEvent):
            await super().on_event(event)

    def on_resize(self, event: Resize) -> None:
        """A terminal too small for music says so; it comes back as it was."""
        self.mind_size(event.size)

    def mind_size(self, size: Size | None = None) -> None:
        """See whether music can be shown, and say so where not."""
        small = is_too_small(size or self.size)
        if self.top is None:
            return
        if small and not isinstance(self.top, TooSmallScreen):
            self.push_screen(TooSmallScreen())
        elif not small and isinstance(self.top, TooSmallScreen):
            self.pop_screen()

    def push_screen(self, screen: Screen[Any], *args: Any, **how: Any) -> Any:  # type: ignore[override]
        """Show a screen over the others; that the terminal is too small stays the uppermost."""
        if isinstance(self.top, TooSmallScreen):
            self.pop_screen()
        if len(self.screen_stack) > MOST_SCREENS:
            self.pop_screen()
        pushed = super().push_screen(screen, *args, **how)
        if is_too_small(self.size) and not isinstance(screen, TooSmallScreen):
            super().push_screen(TooSmallScreen())
        return pushed

    def close(self, screen: Screen[Any]) -> None:
        """Take a screen away, with what lies over it; notices over it are still to be read."""
        if screen not in self.screen_stack:
            return
        notices: list[NoticeScreen] = []
        while (top := self.screen_stack[-1]) is not screen:
            if isinstance(top, NoticeScreen):
                notices.append(top)
            self.pop_screen()
        self.pop_screen()
        for notice in reversed(notices):
            self.push_screen(NoticeScreen(notice.sentence))
        self.mind_size()

    def search_themes(self) -> None:
        """Textual's own list of themes, closed as a dialog is."""
        self.push_screen(Palette([ThemeProvider], placeholder="Search for themes…"))

    def action_command_palette(self) -> None:
        """Every command by its name; one palette at a time, and none over what can't be read."""
        stack = self.screen_stack
        if stack and not any(isinstance(one, Palette | TooSmallScreen) for one in stack):
            self.push_screen(Palette())

    def action_keys(self) -> None:
        """All keys and marks."""
        from coach.screens.help import HelpScreen

        self.push_screen(HelpScreen())

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Everything that can be asked for, by name, in the command palette."""
        kept = ("Theme", "Quit")  # the others are of no use to a pianist, or are here by our names
        yield from (one for one in super().get_system_commands(screen) if one.title in kept)
        drill = self.drill
        if drill and screen is drill:
            from coach.screens.commands import COMMANDS, DEMO_COMMANDS

            demo = DEMO_COMMANDS if drill.is_demo else ()
            for one in (*COMMANDS, *demo):
                yield SystemCommand(
                    one.name.capitalize(), one.help, self._runner(drill, one.action)
                )

    def _runner(self, screen: DrillScreen, action: str) -> Callable[[], None]:
        return lambda: void(self.call_later(screen.run_action, action))


def void(_: object) -> None:
    """Drop a value that a callback must not return."""
