"""When garbage is collected: while the hands rest, and not under them."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest

from coach.screens.gc_pause import RestCollector, settle_memory


@pytest.fixture
def collected() -> Iterator[list[int]]:
    """The generations that are collected."""
    seen: list[int] = []

    def note(phase: str, how: dict[str, int]) -> None:
        if phase == "start":
            seen.append(how["generation"])

    usual = gc.get_threshold()
    gc.callbacks.append(note)
    yield seen
    gc.callbacks.remove(note)
    gc.set_threshold(*usual)
    gc.collect()
    gc.freeze()


def test_it_is_collected_once_in_each_rest_and_not_before(collected: list[int]) -> None:
    settle_memory()
    rests = RestCollector()
    del collected[:]
    assert not rests.tick(100.0, None)  # nothing was played
    for at_s in (1.0, 1.4, 1.8):
        assert not rests.tick(at_s + 0.9 * 0.5, at_s)
    assert collected == []
    assert rests.tick(1.9 + 0.5, 1.8)
    assert not rests.tick(3.0, 1.8)
    assert collected == [2]
    assert rests.tick(5.0, 4.0)
    assert collected == [2, 2]


def test_a_passage_of_many_keys_is_not_interrupted(collected: list[int]) -> None:
    settle_memory()
    del collected[:]
    kept = [[k] for k in range(20_000)]  # Python's own way would have collected 28 times
    assert collected == []
    assert len(kept) == 20_000
