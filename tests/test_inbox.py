"""Events cross from the MIDI thread to the event loop in order, a chord in one call."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable, Sequence
from threading import Event, Thread

import pytest
from textual.events import Key

from coach.playing.midi_events import KeyDown, PianoFound, PianoLost
from coach.screens.inbox import TOO_MANY, Inbox, InboxEvent
from tests.seat import Seat, seated

MOST_WAITS = 3000
"""Of a hundredth of a second and more: only what hangs takes so many."""


def run(play: Callable[[Inbox], object]) -> tuple[list[tuple[InboxEvent, ...]], Inbox]:
    calls: list[tuple[InboxEvent, ...]] = []

    async def main() -> Inbox:
        inbox = Inbox(calls.append)
        thread = Thread(target=play, args=(inbox,))
        thread.start()
        thread.join()
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        return inbox

    inbox = asyncio.run(main())
    return calls, inbox


def pitches_of(events: Sequence[InboxEvent]) -> list[int]:
    return [event.pitch for event in events if isinstance(event, KeyDown)]


def test_a_chord_is_one_call_with_its_notes_in_order() -> None:
    def play(inbox: Inbox) -> None:
        for pitch in range(60, 70):
            inbox.post(KeyDown(pitch, 64, 0.0))

    calls, _ = run(play)
    assert [pitches_of(call) for call in calls] == [list(range(60, 70))]


def test_after_closing_nothing_comes() -> None:
    def play(inbox: Inbox) -> None:
        inbox.close()
        inbox.post(KeyDown(60, 64, 0.0))

    assert run(play)[0] == []


def test_after_the_loop_has_ended_posting_does_nothing() -> None:
    _, inbox = run(lambda inbox: None)
    inbox.post(KeyDown(60, 64, 0.0))
    inbox.post(KeyDown(62, 64, 0.0))


def flood(inbox: Inbox, clock: Clock, seconds: int, a_second: int = 10_000) -> None:
    for at in range(seconds * a_second):
        clock.now_s += 1 / a_second
        inbox.post(KeyDown(at % 88 + 21, 64, clock.now_s))


class Clock:
    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def flooded(then: Callable[[Inbox, Clock], Awaitable[None]]) -> list[InboxEvent]:
    """What the screen hears of a flood and what comes after it; ``then`` goes on after it."""
    heard, clock = list[InboxEvent](), Clock()

    async def main() -> None:
        inbox = Inbox(heard.extend, clock)
        inbox.post(PianoFound("Test piano"))
        flood(inbox, clock, 3)
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        await then(inbox, clock)

    asyncio.run(main())
    return heard


def test_of_more_than_anyone_can_play_it_is_said_once_and_nothing_else_comes() -> None:
    async def then(inbox: Inbox, clock: Clock) -> None:
        flood(inbox, clock, 1)
        assert len(inbox._waiting) == 0

    assert flooded(then) == [PianoFound("Test piano"), PianoLost("Test piano", TOO_MANY)]


def test_when_it_is_quiet_again_the_piano_is_heard_again() -> None:
    async def then(inbox: Inbox, clock: Clock) -> None:
        clock.now_s += 5.0
        await asyncio.sleep(1.1)  # it looks once a second
        inbox.post(KeyDown(60, 64, clock.now_s))
        await asyncio.sleep(0)
        await asyncio.sleep(0)

    heard = flooded(then)
    assert [type(one) for one in heard] == [PianoFound, PianoLost, PianoFound, KeyDown]
    assert heard[2] == PianoFound("Test piano")


def test_as_fast_as_a_cable_carries_it_all_comes() -> None:
    heard, clock = list[InboxEvent](), Clock()

    async def main() -> None:
        inbox = Inbox(heard.extend, clock)
        flood(inbox, clock, 3, a_second=990)
        while inbox._waiting:
            await asyncio.sleep(0)

    asyncio.run(main())
    times = [one.at_s for one in heard if isinstance(one, KeyDown)]
    assert times == sorted(times)
    assert len(heard) == 3 * 990


def test_as_long_as_it_goes_on_the_piano_is_not_heard() -> None:
    async def then(inbox: Inbox, clock: Clock) -> None:
        for _ in range(3):
            await asyncio.sleep(0.4)
            flood(inbox, clock, 1, a_second=1_200)

    assert flooded(then) == [PianoFound("Test piano"), PianoLost("Test piano", TOO_MANY)]


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_while_more_comes_than_anyone_can_play_the_app_says_so_and_quits_at_once(
    size: tuple[int, int],
) -> None:
    async def run(seat: Seat) -> None:
        stop = Event()

        def play() -> None:
            while not stop.is_set():
                for at in range(100):
                    seat.staging.ports.post(KeyDown(at % 60 + 40, 64, time.perf_counter()))
                time.sleep(0.01)

        thread = Thread(target=play)
        thread.start()
        try:
            for _ in range(MOST_WAITS):
                await asyncio.sleep(0.01)
                if "More keys arrive" in seat.text and "--port." in seat.text:
                    break  # the sentence is there, and has the rows that it needs
            assert "More keys arrive than anyone can play" in " ".join(seat.text.split())
            assert "--port." in seat.text
            seat.app.post_message(Key("ctrl+q", None))
            for _ in range(MOST_WAITS):
                await asyncio.sleep(0.01)
                if seat.app._exit:
                    break
            assert seat.app._exit
        finally:
            stop.set()
            thread.join()

    seated(size, run)
