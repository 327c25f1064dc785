"""A list to choose from."""

from __future__ import annotations

from textual.widgets import OptionList


class Choices(OptionList):
    """Textual's list of options, which may be asked for a page before its rows are counted.

    Textual (8.2) counts them when it next lays the list out, and raises where a key comes first.
    """

    def action_page_up(self) -> None:
        """A page up, or to the first where there are no rows yet."""
        try:
            super().action_page_up()  # type: ignore[no-untyped-call]
        except (KeyError, IndexError):
            self.action_first()

    def action_page_down(self) -> None:
        """A page down, or to the last where there are no rows yet."""
        try:
            super().action_page_down()  # type: ignore[no-untyped-call]
        except (KeyError, IndexError):
            self.action_last()
