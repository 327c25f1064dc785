"""How the click sounds: a row for each choice, and a bar of it to be heard."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from coach.playing.click_schedule import ClickBeat, ClickBeats, ClickSound, ClickStyle, messages
from coach.screens.dialogs.dialog import Choices, Dialog
from coach.screens.interfaces import ClickLike
from coach.screens.keymap import list_keys_words
from coach.screens.terminal import as_shown

TRIED_BEATS, TRIED_BEAT_S, TRIED_AFTER_S = 8, 0.5, 0.15
"""What is heard of a choice: two bars of four at 120 a minute. Own choice."""

_ROWS: tuple[tuple[str, str, Sequence[tuple[Any, str]]], ...] = (
    ("beats", "Sounds", [(one, one.value) for one in ClickBeats]),
    ("accents", "First beat", [(True, "stands out"), (False, "as the others")]),
    ("divides", "Slow beats", [(True, "divided"), (False, "not divided")]),
    (
        "silent_bars",
        "Leaves you alone",
        [(0, "never"), (1, "every other bar"), (2, "two bars of four"), (4, "four bars of eight")],
    ),
    ("loudness", "Loudness", [(1.0, "usual"), (1.15, "louder"), (0.5, "soft"), (0.75, "softer")]),
    ("sound", "Sound", [(one, one.value) for one in ClickSound]),
)
"""Field of the style, what it is called, and its values in the order in which they come round."""


class ClickScreen(Dialog[ClickStyle]):
    """Answers with the style once it is closed."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,q,c", "close", "back", show=False),
    ]

    DEFAULT_CSS = """
    ClickScreen {
        & > Vertical { max-width: 70; }
        & OptionList, & OptionList:focus { height: auto; border: none; margin-bottom: 1; }
    }
    """

    def __init__(
        self,
        style: ClickStyle,
        sound: ClickLike | None,
        clock: Callable[[], float],
        piano_keys: int,
    ) -> None:
        super().__init__()
        self._list_keys = "  ".join(list_keys_words(piano_keys))
        self._style, self._sound, self._clock = style, sound, clock

    def compose(self) -> ComposeResult:
        """A row for each choice."""
        with Vertical():
            yield Static("The click")
            yield Choices(*self._options(), id="choices")
            yield Static(self._list_keys)
            yield Static(as_shown(self, "↑↓ Enter change  Esc back"))

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """The next value of that row, and two bars of it."""
        name, _, values = _ROWS[event.option_index]
        known = [value for value, _ in values]
        now = getattr(self._style, name)
        at = known.index(now) if now in known else -1
        changed: dict[str, Any] = {name: known[(at + 1) % len(known)]}
        self._style = replace(self._style, **changed)
        choices = self.query_one(Choices)
        choices.replace_option_prompt_at_index(event.option_index, self._row(event.option_index))
        self._try_out()

    def go_back(self) -> None:
        """Keep it."""
        self.action_close()

    def action_close(self) -> None:
        """Answer, in silence."""
        if self._sound:
            self._sound.stop()
        self.dismiss(self._style)

    def _options(self) -> list[Option]:
        return [Option(self._row(at)) for at in range(len(_ROWS))]

    def _row(self, at: int) -> str:
        name, words, values = _ROWS[at]
        now = getattr(self._style, name)
        return f"{words:<18} {dict(values).get(now, now)}"

    def _try_out(self) -> None:
        if self._sound is None:
            return
        start_s = self._clock() + TRIED_AFTER_S
        beats = [
            ClickBeat(
                start_s + TRIED_BEAT_S * k, k % 4 + 1, False, begins_group=k % 4 == 0, bar=k // 4
            )
            for k in range(TRIED_BEATS)
        ]
        self._sound.play(messages(beats, self._style))
