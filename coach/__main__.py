"""``python -m coach``: the same as the ``coach`` command."""

from __future__ import annotations

import os
import sys


def main() -> int:
    """Run the command line."""
    _leave_out_the_folder_at_hand()
    from coach.cli import main as run

    return run()


def _leave_out_the_folder_at_hand() -> None:
    """``-m`` has Python look for modules there first; among scores there are none of ours.

    What is in this package is found all the same: Python knows by now where it lies.
    """
    if not sys.flags.safe_path and sys.path and sys.path[0] in ("", os.getcwd()):
        del sys.path[0]


if __name__ == "__main__":
    sys.exit(main())
