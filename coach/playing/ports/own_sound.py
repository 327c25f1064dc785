"""What we sent ourselves, when it comes back in: through a loop of cables, thru, or a piano that
sends on whatever it is sent.

Whether anything comes back at all is found out without a sound: whenever a port is opened, three
ends of notes that never began go out (:data:`ASK`). A player's keys never look like them. Only
where they come back is anything left out, and then each message that we sent takes exactly one that
came: where the player strikes the same key at the same moment, the second one is the player's.

Time is an argument.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterable, Sequence

from coach.playing.click_schedule import Timed

ASK: tuple[tuple[int, int, int], ...] = ((0x90, 21, 0), (0x90, 22, 0), (0x90, 21, 0))
"""Ends of the lowest two keys, as note-ons with velocity 0 (MIDI 1.0): what sends notes on sends
these on, and no key that is up makes a sound by them."""
ANSWER_S = 10.0
"""What comes later than this is no answer. Own choice, because a port is opened within some tenths
of a second, on a busy machine within seconds."""
EARLY_S, LATE_S = 0.005, 0.5
"""How long before and after its time a message of ours may come in again. A cable's ten notes take
10 ms, a busy server's period 43 ms, but a machine may stand still for a moment: of 10,000 notes
seven came later than 0.15 s. Own choice, because key and loudness have to be the same besides, so
that hardly ever a player's key is meant."""


class OwnSound:
    """Tells which incoming messages are our own, come back.

    Thread-safe: yes. The screen's thread says what is sent, the MIDI thread asks.
    """

    def __init__(self) -> None:
        self.comes_back = False
        """Whether what we send comes in again."""
        self._lock = threading.Lock()
        self._asked_s: float | None = None
        self._answered = 0
        self._sent: deque[tuple[float, tuple[int, ...]]] = deque()
        """What was or will be sent and has not come in again, in order of time."""
        self._down: set[int] = set()
        """Keys that the player holds."""

    def expect_answer(self, now_s: float) -> None:
        """A port is being opened, and :data:`ASK` sent through it."""
        with self._lock:
            self._asked_s, self._answered = now_s, 0

    def send(self, messages: Iterable[Timed], now_s: float, from_s: float | None = None) -> None:
        """These are going to be sent, in place of any that still wait; nothing: silence.

        With ``from_s`` in place of those that wait for then or later, and what sounds goes on.
        """
        coming = [(at_s, _plain(message)) for at_s, message in messages]
        with self._lock:
            oldest_s = now_s - ANSWER_S  # before it is known whether anything comes back
            until_s = now_s if from_s is None else from_s
            kept = [one for one in self._sent if oldest_s <= one[0] <= until_s]
            if from_s is None:  # a note whose end still waits is let go of now
                waiting = [message for at_s, message in self._sent if at_s > now_s]
                kept += [(now_s, message) for message in waiting if _is_end(message)]
            self._sent = deque(sorted([*kept, *coming]))

    def is_own(self, message: Sequence[int], at_s: float) -> bool:
        """Whether a message that came in is one of ours; asked for each, in order."""
        plain = _plain(message)
        with self._lock:
            if self._is_answer(plain, at_s) or (self.comes_back and self._is_sent(plain, at_s)):
                return True
            if plain[0] == _BEGINS:
                self._down.add(plain[1])
            elif _is_end(plain):
                self._down.discard(plain[1])
            return False

    def _is_sent(self, plain: tuple[int, ...], at_s: float) -> bool:
        while self._sent and self._sent[0][0] < at_s - LATE_S:
            self._sent.popleft()
        for place, (sent_s, sent) in enumerate(self._sent):
            if sent_s > at_s + EARLY_S:
                break
            if sent == plain:
                del self._sent[place]
                return True
        return False

    def _is_answer(self, plain: tuple[int, ...], at_s: float) -> bool:
        asked_s = self._asked_s
        if asked_s is None or at_s > asked_s + ANSWER_S or plain != _plain(ASK[self._answered]):
            return False
        if plain[1] in self._down:  # the player lets go of it
            return False
        self._answered += 1
        if self._answered == len(ASK):
            self._asked_s, self.comes_back = None, True
        return True


_ENDS, _BEGINS = 0, 1


def _is_end(plain: tuple[int, ...]) -> bool:
    return plain[0] == _ENDS


def _plain(message: Sequence[int]) -> tuple[int, ...]:
    """A message without its channel, which instruments change as they like: a note's beginning with
    key and velocity, its end with the key, else the bytes."""
    kind = message[0] & 0xF0
    if kind == 0x90 and message[2] > 0:
        return (_BEGINS, message[1], message[2])
    if kind in (0x80, 0x90):
        return (_ENDS, message[1])
    return (kind, *message[1:])
