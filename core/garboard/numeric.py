"""Least squares, linear equations and seeded normal draws, in pure Python.

A tablet has no numpy, and a few dozen unknowns need none: numpy would take longer to load than these take to run. The
same input gives the same digits on every machine, so a finding reads the same wherever it is worked out.
"""

from __future__ import annotations

import math
import random
import sys
from collections.abc import Iterable, Iterator, Sequence

import attrs

__all__ = ["LeastSquares", "least_squares", "median", "normal_draws", "slope", "solve"]


@attrs.frozen
class LeastSquares:
    """Unknowns that come nearest to what was observed.

    solution       : one value for each column
    residuals      : observed minus fitted, one for each row
    inverse_normal : inverse of the normal matrix; times the residual variance it is the covariance of the solution
    """

    solution: tuple[float, ...]
    residuals: tuple[float, ...]
    inverse_normal: tuple[tuple[float, ...], ...]


def median(values: Iterable[float]) -> float:
    """The middle one of some values; of an even number the mean of the two in the middle. Raises ValueError for none.

    As that of `statistics`, which loads fractions and decimals: 1 % of the time an assessment takes.

    >>> median([5.0, 1.0, 3.0]), median([4.0, 1.0, 3.0, 2.0])
    (3.0, 2.5)
    """
    found = sorted(values)
    if not found:
        raise ValueError("expected a value at least, got none")
    half = len(found) // 2
    return found[half] if len(found) % 2 else (found[half - 1] + found[half]) / 2


def solve(matrix: Sequence[Sequence[float]], right: Sequence[float]) -> tuple[float, ...]:
    """The unknowns of as many linear equations, some 40 of them at most.

    matrix  : one row for each equation [-]
    right   : right-hand side of each equation [-]
    returns : one value for each column [-]
    Raises ValueError when the equations do not determine every unknown.

    >>> solve([[2.0, 1.0], [1.0, 3.0]], [5.0, 10.0])
    (1.0, 3.0)

    [1] Gaussian elimination with partial pivoting.
    """
    rows = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    size = len(rows)
    if any(len(row) != size + 1 for row in rows):
        raise ValueError(f"expected {size} unknowns in every one of {size} equations")
    smallest = size * sys.float_info.epsilon * max((abs(value) for row in matrix for value in row), default=0.0)
    for column in range(size):
        pivot = max(range(column, size), key=lambda place: abs(rows[place][column]))
        if not abs(rows[pivot][column]) > smallest:
            raise ValueError("expected equations that determine every unknown, got some that say the same")
        rows[column], rows[pivot] = rows[pivot], rows[column]
        for below in rows[column + 1 :]:
            share = below[column] / rows[column][column]
            for place in range(column, size + 1):
                below[place] -= share * rows[column][place]
    return _from_the_last([row[:size] for row in rows], [row[size] for row in rows])


def least_squares(rows: Sequence[Sequence[float]], observed: Sequence[float]) -> LeastSquares:
    """The unknowns with the smallest sum of squared residuals.

    rows     : what each unknown is multiplied by, one row for each observation; as many rows as columns or more [-]
    observed : one value for each row [-]
    returns  : solution, residuals and the inverse of the normal matrix [-]
    Raises ValueError when the rows do not determine every unknown.

    >>> line = least_squares([[1.0, x] for x in (0.0, 1.0, 2.0)], [1.0, 3.0, 5.0])
    >>> [round(value, 12) for value in line.solution]
    [1.0, 2.0]

    [1] QR factorisation by Gram and Schmidt, each column freed of the others twice.
    """
    columns = list(zip(*rows, strict=True))
    if not columns or len(observed) != len(rows) or len(rows) < len(columns):
        raise ValueError(f"expected as many observations as unknowns or more, got {len(rows)} rows")
    basis, triangle = _orthonormal(columns)
    solution = _from_the_last(triangle, [_dot(direction, observed) for direction in basis])
    residuals = tuple(value - _dot(row, solution) for row, value in zip(rows, observed, strict=True))
    size = range(len(columns))
    inverse = [_from_the_last(triangle, [float(place == column) for place in size]) for column in size]
    # `inverse` holds the columns of the triangle's inverse; their outer products add up to that of the normal matrix
    normal = tuple(tuple(math.fsum(one[i] * one[j] for one in inverse) for j in size) for i in size)
    return LeastSquares(solution, residuals, normal)


def slope(x: Sequence[float], y: Sequence[float]) -> float:
    """Slope of the straight line nearest to points, by least squares.

    x, y    : at least one point [-]
    returns : rise of y for each 1 of x; 0 where every x is the same [-]

    >>> slope([0.0, 1.0, 2.0], [1.0, 3.0, 5.0])
    2.0
    """
    middle_x, middle_y = math.fsum(x) / len(x), math.fsum(y) / len(y)
    squares = math.fsum((one - middle_x) ** 2 for one in x)
    products = math.fsum((one - middle_x) * (other - middle_y) for one, other in zip(x, y, strict=True))
    return products / squares if squares else 0.0


def _orthonormal(columns: Sequence[Sequence[float]]) -> tuple[list[list[float]], list[list[float]]]:
    """Orthonormal columns that span the same, and the upper triangle that makes the given ones of them."""
    basis: list[list[float]] = []
    triangle = [[0.0] * len(columns) for _ in columns]
    for number, column in enumerate(columns):
        rest = list(column)
        for _ in range(2):  # once leaves a little of the others in a column that nearly depends on them
            for place, direction in enumerate(basis):
                share = _dot(direction, rest)
                triangle[place][number] += share
                rest = [value - share * part for value, part in zip(rest, direction, strict=True)]
        length = math.sqrt(_dot(rest, rest))
        if not length > len(column) * sys.float_info.epsilon * math.sqrt(_dot(column, column)):
            raise ValueError("expected rows that determine every unknown, got columns that depend on each other")
        triangle[number][number] = length
        basis.append([value / length for value in rest])
    return basis, triangle


def _from_the_last(triangle: Sequence[Sequence[float]], right: Sequence[float]) -> tuple[float, ...]:
    """The unknowns of equations of which each has one fewer than the one before."""
    found = [0.0] * len(right)
    for place in reversed(range(len(right))):
        known = math.fsum(triangle[place][after] * found[after] for after in range(place + 1, len(right)))
        found[place] = (right[place] - known) / triangle[place][place]
    return tuple(found)


def _dot(first: Sequence[float], second: Sequence[float]) -> float:
    return math.fsum(one * other for one, other in zip(first, second, strict=True))


def normal_draws(seed: int) -> Iterator[float]:
    """Draws from the standard normal distribution without end; the same seed gives the same draws.

    Written out because Python promises the sequence of `random()` only, not that of `gauss()`, from version to version.

    >>> draws = normal_draws(1)
    >>> [round(next(draws), 3) for _ in range(3)]
    [1.288, 1.449, 0.066]

    [1] Box, Muller: A note on the generation of random normal deviates (1958).
    """
    uniform = random.Random(seed)
    while True:
        angle = uniform.random() * 2 * math.pi
        radius = math.sqrt(-2 * math.log(1 - uniform.random()))
        yield math.cos(angle) * radius
        yield math.sin(angle) * radius
