"""No tolerance lies below what is heard, and each grows with the time it is a share of."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.judging.tolerance import USUAL, Strictness, Tolerance, jnd92_ms, jnd95_ms

ALL = [Tolerance.of(strictness) for strictness in Strictness]


def limits(tolerance: Tolerance, ms: float) -> list[float]:
    return [
        tolerance.late_ms(ms),
        tolerance.hesitation_ms(ms, None, ending=False),
        tolerance.hesitation_ms(ms, 0.02, ending=True),
        tolerance.hands_apart_ms(ms),
        tolerance.against_click_ms(ms),
    ]


@pytest.mark.property
@given(st.floats(20, 5000), st.sampled_from(ALL))
def test_no_limit_lies_below_what_is_heard(ms: float, tolerance: Tolerance) -> None:
    """Friberg & Sundberg 1995."""
    assert all(limit >= jnd95_ms(ms) for limit in limits(tolerance, ms))


@pytest.mark.property
@given(st.floats(20, 5000), st.floats(1.0, 3.0), st.sampled_from(ALL))
def test_limits_grow_with_the_interval(ms: float, by: float, tolerance: Tolerance) -> None:
    """Repp 1997: the scatter of expressive intervals grows with them."""
    pairs = zip(limits(tolerance, ms), limits(tolerance, ms * by), strict=True)
    assert all(longer >= shorter for shorter, longer in pairs)


def test_strict_asks_for_more_and_lenient_for_less() -> None:
    strict, usual, lenient = (Tolerance.of(s) for s in Strictness)
    for ms in (120.0, 400.0, 1500.0):
        rows = zip(limits(strict, ms), limits(usual, ms), limits(lenient, ms), strict=True)
        assert all(a <= b <= c for a, b, c in rows)
    assert usual == USUAL


@pytest.mark.parametrize(
    ("strictness", "floor_ms", "ratio", "release", "staccato"),
    [
        (Strictness.STRICT, 37.5, 1.375, 0.467, 0.6),
        (Strictness.USUAL, 50.0, 1.5, 0.35, 0.8),
        (Strictness.LENIENT, 70.0, 1.7, 0.25, 0.95),  # never as long as legato
    ],
)
def test_the_figures_of_taste_go_a_third_down_or_up(
    strictness: Strictness, floor_ms: float, ratio: float, release: float, staccato: float
) -> None:
    tolerance = Tolerance.of(strictness)
    found = (tolerance.late_ms(300.0), tolerance.uneven_ratio, tolerance.release_share)
    assert (*found, tolerance.staccato_share) == pytest.approx(
        (floor_ms, ratio, release, staccato), abs=1e-3
    )


@pytest.mark.outside
def test_a_phrase_ending_may_be_stretched_further() -> None:
    """Repp 1998, JEP:HPP 24(3), 791-811: lateness is heard less where it is expected."""
    for tolerance in ALL:
        inside = tolerance.hesitation_ms(800, None, ending=False)
        assert tolerance.hesitation_ms(800, None, ending=True) > inside


@pytest.mark.outside
def test_the_slow_side_is_the_tempo_tolerance_of_mir_eval() -> None:
    """mir_eval.tempo.detection: tol=0.08 by default."""
    import inspect

    from mir_eval import tempo

    assert inspect.signature(tempo.detection).parameters["tol"].default == USUAL.slow_share


def test_less_is_asked_of_a_hesitation_where_the_player_was_heard_before() -> None:
    for strictness in Strictness:
        tolerance = Tolerance.of(strictness)
        known = tolerance.hesitation_ms(300, 0.02, ending=False, known=True)
        assert 2 * jnd92_ms(300) < known < tolerance.hesitation_ms(300, 0.02, ending=False)
