"""Hostile and broken files: each opens with what was repaired, or is refused in one sentence."""

from pathlib import Path

import pytest

from coach.score.formats import ScoreError
from coach.score.model import Score
from coach.score.opening import open_score
from coach.score.opening.limits import check_archive, file_bytes, is_archive
from coach.score.reading import read_score
from scripts.hostile_scores import KINDS, MANY

# What music21 reads can hang it, so only a process with limits may try.
APART = [kind for kind in sorted(KINDS) if kind.endswith((".abc", ".krn", ".mei"))]
QUICK = sorted(KINDS.keys() - MANY.keys() - set(APART))

SAID = {
    "a letter.xml": "is not a score that can be read",
    "white space.xml": "is empty",
    "a pickle.xml": "is not a score that can be read",
    "no bars.musicxml": "holds no bars",
    "no notes.musicxml": "holds no note that could be played",
    "drums.musicxml": "is written for percussion alone, without pitches: open a score with a piano",
    "zip cut in half.mxl": "is a damaged archive",
    "zip bomb, one file.mxl": "times its size",
    "zip bomb, many files.mxl": "no score needs more than 64",
    "zip that lies about a size.mxl": "is a damaged or locked archive",
    "zip of 2,000 files.mxl": "is an archive of more than 256 files",
    "zip naming ../../out.xml.mxl": "names a file outside itself",
    "zip with a password.mxl": "is locked with a password",
    "zip without a score.mxl": "is an archive without a MusicXML score",
    "a thousand million laughs.xml": "declares XML entities",
    "an entity from a file.xml": "declares XML entities",
    "an entity from the network.xml": "declares XML entities",
    "a parameter entity.xml": "declares XML entities",
    "cut before the first bar.xml": "is damaged at line 1",
}

SAID |= {
    "a million notes.mid": "has more than 2 MiB of MIDI",
    "20,000 tracks.mid": "has more than 256 tracks",
    "cut track.mid": "is a damaged MIDI file",
    "division 0.mid": "gives no length to a beat",
    "format 2.mid": "holds several pieces in one file",
    "a rest of 500 years.mid": "is longer than 20000 bars",
}

REPAIRED = {
    "cut inside a bar.xml": "only the whole bars before that place were read",
    "NUL characters in it.xml": "Characters that XML does not allow were put right",
    "duration 1e30.xml": "In bar 2 a note's length was damaged and taken from its looks",
    "duration 0.xml": "In bar 2 a note's length was damaged and taken from its looks",
    "octave 99.xml": "In bar 2 a note without a readable pitch was left out",
    "beats 1000000.xml": "In bar 2 a damaged key, metre, clef or division was passed over",
    "backup 1000000.xml": "In bar 2 a step in time was damaged and passed over",
}


def read(folder: Path, kind: str) -> Score | str:
    """What comes of one kind of file, read in this process: a score, or the sentence."""
    path = folder / kind.replace("/", "-")[-80:]
    path.write_bytes(KINDS[kind]())
    try:
        data = file_bytes(path)
        if is_archive(data):
            check_archive(data, path.name)
        return read_score(path)
    except ScoreError as error:
        return str(error)


@pytest.mark.parametrize("kind", QUICK)
def test_every_kind_ends_in_a_score_or_a_sentence(tmp_path: Path, kind: str) -> None:
    result = read(tmp_path, kind)
    if isinstance(result, Score):
        assert result.notes
        assert result.bars
        assert all(n.length_quarters > 0 or n.grace for n in result.notes)
    else:
        assert result.startswith(kind.replace("/", "-")[-80:])
        assert result.isprintable()
        assert result.endswith(".")


@pytest.mark.parametrize(("kind", "said"), SAID.items())
def test_a_refusal_says_why(tmp_path: Path, kind: str, said: str) -> None:
    result = read(tmp_path, kind)
    assert isinstance(result, str)
    assert said in result


@pytest.mark.parametrize(("kind", "said"), REPAIRED.items())
def test_a_repair_is_told_with_its_place(tmp_path: Path, kind: str, said: str) -> None:
    score = read(tmp_path, kind)
    assert isinstance(score, Score)
    assert any(said in remark.text for remark in score.remarks)


@pytest.mark.parametrize("kind", ["a million notes.mxl", "500,000 bars.xml"])
def test_too_much_is_refused_by_the_whole_way(tmp_path: Path, kind: str) -> None:
    path = tmp_path / kind
    path.write_bytes(KINDS[kind]())
    with pytest.raises(ScoreError, match="no score needs"):
        open_score(path, cache_dir=tmp_path / "cache")
    assert not (tmp_path / "cache").exists()


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("abc over nothing.abc", "is ABC that cannot be read"),
        (
            "abc with a long rest.abc",
            "takes more than 1024 MiB|takes longer than 18 seconds of work",
        ),
        ("mei with an entity.mei", "declares XML entities"),
        ("kern without notes.krn", "holds no note that could be played"),
    ],
)
def test_what_music21_reads_cannot_hang_the_coach(tmp_path: Path, kind: str, said: str) -> None:
    path = tmp_path / kind
    path.write_bytes(KINDS[kind]())
    with pytest.raises(ScoreError, match=said):
        open_score(path, cache_dir=tmp_path / "cache")


def test_a_file_opens_the_whole_way_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "duration 1e30.xml"
    path.write_bytes(KINDS[path.name]())
    score = open_score(path, cache_dir=tmp_path / "cache")
    assert [note.length_quarters for note in score.notes] == [4, 4, 4]
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["cache", path.name]
