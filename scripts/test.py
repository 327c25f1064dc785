"""Test Keyhole: ``python3 scripts/test.py`` sets everything up the first time, then runs the tests.

Style, types and the direction of imports are checked first. The tests run in one process more than
there are processors, a file always in one. Every argument is passed on to pytest, and then there is
one process: ``python3 scripts/test.py tests/test_window.py -x``.
"""

import os.path
import sys

# Before anything else, and in words that an old Python still understands.
if sys.version_info < (3, 11):  # noqa: UP036
    sys.exit("Keyhole needs Python 3.11 or newer; this one is " + sys.version.split()[0] + ".")

sys.path.insert(0, os.path.dirname(os.path.dirname(os.path.abspath(__file__))))

from scripts import prepare

_LINT_IMPORTS = "from importlinter.cli import lint_imports_command as lint; lint()"
CHECKS = {
    "style (ruff check)": ["-m", "ruff", "check", "--quiet"],
    "layout (ruff format)": ["-m", "ruff", "format", "--check", "--quiet"],
    "types (mypy)": ["-m", "mypy"],
    "imports (lint-imports)": ["-c", _LINT_IMPORTS, "--no-logo"],
}

IN_PARALLEL = ["-n", "auto", "--dist", "loadfile", "--no-loadscope-reorder"]


def main() -> int:
    """Run every check, then pytest; 0 where all is well."""
    prepare.prepare("test")
    failed = [name for name, arguments in CHECKS.items() if not passes(name, arguments)]
    arguments = sys.argv[1:] or IN_PARALLEL
    status = prepare.run(["-m", "pytest", *arguments], cwd=prepare.PROJECT)
    if failed:
        print("Failed before pytest: " + ", ".join(failed) + ".", file=sys.stderr)
    return status or int(bool(failed))


def passes(name: str, arguments: list[str]) -> bool:
    """Whether a check finds nothing; what it finds it prints itself."""
    print("Checking " + name + " ...", flush=True)
    return prepare.run(arguments, cwd=prepare.PROJECT) == 0


if __name__ == "__main__":
    sys.exit(main())
