"""What the pianist has set, kept as a small JSON file in the data folder."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from coach.record.errors import RecordError

FILE = "settings.json"


@dataclass(frozen=True, slots=True)
class Kept:
    """The settings; a missing or damaged file means these defaults."""

    click_offset_ms: float = 0.0
    """How late this player's keys come against the click, player and equipment together."""
    counting: str = "traditional"
    """The counting system's name."""


def load_settings(folder: Path) -> Kept:
    """What is kept in the folder; unknown or odd entries are passed over."""
    try:
        found = json.loads((folder / FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return Kept()
    if not isinstance(found, dict):
        return Kept()
    good = {
        field.name: found[field.name]
        for field in fields(Kept)
        if type(found.get(field.name)) is type(field.default)
    }
    return Kept(**good)


def save_settings(folder: Path, kept: Kept) -> None:
    """Keep the settings, whole or not at all. Raises RecordError where it can't be done."""
    part = folder / f"{FILE}.part"
    try:
        part.write_text(json.dumps(asdict(kept), indent=1) + "\n", encoding="utf-8")
        os.replace(part, folder / FILE)
    except OSError as error:
        raise RecordError(
            f"The settings can't be kept in {folder} ({error.strerror or error}); "
            "choose another folder with --data FOLDER."
        ) from error
