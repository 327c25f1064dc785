"""What the pianist has set, kept as a small JSON file in the data folder."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from math import isfinite
from pathlib import Path
from typing import Any

from coach.playing.click_schedule import ClickBeats, ClickSound, ClickStyle
from coach.playing.command_keys import RANGES, PianoCommand, Trigger
from coach.private_files import replace_private
from coach.record.folder import RecordError
from coach.score.counting import CountingSystem

FILE = "settings.json"
MOST_SILENT_BARS, MOST_LOUD = 16, 2.0
"""A click's style beyond these was not kept by us."""
MOST_WARM_UP_MIN = 120.0
"""No warm-up is longer."""


@dataclass(frozen=True, slots=True)
class StoredSettings:
    """The settings; these are what holds where nothing is set."""

    click_offset_ms: float = 0.0
    """How late this player's keys come against the click, player and equipment together."""
    counting: str = "traditional"
    """The counting system's name."""
    piano_keys: int = 88
    """How many keys the piano has."""
    port: str = ""
    """The piano that was set up, by its port's name; "" for none."""
    click: dict[str, Any] = field(default_factory=dict)
    """How the click sounds, as fields of ``ClickStyle``."""
    commands: dict[str, str] = field(default_factory=dict)
    """What the pianist chose for a command: ``{"pedal 67": "next"}``."""
    warm_up_min: float = 0.0
    """Minutes that there are for a warm-up; 0 as long as nobody has said."""


def bound_of(settings: StoredSettings) -> dict[Trigger, PianoCommand]:
    """What the pianist chose for which command."""
    read = ((Trigger.read(kept), command) for kept, command in settings.commands.items())
    return {trigger: PianoCommand(command) for trigger, command in read if trigger}


def click_of(settings: StoredSettings) -> ClickStyle:
    """How the click sounds."""
    return _read_click(settings.click) or ClickStyle()


def _read_click(found: dict[str, Any]) -> ClickStyle | None:
    """The click's style that is kept; None where it can't be."""
    kinds = {"accents": bool, "divides": bool, "silent_bars": int, "loudness": float}
    try:
        style = ClickStyle(
            beats=ClickBeats(found.get("beats", ClickBeats.ALL)),
            sound=ClickSound(found.get("sound", ClickSound.WOOD)),
            **{name: found[name] for name, kind in kinds.items() if type(found.get(name)) is kind},
        )
    except ValueError:
        return None
    is_sane = 0 <= style.silent_bars <= MOST_SILENT_BARS and 0 < style.loudness <= MOST_LOUD
    return style if is_sane else None


def _is_bound(row: tuple[Any, Any]) -> bool:
    kept, command = row
    known = isinstance(command, str) and command in list(PianoCommand)
    return known and isinstance(kept, str) and Trigger.read(kept) is not None


_GOOD: dict[str, Callable[[Any], bool]] = {
    "click_offset_ms": lambda found: type(found) in (int, float) and isfinite(found),
    "counting": lambda found: found in list(CountingSystem),
    "piano_keys": lambda found: found in RANGES,
    "port": lambda found: isinstance(found, str),
    "click": lambda found: isinstance(found, dict) and _read_click(found) is not None,
    "commands": lambda found: isinstance(found, dict) and all(map(_is_bound, found.items())),
    "warm_up_min": lambda found: type(found) in (int, float) and 0.0 <= found <= MOST_WARM_UP_MIN,
}
_AGAIN = {
    "click_offset_ms": "run coach calibrate again if you had calibrated",
    "counting": "say --counting again if you had chosen one",
    "piano_keys": "say --keys again if your piano has fewer than 88",
    "port": "set the piano up again if there are several",
    "click": "choose the click again (c) if you had chosen one",
    "commands": "set the piano up again if you had chosen commands",
    "warm_up_min": "say again how long your warm-ups are",
}
"""What to do where a setting is lost."""


def load_settings(folder: Path) -> tuple[StoredSettings, str]:
    """What is kept in the folder, and "" or a sentence about what is wrong with it.

    A damaged file is kept beside it under a dated name; what is good in it still holds. Entries of
    a newer Keyhole are passed over.
    """
    try:
        found = _read_entries(folder / FILE)
    except OSError as error:
        return StoredSettings(), (
            f"The settings ({folder / FILE}) can't be read ({error.strerror or error}): mend that "
            "and start Keyhole again; until then it goes by what is usual."
        )
    except ValueError:
        return StoredSettings(), _set_aside(folder, StoredSettings(), tuple(_GOOD))
    bad = tuple(name for name, good in _GOOD.items() if name in found and not good(found[name]))
    kept = StoredSettings(
        **{name: found[name] for name in _GOOD if name in found and name not in bad}
    )
    return kept, _set_aside(folder, kept, bad) if bad else ""


def save_settings(folder: Path, kept: StoredSettings) -> None:
    """Keep the settings, whole or not at all; entries of a newer Keyhole stay.

    Raises RecordError where it can't be done.
    """
    try:
        plain = {**_others(folder / FILE), **asdict(kept)}
        replace_private(folder / FILE, json.dumps(plain, indent=1) + "\n")
    except OSError as error:
        raise RecordError(
            f"The settings can't be kept in {folder} ({error.strerror or error}); "
            "choose another folder with --data FOLDER."
        ) from error


def _read_entries(path: Path) -> dict[str, Any]:
    """The file's entries; none where there is no file. Raises OSError or ValueError."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (FileNotFoundError, NotADirectoryError):  # what is wrong with the folder is said of it
        return {}
    if not isinstance(found, dict):
        raise ValueError("no entries")
    return found


def _others(path: Path) -> dict[str, Any]:
    try:
        return _read_entries(path)
    except ValueError:
        return {}


def _set_aside(folder: Path, kept: StoredSettings, lost: tuple[str, ...]) -> str:
    """Move the damaged file out of the way, keep what was good in it, and say so."""
    from coach.record.database import format_date, keep_aside

    path = folder / FILE
    what_to_do = " and ".join(_AGAIN[name] for name in lost)
    try:
        aside = keep_aside(path, format_date(time.time()))
        save_settings(folder, kept)
    except (OSError, RecordError):
        return f"The settings ({path}) are damaged: delete that file, and {what_to_do}."
    return f"The settings were damaged, and are kept as {aside}: {what_to_do}."
