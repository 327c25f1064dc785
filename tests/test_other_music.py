"""Other music is told from the window with slips in it, and the window from what was around it."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction as F
from itertools import cycle, product
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.judging.alignment import match
from coach.judging.instead.key_sequence import list_errors_to_end, order_strokes
from coach.judging.instead.other_music import RIVAL_BETTER, SLIP
from coach.judging.instead.surroundings import KeyRows, Surroundings
from coach.judging.judge import judge
from coach.judging.model import Family, Instead, Judgement, Label
from coach.judging.wording import OTHER_NOTES, OTHER_PLACE, transposed_words
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score, ScoreNote
from coach.score.window import Excerpt, Window, excerpt
from tests.breadth import every
from tests.judging_help import tune, whole
from tests.live import SAMPLES, sample

KEYS = st.lists(st.integers(60, 64), max_size=12)


def by_the_book(keys: Sequence[int], written: Sequence[int]) -> list[int]:
    """The last column of the usual table (Sellers 1980), cell by cell."""
    column = list(range(len(keys) + 1))
    for pitch in written:
        before, column = column, [0]
        for at, key in enumerate(keys, 1):
            column.append(min(before[at] + 1, column[-1] + 1, before[at - 1] + (key != pitch)))
    return column


@pytest.mark.property
@given(KEYS, KEYS)
def test_the_errors_up_to_a_row_s_end_are_those_of_the_usual_table(
    keys: list[int], written: list[int]
) -> None:
    assert list_errors_to_end(keys, written) == by_the_book(keys, written)


def bars_of(score: Score, first: int, count: int, hands: Hands = Hands.TOGETHER) -> Window:
    bars = score.bars[first : first + count]
    return Window(bars[0].onset_quarters, bars[-1].end_quarters, hands, landing=False)


def plays(notes: Sequence[ScoreNote], seed: int = 1, by: int = 0) -> list[PlayedNote]:
    """At 100, with 12 ms of scatter."""
    random, zero = Random(seed), notes[0].onset_quarters
    keys = {
        (note.pitch + by, 1 + 0.6 * float(note.onset_quarters - zero) - 0.05 * bool(note.grace))
        for note in notes
    }
    played = [
        PlayedNote(key, 64, onset_s + random.gauss(0, 0.012), 0.3) for key, onset_s in sorted(keys)
    ]
    return sorted(played, key=lambda note: note.onset_s)


def spoils(played: list[PlayedNote], share: float, seed: int) -> list[PlayedNote]:
    """So much of it with a neighbouring key in its place."""
    random = Random(seed)
    return [
        PlayedNote(key.pitch + random.choice((-2, -1, 1, 2)), 64, key.onset_s, 0.3)
        if random.random() < share
        else key
        for key in played
    ]


def judged(score: Score, part: Excerpt, played: list[PlayedNote]) -> Judgement:
    return judge(part, played, surroundings=Surroundings(KeyRows(score), part))


def told(judgement: Judgement) -> list[str]:
    notes = (Family.PITCH, Family.MISSING, Family.EXTRA, Family.REPEAT)
    return [fault.words for fault in judgement.faults if fault.family in notes]


def is_unlike(played: list[PlayedNote], part: Excerpt) -> bool:
    """Whether hardly a third of the keys, in order, can be the window's."""
    keys, written = order_strokes(played), [note.pitch for note in part.notes]
    row = [0] * (len(written) + 1)
    for key in keys:
        before, row = row, [0]
        for at, pitch in enumerate(written, 1):
            row.append(before[at - 1] + 1 if key == pitch else max(before[at], row[-1]))
    return 3 * row[-1] < len(keys)


@pytest.mark.parametrize(("count", "step"), every(2, [(1, 7), (4, 11)]))
def test_another_place_of_the_piece_is_no_repetition(count: int, step: int) -> None:
    """``step``: long windows take long, and are much alike."""
    found = 0
    for name, first in product(SAMPLES, range(0, 30, step)):
        score = sample(name)
        if first >= len(score.bars) - count:
            continue
        part = excerpt(score, bars_of(score, first, count))
        for other in range(0, len(score.bars) - count, step - 1):
            notes = excerpt(score, bars_of(score, other, count)).notes
            played = plays(notes, seed=other)
            if abs(other - first) < count or len(played) < 8 or not is_unlike(played, part):
                continue
            found += 1
            judgement = judged(score, part, played)
            assert not told(judgement), (name, first, other)
            assert not judgement.clean
    assert found > 6, found


@pytest.mark.parametrize("name", every(3, SAMPLES))
def test_a_piece_of_the_window_in_another_key_is_no_repetition(name: str) -> None:
    """However little of a long window was played, and wherever it began."""
    score = sample(name)
    part = excerpt(score, bars_of(score, 0, min(len(score.bars), 12)))
    results = []
    for first, by in zip(range(0, len(part.notes) - 24, 40), cycle((-5, 3)), strict=False):
        notes = part.notes[first : first + 14 + first % 9]
        results.append(told(judged(score, part, plays(notes, seed=first, by=by))))
    assert sum(map(bool, results)) <= 0.1 * len(results)


def test_a_scale_from_anywhere_is_no_repetition() -> None:
    random, false, count = Random(7), 0, 0
    for name, first in zip(SAMPLES, cycle((0, 8)), strict=False):
        score = sample(name)
        part = excerpt(score, bars_of(score, first % (len(score.bars) - 2), 2))
        for steps in ((2, 2, 1), (1,), (4, 3), (3, 3, 6)):
            key, way, played = random.randint(40, 80), random.choice((-1, 1)), []
            for at in range(12):
                played.append(PlayedNote(key, 64, 1 + 0.2 * at, 0.15))
                key += way * steps[at % len(steps)]
            judgement = judged(score, part, played)
            count += 1
            false += bool(told(judgement))
            assert not judgement.clean
    assert false <= 0.05 * count  # some keys of a scale are the window's, in order and in time


@pytest.mark.parametrize("seed", range(6))
def test_what_is_played_after_the_window_was_left_is_not_told(seed: int) -> None:
    """Half of it, and on in one go with keys from the keyboard's low end."""
    score, random = sample(SAMPLES[seed % len(SAMPLES)]), Random(seed)
    part = excerpt(score, bars_of(score, 1 + seed, 2))
    left = part.onsets_quarters[len(part.onsets) // 2 + 2]
    half = plays([note for note in part.notes if note.onset_quarters < left], seed=seed)
    after = [
        PlayedNote(random.randint(21, 30), 64, half[-1].onset_s + 0.5 * at, 0.2)
        for at in range(1, 13)
    ]
    judgement = judged(score, part, [*half, *after])
    assert judgement.is_repetition
    assert told(judgement) == []


@pytest.mark.parametrize("name", every(3, SAMPLES))
@pytest.mark.parametrize("count", [1, 2, 4])
def test_a_third_of_the_keys_a_neighbour_s_is_the_window_with_wrong_notes(
    name: str, count: int
) -> None:
    score = sample(name)
    for first in range(0, len(score.bars) - count, 2):
        part = excerpt(score, bars_of(score, first, count))
        played = spoils(plays(part.notes, seed=first), 0.33, seed=first)
        assert judged(score, part, played).is_repetition, first


def like_bars(*bars: str) -> Score:
    steps = {"C": 60, "D": 62, "E": 64, "F": 65, "G": 67, "A": 69, "B": 71}
    return score_from_notes(
        [
            {"pitch": steps[name], "onset": 4 * number + F(at, 2), "length": F(1, 2), "hand": "RH"}
            for number, bar in enumerate(bars)
            for at, name in enumerate(bar.split())
        ]
    )


def test_slipping_into_a_like_bar_is_the_window_with_wrong_notes() -> None:
    score = like_bars("C E G E C E G E", "C F A F D B G B", "C E G E C F A F", "G B D B G F E D")
    part = excerpt(score, bars_of(score, 0, 1))
    judgement = judged(score, part, plays(excerpt(score, bars_of(score, 2, 1)).notes))
    assert judgement.is_repetition
    assert told(judgement)


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize("at", [0, 1])
def test_a_wrong_note_is_all_that_is_told_with_the_bar_before_or_after_it(
    name: str, at: int
) -> None:
    """Played in one go with the bar before the window, or with the one after it."""
    score, wrong, count = sample(name), 0, 0
    for first in range(1, len(score.bars) - 1, 2):
        part = excerpt(score, bars_of(score, first, 1))
        both = excerpt(score, bars_of(score, first - 1 + at, 2)).notes
        around = excerpt(score, bars_of(score, first - 1 + 2 * at, 1))
        if len(part.onsets) < 4 or len(around.onsets) < 4:
            continue
        played = plays(both, seed=first)
        if not is_unlike(plays(around.notes), part):
            continue
        inside = [note for note in part.notes if note.onset_quarters > part.onsets_quarters[1]]
        target = Random(first).choice(inside)
        due_s = 1 + 0.6 * float(target.onset_quarters - both[0].onset_quarters)
        spoilt = [
            PlayedNote(key.pitch + 1, 64, key.onset_s, 0.3)
            if key.pitch == target.pitch and abs(key.onset_s - due_s) < 0.06
            else key
            for key in played
        ]
        judgement = judged(score, part, spoilt)
        count += 1
        wrong += len(told(judgement)) != 1
    assert wrong <= 0.1 * count


def test_what_was_for_the_window_keeps_its_places_among_all_keys() -> None:
    score = like_bars("C E G E C E G E", "G B D B G F E D", "C F A F D B G B")
    part = excerpt(score, bars_of(score, 1, 1))
    played = plays(excerpt(score, bars_of(score, 0, 2)).notes)
    judgement = judged(score, part, played)
    assert judgement.clean
    assert [label.played for label in judgement.played] == list(range(16))
    assert [label.label for label in judgement.played] == [Label.EXTRA] * 8 + [Label.MATCHED] * 8
    assert [label.played for label in judgement.score] == list(range(8, 16))


def test_it_is_said_what_it_was() -> None:
    score = like_bars("C E G E C E G E", "G B D B G F E D", "F A D A B F D A")
    part = excerpt(score, bars_of(score, 0, 1))
    there = judged(score, part, plays(excerpt(score, bars_of(score, 2, 1)).notes))
    assert there.sentence == OTHER_PLACE
    assert there.instead is Instead.OTHER_PLACE
    transposed = judged(score, part, plays(part.notes, by=3))
    assert transposed.sentence == transposed_words(3)
    strange = [PlayedNote(40 + 7 * at % 31, 64, 1 + 0.3 * at, 0.2) for at in range(9)]
    assert judged(score, part, strange).sentence == OTHER_NOTES


def test_a_rival_has_to_be_much_better() -> None:
    assert RIVAL_BETTER > 2 * SLIP


def test_a_take_is_cut_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Noodling round the window, on and on: cutting key by key would take for ever."""
    counts: list[int] = []

    def counted(*given: Any, **more: Any) -> Any:
        counts[-1] += 1
        return match(*given, **more)

    monkeypatch.setattr("coach.judging.judge.match", counted)
    score = sample(SAMPLES[1])
    part = excerpt(score, bars_of(score, 2, 2))
    for seed in range(2, 5):
        random, at_s, keys = Random(seed), 1.0, []
        for _ in range(20):
            keys += plays(random.sample(list(part.notes), 3), seed=seed)[:3]
        noodled = []
        for key in keys:
            at_s += random.uniform(0.1, 0.3)
            noodled.append(replace(key, onset_s=at_s))
        counts.append(0)
        judged(score, part, noodled)
    assert max(counts) <= 2
    assert sum(counts) > 3  # some of them are cut


LINE = score_from_notes(
    [
        {"pitch": p, "onset": F(at, 2), "length": F(1, 2), "hand": "RH"}
        for at, p in enumerate((60, 62, 64, 65, 67, 69))
    ]
)


@pytest.mark.parametrize(
    ("key", "after_s", "clean"), [(67, 0.12, True), (66, 0.12, False), (67, 0.05, False)]
)
def test_the_next_note_that_is_written_is_none_of_the_window_s_however_soon(
    key: int, after_s: float, clean: bool
) -> None:
    """But what is not written there is a key too many, and so is one of the same stroke."""
    part = excerpt(LINE, Window(F(0), F(3, 2)))
    keys = [PlayedNote(p, 64, 10 + 0.2 * at, 0.15) for at, p in enumerate((60, 62, 64, 65))]
    judgement = judged(LINE, part, [*keys, PlayedNote(key, 64, keys[-1].onset_s + after_s, 0.1)])
    assert judgement.clean is clean
    assert told(judgement) == ([] if clean else [judgement.faults[0].words])


@pytest.mark.parametrize(("before", "told_of"), [(3, []), (9, ["8 notes left out"])])
def test_nobody_leaves_more_of_a_window_out_than_they_play_of_it(
    before: int, told_of: list[str]
) -> None:
    """Then it was left and entered elsewhere: a part of it, with nothing wrong."""
    part = whole(score_from_notes(tune(20)))
    notes = [note for at, note in enumerate(part.notes) if at < before or at >= before + 8]
    notes = notes[: before + 3]
    played = [PlayedNote(note.pitch, 64, 10 + 0.4 * at, 0.3) for at, note in enumerate(notes)]
    assert told(judge(part, played)) == told_of


@pytest.mark.parametrize(
    ("stop_s", "after", "told_of"),
    [
        (2.1, (71, 74, 68, 61), []),  # something else
        (1.9, (71, 74, 68, 61), None),
        (2.1, (69, 70, 72, 71, 69), None),  # on from there, with a slip
        (2.1, (61,), None),
    ],
)
def test_what_comes_after_a_long_stop_and_is_not_written_there_is_not_told(
    stop_s: float, after: tuple[int, ...], told_of: list[str] | None
) -> None:
    """``told_of``: None for anything at all."""
    part = whole(score_from_notes(tune(12)))
    line = [note.pitch for note in part.notes]
    keys = [PlayedNote(key, 64, 10 + 0.4 * at, 0.3) for at, key in enumerate(line[:5])]
    again_s = keys[-1].onset_s + stop_s
    keys += [PlayedNote(key, 64, again_s + 0.4 * at, 0.3) for at, key in enumerate(after)]
    found = told(judge(part, keys))
    assert found if told_of is None else found == told_of


def rag() -> Excerpt:
    """Two bars: the left hand strides in quarters, the right comes in half a beat later."""
    right = (75, 79, 70, 73, 77, 75, 79, 70, 73, 77, 75, 73, 77, 73, 75)
    left = ((46, 58), (51, 55, 61), (39, 51), (55, 61), (46, 58), (51, 55), (47, 59), (48, 60))
    notes = [
        {"pitch": p, "onset": F(1, 2) + F(k, 2), "length": F(1, 2), "hand": "RH"}
        for k, p in enumerate(right)
    ]
    notes += [
        {"pitch": p, "onset": k, "length": 1, "hand": "LH"}
        for k, chord in enumerate(left)
        for p in chord
    ]
    return whole(score_from_notes(notes))


def test_begun_again_with_one_hand_alone_the_other_is_not_missed() -> None:
    """Three beats with both hands, and from the beginning again with the right hand alone."""
    window = rag()
    both = [note for note in played_as_written(window) if note.onset_s < 2.4]
    alone = played_as_written(window, start_s=3.0, pitches=range(63, 90))
    judgement = judge(window, [*both, *alone])
    assert [fault.words for fault in judgement.faults] == []
    assert judgement.sentence.startswith("Stopped before")


@pytest.mark.parametrize(("rest_s", "is_trial"), [(0.9, True), (0.3, False)])
def test_a_first_note_tried_is_no_key_too_many(rest_s: float, is_trial: bool) -> None:
    window = whole(score_from_notes(tune(8)))
    begun = played_as_written(window, start_s=1.0 + rest_s)[:2]
    tried = replace(begun[0], onset_s=1.0)
    judgement = judge(window, [tried, *begun])
    assert (not judgement.faults) is is_trial


def test_the_hand_laid_on_the_keys_after_a_stop_is_not_told() -> None:
    """A waltz bass begun, a stop, and then all of its keys at once with others."""
    left = ((40,), (52, 59, 62), (52, 59, 62), (45,), (52, 57, 60))
    notes = [{"pitch": p, "onset": k, "length": 1, "hand": "LH"}
             for k, chord in enumerate(left) for p in chord]  # fmt: skip
    window = whole(score_from_notes(notes))
    keys = [PlayedNote(p, 64, at, 0.3) for p, at in ((40, 0.0), (52, 1.6), (59, 1.6), (62, 1.61))]
    grip = (40, 59, 52, 62, 45, 57, 60, 61, 59, 53)
    keys += [PlayedNote(p, 64, 6.3 + 0.008 * k, 0.1) for k, p in enumerate(grip)]
    judgement = judge(window, keys)
    assert judgement.faults == ()
    assert not judgement.clean


def test_a_broken_chord_that_holds_the_window_s_first_keys_is_no_repetition() -> None:
    """Fingers run down in thirds from a key of the first chord, a tremolo: none is a mistake."""
    notes = [
        {"pitch": p, "onset": 0, "length": 1, "hand": "LH", "marks": ["tremolo"]}
        for p in (52, 56, 59, 64)
    ]
    notes += [{"pitch": p, "onset": k, "length": 1, "hand": "RH"}
              for k, p in enumerate((100, 92, 95, 88, 99), 1)]  # fmt: skip
    window = whole(score_from_notes(notes))
    keys = [PlayedNote(p, 64, 0.17 * k, 0.15) for k, p in enumerate((52, 49, 46, 40, 37))]
    judgement = judge(window, keys)
    assert judgement.faults == ()
    assert not judgement.is_repetition


def test_a_chord_in_which_the_last_key_is_found_is_no_repetition() -> None:
    """What comes after the window begins with a chord that holds its last note."""
    window = whole(score_from_notes(tune(8)))
    last = window.notes[-1].pitch
    keys = [PlayedNote(p, 64, 0.004 * k, 0.3) for k, p in enumerate((last - 8, last + 5, last))]
    judgement = judge(window, keys)
    assert judgement.faults == ()
    assert not judgement.is_repetition


@pytest.mark.parametrize("silent", [3, 2])
def test_one_hand_alone_from_the_middle_on_has_missed_nothing_of_the_other(silent: int) -> None:
    left = [{"pitch": p, "onset": k, "length": 1, "hand": "LH"}
            for k, p in enumerate((48, 43, 45, 41, 47, 50, 48, 55, 43, 36, 52, 40))]  # fmt: skip
    right = [{"pitch": 84 - k, "onset": k + F(1, 2), "length": F(1, 2), "hand": "RH"}
             for k in range(7 + silent)]  # fmt: skip
    window = whole(score_from_notes([*left, *right]))
    judgement = judge(window, played_as_written(window, pitches=range(56))[7:])
    is_alone = silent == 3
    assert (judgement.instead is Instead.ONE_HAND) is is_alone
    assert (not judgement.faults) is is_alone


def played_as_written(
    window: Excerpt, *, start_s: float = 0.0, pitches: Sequence[int] = range(128)
) -> list[PlayedNote]:
    return [
        PlayedNote(note.pitch, 64, start_s + 0.5 * float(note.onset_quarters), 0.4)
        for note in window.notes
        if note.pitch in pitches
    ]


def test_one_hand_alone_after_a_stop_has_missed_nothing_of_the_other() -> None:
    """The left hand begins alone, as is written; then the right one plays on by itself."""
    left = [{"pitch": p, "onset": k, "length": 1, "hand": "LH"}
            for k, p in enumerate((48, 43, 45, 41, 47, 50, 48, 55, 43, 36, 52, 40))]  # fmt: skip
    right = [{"pitch": 84 - k, "onset": 4 + k, "length": 1, "hand": "RH"} for k in range(8)]
    window = whole(score_from_notes([*left, *right]))
    begun = played_as_written(window, pitches=range(56))[:4]
    alone = played_as_written(window, start_s=2.5, pitches=range(56, 128))
    judgement = judge(window, [*begun, *alone])
    assert judgement.faults == ()
    assert judgement.sentence.startswith("Stopped before")


@pytest.mark.parametrize(
    ("before", "entered"), [((58, 63, 61), 7), ((58, 63, 61), 9), ((61, 63, 61), 9)]
)
def test_keys_of_which_none_is_right_are_left_out_before_the_window_is_entered(
    before: tuple[int, ...], entered: int
) -> None:
    """In time: another place was turned to, or what stands before it was played."""
    line = (60, 64, 62, 65, 64, 67, 65, 69, 67, 71, 69, 72, 71, 74, 72, 76)
    window = whole(
        score_from_notes(
            [{"pitch": p, "onset": k, "length": 1, "hand": "RH"} for k, p in enumerate(line)]
        )
    )
    keys = [PlayedNote(p, 64, 0.5 * k, 0.4) for k, p in enumerate((*before, *line[entered:]))]
    judgement = judge(window, keys)
    assert judgement.faults == ()
    assert judgement.sentence.startswith("Began at")
