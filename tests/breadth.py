"""Cases that are always tried, and the rest, which continuous integration tries besides.

Whoever changes something runs all tests, and has to have the answer soon. Some laws hold of so many
cases that they alone would take half of that time: of these every second or third case is tried
then, and all others by ``.ci/run`` (the marker ``wide``).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest


def every(step: int, cases: Iterable[Any]) -> list[Any]:
    """Cases for ``parametrize``: the first of each ``step`` is always tried, the others are wide.

    A case of several values is a tuple. A step of 1 leaves none out.
    """
    return [
        case
        if at % step == 0
        else pytest.param(*(case if isinstance(case, tuple) else (case,)), marks=pytest.mark.wide)
        for at, case in enumerate(cases)
    ]
