"""What is seen: the Textual screens."""

import os

# Textual reads it when it is first imported: at 60 frames a second chords wait up to 16 ms.
os.environ.setdefault("TEXTUAL_FPS", "240")
