"""The engraving process: windows as pictures, made beside the screen and never in it.

Engraving takes some 50 ms and drawing some 100 (measured), in which the screen would stand still.
Run as ``python -m coach.engraving.process``. A line of JSON on standard input asks for a picture,
and a line of JSON on standard output answers it; it ends when its input does. A window that can't
be engraved is answered with ``{"failed": WHY}``, and a process that dies takes nothing with it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any, TextIO

from coach.engraving.engraver import Box, CannotEngrave, engrave
from coach.engraving.picture import draw, terminal_code


def answer(order: Mapping[str, Any]) -> dict[str, Any]:
    """One order's answer."""
    try:
        engraved = engrave(order["mei"], Box(**order["box"]))
        code = engraved.svg
        if order["protocol"] != "svg":
            png = draw(engraved, ink=order["ink"], ground=order["ground"])
            code = terminal_code(png, order["protocol"], order["ground"])
    except (CannotEngrave, ValueError, OSError) as error:
        return {"failed": str(error)}
    told = asdict(engraved)
    del told["svg"]
    return {**told, "code": code}


def run(orders: Iterable[str], out: TextIO) -> None:
    """Answer until the orders end."""
    for line in orders:
        out.write(json.dumps(answer(json.loads(line))) + "\n")
        out.flush()


if __name__ == "__main__":
    run(sys.stdin, sys.stdout)
