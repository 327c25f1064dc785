"""What is drawn is computed without the screen's library."""

from __future__ import annotations

import subprocess
import sys

import pytest

PURE = (
    "staff.layout",
    "inbox",
    "marks",
    "big_letters",
    "wording",
    "interfaces",
)


@pytest.mark.parametrize("module", PURE)
def test_the_layout_and_the_words_do_without_textual(module: str) -> None:
    code = f"import coach.screens.{module}, sys; sys.exit('textual' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_home_screen_is_shown_without_what_only_a_drill_needs() -> None:
    code = "import coach.screens.app, sys; sys.exit('coach.screens.drill.screen' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_frame_rate_is_set_before_textual_is_imported() -> None:
    code = "import coach.screens.app, textual.constants as c, sys; sys.exit(c.MAX_FPS != 240)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
