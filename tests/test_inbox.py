"""Events cross from the MIDI thread to the event loop in order, a chord in one call."""

from __future__ import annotations

import asyncio
from threading import Thread

from coach.playing.events import KeyDown
from coach.screens.inbox import Inbox


def run(play):
    calls = []

    async def main():
        inbox = Inbox(calls.append)
        thread = Thread(target=play, args=(inbox,))
        thread.start()
        thread.join()
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        return inbox

    inbox = asyncio.run(main())
    return calls, inbox


def test_a_chord_is_one_call_with_its_notes_in_order():
    calls, _ = run(lambda inbox: [inbox.post(KeyDown(p, 64, 0.0)) for p in range(60, 70)])
    assert [[event.pitch for event in call] for call in calls] == [list(range(60, 70))]


def test_after_closing_nothing_comes():
    def play(inbox):
        inbox.close()
        inbox.post(KeyDown(60, 64, 0.0))

    assert run(play)[0] == []


def test_after_the_loop_has_ended_posting_does_nothing():
    _, inbox = run(lambda inbox: None)
    inbox.post(KeyDown(60, 64, 0.0))
    inbox.post(KeyDown(62, 64, 0.0))
