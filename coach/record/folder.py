"""Where the record and the cache lie: the platform's own folders, or those that are asked for."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from pathlib import Path

import platformdirs

from coach.private_files import make_private_folder, tighten
from coach.record.errors import RecordError
from coach.record.header import APPLICATION_ID, read_header

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
        make_private_folder(folder)
        with tempfile.TemporaryFile(dir=folder):
            close_to_others(folder)
            return folder
    except OSError as error:
        raise RecordError(
            f"The folder {folder} can't be written to ({error.strerror or error}); choose another "
            f"with --data FOLDER or {VARIABLE}."
        ) from error


_OURS = re.compile(
    r"(record|unsaved|settings)[^/]*\.(sqlite3|json)(-wal|-shm|-journal|\.part)?"
    r"|mistake-[^/]*\.txt|in-use\.lock|cache|hands"
)
"""The names of what Keyhole keeps in its folder."""
_COPIES = ("record-before-version-", "record-damaged-")
"""How the names of those records begin that bear no mark for certain, and are ours all the same."""


def close_to_others(folder: Path) -> None:
    """Take from others what an older Keyhole, or a lavish system, let them do.

    The files are always closed. The folder is where nothing else lies in it: one that the pianist
    shares with other things may be open for a reason, and what we keep there is closed anyway.
    """
    names = os.listdir(folder)
    ours = [name for name in names if _OURS.fullmatch(name) and _is_ours(folder, name)]
    for name in ours:
        if (folder / name).is_file():
            tighten(folder / name)
    if len(ours) == len(names):
        tighten(folder)


def _is_ours(folder: Path, name: str) -> bool:
    """Whether a file with a name of ours is not another program's database."""
    database = re.sub(r"-(wal|shm|journal)$", "", name)
    if not database.endswith(".sqlite3") or database.startswith(_COPIES):
        return True
    try:
        header = read_header(folder / database)
    except OSError:
        return False
    return header is None or header.application_id == APPLICATION_ID
