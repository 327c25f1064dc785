"""When the key went down, from late arrivals and the driver's own time between messages."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.playing.ports.ports import DRIFT, Stamper


def stamps(struck_s: list[float], late_s: list[float], device_rate: float = 1.0) -> list[float]:
    """The stamps of messages struck and handed over late, by a device with its own clock."""
    stamper, previous_s, out = Stamper(), None, []
    for at_s, late in zip(struck_s, late_s, strict=True):
        delta_s = 0.0 if previous_s is None else (at_s - previous_s) * device_rate
        out.append(stamper.stamp(at_s + late, delta_s))
        previous_s = at_s
    return out


def test_a_late_arrival_is_put_back_to_its_time() -> None:
    got = stamps([0.0, 1.0, 2.0], [0.0, 0.030, 0.010])
    assert got == pytest.approx([0.0, 1.0, 2.0], abs=3 * DRIFT)


def test_a_late_first_one_is_put_between_its_bounds_and_the_next_ones_hold_it() -> None:
    stamper = Stamper()
    # Struck at 10.000 and read at 10.008; the port was last found empty at 9.996.
    assert stamper.stamp(10.008, 0.0, 9.996) == pytest.approx(10.002)
    assert stamper.stamp(10.5005, 0.5, 10.4999) == pytest.approx(10.5005)
    # Early by 2 ms: the next one can't have come before the port was empty.
    stamper = Stamper()
    assert stamper.stamp(10.000, 0.0, 9.996) == pytest.approx(9.998)
    assert stamper.stamp(10.5003, 0.5, 10.4998) == pytest.approx(10.4998)


def test_a_machine_that_slept_with_its_port_empty_is_anchored_at_the_arrival() -> None:
    stamper = Stamper()
    assert stamper.stamp(3600.0, 0.0, 0.0) == 3600.0
    assert stamper.stamp(7200.0, 1.0, 3600.5) == 7200.0


def test_a_late_first_one_is_forgotten_with_the_first_prompt_one() -> None:
    got = stamps([0.0, 1.0, 2.0], [0.020, 0.0, 0.025])
    assert got == pytest.approx([0.020, 1.0, 2.0], abs=3 * DRIFT)


def test_a_delta_given_twice_never_makes_a_stamp_later_than_the_arrival() -> None:
    """macOS, python-rtmidi 1.5.8: messages of one packet all carry the first one's delta."""
    stamper = Stamper()
    assert stamper.stamp(10.0, 0.0) == 10.0
    assert stamper.stamp(10.5, 0.5) == 10.5
    assert stamper.stamp(10.5001, 0.5) == 10.5001


def test_a_machine_that_slept_is_anchored_anew() -> None:
    stamper = Stamper()
    stamper.stamp(0.0, 0.0)
    assert stamper.stamp(3600.0, 1.0) == 3600.0
    assert stamper.stamp(3601.0, 1.0) == 3601.0


@pytest.mark.parametrize("device_rate", [1 - 50e-6, 1.0, 1 + 50e-6])
def test_a_drifting_device_stays_within_two_milliseconds_for_an_hour(device_rate: float) -> None:
    chance = random.Random(5)
    struck = [0.25 * i for i in range(4 * 3600)]
    late = [chance.expovariate(1 / 0.004) for _ in struck]
    errors = [s - t for s, t in zip(stamps(struck, late, device_rate), struck, strict=True)]
    assert max(map(abs, errors[100:])) < 0.002


@pytest.mark.property
@given(
    st.lists(st.tuples(st.floats(0, 5), st.floats(0, 10), st.floats(0, 1)), min_size=1),
)
def test_a_stamp_is_never_after_its_arrival_nor_long_before_nor_when_the_port_was_empty(
    messages: list[tuple[float, float, float]],
) -> None:
    stamper, arrived_s = Stamper(), 0.0
    for gap_s, delta_s, waited in messages:
        arrived_s += gap_s
        empty_s = arrived_s - waited * gap_s
        at_s = stamper.stamp(arrived_s, delta_s, empty_s)
        assert arrived_s - 0.25 < at_s <= arrived_s
        assert at_s >= empty_s


def test_beside_a_busy_screen_the_first_note_is_already_right() -> None:
    """Read 0.5 ms after it came, but one time in three when a screen was painted first.

    The lateness is our model of what was measured with the ports of JACK.
    """
    errors, chance = [], random.Random(7)
    for _ in range(300):
        stamper, previous_s, empty_s = Stamper(), 0.0, 0.0
        for k in range(1, 4):
            at_s = 0.3 * k
            busy_s = chance.uniform(0, 0.012) if chance.random() < 1 / 3 else 0.0005
            arrived_s = at_s + chance.uniform(0, busy_s)
            empty_s = arrived_s - busy_s
            errors.append(stamper.stamp(arrived_s, at_s - previous_s, empty_s) - at_s)
            previous_s = at_s
    worst = sorted(map(abs, errors))
    assert worst[int(0.99 * len(worst))] < 0.006  # half of what the screen takes
    assert worst[len(worst) // 2] < 0.0005


@pytest.mark.property
@given(st.lists(st.tuples(st.floats(0.001, 2), st.floats(0, 0.2)), min_size=2), st.floats(0, 1e5))
def test_shifting_all_times_changes_nothing(
    messages: list[tuple[float, float]], shift_s: float
) -> None:
    struck = [sum(gap for gap, _ in messages[: i + 1]) for i in range(len(messages))]
    late = [lateness for _, lateness in messages]
    plain = stamps(struck, late)
    shifted = stamps([at_s + shift_s for at_s in struck], late)
    assert [at_s - shift_s for at_s in shifted] == pytest.approx(plain, abs=1e-6)
