"""``coach score FILE``: what was read, so that it can be compared with the page."""

from __future__ import annotations

import json
from argparse import Namespace

from coach.cli.open_score import open_piece
from coach.cli.terminal import say
from coach.score.report import notes_plain, notes_table, report_plain, score_report


def show_score(options: Namespace) -> int:
    """Print the report, or the notes, as text or as data."""
    score = open_piece(
        options.score, options.move, data=options.data, part=options.part, repeats=options.repeats
    )
    if options.json:
        data: dict[str, object] = {"report": report_plain(score)}
        if options.notes:
            data["notes"] = notes_plain(score)
        say(json.dumps(data, indent=1))
    else:
        say(notes_table(score) if options.notes else score_report(score))
    return 0
