"""What was read is told so that it can be held against the page."""

import json
from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.score.build import score_from_notes
from coach.score.metre import Metre
from coach.score.model import Remark, Score, TempoMark
from coach.score.report import notes_plain, notes_table, report_plain, score_report
from coach.score.words import beat_name, count_of, key_words, mixed, printable


def minuet() -> Score:
    """A pickup and two bars of 6/8 in G: a small note, a tie, fingerings, a trill."""
    score = score_from_notes(
        [
            {"pitch": 74, "onset": 0, "length": F(1, 2), "hand": "RH", "fingering": "3"},
            {"pitch": 78, "onset": F(1, 2), "length": 0, "hand": "RH", "grace": True},
            {"pitch": 79, "onset": F(1, 2), "length": F(5, 2), "hand": "RH", "marks": ["trill"]},
            {"pitch": 43, "onset": F(1, 2), "length": 3, "hand": "LH"},
            {"pitch": 50, "onset": F(7, 2), "length": 3, "hand": "LH", "fingering": ["2", "1"]},
        ],
        metre="6/8",
        key_fifths=1,
        qpm=90,
        pickup_quarters=F(1, 2),
        title="Minuet of our own",
    )
    notes = list(score.notes)
    tied = next(i for i, n in enumerate(notes) if n.pitch == 43)
    notes[tied] = replace(
        notes[tied], segments_quarters=(F(3, 2), F(3, 2)), octave_shift=1, hand_is_guess=True
    )
    remarks = (Remark("left out", "The voice line."), Remark("repaired", "A barline."))
    return replace(score, notes=tuple(notes), remarks=remarks, source="minuet.xml", composer="Us")


def test_the_report() -> None:
    assert score_report(minuet()).splitlines() == [
        "Title      Minuet of our own, by Us",
        "File       minuet.xml",
        "Bars       3, numbered 0 to 2; the first is a pickup of 1/3 beat",
        "Metre      6/8",
        "Key        1 sharp (G major or E minor)",
        "Tempo      dotted quarter = 60",
        "Notes      5; 1 grace note; 1 freely played ornament; 1 held over by ties",
        "RH         3 notes, D5 to G5, on staff 1",
        "LH         2 notes, G2 to D3, on staff 2",
        "Hands      1 note by guess: see which (--notes), and move what is wrong",
        "Fingering  printed at 2 notes",
        "Left out   The voice line.",
        "Repaired   A barline.",
    ]


def test_the_table_of_notes() -> None:
    assert notes_table(minuet()).splitlines() == [
        "bar  no.   beat  in bar  onset  length  key  name  staff  voice  hand  finger  flags",
        "  0    0  2 2/3       0      0     1/2   74  D5    1      1      RH    3",
        "  1    1      1       0    1/2       0   78  F#5   1      1      RH    -       grace"
        " before its note",
        "  1    1      1       0    1/2       3   43  G2    2      5      LH    -       tied 3/2 +"
        " 3/2, written an octave higher, hand is a guess",
        "  1    1      1       0    1/2     5/2   79  G5    1      1      RH    -       trill",
        "  2    2      1       0    7/2       3   50  D3    2      5      LH    2 1",
    ]


def test_the_notes_as_data() -> None:
    notes = json.loads(json.dumps(notes_plain(minuet())))
    assert notes[0] == {
        "id": "n0",
        "bar_index": 0,
        "bar_number": "0",
        "beat": "2 2/3",
        "onset_in_bar_quarters": "0",
        "onset_quarters": "0",
        "length_quarters": "1/2",
        "pitch": 74,
        "spelling": "D5",
        "step": "D",
        "alter": 0,
        "octave": 5,
        "staff": 1,
        "voice": "1",
        "hand": "RH",
        "hand_is_guess": False,
        "fingering": ["3"],
        "grace": None,
        "segments_quarters": [],
        "octave_shift": 0,
        "marks": [],
        "flags": [],
    }
    assert notes[1]["grace"] == "before"
    assert notes[2]["segments_quarters"] == ["3/2", "3/2"]
    assert notes[3]["flags"] == ["trill"]


def test_the_report_as_data() -> None:
    data = json.loads(json.dumps(report_plain(minuet())))
    assert data["title"] == "Minuet of our own"
    assert data["notes_by_hand"] == {"RH": 3, "LH": 2}
    assert data["bars"][0]["lead_quarters"] == "5/2"
    assert data["bars"][1]["onset_quarters"] == "1/2"
    assert data["tempos"] == [{"onset_quarters": "0", "qpm": 90.0, "words": "", "is_guess": False}]
    assert data["remarks"][0] == {"kind": "left out", "text": "The voice line."}
    assert (data["fingered_notes"], data["guessed_hands"]) == (2, 1)


def line(score: Score, head: str) -> str:
    return next(li for li in score_report(score).splitlines() if li.startswith(head))


def bars(count: int) -> Score:
    return score_from_notes(
        [{"pitch": 60, "onset": 4 * i, "length": 4, "hand": "RH"} for i in range(count)]
    )


def test_changes_are_named_by_the_bars_that_they_come_in() -> None:
    score = bars(4)
    changed = [replace(bar, metre=Metre(3, 2), key_fifths=-2) for bar in score.bars[2:]]
    score = replace(score, bars=(*score.bars[:2], *changed))
    assert line(score, "Metre").endswith("4/4; 3/2 from bar 3")
    assert line(score, "Key").endswith("2 flats (B flat major or G minor) from bar 3")
    assert line(score, "Other").endswith("bar 3 (2 beats), bar 4 (2 beats)")


def test_repeats_are_said_to_be_as_written() -> None:
    score = bars(2)
    ended = replace(score.bars[1], repeat_end=True, ending="1, 2")
    text = line(replace(score, bars=(score.bars[0], ended)), "Repeats")
    assert text.endswith("1 repeat sign, shown and drilled as written; endings 1, 2")


def test_tempos_say_where_and_whether_they_are_guesses() -> None:
    marks = (TempoMark(F(0), 72, "Andante", True), TempoMark(F(5), 100))
    text = line(replace(bars(2), tempos=marks), "Tempo")
    assert text.endswith("Andante, quarter = 72 (a guess); quarter = 100 from bar 2, beat 2")


def test_a_long_list_is_cut() -> None:
    score = bars(30)
    odd = tuple(replace(bar, length_quarters=F(3)) for bar in score.bars)
    assert "and 18 more" in score_report(replace(score, bars=odd))


def test_guessed_hands_and_an_empty_hand() -> None:
    score = bars(2)
    guessed = tuple(replace(note, hand_is_guess=True) for note in score.notes)
    assert "all are a guess" in line(replace(score, notes=guessed), "Hands")
    assert line(score, "LH").endswith("nothing to play")


def test_nothing_in_a_file_reaches_the_terminal_as_control_characters() -> None:
    note = replace(bars(1).notes[0], voice="\x1b[2J", fingering=("\a",))
    score = replace(
        bars(1), notes=(note,), title="a\x1b]0;x\x07", remarks=(Remark("odd", "b\nc\x9b"),)
    )
    assert all(c.isprintable() for c in score_report(score).replace("\n", ""))
    assert all(c.isprintable() for c in notes_table(score).replace("\n", ""))
    assert "odd        b c?" in score_report(score)


def test_a_score_without_anything() -> None:
    assert "Bars       none" in score_report(Score("", (), ()))
    assert notes_table(Score("", (), ())).startswith("bar  no.")
    assert report_plain(Score("", (), ()))["bars"] == []


@pytest.mark.parametrize(
    ("fifths", "words"),
    # The circle of fifths (common practice).
    [
        (0, "no signs (C major or A minor)"),
        (3, "3 sharps (A major or F sharp minor)"),
        (-5, "5 flats (D flat major or B flat minor)"),
        (9, "9 sharps"),
    ],
)
@pytest.mark.outside
def test_key_signatures(fifths: int, words: str) -> None:
    assert key_words(fifths) == words


def test_small_words() -> None:
    assert [mixed(F(n, 2)) for n in range(4)] == ["0", "1/2", "1", "1 1/2"]
    assert (count_of(1, "note"), count_of(1200, "note")) == ("1 note", "1,200 notes")
    assert (beat_name(F(3, 2)), beat_name(F(5, 2))) == ("dotted quarter", "5/2 quarters")
    assert printable("x" * 20, 5) == "xxxx…"
