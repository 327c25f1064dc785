"""Write cases to a folder: ``python -m scripts.earcases OUT --seed 1 --count 200``."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from scripts.earcases.cases import cases
from scripts.earcases.material import pieces
from scripts.earcases.studies import studies


def main() -> None:
    """Read the command line and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=200, help="windows, of 4 to 5 cases each")
    parser.add_argument(
        "--studies", type=int, default=30, help="pieces made by rule, besides the packages'"
    )
    given = parser.parse_args()
    folder = given.out / "cases"
    folder.mkdir(parents=True, exist_ok=True)
    material = [*pieces(), *studies(given.seed, given.studies)]
    number = 0
    for case in cases(material, given.seed, given.count):
        (folder / f"{case['case_id']}.json").write_text(json.dumps(case, separators=(",", ":")))
        number += 1
    print(f"{number} cases from {len(material)} pieces in {folder}")


if __name__ == "__main__":
    main()
