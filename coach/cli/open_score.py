"""Opening a piece as every command does: the score, and the hands as the pianist gave them."""

from __future__ import annotations

import hashlib
from argparse import Namespace
from collections.abc import Callable, Sequence
from pathlib import Path

from coach.coaching.model import Goal, Order, Way
from coach.judging.model import Stage
from coach.private_files import make_private_folder
from coach.record.folder import cache_folder, data_folder, named_folder
from coach.record.pieces import piece_key
from coach.score.formats import ScoreError
from coach.score.hand_moves import add_moves, apply, check, load_moves, parse_move, save_moves
from coach.score.markings import (
    Marking,
    add_markings,
    apply_markings,
    check_marking,
    is_marking,
    load_markings,
    parse_marking,
    save_markings,
)
from coach.score.model import Score
from coach.score.opening import find_read, open_score, score_key
from coach.score.repeats import unfold
from coach.score.window import Window, choose_window

REPEATS_FOLDER = "repeats"
"""Which scores are played through with their repeats: an empty file each."""
PARTS_FOLDER = "parts"
"""Which part of a score was asked for, where it isn't the piano that is found: a file each."""


def _read_part(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:  # none was asked for, or it can't be told: the piano that is found
        return ""


def _keep_part(file: Path, part: str) -> None:
    try:
        if part:
            make_private_folder(file.parent)
            file.write_text(part + "\n", encoding="utf-8")
        else:
            file.unlink(missing_ok=True)
    except OSError as error:
        raise ScoreError(
            f"Which part you chose cannot be kept in {file} ({error.strerror}): check its folder."
        ) from None


def _plays_repeats(folder: Path, key: str) -> bool:
    return (folder / REPEATS_FOLDER / key).is_file()


def _keep_repeats(folder: Path, key: str, *, repeats: bool) -> None:
    file = folder / REPEATS_FOLDER / key
    try:
        if repeats:
            make_private_folder(file.parent)
            file.touch()
        else:
            file.unlink(missing_ok=True)
    except OSError as error:
        raise ScoreError(
            f"Whether repeats are played cannot be kept in {file} ({error.strerror}): check its "
            "folder."
        ) from None


def open_piece(
    path: Path,
    moves: Sequence[str] = (),
    *,
    data: Path | None = None,
    part: str | None = None,
    repeats: bool | None = None,
    on_progress: Callable[[str], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Score:
    """Open a score as the pianist has it: with notes given to the other hand, and with what was
    written into it. New ``moves``, lines of either kind, are kept, and so are the ``part`` that is
    asked for ("" goes back to the piano that is found) and whether ``repeats`` are played through.

    Raises ScoreError, MoveError or RecordError, one sentence each.
    """
    key = score_key(path)
    kept_part = named_folder(data) / PARTS_FOLDER / key
    wanted = _read_part(kept_part) if part is None else part
    score = open_score(
        path,
        cache_dir=cache_folder(data),
        on_progress=on_progress,
        cancelled=cancelled,
        part=wanted,
    )
    if part is not None:
        data_folder(data)
        _keep_part(kept_part, part)
    if repeats is not None:
        _keep_repeats(data_folder(data), key, repeats=repeats)
    score = _as_given(score, path, _hands_key(key, wanted), data, moves)
    return unfold(score) if _plays_repeats(named_folder(data), key) else score


def find_piece(path: Path, data: Path | None) -> Score | None:
    """The same, where the score was read before; None where reading it would take its time. Raises
    as ``open_piece``."""
    key = score_key(path)
    wanted = _read_part(named_folder(data) / PARTS_FOLDER / key)
    score = find_read(path, cache_dir=cache_folder(data), part=wanted)
    score = score and _as_given(score, path, _hands_key(key, wanted), data)
    return unfold(score) if score and _plays_repeats(named_folder(data), key) else score


def _hands_key(key: str, part: str) -> str:
    """What the hands of a score are kept by: its content, and the part that was asked for."""
    return f"{key}-{hashlib.sha256(part.encode()).hexdigest()[:8]}" if part else key


def _as_given(
    score: Score, path: Path, key: str, data: Path | None, moves: Sequence[str] = ()
) -> Score:
    """The score with what the pianist gave to it, and with these lines, which are kept."""
    kept = load_moves(named_folder(data), key)
    fresh = [parse_move(move) for move in moves if not is_marking(move)]
    for move in fresh:
        check(score, move)
    every = add_moves(kept, fresh)
    if fresh and every != kept:
        save_moves(data_folder(data), key, every, score.title or path.name)
    score = apply(score, every)
    markings = [parse_marking(line) for line in moves if is_marking(line)]
    for marking in markings:
        check_marking(score, marking)
    return apply_markings(score, keep_markings(score, path, data, markings))


def keep_markings(
    score: Score, path: Path, data: Path | None, fresh: Sequence[Marking] = ()
) -> tuple[Marking, ...]:
    """What is written into the piece, after these are added to it. Raises as ``open_piece``."""
    folder, key = named_folder(data), piece_key(score).key
    kept = load_markings(folder, key)
    every = add_markings(kept, fresh)
    if every != kept:
        save_markings(data_folder(data), key, every, score.title or path.name)
    return every


def window_from(options: Namespace, score: Score) -> Window:
    """The window that the options ask for."""
    return choose_window(score, bars=options.bars, beats=options.beats, hands=options.hand)


def qpm_from(options: Namespace, score: Score, window: Window) -> float | None:
    """The tempo asked for in quarters a minute (``--tempo`` counts the metre's beats)."""
    if options.tempo is None:
        return None
    beat = score.bar_at(window.start_quarters).metre.beat_quarters
    return float(options.tempo * float(beat))


_ORDERS = {"forward": Order.FORWARD, "from-end": Order.FROM_END, "hard-first": Order.HARD_FIRST}


def goal_from(options: Namespace, score: Score) -> Goal:
    """What ``coach drill`` is to reach."""
    window = window_from(options, score)
    return Goal(
        window,
        qpm_from(options, score, window) or score.tempo_at(window.start_quarters),
        Stage(options.stage),
        options.clean,
        Way.LEARN if options.learn else Way.REPAIR,
        _ORDERS[options.order],
        options.own_pace,
    )
