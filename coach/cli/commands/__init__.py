"""One module for each command; each is imported only when it runs, so that start-up is quick."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable
from importlib import import_module


def _lazily(module: str, name: str) -> Callable[[Namespace], int]:
    def run(options: Namespace) -> int:
        command: Callable[[Namespace], int] = getattr(import_module(f"{__name__}.{module}"), name)
        return command(options)

    return run


RUN: dict[str, Callable[[Namespace], int]] = {
    "home": _lazily("practice", "home"),
    "drill": _lazily("practice", "drill"),
    "demo": _lazily("practice", "demo"),
    "warmup": _lazily("practice", "warmup"),
    "judge": _lazily("judge", "judge_command"),
    "score": _lazily("score", "show_score"),
    "setup": _lazily("practice", "set_up"),
    "calibrate": _lazily("calibrate", "calibrate_click"),
    "ports": _lazily("ports", "show_ports"),
    "mark": _lazily("mark", "mark_piece"),
    "sheet": _lazily("sheet", "run_sheet"),
    "plan": _lazily("plan", "plan_piece"),
    "progress": _lazily("progress", "show_progress"),
    "report": _lazily("report", "write_report"),
    "export": _lazily("own_data", "export_record"),
    "import": _lazily("own_data", "import_record"),
    "merge": _lazily("own_data", "merge_records"),
    "check": _lazily("own_data", "check_record"),
    "rebuild": _lazily("own_data", "rebuild_record"),
    "backup": _lazily("own_data", "back_up"),
    "forget": _lazily("own_data", "forget_piece"),
}
"""Each command's function: takes the options, returns the exit status."""
