"""Keys let go early: against how this player holds the other notes."""

import random
from dataclasses import replace

import pytest

from coach.judging import judge as judging
from coach.judging.model import Judgement, Stage
from coach.judging.timing import Habits
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.window import Excerpt
from tests.judging_help import both, play, tune, whole

ROW = whole(score_from_notes(tune(16)))
THIRDS = whole(score_from_notes([*tune(8), *tune(8, start=64)]))


def held(
    window: Excerpt, shares: dict[int, float], usual: float = 0.8, seed: int = 0
) -> list[PlayedNote]:
    """Eighths at 100 (0.3 s), each held for its share; the others near ``usual``."""
    rng = random.Random(seed)
    return [
        PlayedNote(
            p.pitch, p.velocity, p.onset_s, 0.3 * shares.get(i, usual * rng.uniform(0.9, 1.1))
        )
        for i, p in enumerate(play(window))
    ]


def judge(
    window: Excerpt, played: list[PlayedNote], *, stage: Stage = Stage.RHYTHM, earlier: int = 2
) -> Judgement:
    """The verdict on a player who held every key in the repetitions before."""
    habits = Habits()
    for seed in range(earlier):
        rng = random.Random(seed)
        firm = [replace(p, length_s=0.95 * rng.uniform(0.9, 1.0) * (p.length_s or 0.3))
                for p in play(window)]  # fmt: skip
        habits = habits.with_(judging.judge(window, firm, stage=stage))
    return judging.judge(window, played, stage=stage, habits=habits)


@pytest.mark.parametrize("earlier", [0, 1])
def test_one_repetition_alone_never_shows_a_key_let_go_early(earlier: int) -> None:
    for stage in Stage:
        assert judge(ROW, held(ROW, {5: 0.15}), stage=stage, earlier=earlier).faults == ()


def test_what_was_always_let_go_so_is_meant() -> None:
    habits = Habits()
    for seed in range(4):
        take = judging.judge(ROW, held(ROW, {5: 0.15}, seed=seed), habits=habits)
        assert take.faults == ()
        habits = habits.with_(take)


def test_a_key_let_go_at_once_is_told_and_forgiven_until_shape_is_asked_for() -> None:
    played = held(ROW, {5: 0.15})
    rhythm, shape = judge(ROW, played), judge(ROW, played, stage=Stage.SHAPE)
    assert [(f.cause, f.forgiven) for f in rhythm.faults] == [("early release", True)]
    assert rhythm.clean
    assert [(f.cause, f.forgiven) for f in shape.faults] == [("early release", False)]
    assert not shape.clean
    assert (shape.faults[0].from_beat, shape.faults[0].to_beat) == (2, 3)


def test_a_late_note_is_told_before_what_the_stage_forgives() -> None:
    late = held(ROW, {5: 0.15})
    after = [PlayedNote(p.pitch, p.velocity, p.onset_s + 0.5 * (i >= 9), p.length_s)
             for i, p in enumerate(late)]  # fmt: skip
    told = judge(ROW, after).faults
    assert told[0].cause == "hesitation"
    assert [f.cause for f in told if f.forgiven] == ["early release"]
    assert told[-1].forgiven


def test_a_hand_that_plays_detached_is_not_told_of_one_short_note() -> None:
    assert judge(ROW, held(ROW, {5: 0.05}, usual=0.3), stage=Stage.SHAPE).clean


def test_a_hand_that_mixes_long_and_short_is_not_told_of_one_more() -> None:
    mixed = {i: (0.9, 0.25, 0.5)[i % 3] for i in range(16)} | {5: 0.15}
    assert judge(ROW, held(ROW, mixed), stage=Stage.SHAPE).clean


def test_one_voice_of_a_chord_that_is_short_is_no_lapse() -> None:
    voices = held(THIRDS, {4: 0.12})
    assert judge(THIRDS, voices, stage=Stage.SHAPE).clean
    together = held(THIRDS, {4: 0.12, 5: 0.12})
    told = judge(THIRDS, together, stage=Stage.SHAPE).faults
    assert [f.cause for f in told] == ["early release"]


def test_the_other_hand_does_not_matter() -> None:
    tune_of_two = whole(both(16))
    left = [i for i, n in enumerate(play(tune_of_two)) if n.pitch < 60]
    shares = dict.fromkeys(left, 0.2)
    assert judge(tune_of_two, held(tune_of_two, shares), stage=Stage.SHAPE).clean


def test_three_keys_let_go_in_a_row_are_one_lapse_told_where_it_begins() -> None:
    short_window = whole(score_from_notes(tune(6)))
    told = judge(short_window, held(short_window, {2: 0.2, 3: 0.2, 4: 0.2})).faults
    assert [(f.cause, f.from_beat, f.to_beat) for f in told] == [("early release", 1, 2)]


def test_the_other_hand_shows_what_to_expect_where_one_has_few_notes() -> None:
    window = whole(both(8))
    left = [i for i, n in enumerate(play(window)) if n.pitch < 60]
    short = dict.fromkeys(left[:2], 0.19)
    firm = judge(window, held(window, short, usual=0.95)).faults
    assert [(f.cause, f.hands.value) for f in firm] == [("early release", "LH")]
    assert not judge(window, held(window, short, usual=0.42)).faults


@pytest.mark.parametrize(("count", "told"), [(3, 1), (4, 0)])
def test_three_short_keys_in_a_row_are_a_lapse_and_four_a_way_of_playing(
    count: int, told: int
) -> None:
    short = dict.fromkeys(range(5, 5 + count), 0.15)
    assert len(judge(ROW, held(ROW, short)).faults) == told


@pytest.mark.parametrize(("times", "told"), [(1.55, 0), (1.65, 1)])
def test_a_key_is_let_go_early_where_it_was_held_three_fifths_longer_before(
    times: float, told: int
) -> None:
    habits = Habits()
    for seed in range(2):
        before = held(ROW, {5: 0.15 * times}, seed=seed)
        habits = habits.with_(judging.judge(ROW, before))
    assert len(judging.judge(ROW, held(ROW, {5: 0.15}), habits=habits).faults) == told


def test_a_light_bass_is_no_lapse_but_two_short_keys_beside_held_ones_are() -> None:
    window = whole(both(8))
    left = [i for i, n in enumerate(play(window)) if n.pitch < 60]
    assert not judge(window, held(window, dict.fromkeys(left, 0.15), usual=0.9)).faults
    assert judge(window, held(window, dict.fromkeys(left[:2], 0.15), usual=0.9)).faults


def test_of_a_hand_with_no_held_keys_to_show_its_way_nothing_is_said() -> None:
    window = whole(both(4))
    left = [i for i, n in enumerate(play(window)) if n.pitch < 60]
    assert not judge(window, held(window, dict.fromkeys(left, 0.13), usual=0.9)).faults


def held_s(window: Excerpt, seconds: list[float]) -> list[PlayedNote]:
    """Each note held for so many seconds."""
    return [replace(p, length_s=s) for p, s in zip(play(window), seconds, strict=True)]


def test_a_key_that_is_struck_again_has_to_come_up_before() -> None:
    again = [{**n, "pitch": 67} if i in (5, 6) else n for i, n in enumerate(tune(16))]
    window = whole(score_from_notes(again))
    holds = [0.26 - 0.01 * (i % 3) for i in range(16)]
    early = [0.06 if i == 5 else hold for i, hold in enumerate(holds)]
    assert not judge(window, held_s(window, early)).faults
    assert judge(ROW, held_s(ROW, early)).faults[0].cause == "early release"


def test_a_long_note_may_be_let_go_once_its_hand_plays_on() -> None:
    under = [{**n, "length": 2} if i % 4 == 0 else n for i, n in enumerate(tune(16))]
    window = whole(score_from_notes(under))
    holds = [0.26 - 0.01 * (i % 3) for i in range(16)]
    assert not judge(window, held_s(window, holds)).faults
    holds[8] = 0.05
    assert [f.from_beat for f in judge(window, held_s(window, holds)).faults] == [4]


def test_a_single_long_note_may_be_let_go_once_its_hand_plays_on() -> None:
    window = whole(score_from_notes([{**n, "length": 2} if i == 8 else n
                                     for i, n in enumerate(tune(16))]))  # fmt: skip
    assert not judge(window, held_s(window, [0.26 - 0.01 * (i % 3) for i in range(16)])).faults


def test_a_long_note_is_to_be_held_on_where_the_player_holds_its_like_on() -> None:
    long = range(0, 16, 2)
    window = whole(score_from_notes([{**n, "length": 2} if i in long else n
                                     for i, n in enumerate(tune(16))]))  # fmt: skip
    holds = [1.1 - 0.02 * (i % 3) if i in long else 0.26 for i in range(16)]
    assert not judge(window, held_s(window, holds)).faults
    holds[8] = 0.28
    told = judge(window, held_s(window, holds)).faults
    assert [(f.cause, f.from_beat) for f in told] == [("early release", 4)]


def test_two_lapses_do_not_hide_each_other() -> None:
    told = judge(ROW, held(ROW, {4: 0.15, 11: 0.15})).faults
    assert [(f.cause, f.from_beat) for f in told] == [("early release", 2), ("early release", 5)]


def test_a_staccato_bass_does_not_hide_a_short_key_beside_held_ones_in_the_other_hand() -> None:
    right = [(0, 1), (1, 1), (2, 1), (3, 1), (4, 2), (6, 1)]
    window = whole(
        score_from_notes(
            [
                {"pitch": 72 + i, "onset": onset / 2, "length": length / 2, "hand": "RH"}
                for i, (onset, length) in enumerate(right)
            ]
            + [{"pitch": 48 + i, "onset": i, "length": 1, "hand": "LH"} for i in range(4)]
        )
    )
    shares = (0.9, 0.85, 1.0, 0.95, 0.22, 0.9)
    played = [
        replace(p, length_s=0.3 * right[p.pitch - 72][1] * shares[p.pitch - 72])
        if p.pitch >= 72
        else replace(p, length_s=0.1)
        for p in play(window)
    ]
    told = judge(window, played).faults
    assert [(f.cause, f.hands.value, f.from_beat) for f in told] == [("early release", "RH", 2)]


def test_one_of_two_notes_let_go_at_once_is_a_lapse_only_where_it_is_very_short() -> None:
    window = whole(score_from_notes([*tune(8), *({"pitch": 48 + i, "onset": 2 * i, "length": 2,
                                                  "hand": "LH"} for i in range(2))]))  # fmt: skip
    first = next(i for i, n in enumerate(play(window)) if n.pitch == 48)
    last = next(i for i, n in enumerate(play(window)) if n.pitch == 49)
    told = judge(window, held(window, {first: 0.2, last: 3.6}, usual=0.9)).faults
    assert [(f.cause, f.hands.value, f.from_beat) for f in told] == [("early release", "LH", 0)]
    assert not judge(window, held(window, {first: 0.95, last: 3.6}, usual=0.9)).faults
