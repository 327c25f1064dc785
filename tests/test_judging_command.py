"""``coach judge``: the verdict as text."""

from dataclasses import replace

from coach.cli.commands.judge import verdict_lines
from coach.judging.judge import judge
from coach.playing.notes import Take
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
