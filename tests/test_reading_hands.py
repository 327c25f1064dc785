"""Which hand plays a note."""

from pathlib import Path

import pytest

from coach.score.model import Hand, Score
from coach.score.reading import hands_by_voice
from coach.score.reading.hands import _next, _Side, _State, hand_of_words
from tests.scorexml import (
    attributes,
    back,
    bar,
    direction,
    metre,
    note,
    opened,
    part,
    piano,
    rest,
    score,
    words,
)


def hands(found: Score, staff: int = 1) -> str:
    return " ".join(n.hand.value[0] for n in found.notes if n.staff == staff)


BASS = back(4) + rest(4, v="5", s=2)


@pytest.mark.parametrize(
    ("text", "hand"),
    [
        ("m.s.", Hand.LEFT), ("m. s.", Hand.LEFT), ("M.S.", Hand.LEFT), ("m.g.", Hand.LEFT),
        ("l.h.", Hand.LEFT), ("L. H.", Hand.LEFT), ("l.H.", Hand.LEFT), ("(l.h.)", Hand.LEFT),
        ("mano sinistra", Hand.LEFT), ("main gauche", Hand.LEFT), ("left hand", Hand.LEFT),
        ("m.d.", Hand.RIGHT), ("r.h.", Hand.RIGHT), ("R.H.", Hand.RIGHT), ("RH", Hand.RIGHT),
        ("mano destra", Hand.RIGHT), ("con la destra", Hand.RIGHT),
        ("dolce", None), ("mf", None), ("rhapsody", None), ("lhasa", None), ("m.v.", None),
        ("mdf", None), ("the melody in the left hand must sing out clearly", None),
    ],
)  # fmt: skip
def test_words_that_name_a_hand(text: str, hand: Hand | None) -> None:
    assert hand_of_words(text) is hand


def test_a_hand_named_holds_to_the_rest(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(bar(note("C5"), words("m.s."), note("D4"), rest(1), note("E5"), BASS)),
    )
    assert hands(found) == "R L R"


def test_a_hand_named_holds_to_the_end_of_the_bar_where_nothing_ends_it(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(bar(note("C5", 2), words("l.h."), note("D4", 2), BASS), bar(note("E5", 4), BASS)),
    )
    assert hands(found) == "R L R"


def test_a_countermark_ends_it_also_over_a_barline(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(note("C5", 2), words("l.h."), note("D4", 2), BASS),
            bar(note("E4", 2), words("r.h."), note("F5", 2), BASS),
        ),
    )
    assert hands(found) == "R L L R"


def test_a_bracket_says_how_far_it_holds(tmp_path: Path) -> None:
    start = '<direction-type><bracket type="start" line-end="down" number="1"/></direction-type>'
    found = opened(
        tmp_path,
        piano(
            bar(
                words("m.s.", more=start),
                note("C4"),
                direction('<bracket type="stop" line-end="down" number="1"/>'),
                note("D5"),
                note("E5"),
                note("F5"),
                BASS,
            )
        ),
    )
    assert hands(found) == "L R R R"


def test_a_hand_named_concerns_its_own_voice(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                words("l.h.", voice="2"),
                note("G5", 4),
                back(4),
                note("C4", 4, v="2"),
                BASS,
            )
        ),
    )
    assert hands(found) == "L R"


def test_a_hand_is_not_asked_for_what_it_cannot_reach(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(bar(words("l.h."), note("C6", 4), back(4), note("C2", 4, v="5", s=2))),
    )
    assert hands(found) == "R"


def test_the_right_hand_may_be_named_in_the_lower_staff(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(bar(rest(4), back(4), words("m.d.", staff=2), note("C4", 4, v="5", s=2))),
    )
    assert hands(found, 2) == "R"


def test_hands_by_the_home_staff_of_the_voice(tmp_path: Path) -> None:
    climbing = [note(name, 1, v="5", s=2) for name in ("C3", "E3", "G3", "C3") * 2]
    found = opened(
        tmp_path,
        piano(
            bar(note("C5", 4), back(4), *climbing[:4]),
            bar(note("C5", 4), back(4), *climbing[4:]),
            bar(note("C5", 4), back(4), note("C3", 3, v="5", s=2), note("E4", 1, v="5", s=1)),
        ),
    )
    assert hands(found) == "R R R R"
    assert [n.spelling.symbol for n in found.notes if n.hand_is_guess] == ["E4"]
    assert any("1 note off the staff" in r.text and "a guess" in r.text for r in found.remarks)
    by_voice = hands_by_voice(found)
    assert hands(by_voice) == "R R R L"
    assert hands(by_voice, 2) == "L L L L L L L L L"


def test_a_voice_without_a_home_goes_by_the_staff(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(bar(note("C5", 4), back(4), note("C3", 4, s=2)), bar(note("D5", 4))),
    )
    assert [n.hand for n in hands_by_voice(found).notes] == [n.hand for n in found.notes]


HIDE = '<staff-details number="{}" print-object="no"/>'


def test_a_staff_that_is_never_shown_is_not_played(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                f"<attributes><staves>3</staves>{HIDE.format(3)}</attributes>",
                note("C5", 4),
                note("C3", 4, s=2, chord=True),
                note("G5", 4, s=3, chord=True),
            )
        ),
    )
    assert [(n.spelling.symbol, n.hand, n.hand_is_guess) for n in found.notes] == [
        ("C3", Hand.LEFT, False),
        ("C5", Hand.RIGHT, False),
    ]
    assert "1 note that the page does not show" in found.remarks[0].text


def test_a_piano_of_two_staves_is_never_half_hidden(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                f"<attributes>{HIDE.format(2)}</attributes>",
                note("C5", 4),
                note("C3", 4, s=2, chord=True),
            )
        ),
    )
    assert len(found.notes) == 2


def test_three_staves(tmp_path: Path) -> None:
    text = piano(
        bar(
            '<attributes><staves>3</staves><clef number="2"><sign>F</sign><line>4</line></clef>'
            "</attributes>",
            note("C5", 4),
            note("E3", 4, s=2, chord=True),
            note("C2", 4, s=3, chord=True),
        )
    )
    found = opened(tmp_path, text)
    assert [(n.staff, n.hand, n.hand_is_guess) for n in found.notes] == [
        (3, Hand.LEFT, False),
        (2, Hand.LEFT, True),
        (1, Hand.RIGHT, False),
    ]


@pytest.mark.parametrize(
    ("left", "right"),
    [
        ("Left Hand", "Right Hand"),
        ("Linke Hand", "Rechte Hand"),
        ("main gauche", "main droite"),
        ("mano sinistra", "mano destra"),
        ("mano izquierda", "mano derecha"),
        ("LH", "RH"),
    ],
)
@pytest.mark.parametrize("left_first", [False, True])
def test_parts_named_by_hands_are_theirs_in_either_order(
    tmp_path: Path, left: str, right: str, left_first: bool
) -> None:
    opening = attributes(metre("4/4"), divisions=1)
    names = [(right, "C5"), (left, "C3")]
    if left_first:
        names.reverse()
    parts = [
        (name, part(bar(note(pitch, 4, s=None)), identity=f"P{at}", opening=opening))
        for at, (name, pitch) in enumerate(names, start=1)
    ]
    found = opened(tmp_path, score(*parts))
    hands = {one.spelling.symbol: one.hand for one in found.notes}
    assert hands == {"C5": Hand.RIGHT, "C3": Hand.LEFT}


@pytest.mark.parametrize(
    ("left", "right", "keys", "semitones"),
    [
        (60, 62, [], 0),
        (64, 62, [], 6),  # the hands lie crossed
        (48, 66, [60, 72], 0),  # an octave is no stretch
        (48, 67, [60, 74], 2),
        (48, 69, [60, 78], 6 + 2 * 8),  # two semitones beyond a tenth
        (48, 70, [61], 9**0.5 * 0.3),  # a way of nine semitones
        (40, 60, [60], 0.5 * 4),  # four beyond the middle, which lies at 64
    ],
)
def test_what_a_division_costs_in_semitones_of_stretch(
    left: int, right: int, keys: list[int], semitones: float
) -> None:
    """The right hand strikes the keys."""
    middle = 64 if keys == [60] else 30
    struck = [(0, 1, key) for key in keys]
    state = _State(0.0, _Side(left), _Side(right))
    assert _next(state, struck, 0, middle).cost == pytest.approx(semitones)
