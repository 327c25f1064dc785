"""A piece played through: its bars in the order of playing, and how their passes are said."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path
from typing import Any

import pytest

from coach.cli import main
from coach.cli.open_score import open_piece
from coach.score.build import score_from_notes
from coach.score.model import Barline, Clef, Direction, Score, TempoMark
from coach.score.reading import read_score
from coach.score.repeats import list_played_bars, unfold
from coach.score.window import WindowError, choose_window, excerpt
from scripts.corpus import corpus


def page(signs: str) -> Score:
    """A bar for each word, in whole notes. ``|:`` before and ``:|`` after a bar repeat, ``:|xxx``
    three times in all, ``1.`` is an ending, what is in brackets is written over the bar's end, in
    braces over its beginning."""
    words = signs.split()
    notes = [
        {"pitch": 60 + at, "onset": 4 * at, "length": 4, "hand": "RH"} for at in range(len(words))
    ]
    score = score_from_notes(notes)
    bars, said, ending = [], [], ""
    for bar, word in zip(score.bars, words, strict=True):
        digits = "".join(char for char in word.split("(")[0].split("{")[0] if char in "123,-")
        ending = digits or ending
        bars.append(
            replace(
                bar,
                repeat_start=word.startswith("|:"),
                repeat_end=":|" in word,
                passes=word.count("x"),
                ending=ending,
            )
        )
        ending = "" if ":|" in word or "]" in word else ending
        if "(" in word:
            text = word.split("(")[1].split(")")[0].replace("_", " ")
            said.append(Direction(bar.end_quarters, 1, text, ends_bar=True))
        if "{" in word:
            text = word.split("{")[1].split("}")[0]
            said.append(Direction(bar.onset_quarters, 1, text))
    return replace(score, bars=tuple(bars), directions=tuple(said))


def played(signs: str) -> str:
    """The numbers of the bars in the order of playing."""
    return " ".join(str(at + 1) for at in list_played_bars(page(signs)))


@pytest.mark.outside
@pytest.mark.parametrize(
    ("signs", "order"),
    [
        (". . .", "1 2 3"),
        (". .:| .", "1 2 1 2 3"),
        (". |:. .:| .", "1 2 3 2 3 4"),
        (".:| |:.:| .", "1 1 2 2 3"),
        (".:| .:| .", "1 1 2 2 3"),
        (". |:.:|xxx .", "1 2 2 2 3"),
        (". 1.:|xxx 2.] . .(D.C.)", "1 2 1 3 4 5 1 3 4 5"),  # the endings know better
        (". 1.:| 2.] .", "1 2 1 3 4"),
        ("|:. 1. .:| 2. .] .", "1 2 3 1 4 5 6"),
        (". 1,2.:| 3.] .", "1 2 1 2 1 3 4"),
        (". . .(Fine) . .(D.C._al_Fine)", "1 2 3 4 5 1 2 3"),
        (".:| .(Fine) .:| .(D.C.)", "1 1 2 3 2 3 4 1 2"),
        (". {Segno}. .(Fine) .(D.S._al_Fine)", "1 2 3 4 2 3"),
        (". .(To_Coda) . .(D.C._al_Coda) {Coda}.", "1 2 3 4 1 2 5"),
        (". {Segno}. .(To_Coda) .(D.S._al_Coda) {Coda}. .", "1 2 3 4 2 3 5 6"),
        (". 1.:| 2.](Fine) .(D.C.)", "1 2 1 3 4 1 3"),
        (".(Da_Capo) .", "1 1 2"),
        (". .(Fine) .", "1 2 3"),  # nobody goes back: the piece goes on
    ],
)  # fmt: skip
def test_bars_are_played_in_the_order_that_the_page_asks_for(signs: str, order: str) -> None:
    """Common practice; da capo without repeats, with the last ending."""
    assert played(signs) == order


@pytest.mark.outside
def test_a_rag_of_the_corpus_is_played_through_as_music21_has_it() -> None:
    """Joplin, Maple Leaf Rag: strains of 16 bars, twice each; by music21's expandRepeats (10.5). A
    second ending, of the first strain, has no bracket in the file: music21 takes that repeat for
    none, and we take it, as the page has a sign there."""
    from music21 import converter

    score = read_score(corpus() / "joplin/maple_leaf_rag.mxl")
    order = list_played_bars(score)
    rag: Any = converter.parse(corpus() / "joplin/maple_leaf_rag.mxl")
    theirs = rag.parts[0].expandRepeats()
    numbers = [measure.number for measure in theirs.getElementsByClass("Measure")]
    ours = [int(score.bars[at].number) for at in order]
    assert ours[ours.index(18) :] == numbers[numbers.index(18) :]
    assert ours[: ours.index(18)] == [0, *range(1, 17), *range(1, 16), 17]


def test_a_bar_says_which_time_it_is_played() -> None:
    score = unfold(page(". 1.:| 2.] ."))
    words = [bar.words for bar in score.bars]
    assert words == ["bar 1, first time", "bar 2", "bar 1, second time", "bar 3", "bar 4"]
    assert str(score.place(F(9))) == "bar 1, second time, beat 2"
    assert score.bars[0].words_to(score.bars[2]) == "bar 1, first time, to bar 1, second time"
    twice = unfold(page(". . .:|"))
    assert twice.bars[3].words_to(twice.bars[5]) == "bars 1 to 3, second time"


def test_notes_lie_where_they_are_played_and_are_told_apart() -> None:
    score = unfold(page(". .:| ."))
    assert [note.pitch - 60 for note in score.notes] == [0, 1, 0, 1, 2]
    assert [note.onset_quarters for note in score.notes] == [0, 4, 8, 12, 16]
    assert [note.bar_index for note in score.notes] == [0, 1, 2, 3, 4]
    assert len({note.id for note in score.notes}) == 5
    assert not any(bar.repeat_start or bar.repeat_end or bar.ending for bar in score.bars)
    assert score.remarks[-1].text.endswith("5 bars for 3 on the page.")


def test_a_final_barline_that_is_played_over_is_none() -> None:
    """Where one plays on after it (da capo) the piece is not over."""
    score = page(". .:|")
    ended = replace(score.bars[1], barline=Barline.FINAL)
    through = unfold(replace(score, bars=(replace(score.bars[0], barline=Barline.DOUBLE), ended)))
    double, final = Barline.DOUBLE, Barline.FINAL
    assert [bar.barline for bar in through.bars] == [double, None, double, final]


def test_a_piece_without_repeats_is_the_same_object() -> None:
    score = page(". . .")
    assert unfold(score) is score


def test_a_clef_and_a_tempo_hold_again_where_one_goes_back_to() -> None:
    score = page(". . .:|")
    changed = replace(
        score,
        clefs=(Clef(1, F(0), "G", 2), Clef(1, F(8), "F", 4)),
        tempos=(TempoMark(F(0), 60.0), TempoMark(F(8), 90.0)),
    )
    through = unfold(changed)
    assert [(int(one.onset_quarters), one.sign) for one in through.clefs] == [
        (0, "G"), (8, "F"), (12, "G"), (20, "F"),
    ]  # fmt: skip
    assert through.tempo_at(F(13)) == 60.0
    assert through.tempo_at(F(20)) == 90.0
    later = unfold(replace(changed, bars=page(". . |:.:|").bars))
    assert [one.sign for one in later.clefs if one.onset_quarters == 12] == ["F"]


def test_a_note_tied_over_the_repeat_sign_ends_there() -> None:
    score = page(". .:| .")
    long = replace(score.notes[1], length_quarters=F(8), segments_quarters=(F(4), F(4)))
    through = unfold(replace(score, notes=(score.notes[0], long, score.notes[2])))
    assert [note.length_quarters for note in through.notes] == [4, 4, 4, 8, 4]


@pytest.mark.parametrize(
    ("bars", "order"),
    [
        ("1-3", "1 2 3 1 2 3"),  # what is wholly inside is played as often as it is repeated
        ("1-4", "1 2 3 1 2 3 4"),
        ("2-4", "2 3 1 2 3 4"),  # back and on
        ("2-3", "2 3"),
        ("4", "4"),
        ("#5-#6", "2 3"),
    ],
)
def test_a_window_goes_on_until_its_last_bar_is_played(bars: str, order: str) -> None:
    score = unfold(page(". . .:| ."))
    window = choose_window(score, bars=bars)
    inside = [
        bar.number
        for bar in score.bars
        if window.start_quarters <= bar.onset_quarters < window.end_quarters
    ]
    assert " ".join(inside) == order
    assert excerpt(score, window).notes


def test_a_bar_that_is_not_played_again_says_so() -> None:
    with pytest.raises(WindowError):
        choose_window(unfold(page(". .:| .")), bars="9")


def test_the_choice_is_kept_with_the_piece(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """``--repeats`` holds for every opening until ``--no-repeats``; the record is another's."""
    rag, data = corpus() / "joplin/maple_leaf_rag.mxl", tmp_path / "data"
    written = open_piece(rag, data=data)
    through = open_piece(rag, data=data, repeats=True)
    assert len(through.bars) > len(written.bars)
    assert open_piece(rag, data=data) == through
    assert open_piece(rag, data=data, repeats=False) == written
    assert open_piece(rag, data=data) == written
    main(["--data", str(data), "score", str(rag), "--repeats"])
    assert "with its repeats" in capsys.readouterr().out
