"""``coach report``: one page for the teacher, in a single file that asks nothing of elsewhere.

HTML with its style inside, no script, notation as SVG, takes as MIDI files within the page. It
prints on A4 and on Letter, and nothing in it is told by colour alone.
"""

from __future__ import annotations

import base64
import html
import re
import tempfile
from argparse import Namespace
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path
from queue import Empty, SimpleQueue

from coach import __version__
from coach.cli.commands.progress import open_progress
from coach.cli.errors import CannotDo
from coach.cli.terminal import say, waiting_line
from coach.coaching.planning import BarState, Diary, PassageFigures, SpotStory, bars_around
from coach.coaching.wording import HANDS, move_words
from coach.engraving import Box, EngravingLine, Picture, Wanted, write_mei
from coach.playing.takes import write_take
from coach.private_files import write_private
from coach.record.folder import named_folder
from coach.record.pieces import RepetitionSummary
from coach.record.progress import PieceProgress
from coach.record.store import Store
from coach.score.counting import syllables
from coach.score.markings import Fingering, load_markings
from coach.score.model import Hand, Hands, Score
from coach.score.notation import write
from coach.score.window import Transition, Window, excerpt
from coach.score.words import count_of
from coach.screens.diary_text import (
    SIGNS,
    endings_words,
    minutes_words,
    passage_words,
    story_words,
    tempo_words,
)
from coach.screens.plan_text import describe_plan, name_bars, plan_heading

MOST_SPOTS = 8
"""Weak spots of a piece that are shown with their notes: about two printed pages."""
MOST_NAMED = 24
"""Weak spots more that are named. Own choice: a paragraph that is still read."""
BARS_IN_A_ROW = 8
"""Bars of the map that stay together: two such rows go side by side on paper, one fits a phone."""
LAST_DAYS = 28
"""Days in the curves."""
LEAST_IN_A_CURVE = 3
"""Days that make a curve. Own choice: two points show no course."""
MOST_PASSAGES, MOST_CURVES, MOST_TRIED = 12, 3, 5
"""Passages that are listed, those of them whose tempo is drawn, ways in which a spot was tried.
Own choice: half a printed page together."""
PATIENCE_S = 20.0
"""How long a passage's engraving is waited for."""
_BOX = Box(760.0, 220.0, 44.0)
WIDEST_BESIDE_PX = 520.0
"""A passage's picture that is no wider has its curve beside it, else under it. Own choice: it is
made smaller by a fifth at most."""
WIDE, NARROW = 600, 330
"""Widths of a curve by itself and of one beside text, in units of which its letters are 13 high."""

_STYLE = """
:root { color: #111; background: #fff; font: 16px/1.45 Georgia, 'DejaVu Serif', serif; }
body { margin: 0 auto; max-width: 48rem; padding: 1rem; overflow-wrap: break-word; }
h1 { font-size: 1.6rem; margin-bottom: 0; } h2 { font-size: 1.3rem; border-bottom: 1px solid; }
h3 { font-size: 1rem; margin-bottom: .2rem; } p { margin: .3rem 0; }
section.piece { break-before: page; } section.piece:first-of-type { break-before: auto; }
figure { margin: .5rem 0; break-inside: avoid; } figure > svg { width: 100%; height: auto; }
svg svg path, svg svg ellipse, svg svg polygon, svg svg polyline, svg svg rect {
  stroke: currentColor; }
.spot { break-inside: avoid; display: flow-root; margin-bottom: 1rem; }
table.days td:first-child, table.days th:first-child { text-align: left; }
figure.curve { max-width: 34rem; } figure.curve text { font-size: 13px; }
.spot .curve { float: right; margin: 0 0 0 1rem; width: 38%; } .notes { display: flow-root; }
svg .placeholder { visibility: hidden; } svg .fing, svg .tempo { font-weight: bold; }
svg .dir, svg .dynam, svg .mNum { font-style: italic; } svg { font-family: inherit; }
.wide { overflow-x: auto; }
.map table {
  border-collapse: collapse; display: inline-table; font-size: .8rem; margin: 0 .5rem .3rem 0; }
.map td, .map th {
  border: 1px solid #999; min-width: 1.6rem; text-align: center; padding: 0 .2rem; }
.map td.weak { font-weight: bold; border: 3px solid #111; } .map td.settled { background: #ddd; }
table { break-inside: avoid; } table.days, table.plan { border-collapse: collapse; }
table.days td, table.days th { padding: .1rem .7rem .1rem 0; text-align: right; }
table.plan td { padding: .1rem 1rem .1rem 0; vertical-align: top; }
table.plan td:first-child { white-space: nowrap; }
figcaption { font-size: .95rem; } a { color: inherit; }
footer { margin-top: 2rem; font-size: .85rem; }
h2, h3 { break-after: avoid; } tr { break-inside: avoid; }
@page { margin: 15mm; }
@media print {
  :root { font-size: 10pt; } body { max-width: none; padding: 0; } a[download] { display: none; }
}
@media (max-width: 40rem) {
  .spot { display: flex; flex-direction: column; }
  .spot .curve { float: none; margin: .5rem 0; order: 1; width: auto; }
}
@media (max-width: 30rem) {
  :root { font-size: 14px; } table.days td, table.days th { padding-right: .4rem; }
  table.passages td:first-child { min-width: 8rem; } table.passages th { font-size: .85em; }
}
"""


def write_report(options: Namespace) -> int:
    """Write the page."""
    file: Path = options.file or Path(f"practice-report-{date.today()}.html")
    with waiting_line() as tell:
        pieces = open_progress(options.score, options.data, tell)
        tell("Engraving the passages")
        store = Store(named_folder(options.data))
        engraver = _Engraver()
        try:
            page = make_page(pieces, store, engraver, datetime.now(), options.pianist or "")
        finally:
            engraver.close()
            store.close()
    try:
        write_private(file, page)
    except OSError as error:
        raise CannotDo(
            f"{file} can't be written ({error.strerror or error}); name another: --file FILE."
        ) from error
    say(f"The report is in {file}: open it in a browser, print it, or send it to your teacher.")
    return 0


def make_page(
    pieces: Sequence[PieceProgress], store: Store, engraver: _Engraver, now: datetime, pianist: str
) -> str:
    """The whole page as HTML; ``pianist``: whose it is, "" where nobody is named."""
    title = html.escape(f"Practice report{f' of {pianist}' if pianist else ''}")
    body = "".join(_piece(one, store, engraver) for one in pieces)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}, {now.day} {now:%B %Y}</title>\n<style>{_STYLE}</style>\n"
        "</head>\n<body>\n"
        f"<h1>{title}</h1>\n<p>{now:%A}, {now.day} {now:%B %Y}</p>\n{body}"
        f"<footer><p>Made by Keyhole {__version__} from its practice record, on the pianist's own "
        "computer. What counts as clean: every note right, the timing within what the stage "
        "asks.</p></footer>\n</body>\n</html>\n"
    )


def _piece(one: PieceProgress, store: Store, engraver: _Engraver) -> str:
    title = _isolated(one.score.title or "Untitled")
    composer = f"<p>{_isolated(one.score.composer)}</p>" if one.score.composer else ""
    return (
        f'<section class="piece">\n<h2>{title}</h2>\n{composer}{_summary(one.diary)}'
        f"{_map(one)}{_plan(one)}{_settled(one.diary)}{_weak(one, store, engraver)}"
        f"{_own(one, store)}{_days(one.diary)}{_passages(one.diary)}</section>\n"
    )


def _isolated(text: str) -> str:
    """Words from outside: written from right to left or not, they leave ours as they stand."""
    return f"<bdi>{html.escape(text)}</bdi>"


def _summary(diary: Diary) -> str:
    days = diary.days
    minutes = count_of(round(sum(day.minutes for day in days)), "minute")
    played = count_of(sum(day.repetitions for day in days), "repetition")
    on = count_of(len(days), "day")
    return f"<p>{played} in {minutes} on {on}; last on {_said(days[-1].day, '%d %B')}.</p>\n"


def _map(one: PieceProgress) -> str:
    states, bars = one.diary.map_on(), one.score.bars
    parts = []
    for start in range(0, len(bars), BARS_IN_A_ROW):
        row = bars[start : start + BARS_IN_A_ROW]
        head = "".join(f"<th>{html.escape(bar.number or '0')}</th>" for bar in row)
        lines = "".join(
            f"<tr><th>{hand.value}</th>"
            + "".join(_cell(states.get((bar.index, hand))) for bar in row)
            + "</tr>"
            for hand in Hand
        )
        parts.append(f"<table><tr><th>bar</th>{head}</tr>{lines}</table>")
    counts = Counter(states.values())
    legend = ", ".join(f"{SIGNS[state]} {state.value} {counts[state]}" for state in BarState)
    return (
        f'<h3>Where it stands</h3>\n<div class="map">{"".join(parts)}</div>\n<p>{legend} '
        "(settled: clean on three days after the first)</p>\n"
    )


def _cell(state: BarState | None) -> str:
    if state is None:
        return "<td></td>"
    return f'<td class="{state.value}" title="{state.value}">{SIGNS[state]}</td>'


def _plan(one: PieceProgress) -> str:
    """The plan to a date, where one is ahead: what has no room, and each day."""
    if (plan := one.plan) is None:
        return ""
    plan_words = describe_plan(one, plan)
    said = "".join(f"<p>{html.escape(words)}</p>\n" for words in plan_words.lack)
    rows = "".join(
        f"<tr><td>{html.escape(name)}</td><td>{html.escape(words)}</td></tr>"
        for name, words in plan_words.days
    )
    return (
        f"<h3>Planned {html.escape(plan_heading(one, plan))}</h3>\n{said}"
        f'<table class="plan">{rows}</table>\n'
    )


def _days(diary: Diary) -> str:
    shown = diary.days[-LAST_DAYS:]
    rows = "".join(
        f"<tr><td>{_said(day.day, '%d&nbsp;%b')}</td>"
        f"<td>{html.escape(minutes_words(day.minutes))}</td><td>{day.repetitions}</td>"
        f"<td>{day.first_clean} of {day.first_tries}</td></tr>"
        for day in shown
    )
    table = (
        '<table class="days"><tr><th>day</th><th>minutes</th><th>repetitions</th>'
        f"<th>clean at the first try</th></tr>{rows}</table>\n"
    )
    shares = [(day.day, day.first_clean / day.first_tries) for day in shown if day.first_tries]
    curve = _curve(shares, "Share of first tries that were clean", ("all", "none"))
    found = diary.endings()
    said = f"<p>{html.escape(endings_words(found))}</p>\n" if found else ""
    return f"<h3>By day</h3>\n{table}{curve}{said}"


def _curve(
    values: Sequence[tuple[int, float]],
    words: str,
    ends: tuple[str, str],
    width: int = WIDE,
    about: str = "",
) -> str:
    """A line over the days, from 0 at the bottom to 1 at the top; none of fewer than three.

    ``about`` is of what, for those who hear the page and do not see beside what it stands.
    """
    if len(values) < LEAST_IN_A_CURVE:
        return ""
    first, last = values[0][0], values[-1][0]
    days, right = max(last - first, 1), width - 40
    at = [(60 + (right - 60) * (day - first) / days, 90 - 80 * value) for day, value in values]
    points = " ".join(f"{x:.0f},{y:.0f}" for x, y in at)
    dots = "".join(f'<circle cx="{x:.0f}" cy="{y:.0f}" r="3"/>' for x, y in at)
    labels = "".join(
        f'<text x="{x}" y="{y}" text-anchor="{anchor}">{html.escape(text)}</text>'
        for x, y, anchor, text in (
            (54, 16, "end", ends[0]),
            (54, 92, "end", ends[1]),
            (60, 108, "start", _said(first, "%d %b")),
            (right, 108, "end", _said(last, "%d %b")),
        )
    )
    count = f"(n&nbsp;=&nbsp;{len(values)}&nbsp;days)"
    return (
        f'<figure class="curve"><svg viewBox="0 0 {width} 114" role="img" '
        f'aria-label="{html.escape(words + about)}">'
        f'<path d="M60 10V90H{right + 20}" fill="none" stroke="#111"/>'
        f'<polyline points="{points}" fill="none" stroke="#111" stroke-width="2"/>{dots}{labels}'
        f"</svg><figcaption>{html.escape(words)} {count}</figcaption></figure>\n"
    )


def _passages(diary: Diary) -> str:
    """Where the minutes went, and the tempo of those passages that were clean on several days."""
    passages = diary.passages()[:MOST_PASSAGES]
    rows = "".join(
        f"<tr><td>{html.escape(passage_words(diary.score, one))}</td>"
        f"<td>{html.escape(minutes_words(one.minutes))}</td>"
        f"<td>{one.repetitions}</td><td>{one.clean}</td>"
        f"<td>{_tempi_words(diary.score, one)}</td></tr>"
        for one in passages
    )
    table = (
        '<div class="wide"><table class="days passages"><tr><th>passage</th><th>minutes</th>'
        "<th>times</th><th>clean</th><th>quickest clean, bpm</th></tr>"
        f"{rows}</table></div>\n"
    )
    return f"<h3>Where the time went</h3>\n{table}{''.join(_tempo_curves(diary, passages))}"


def _tempo_curves(diary: Diary, passages: Sequence[PassageFigures]) -> Iterator[str]:
    for one in passages[:MOST_CURVES]:
        beat = float(diary.score.bar_at(one.window.start_quarters).metre.beat_quarters)
        tempi = [(day, qpm / beat) for day, qpm in sorted(one.best_qpm.items())]
        low, high = 0.0, max((tempo for _, tempo in tempi), default=1.0)
        scaled = [(day, (tempo - low) / (high - low)) for day, tempo in tempi]
        words = f"Quickest clean repetition of {passage_words(diary.score, one)}"
        yield _curve(scaled, words, (f"{high:.0f}", "0"))


def _tempi_words(score: Score, one: PassageFigures) -> str:
    beat = float(score.bar_at(one.window.start_quarters).metre.beat_quarters)
    tempi = [qpm / beat for _, qpm in sorted(one.best_qpm.items())]
    if not tempi:
        return "none yet"
    return tempo_words(tempi)


def _settled(diary: Diary) -> str:
    """What is settled, and what holds but isn't yet, by bars."""
    states = diary.map_on()
    parts = []
    for state, words in ((BarState.SETTLED, "Settled"), (BarState.HOLDING, "Holding, not settled")):
        for hand in Hand:
            bars = [bar for bar, whose in states if whose is hand and states[bar, whose] is state]
            if bars:
                parts.append(
                    f"<p>{words}, {hand.value}: {html.escape(name_bars(diary.score, bars))}.</p>\n"
                )
    return f"<h3>What holds</h3>\n{''.join(parts) or '<p>Nothing yet.</p>'}"


def _weak(one: PieceProgress, store: Store, engraver: _Engraver) -> str:
    weak = one.diary.weak()
    if not weak:
        return "<h3>Weak, or broke when last played</h3>\n<p>Nothing.</p>\n"
    played = store.repetitions(one.piece, 2000)
    parts = [_spot(one, story, played, store, engraver) for story in weak[:MOST_SPOTS]]
    rest = f"<p>{_rest_words(one.score, weak[MOST_SPOTS:])}</p>\n" if weak[MOST_SPOTS:] else ""
    return f"<h3>Weak, or broke when last played</h3>\n{''.join(parts)}{rest}"


def _rest_words(score: Score, rest: Sequence[SpotStory]) -> str:
    """``And 2 more: LH bar 3, beat 1 → 2; RH bar 7, beat 4 → bar 8, beat 1.``"""
    named = "; ".join(move_words(score, story.move) for story in rest[:MOST_NAMED])
    return html.escape(
        f"And {len(rest):,} more: {named}{'.' if len(rest) <= MOST_NAMED else '; …'}"
    )


def _spot(
    one: PieceProgress,
    story: SpotStory,
    played: Sequence[RepetitionSummary],
    store: Store,
    engraver: _Engraver,
) -> str:
    place = move_words(one.score, story.move)
    window = bars_around(one.score, story.move)
    drawn, width_px = engraver.draw(one, window)
    takes = "".join(_takes(one, window, played, store))
    shares = [(day.day, 1 - day.failed / day.tries) for day in story.days]
    curve = _curve(shares, "Share of tries that were clean", ("all", "none"), NARROW, f", {place}")
    written = one.score.own_notes_in(window.start_quarters, window.end_quarters)
    notes = "".join(
        f"<p>Note on {html.escape(note.bars)}: {_isolated(note.words)}</p>\n" for note in written
    )
    notation = (
        f'<figure class="notes">{drawn}<figcaption><strong>{html.escape(place)}</strong>. '
        f"{html.escape(story_words(story))} {takes}</figcaption></figure>\n"
    )
    both = curve + notation if width_px <= WIDEST_BESIDE_PX else notation + curve
    tried = f"<p>Tried: {_tried(one.diary, story.move)}.</p>"
    return f'<div class="spot">\n{both}{notes}{tried}</div>\n'


def _own(one: PieceProgress, store: Store) -> str:
    """What the pianist or the teacher wrote into the piece."""
    told = [f"{html.escape(note.bars)}: {_isolated(note.words)}" for note in one.score.own_notes]
    kept = load_markings(store.folder, one.piece.key)
    told += [html.escape(str(marking)) for marking in kept if isinstance(marking, Fingering)]
    if not told:
        return ""
    rows = "".join(f"<li>{words}</li>" for words in told)
    return f"<h3>Written into it</h3>\n<ul>{rows}</ul>\n"


def _tried(diary: Diary, move: Transition) -> str:
    """Every window that the move was practised in: what the coach or the pianist made of it."""
    told = [
        f"{passage_words(diary.score, one)} ({one.clean} clean of {one.repetitions}"
        f"{f', at {_tempi_words(diary.score, one)}' if one.best_qpm else ''})"
        for one in diary.passages()
        if one.window.start_quarters <= move.from_quarters
        and move.to_quarters <= one.window.end_quarters
        and move.hands.members <= one.window.hands.members
    ]
    more = len(told) - MOST_TRIED
    rest = f"; and {more:,} more ways" if more > 0 else ""
    return html.escape("; ".join(told[:MOST_TRIED]) + rest) or "nothing else"


def _takes(
    one: PieceProgress, window: Window, played: Sequence[RepetitionSummary], store: Store
) -> Iterator[str]:
    """The newest repetition over the passage that was clean, and the newest that was not."""
    for clean, words in ((False, "the last that broke"), (True, "the last clean one")):
        for seen in played:
            over = Window(
                Fraction(seen.start_quarters), Fraction(seen.end_quarters), Hands(seen.hands)
            )
            if seen.clean is clean and over.contains(window) and (midi := _midi(store, seen.id)):
                name = f"{one.score.title or 'take'}-{datetime.fromtimestamp(seen.at_s):%Y-%m-%d}"
                link = f"data:audio/midi;base64,{midi}"
                file = html.escape(re.sub(r"[^\w-]+", "-", name))
                yield f'<a download="{file}.mid" href="{link}">{words}, as MIDI</a> '
                break


def _midi(store: Store, repetition: int) -> str:
    """A take as a MIDI file in base64; "" where no note of it can be read any longer."""
    take = store.take(repetition)
    if not take.notes:
        return ""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "take.mid"
        write_take(take, file)
        return base64.b64encode(file.read_bytes()).decode("ascii")


def _said(day: int, form: str) -> str:
    """A day in a form that begins with its number: ``2 December``."""
    return date.fromordinal(day).strftime(form).removeprefix("0")


class _Engraver:
    """Draws passages as SVG, each with names of its own; in words where nothing can engrave."""

    def __init__(self) -> None:
        self._line = EngravingLine() if find_spec("verovio") else None
        self._drawn = 0

    def draw(self, one: PieceProgress, window: Window) -> tuple[str, float]:
        """The passage as an SVG element and its width, or a sentence where it is."""
        first, last = one.score.bars_of(window.start_quarters, window.end_quarters)
        words = f"{first.words_to(last)}, {HANDS[window.hands]}"
        picture = self._engrave(one, window)
        if picture is None:
            return f"<p>({html.escape(words)})</p>", 0.0
        self._drawn += 1
        return _own_names(picture, f"p{self._drawn}-", words), picture.width_px

    def _engrave(self, one: PieceProgress, window: Window) -> Picture | None:
        if self._line is None:
            return None
        try:
            part = excerpt(one.score, window)
        except ValueError:
            return None
        wanted = Wanted(
            write_mei(write(one.score, part, syllables)), _BOX, "#000000", "#ffffff", "svg"
        )
        told: SimpleQueue[Picture | None] = SimpleQueue()
        self._line.ask(wanted, lambda _, picture: told.put(picture))
        try:
            return told.get(timeout=PATIENCE_S)
        except Empty:
            return None

    def close(self) -> None:
        """Draw no more."""
        if self._line:
            self._line.close()


_NEEDLESS = re.compile(r'\s(xmlns(:\w+)?|version|data-[\w-]+|overflow|color|font-family)="[^"]*"')
_SIZE = re.compile(r'<svg width="([\d.]+)px" height="([\d.]+)px"')
_NAME = re.compile(r'\b(id="|href="#|xlink:href="#)([^"]+)"')


def _own_names(picture: Picture, prefix: str, words: str) -> str:
    """The picture as a part of a page, no larger than it was asked for: without namespaces, and
    with names that no other picture has."""
    svg = _NEEDLESS.sub("", picture.code[picture.code.index("<svg") :])
    svg = _NAME.sub(lambda found: f'{found[1].replace("xlink:", "")}{prefix}{found[2]}"', svg)
    about = (
        f'role="img" aria-label="{html.escape(words)}" style="max-width: {picture.width_px:.0f}px"'
    )
    svg = _SIZE.sub(lambda size: f'<svg viewBox="0 0 {size[1]} {size[2]}" {about}', svg, count=1)
    return re.sub(r"<(desc|style)\b.*?</\1>", "", svg, flags=re.S)
