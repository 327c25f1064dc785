"""Judging that takes long is done elsewhere, and its verdict comes when it comes."""

import pickle
from fractions import Fraction as F

import pytest

from coach.coaching.drill import drill as drill_module
from coach.coaching.drill.drill_events import AssignmentGiven, DrillState, SetAside, ToJudge
from coach.coaching.model import Request
from coach.drill import repair
from coach.judging.judge import JudgingJob
from coach.score.build import score_from_notes
from coach.score.model import Hands
from coach.score.window import Window
from tests.lessons import tempo_of
from tests.live import Live, sample

BAR = Window(F(5), F(9), Hands.RIGHT)


@pytest.fixture
def live(monkeypatch: pytest.MonkeyPatch) -> Live:
    monkeypatch.setattr(drill_module, "LARGE", 0)
    return Live(sample("2-the-ferry-bell"), BAR, judges_elsewhere=True)


def wrong(note: int, pitch: int) -> int:
    return pitch + (note in (1, 3))


def jobs_of(live: Live) -> list[JudgingJob]:
    return [one.job for one in live.all(ToJudge)]


def verdict(live: Live, job: JudgingJob) -> None:
    live.note(live.drill.take_verdict(job, job.judge(), live.now_s))


def test_a_large_take_is_given_out_and_its_verdict_ends_it(live: Live) -> None:
    live.plays().waits(2)
    (job,) = jobs_of(live)
    assert live.ended == []
    assert live.drill.state is DrillState.READY
    verdict(live, job)
    (ended,) = live.ended
    assert ended.judgement.clean
    assert ended.take is job.take
    assert live.drill.decision.clean_run == 1


def test_a_small_take_and_any_where_it_is_not_allowed_are_judged_at_once() -> None:
    for how in ({"judges_elsewhere": True}, {}):
        live = Live(sample("2-the-ferry-bell"), BAR, **how).plays().waits(2)
        assert len(live.ended) == 1
        assert jobs_of(live) == []


@pytest.mark.parametrize(("count", "given_out"), [(20, 0), (21, 1)])
def test_of_more_than_twenty_notes_a_take_is_large(count: int, given_out: int) -> None:
    keys = [60 + (7 * at) % 12 for at in range(count)]
    notes = [{"pitch": p, "onset": at, "length": 1, "hand": "RH"} for at, p in enumerate(keys)]
    score = score_from_notes(notes)
    window = Window(F(0), F(count), Hands.RIGHT, landing=False)
    goal = repair(score, window, qpm=200)
    live = Live(score, window, goal=goal, judges_elsewhere=True).plays().waits(2)
    assert len(jobs_of(live)) == given_out


def test_a_job_goes_to_another_process_and_back(live: Live) -> None:
    live.plays().waits(2)
    (job,) = jobs_of(live)
    sent = pickle.loads(pickle.dumps(job))
    judgement = pickle.loads(pickle.dumps(sent.judge()))
    live.note(live.drill.take_verdict(sent, judgement, live.now_s))
    assert live.ended[0].judgement == job.judge()


def test_the_next_one_may_begin_and_end_before_the_verdict_and_both_count(live: Live) -> None:
    live.plays().waits(2).plays().waits(2)
    for job in jobs_of(live):
        verdict(live, job)
    assert [one.judgement.clean for one in live.ended] == [True, True]
    assert live.drill.decision.clean_run == 2


def test_verdicts_are_taken_in_the_order_played(live: Live) -> None:
    live.plays(change=wrong).waits(2).plays().waits(2)
    first, second = jobs_of(live)
    verdict(live, second)
    assert live.ended == []
    verdict(live, first)
    assert [one.judgement.clean for one in live.ended] == [False, True]
    assert live.drill.decision.clean_run == 1


def test_a_verdict_is_taken_once(live: Live) -> None:
    live.plays().waits(2)
    (job,) = jobs_of(live)
    verdict(live, job)
    verdict(live, job)
    assert len(live.ended) == 1


def test_a_verdict_that_comes_while_the_next_is_played_changes_nothing_under_the_hands(
    live: Live,
) -> None:
    live.plays(change=wrong).waits(2).plays(change=wrong).waits(2)
    live.plays(0, 4)
    for job in jobs_of(live):
        verdict(live, job)
    assert live.drill.state is DrillState.PLAYING
    live.waits(live.gap_s(3)).plays(4)
    assert live.under_the_hands == []
    assert len(live.all(AssignmentGiven)) == 1
    live.waits(4)
    verdict(live, jobs_of(live)[-1])
    live.waits(2)
    assert [one.judgement.clean for one in live.ended] == [False, False, True]
    assert len(live.all(AssignmentGiven)) == 1, "the right one came in time"


def test_two_wrong_ones_change_what_is_asked_for_once_their_verdicts_are_there(live: Live) -> None:
    live.plays(change=wrong).waits(2).plays(change=wrong).waits(2)
    for job in jobs_of(live):
        verdict(live, job)
    live.waits(2)
    assert len(live.all(AssignmentGiven)) == 2
    assert live.asked.to_play != live.ended[0].assignment.to_play


def test_a_verdict_on_what_was_asked_for_before_is_evidence_and_no_more(live: Live) -> None:
    live.plays().waits(2)
    (job,) = jobs_of(live)
    live.note(live.drill.ask(Request.SLOWER, live.now_s))
    verdict(live, job)
    assert live.ended[0].judgement.clean
    assert tempo_of(live.ended[0].assignment) > tempo_of(live.asked)
    assert live.drill.decision.clean_run == 0
    assert sum(tally.failed == 0 for tally in live.drill.coach.evidence.beats.values()) > 2


def test_the_goal_waits_for_what_is_in_hand(live: Live) -> None:
    for _ in range(5):
        live.plays().waits(2)
    live.plays(0, 4)
    for job in jobs_of(live):
        verdict(live, job)
    assert live.ended[-1].decision.finished
    state = live.drill.state
    assert state is DrillState.PLAYING
    live.note(live.drill.ask(Request.AGAIN, live.now_s))
    assert live.drill.state is DrillState.READY


def test_the_goal_is_shown_once_the_verdict_is_there(live: Live) -> None:
    for _ in range(5):
        live.plays().waits(2)
    state = live.drill.state
    assert state is DrillState.READY
    for job in jobs_of(live):
        verdict(live, job)
    live.waits(2)  # until it could be read
    assert live.drill.state is DrillState.FINISHED


def test_a_verdict_survives_a_pause_and_a_lost_piano(live: Live) -> None:
    for stop, go_on in (("pause", "resume"), ("piano_lost", "piano_found")):
        live.plays().waits(2)
        live.note(getattr(live.drill, stop)(live.now_s))
        verdict(live, jobs_of(live)[-1])
        live.note(getattr(live.drill, go_on)(live.now_s))
    assert live.drill.decision.clean_run == 2


def test_what_turns_out_to_be_no_repetition_is_set_aside_by_itself(live: Live) -> None:
    live.plays(change=lambda note, pitch: pitch + 1).waits(6)
    for job in jobs_of(live):
        verdict(live, job)
    assert live.ended == []
    late = [one for one in live.all(SetAside) if one.job is not None]
    assert [one.job for one in late] == jobs_of(live)
