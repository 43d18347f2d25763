"""Raw magnetometer points of a full circle lie on an ellipse: its centre is hard iron, its shape soft iron."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from garboard.numeric import solve
from garboard.record_types import frozen
from garboard.series import mean
from garboard.uncertainty import NORMAL_95

from .deviation import widest_gap

FEWEST_POINTS = 6
NO_ELLIPSE = "the points lie on no ellipse; turn a full circle away from other boats and record again"


@frozen(kw_only=True)
class Ellipse:
    """An ellipse through magnetometer points; x forward, y to starboard.

    centre_x, centre_y : hard iron [uT]
    long, short        : half axes; unequal by soft iron [uT]
    angle              : direction of the long half axis from x towards y, 0 to below 180 [deg]
    residual           : root mean square distance of the points from the ellipse [uT]
    points             : how many were used
    gap                : widest angle about the centre without a point, after undoing the ellipse [deg]
    """

    centre_x: float
    centre_y: float
    long: float
    short: float
    angle: float
    residual: float
    points: int
    gap: float

    @property
    def radius(self) -> float:
        """Of the circle with the ellipse's area [uT]."""
        return math.sqrt(self.long * self.short)

    @property
    def hard_iron(self) -> float:
        """Distance of the centre from zero [uT]."""
        return math.hypot(self.centre_x, self.centre_y)

    @property
    def centre_expanded_uncertainty(self) -> float:
        """Half width of the 95 % interval of either coordinate of the centre, for points all round [uT].

        A point tells about half of what it could about one coordinate, so the variance is
        2 residual^2 / points.
        """
        return NORMAL_95 * self.residual * math.sqrt(2 / self.points)

    @property
    def soft_iron(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Matrix that turns points less the centre into points on a circle of `radius` [-]."""
        c, s = math.cos(math.radians(self.angle)), math.sin(math.radians(self.angle))
        p, q = self.radius / self.long, self.radius / self.short
        return (p * c * c + q * s * s, (p - q) * c * s), ((p - q) * c * s, p * s * s + q * c * c)

    def point_at(self, degrees: float) -> tuple[float, float]:
        """A point of the ellipse, by an angle that runs once round it [uT]."""
        along, across = self.long * math.cos(math.radians(degrees)), self.short * math.sin(math.radians(degrees))
        c, s = math.cos(math.radians(self.angle)), math.sin(math.radians(self.angle))
        return self.centre_x + along * c - across * s, self.centre_y + along * s + across * c

    def corrected(self, x: float, y: float) -> tuple[float, float]:
        """A point as it would be without hard and soft iron [uT]."""
        (a, b), (c, d) = self.soft_iron
        forward, starboard = x - self.centre_x, y - self.centre_y
        return a * forward + b * starboard, c * forward + d * starboard


def fit_ellipse(x: Sequence[float], y: Sequence[float]) -> Ellipse:
    """Ellipse through points by direct least squares.

    x       : readings of the axis that points forward, at least 6 [uT]
    y       : readings of the axis that points to starboard, one for each x [uT]
    returns : centre, half axes, direction, residual and coverage [uT, deg]
    Raises ValueError when the points lie on no ellipse.

    >>> turn = [math.radians(angle) for angle in range(0, 360, 10)]
    >>> ellipse = fit_ellipse([5 + 20 * math.cos(t) for t in turn], [-3 + 16 * math.sin(t) for t in turn])
    >>> [round(value, 6) for value in (ellipse.centre_x, ellipse.centre_y, ellipse.long, ellipse.short)]
    [5.0, -3.0, 20.0, 16.0]

    [1] Fitzgibbon, Pilu, Fisher: Direct least square fitting of ellipses, IEEE PAMI 21 (1999).
    [2] Halir, Flusser: Numerically stable direct least squares fitting of ellipses, WSCG (1998).
    """
    points = [(a, b) for a, b in zip(x, y, strict=True) if math.isfinite(a) and math.isfinite(b)]
    if len(points) < FEWEST_POINTS:
        raise ValueError(f"{len(points)} points; turn a full circle while recording")
    middle_x, middle_y = mean([a for a, _ in points]), mean([b for _, b in points])
    offsets = [(a - middle_x, b - middle_y) for a, b in points]
    scale = math.sqrt(math.fsum(a * a + b * b for a, b in offsets) / (2 * len(offsets)))
    if scale == 0:
        raise ValueError("every point is the same; turn a full circle while recording")
    fitted = _fit_to_unit([(a / scale, b / scale) for a, b in offsets])  # numbers near one keep the fit accurate
    long, short, angle = scale * fitted.long, scale * fitted.short, math.radians(fitted.angle)
    centre_x, centre_y = middle_x + scale * fitted.centre_x, middle_y + scale * fitted.centre_y
    along = [(a - centre_x) * math.cos(angle) + (b - centre_y) * math.sin(angle) for a, b in points]
    across = [(b - centre_y) * math.cos(angle) - (a - centre_x) * math.sin(angle) for a, b in points]
    squares = [_distance(one, other, long, short) ** 2 for one, other in zip(along, across, strict=True)]
    round_it = [math.degrees(math.atan2(b / short, a / long)) for a, b in zip(along, across, strict=True)]
    return Ellipse(
        centre_x=centre_x,
        centre_y=centre_y,
        long=long,
        short=short,
        angle=fitted.angle,
        residual=math.sqrt(mean(squares)),
        points=len(points),
        gap=widest_gap(round_it),
    )


@frozen
class _Axes:
    """An ellipse by its centre, half axes and the direction of the long one [deg]."""

    centre_x: float
    centre_y: float
    long: float
    short: float
    angle: float


def _fit_to_unit(points: Sequence[tuple[float, float]]) -> _Axes:
    """The ellipse through points about zero, about one away from it [2]."""
    a, b, c, d, e, f = _conic(points)
    try:
        centre_x, centre_y = solve([[-2 * a, -b], [-b, -2 * c]], [d, e])
    except ValueError:
        raise ValueError(NO_ELLIPSE) from None
    level = a * centre_x**2 + b * centre_x * centre_y + c * centre_y**2 - f
    # the two eigenvalues of [[a, b / 2], [b / 2, c]], each the level divided by the square of a half axis
    middle, apart = (a + c) / 2, math.hypot((a - c) / 2, b / 2)
    roots = ((middle + apart) / level, (middle - apart) / level) if level else (0.0, 0.0)
    if not (all(map(math.isfinite, roots)) and min(roots) > 0):
        raise ValueError(NO_ELLIPSE)
    across = math.degrees(math.atan2(b, a - c)) / 2  # direction in which the form rises fastest
    angle = across + 90 if level > 0 else across
    return _Axes(centre_x, centre_y, min(roots) ** -0.5, max(roots) ** -0.5, angle % 180)


def _conic(points: Sequence[tuple[float, float]]) -> tuple[float, float, float, float, float, float]:
    """Coefficients of x^2, xy, y^2, x, y and 1 of the ellipse nearest to points."""
    columns = list(zip(*((u * u, u * v, v * v, u, v, 1.0) for u, v in points), strict=True))
    scatter = [[math.fsum(map(float.__mul__, one, other)) for other in columns] for one in columns]
    s1, s2, s3 = ([row[a:b] for row in scatter[c:d]] for a, b, c, d in ((0, 3, 0, 3), (3, 6, 0, 3), (3, 6, 3, 6)))
    try:
        back = [[-value for value in solve(s3, row)] for row in s2]  # the linear part that each quadratic one needs
    except ValueError:
        raise ValueError("the points lie on a straight line; turn a full circle while recording") from None
    reduced = [[s1[i][j] + math.fsum(s2[i][k] * back[j][k] for k in range(3)) for j in range(3)] for i in range(3)]
    constrained = [
        [value / 2 for value in reduced[2]],
        [-value for value in reduced[1]],
        [value / 2 for value in reduced[0]],
    ]
    quadratic = _eigenvector(constrained, _largest_root(constrained))
    if not 4 * quadratic[0] * quadratic[2] - quadratic[1] ** 2 > 0:
        raise ValueError(NO_ELLIPSE)
    linear = [math.fsum(quadratic[i] * back[i][k] for i in range(3)) for k in range(3)]
    return quadratic[0], quadratic[1], quadratic[2], linear[0], linear[1], linear[2]


Matrix = Sequence[Sequence[float]]


def _largest_root(matrix: Matrix) -> float:
    """The largest eigenvalue of a 3 x 3 matrix whose eigenvalues are all real.

    Of the three that [2] gives, one is zero or above and belongs to the ellipse; the others are below. Newton's method
    comes down to the largest root of such a cubic from any place above it, and never passes it.
    """
    (a, b, c), (d, e, f), (g, h, i) = matrix
    trace = a + e + i
    minors = a * e - b * d + a * i - c * g + e * i - f * h
    determinant = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
    place = max(math.fsum(map(abs, row)) for row in matrix)
    while True:
        value = ((place - trace) * place + minors) * place - determinant
        slope = (3 * place - 2 * trace) * place + minors
        lower = place - value / slope if slope > 0 else place
        if not lower < place:
            return place
        place = lower


def _eigenvector(matrix: Matrix, root: float) -> tuple[float, float, float]:
    """The vector that a 3 x 3 matrix only stretches, by the root: at right angles to all rows of the rest."""
    rows = [[value - root * (i == j) for j, value in enumerate(row)] for i, row in enumerate(matrix)]
    return max((_cross(one, other) for one, other in pairwise([*rows, rows[0]])), key=lambda v: math.hypot(*v))


def _cross(a: Sequence[float], b: Sequence[float]) -> tuple[float, float, float]:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def _distance(along: float, across: float, long: float, short: float) -> float:
    """Distance of a point from an ellipse, to first order: how far off the equation, by how fast it changes."""
    off = (along / long) ** 2 + (across / short) ** 2 - 1
    slope = 2 * math.sqrt((along / long**2) ** 2 + (across / short**2) ** 2)
    return abs(off) / max(slope, 1e-12)
