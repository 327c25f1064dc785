"""A stage that the judge knows can be asked for."""

import argparse

from coach.cli.parser import _add_stage
from coach.judging.model import Stage


def test_every_stage_can_be_asked_for_on_the_command_line() -> None:
    parser = argparse.ArgumentParser()
    _add_stage(parser)
    (choices,) = [one.choices for one in parser._actions if one.dest == "stage"]
    assert choices == [stage.value for stage in Stage]
