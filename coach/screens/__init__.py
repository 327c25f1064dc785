"""What is seen: the Textual screens."""

import os

# Textual reads this when it is first imported. At its own 60 frames a second a chord would wait up
# to 16 ms to be painted.
os.environ.setdefault("TEXTUAL_FPS", "240")
