"""``coach judge SCORE TAKE…``: the verdict on a take, as text or data; on many, as JSON lines."""

from __future__ import annotations

import json
from argparse import Namespace
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from coach.cli.errors import CannotDo
from coach.cli.open_score import open_piece, qpm_from, window_from
from coach.cli.take_judges import Measure, bar_words, judge_takes
from coach.cli.terminal import draw, say, waiting_line, warn
from coach.judging.judge import judge
from coach.judging.model import Judgement, Label, Stage
from coach.judging.serialize import judgement_to_plain
from coach.judging.tolerance import Strictness, Tolerance
from coach.playing.notes import Take
from coach.playing.takes import read_take
from coach.score.model import Score
from coach.score.window import excerpt
from coach.score.words import count_of

TAKE_SUFFIXES = (".mid", ".midi")


def judge_command(options: Namespace) -> int:
    """Judge a take, or many."""
    takes: list[Path] = options.takes
    if len(takes) == 1 and not takes[0].is_dir():
        return _judge_one(options, takes[0])
    return _judge_many(options, list_takes(takes))


def list_takes(named: Sequence[Path]) -> list[Path]:
    """The takes that are named, and those of the folders that are, below them too, by name."""
    found: list[Path] = []
    for path in named:
        if not path.is_dir():
            found.append(path)
            continue
        inside = sorted(p for p in path.rglob("*") if p.suffix.lower() in TAKE_SUFFIXES)
        if not inside:
            raise CannotDo(f"There is no take in {path}: takes are files named *.mid.")
        found += inside
    return found


def _judge_many(options: Namespace, takes: Sequence[Path]) -> int:
    """A line of JSON for each take, in order; a bar on the standard error says how far it is."""
    score = open_piece(
        options.score, options.move, data=options.data, part=options.part, repeats=options.repeats
    )
    window = window_from(options, score)
    measure = Measure(
        excerpt(score, window),
        Stage(options.stage),
        qpm_from(options, score, window),
        Strictness(options.strictness),
    )
    failed = 0
    with waiting_line() as tell, closing(judge_takes([*map(str, takes)], measure)) as lines:
        tell(bar_words(0, len(takes)))
        for done, line in enumerate(lines, start=1):
            draw(f"{line}\n")  # pure ASCII, and longer than a terminal's lines
            failed += "error" in json.loads(line)
            tell(bar_words(done, len(takes)))
    if failed:
        warn(f"{count_of(failed, 'take')} of {len(takes):,} could not be judged: see its error.")
    return 1 if failed else 0


def _judge_one(options: Namespace, path: Path) -> int:
    score = open_piece(
        options.score, options.move, data=options.data, part=options.part, repeats=options.repeats
    )
    take = read_take(path)
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
