"""``coach judge SCORE TAKE.mid``: the verdict on a recorded take, as text or as data."""

from __future__ import annotations

import json
from argparse import Namespace

from coach.cli.open_score import open_piece, qpm_from, window_from
from coach.cli.terminal import say
from coach.judging.judge import judge
from coach.judging.model import Judgement, Label, Stage
from coach.judging.serialize import judgement_to_plain
from coach.judging.tolerance import Strictness, Tolerance
from coach.playing.notes import Take
from coach.playing.takes import read_take
from coach.score.model import Score
from coach.score.window import excerpt


def judge_take(options: Namespace) -> int:
    """Judge the take and print the verdict."""
    score = open_piece(options.score, options.move, data=options.data)
    take = read_take(options.take)
    window = window_from(options, score)
    judgement = judge(
        excerpt(score, window),
        take.notes,
        stage=Stage(options.stage),
        qpm=qpm_from(options, score, window),
        tolerance=Tolerance.of(Strictness(options.strictness)),
    )
    if options.json:
        say(json.dumps(judgement_to_plain(judgement), indent=1))
    else:
        say("\n".join(verdict_lines(score, judgement, take, every_note=options.notes)))
    return 0


def verdict_lines(
    score: Score, judgement: Judgement, take: Take, *, every_note: bool = False
) -> list[str]:
    """The verdict as text: what was judged, the sentence, the counts, and note by note."""
    window = judgement.excerpt.window
    first, last = score.bars_of(window.start_quarters, window.end_quarters)
    heading = (
        f"{score.title or 'Untitled'}: {first.words_to(last)}, "
        f"{_hands(window.hands.value)}, judged for {judgement.stage.value}"
    )
    if not judgement.is_repetition:
        return [heading, f"No repetition of it: {judgement.sentence}"]
    lines = [
        heading,
        judgement.sentence if judgement.clean else f"Not clean: {judgement.sentence}",
        _tempo_line(score, judgement),
        _count_line(judgement),
    ]
    lines += [f"  {detail}" for detail in judgement.details]
    lines += [f"  (note) {notice}" for notice in judgement.notices]
    return lines + _note_lines(score, judgement, take, every_note)


def _hands(value: str) -> str:
    return {"both": "hands together"}.get(value, value)


def _tempo_line(score: Score, judgement: Judgement) -> str:
    if judgement.qpm is None:
        return "Tempo: too little was played to tell"
    start = judgement.excerpt.window.start_quarters
    beat = float(score.bar_at(start).metre.beat_quarters)
    return f"Tempo found: {judgement.qpm / beat:.0f} beats a minute"


def _count_line(judgement: Judgement) -> str:
    score = [one.label for one in judgement.score]
    keys = [one.label for one in judgement.played]
    return (
        f"Notes: {score.count(Label.MATCHED)} matched, {score.count(Label.WRONG)} wrong, "
        f"{score.count(Label.MISSED)} missed; {keys.count(Label.EXTRA)} extra, "
        f"{keys.count(Label.REPEATED)} played again"
    )


def _note_lines(score: Score, judgement: Judgement, take: Take, every: bool) -> list[str]:
    lines = []
    for one in judgement.score:
        if one.label is Label.MATCHED and not every:
            continue
        note = judgement.excerpt.notes[one.note]
        error = "" if one.error_ms is None else f"{one.error_ms:+.0f} ms"
        struck = "" if one.label is not Label.WRONG else _name_key(take, one.played)
        lines.append(
            f"  {score.place(note.onset_quarters)!s:<18} {note.hand.value}  "
            f"{note.spelling.symbol:<5} {one.label.value} {struck}{error}".rstrip()
        )
    return lines


def _name_key(take: Take, played: int | None) -> str:
    return "" if played is None else f"(key {take.notes[played].pitch}) "
