"""The home screen: the warm-up, the piece to go on with, the scores at hand, or another one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import ClassVar

from rich.text import Text, TextType
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.events import Resize
from textual.screen import Screen
from textual.widgets import DirectoryTree, OptionList, Static
from textual.widgets.option_list import Option

from coach.playing.command_keys import ListStep
from coach.score.formats import SUFFIXES
from coach.score.words import printable
from coach.screens.dialogs.dialog import Choices, Dialog, move_in_list
from coach.screens.dialogs.texts import CAUTIONS
from coach.screens.interfaces import HomeItem, Library, piano_words
from coach.screens.keymap import fit, list_keys_words
from coach.screens.terminal import as_shown
from coach.screens.widgets import HelpLine, StateLine

_HELP_MARGIN = 10
"""Columns that the keys leave free: the padding, the gap, and what arrows in plain letters take."""
FIRST_PAINT_S = 0.02
"""After this long the screen has been painted once. Own choice: five frames of 4 ms."""


FIND = "find"
_WAYS = (
    ("app.diary", "The diary"),
    ("app.set_up", "Set the piano up"),
    ("app.choose_click", "The click"),
    ("app.learn_command", "A pedal, button or key of your own"),
    ("app.quit", "That is all for today"),
)
"""What else there is, at the end of the list, so that the piano's keys lead there, too: action and
words."""
_SOMEONE_ELSE = ("app.choose_pianist", "Someone else plays")


class HomeScreen(Screen[None]):
    """Choose what to play."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f", "find", "find a score", show=False),
        Binding("y", "app.diary", "diary", show=False),
        Binding("s", "app.set_up", "set the piano up", show=False),
        Binding("c", "app.choose_click", "click", show=False),
        Binding("u", "app.learn_command", "your own key", show=False),
        Binding("q", "app.quit", "quit", show=False),
        Binding("question_mark,f1", "app.keys", "keys", show=False),
    ]

    DEFAULT_CSS = """
    HomeScreen {
        & #welcome { padding: 1 2 0 2; text-style: bold; }
        & OptionList { height: 1fr; margin: 1 0; background: $background; }
        & OptionList, & OptionList:focus { border: none; }
        & #others { padding: 0 2; height: auto; display: none; }
        & #cautions { padding: 0 2; color: $text-muted; height: auto; }
    }
    """

    def __init__(
        self,
        library: Library,
        *,
        piano: str | None,
        can_demo: bool,
        piano_keys: int = 88,
        pianist: str = "",
        can_be_another: bool = False,
    ) -> None:
        """``pianist``: who plays, where several share the piano; ``can_be_another``: whether who
        plays can be changed."""
        super().__init__()
        self._library, self._piano, self._can_demo = library, piano, can_demo
        self._title = " · ".join(filter(None, ("Keyhole", printable(pianist))))
        self._list_keys = list_keys_words(piano_keys)
        self._ways = (*((_SOMEONE_ELSE,) if can_be_another else ()), *_WAYS)
        self._items: tuple[HomeItem, ...] = ()

    def compose(self) -> ComposeResult:
        """Title, choices, cautions, keys."""
        yield StateLine(id="state")
        yield Static("What will you play?", id="welcome")
        yield Static(id="others", markup=False)
        yield Choices(id="choices")
        yield Static("\n".join(CAUTIONS), id="cautions", markup=False)
        yield HelpLine("", id="help", markup=False)

    def on_mount(self) -> None:
        """Fill the list."""
        self.show_piano(self._piano)
        self.set_timer(FIRST_PAINT_S, self.fill)  # the record is read once the screen is there

    def on_screen_resume(self) -> None:
        """Read the choices again: the last piece and the weak spots have changed meanwhile."""
        if self._items:  # not the first time: then the screen is painted before it is filled
            self.fill()

    def show_piano(self, name: str | None) -> None:
        """Say which piano is heard."""
        self._piano = name
        self.query_one(StateLine).show(self._title, piano_words(name) if name else "no piano")
        self._show_keys()

    def on_resize(self, event: Resize) -> None:
        """As many keys as fit."""
        self._show_keys()

    def show_list_keys(self, piano_keys: int) -> None:
        """Another keyboard: its lowest keys move in the list."""
        self._list_keys = list_keys_words(piano_keys)
        self._show_keys()

    def _show_keys(self) -> None:
        """The keys in one row; the piano's first, where there is one: the hands are there."""
        parts = ["↑↓ Enter choose", "f find a score", "y diary", "s set up", "q quit"]
        parts += ["c click", "u your own key"]
        parts = [*self._list_keys[:3], *parts] if self._piano else parts
        line = self.query_one("#help", HelpLine)
        last = "? keys"
        text = fit(parts, self.size.width - _HELP_MARGIN - len(last))
        line.update(as_shown(line, f"{text}  {last}"))

    def hear_key(self, pitch: int, step: ListStep | None) -> bool:
        """A key of the piano was struck: whether it moved in the list."""
        return step is not None and self.take_step(step)

    def take_step(self, step: ListStep) -> bool:
        """Move in the list, or choose, from the piano; there is nothing to go back to."""
        return step is not ListStep.BACK and move_in_list(self, step)

    def show_others(self, sentence: str) -> None:
        """Say which other pianos are there, and how to play on them."""
        others = self.query_one("#others", Static)
        others.update(as_shown(self, sentence))
        others.display = bool(sentence)

    def fill(self) -> None:
        """Read the choices anew."""
        self._items = tuple(self._library.items())
        choices = self.query_one(OptionList)
        choices.clear_options()
        choices.add_options(
            [Option(_item_line(item), id=str(index)) for index, item in enumerate(self._items)]
        )
        choices.add_option(Option(as_shown(self, "Another score …"), id=FIND))
        choices.add_options([Option(words, id=action) for action, words in self._ways])
        choices.focus()
        choices.highlighted = 0

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Open what was chosen."""
        chosen = event.option.id or ""
        if chosen.isdecimal():
            self.choose(self._items[int(chosen)])
        else:
            self.call_later(self.run_action, chosen)

    def choose(self, item: HomeItem) -> None:
        """Open an item."""
        from coach.screens.app import KeyholeApp

        assert isinstance(self.app, KeyholeApp)
        self.app.open(item.path, item.errand)

    def action_find(self) -> None:
        """Look for a score in the folders."""
        self.app.push_screen(FindScreen(self._library.folder(), self._list_keys))


def _item_line(item: HomeItem) -> Text:
    text = Text(printable(item.title), style="bold")
    detail = f"   {printable(item.detail)}" if item.detail else ""
    return text.append(detail, style="not bold dim")


class ScoreTree(DirectoryTree):
    """Folders, and the files that a score may be in."""

    ICON_NODE, ICON_NODE_EXPANDED, ICON_FILE = "+ ", "- ", ""

    def process_label(self, label: TextType) -> Text:
        """A file's name as it is: brackets in it are no markup, control characters are replaced."""
        return Text(printable(label)) if isinstance(label, str) else label

    def filter_paths(self, paths: object) -> list[Path]:
        """Leave out hidden files, and those that are no scores."""
        assert not isinstance(paths, str)
        return [
            path
            for path in paths  # type: ignore[attr-defined]
            if not path.name.startswith(".") and (path.is_dir() or path.suffix.lower() in SUFFIXES)
        ]


class FindScreen(Dialog[None]):
    """Find a score in the folders."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss", "back", show=False),
        Binding("backspace", "up", "folder above", show=False),
    ]

    DEFAULT_CSS = """
    FindScreen {
        & > Vertical { height: 90%; padding: 0 1; }
        & ScoreTree { height: 1fr; }
        & Static { height: 1; color: $text-muted; }
    }
    """

    def __init__(self, folder: Path, list_keys: Sequence[str] = ()) -> None:
        """``list_keys`` says which of the piano's keys move in the tree."""
        super().__init__()
        self._folder, self._list_keys = folder, list_keys

    def compose(self) -> ComposeResult:
        """The folder's tree and the keys."""
        with Vertical():
            tree = ScoreTree(self._folder)
            tree.show_guides = not self.app.has_class("-plain")
            yield tree
            yield Static("  ".join(self._list_keys))
            yield Static(as_shown(self, "↑↓ Enter open  Backspace folder above  Esc back"))

    def action_up(self) -> None:
        """The folder above."""
        tree = self.query_one(ScoreTree)
        tree.path = Path(tree.path).resolve().parent

    def on_directory_tree_file_selected(self, event: DirectoryTree.FileSelected) -> None:
        """Open the chosen file."""
        from coach.screens.app import KeyholeApp
        from coach.screens.interfaces import Errand

        assert isinstance(self.app, KeyholeApp)
        self.dismiss()
        self.app.open(event.path, Errand.DRILL)
