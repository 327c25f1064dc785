"""``coach judge``: the verdict as text, and many takes as lines of JSON."""

import json
import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from coach.cli import main
from coach.cli.commands.judge import verdict_lines
from coach.cli.take_judges import DIED, Measure, bar_words, judge_takes
from coach.judging.judge import judge
from coach.judging.model import Stage
from coach.judging.tolerance import Strictness
from coach.playing.notes import Take
from coach.playing.takes import write_take
from coach.score.reading import read_score
from coach.score.window import Window, excerpt
from tests.judging_help import both, play, whole


def test_a_clean_take_is_called_clean_once_and_an_unclean_one_says_what_was_wrong() -> None:
    score = both()
    notes = tuple(play(whole(score)))
    for kept, verdict in ((notes, "Clean"), (notes[:12], "Not clean: Stopped before bar 2 beat 1")):
        lines = verdict_lines(score, judge(whole(score), kept), Take(kept))
        assert lines[1] == verdict


def test_what_was_no_repetition_is_said_without_counting_notes() -> None:
    score = both()
    high = tuple(replace(note, pitch=note.pitch + 12) for note in play(whole(score)))
    heading, verdict = verdict_lines(score, judge(whole(score), high), Take(high))
    assert heading.endswith("hands together, judged for rhythm")
    words = "Both hands are an octave too high: move them down."
    assert verdict == f"No repetition of it: {words}"


SAMPLE = Path(__file__).parent.parent / "sample_scores" / "1-low-tide.musicxml"


def measure() -> Measure:
    score = read_score(SAMPLE)
    return Measure(
        excerpt(score, Window(score.bars[0].onset_quarters, score.bars[4].onset_quarters)),
        Stage.RHYTHM,
        None,
        Strictness.USUAL,
    )


@pytest.fixture(scope="module")
def pupils(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for each of three pupils, four takes in each: whole, a note short, cut off, and the
    last of the last pupil is no MIDI file."""
    folder = tmp_path_factory.mktemp("pupils")
    notes = tuple(play(measure().excerpt))
    for pupil in "abc":
        (folder / pupil).mkdir()
        for at, kept in enumerate((notes, notes[1:], notes[:3], notes)):
            write_take(Take(kept), folder / pupil / f"{at}.mid")
    (folder / "c" / "3.mid").write_bytes(b"no take at all")
    (folder / "c" / "notes.txt").write_text("for the teacher")
    return folder


def told(lines: Sequence[str]) -> list[dict[str, object]]:
    return [json.loads(line) for line in lines]


def test_many_takes_are_told_in_order_and_a_damaged_one_costs_its_own_line(
    pupils: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["judge", str(SAMPLE), str(pupils), "--bars", "1-4", "--data", str(tmp_path)]
    assert main(words) == 1
    out, err = capsys.readouterr()
    lines = told(out.splitlines())
    assert [line["take"] for line in lines] == sorted(map(str, pupils.rglob("*.mid")))
    assert [("error" in line) for line in lines] == [False] * 11 + [True]
    assert "is no MIDI file" in str(lines[11]["error"]) or "3.mid" in str(lines[11]["error"])
    assert [line["clean"] for line in lines[:4]] == [True, False, False, True]
    assert "1 take of 12 could not be judged" in err
    words[2:3] = [str(pupils / "a" / "0.mid"), str(pupils / "b")]
    assert main(words) == 0
    assert len(capsys.readouterr().out.splitlines()) == 5


def test_as_many_processes_as_one_likes_say_the_same(pupils: Path) -> None:
    paths = sorted(map(str, pupils.rglob("*.mid")))
    alone = [json.dumps(measure().judge_file(path)) for path in paths]
    for processes in (1, 3):
        assert list(judge_takes(paths, measure(), processes)) == alone


DIES = """
import json, os, sys
sys.stdin.readline()
for line in sys.stdin:
    path = json.loads(line)
    if path == "killer":
        os._exit(9)
    if path == "sleeper":
        import time
        time.sleep(60)
    print(json.dumps({"take": path}), flush=True)
"""


def test_a_take_that_a_process_dies_of_or_hangs_in_costs_its_own_line() -> None:
    paths = ["one", "killer", "two", "sleeper", "three"]
    lines = told(list(judge_takes(paths, measure(), 2, program=["-c", DIES], answer_s=2.0)))
    assert [line["take"] for line in lines] == paths
    assert [line.get("error") for line in lines] == [None, DIED, None, DIED, None]


def test_whoever_stops_listening_leaves_no_process() -> None:
    lines = judge_takes(["one", "sleeper", "two"], measure(), 2, program=["-c", DIES])
    assert json.loads(next(lines)) == {"take": "one"}
    lines.close()
    if sys.platform == "linux":
        children = Path(f"/proc/self/task/{os.getpid()}/children").read_text().split()
        assert not [pid for pid in children if DIES in Path(f"/proc/{pid}/cmdline").read_text()]


def test_an_empty_folder_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["judge", str(SAMPLE), str(tmp_path), "--data", str(tmp_path)]) == 2
    assert f"There is no take in {tmp_path}" in capsys.readouterr().err


def test_the_bar_says_how_far_it_is() -> None:
    assert bar_words(0, 10, 10) == "[----------] 0 of 10 takes"
    assert bar_words(1999, 2000, 10) == "[#########-] 1,999 of 2,000 takes"
    assert bar_words(2000, 2000, 10) == "[##########] 2,000 of 2,000 takes"
