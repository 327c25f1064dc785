"""The pianist's days: local time, and a day ends at four in the morning.

Who plays after midnight has not slept yet; what is learnt is kept by a night's sleep.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

DAY_ENDS_H = 4
"""What is played before four in the morning belongs to the evening before."""


def day_of(at_s: float) -> int:
    """The day of a time (unix time), by its number as ``date.toordinal`` counts them."""
    return (datetime.fromtimestamp(at_s) - timedelta(hours=DAY_ENDS_H)).toordinal()


def begin_of_day_s(day: int) -> float:
    """When a day begins, unix time."""
    morning = datetime.combine(date.fromordinal(day), datetime.min.time())
    return (morning + timedelta(hours=DAY_ENDS_H)).timestamp()
