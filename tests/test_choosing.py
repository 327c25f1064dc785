"""Which port is the piano."""

import pytest

from coach.playing.choosing import choose, counterpart, shown

NAMES = ("Midi Through:Midi Through Port-0 14:0", "Stage Piano:Stage Piano MIDI 1 20:0", "Piano")


@pytest.mark.parametrize(
    ("wanted", "name"),
    [
        (None, NAMES[1]),
        ("stage", NAMES[1]),
        ("MIDI 1", NAMES[1]),
        ("piano", NAMES[2]),  # called exactly so, though another has it in its name
        ("through", NAMES[0]),  # whoever asks for it gets it
        ("Stage Piano:Stage Piano MIDI 1 24:0", NAMES[1]),  # plugged again, numbered anew
        ("harpsichord", None),
    ],
)
def test_choice(wanted: str | None, name: str | None) -> None:
    assert choose(NAMES, wanted) == name


def test_there_is_nothing_to_choose_from_the_systems_own_loops() -> None:
    assert choose(NAMES[:1]) is None
    assert choose(()) is None


def test_numbers_that_change_are_not_shown() -> None:
    assert shown(NAMES[1]) == "Stage Piano:Stage Piano MIDI 1"


@pytest.mark.parametrize(
    ("heard", "out"),
    [
        ("Stage Piano:Stage Piano MIDI 1", NAMES[1]),  # ALSA: one name for both ways
        ("Digital Piano:out", "Digital Piano:in"),  # JACK: one device, two ports
        ("Organ:out", None),
    ],
)
def test_the_click_goes_to_the_piano_that_is_heard(heard: str, out: str | None) -> None:
    assert counterpart((*NAMES, "Digital Piano:in"), heard) == out
