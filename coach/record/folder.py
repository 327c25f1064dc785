"""Where the record and the cache lie: the platform's own folders, or those that are asked for."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

import platformdirs

from coach.record.errors import RecordError

APP = "keyhole"
VARIABLE = "KEYHOLE_DATA"
"""Names another data folder; the command line's ``--data`` goes before it."""


def data_folder(asked: str | Path | None = None, environ: Mapping[str, str] = os.environ) -> Path:
    """The folder of the record, made where it is missing.

    Raises RecordError where it can't be made or written to.
    """
    return _writable(named_folder(asked, environ))


def named_folder(asked: str | Path | None = None, environ: Mapping[str, str] = os.environ) -> Path:
    """The folder of the record, wherever it is; neither made nor tried."""
    named = asked or environ.get(VARIABLE)
    return Path(named).expanduser() if named else platformdirs.user_data_path(APP, False)


def cache_folder(asked: str | Path | None = None, environ: Mapping[str, str] = os.environ) -> Path:
    """Where what can be made again is kept: within the data folder where one is asked for.

    Neither made nor tried: what can't be kept there is made again.
    """
    named = asked or environ.get(VARIABLE)
    return Path(named).expanduser() / "cache" if named else platformdirs.user_cache_path(APP, False)


def _writable(folder: Path) -> Path:
    import tempfile  # slow to import, and not needed before the first screen

    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with tempfile.TemporaryFile(dir=folder):
            return folder
    except OSError as error:
        raise RecordError(
            f"The folder {folder} can't be written to ({error.strerror or error}); choose another "
            f"with --data FOLDER or {VARIABLE}."
        ) from error
