"""The process in which a score is read: bound in memory and time, and mute but for its answer.

It is told ``{"path": ..., "part": ...}`` as JSON on its standard input, and answers on its standard
output with one word and a line end (``score``, ``refused`` or ``fault``), then the score as JSON
(:mod:`coach.score.serialize`) or the sentence. What the libraries print goes nowhere.
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from pathlib import Path
from typing import BinaryIO

from coach.score.formats import ScoreError
from coach.score.opening.limits import (
    MEMORY_BYTES,
    check_archive,
    file_bytes,
    is_archive,
    limit_process,
    printable_name,
    seal_process,
)
from coach.score.serialize import score_to_plain


def main() -> None:
    """Read one score and answer."""
    out = _private_output()
    request = json.load(sys.stdin.buffer)
    path = Path(request["path"])
    limit_process()
    out.write(answer(path, str(request.get("part", ""))))
    out.flush()
    os._exit(0)  # a large score takes a while to be taken apart, and the pianist waits


def _private_output() -> BinaryIO:
    """The pipe to the parent, out of reach of anything that prints."""
    pipe = os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    return pipe


def answer(path: Path, part: str = "") -> bytes:
    """What this process answers with; it can change nothing afterwards.

    The bytes are made in here, so that memory which runs out over the last copy is said too.
    """
    try:
        return _encode_answer("score", _read(path, part))
    except ScoreError as error:
        return _encode_answer("refused", str(error))
    except MemoryError:
        pass  # a sentence needs memory too: first all that the reading held is let go
    except RecursionError:
        return _encode_answer(
            "refused", f"{printable_name(path)} is nested too deeply for a score: refused."
        )
    except Exception:
        return _encode_answer("fault", traceback.format_exc(limit=-4))
    limit = MEMORY_BYTES >> 20
    return _encode_answer(
        "refused", f"{printable_name(path)} takes more than {limit} MiB of memory to read: refused."
    )


def _encode_answer(kind: str, text: str) -> bytes:
    return f"{kind}\n{text}".encode("utf-8", "backslashreplace")


def _read(path: Path, part: str) -> str:
    data = file_bytes(path)
    if is_archive(data):
        check_archive(data, printable_name(path))
    del data
    from coach.score.reading import read_score

    seal_process()
    return json.dumps(score_to_plain(read_score(path, part)), separators=(",", ":"))


if __name__ == "__main__":
    main()
