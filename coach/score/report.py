"""Every note that was read, one a line, so that anyone can hold it against the page.

What was read from a score, as plain data for JSON: ``coach score FILE --json``.

What was read from a score, said so that a pianist can check it against the page.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from itertools import groupby
from textwrap import fill
from typing import Any

from coach.score.model import Bar, Grace, Hand, Score, ScoreNote, TempoMark
from coach.score.pitch import HIGHEST_KEY, LOWEST_KEY
from coach.score.words import beat_figure, beat_name, count_of, key_words, mixed, printable

_HEADS = (
    *("bar", "no.", "beat", "in bar", "onset", "length", "key"),
    *("name", "staff", "voice", "hand", "finger", "flags"),
)
_GRACES = {Grace.BEFORE: "grace before its note", Grace.AFTER: "grace after its note"}
_WORDS_FROM = _HEADS.index("name")
"""From this column on, entries stand at the left."""


def notes_table(score: Score) -> str:
    """The notes, a line each.

    ``bar`` is the bar's index from 0 and ``no.`` its printed number; ``in bar``, ``onset`` (from
    the piece's start) and ``length`` are exact, in quarters; ``key`` is the MIDI key number.
    """
    rows = [_HEADS, *(_note_row(score, note) for note in score.notes)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(_line(row, widths) for row in rows)


def _note_row(score: Score, note: ScoreNote) -> tuple[str, ...]:
    bar = score.bars[note.bar_index]
    return (
        str(bar.index),
        printable(bar.number, 12) or "-",
        beat_figure(score.place(note.onset_quarters).beat),
        str(note.onset_quarters - bar.onset_quarters),
        str(note.onset_quarters),
        str(note.length_quarters),
        str(note.pitch),
        note.spelling.symbol,
        str(note.staff),
        printable(note.voice, 12) or "-",
        note.hand.value,
        printable(" ".join(note.fingering), 24) or "-",
        ", ".join(flags(note)),
    )


def _line(row: tuple[str, ...], widths: list[int]) -> str:
    cells = (
        cell.ljust(width) if column >= _WORDS_FROM else cell.rjust(width)
        for column, (cell, width) in enumerate(zip(row, widths, strict=True))
    )
    return "  ".join(cells).rstrip()


def flags(note: ScoreNote) -> tuple[str, ...]:
    """What else is to be known of a note, in words."""
    tied = " + ".join(map(str, note.segments_quarters))
    octaves = f"written {_octaves(note.octave_shift)}" if note.octave_shift else ""
    return tuple(
        filter(
            None,
            (
                _GRACES[note.grace] if note.grace else "",
                f"tied {tied}" if len(note.segments_quarters) > 1 else "",
                *sorted(mark.value for mark in note.marks),
                octaves,
                "hand is a guess" if note.hand_is_guess else "",
            ),
        )
    )


def _octaves(shift: int) -> str:
    size = "an octave" if abs(shift) == 1 else f"{abs(shift)} octaves"
    return f"{size} {'higher' if shift > 0 else 'lower'}"


def report_plain(score: Score) -> dict[str, Any]:
    """The report as data, bars and all; the notes themselves are in ``notes_plain``."""
    return {
        "title": score.title,
        "composer": score.composer,
        "source": score.source,
        "bars": [_bar_plain(bar) for bar in score.bars],
        "tempos": [
            {
                "onset_quarters": str(mark.onset_quarters),
                "qpm": mark.qpm,
                "words": mark.words,
                "is_guess": mark.is_guess,
            }
            for mark in score.tempos
        ],
        "notes_by_hand": {
            hand.value: sum(1 for note in score.notes if note.hand is hand) for hand in Hand
        },
        "fingered_notes": sum(1 for note in score.notes if note.fingering),
        "guessed_hands": sum(1 for note in score.notes if note.hand_is_guess),
        "remarks": [{"kind": remark.kind, "text": remark.text} for remark in score.remarks],
    }


def _bar_plain(bar: Bar) -> dict[str, Any]:
    return {
        "bar_index": bar.index,
        "bar_number": bar.number,
        "onset_quarters": str(bar.onset_quarters),
        "length_quarters": str(bar.length_quarters),
        "lead_quarters": str(bar.lead_quarters),
        "metre": str(bar.metre),
        "key_fifths": bar.key_fifths,
        "repeat_start": bar.repeat_start,
        "repeat_end": bar.repeat_end,
        "barline": bar.barline,
        "ending": bar.ending,
        "section": bar.section,
    }


def notes_plain(score: Score) -> list[dict[str, Any]]:
    """Every note in the score's order; positions as ``"n/d"`` in quarters."""
    return [_plain(score, note) for note in score.notes]


def _plain(score: Score, note: ScoreNote) -> dict[str, Any]:
    bar = score.bars[note.bar_index]
    return {
        "id": note.id,
        "bar_index": bar.index,
        "bar_number": bar.number,
        "beat": beat_figure(score.place(note.onset_quarters).beat),
        "onset_in_bar_quarters": str(note.onset_quarters - bar.onset_quarters),
        "onset_quarters": str(note.onset_quarters),
        "length_quarters": str(note.length_quarters),
        "pitch": note.pitch,
        "spelling": note.spelling.symbol,
        "step": note.spelling.step,
        "alter": note.spelling.alter,
        "octave": note.spelling.octave,
        "staff": note.staff,
        "voice": note.voice,
        "hand": note.hand.value,
        "hand_is_guess": note.hand_is_guess,
        "fingering": list(note.fingering),
        "grace": note.grace.value if note.grace else None,
        "segments_quarters": [str(length) for length in note.segments_quarters],
        "octave_shift": note.octave_shift,
        "marks": sorted(mark.value for mark in note.marks),
        "flags": list(flags(note)),
    }


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
    free = sum(1 for note in score.notes if note.is_ornament)
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
