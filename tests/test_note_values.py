"""Lengths that are not the written ones, and entries out of place: told with note, bar and beat."""

import json
import random
from fractions import Fraction as F

import pytest

from coach.drill import Drill, repair
from coach.judging.judge import judge
from coach.judging.model import Cause, Judgement, Stage
from coach.judging.timing import Habits
from coach.judging.timing.noise import Strokes, TimingEvidence, weigh_again
from coach.judging.verdict import MOST_WORDS
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Score
from coach.score.window import Excerpt
from tests.judging_help import play, whole

QPM = 100.0
BEAT_S = 60 / QPM


def written(*lengths: F | int, metre: str = "4/4") -> Score:
    """One hand's notes, one after the other."""
    notes, onset = [], F(0)
    for i, length in enumerate(lengths):
        pitch = (60, 62, 64, 65, 67, 69, 71, 72)[i % 8]
        notes.append({"pitch": pitch, "onset": onset, "length": F(length), "hand": "RH"})
        onset += F(length)
    return score_from_notes(notes, metre=metre)


TUNE = written(1, 1, 2, 1, 1, 1, 1, 2, 2, 1, 1, 2)
"""Three bars; the half notes begin at beats 2, 8, 10 and 14, counted from 0."""


def misread(window: Excerpt, note: int, ratio: float) -> list[PlayedNote]:
    """One note's length at a ratio of it, all that follows shifted."""
    onset = window.notes[note].onset_quarters
    length = window.notes[note + 1].onset_quarters - onset
    by_s = (ratio - 1) * float(length) * BEAT_S
    return play(window, qpm=QPM, late=dict.fromkeys(range(note + 1, len(window.notes)), by_s))


def causes(take: Judgement) -> list[Cause]:
    return [fault.cause for fault in take.faults if not fault.forgiven]


@pytest.mark.parametrize(
    ("note", "ratio", "words"),
    [
        (2, 0.5, "Half note at bar 1 beat 3 got one beat, not two"),
        (4, 0.5, "Quarter note at bar 2 beat 2 got half a beat"),
        (4, 2.0, "Quarter note at bar 2 beat 2 got two beats, not one"),
        (5, 1 / 3, "Quarter note at bar 2 beat 3 got a third its length"),
        (2, 1.5, "Half note at bar 1 beat 3 got three beats, not two"),
        (2, 0.25, "Half note at bar 1 beat 3 got half a beat"),
    ],
)
def test_a_misread_value_is_told_with_its_note_bar_and_beat(
    note: int, ratio: float, words: str
) -> None:
    window = whole(TUNE)
    take = judge(window, misread(window, note, ratio))
    assert causes(take) == [Cause.MISREAD_VALUE]
    assert take.sentence == words
    assert len(take.sentence.split()) <= MOST_WORDS


@pytest.mark.parametrize(
    ("lengths", "note", "ratio", "words"),
    [
        ((1, 1, 2), 0, 0.5, "Quarter note at bar 1 beat 1 got half a beat"),
        ((1, 1, 2), 1, 2.0, "Quarter note at bar 1 beat 2 got two beats, not one"),
        ((1, 1, 2), 2, 0.5, "Half note at bar 1 beat 3 got one beat, not two"),
        ((1, 1, 2), 2, 2.0, "Late to bar 2 beat 1 (1.2 s)"),  # the last: who knows what for
        ((1, 1, 2), 2, 1.3, "Clean"),
        ((1, 1, 2), 0, 0.8, "Clean"),
    ],
)
def test_a_window_of_four_onsets_shows_a_misread_value(
    lengths: tuple[int, ...], note: int, ratio: float, words: str
) -> None:
    """As a place is drilled: one bar, and the note that it leads to."""
    window = whole(written(*lengths, 1))
    assert judge(window, misread(window, note, ratio)).sentence == words


TRIPLETS = written(*[F(1, 3)] * 24, *[1] * 4)


@pytest.mark.parametrize(("ratio", "way"), [(3.0, "long"), (0.25, "short")])
def test_a_place_of_many_words_leaves_room_for_the_way_only(ratio: float, way: str) -> None:
    window = whole(TRIPLETS)
    take = judge(window, misread(window, 17, ratio))
    assert causes(take)[0] is Cause.MISREAD_VALUE
    assert take.sentence == f"Triplet eighth at bar 2, last triplet of beat 2 too {way}"
    assert len(take.faults[0].words.split()) > MOST_WORDS
    assert take.faults[0].words in take.details


@pytest.mark.parametrize("ratio", [0.75, 0.85, 1.1, 1.25])
def test_a_stretch_within_expression_is_none(ratio: float) -> None:
    window = whole(TUNE)
    assert judge(window, misread(window, 4, ratio)).clean


@pytest.mark.parametrize("stage", list(Stage))
def test_every_stage_but_notes_asks_for_it(stage: Stage) -> None:
    window = whole(TUNE)
    assert judge(window, misread(window, 2, 0.5), stage=stage).clean == (stage is Stage.NOTES)


def test_a_misread_value_that_repeats_never_becomes_a_habit() -> None:
    window = whole(TUNE)
    drill = Drill(TUNE, repair(TUNE, window.window))
    for _ in range(8):
        assert not drill.repetition(misread(window, 2, 0.5)).judgement.clean


@pytest.mark.parametrize(
    ("late_s", "cause"), [(-0.25, Cause.EARLY_ENTRY), (0.25, Cause.LATE_ENTRY)]
)
def test_one_onset_out_of_place_is_an_entry(late_s: float, cause: Cause) -> None:
    window = whole(TUNE)
    take = judge(window, play(window, qpm=QPM, late={5: late_s}))
    assert causes(take) == [cause]
    way = "Late" if late_s > 0 else "Early"
    assert take.sentence.startswith(f"{way} to bar 2 beat 3 (0.")


@pytest.mark.parametrize("late_s", [-0.08, 0.08])
def test_one_note_may_lean(late_s: float) -> None:
    window = whole(TUNE)
    assert judge(window, play(window, qpm=QPM, late={5: late_s})).clean


def leaning(late_s: float, scatter_s: float = 0.0, seed: int = 1) -> Judgement:
    """The quarter note at bar 2 beat 3 late by itself, by hands that scatter."""
    window, dice = whole(TUNE), random.Random(seed)
    late = {i: dice.gauss(0, scatter_s) for i in range(len(window.notes))}
    late[5] += late_s
    return judge(window, play(window, qpm=QPM, late=late))


def test_a_lone_note_leans_by_a_quarter_of_a_beat_at_the_most() -> None:
    assert leaning(0.24 * BEAT_S).clean
    assert causes(leaning(0.26 * BEAT_S)) == [Cause.LATE_ENTRY]


def test_a_little_more_is_no_entry_where_the_strokes_scatter_as_much() -> None:
    assert leaning(0.27 * BEAT_S, 0.03, seed=6).clean
    assert causes(leaning(0.27 * BEAT_S, 0.03, seed=22)) == [Cause.LATE_ENTRY]


def slowing_down(first: float, then: float) -> Judgement:
    """Quarters, of which two in a row are longer: in tempo again after them."""
    window = whole(written(*[1] * 12))
    late = {6: (first - 1) * BEAT_S}
    for i in range(7, len(window.notes)):
        late[i] = (first + then - 2) * BEAT_S
    return judge(window, play(window, qpm=QPM, late=late))


def test_a_slowing_goes_on_that_grows_by_three_times_at_the_most() -> None:
    """Beside a note that is longer by chance the next one isn't slowed any more."""
    assert slowing_down(1.09, 1.39).clean
    assert causes(slowing_down(1.09, 1.43)) == [Cause.MISREAD_VALUE]


@pytest.mark.parametrize(
    ("ratio", "cause"),
    [
        (2.5, Cause.HESITATION),
        (3.0, Cause.MISREAD_VALUE),
        (3.12, Cause.MISREAD_VALUE),
        (3.25, Cause.HESITATION),  # so long a wait is counted only where it is near to it
    ],
)
def test_a_long_wait_near_no_simple_ratio_is_a_hesitation(ratio: float, cause: Cause) -> None:
    window = whole(TUNE)
    assert causes(judge(window, misread(window, 4, ratio))) == [cause]


def test_a_final_ritard_is_none() -> None:
    window = whole(TUNE)

    def at(x: float) -> float:
        return x * BEAT_S + max(x - 11, 0.0) ** 2 * 0.05

    assert judge(window, play(window, qpm=QPM, at=at)).clean


def test_a_step_and_an_entry_have_the_size_that_they_were_given() -> None:
    xs = [float(x) for x in range(12)]
    even = [False] * 12
    stepped = TimingEvidence(
        Strokes(xs, [x * 0.5 + (0.3 if x >= 6 else 0.0) for x in xs], even, even)
    )
    assert max(range(1, 12), key=lambda i: stepped.find_step(i).evidence) == 6
    assert stepped.find_step(6).size_s == pytest.approx(0.3, abs=0.02)
    moved = TimingEvidence(
        Strokes(xs, [x * 0.5 + (0.2 if x == 6 else 0.0) for x in xs], even, even)
    )
    assert max(range(1, 12), key=lambda i: moved.find_entry(i).evidence) == 6
    assert moved.find_entry(6).size_s == pytest.approx(0.2, abs=0.02)
    assert moved.find_entry(6).evidence > moved.find_step(6).evidence


def test_the_size_that_was_played_is_the_likeliest() -> None:
    xs = [float(x) for x in range(12)]
    even = [False] * 12
    half = TimingEvidence(
        Strokes(xs, [x * 0.5 - (0.25 if x >= 6 else 0.0) for x in xs], even, even)
    )
    assert half.weigh_step(6, -0.25) > max(half.weigh_step(6, -0.1), half.weigh_step(6, -0.4))
    assert half.weigh_step(6, 0.25) < 0 < half.weigh_step(6, -0.25)


def test_what_was_broken_into_has_no_length() -> None:
    xs = [float(x) for x in range(8)]
    times = [x * 0.5 + (3.0 if x >= 4 else 0.0) for x in xs]
    free = [x == 4 for x in range(8)]
    evidence = TimingEvidence(Strokes(xs, times, [False] * 8, free))
    assert max(evidence.find_step(i).evidence for i in range(1, 8)) < 1.0


def swung(share: float) -> Judgement:
    """Sixteen eighths, each pair's first one with a share of the beat."""
    window = whole(written(*[F(1, 2)] * 16, 2))
    by_s = (share - 0.5) * BEAT_S
    return judge(window, play(window, qpm=QPM, late=dict.fromkeys(range(1, 16, 2), by_s)))


@pytest.mark.parametrize("share", [2 / 3, 3 / 4])
def test_sixteen_swung_eighths_that_are_written_even_are_told(share: float) -> None:
    take = swung(share)
    assert causes(take) == [Cause.WRONG_PROPORTIONS]
    assert take.sentence.startswith("Swung: written even from bar 1, the & of 1")


def test_a_lilt_is_expression() -> None:
    """Up to 1.6 to 1."""
    assert swung(0.56).clean
    assert swung(0.615).clean
    assert not swung(0.625).clean


DOTTED = written(*[F(3, 4), F(1, 4)] * 7, 2)
"""Two bars of dotted figures."""


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (2, "Dotted rhythm played as a triplet all along"),
        (1, "Even: written dotted all along"),
        (7, "Double dotted: written dotted all along"),
    ],
)
def test_dotted_figures_that_were_played_as_others_are_one_fault(ratio: int, words: str) -> None:
    window = whole(DOTTED)
    by_s = (ratio / (ratio + 1) - 3 / 4) * BEAT_S
    take = judge(window, play(window, qpm=QPM, late=dict.fromkeys(range(1, 14, 2), by_s)))
    assert causes(take) == [Cause.WRONG_PROPORTIONS]
    assert take.sentence.split(" from ")[0] == words.removesuffix(" all along")


@pytest.mark.parametrize("ratio", [2.6, 3.5])
def test_a_dot_may_be_softened_or_sharpened(ratio: float) -> None:
    window = whole(DOTTED)
    by_s = (ratio / (ratio + 1) - 3 / 4) * BEAT_S
    assert judge(window, play(window, qpm=QPM, late=dict.fromkeys(range(1, 14, 2), by_s))).clean


def one_dotted_figure(qpm: float, ratio: float) -> Judgement:
    """Quarters with a single dotted figure, played at a ratio."""
    window, dice = whole(written(*[1] * 5, F(3, 4), F(1, 4), *[1] * 6)), random.Random(1)
    late = {i: dice.gauss(0, 0.01) for i in range(len(window.notes))}
    late[6] += (ratio / (ratio + 1) - 3 / 4) * 60 / qpm
    return judge(window, play(window, qpm=qpm, late=late))


def test_a_single_dotted_figure_is_told_as_a_triplet_where_it_is_slow_enough_to_show() -> None:
    assert one_dotted_figure(60, 2.0).sentence.startswith("Dotted rhythm played as a triplet")
    assert one_dotted_figure(60, 2.6).clean
    assert one_dotted_figure(100, 2.0).clean


def pairs(share: float, scatter_s: float) -> Judgement:
    """Sixteen eighths, the first of each pair with a share of the beat, by hands that scatter."""
    window, dice = whole(written(*[F(1, 2)] * 16, 2)), random.Random(1)
    late = {i: dice.gauss(0, scatter_s) for i in range(len(window.notes))}
    for i in range(1, 16, 2):
        late[i] += (share - 0.5) * BEAT_S
    return judge(window, play(window, qpm=QPM, late=late))


def test_more_is_asked_of_short_and_long_than_of_a_swing() -> None:
    assert pairs(0.64, 0.06).sentence.startswith("Swung: written even")
    assert pairs(0.36, 0.04).sentence.startswith("Short and long: written even")
    assert pairs(0.36, 0.06).clean


def pairs_of(
    length: F | int, count: int, share: float, scatter_s: float, seed: int, *, upbeats: int = 0
) -> Judgement:
    """Pairs of equal notes, the first of each with a share of the pair; before them even ones."""
    window = whole(written(*[length] * (2 * count + upbeats), 2))
    dice = random.Random(seed)
    late = {i: dice.gauss(0, scatter_s) for i in range(len(window.notes))}
    for i in range(upbeats + 1, upbeats + 2 * count, 2):
        late[i] += (2 * share - 1) * float(length) * BEAT_S
    return judge(window, play(window, qpm=QPM, late=late))


@pytest.mark.parametrize(("scatter_s", "seed"), [(0.05, 30), (0.06, 30), (0.06, 54)])
def test_three_pairs_that_are_swung_show_it_through_scatter(scatter_s: float, seed: int) -> None:
    take = pairs_of(F(1, 2), 3, 2 / 3, scatter_s, seed)
    assert take.sentence.startswith("Swung: written even")


@pytest.mark.parametrize(("scatter_s", "seed"), [(0.05, 46), (0.07, 54)])
def test_three_pairs_may_seem_swung_by_chance(scatter_s: float, seed: int) -> None:
    assert pairs_of(F(1, 2), 3, 2 / 3, scatter_s, seed).clean


@pytest.mark.parametrize("length", [F(1, 4), F(1, 2), 1, 2])
def test_pairs_of_any_notes_may_be_swung(length: F | int) -> None:
    take = pairs_of(length, 6, 2 / 3, 0.01, 1)
    assert take.sentence.startswith("Swung: written even")


@pytest.mark.parametrize("beat", [F(1, 4), F(1, 2), 1])
def test_a_dot_may_be_of_any_note(beat: F | int) -> None:
    """Dotted half notes with quarters, too, played as equal ones."""
    window = whole(written(*[3 * beat, beat] * 4, 2))
    late = dict.fromkeys(range(1, 8, 2), -float(beat) * BEAT_S)
    take = judge(window, play(window, qpm=QPM, late=late))
    assert take.sentence.startswith("Even: written dotted")


def test_a_run_that_is_swung_is_told_beside_one_that_is_not() -> None:
    """Eight eighths that swing, a half note, and eight that don't."""
    window, dice = whole(written(*[F(1, 2)] * 8, 2, *[F(1, 2)] * 8, 2)), random.Random(1)
    late = {i: dice.gauss(0, 0.01) for i in range(len(window.notes))}
    for i in range(1, 8, 2):
        late[i] += BEAT_S / 6
    take = judge(window, play(window, qpm=QPM, late=late))
    assert take.sentence.startswith("Swung: written even from bar 1, the & of 1")


def test_one_dotted_figure_of_several_makes_no_rule() -> None:
    """Four of them, a quarter note after each; one is played as a triplet."""
    window, dice = whole(written(*[F(3, 4), F(1, 4), F(1)] * 4, 1)), random.Random(1)
    late = {i: dice.gauss(0, 0.01) for i in range(len(window.notes))}
    late[4] -= BEAT_S / 12
    assert judge(window, play(window, qpm=QPM, late=late)).clean


@pytest.mark.parametrize(("late_s", "clean"), [(-0.038, True), (-0.042, False)])
def test_quick_notes_go_short_and_long_by_the_fingers(late_s: float, clean: bool) -> None:
    """Sixteenths of .12 s, of which each second one is early."""
    window, dice = whole(written(*[F(1, 4)] * 24, 2)), random.Random(1)
    late = {i: dice.gauss(0, 0.002) for i in range(len(window.notes))}
    for i in range(1, 24, 2):
        late[i] += late_s
    told = causes(judge(window, play(window, qpm=125, late=late)))
    assert (Cause.WRONG_PROPORTIONS not in told) is clean


def test_pairs_across_the_beat_are_short_and_long() -> None:
    """A long note on each off-beat, a short one on each beat."""
    take = pairs_of(F(1, 2), 4, 2 / 3, 0.01, 1, upbeats=1)
    assert take.sentence.startswith("Short and long: written even")


@pytest.mark.parametrize(
    ("upbeats", "share", "scatter_s", "seed", "clean"),
    [
        (0, 1 / 3, 0.04, 12, False),
        (0, 1 / 3, 0.04, 24, True),
        (1, 2 / 3, 0.05, 11, False),
        (1, 2 / 3, 0.04, 29, True),
    ],
)
def test_scatter_hides_short_and_long_sooner_than_a_swing(
    upbeats: int, share: float, scatter_s: float, seed: int, clean: bool
) -> None:
    take = pairs_of(F(1, 2), 6, share, scatter_s, seed, upbeats=upbeats)
    assert take.clean is clean
    if upbeats == 0:
        assert not pairs_of(F(1, 2), 6, 1 - share, scatter_s, seed).clean


def at_a_ratio(
    window: Excerpt,
    first: float,
    last: float,
    ratio: float,
    asked_qpm: float | None = None,
    habits: Habits | None = None,
) -> Judgement:
    """What lies between two onsets lasts so many times as long."""

    def at(x: float) -> float:
        return (x + (ratio - 1) * (min(max(x, first), last) - first)) * BEAT_S

    return judge(window, play(window, qpm=QPM, at=at), qpm=asked_qpm, habits=habits)


EIGHTHS = written(*[F(1, 2)] * 22, 1)


@pytest.mark.parametrize("seed", [7, 13, 15, 18, 22])
def test_two_thirds_of_a_length_show_in_strokes_that_scatter(seed: int) -> None:
    """By 24 ms, which is 4 % of the beat: expression stretches, and seldom shortens."""
    window, dice = whole(TUNE), random.Random(seed)
    late = {i: dice.gauss(0, 0.04 * BEAT_S) for i in range(len(window.notes))}
    for i in range(5, len(window.notes)):
        late[i] -= BEAT_S / 3
    take = judge(window, play(window, qpm=QPM, late=late))
    assert take.sentence == "Quarter note at bar 2 beat 2 got two thirds its length"


@pytest.mark.parametrize("seed", [1, 3, 4, 8])
@pytest.mark.parametrize(("by_s", "clean"), [(0.09, True), (0.12, False)])
def test_by_less_than_a_tenth_of_a_second_a_short_note_is_shaped(
    seed: int, by_s: float, clean: bool
) -> None:
    """An eighth of 0.3 s, by a hand whose strokes are off by 12 ms."""
    window, dice = whole(EIGHTHS), random.Random(seed)
    late = {i: dice.gauss(0, 0.012) for i in range(len(window.notes))}
    for i in range(10, len(window.notes)):
        late[i] -= by_s
    assert judge(window, play(window, qpm=QPM, late=late)).clean is clean


@pytest.mark.parametrize(("ratio", "clean"), [(0.72, False), (0.8, True), (1.25, True)])
def test_a_length_is_free_by_the_same_ratio_either_way(ratio: float, clean: bool) -> None:
    window = whole(TUNE)
    assert judge(window, misread(window, 4, ratio)).clean is clean


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (2, "Eighths at half their speed from bar 1 beat 4"),
        (0.5, "Eighths at twice their speed from bar 1 beat 4"),
    ],
)
def test_a_stretch_at_half_or_twice_the_speed_is_one_fault(ratio: float, words: str) -> None:
    take = at_a_ratio(whole(EIGHTHS), 3, 6, ratio)
    assert causes(take) == [Cause.MISREAD_PACE]
    assert take.sentence == words


@pytest.mark.parametrize(
    ("asked_qpm", "words"),
    [
        (QPM, "Eighths at half their speed from bar 2 beat 2 on"),
        (QPM / 2, "Eighths at twice their speed from bar 1 beat 1"),
        (0.6 * QPM, "Eighths at twice their speed from bar 1 beat 1"),
        (None, "Eighths at half their speed from bar 2 beat 2 on"),
    ],
)
def test_of_two_halves_the_one_farther_from_the_tempo_asked_for_is_at_fault(
    asked_qpm: float | None, words: str
) -> None:
    take = at_a_ratio(whole(EIGHTHS), 5.5, 11, 2, asked_qpm)
    assert take.sentence == words


def test_or_the_one_farther_from_how_fast_it_was_played_before() -> None:
    window = whole(EIGHTHS)
    habits = Habits().with_(judge(window, play(window, qpm=QPM / 2)))
    take = at_a_ratio(window, 5.5, 11, 2, habits=habits)
    assert take.sentence == "Eighths at twice their speed from bar 1 beat 1"


def test_where_nothing_is_asked_the_shorter_part_is_at_fault() -> None:
    take = at_a_ratio(whole(EIGHTHS), 0, 4, 2)
    assert take.sentence == "Eighths at half their speed from bar 1 beat 1"


def test_a_stretch_that_is_a_third_slower_is_none() -> None:
    take = at_a_ratio(whole(EIGHTHS), 3, 6, 1.33)
    assert Cause.MISREAD_PACE not in causes(take)


def test_one_hand_that_swings_alone_is_named() -> None:
    rows = [(hand, start) for hand, start in (("RH", 60), ("LH", 40))]
    notes = [
        {"pitch": start + i, "onset": F(i, 2), "length": F(1, 2), "hand": hand}
        for hand, start in rows
        for i in range(17)
    ]
    window = whole(score_from_notes(notes))
    late = {
        i: 0.25 * BEAT_S
        for i, note in enumerate(window.notes)
        if note.hand == "RH" and note.onset_quarters % 1 == F(1, 2)
    }
    take = judge(window, play(window, qpm=QPM, late=late))
    assert take.sentence.startswith("RH swung: written even")


def scattered(ratio: float, seed: int, scatter_s: float = 0.05) -> list[PlayedNote]:
    """The eighth before the last beat of bar 1 at a ratio, by a player whose strokes scatter."""
    window, dice = whole(EIGHTHS), random.Random(seed)
    by_s = (ratio - 1) * BEAT_S / 2
    late = {
        i: dice.gauss(0, scatter_s) + (by_s if i > 8 else 0.0) for i in range(len(window.notes))
    }
    return play(window, qpm=QPM, late=late)


def test_what_one_repetition_leaves_open_three_decide() -> None:
    window, habits, told = whole(EIGHTHS), Habits(), []
    for seed in (6000, 6001, 6002):
        take = judge(window, scattered(0.5, seed), habits=habits)
        told.append(causes(take))
        habits = habits.with_(take)
    assert told[0] == []
    assert told[2] == [Cause.MISREAD_VALUE]


def test_a_steady_player_s_half_value_is_told_of_one_take() -> None:
    """By 30 ms strokes scatter round a clock that does not wander: what stays is no wandering."""
    window = whole(EIGHTHS)
    told = [not judge(window, scattered(0.5, seed, 0.03)).clean for seed in range(200, 220)]
    assert sum(told) >= 18


def test_strokes_that_scatter_widely_are_no_misread_values() -> None:
    """By a fifth of each length: what comes of that goes back with the next stroke."""
    window = whole(EIGHTHS)
    told = [not judge(window, scattered(1.0, seed, 0.06)).clean for seed in range(200, 220)]
    assert sum(told) <= 2


def test_what_scatters_anew_each_time_does_not_add_up() -> None:
    window, habits = whole(EIGHTHS), Habits()
    for seed in (1, 2, 3):
        take = judge(window, scattered(1.0, seed, 0.03), habits=habits)
        assert take.clean
        habits = habits.with_(take)


def test_the_same_stretch_each_time_stays_expression() -> None:
    window, habits = whole(TUNE), Habits()
    for _ in range(3):
        take = judge(window, misread(window, 4, 1.25), habits=habits)
        assert take.clean
        habits = habits.with_(take)


def one_after_another(*takes: list[PlayedNote], window: Excerpt) -> list[Judgement]:
    """Judged as repetitions, each with what those before it showed."""
    habits, out = Habits(), []
    for notes in takes:
        out.append(judge(window, notes, habits=habits))
        habits = habits.with_(out[-1])
    return out


def test_what_was_told_and_then_mended_is_clean() -> None:
    window = whole(EIGHTHS)
    takes = one_after_another(
        scattered(0.5, 1, 0.03), scattered(0.5, 2, 0.03), scattered(1.0, 3, 0.03), window=window
    )
    assert [causes(take) for take in takes[1:]] == [[Cause.MISREAD_VALUE], []]


def test_the_ratio_told_of_several_is_the_one_played() -> None:
    takes = one_after_another(*(scattered(0.5, seed) for seed in (1, 2, 3)), window=whole(EIGHTHS))
    words = [fault.words for take in takes for fault in take.faults if not fault.forgiven]
    assert set(words) == {"eighth note at bar 2 beat 1 got half its length"}


def test_several_takes_are_weighed_as_one_player() -> None:
    """Where nothing recurs by manner of the player, evidence is what the takes have in common."""
    window = whole(EIGHTHS)
    at = F(4), F(9, 2)
    short = [judge(window, scattered(0.5, seed)).lengths for seed in (1, 2, 3)]
    even = [judge(window, scattered(1.0, seed)).lengths for seed in (4, 5, 6)]
    alone = [weigh_again([take], at, F(1, 2)) for take in short]
    assert weigh_again(short, at, F(1, 2)) > max(alone) + 1
    assert weigh_again(even, at, F(1, 2)) < 0
    assert weigh_again([*short[:2], even[0]], at, F(1, 2)) < weigh_again(short, at, F(1, 2))


def test_the_same_small_shaping_each_time_does_not_add_up_without_end() -> None:
    """A length 15 % shorter in every take, by a player who hardly scatters."""
    window = whole(EIGHTHS)
    takes = one_after_another(*(scattered(0.85, seed, 0.004) for seed in (1, 2, 3)), window=window)
    assert all(take.clean for take in takes)


def test_a_repetition_that_hides_a_misreading_does_not_break_the_chain() -> None:
    """No single take shows it, and one of them by chance hardly at all."""
    takes = one_after_another(
        *(scattered(0.5, seed) for seed in (4095, 4096, 4097)), window=whole(EIGHTHS)
    )
    assert causes(takes[0]) == []
    assert any(causes(take) == [Cause.MISREAD_VALUE] for take in takes[1:])


def told_of_three(ratio: float, seed: int) -> list[bool]:
    """Which of three takes are told, each with its own scatter of 6 hundredths of a second."""
    takes = (scattered(ratio, seed + k, 0.06) for k in range(3))
    return [bool(causes(take)) for take in one_after_another(*takes, window=whole(EIGHTHS))]


def test_a_misreading_that_scatter_nearly_hides_is_told_by_the_third_repetition() -> None:
    assert told_of_three(0.5, 109) == [False, False, True]


def test_what_only_the_last_repetition_shows_has_not_come_again() -> None:
    assert told_of_three(1.0, 265) == [False] * 3


def known(scatter_s: float, seed: int) -> Habits:
    """A player who was heard to play the row twice as written."""
    window, habits = whole(EIGHTHS), Habits()
    for k in (1, 2):
        take = judge(window, scattered(1.0, 1000 * seed + k, scatter_s), habits=habits)
        habits = habits.with_(take)
    return habits


@pytest.mark.parametrize("seed", [103, 119])
def test_what_one_take_leaves_open_the_player_s_own_scatter_decides(seed: int) -> None:
    window, short = whole(EIGHTHS), scattered(0.5, seed, 0.03)
    assert judge(window, short).clean
    steady = judge(window, short, habits=known(0.02, seed))
    assert steady.sentence == "Eighth note at bar 2 beat 1 got two thirds its length"
    assert judge(window, short, habits=known(0.06, seed)).clean


def test_a_player_is_still_known_the_next_day() -> None:
    window, short = whole(EIGHTHS), scattered(0.5, 103, 0.03)
    again = Habits.from_plain(json.loads(json.dumps(known(0.02, 103).to_plain())))
    assert not judge(window, short, habits=again).clean
    plain = again.to_plain()
    plain["scatter"] = plain["scatter"][1:]  # by a version that tries fewer manners
    assert judge(window, short, habits=Habits.from_plain(plain)).clean


def test_how_a_player_scattered_long_ago_fades() -> None:
    """Whoever was steady yesterday and is not today is not held to yesterday."""
    habits, window, short = known(0.02, 119), whole(EIGHTHS), scattered(0.5, 119, 0.03)
    assert not judge(window, short, habits=habits).clean
    for seed in range(6):
        habits = habits.with_(judge(window, scattered(1.0, seed, 0.06), habits=habits))
    assert habits.scatter.count <= 40
    assert judge(window, short, habits=Habits(scatter=habits.scatter)).clean
