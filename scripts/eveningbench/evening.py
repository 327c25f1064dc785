"""One evening, from the first key to the last."""

from __future__ import annotations

import json
import traceback
from collections.abc import Iterable
from pathlib import Path
from random import Random

from coach.playing.simulated.evening import EveningPlayer
from coach.playing.simulated.gesture import Act, Do
from scripts.eveningbench.desk import Desk
from scripts.eveningbench.referee import SETTLED_S, Referee
from scripts.eveningbench.tally import Tally

PIECE_S = (300.0, 1500.0)
"""How long one piece stays on the desk at the most."""
AFTER_GOAL = 3
"""Repetitions played after a goal is reached, at the most."""


def run_evening(seed: int, number: int, hours: float, failures: Path | None = None) -> Tally:
    """One evening by its seed and number; logs of what ended in an exception go to a folder."""
    tally = Tally(evenings=1, hours=hours)
    random = Random(f"{seed}/{number}")
    player = EveningPlayer(random)
    referee = Referee(tally, f"seed {seed} evening {number}")
    desk = Desk(tally, referee.hear)
    end_s = desk.now_s + hours * 3600
    third_s, third_mb = desk.now_s + hours * 1200, 0.0
    change_s = after_goal = 0.0
    while desk.now_s < end_s:
        try:
            if desk.now_s >= change_s or after_goal > AFTER_GOAL or desk.is_warmed_up:
                desk.see_the_verdict()
                referee.opened_none()
                referee.where = desk.open(random)
                player.opens(desk.score)
                change_s, after_goal = desk.now_s + random.uniform(*PIECE_S), 0
            gesture = player.next(desk.seen())
            if gesture.acts and desk.has_changed_by(gesture.acts[0].at_s):
                continue  # something else stands there now: the player looks again
            referee.watch(gesture)
            for act in gesture.acts:
                desk.act(act)
            desk.wait_until(desk.now_s + gesture.rest_s)
            after_goal += desk.is_finished
        except Exception as error:
            _keep(tally, desk, referee, error, f"{seed}-{number}", failures)
            change_s = 0.0
            desk.now_s += 60.0
        referee.settle(desk.now_s)
        if not third_mb and desk.now_s > third_s:
            third_mb = memory_mb()
    desk.finish()
    desk.wait_until(desk.now_s + SETTLED_S)
    referee.settle(desk.now_s + SETTLED_S)
    tally.digest = desk.digest
    tally.growth_mb = max(memory_mb() - third_mb, 0.0) if third_mb else 0.0
    return tally


def _keep(
    tally: Tally, desk: Desk, referee: Referee, error: Exception, name: str, folder: Path | None
) -> None:
    where = traceback.extract_tb(error.__traceback__)[-1]
    what = f"{type(error).__name__} in {Path(where.filename).name}:{where.lineno}"
    tally.exceptions[what] += 1
    referee.note_exception(f"{what}: {error}", desk.now_s)
    if folder is None:
        return
    folder.mkdir(parents=True, exist_ok=True)
    log = folder / f"{name}-{desk.now_s:.0f}.jsonl"
    with log.open("w") as file:
        file.writelines(json.dumps(line, default=str) + "\n" for line in desk.log)
        file.write(json.dumps(traceback.format_exc()) + "\n")
    tally.example(f"  replay with: scripts/evening.py --replay {log}")


def replay(log: Path, tell: Iterable[type] = ()) -> None:
    """Do again what a log says, and print what the drill answers."""
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    tally = Tally()
    kinds = tuple(tell)

    def show(outcome: object, now_s: float) -> None:
        if not kinds or isinstance(outcome, kinds):
            print(f"{now_s:9.3f} {str(outcome)[:300]}")

    desk = Desk(tally, show)
    desk.set_up(lines[0])
    for line in lines[1:]:
        if isinstance(line, list):
            at_s, do, one, two, word = line
            print(f"{at_s:9.3f} -> {do} {one} {two} {word}")
            desk.act(Act(at_s, Do(do), one, two, word))
    desk.wait_until(desk.now_s + 30)


def memory_mb() -> float:
    """Memory of this process that is in use, in MB (Linux only; 0 elsewhere)."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except OSError:
        return 0.0
    return pages * 4096 / 1e6
