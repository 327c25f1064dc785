"""What is kept of one drill, and what is said where it can't be."""

from __future__ import annotations

import json
import time
from collections.abc import Callable

from coach.coaching.drill import Drill, RepetitionEnded, WarmUpDrill
from coach.judging.judge import JudgingJob
from coach.record.folder import UNTIL_THEN, RecordError
from coach.record.lock import Lease
from coach.record.pieces import PieceKey
from coach.record.store import Store

ELSEWHERE = "Nothing is kept while another Keyhole drills with this record: close that one."


class Keeper:
    """Keeps a piece's repetitions and where the pianist stands; says what goes wrong.

    While another Keyhole has the record's lease nothing is kept: both may hear the same piano, and
    every repetition would count twice. What is played once the lease is free is kept again.
    """

    def __init__(
        self,
        store: Store | None,
        piece: PieceKey,
        drill: Drill | WarmUpDrill,
        lease: Lease | None = None,
        *,
        keeps_place: bool = True,
    ) -> None:
        self._store, self._piece, self._drill, self._lease = store, piece, drill, lease
        self._keeps_place = keeps_place
        self._begun = json.dumps(self._place())

    def keep(self, ended: RepetitionEnded) -> str:
        """Keep a repetition and where the drill now stands."""
        if self._store and self._lease and not self._lease.ours:
            return ELSEWHERE
        return self._brief(
            lambda store: store.save_repetition(self._piece, ended, time.time(), self._place())
        )

    def keep_unjudged(self, job: JudgingJob) -> str:
        """Keep what was played where there was no time for a verdict; says where, in a sentence.

        Once, to be heard again or judged from the command line; it is no evidence.
        """
        if self._store is None:
            return ""
        from coach.playing.takes import TakeError, write_take

        stamp = time.strftime("%Y-%m-%d-%H%M%S")
        path = self._store.folder / f"unjudged-{stamp}-{job.number}.mid"
        try:
            write_take(job.take, path)
            path.chmod(0o600)
        except (TakeError, OSError) as error:
            return f"The last repetition was not judged, and its take is lost: {error}"
        return f"The last repetition was not judged yet; its take is {path} (see coach judge)."

    def save(self) -> str:
        """Take the lease, keep what could not be kept before; "" once all of it is."""
        if self._store and self._lease and not self._lease.take():
            return ELSEWHERE
        return self._brief(Store.save_unsaved)

    def leave(self) -> str:
        """Keep where the drill stands, where it has moved, and give the lease back.

        A piece that was only looked at is not the last one that was played.
        """
        if self._store is None or (self._lease and not self._lease.ours):
            return ""
        said = self._keep_place(self._store)
        said, self._store.notices[:] = [*said, *self._store.notices], []
        if self._lease:
            self._lease.give_back()
        return " ".join(said)

    def _keep_place(self, store: Store) -> list[str]:
        place = self._place()
        try:
            store.save_unsaved()
            if place is not None and json.dumps(place) != self._begun:
                store.save_session_state(self._piece, place)
        except RecordError as error:
            return [f"{error} {UNTIL_THEN}" if store.unsaved else str(error)]
        return []

    def _brief(self, work: Callable[[Store], None]) -> str:
        """What goes wrong with it, in a row that stands while the pianist plays on."""
        try:
            if self._store:
                work(self._store)
        except RecordError as error:
            return f"{error.brief} {UNTIL_THEN}"
        return ""

    def _place(self) -> dict[str, object] | None:
        if not self._keeps_place or isinstance(self._drill, WarmUpDrill):
            return None
        return self._drill.coach.state()
