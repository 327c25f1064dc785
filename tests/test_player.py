"""The demo's player strikes its keys when their time comes, on a clock that can be hurried."""

from __future__ import annotations

from coach.playing.midi_events import KeyDown
from coach.playing.notes import PlayedNote
from coach.screens.demo import DemoClock, Performance


def test_keys_go_down_and_up_in_the_order_of_time() -> None:
    performance = Performance()
    performance.play((PlayedNote(60, 64, 1.0, 0.5), PlayedNote(62, 64, 1.2, 0.1)))
    assert performance.take_due(0.9) == ()
    assert [event.pitch for event in performance.take_due(1.2)] == [60, 62]
    assert [(type(e) is KeyDown, e.pitch) for e in performance.take_due(9)] == [
        (False, 62),
        (False, 60),
    ]
    assert performance.is_over


def test_what_is_dropped_is_not_played() -> None:
    performance = Performance()
    performance.play((PlayedNote(60, 64, 1.0, 0.5),))
    performance.drop()
    assert performance.take_due(9) == ()


def test_the_demo_can_be_hurried_slowed_and_stopped_without_a_jump() -> None:
    now = [100.0]
    clock = DemoClock(lambda: now[0])
    start = clock.now()
    now[0] += 1
    assert clock.now() == start + 1
    clock.hurry(1)
    assert clock.now() == start + 1
    now[0] += 1
    assert clock.now() == start + 3
    clock.stop(True)
    now[0] += 10
    assert clock.now() == start + 3
    clock.stop(False)
    clock.hurry(-2)
    now[0] += 2
    assert clock.now() == start + 4
