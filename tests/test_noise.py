"""C libraries print to descriptor 2; none of it may reach the screen."""

import subprocess
import sys
from pathlib import Path

PROGRAM = """
import os, sys
from pathlib import Path
from coach.playing.ports.driver import divert_noise
divert_noise(Path(sys.argv[1]))
os.write(2, b"ALSA lib: noise\\n")
sys.stderr.write("ours\\n")
sys.__stderr__.write("the screen\\n")
raise SystemExit("an error of ours")
"""


def test_noise_goes_to_the_log_and_our_own_words_to_the_terminal(tmp_path: Path) -> None:
    log = tmp_path / "noise.log"
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(log)],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parent.parent,
    )
    assert log.read_text() == "ALSA lib: noise\n"
    assert done.stderr.splitlines() == ["ours", "the screen", "an error of ours"]
    assert done.returncode == 1
