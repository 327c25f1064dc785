"""The computer keyboard as a makeshift piano."""

import pytest

from coach.playing.letter_keyboard import Layout, pitch_of


@pytest.mark.parametrize(
    ("letters", "pitches"),
    [
        ("zxcvbnm,", [48, 50, 52, 53, 55, 57, 59, 60]),  # C major from C3, the white keys
        ("qwertyui", [60, 62, 64, 65, 67, 69, 71, 72]),  # and from middle C
        ("sdghj", [49, 51, 54, 56, 58]),
        ("23567", [61, 63, 66, 68, 70]),
        ("Qa ", [60, None, None]),
    ],
)
def test_letters_are_keys(letters: str, pitches: list[int | None]) -> None:
    assert [pitch_of(letter) for letter in letters] == pitches


@pytest.mark.parametrize("layout", Layout)
def test_every_layout_has_the_same_keys_once(layout: Layout) -> None:
    struck = [pitch_of(chr(code), layout=layout) for code in range(33, 256)]
    heard = sorted(pitch for pitch in struck if pitch is not None)
    # An upper-case letter is its lower-case one, so letters are met twice.
    assert sorted(set(heard)) == list(range(48, 77))


def test_octaves_move_it_and_nothing_leaves_the_keyboard() -> None:
    assert pitch_of("q", octaves=1) == 72
    assert pitch_of("p", octaves=5) is None
    assert pitch_of("", octaves=0) is None
