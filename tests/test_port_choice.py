"""Which port is the piano."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.playing.ports.ports import choose, counterpart, name_port, name_ports, others

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
    assert name_port(NAMES[1]) == "Stage Piano:Stage Piano MIDI 1"


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


TWINS = ("Digital Piano:Digital Piano MIDI 1 20:0", "Digital Piano:Digital Piano MIDI 1 24:0")
"""As ALSA names two of the same make."""
JACK_TWINS = ("Digital Piano:out", "Digital Piano-01:out")


@pytest.mark.parametrize("names", [TWINS, JACK_TWINS])
def test_two_pianos_of_the_same_name_can_be_told_apart_and_each_be_chosen(
    names: tuple[str, ...],
) -> None:
    listed = name_ports(names)
    assert len(set(listed)) == 2
    assert [choose(names, one) for one in listed] == list(names)
    assert choose(names[1:], listed[0]) == names[1]  # plugged again: another number


def test_one_piano_is_listed_without_its_number() -> None:
    assert name_ports(NAMES) == tuple(map(name_port, NAMES))


@pytest.mark.parametrize("number", ["-01", "-02"])
def test_a_piano_that_jack_has_numbered_anew_is_the_same(number: str) -> None:
    names = ("Organ:out", f"Digital Piano{number}:out")
    assert choose(names, "Digital Piano:out") == names[1]
    assert choose(("Organ:out", "Digital Piano:out"), names[1]) == "Digital Piano:out"


@pytest.mark.parametrize(
    ("names", "heard", "there"),
    [
        (("Piano:out", "Organ:out"), "Piano:out", ("Organ",)),
        (("Piano:out", "Piano:second"), "Piano:out", ()),  # one device with two ports
        (JACK_TWINS, JACK_TWINS[1], ("Digital Piano",)),
        (JACK_TWINS, JACK_TWINS[0], ("Digital Piano-01",)),
        (TWINS, TWINS[0], (TWINS[1],)),
        (("Keys:Keys MIDI 1 20:0", "Keys:Keys MIDI 2 20:1"), "Keys:Keys MIDI 1 20:0", ()),
        (("Piano:out", *NAMES[:1], "system:midi_capture_1"), "Piano:out", ()),
        (
            ("a2j:Piano [20] (capture): Piano MIDI 1", "a2j:Organ [24] (capture): Organ MIDI 1"),
            "a2j:Piano [20] (capture): Piano MIDI 1",
            ("a2j:Organ [24] (capture): Organ MIDI 1",),
        ),
    ],
)
def test_other_pianos_are_named_so_that_asking_for_them_gets_them(
    names: tuple[str, ...], heard: str, there: tuple[str, ...]
) -> None:
    assert others(names, heard) == there
    assert heard not in [choose(names, one) for one in there]


@pytest.mark.property
@given(st.lists(st.text(max_size=12), unique=True, max_size=6), st.data())
def test_whatever_ports_are_called_each_of_the_others_can_be_asked_for(
    names: list[str], data: st.DataObject
) -> None:
    if not names:
        return
    heard = data.draw(st.sampled_from(names))
    for wish in others(names, heard):
        assert choose(names, wish) is not None
