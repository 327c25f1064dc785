"""Start Keyhole: ``python3 scripts/start.py`` sets everything up the first time, then runs it.

Every argument is passed on: ``python3 scripts/start.py demo`` is ``coach demo``.
"""

import os.path
import sys

# Before anything else, and in words that an old Python still understands.
if sys.version_info < (3, 11):  # noqa: UP036
    sys.exit("Keyhole needs Python 3.11 or newer; this one is " + sys.version.split()[0] + ".")

sys.path.insert(0, os.path.dirname(os.path.dirname(os.path.abspath(__file__))))

from scripts import prepare

if __name__ == "__main__":
    # -P: a pianist's folder of scores is no place to look for Python modules.
    prepare.hand_over(["-P", "-m", "coach", *sys.argv[1:]])
