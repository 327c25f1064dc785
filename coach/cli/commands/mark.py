"""``coach mark``: own fingerings and notes on passages, written into a piece."""

from __future__ import annotations

from argparse import Namespace

from coach.cli.errors import CannotDo
from coach.cli.open_score import keep_markings, open_piece
from coach.cli.terminal import say, waiting_line
from coach.record.folder import data_folder, named_folder
from coach.record.pieces import piece_key
from coach.score.hand_moves import MoveError
from coach.score.markings import check_marking, load_markings, parse_marking, save_markings


def mark_piece(options: Namespace) -> int:
    """Write into the piece, take out of it, or list what is written in it."""
    with waiting_line() as tell:
        score = open_piece(options.score, data=options.data, on_progress=tell)
    fresh = [parse_marking(line) for line in options.lines]
    for marking in fresh:
        check_marking(score, marking)
    every = keep_markings(score, options.score, options.data, fresh)
    if options.remove is not None:
        if not 1 <= options.remove <= len(every):
            raise CannotDo(f"There is no marking {options.remove}: coach mark SCORE lists them.")
        every = (*every[: options.remove - 1], *every[options.remove :])
        folder, key = data_folder(options.data), piece_key(score).key
        save_markings(folder, key, every, score.title)
    every = load_markings(named_folder(options.data), piece_key(score).key)
    lines = []
    for number, marking in enumerate(every, start=1):
        try:
            check_marking(score, marking)
        except MoveError as error:
            lines.append(f"{number}. {marking} (not in this score: {error})")
        else:
            lines.append(f"{number}. {marking}")
    say("\n".join(lines) or "Nothing of your own is written in this piece.")
    return 0
