"""Whether the MIDI system still carries anything, with a system that can be made to fail."""

import pytest

from coach.playing.ports import jack
from coach.playing.ports.jack import AT_ONCE_S, EVERY_S, LOST_S, MESSAGE, Heartbeat


@pytest.fixture(autouse=True)
def as_patient_as_for_a_pianist(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tests with a real server, in the same process, wait longer."""
    monkeypatch.setattr(jack, "AT_ONCE_S", AT_ONCE_S)
    monkeypatch.setattr(jack, "LOST_S", LOST_S)


class System:
    """Carries what is sent after a while, or not at all."""

    def __init__(self, takes_s: float = 0.01) -> None:
        self.now_s, self.takes_s, self.carries = 0.0, takes_s, True
        self.under_way: list[float] = []
        self.sent = 0
        self.beat = Heartbeat(self.send, self.receive, lambda: self.now_s, self.sleep)

    def send(self) -> None:
        self.sent += 1
        if self.carries:
            self.under_way.append(self.now_s + self.takes_s)

    def receive(self) -> float | None:
        due = self.under_way and self.under_way[0] <= self.now_s
        return self.under_way.pop(0) if due else None

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds

    def beating_for(self, seconds: float) -> float | None:
        """Asked as often as the listener asks; after how long it stopped beating."""
        for step in range(round(seconds / 0.1)):
            self.now_s += 0.1
            if not self.beat.is_beating():
                return (step + 1) / 10
        return None


def test_a_system_that_carries_beats_and_is_asked_twice_a_second() -> None:
    system = System()
    assert system.beating_for(60) is None
    assert abs(system.sent - 60 / EVERY_S) <= 60 / EVERY_S / 5


def test_a_system_that_dies_is_known_within_two_seconds() -> None:
    system = System()
    system.beating_for(10)
    system.carries = False
    after_s = system.beating_for(5)
    assert after_s is not None
    assert LOST_S <= after_s <= LOST_S + EVERY_S + 0.2


def test_a_system_that_is_slow_for_a_moment_has_not_died() -> None:
    system = System()
    system.beating_for(5)
    system.takes_s = 0.8 * LOST_S
    assert system.beating_for(20) is None


def test_a_system_that_never_carried_anything_is_not_held_to_it() -> None:
    system = System()
    system.carries = False
    assert system.beating_for(20) is None
    assert system.beat.answers()


def test_one_message_lost_on_a_busy_machine_is_no_end_of_the_system() -> None:
    system = System()
    assert system.beat.answers()
    system.carries = False

    def sleep(seconds: float) -> None:
        system.now_s += seconds
        system.carries = system.sent > 1

    system.beat._sleep = sleep
    assert system.beat.answers()
    assert system.sent == 3


def test_an_answer_that_is_needed_at_once_is_waited_for_no_longer_than_that() -> None:
    system = System()
    assert system.beat.answers()
    system.carries = False
    start_s = system.now_s
    assert not system.beat.answers()
    assert system.now_s - start_s <= AT_ONCE_S + 0.01
    assert system.beat.is_beating()  # not for so long that it would be lost
    assert not system.beat.came_back()
    system.under_way.append(system.now_s)
    assert system.beat.came_back()


def test_an_answer_from_before_the_system_died_does_not_count() -> None:
    system = System()
    system.beat.answers()
    system.now_s += EVERY_S
    system.beat.is_beating()
    system.now_s += 0.1  # its answer waits, unread
    system.carries = False
    assert not system.beat.answers()


def test_what_is_sent_means_nothing_to_another_instrument() -> None:
    """MIDI 1.0: F0 ... F7 is system exclusive, and 7D the number for uses outside commerce."""
    assert MESSAGE[0] == 0xF0
    assert MESSAGE[1] == 0x7D
    assert MESSAGE[-1] == 0xF7
    assert all(byte < 0x80 for byte in MESSAGE[1:-1])


def test_a_system_that_takes_nothing_is_given_no_more_and_one_that_only_hung_is_known() -> None:
    """A full buffer would hold whoever sends, for as long as the system hangs."""
    system = System()
    system.beating_for(5)
    system.carries = False
    system.beating_for(5)
    sent = system.sent
    assert [system.beating_for(1) for _ in range(60)] == [0.1] * 60
    assert system.sent == sent
    system.under_way.append(system.now_s)  # what was sent last comes out at last
    system.carries = True
    assert system.beating_for(10) is None
