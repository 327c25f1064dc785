"""All keys and marks, one key away."""

from __future__ import annotations

from coach.screens.cautions import CAUTIONS
from coach.screens.commands import COMMANDS, DEMO_COMMANDS
from coach.screens.marks import FACES
from coach.screens.notices import SheetScreen


class HelpScreen(SheetScreen):
    """All keys, all marks, and the usual cautions."""

    def __init__(self, *, demo: bool = False) -> None:
        super().__init__()
        self._demo = demo

    def text(self) -> str:
        """Keys, marks, cautions."""
        commands = (*(DEMO_COMMANDS if self._demo else ()), *COMMANDS)
        keys = "\n".join(f"{one.shown:>5}  {one.name:<17} {one.help}" for one in commands)
        marks = "\n".join(f"{face.char:>5}  {face.words}" for face in FACES.values())
        more = "Ctrl+P finds every command by its name; function keys work while letters play."
        cautions = "\n".join(CAUTIONS)
        return f"Keys\n{keys}\n\n{more}\n\nMarks under the notes\n{marks}\n\n{cautions}"
