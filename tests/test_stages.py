"""A stage that the judge knows can be asked for, and is named on the screen."""

import argparse

from coach.cli.parser import _add_stage
from coach.judging.model import Stage
from coach.screens.wording import STAGES


def test_every_stage_can_be_asked_for_on_the_command_line() -> None:
    parser = argparse.ArgumentParser()
    _add_stage(parser)
    (choices,) = [one.choices for one in parser._actions if one.dest == "stage"]
    assert choices == [stage.value for stage in Stage]


def test_every_stage_has_its_words() -> None:
    assert list(STAGES) == list(Stage)
    assert all(words.startswith(f"{stage}: ") for stage, words in STAGES.items())
