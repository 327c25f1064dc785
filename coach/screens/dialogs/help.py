"""The usual cautions, for the foot of the home screen and the help.

All keys and marks, one key away.
"""

from __future__ import annotations

from coach.screens.dialogs.notice import SheetScreen
from coach.screens.keymap import COMMANDS, DEMO_COMMANDS
from coach.screens.marks import FACES

CAUTIONS = (
    "Pain means stop. Rest ten minutes in every hour; keep headphones low.",
    "Play no stretch that strains: roll it, or leave a note out.",
    "What your teacher or your doctor tells you comes first.",
)


LETTERS = """\
  2 3   5 6 7   9 0     black keys
 q w e r t y u i o p    C4 and up, for the right hand
  s d   g h j   l ;     black keys
 z x c v b n m , . /    C3 and up, for the left hand
Commands keep their function keys meanwhile."""
"""On a computer keyboard with the letters in English order."""


AT_THE_PIANO = """\
The first note of the window begins a repetition; it ends by itself.
With a click any key counts in. Playing on ends a pause and closes
what stands over the music. At the goal the lowest key goes on."""
"""What is asked for at the piano, where no hand is free for the computer."""


class HelpScreen(SheetScreen):
    """All keys, all marks, and the usual cautions."""

    def __init__(self, *, demo: bool = False) -> None:
        super().__init__()
        self._demo = demo

    def text(self) -> str:
        """What the piano asks for, keys, marks, cautions."""
        commands = (*(DEMO_COMMANDS if self._demo else ()), *COMMANDS)
        keys = "\n".join(f"{one.shown:>5}  {one.name:<17} {one.help}" for one in commands)
        marks = "\n".join(f"{face.char:>5}  {face.words}" for face in FACES.values())
        more = f"Ctrl+P finds every command by its name.\n\nLetters as piano\n{LETTERS}"
        piano = f"At the piano\n{AT_THE_PIANO}"
        cautions = "\n".join(CAUTIONS)
        return f"{piano}\n\nKeys\n{keys}\n\n{more}\n\nMarks under the notes\n{marks}\n\n{cautions}"
