"""What people do at the piano besides playing: nothing raises, nothing false is recorded.

On every one-bar window of the sample scores, each hand alone and both: 316 of them.
"""

from collections import Counter
from fractions import Fraction as F

import pytest

from coach.coaching.drill.drill_events import AssignmentGiven, RepetitionBegan
from coach.coaching.model import Goal
from coach.drill import repair
from coach.judging.model import Cause, Outcome, Stage
from coach.judging.wording import FALSE_START
from coach.score.build import score_from_notes
from coach.score.model import Hands
from coach.score.window import Window
from tests.breadth import every
from tests.live import SAMPLES, Live, at_the_bar, every_other, one_bar_windows, sample


def faults_of(live: Live) -> list[Cause | None]:
    return [f.cause for one in live.ended for f in one.judgement.faults if not f.forgiven]


def clean_of(live: Live) -> int:
    return sum(one.judgement.clean for one in live.ended)


def onsets_of(live: Live) -> int:
    return len(live.drill.excerpt.onsets_quarters)


every_piece = pytest.mark.parametrize("name", SAMPLES)


@every_piece
def test_every_window_played_right_is_clean(name: str) -> None:
    for window in one_bar_windows(name):
        live = Live(sample(name), window).plays().waits(4)
        assert (clean_of(live), faults_of(live)) == (1, []), window


@pytest.mark.parametrize("name", every(2, SAMPLES))
@pytest.mark.parametrize("wait_s", every(3, [0.3, 0.8, 1.5, 3.0]))
def test_the_first_notes_struck_left_and_begun_again_are_a_false_start(
    name: str, wait_s: float
) -> None:
    """The attempt leaves nothing behind, and what comes after it gets its full credit.

    Three windows are left out. In one three chords have a key in common, and struck anew, the first
    and the second are taken for the second and the third. The others begin with a grace note over a
    chord: three keys and three seconds of silence are a repetition that was broken off, which tells
    nothing either.
    """
    doubtful = {
        ("2-the-ferry-bell", 33, 0.8),
        *(("6-the-lantern-room", bar, 3.0) for bar in (32, 36)),
    }
    for window in every_other(one_bar_windows(name), int(10 * wait_s)):
        if (name, int(window.start_quarters), wait_s) in doubtful:
            continue
        live = Live(sample(name), window).plays(0, 1).waits(wait_s).plays().waits(4)
        assert (len(live.ended), clean_of(live), faults_of(live)) == (1, 1, []), window
        assert live.drill.decision.clean_run == 1


@every_piece
@pytest.mark.parametrize("onsets", every(3, [3, 4, 5, 6, 7]))
def test_what_comes_after_a_restart_is_judged_by_itself_and_counts(name: str, onsets: int) -> None:
    """But for figures that recur: note for note they are the window, with a stop in it."""
    doubtful = {("1-low-tide", 8), ("6-the-lantern-room", 16), ("6-the-lantern-room", 20)}
    for window in every_other(one_bar_windows(name), onsets):
        live = Live(sample(name), window)
        if onsets >= onsets_of(live) - 1 or (name, int(window.start_quarters)) in doubtful:
            continue
        live.plays(0, onsets).waits(1).plays().waits(4)
        assert (clean_of(live), faults_of(live)) == (1, []), window
        assert live.ended[-1].judgement.clean
        assert live.under_the_hands == []
        given = [one.assignment.to_play for one in live.all(AssignmentGiven)]
        assert len(given) == 1, "one attempt broken off changes nothing that is asked for"


@pytest.mark.parametrize("name", every(2, SAMPLES))
@pytest.mark.parametrize("stop_s", [5.0, 120.0])
def test_one_stop_is_a_break_and_tells_nothing(name: str, stop_s: float) -> None:
    for window in every_other(one_bar_windows(name), int(stop_s)):
        live = Live(sample(name), window)
        if onsets_of(live) < 5:
            continue
        live.plays(0, 3).waits(stop_s).plays(3).waits(4)
        assert (clean_of(live), faults_of(live)) == (0, []), window
        results = [r.outcome for one in live.ended for r in one.judgement.transitions]
        assert set(results) <= {Outcome.CLEAN, Outcome.NOT_REACHED}
        assert len(live.all(AssignmentGiven)) == 1
        live.plays().waits(4)
        assert (clean_of(live), live.drill.decision.clean_run) == (1, 1)


def test_a_window_entered_in_its_middle_says_so() -> None:
    live = at_the_bar().plays(2).waits(4)
    assert live.ended[0].judgement.sentence == "Began at the & of 2"


@every_piece
@pytest.mark.parametrize("first", [2, 3])
def test_a_window_entered_in_its_middle_is_judged_from_there(name: str, first: int) -> None:
    for window in every_other(one_bar_windows(name), first):
        live = Live(sample(name), window)
        if first >= onsets_of(live) - 2:
            continue
        live.plays(first).waits(4)
        assert len(live.ended) <= 1
        assert (clean_of(live), faults_of(live)) == (0, []), window
        assert live.drill.decision.clean_run == 0
        assert len(live.all(AssignmentGiven)) == 1


def test_a_stop_before_the_same_onset_twice_in_four_is_a_hesitation_there() -> None:
    live = at_the_bar()
    live.plays(0, 3).waits(6)
    assert faults_of(live) == []
    live.plays().waits(4)
    live.plays(0, 3).waits(6)
    again = live.ended[-1]
    (fault,) = [one for one in again.judgement.faults if not one.forgiven]
    assert fault.cause == "stopped again"
    assert fault.onset_quarters == again.judgement.excerpt.onsets_quarters[3]
    assert again.judgement.sentence.startswith("Stopped again before")
    assert again.decision.clean_run == 0


def test_a_stop_elsewhere_or_long_ago_is_no_hesitation() -> None:
    live = at_the_bar()
    live.plays(0, 3).waits(6).plays(0, 4).waits(6)
    for _ in range(3):
        live.plays().waits(4)
    live.plays(0, 3).waits(6)
    assert faults_of(live) == []


def test_a_run_of_clean_ones_outlasts_a_false_start_and_a_break() -> None:
    live = at_the_bar()
    live.plays().waits(4).plays(0, 1).waits(1.5).plays().waits(4)
    live.plays(0, 3).waits(6).plays(3).waits(4)
    assert live.drill.decision.clean_run == 2
    for _ in range(3):
        live.plays().waits(4)
    assert live.drill.decision.finished


def test_a_false_start_is_said_and_the_next_has_begun() -> None:
    live = at_the_bar().plays(0, 1).waits(1.5).plays(0, 2)
    assert live.aside == [FALSE_START]
    assert Counter(map(type, live.heard))[RepetitionBegan] == 2


def test_a_wrong_note_before_a_restart_is_heard_and_decided_with_what_follows() -> None:
    """Wrong twice running asks for a change; the right one between belongs to the run as it is."""
    live = at_the_bar()
    live.plays(0, 4, change=lambda note, pitch: pitch + (note == 2)).waits(1).plays().waits(4)
    assert [one.judgement.clean for one in live.ended] == [False, True]
    assert [one.decision.changed for one in live.ended] == [False, False]
    assert live.drill.decision.clean_run == 1
    assert faults_of(live) == ["wrong key"]


def test_what_is_asked_for_changes_only_once_the_hands_rest() -> None:
    live = at_the_bar()
    for _ in range(2):
        live.plays(change=lambda note, pitch: pitch + (note in (1, 3)))
        live.waits(live.gap_s(0))
    begun = live.drill.assignment
    live.plays()
    assert live.drill.assignment == begun
    assert live.under_the_hands == []
    live.waits(4)
    assert [one.assignment.to_play for one in live.ended] == [begun.to_play] * 3
    assert live.ended[-1].judgement.clean


def test_who_plays_on_past_the_end_is_not_given_another_window_meanwhile() -> None:
    live = at_the_bar()
    for _ in range(2):
        live.plays(change=lambda note, pitch: pitch + (note in (1, 3))).waits(4)
    given = len(live.all(AssignmentGiven))
    live.plays(change=lambda note, pitch: pitch + (note in (1, 3)))
    for pitch in (90, 88, 93, 91, 85, 95):
        live.waits(0.6)
        live.strikes(pitch, held_s=0.1)
        assert len(live.all(AssignmentGiven)) == given


# Windows of few long notes: nothing but time, and what is written around them, tells what is what.


def slow(*onsets: tuple[float, int, list[int]], bars: tuple[int, int]) -> Live:
    """Half notes and longer at 60, one hand: onset, length and keys; the window is some bars."""
    score = score_from_notes(
        [
            {"pitch": pitch, "onset": at, "length": length, "hand": "RH"}
            for at, length, pitches in onsets
            for pitch in pitches
        ]
    )
    first, last = bars
    window = Window(F(4 * first), F(4 * last), Hands.RIGHT, landing=False)
    return Live(score, window, goal=repair(score, window, qpm=60))


def there_and_back() -> Live:
    return slow((0, 3, [69, 78, 83]), (3, 4, [55, 60, 65]), (7, 1, [69, 78, 83]), bars=(0, 2))


def test_a_first_chord_struck_again_and_again_is_not_the_last_one_that_is_like_it() -> None:
    live = there_and_back()
    for wait_s in (3.4, 0.8, 1.6):
        live.plays(0, 1).waits(wait_s)
    live.plays().waits(4)
    assert (len(live.ended), clean_of(live), faults_of(live)) == (1, 1, [])


def test_other_keys_before_a_window_of_two_chords_are_no_part_of_it() -> None:
    """The first of them is a key of its first chord: with that one right of six nothing began."""
    live = slow((0, 7, [69, 78, 83]), (7, 1, [69, 78, 83]), bars=(0, 2))
    for pitch in (78, 81, 84, 90, 93, 96):
        live.strikes(pitch, held_s=0.5)
    live.waits(1.3).plays().waits(12)
    assert (len(live.ended), clean_of(live), faults_of(live)) == (1, 1, [])


def four_bars() -> tuple[tuple[float, int, list[int]], ...]:
    """The second bar's chord begins the first, too; the last notes come in other orders around."""
    return (
        (0, 2, [60]), (2, 2, [53]),
        (4, 2, [60]), (6, 1, [67]), (7, 1, [65]),
        (8, 2, [64]), (10, 1, [60]), (11, 1, [67]), (12, 2, [60]), (14, 2, [67]),
    )  # fmt: skip


def test_a_slow_bar_before_the_window_that_begins_like_it_is_no_repetition() -> None:
    score, window = sample("1-low-tide"), Window(F(16), F(20), Hands.TOGETHER)
    live = Live(score, window, goal=repair(score, window, qpm=22))
    live.plays(window=Window(F(12), F(16), Hands.TOGETHER, landing=False))
    live.waits(2 * 60 / 22).plays().waits(5)
    assert (clean_of(live), faults_of(live)) == (1, [])


def test_a_false_start_before_a_lead_in_leaves_nothing_behind() -> None:
    score, window = sample("1-low-tide"), Window(F(12), F(16), Hands.LEFT)
    live = Live(score, window, goal=Goal(window, 68.0, Stage.NOTES))
    live.plays(0, 1).waits(3.8)
    live.strikes(53).waits(1.5)
    live.strikes(50).waits(1.5)
    live.plays().waits(4)
    assert (clean_of(live), faults_of(live)) == (1, [])


def test_a_wrong_last_note_of_three_is_told_though_it_stands_so_elsewhere() -> None:
    """60, 67, 60 is written two bars later."""
    live = slow(*four_bars(), bars=(1, 2))
    live.plays(change=lambda note, pitch: 60 if note == 2 else pitch).waits(0.8).plays().waits(4)
    assert [one.judgement.clean for one in live.ended] == [False, True]
    assert faults_of(live) == ["wrong key"]


@pytest.mark.parametrize("wrong", [1, 2])
def test_slow_keys_of_something_else_do_not_hide_a_window_begun_after_them(wrong: int) -> None:
    """More than three seconds apart they might be a window of long notes, if they were right."""
    score, window = sample("1-low-tide"), Window(F(4), F(8), Hands.LEFT)
    live = Live(score, window, goal=repair(score, window, qpm=37))
    for pitch in (48, 50, 52):
        live.strikes(pitch).waits(3.0)
    live.waits(3.5).plays(change=lambda note, pitch: 51 if note == wrong else pitch)
    live.waits(0.8).plays().waits(5)
    assert [one.judgement.clean for one in live.ended] == [False, True]
    assert faults_of(live)[:1] == ["wrong key"]


# Whoever plays an ornament strikes more keys than are written, and whichever they like.


def to_an_ornament(mark: str, *last: int) -> Live:
    """Four quarters up from C at 80, and an ornament on what they lead to."""
    keys = [*enumerate((60, 62, 64, 65)), *((4, pitch) for pitch in last)]
    score = score_from_notes(
        [
            {"pitch": pitch, "onset": at, "length": 1, "hand": "RH", "marks": [mark] * (at == 4)}
            for at, pitch in keys
        ]
    )
    window = Window(F(0), F(5), Hands.RIGHT, landing=False)
    return Live(score, window, goal=repair(score, window, qpm=80))


@pytest.mark.parametrize("wait_s", [0.3, 0.7, 1.0])
@pytest.mark.parametrize("mark", ["mordent", "tremolo"])
def test_a_window_that_ends_with_an_ornament_may_be_begun_again_at_once(
    mark: str, wait_s: float
) -> None:
    live = to_an_ornament(mark, 64, 67, 72)
    live.plays().waits(wait_s).plays().waits(4)
    assert (len(live.ended), clean_of(live), faults_of(live)) == (2, 2, [])


@pytest.mark.parametrize(("each_s", "turn"), [(0.1, 60), (0.24, 60), (0.4, 64)])
def test_a_trill_on_the_last_note_goes_on_as_it_likes(each_s: float, turn: int) -> None:
    live = to_an_ornament("trill", 62)
    live.plays().waits(each_s)
    for pitch in (64, 62, 64, 62, turn, 62):
        live.strikes(pitch, held_s=0.08).waits(each_s - 0.084)
    live.waits(4)
    assert (len(live.ended), clean_of(live), live.aside) == (1, 1, [])


# Whoever is lost stops, looks, and goes on elsewhere.


def two_octaves_up() -> Live:
    keys = (60, 62, 64, 65, 67, 69, 71, 72, 74, 76, 77, 79, 81, 83, 84)
    notes = [{"pitch": p, "onset": at, "length": 1, "hand": "RH"} for at, p in enumerate(keys)]
    score = score_from_notes(notes)
    window = Window(F(0), F(15), Hands.RIGHT, landing=False)
    return Live(score, window, goal=repair(score, window, qpm=100))


@pytest.mark.parametrize(("wait_s", "to"), [(1.2, 9), (6.0, 8), (1.2, 10), (3.0, 7)])
def test_whoever_stops_and_enters_farther_on_left_nothing_out(wait_s: float, to: int) -> None:
    live = two_octaves_up()
    live.plays(0, 5).waits(wait_s).plays(to).waits(5)
    assert faults_of(live) == []
    first, second = (one.judgement.sentence for one in live.ended)
    assert first.startswith("Stopped before")
    assert second.startswith("Began at")


@pytest.mark.parametrize(("wait_s", "to"), [(0.6, 9), (2.4, 8)])
def test_what_is_left_out_in_time_or_on_the_way_is_told(wait_s: float, to: int) -> None:
    live = two_octaves_up()
    live.plays(0, 5).waits(wait_s).plays(to).waits(5)
    assert len(live.ended) == 1
    assert not live.ended[0].judgement.clean
