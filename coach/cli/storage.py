"""The record and the settings, opened as every command with a screen does.

The record is opened when it is first asked for: the home screen is painted before that.
"""

from __future__ import annotations

import atexit
from argparse import Namespace
from collections.abc import Callable
from dataclasses import asdict, replace
from functools import cached_property
from typing import TYPE_CHECKING

from coach.cli.terminal import waiting_line, warn
from coach.record.folder import FILE, UNTIL_THEN, RecordError, data_folder, is_older, named_folder
from coach.record.settings import StoredSettings, load_settings, save_settings

if TYPE_CHECKING:
    from pathlib import Path

    from coach.playing.click_schedule import ClickStyle
    from coach.record.lock import Lease
    from coach.record.store import Store
    from coach.screens.setup_steps import SetupFound


class Storage:
    """The record and the settings; practice goes on without them, and ``notices`` says why."""

    def __init__(self, options: Namespace, *, keeps: bool = True) -> None:
        """``keeps`` False is for the demo: what a simulated pianist plays is no practice."""
        self._options, self._keeps = options, keeps
        self._notices: list[str] = []
        self._say: Callable[[str], None] | None = None

    @property
    def data(self) -> Path | None:
        """The data folder that was asked for."""
        asked: Path | None = self._options.data
        return asked

    @cached_property
    def settings(self) -> StoredSettings:
        """What the pianist has set; what is asked for now holds, and is kept."""
        settings, said = load_settings(named_folder(self._options.data))
        self._notices += [said] if said else []
        asked = replace(
            settings,
            counting=self._options.counting or settings.counting,
            piano_keys=getattr(self._options, "keys", None) or settings.piano_keys,
            warm_up_min=getattr(self._options, "minutes", None) or settings.warm_up_min,
        )
        if asked != settings:
            self._keep(asked)
        return asked

    def keep_setup(self, found: SetupFound, port: str | None) -> str:
        """Keep what was found of the piano; answers with what goes wrong, or ""."""
        now = self.settings
        bound = {str(trigger): str(command) for trigger, command in found.bound.items()}
        self.settings = replace(
            now,
            piano_keys=found.piano_keys or now.piano_keys,
            click_offset_ms=now.click_offset_ms if found.offset_ms is None else found.offset_ms,
            port=port or now.port,
            commands=bound or now.commands,
        )
        return self._save()

    def keep_click(self, style: ClickStyle) -> str:
        """Keep how the click sounds; answers with what goes wrong, or ""."""
        self.settings = replace(self.settings, click=asdict(style))
        return self._save()

    def _save(self) -> str:
        try:
            save_settings(data_folder(self._options.data), self.settings)
        except RecordError as error:
            return str(error)
        return ""

    def keep_warm_up(self, minutes: float) -> None:
        """The pianist has said how long a warm-up may take: from now on."""
        self.settings = replace(self.settings, warm_up_min=minutes)
        self._keep(self.settings)

    def _keep(self, settings: StoredSettings) -> None:
        try:
            save_settings(data_folder(self._options.data), settings)
        except RecordError as error:
            if not any(str(error) in said for said in self._notices):  # as of the record's folder
                self._notices.append(str(error))

    @cached_property
    def store(self) -> Store | None:
        """The record, which may not be to be opened yet; None where nothing is to be kept."""
        if not self._keeps:
            return None
        from coach.record.store import Store

        try:
            store = Store(data_folder(self._options.data), say=self._say)
        except RecordError as error:
            self._notices.append(f"{error} {UNTIL_THEN}")
            store = Store(named_folder(self._options.data), opened=False)
        atexit.register(close_record, store)
        self._notices += store.notices
        store.notices.clear()
        return store

    def bring_up_to_date(self) -> None:
        """Open an older record now, while the terminal can still say how far that is."""
        if self._keeps and is_older(named_folder(self._options.data) / FILE):
            with waiting_line() as self._say:
                self.store  # noqa: B018 - opening it is what brings it up to date
            self._say = None

    @cached_property
    def lease(self) -> Lease | None:
        """The record's lease, not yet taken; None where there is no record."""
        from coach.record.lock import Lease

        return Lease(named_folder(self._options.data)) if self.store else None

    def notices(self) -> tuple[str, ...]:
        """Sentences for the pianist about record and settings, each told once; opens both."""
        self.store, self.settings  # noqa: B018 - opening them is what may have something to say
        since = self.store.notices if self.store else []  # what was found when it was first read
        said = (*self._notices, *since)
        self._notices.clear()
        since.clear()
        return said

    def close(self) -> None:
        """Let go of the record, for another one to be opened."""
        if lease := self.__dict__.get("lease"):
            lease.give_back()
        if store := self.__dict__.get("store"):
            atexit.unregister(close_record)
            close_record(store)


def close_record(store: Store) -> None:
    """Close the record when the screens are gone; what could not be saved as usual is said."""
    try:
        store.close()
    except RecordError as error:
        warn(str(error))
    for notice in store.notices:
        warn(notice)
    store.notices.clear()
