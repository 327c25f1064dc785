"""Sending messages when their time comes; the output is a fake of our own."""

import time
from collections.abc import Iterator, Sequence

import pytest

from coach.playing.sounding.process import TimedSender
from tests.jackrig import wait_for

ON, OFF = (0x99, 76, 100), (0x89, 76, 0)


class FakeOut:
    """An output that remembers what it was sent."""

    def __init__(self) -> None:
        self.sent: list[tuple[int, ...]] = []
        self.at_s: list[float] = []
        self.closed = self.broken = False

    def send(self, message: Sequence[int]) -> None:
        if self.broken:
            raise OSError("gone")
        self.sent.append(tuple(message))
        self.at_s.append(time.perf_counter())

    def close(self) -> None:
        self.closed = True


@pytest.fixture
def out() -> FakeOut:
    return FakeOut()


@pytest.fixture
def player(out: FakeOut) -> Iterator[TimedSender]:
    thread = TimedSender(out)
    yield thread
    thread.close()
    assert out.closed


def test_messages_go_out_in_order_and_never_before_their_time(
    player: TimedSender, out: FakeOut
) -> None:
    start_s = time.perf_counter() + 0.02
    due = [start_s + k * 0.01 for k in range(5)]
    player.play([(at_s, (0x99, 70 + k, 90)) for k, at_s in reversed(list(enumerate(due)))])
    wait_for(lambda: len(out.sent) == 5)
    assert [message[1] for message in out.sent] == [70, 71, 72, 73, 74]
    assert all(at_s >= due_s for at_s, due_s in zip(out.at_s, due, strict=True))


def test_what_is_past_is_left_out(player: TimedSender, out: FakeOut) -> None:
    now_s = time.perf_counter()
    player.play([(now_s - 1, ON), (now_s + 0.01, OFF)])
    wait_for(lambda: out.sent)
    assert out.sent == [OFF]


def test_stopping_lets_go_of_what_sounds_and_sends_nothing_more(
    player: TimedSender, out: FakeOut
) -> None:
    now_s = time.perf_counter()
    player.play([(now_s + 0.005, ON), (now_s + 0.03, (0x99, 77, 80)), (now_s + 60, OFF)])
    wait_for(lambda: out.sent)
    player.play(())
    time.sleep(0.05)
    assert out.sent == [ON, OFF]


def test_a_new_list_takes_the_place_of_the_old_one(player: TimedSender, out: FakeOut) -> None:
    now_s = time.perf_counter()
    player.play([(now_s + 60, ON)])
    player.play([(now_s + 0.02, (0x90, 60, 64))])
    wait_for(lambda: out.sent)
    assert out.sent == [(0x90, 60, 64)]


def test_an_output_that_went_away_stops_the_click_and_nothing_else(
    player: TimedSender, out: FakeOut
) -> None:
    out.broken = True
    player.play([(time.perf_counter() + 0.005, ON)])
    time.sleep(0.03)
    out.broken = False
    player.play([(time.perf_counter() + 0.005, ON)])
    wait_for(lambda: ON in out.sent)


def test_what_is_planned_anew_leaves_what_sounds_and_what_comes_before(
    player: TimedSender, out: FakeOut
) -> None:
    now_s = time.perf_counter()
    player.play([(now_s + 0.005, ON), (now_s + 0.2, (0x90, 62, 64)), (now_s + 60, OFF)])
    wait_for(lambda: out.sent)
    player.play([(now_s + 0.3, OFF)], now_s + 0.25)
    wait_for(lambda: len(out.sent) == 3)
    assert out.sent == [ON, (0x90, 62, 64), OFF]
