"""The record and the settings, opened as every command with a screen does."""

from __future__ import annotations

import atexit
import sys
from argparse import Namespace
from dataclasses import dataclass, replace

from coach.record.errors import RecordError
from coach.record.folder import data_folder
from coach.record.settings import Kept, load_settings, save_settings
from coach.record.store import Store


@dataclass(frozen=True)
class Opened:
    """The record, or the sentence that says why there is none."""

    store: Store | None
    settings: Kept
    notices: tuple[str, ...]


def open_record(options: Namespace) -> Opened:
    """Open the record; practice goes on without one, and says so."""
    try:
        folder = data_folder(options.data)
        settings = load_settings(folder)
        if options.counting and options.counting != settings.counting:
            settings = replace(settings, counting=options.counting)
            save_settings(folder, settings)
        store = Store(folder)
    except RecordError as error:
        return Opened(None, Kept(), (f"{error} Until then nothing is kept.",))
    atexit.register(close_record, store)
    notices, store.notices[:] = tuple(store.notices), []
    return Opened(store, settings, notices)


def close_record(store: Store) -> None:
    """Close the record when the screens are gone; what could not be saved as usual is said."""
    try:
        store.close()
    except RecordError as error:
        print(f"coach: {error}", file=sys.stderr)
    for notice in store.notices:
        print(f"coach: {notice}", file=sys.stderr)


NOTHING_KEPT = Opened(None, Kept(), ())
"""For the demo: what a simulated pianist plays is no practice."""
