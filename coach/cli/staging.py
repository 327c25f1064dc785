"""Setting the stage: everything that the screens are given, and running them."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from coach.cli.desks import Desks
from coach.cli.keeping import Opened
from coach.cli.library import HomeLibrary, demo_score
from coach.cli.pieces import open_piece
from coach.cli.sounding import PianoClick
from coach.playing.ports import Ports, PortsUnavailable
from coach.playing.simulated import demo_pianist
from coach.score.counting import CountingSystem
from coach.score.model import Score
from coach.screens.collaborators import Collaborators, Errand, Opener, Settings, Start

__all__ = ["Errand", "Start", "run"]


def run(options: Namespace, start: Start, opened: Opened) -> int:
    """Open the ports, show the screens until the pianist leaves, and let go of everything."""
    from coach.playing.noise import divert_noise
    from coach.screens.app import KeyholeApp

    divert_noise()
    ports, sentence = _ports()
    try:
        app = KeyholeApp(
            _collaborators(options, opened, ports, sentence),
            Settings(options.ascii, CountingSystem(options.counting or opened.settings.counting)),
            replace(start, notices=opened.notices, demo_speed=getattr(options, "speed", 1.0)),
        )
        app.run()
        return app.return_code or 0
    finally:
        if ports:
            ports.close()


def _ports() -> tuple[Ports | None, str]:
    try:
        return Ports(), ""
    except PortsUnavailable as error:
        return None, str(error)


def _collaborators(
    options: Namespace, opened: Opened, ports: Ports | None, sentence: str
) -> Collaborators:

    asked = options if options.command == "drill" else None
    minutes = getattr(options, "minutes", 5.0)
    desks = Desks(
        opened.store,
        options=asked,
        minutes=minutes,
        click_offset_ms=opened.settings.click_offset_ms,
    )
    return Collaborators(
        open_score=_opener(options),
        make_desk=desks.make,
        library=HomeLibrary(opened.store),
        ports=ports,
        ports_sentence=sentence,
        port_wanted=options.port,
        click=PianoClick(ports) if ports else None,
        demo_path=demo_score(),
        make_pianist=lambda score: demo_pianist(score, seed=getattr(options, "seed", 1)),
    )


def _opener(options: Namespace) -> Opener:
    def opener(
        path: Path,
        moves: Sequence[str],
        on_progress: Callable[[str], None],
        cancelled: Callable[[], bool],
    ) -> Score:
        return open_piece(
            path, moves, data=options.data, on_progress=on_progress, cancelled=cancelled
        )

    return opener
