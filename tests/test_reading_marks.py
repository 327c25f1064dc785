"""What stands at the notes: fingerings, ornaments, slurs, octave lines, tempo, words."""

from fractions import Fraction as F
from pathlib import Path

import pytest

from coach.score.model import NoteMark
from tests.scorexml import attributes, back, bar, direction, metre, note, opened, piano, words


def finger(*texts: str) -> str:
    inner = "".join(f"<fingering>{text}</fingering>" for text in texts)
    return f"<technical>{inner}</technical>"


def test_fingerings_as_printed(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("C4", 1, notations=finger("1")),
                note("E4", 1, chord=True, notations=finger("2")),
                note("G4", 1, chord=True, notations=finger("5")),
                note("C5", 1, notations=finger("4", "5")),
                note("D5", 1, notations=finger("4-3")),
                note("E5", 1),
            )
        ),
    )
    assert [n.fingering for n in found.notes] == [
        ("1",), ("2",), ("5",), ("4", "5"), ("4", "3"), (),
    ]  # fmt: skip


def test_a_stack_of_fingers_on_a_chord_is_one_for_each_note(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("C4", 4, notations=finger("1", "3", "5")),
                note("E4", 4, chord=True),
                note("G4", 4, chord=True),
            )
        ),
    )
    assert [n.fingering for n in found.notes] == [("1",), ("3",), ("5",)]


@pytest.mark.parametrize(
    ("element", "mark"),
    [
        ("<ornaments><trill-mark/></ornaments>", NoteMark.TRILL),
        ('<ornaments><wavy-line type="start"/></ornaments>', NoteMark.TRILL),
        ("<ornaments><inverted-mordent/></ornaments>", NoteMark.MORDENT),
        ("<ornaments><delayed-turn/></ornaments>", NoteMark.TURN),
        ('<ornaments><tremolo type="single">3</tremolo></ornaments>', NoteMark.TREMOLO),
        ("<arpeggiate/>", NoteMark.ARPEGGIO),
        ('<glissando type="start"/>', NoteMark.GLISSANDO),
        ("<articulations><staccato/></articulations>", NoteMark.STACCATO),
        ("<articulations><strong-accent/></articulations>", NoteMark.MARCATO),
        ("<fermata/>", NoteMark.FERMATA),
    ],
)
def test_marks_hold_for_the_whole_chord(tmp_path: Path, element: str, mark: NoteMark) -> None:
    found = opened(
        tmp_path,
        piano(bar(note("C4", 2, notations=element), note("E4", 2, chord=True), note("G4", 2))),
    )
    assert [mark in n.marks for n in found.notes] == [True, True, False]


def test_both_notes_of_a_tremolo_are_free(tmp_path: Path) -> None:
    def tremolo(kind: str) -> str:
        return f'<ornaments><tremolo type="{kind}">3</tremolo></ornaments>'

    found = opened(
        tmp_path,
        piano(
            bar(
                note("C4", 2, notations=tremolo("start")),
                note("C5", 2, notations=tremolo("stop")),
            )
        ),
    )
    assert [n.is_free for n in found.notes] == [True, True]


def test_slurs(tmp_path: Path) -> None:
    def slur(kind: str) -> str:
        return f'<slur type="{kind}" number="1"/>'

    found = opened(
        tmp_path,
        piano(
            bar(
                note("C5", notations=slur("start")),
                note("D5"),
                note("E5", notations=slur("stop") + slur("start")),
                note("F5", notations=slur("stop")),
                back(4),
                note("C3", 4, v="5", s=2),
            )
        ),
    )
    assert {n.spelling.symbol: set(n.marks) for n in found.notes} == {
        "C5": {NoteMark.SLUR_START},
        "D5": {NoteMark.UNDER_SLUR},
        "E5": {NoteMark.SLUR_START, NoteMark.SLUR_END},
        "F5": {NoteMark.SLUR_END},
        "C3": set(),
    }


@pytest.mark.outside
def test_octave_lines_do_not_change_the_sounding_pitch(tmp_path: Path) -> None:
    # MusicXML 4.0, octave-shift: a treble line with 8va is "down" from the pitch data, which
    # is what sounds.
    found = opened(
        tmp_path,
        piano(
            bar(
                note("C5"),
                direction('<octave-shift type="down" size="8"/>'),
                note("C7"),
                note("D7"),
                direction('<octave-shift type="stop" size="8"/>'),
                note("C5"),
                back(4),
                note("C3", 4, v="5", s=2),
            )
        ),
    )
    assert sorted((n.pitch, n.octave_shift) for n in found.notes) == [
        (48, 0),
        (72, 0),
        (72, 0),
        (96, -1),
        (98, -1),
    ]


@pytest.mark.outside
def test_transposition_is_added_to_the_written_pitch(tmp_path: Path) -> None:
    # MusicXML 4.0, transpose: what must be added to the written pitch to get what sounds.
    def transpose(chromatic: int, diatonic: int | str = "", octaves: int | str = "") -> str:
        return attributes(
            f"<transpose>{diatonic and f'<diatonic>{diatonic}</diatonic>'}"
            f"<chromatic>{chromatic}</chromatic>"
            f"{octaves and f'<octave-change>{octaves}</octave-change>'}</transpose>"
        )

    found = opened(
        tmp_path,
        piano(
            bar(transpose(-2, -1), note("C5", 4)),
            bar(transpose(0, octaves=-1), note("C5", 4)),
        ),
    )
    assert [(n.spelling.symbol, n.octave_shift) for n in found.notes] == [("Bb4", 0), ("C4", 1)]


def test_clefs_also_inside_a_bar(tmp_path: Path) -> None:
    clef = (
        '<clef number="2"><sign>G</sign><line>2</line>'
        "<clef-octave-change>-1</clef-octave-change></clef>"
    )
    found = opened(
        tmp_path,
        piano(bar(note("C3", 2, s=2), attributes(clef), note("C5", 2, s=2))),
    )
    clef_found = found.clefs[0]
    assert (clef_found.staff, clef_found.onset_quarters, clef_found.sign) == (2, F(2), "G")
    assert clef_found.octave == -1


METRONOME = "<metronome><beat-unit>{}</beat-unit>{}<per-minute>{}</per-minute></metronome>"


@pytest.mark.parametrize(
    ("mark", "qpm"),
    [
        (METRONOME.format("quarter", "", "72"), 72),
        (METRONOME.format("quarter", "<beat-unit-dot/>", "80"), 120),
        (METRONOME.format("half", "", "ca. 60-66"), 120),
        (METRONOME.format("eighth", "", "100"), 50),
    ],
)
def test_metronome_marks_in_quarters_a_minute(tmp_path: Path, mark: str, qpm: int) -> None:
    # A dotted quarter at 80 is 120 quarters a minute (checks 0.4, from the arithmetic).
    found = opened(tmp_path, piano(bar(direction(mark), note("C5", 4))))
    assert [(t.qpm, t.is_guess) for t in found.tempos] == [(qpm, False)]


@pytest.mark.outside
def test_a_printed_number_wins_over_playback_and_words(tmp_path: Path) -> None:
    # MusicXML 4.0: sound tempo is in quarter notes per minute.
    sound = '<sound tempo="90"/>'
    found = opened(
        tmp_path,
        piano(
            bar(direction("<words>Allegro</words>", sound=sound), note("C5", 4)),
            bar(
                direction(METRONOME.format("quarter", "", "60"), sound=sound),
                note("C5", 4),
            ),
        ),
    )
    assert [(t.qpm, t.words, t.is_guess) for t in found.tempos] == [
        (90, "Allegro", False),
        (60, "", False),
    ]


def test_words_alone_are_a_guess_and_nothing_is_one_too(tmp_path: Path) -> None:
    # Trade pages agree on 168 to 200 for presto; common practice, no standard.
    found = opened(tmp_path, piano(bar(words("Presto"), note("C5", 4))))
    assert 168 <= found.tempos[0].qpm <= 200
    assert found.tempos[0].is_guess
    bare = opened(tmp_path, piano(bar(note("C5", 4))))
    assert [t.is_guess for t in bare.tempos] == [True]


def test_a_change_of_beat_keeps_the_beats_speed(tmp_path: Path) -> None:
    change = (
        "<metronome><beat-unit>quarter</beat-unit><beat-unit>quarter</beat-unit>"
        "<beat-unit-dot/></metronome>"
    )
    found = opened(
        tmp_path,
        piano(
            bar(direction(METRONOME.format("quarter", "", "60")), note("C5", 4)),
            bar(attributes(metre("6/8")), direction(change), note("C5", 3)),
        ),
    )
    assert [t.qpm for t in found.tempos] == [60, 90]


def test_words_and_dynamics_stand_where_they_are_printed(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("C5", 1),
                words("dolce"),
                direction("<dynamics><mf/></dynamics>", staff=2),
                note("D5", 3),
            )
        ),
    )
    assert [(d.onset_quarters, d.staff, d.text) for d in found.directions] == [
        (F(1), 1, "dolce"),
        (F(1), 2, "mf"),
    ]


def test_octave_lines_without_an_end_do_not_add_up(tmp_path: Path) -> None:
    """Each ends with its bar, or where the next begins; none is written three octaves off."""
    start = direction('<octave-shift type="down" size="8" number="{}"/>')
    found = opened(
        tmp_path,
        piano(
            bar(start.format(1), note("C6", 2), note("D6", 2)),
            bar(note("E6", 4)),
            bar(start.format(2), note("C6", 2), start.format(3), note("D6", 2)),
            bar(
                start.format(1),
                note("C6", 2),
                direction('<octave-shift type="stop" size="8" number="1"/>'),
                note("D6", 2),
            ),
        ),
    )
    assert [one.octave_shift for one in found.notes] == [-1, -1, 0, -1, -1, -1, 0]


def test_a_tremolo_has_its_strokes(tmp_path: Path) -> None:
    def tremolo(about: str, strokes: object) -> str:
        return f"<ornaments><tremolo {about}>{strokes}</tremolo></ornaments>"

    found = opened(
        tmp_path,
        piano(
            bar(
                note("C4", 1, notations=tremolo('type="single"', 3)),
                note("E4", 1, chord=True),
                note("C5", 1, notations=tremolo('type="start"', 2)),
                note("D5", 1, notations=tremolo("", "many")),
            )
        ),
    )
    assert [one.strokes for one in found.notes] == [3, 3, 2, 0]
    leads_on = [NoteMark.TREMOLO_TO_NEXT in one.marks for one in found.notes]
    assert leads_on == [False, False, True, False]


def test_a_grace_note_has_the_value_that_it_is_printed_with(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("D5", grace="plain", looks="quarter"),
                note("C5", 2, looks="half"),
                note("D5", grace="slash"),
                note("C5", 2, looks="half"),
            )
        ),
    )
    assert [one.grace_quarters for one in found.notes] == [1, 0, 0, 0]


@pytest.mark.parametrize(
    ("upper", "lower", "across"),
    [
        ('<arpeggiate number="1"/>', '<arpeggiate number="1"/>', True),
        ('<arpeggiate number="1"/>', '<arpeggiate number="2"/>', False),
        ("<arpeggiate/>", "<arpeggiate/>", False),  # each hand rolls its own
        ('<arpeggiate number="1"/>', "", False),
    ],
)
def test_an_arpeggio_of_one_number_goes_through_both_staves(
    tmp_path: Path, upper: str, lower: str, across: bool
) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("C5", 4, notations=upper),
                note("E5", 4, chord=True),
                back(4),
                note("C3", 4, v="2", s=2, notations=lower),
                note("G3", 4, v="2", s=2, chord=True),
            )
        ),
    )
    assert [NoteMark.ROLLED_ACROSS in one.marks for one in found.notes] == [across] * 4
