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
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path
from queue import Empty, SimpleQueue

from coach import __version__
from coach.cli.errors import CannotDo
from coach.cli.progress import SIGNS, PieceProgress, open_progress
from coach.cli.terminal import say, waiting_line
from coach.coaching.planning import BarState, DayFigures, WarmUpItem
from coach.coaching.wording import HANDS, move_words
from coach.engraving import Box, EngravingLine, Picture, Wanted, write_mei
from coach.playing.takes import write_take
from coach.private_files import write_private
from coach.record.folder import named_folder
from coach.record.pieces import RepetitionSummary
from coach.record.store import Store
from coach.score.counting import syllables
from coach.score.model import Hand, Hands
from coach.score.notation import write
from coach.score.window import Window, excerpt
from coach.score.words import count_of

MOST_SPOTS = 8
"""Weak spots of a piece that are shown with their notes: about two printed pages."""
LAST_DAYS = 28
"""Days in the curves."""
PATIENCE_S = 20.0
"""How long a passage's engraving is waited for."""
_BOX = Box(760.0, 260.0, 60.0)

_STYLE = """
:root { color: #111; background: #fff; font: 16px/1.45 Georgia, 'DejaVu Serif', serif; }
body { margin: 0 auto; max-width: 48rem; padding: 1rem; }
h1 { font-size: 1.6rem; margin-bottom: 0; } h2 { font-size: 1.3rem; border-bottom: 1px solid; }
h3 { font-size: 1rem; margin-bottom: .2rem; } p { margin: .3rem 0; }
section.piece { break-before: page; } section.piece:first-of-type { break-before: auto; }
figure { margin: .5rem 0; break-inside: avoid; } figure > svg { width: 100%; height: auto; }
svg svg path, svg svg ellipse, svg svg polygon, svg svg polyline, svg svg rect {
  stroke: currentColor; }
svg .placeholder { visibility: hidden; } svg .fing, svg .tempo { font-weight: bold; }
svg .dir, svg .dynam, svg .mNum { font-style: italic; } svg { font-family: inherit; }
.map { overflow-x: auto; } .map table { border-collapse: collapse; font-size: .8rem; }
.map td, .map th { border: 1px solid #999; min-width: 1.3rem; text-align: center; padding: 0; }
.map td.weak { font-weight: bold; border: 3px solid #111; } .map td.settled { background: #ddd; }
table.days { border-collapse: collapse; } table.days td, table.days th {
  padding: .1rem .7rem .1rem 0; text-align: right; }
a { color: inherit; } footer { margin-top: 2rem; font-size: .85rem; }
@page { margin: 15mm; }
@media print { body { max-width: none; padding: 0; } }
@media (max-width: 30rem) { :root { font-size: 14px; } table.days td { padding-right: .4rem; } }
"""


def write_report(options: Namespace) -> int:
    """Write the page."""
    file: Path = options.file or Path(f"practice-report-{date.today()}.html")
    with waiting_line() as tell:
        pieces = open_progress(options.score, options.data, tell)
        tell("Engraving the passages")
        store = Store(named_folder(options.data))
        engraver = _Passages()
        try:
            page = make_page(pieces, store, engraver, datetime.now())
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
    pieces: Sequence[PieceProgress], store: Store, engraver: _Passages, now: datetime
) -> str:
    """The whole page as HTML."""
    body = "".join(_piece(one, store, engraver) for one in pieces)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Practice report, {now:%d %B %Y}</title>\n<style>{_STYLE}</style>\n"
        "</head>\n<body>\n"
        f"<h1>Practice report</h1>\n<p>{now:%A, %d %B %Y}</p>\n{body}"
        f"<footer><p>Made by Keyhole {__version__} from its practice record, on the pianist's own "
        "computer. What counts as clean: every note right, the timing within what the stage "
        "asks.</p></footer>\n</body>\n</html>\n"
    )


def _piece(one: PieceProgress, store: Store, engraver: _Passages) -> str:
    title = html.escape(one.score.title or "Untitled")
    composer = f"<p>{html.escape(one.score.composer)}</p>" if one.score.composer else ""
    return (
        f'<section class="piece">\n<h2>{title}</h2>\n{composer}{_summary(one)}'
        f"{_map(one)}{_days(one.days)}{_weak(one, store, engraver)}</section>\n"
    )


def _summary(one: PieceProgress) -> str:
    minutes = sum(day.minutes for day in one.days)
    return (
        f"<p>{count_of(len(one.played), 'repetition')} in {minutes:.0f} minutes on "
        f"{count_of(len(one.days), 'day')}; last on {_said(one.days[-1].day, '%d %B')}.</p>\n"
        if one.days
        else ""
    )


def _map(one: PieceProgress) -> str:
    states, bars = one.map_until(), one.score.bars
    parts = []
    for start in range(0, len(bars), 16):
        row = bars[start : start + 16]
        head = "".join(f"<th>{html.escape(bar.number or '0')}</th>" for bar in row)
        lines = "".join(
            f"<tr><th>{hand.value}</th>"
            + "".join(_cell(states.get((bar.index, hand))) for bar in row)
            + "</tr>"
            for hand in Hand
        )
        parts.append(f"<table><tr><th>bar</th>{head}</tr>{lines}</table>")
    legend = ", ".join(f"{SIGNS[state]} {state.value}" for state in BarState)
    return (
        f'<h3>Where it stands</h3>\n<div class="map">{"".join(parts)}</div>\n<p>{legend} '
        "(settled: clean on three days after the first)</p>\n"
    )


def _cell(state: BarState | None) -> str:
    if state is None:
        return "<td></td>"
    return f'<td class="{state.value}" title="{state.value}">{SIGNS[state]}</td>'


def _days(days: Sequence[DayFigures]) -> str:
    shown = days[-LAST_DAYS:]
    rows = "".join(
        f"<tr><td>{_said(day.day, '%d %b')}</td><td>{day.minutes:.0f}</td>"
        f"<td>{day.repetitions}</td>"
        f"<td>{day.first_clean} of {day.first_tries}</td></tr>"
        for day in shown
    )
    table = (
        '<table class="days"><tr><th>day</th><th>minutes</th><th>repetitions</th>'
        f"<th>clean at the first try</th></tr>{rows}</table>\n"
    )
    shares = [day.first_clean / day.first_tries for day in shown if day.first_tries]
    curve = _curve(shares, "Share of first tries that were clean") if len(shares) > 2 else ""
    return f"<h3>By day</h3>\n{table}{curve}"


def _curve(values: Sequence[float], words: str) -> str:
    """A line from 0 at the bottom to 1 at the top."""
    step = 560 / max(len(values) - 1, 1)
    points = " ".join(
        f"{20 + at * step:.0f},{90 - 80 * value:.0f}" for at, value in enumerate(values)
    )
    return (
        f'<figure><svg viewBox="0 0 600 100" role="img" aria-label="{words}">'
        '<path d="M20 10V90H580" fill="none" stroke="#111"/>'
        f'<polyline points="{points}" fill="none" stroke="#111" stroke-width="2"/></svg>'
        f"<figcaption>{words}, day by day (n = {len(values)} days)</figcaption></figure>\n"
    )


def _weak(one: PieceProgress, store: Store, engraver: _Passages) -> str:
    if not one.weak:
        return "<h3>Weak when last played</h3>\n<p>Nothing.</p>\n"
    played = store.repetitions(one.piece, 2000)
    parts = [_spot(one, item, played, store, engraver) for item in one.weak[:MOST_SPOTS]]
    more = len(one.weak) - MOST_SPOTS
    rest = f"<p>And {more:,} more.</p>\n" if more > 0 else ""
    return f"<h3>Weak when last played</h3>\n{''.join(parts)}{rest}"


def _spot(
    one: PieceProgress,
    item: WarmUpItem,
    played: Sequence[RepetitionSummary],
    store: Store,
    engraver: _Passages,
) -> str:
    place = html.escape(move_words(one.score, item.spot.transition))
    window = item.around
    drawn = engraver.draw(one, window)
    takes = "".join(_takes(one, window, played, store))
    return (
        f"<figure>{drawn}<figcaption><strong>{place}</strong>. {html.escape(item.reason)} {takes}"
        "</figcaption></figure>\n"
    )


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
    return date.fromordinal(day).strftime(form)


class _Passages:
    """Draws passages as SVG, each with names of its own; in words where nothing can engrave."""

    def __init__(self) -> None:
        self._line = EngravingLine() if find_spec("verovio") else None
        self._drawn = 0

    def draw(self, one: PieceProgress, window: Window) -> str:
        """The passage as an SVG element, or a sentence where it is."""
        first, last = one.score.bars_of(window.start_quarters, window.end_quarters)
        words = f"{first.words_to(last)}, {HANDS[window.hands]}"
        svg = self._engrave(one, window)
        if svg is None:
            return f"<p>({html.escape(words)})</p>"
        self._drawn += 1
        return _own_names(svg, f"p{self._drawn}-", words)

    def _engrave(self, one: PieceProgress, window: Window) -> str | None:
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
            picture = told.get(timeout=PATIENCE_S)
        except Empty:
            return None
        return picture.code if picture else None

    def close(self) -> None:
        """Draw no more."""
        if self._line:
            self._line.close()


_NEEDLESS = re.compile(r'\s(xmlns(:\w+)?|version|data-[\w-]+|overflow|color|font-family)="[^"]*"')
_NAME = re.compile(r'\b(id="|href="#|xlink:href="#)([^"]+)"')


def _own_names(svg: str, prefix: str, words: str) -> str:
    """The picture as a part of a page: no namespaces, and names that no other picture has."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(
        r'\s(xmlns(:\w+)?|version|data-[\w-]+|overflow|color|font-family)="[^"]*"', "", svg
    )
    svg = _NAME.sub(lambda found: f'{found[1].replace("xlink:", "")}{prefix}{found[2]}"', svg)
    size = re.search(r'<svg width="([\d.]+)px" height="([\d.]+)px"', svg)
    box = f'viewBox="0 0 {size[1]} {size[2]}"' if size else ""
    label = f'role="img" aria-label="{html.escape(words)}"'
    svg = re.sub(r'<svg width="[\d.]+px" height="[\d.]+px"', f"<svg {box} {label}", svg, count=1)
    return re.sub(r"<(desc|style)\b.*?</\1>", "", svg, flags=re.S)
