"""The live follower on a case: its time for a key, and the accusations that it takes back."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from coach.judging.alignment.align import match
from coach.judging.following.events import Ended, FollowerEvent, NoteMarked, StrayKey
from coach.judging.following.follower import Follower
from coach.judging.model import Label
from coach.playing.midi_events import KeyDown, KeyUp
from scripts.earcases.adapter import excerpt_of, played_of

FRAME_S = 1 / 30
ACCUSING = (Label.WRONG, Label.MISSED)


@dataclass
class Listening:
    """Counts over takes."""

    key_s: list[float] = field(default_factory=list)
    notes: int = 0
    told: int = 0
    taken_back: int = 0
    ends: Counter[int] = field(default_factory=Counter)

    def add(self, case: dict[str, Any]) -> None:
        """Play one case to a follower, a frame at a time."""
        follower = Follower(excerpt_of(case))
        heard: list[FollowerEvent] = []
        ended = 0
        for one in self._play(case, follower):
            heard.append(one)
            if isinstance(one, Ended):
                ended += 1
                self._compare(follower, one, heard)
                heard = []
        self.ends[ended] += 1

    def _play(self, case: dict[str, Any], follower: Follower) -> list[FollowerEvent]:
        played = played_of(case)
        events = [(n.onset_s, True, n) for n in played]
        events += [(n.onset_s + (n.length_s or 0.0), False, n) for n in played]
        events.sort(key=lambda e: (e[0], e[1]))
        out: list[FollowerEvent] = []
        now = events[0][0] - 1.0
        for at, down, note in events:
            while now + FRAME_S < at:
                now += FRAME_S
                out += follower.tick(now)
            if down:
                start = time.process_time()
                out += follower.hear(KeyDown(note.pitch, note.velocity, at))
                self.key_s.append(time.process_time() - start)
            else:
                follower.hear(KeyUp(note.pitch, at))
        for frame in range(450):
            out += follower.tick(now + frame * FRAME_S)
        return out

    def _compare(self, follower: Follower, ended: Ended, heard: list[FollowerEvent]) -> None:
        matching = match(follower.excerpt, ended.take.notes)
        self.notes += len(matching.score)
        accused = {h.note for h in heard if isinstance(h, NoteMarked) and h.label in ACCUSING}
        self.told += len(accused)
        self.taken_back += sum(matching.score[n].label is Label.MATCHED for n in accused)
        strays = Counter(h.pitch for h in heard if isinstance(h, StrayKey))
        spare = Counter(
            ended.take.notes[k.played].pitch
            for k in matching.played
            if k.label is not Label.MATCHED
        )
        self.told += sum(strays.values())
        self.taken_back += sum((strays - spare).values())
