"""Playing that breaks off and takes up again: the stumble and the restart."""

from __future__ import annotations

from collections.abc import Callable
from copy import copy

from scripts.earcases import miskeying, mistiming
from scripts.earcases.planting import Attempt
from scripts.earcases.rendering import Struck


def stumble_repeat(take: Attempt) -> bool:
    """The last few onsets are played again after a short stop."""
    again = take.rng.choice((1, 1, 2, 2, 3, 4))
    return _break(take, "stumble_repeat", again, take.rng.uniform(0.25, 0.75))


def restart(take: Attempt) -> bool:
    """After a stop the window is begun again from its first note."""
    return _break(take, "restart", None, take.rng.uniform(0.6, 1.8))


def _break(take: Attempt, cause: str, again: int | None, pause_s: float) -> bool:
    """Stop before an onset (or at it, with a wrong key), go back ``again`` onsets (all: None)."""
    onsets = take.onsets()
    if len(onsets) < 3:
        return False
    at = take.rng.randrange(1, len(onsets))
    wrong = take.rng.random() < 0.4
    last = at if wrong else at - 1
    back = 0 if again is None else max(last - again + 1, 0)
    if cause == "stumble_repeat" and back == 0 and last > 3:
        return False
    first_s = min(n.onset_s for n in take.played if n.beat >= onsets[back])
    aborted = [copy(n) for n in take.played if onsets[back] <= n.beat <= onsets[last]]
    if not aborted:
        return False
    hand = _spoil_one(take, aborted, onsets[last]) if wrong else "both"
    if hand is None:
        return False
    for note in aborted:
        note.label = "repeated" if note.label in ("match", "repeated") else "extra"
        note.score = note.score if note.label == "repeated" else None
    due_s = [n.onset_s for n in take.played if n.beat > onsets[last]]
    stop = min(due_s, default=max(n.onset_s for n in aborted) + 0.2)
    delay = max(stop, max(n.onset_s for n in aborted)) + pause_s - first_s
    if wrong:
        beat, word = onsets[last], onsets[last]
    else:
        beat, word = onsets[at], onsets[last]
    take.shift_from(onsets[back], delay)
    take.played += aborted
    params = {"pause_sec": pause_s, "wrong_note": wrong}
    if again is None:
        take.note(cause, hand, beat, stopped_after_beat=word, **params)
    else:
        take.note(cause, hand, beat, replayed_onsets=last - back + 1, **params)
    return True


def _spoil_one(take: Attempt, aborted: list[Struck], beat: float) -> str | None:
    """Make one key of the aborted attempt's last onset wrong; the hand that struck it."""
    able = [n for n in aborted if n.beat == beat and n.label == "match"]
    sounding = {n.pitch for n in aborted if n.beat == beat}
    if not able:
        return None
    note = take.rng.choice(able)
    pitches = [note.pitch + s for s in (-2, -1, 1, 2) if note.pitch + s not in sounding]
    if not pitches:
        return None
    note.pitch, note.label = take.rng.choice(pitches), "extra"
    return note.hand


ALL: dict[str, Callable[[Attempt], bool]] = {
    cause.__name__: cause
    for cause in (
        miskeying.wrong_key, miskeying.position_shift, miskeying.octave_slip,
        miskeying.self_correct, miskeying.missed_in_chord, miskeying.missed_note,
        miskeying.skipped_beat, miskeying.extra_brush, mistiming.hesitation,
        mistiming.one_hand_late, mistiming.hands_drift, mistiming.uneven,
        mistiming.tempo_drift, mistiming.early_release, stumble_repeat, restart,
    )
}  # fmt: skip
"""Every cause by its name."""
