"""``python -m coach``: the same as the ``coach`` command."""

from __future__ import annotations

import sys


def main() -> int:
    """Run the command line."""
    from coach.cli import main as run

    return run()


if __name__ == "__main__":
    sys.exit(main())
