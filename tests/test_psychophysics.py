"""What listeners hear of time, against the published figures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.judging.tolerance import jnd92_ms, jnd95_ms


@pytest.mark.outside
@pytest.mark.parametrize(
    ("ioi_ms", "jnd_ms"), [(100, 6), (239, 6), (240, 6.0), (500, 12.5), (1000, 25)]
)
def test_jnd_of_1995(ioi_ms: float, jnd_ms: float) -> None:
    """Friberg & Sundberg 1995, JASA 98(5), 2524-2531: 6 ms below 240 ms, 2.5 % above."""
    assert jnd95_ms(ioi_ms) == pytest.approx(jnd_ms)


@pytest.mark.outside
@pytest.mark.parametrize(("ioi_ms", "jnd_ms"), [(125, 10), (500, 25), (1000, 50)])
def test_jnd_of_1992(ioi_ms: float, jnd_ms: float) -> None:
    """Friberg & Sundberg 1992, STL-QPSR 33(4), 97-108: 10 ms below 240 ms, 5 % above."""
    assert jnd92_ms(ioi_ms) == pytest.approx(jnd_ms)


@pytest.mark.property
@given(st.floats(20, 5000))
def test_the_newer_figure_is_never_the_laxer(ioi_ms: float) -> None:
    assert jnd95_ms(ioi_ms) <= jnd92_ms(ioi_ms)
