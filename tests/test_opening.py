"""Opening a score: the cache, and one sentence for everything that goes wrong."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from fractions import Fraction as F
from pathlib import Path

import pytest

from coach.score.build import score_from_notes
from coach.score.formats import ScoreError
from coach.score.model import Score
from coach.score.opening import OpeningCancelled, ReaderFault, cache, open_score, score_key
from coach.score.serialize import score_to_plain

SCORE = score_from_notes(
    [{"pitch": 60 + i, "onset": F(i, 2), "length": F(1, 2), "hand": "RH"} for i in range(8)],
    title="Eight",
)


@pytest.fixture
def place(tmp_path: Path) -> Place:
    return Place(tmp_path)


class Place:
    """A folder with one score file in it, a cache, and a reader that is a line of Python."""

    def __init__(self, folder: Path) -> None:
        self.cache = folder / "cache"
        self.score = folder / "eight.musicxml"
        self.score.write_text("<score-partwise/>")
        self.runs = folder / "runs"
        self.plain = folder / "plain.json"
        self.plain.write_text(json.dumps(score_to_plain(SCORE)))

    def reader(self, answer: str) -> tuple[str, ...]:
        code = f"import sys, time; open({str(self.runs)!r}, 'a').write('.'); {answer}"
        return ("-c", code)

    @property
    def good(self) -> tuple[str, ...]:
        return self.reader(f"print('score'); print(open({str(self.plain)!r}).read(), end='')")

    def open(
        self,
        reader: tuple[str, ...] | None = None,
        on_progress: Callable[[str], None] = lambda text: None,
        cancelled: Callable[[], bool] = lambda: False,
    ) -> Score:
        return open_score(
            self.score,
            cache_dir=self.cache,
            reader=reader or self.good,
            on_progress=on_progress,
            cancelled=cancelled,
        )

    @property
    def times_read(self) -> int:
        return len(self.runs.read_text()) if self.runs.exists() else 0

    @property
    def entry(self) -> Path:
        (entry,) = self.cache.iterdir()
        return entry


def test_a_score_opens_and_says_where_it_came_from(place: Place) -> None:
    score = place.open()
    assert score == SCORE
    assert score.source == "eight.musicxml"


def test_the_second_time_it_is_not_read_again(place: Place) -> None:
    assert place.open() == place.open()
    assert place.times_read == 1


def test_other_content_is_read_anew(place: Place) -> None:
    place.open()
    place.score.write_text("<score-partwise version='4.0'/>")
    place.open()
    assert place.times_read == 2


def test_the_cache_can_be_deleted(place: Place) -> None:
    place.open()
    place.entry.unlink()
    place.cache.rmdir()
    assert place.open() == SCORE
    assert place.times_read == 2


@pytest.mark.parametrize(
    "harm",
    [
        lambda data: b"",
        lambda data: data[:-10],
        lambda data: data.replace(b'"rows":', b'"rowt":'),
        lambda data: data.replace(b"60", b"61", 1),
        lambda data: b"\x80\x04cos\nsystem\n(S'echo harm'\ntR.",
        lambda data: data.split(b"\n")[0] + b"\n" + b"[" * 100_000,
    ],
)
def test_a_damaged_entry_is_ignored_and_made_anew(
    place: Place, harm: Callable[[bytes], bytes]
) -> None:
    place.open()
    whole = place.entry.read_bytes()
    place.entry.write_bytes(harm(whole))
    assert place.open() == SCORE
    assert place.times_read == 2
    assert place.entry.read_bytes() == whole


def test_a_wrong_score_in_a_well_sealed_entry_is_ignored(place: Place) -> None:
    place.open()
    body = b'{"format":1,"title":"Eight"}'
    place.entry.write_bytes(cache._head(body) + body)
    assert place.open() == SCORE
    assert place.times_read == 2


def test_an_entry_is_text_that_anyone_can_read(place: Place) -> None:
    place.open()
    head, body = place.entry.read_bytes().split(b"\n", 1)
    assert head.startswith(b"score 6 ")
    assert json.loads(body)["title"] == "Eight"


def test_a_cache_that_cannot_be_written_does_not_matter(place: Place) -> None:
    place.cache.write_text("a file where the folder should be")
    assert place.open() == SCORE


def test_nothing_half_written_stays_in_the_cache(place: Place) -> None:
    place.open()
    assert [entry.suffix for entry in place.cache.iterdir()] == [".score"]


def test_the_cache_does_not_grow_without_end(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "_MOST_ENTRIES", 2)
    for i in range(4):
        place.score.write_text("<score-partwise/>" + " " * i)
        place.open()
        os.utime(max(place.cache.iterdir(), key=lambda e: e.stat().st_mtime_ns), (i, i))
    assert len(list(place.cache.iterdir())) == 2


def test_a_score_written_to_while_it_is_read_is_not_kept(place: Place) -> None:
    place.open(place.reader(place.good[1] + f"; open({str(place.score)!r}, 'a').write(' ')"))
    assert not place.cache.exists()


def test_the_key_follows_the_content_not_the_name(place: Place, tmp_path: Path) -> None:
    other = tmp_path / "copy.xml"
    other.write_bytes(place.score.read_bytes())
    assert score_key(other) == score_key(place.score)
    other.write_text("else")
    assert score_key(other) != score_key(place.score)


def test_progress_is_told_and_errors_are_not_cached(place: Place) -> None:
    told: list[str] = []
    slow = place.reader("time.sleep(1.2); print('refused'); print('eight.musicxml is no good.')")
    for _ in range(2):
        with pytest.raises(ScoreError, match=r"^eight\.musicxml is no good\.\s*$"):
            place.open(slow, on_progress=told.append)
    assert told[0] == "Reading eight.musicxml"
    assert "Reading eight.musicxml: 1 s" in told
    assert place.times_read == 2


def test_reading_can_be_cancelled(place: Place) -> None:
    start = time.monotonic()
    with pytest.raises(OpeningCancelled, match=r"^Reading eight\.musicxml was cancelled\.$"):
        place.open(place.reader("time.sleep(60)"), cancelled=lambda: place.times_read > 0)
    assert time.monotonic() - start < 30


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        ("print('fault'); print('KeyError')", "does not understand: export it"),
        ("print('score'); print('{')", "does not understand: export it"),
        ("print('score'); print('[' * 200000)", "does not understand: export it"),
        ("print('score'); print('{}')", "does not understand: export it"),
        ("raise SystemExit(1)", "the reader broke off"),
    ],
)
def test_a_failing_reader_is_one_sentence(place: Place, answer: str, said: str) -> None:
    with pytest.raises(ReaderFault, match=said) as caught:
        place.open(place.reader(answer))
    assert str(caught.value).startswith("eight.musicxml ")
    assert "\n" not in str(caught.value)
    assert caught.value.detail


def test_a_machine_that_starts_no_program_is_one_sentence(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_room(*arguments: tuple[str, str], **how: dict[str, str] | int) -> None:
        raise BlockingIOError("no room for another process")

    monkeypatch.setattr("coach.score.opening.process.start_python", no_room)
    with pytest.raises(ScoreError, match="starts no further program"):
        place.open(place.good)


def test_a_sentence_cannot_carry_control_characters_to_the_terminal(place: Place) -> None:
    with pytest.raises(ScoreError) as caught:
        place.open(place.reader(r"print('refused'); print('a \x1b[31m b', end='')"))
    assert str(caught.value) == "a ?[31m b"
