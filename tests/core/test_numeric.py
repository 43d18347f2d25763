"""Least squares, linear equations and normal draws, against numpy, Python's own gauss and scipy."""

from __future__ import annotations

import random
from itertools import islice

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from garboard.numeric import least_squares, normal_draws, slope, solve


@pytest.mark.parametrize("size", [1, 2, 5, 12, 40])
def test_linear_equations_agree_with_numpy(size: int) -> None:
    """Source: numpy.linalg.solve."""
    draw = np.random.default_rng(size)
    matrix, right = draw.normal(size=(size, size)), draw.normal(size=size)
    expected = np.linalg.solve(matrix, right)
    assert solve(matrix.tolist(), right.tolist()) == pytest.approx(expected.tolist(), rel=1e-8, abs=1e-10)


def test_equations_whose_first_coefficient_is_zero_are_solved() -> None:
    assert solve([[0.0, 2.0], [4.0, 0.0]], [6.0, 8.0]) == (2.0, 3.0)


@pytest.mark.parametrize("matrix", [[[1.0, 2.0], [2.0, 4.0]], [[0.0, 0.0], [0.0, 0.0]], [[1.0, 1.0, 1.0]] * 3])
def test_equations_that_leave_an_unknown_open_are_refused(matrix: list[list[float]]) -> None:
    with pytest.raises(ValueError, match="determine every unknown"):
        solve(matrix, [1.0] * len(matrix))


def test_a_matrix_that_is_not_square_is_refused() -> None:
    with pytest.raises(ValueError, match="expected 2 unknowns"):
        solve([[1.0, 2.0, 3.0], [1.0, 0.0, 1.0]], [1.0, 1.0])


@pytest.mark.parametrize(("rows", "columns"), [(5, 5), (8, 5), (60, 5), (200, 40)])
def test_least_squares_agree_with_numpy(rows: int, columns: int) -> None:
    """Source: numpy.linalg.lstsq, and the inverse of the normal matrix by numpy.linalg.inv."""
    draw = np.random.default_rng(rows)
    matrix, observed = draw.normal(size=(rows, columns)), draw.normal(size=rows)
    expected = np.linalg.lstsq(matrix, observed, rcond=None)[0]
    found = least_squares(matrix.tolist(), observed.tolist())
    assert found.solution == pytest.approx(expected.tolist(), rel=1e-8, abs=1e-9)
    assert found.residuals == pytest.approx((observed - matrix @ expected).tolist(), abs=1e-8)
    inverse = np.linalg.inv(matrix.T @ matrix)
    assert np.array(found.inverse_normal) == pytest.approx(inverse, rel=1e-6, abs=1e-9)


def test_nearly_equal_columns_keep_their_digits() -> None:
    """Normal equations would lose all of them: 1e-7 squared is below the last digit of 1."""
    rows = [[1.0, 1.0], [1e-7, 0.0], [0.0, 1e-7]]
    assert least_squares(rows, [2.0, 1e-7, 1e-7]).solution == pytest.approx((1.0, 1.0), abs=1e-6)


@pytest.mark.parametrize("rows", [[[1.0, 2.0], [2.0, 4.0], [3.0, 6.0]], [[1.0, 2.0]], []])
def test_rows_that_leave_an_unknown_open_are_refused(rows: list[list[float]]) -> None:
    with pytest.raises(ValueError, match="expected"):
        least_squares(rows, [1.0] * len(rows))


@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(-100, 100)), min_size=3, max_size=20))
def test_residuals_stand_at_right_angles_to_every_column(points: list[tuple[float, float]]) -> None:
    assume(max(x for x, _ in points) - min(x for x, _ in points) > 0.1)
    rows = [[1.0, x] for x, _ in points]
    found = least_squares(rows, [y for _, y in points])
    for column in zip(*rows, strict=True):
        assert sum(a * b for a, b in zip(column, found.residuals, strict=True)) == pytest.approx(0, abs=1e-6)


@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(-100, 100)), min_size=2, max_size=20))
def test_a_slope_agrees_with_numpy(points: list[tuple[float, float]]) -> None:
    """Source: numpy.polyfit of degree one."""
    x, y = zip(*points, strict=True)
    assume(max(x) - min(x) > 0.1)
    assert slope(x, y) == pytest.approx(float(np.polyfit(x, y, 1)[0]), rel=1e-6, abs=1e-6)


def test_points_above_each_other_have_no_slope() -> None:
    assert slope([2.0, 2.0], [1.0, 5.0]) == 0.0


@pytest.mark.parametrize("seed", [1, 1852])
def test_draws_are_those_of_gauss(seed: int) -> None:
    """Source: random.Random.gauss of Python 3.11; a later Python may change it, then compare with 3.11."""
    draw = random.Random(seed)
    assert list(islice(normal_draws(seed), 101)) == [draw.gauss(0.0, 1.0) for _ in range(101)]


def test_draws_are_normal() -> None:
    """Source: scipy's Kolmogorov-Smirnov test; the seed is fixed, so this cannot fail by chance."""
    from scipy import stats

    assert stats.kstest(list(islice(normal_draws(7), 20_000)), "norm").pvalue > 0.01
