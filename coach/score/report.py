"""What was read from a score, said so that a pianist can check it against the page."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from itertools import groupby
from textwrap import fill

from coach.score.model import Bar, Hand, Score, ScoreNote
from coach.score.notelist import notes_table
from coach.score.pitch import HIGHEST_KEY, LOWEST_KEY
from coach.score.printed import TempoMark
from coach.score.reportdata import notes_plain, report_plain
from coach.score.words import beat_name, count_of, key_words, mixed, printable

__all__ = ["notes_plain", "notes_table", "report_plain", "score_report"]

_WIDTH = 96
_MOST = 12
"""How many changes or places are named in one line."""
_REMARKS = (
    ("left out", "Left out"),
    ("repaired", "Repaired"),
    ("guess", "A guess"),
    ("note", "To know"),
)


def score_report(score: Score) -> str:
    """Title, bars, metre, key, tempo, notes, hands, fingering, and every remark of the reader."""
    rows = [
        ("Title", _title(score)),
        ("File", printable(score.source)),
        ("Bars", _bars(score)),
        ("Other length", _odd_bars(score)),
        ("Repeats", _repeats(score)),
        ("Metre", _changes(score.bars, lambda bar: str(bar.metre))),
        ("Key", _changes(score.bars, lambda bar: key_words(bar.key_fifths))),
        ("Tempo", _tempos(score)),
        ("Notes", _notes(score)),
        *((hand.value, _hand(score, hand)) for hand in Hand),
        ("Hands", _guesses(score)),
        ("Fingering", _fingering(score)),
        *_remarks(score),
    ]
    shown = [(head, text) for head, text in rows if text]
    width = max(len(head) for head, _ in shown)
    return "\n".join(_row(f"{head:<{width}}  ", text) for head, text in shown)


def _row(head: str, text: str) -> str:
    return fill(text, _WIDTH, initial_indent=head, subsequent_indent=" " * len(head))


def _title(score: Score) -> str:
    title = score.title or "no title"
    return printable(f"{title}, by {score.composer}" if score.composer else title)


def _bars(score: Score) -> str:
    if not score.bars:
        return "none"
    first, last = score.bars[0], score.bars[-1]
    out = f"{len(score.bars):,}, numbered {_number(first)} to {_number(last)}"
    if first.is_pickup:
        beats = first.length_quarters / first.metre.beat_quarters
        out += f"; the first is a pickup of {_beats(beats)}"
    return out


def _number(bar: Bar) -> str:
    return printable(bar.number, 12) or "(no number)"


def _beats(beats: Fraction) -> str:
    return f"{mixed(beats)} beat{'' if beats <= 1 else 's'}"


def _odd_bars(score: Score) -> str:
    """Bars that are longer or shorter than their metre, but for pickups."""
    odd = [
        f"bar {_number(bar)} ({_beats(bar.length_quarters / bar.metre.beat_quarters)})"
        for bar in score.bars
        if not bar.is_pickup and bar.length_quarters != bar.metre.bar_quarters
    ]
    return _some(odd)


def _repeats(score: Score) -> str:
    ends = sum(bar.repeat_end for bar in score.bars)
    endings = [printable(bar.ending, 12) for bar in score.bars if bar.ending]
    if not ends and not endings:
        return ""
    out = f"{count_of(ends, 'repeat sign')}, shown and drilled as written"
    return f"{out}; endings {', '.join(dict.fromkeys(endings))}" if endings else out


def _changes(bars: Iterable[Bar], what: Callable[[Bar], str]) -> str:
    """``4/4; 3/4 from bar 12``."""
    runs = [(value, next(iter(group))) for value, group in groupby(bars, what)]
    words = [v if i == 0 else f"{v} from bar {_number(bar)}" for i, (v, bar) in enumerate(runs)]
    return _some(words, "; ")


def _some(words: list[str], joint: str = ", ") -> str:
    more = f"{joint}and {len(words) - _MOST} more" if len(words) > _MOST else ""
    return joint.join(words[:_MOST]) + more


def _tempos(score: Score) -> str:
    if not score.tempos:
        return "none printed"
    words = []
    for index, mark in enumerate(score.tempos):
        bar = score.bar_at(mark.onset_quarters) if score.bars else None
        place = f" from {_place(score, mark, bar)}" if bar and index else ""
        words.append(_tempo(mark, bar) + place)
    return _some(words, "; ")


def _place(score: Score, mark: TempoMark, bar: Bar) -> str:
    if mark.onset_quarters == bar.onset_quarters:
        return f"bar {_number(bar)}"
    return printable(str(score.place(mark.onset_quarters)))


def _tempo(mark: TempoMark, bar: Bar | None) -> str:
    beat = bar.metre.beat_quarters if bar else 1
    name = beat_name(bar.metre.beat_quarters) if bar else "quarter"
    out = f"{name} = {mark.qpm / float(beat):.4g}"
    if mark.words:
        out = f"{printable(mark.words, 40)}, {out}"
    return f"{out} (a guess)" if mark.is_guess else out


def _of(score: Score, hand: Hand) -> list[ScoreNote]:
    return [note for note in score.notes if note.hand is hand]


def _notes(score: Score) -> str:
    graces = sum(1 for note in score.notes if note.grace)
    free = sum(1 for note in score.notes if note.is_free)
    tied = sum(1 for note in score.notes if len(note.segments_quarters) > 1)
    words = [
        f"{len(score.notes):,}",
        count_of(graces, "grace note") if graces else "",
        count_of(free, "freely played ornament") if free else "",
        f"{tied:,} held over by ties" if tied else "",
    ]
    return "; ".join(filter(None, words))


def _hand(score: Score, hand: Hand) -> str:
    notes = _of(score, hand)
    if not notes:
        return "nothing to play"
    low, *_, high = sorted([*notes, *notes], key=lambda note: note.pitch)
    staves = sorted({note.staff for note in notes})
    on = f"staff {staves[0]}" if len(staves) == 1 else f"staves {', '.join(map(str, staves))}"
    out = (
        f"{count_of(len(notes), 'note')}, {low.spelling.symbol} to {high.spelling.symbol}, on {on}"
    )
    off = sum(1 for note in notes if not LOWEST_KEY <= note.pitch <= HIGHEST_KEY)
    return f"{out}; {off} beyond the 88 keys" if off else out


def _guesses(score: Score) -> str:
    guessed = sum(1 for note in score.notes if note.hand_is_guess)
    if not guessed:
        return ""
    if guessed == len(score.notes):
        return "all are a guess: see which is which, and move what is wrong"
    return f"{count_of(guessed, 'note')} by guess: see which (--notes), and move what is wrong"


def _fingering(score: Score) -> str:
    fingered = sum(1 for note in score.notes if note.fingering)
    return f"printed at {count_of(fingered, 'note')}" if fingered else "none printed"


def _remarks(score: Score) -> list[tuple[str, str]]:
    known = {kind for kind, _ in _REMARKS}
    kinds = (*_REMARKS, *((r.kind, r.kind) for r in score.remarks if r.kind not in known))
    return [
        (head, printable(remark.text))
        for kind, head in dict(kinds).items()
        for remark in score.remarks
        if remark.kind == kind
    ]
