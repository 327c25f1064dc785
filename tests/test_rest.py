"""Breaks are proposed in time, once, and in words that defer to those who know more."""

from fractions import Fraction as F

from coach.coaching.practice.breaks import BreakReminder, is_wide
from coach.score.build import score_from_notes
from coach.score.window import Excerpt, Window, excerpt


def sight(span: int = 4) -> Excerpt:
    notes = [
        {"pitch": p, "onset": k, "length": 1, "hand": "RH"}
        for k in range(4)
        for p in (60, 60 + span)
    ]
    return excerpt(score_from_notes(notes), Window(F(0), F(4)))


def minutes_until_an_offer(
    rest: BreakReminder, repetition_s: float = 20.0, gap_s: float = 5.0
) -> tuple[float, tuple[str, ...]]:
    now_s, offers = 0.0, tuple[str, ...]()
    while not offers:
        now_s += repetition_s + gap_s
        offers = rest.count_playing(sight(), repetition_s, now_s)
    return now_s / 60, offers


def test_a_break_is_proposed_after_at_most_25_minutes() -> None:
    minutes, (text,) = minutes_until_an_offer(BreakReminder())
    assert 24 <= minutes <= 25.5
    assert "stop" in text
    assert "doctor" in text


def test_it_is_said_once_and_not_again_before_a_break() -> None:
    rest = BreakReminder()
    minutes, _ = minutes_until_an_offer(rest)
    now_s = minutes * 60
    again = [rest.count_playing(sight(), 20.0, now_s + 25.0 * k) for k in range(1, 20)]
    assert not any(again)


def test_after_a_break_the_time_begins_anew() -> None:
    rest = BreakReminder()
    minutes, _ = minutes_until_an_offer(rest)
    assert rest.count_playing(sight(), 20.0, minutes * 60 + 400.0) == ()


def test_ten_minutes_in_the_hour() -> None:
    """Short breaks alone do not make them up: playing is counted over the hour."""
    rest = BreakReminder()
    said = {minute: rest.count_playing(sight(), 58.0, 60.0 * minute) for minute in range(1, 61)}
    offers = {minute: text for minute, texts in said.items() for text in texts}
    stretch, hour = offers
    assert "five minutes" in offers[stretch]
    assert 48 <= hour <= 60
    assert "ten minutes" in offers[hour]


def test_wide_stretches_on_end_propose_a_change() -> None:
    rest = BreakReminder()
    said = [rest.count_playing(sight(16), 4.0, 8.0 * k) for k in range(1, 25)]
    assert sum(bool(offers) for offers in said) == 1


def test_a_tenth_is_wide_and_a_ninth_is_not() -> None:
    """Common practice; "small hand" is one that does not reach a tenth (Farias 2002)."""
    assert is_wide(sight(16))
    assert not is_wide(sight(14))
