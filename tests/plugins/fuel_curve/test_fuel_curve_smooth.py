"""The smooth line against scipy, and the promises it makes."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garboard_fuel_curve.smooth import nondecreasing, through

values = st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=20)


@st.composite
def points(draw: st.DrawFn) -> tuple[list[float], list[float]]:
    widths = draw(st.lists(st.floats(0.5, 500), min_size=1, max_size=15))
    y = draw(
        st.lists(
            st.floats(-100, 100).map(lambda value: round(value, 6)), min_size=len(widths) + 1, max_size=len(widths) + 1
        )
    )
    x = [0.0]
    for width in widths:
        x.append(x[-1] + width)
    return x, y


@given(values)
def test_pooled_values_are_those_of_scipy(readings: list[float]) -> None:
    """Reference: scipy.optimize.isotonic_regression."""
    from scipy.optimize import isotonic_regression

    assert list(isotonic_regression(readings).x) == pytest.approx(nondecreasing(readings), abs=1e-9)


@given(values)
def test_pooled_values_never_fall_and_keep_their_sum(readings: list[float]) -> None:
    pooled = nondecreasing(readings)
    assert all(second >= first for first, second in pairwise(pooled))
    assert sum(pooled) == pytest.approx(sum(readings), abs=1e-6)


@given(values)
def test_values_already_in_order_are_left_alone(readings: list[float]) -> None:
    assert nondecreasing(sorted(readings)) == tuple(sorted(readings))


@given(points())
def test_the_line_is_that_of_scipy(known: tuple[list[float], list[float]]) -> None:
    """Reference: scipy.interpolate.PchipInterpolator."""
    from scipy.interpolate import PchipInterpolator

    x, y = known
    places = [x[0] + (x[-1] - x[0]) * number / 97 for number in range(97)]
    assert list(PchipInterpolator(x, y)(places)) == pytest.approx(through(x, y).along(places), rel=1e-7, abs=1e-7)


@given(points())
def test_a_rising_line_stays_between_its_knots(known: tuple[list[float], list[float]]) -> None:
    x, y = known[0], sorted(known[1])
    line = through(x, y)
    for (left, right), (low, high) in zip(pairwise(x), pairwise(y), strict=True):
        inside = line.along([left + (right - left) * share for share in (0.1, 0.3, 0.5, 0.7, 0.9)])
        assert all(low - 1e-7 <= value <= high + 1e-7 for value in inside)
        assert all(second >= first - 1e-7 for first, second in pairwise(inside))


def test_the_line_passes_through_its_knots() -> None:
    assert through([0, 2, 3], [1, 5, 4]).along([0, 2, 3]) == pytest.approx([1, 5, 4])


@pytest.mark.parametrize("where", [-0.001, 3.001])
def test_the_line_is_never_extended(where: float) -> None:
    with pytest.raises(ValueError, match="expected places from 0 to 3"):
        through([0, 2, 3], [1, 5, 4]).at(where)


@pytest.mark.parametrize(("x", "y"), [([1], [1]), ([1, 1], [1, 2]), ([2, 1], [1, 2]), ([1, 2], [1])])
def test_points_that_make_no_line_are_refused(x: list[float], y: list[float]) -> None:
    with pytest.raises(ValueError, match="at least two points at rising places"):
        through(x, y)
