"""Which part is the piano."""

from pathlib import Path

import pytest

from coach.cli.open_score import open_piece
from coach.record.pieces import piece_key
from coach.score.formats import ScoreError
from coach.score.model import Hand
from coach.score.reading import read_score
from tests.scorexml import attributes, bar, metre, note, opened, part, score


def one_staff(name: str, pitch: str = "C5", identity: str = "P1") -> tuple[str, str]:
    return name, part(
        bar(attributes(metre("4/4"), divisions=1), note(pitch, 4, s=None)), identity=identity
    )


def two_staves(name: str, pitch: str = "C5", identity: str = "P1") -> tuple[str, str]:
    inner = attributes(metre("4/4") + "<staves>2</staves>", divisions=1)
    return name, part(bar(inner, note(pitch, 4), note("C3", 4, s=2, chord=True)), identity=identity)


def test_two_parts_of_one_staff_are_one_piano(tmp_path: Path) -> None:
    text = score(one_staff("Piano (right)"), one_staff("Piano (left)", "C3", "P2"))
    found = opened(tmp_path, text)
    assert [(n.staff, n.hand) for n in found.notes] == [(2, Hand.LEFT), (1, Hand.RIGHT)]
    assert any("two staves of one piano" in r.text for r in found.remarks)


def test_of_several_pianos_the_first_is_read_and_said(tmp_path: Path) -> None:
    found = opened(tmp_path, score(two_staves("Piano I"), two_staves("Piano II", "G5", "P2")))
    assert [n.spelling.symbol for n in found.notes] == ["C3", "C5"]
    assert "more than one piano: Piano I was read, Piano II was left out" in found.remarks[0].text


@pytest.mark.parametrize("wanted", ["2", "Piano II", "piano ii", "II"])
def test_a_part_is_chosen_by_name_or_number(tmp_path: Path, wanted: str) -> None:
    file = tmp_path / "duo.musicxml"
    file.write_text(score(two_staves("Piano I"), two_staves("Piano II", "G5", "P2")))
    found = read_score(file, wanted)
    assert [n.spelling.symbol for n in found.notes] == ["C3", "G5"]
    assert "Piano II was read, Piano I was left out" in found.remarks[0].text


def test_another_players_part_can_be_chosen_too_and_a_wrong_name_says_which_there_are(
    tmp_path: Path,
) -> None:
    file = tmp_path / "song.musicxml"
    file.write_text(score(one_staff("Voice"), two_staves("Piano", "G5", "P2")))
    assert [n.spelling.symbol for n in read_score(file, "voice").notes] == ["C5"]
    with pytest.raises(ScoreError, match="no part “harp”: it has 1 Voice, 2 Piano"):
        read_score(file, "harp")


def test_a_chosen_part_is_kept_until_it_is_taken_back(tmp_path: Path) -> None:
    file, data = tmp_path / "duo.musicxml", tmp_path / "data"
    file.write_text(score(two_staves("Primo piano"), two_staves("Secondo piano", "G5", "P2")))
    keys = []
    for asked in (None, "Secondo", None, "", None):
        found = open_piece(file, data=data, part=asked)
        keys.append((found.notes[1].spelling.symbol, piece_key(found).key))
    assert [symbol for symbol, _ in keys] == ["C5", "G5", "G5", "C5", "C5"]
    assert len({key for _, key in keys}) == 2  # each part has a history of its own


def test_a_third_staff_that_is_a_part_of_its_own_belongs_to_the_piano(tmp_path: Path) -> None:
    text = score(one_staff("Piano", "G5"), two_staves("Piano", identity="P2"))
    found = opened(tmp_path, text)
    assert {(n.spelling.symbol, n.staff) for n in found.notes} == {("G5", 1), ("C5", 2), ("C3", 3)}
    assert any("2 parts were taken as the staves of one piano" in r.text for r in found.remarks)


def test_an_ossia_of_its_own_part_is_left_out_and_said(tmp_path: Path) -> None:
    found = opened(tmp_path, score(one_staff("Ossia piano", "G5"), two_staves("Piano", "C5", "P2")))
    assert [n.spelling.symbol for n in found.notes] == ["C3", "C5"]
    assert any("Ossia piano" in r.text for r in found.remarks)


def test_an_ossia_staff_is_left_out_and_said(tmp_path: Path) -> None:
    details = '<staff-details number="1"><staff-type>ossia</staff-type></staff-details>'
    inner = attributes(metre("4/4") + "<staves>3</staves>" + details, divisions=1)
    notes = note("G5", 4), note("C5", 4, s=2, chord=True), note("C3", 4, s=3, chord=True)
    found = opened(tmp_path, score(("Piano", part(bar(inner, *notes)))))
    assert [n.spelling.symbol for n in found.notes] == ["C3", "C5"]
    assert any("1 note of an ossia" in r.text for r in found.remarks)


def test_chord_symbols_are_kept_as_words(tmp_path: Path) -> None:
    root = "<root><root-step>B</root-step><root-alter>-1</root-alter></root>"
    bass = "<bass><bass-step>D</bass-step></bass>"
    symbol = f"<harmony>{root}<kind>minor-seventh</kind>{bass}</harmony>"
    inner = attributes(metre("4/4"), divisions=1)
    found = opened(tmp_path, score(("Song", part(bar(inner, symbol, note("C5", 4))))))
    assert [one.text for one in found.directions] == ["Bbm7/D"]


def test_a_named_piano_comes_before_another_part_of_two_staves(tmp_path: Path) -> None:
    found = opened(tmp_path, score(two_staves("Harp"), two_staves("Klavier", "G5", "P2")))
    assert [n.spelling.symbol for n in found.notes] == ["C3", "G5"]


def test_a_part_of_two_staves_without_a_name_is_the_piano(tmp_path: Path) -> None:
    found = opened(tmp_path, score(one_staff("Violin"), two_staves("", "G5", "P2")))
    assert len(found.notes) == 2


def test_the_only_part_is_played_with_one_hand(tmp_path: Path) -> None:
    found = opened(tmp_path, score(one_staff("Melody")))
    assert found.notes[0].hand is Hand.RIGHT
    assert found.notes[0].hand_is_guess
    assert any(r.kind == "guess" for r in found.remarks)


def test_a_score_without_a_piano_says_what_it_has(tmp_path: Path) -> None:
    with pytest.raises(ScoreError, match="has no piano part, only Violin, Cello"):
        opened(tmp_path, score(one_staff("Violin"), one_staff("Cello", "C3", "P2")))


def test_a_score_without_notes_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ScoreError, match="no note that could be played"):
        opened(tmp_path, score(("Piano", part(bar()))))


def test_a_title_on_the_page_and_its_composer(tmp_path: Path) -> None:
    head = (
        '<identification><creator type="composer">Anon.</creator></identification>'
        "<credit><credit-type>title</credit-type><credit-words>Study</credit-words></credit>"
    )
    text = score(two_staves("Piano")).replace("<part-list>", head + "<part-list>")
    found = opened(tmp_path, text)
    assert (found.title, found.composer) == ("Study", "Anon.")
    assert opened(tmp_path, score(two_staves("Piano"))).title == "case"


def test_a_timewise_score_is_the_same_score(tmp_path: Path) -> None:
    name, text = two_staves("Piano")
    partwise = score((name, text + ""))
    bars = text.replace('<part id="P1">', "").replace("</part>", "")
    inner = bars.replace('<measure number="1">', "").replace("</measure>", "")
    timewise = (
        '<score-timewise version="4.0"><part-list><score-part id="P1"><part-name>Piano</part-name>'
        f'</score-part></part-list><measure number="1"><part id="P1">{inner}</part></measure>'
        "</score-timewise>"
    )
    assert opened(tmp_path, timewise) == opened(tmp_path, partwise)
