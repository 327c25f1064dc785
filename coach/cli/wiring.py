"""Setting the stage: everything that the screens are given, and running them.

What only a drill needs is imported when a piece is opened: the home screen is there sooner.
"""

from __future__ import annotations

import gc
import time
from argparse import Namespace
from collections.abc import Callable, Sequence
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from coach.cli.parser import WARM_UP_MIN
from coach.cli.score_library import HomeLibrary, demo_score
from coach.cli.storage import Storage
from coach.cli.terminal import need_terminal, warn
from coach.playing.ports import Ports, PortsUnavailable, divert_noise
from coach.record.folder import PIANISTS, RecordError, named_folder, pianist_folder
from coach.record.pieces import PieceKey, piece_key
from coach.record.progress import PieceProgress, gather_progress
from coach.record.settings import bound_of, click_of
from coach.score.counting import CountingSystem
from coach.score.model import Score
from coach.screens.interfaces import (
    DEMO_SPEED,
    Collaborators,
    DrillSession,
    Errand,
    OpenScore,
    PianistLike,
    Settings,
    Start,
)

if TYPE_CHECKING:
    from coach.cli.judges import Judges
    from coach.cli.passages import PassageFollower
    from coach.cli.practice_sheet import OpenSheet, SheetTask
    from coach.cli.sessions import SessionMaker
    from coach.coaching.model import Goal
    from coach.playing.click_schedule import Timed
    from coach.playing.sounding import SoundingLine
    from coach.screens.app import KeyholeApp
    from coach.screens.widgets import Engraver


__all__ = ["Errand", "Start", "run"]


def run(options: Namespace, start: Start, storage: Storage) -> int:
    """Show the screens until the pianist leaves, and to whoever plays after that."""
    need_terminal()
    gc.disable()  # importing the screens makes no garbage; settle_memory turns it on again
    divert_noise()
    while True:
        app = _run_for(options, start, storage)
        if app.next_pianist is None:
            return app.return_code or 0
        storage.close()
        options = options_of(options, app.next_pianist)
        start, storage = Start(), Storage(options)
        storage.bring_up_to_date()


def options_of(options: Namespace, pianist: str) -> Namespace:
    """The options for another pianist's evening, which begins at home."""
    folder = Pianists(options.shared_data).folder_of(pianist)
    changed = {"command": None, "pianist": pianist, "data": folder, "sheet": None, "keys": None}
    return Namespace(**{**vars(options), **changed})


def _run_for(options: Namespace, start: Start, storage: Storage) -> KeyholeApp:
    """Open the ports, show the screens to one pianist, and let go of everything."""
    from coach.cli.judges import Judges
    from coach.screens.app import KeyholeApp

    ports, sentence = _ports()
    judges = Judges()
    counting = CountingSystem(options.counting or storage.settings.counting)
    engraver = _engraver(options)
    given = replace(
        collaborators(options, storage, ports, sentence, judges, engraver),
        pianists=Pianists(options.shared_data),
    )
    try:
        app = KeyholeApp(
            given,
            Settings(
                options.ascii,
                counting,
                piano_keys=storage.settings.piano_keys,
                click=click_of(storage.settings),
                bound=bound_of(storage.settings),
                pianist=options.pianist or "",
            ),
            replace(start, demo_speed=getattr(options, "speed", None) or DEMO_SPEED),
        )
        app.run()
        for sentence in app.unsaid:
            warn(sentence)
        if app.mistake is not None:
            raise app.mistake
        return app
    finally:
        judges.close()
        if given.click:
            given.click.close()
        if engraver:
            engraver.line.close()
        if ports:
            ports.close()


def _ports() -> tuple[Ports | None, str]:
    try:
        return Ports(), ""
    except PortsUnavailable as error:
        return None, str(error)


_PICTURES = ("verovio", "resvg_py", "textual_image")
"""What the extra ``pictures`` brings."""


def _engraver(options: Namespace) -> Engraver | None:
    """Who engraves the staff, where the terminal shows pictures and there is what makes them."""
    from coach.engraving import EngravingLine
    from coach.screens.terminal import ask_terminal
    from coach.screens.widgets import Engraver

    if options.ascii or options.cells or not all(map(find_spec, _PICTURES)):
        return None
    graphics = ask_terminal()
    return Engraver(EngravingLine(), graphics) if graphics else None


def collaborators(
    options: Namespace,
    storage: Storage,
    ports: Ports | None,
    sentence: str = "",
    judges: Judges | None = None,
    engraver: Engraver | None = None,
) -> Collaborators:
    """Everything that the screens are given; ``sentence`` says why there are no ports.

    Without ``judges`` every take is judged on the event loop; without ``engraver`` the staff is
    drawn in cells.
    """
    return Collaborators(
        open_score=_opener(options),
        make_session=session_maker(options, storage),
        library=HomeLibrary(storage),
        ports=ports,
        ports_sentence=sentence,
        port_wanted=options.port,
        port_before=storage.settings.port or None,
        keep_setup=storage.keep_setup,
        keep_click=storage.keep_click,
        click=PianoSound(ports) if ports else None,
        judges=judges,
        demo_path=demo_score(),
        make_pianist=pianist_maker(options),
        notices=storage.notices,
        engraver=engraver,
        diaries=Diaries(storage, options.data),
        warm_up_min=lambda: storage.settings.warm_up_min,
        keep_warm_up_min=storage.keep_warm_up,
    )


def session_maker(
    options: Namespace, storage: Storage
) -> Callable[[Score, Path, Errand, float], DrillSession]:
    """What opens a session for a score, an errand and the time on the clock (s)."""
    made: list[SessionMaker] = []
    followers: list[PassageFollower] = []

    def make(score: Score, path: Path, errand: Errand, now_s: float) -> DrillSession:
        from coach.cli.open_score import open_piece
        from coach.cli.sessions import SessionMaker

        if not made:
            made.append(
                SessionMaker(
                    storage.store,
                    storage.lease,
                    options=options if options.command == "drill" else None,
                    minutes=lambda: storage.settings.warm_up_min or WARM_UP_MIN,
                    click_offset_ms=lambda: storage.settings.click_offset_ms,
                    judges_elsewhere=True,
                    open_score=lambda path: open_piece(path, data=options.data),
                )
            )
        opened: OpenSheet | None = getattr(options, "sheet", None)
        if opened and errand in (Errand.DRILL, Errand.GO_ON) and path == opened.path:
            if not followers:
                followers.append(_follow(opened, options.sheet_tasks, made[0]))
            return followers[0].begin(score, now_s)
        return made[0].make(score, path, errand, now_s)

    return make


def _follow(opened: OpenSheet, tasks: Sequence[SheetTask], maker: SessionMaker) -> PassageFollower:
    from coach.cli.practice_sheet import follow_sheet

    def begin(score: Score, path: Path, at_s: float, goal: Goal) -> DrillSession:
        return maker.make(score, path, Errand.DRILL, at_s, goal)

    return follow_sheet(opened, tasks, begin)


def pianist_maker(options: Namespace) -> Callable[[Score], PianistLike]:
    """What makes the demo's pianist."""

    def make(score: Score) -> PianistLike:
        from coach.playing.simulated import demo_pianist

        return demo_pianist(score, seed=getattr(options, "seed", 1))

    return make


def _opener(options: Namespace) -> OpenScore:
    def open_score(
        path: Path,
        moves: Sequence[str],
        on_progress: Callable[[str], None],
        cancelled: Callable[[], bool],
    ) -> Score:
        from coach.cli.open_score import open_piece

        score = open_piece(
            path, moves, data=options.data, on_progress=on_progress, cancelled=cancelled
        )
        opened: OpenSheet | None = getattr(options, "sheet", None)
        return opened.write_fingerings(score) if opened and path == opened.path else score

    return open_score


class Diaries:
    """Reads them from the record."""

    def __init__(self, storage: Storage, data: Path | None) -> None:
        self._storage, self._data = storage, data

    def pieces(self) -> Sequence[PieceKey]:
        """Every piece of which something was played, the last played first."""
        try:
            seen = self._storage.store.pieces() if self._storage.store else ()
        except RecordError:
            return ()
        return [one.piece for one in seen if one.repetitions]

    def read(self, piece: PieceKey, score: Score | None = None) -> PieceProgress | str:
        """One piece's diary, or why there is none."""
        from coach.cli.open_score import open_piece
        from coach.score.formats import ScoreError
        from coach.score.hand_moves import MoveError

        store = self._storage.store
        if store is None:
            return "Nothing is kept here."
        try:
            if score is None:
                if not Path(piece.path).is_file():
                    return f"Its score is gone from {piece.path or 'where it was'}: open it anew."
                score = open_piece(Path(piece.path), data=self._data)
            if piece_key(score).key != piece.key:
                return f"{piece.path} holds other notes now: its diary goes on with those."
            return gather_progress(store, piece, score)
        except (RecordError, ScoreError, MoveError, OSError) as error:
            return str(error)


class Pianists:
    """Everyone with a folder within the data folder that all share."""

    def __init__(self, shared: Path | None) -> None:
        """``shared``: the data folder that was asked for, whoever plays."""
        self._shared = shared

    def names(self) -> Sequence[str]:
        """By the alphabet."""
        try:
            folders = [one.name for one in (named_folder(self._shared) / PIANISTS).iterdir()]
        except OSError:  # nobody was named yet, or it may not be looked into
            return ()
        return sorted(name for name in folders if not self.why_not(name))

    def why_not(self, name: str) -> str:
        """Why a name can't be kept; "" where it can."""
        try:
            pianist_folder(name, self._shared)
        except RecordError as error:
            return str(error)
        return ""

    def folder_of(self, name: str) -> Path | None:
        """The data folder to ask for where this one plays; "" has no name."""
        return pianist_folder(name, self._shared) if name else self._shared


class PianoSound:
    """Sounds at whatever piano is plugged in when it is asked to; silent where none is."""

    def __init__(self, ports: Ports, clock: Callable[[], float] = time.perf_counter) -> None:
        self._ports, self._clock = ports, clock
        self._line: SoundingLine | None = None
        self._port: str | None = None

    def prepare(self) -> None:
        """Begin the process, and find out whether what we send comes back to us."""
        port = self._name_out()
        if port is not None:
            self._ports.own.expect_answer(self._clock())
            self._send(port, ())

    def play(self, messages: Sequence[Timed], from_s: float | None = None) -> bool:
        """Sound these at their times, in place of what sounds; whether there is a way out.

        With ``from_s`` in place of what was to be sent from then on: what sounds goes on.
        """
        port = self._name_out()
        return port is not None and self._send(port, messages, from_s)

    def stop(self) -> None:
        """Silence."""
        if self._port is not None:
            self._send(self._port, ())

    def close(self) -> None:
        """Silence, and end the process that sounds."""
        if self._line:
            self._line.close()

    def _name_out(self) -> str | None:
        """The piano that is heard, where it takes anything; else the speaker, where it can be.

        Beside JACK there is none: the speaker would be JACK's, too, and end with it.
        """
        from coach.playing.sounding import SPEAKER, can_speak

        if name := self._ports.name_out():
            return name
        return SPEAKER if self._ports.api != "jack" and can_speak() else None

    def _send(self, port: str, messages: Sequence[Timed], from_s: float | None = None) -> bool:
        from coach.playing.sounding import SoundingLine

        self._port, self._line = port, self._line or SoundingLine(self._ports.api)
        self._ports.own.send(messages, self._clock(), from_s)
        return self._line.play(port, messages, from_s)
