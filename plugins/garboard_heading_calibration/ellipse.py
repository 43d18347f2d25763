"""Raw magnetometer points of a full circle lie on an ellipse: its centre is hard iron, its shape soft iron."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import attrs

from .deviation import widest_gap

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

FEWEST_POINTS = 6


@attrs.frozen(kw_only=True)
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
    def centre_uncertainty(self) -> float:
        """Half width of the 95 % interval of either coordinate of the centre, for points all round [uT].

        A point tells about half of what it could about one coordinate, so the variance is
        2 residual^2 / points.
        """
        return 1.96 * self.residual * math.sqrt(2 / self.points)

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
    import numpy as np

    points = np.array([(a, b) for a, b in zip(x, y, strict=True) if math.isfinite(a) and math.isfinite(b)])
    if len(points) < FEWEST_POINTS:
        raise ValueError(f"{len(points)} points; turn a full circle while recording")
    middle = points.mean(axis=0)
    scale = float((points - middle).std())
    if scale == 0:
        raise ValueError("every point is the same; turn a full circle while recording")
    u, v = ((points - middle) / scale).T  # numbers near one keep the fit accurate
    quadratic, linear = np.column_stack([u * u, u * v, v * v]), np.column_stack([u, v, np.ones_like(u)])
    s1, s2, s3 = quadratic.T @ quadratic, quadratic.T @ linear, linear.T @ linear
    if np.linalg.matrix_rank(s3) < 3:
        raise ValueError("the points lie on a straight line; turn a full circle while recording")
    back = -np.linalg.solve(s3, s2.T)
    reduced = s1 + s2 @ back
    constraint = np.array([reduced[2] / 2, -reduced[1], reduced[0] / 2])
    _, vectors = np.linalg.eig(constraint)
    vectors = np.real(vectors)
    is_ellipse = 4 * vectors[0] * vectors[2] - vectors[1] ** 2 > 0
    if not is_ellipse.any():
        raise ValueError("the points lie on no ellipse; turn a full circle away from other boats and record again")
    conic = vectors[:, int(np.argmax(is_ellipse))]
    a, b, c = (float(value) for value in conic)
    d, e, f = (float(value) for value in back @ conic)
    shape = np.array([[a, b / 2], [b / 2, c]])
    centre = np.linalg.solve(-2 * shape, np.array([d, e]))
    level = float(centre @ shape @ centre) - f
    roots, axes = np.linalg.eigh(shape / level)
    if not (np.isfinite(roots).all() and (roots > 0).all()):
        raise ValueError("the points lie on no ellipse; turn a full circle away from other boats and record again")
    long, short = (scale / math.sqrt(float(root)) for root in roots)
    angle = math.degrees(math.atan2(float(axes[1, 0]), float(axes[0, 0]))) % 180
    along, across = ((points - middle - scale * centre) @ axes).T
    return Ellipse(
        centre_x=float(middle[0] + scale * centre[0]),
        centre_y=float(middle[1] + scale * centre[1]),
        long=long,
        short=short,
        angle=angle % 180,
        residual=float(np.sqrt(np.mean(_distances(along, across, long, short) ** 2))),
        points=len(points),
        gap=widest_gap([float(value) for value in np.degrees(np.arctan2(across / short, along / long))]),
    )


def _distances(along: Array, across: Array, long: float, short: float) -> Array:
    """Distance of points from an ellipse, to first order: how far off the equation, by how fast it changes."""
    import numpy as np

    off = (along / long) ** 2 + (across / short) ** 2 - 1
    slope = 2 * np.sqrt((along / long**2) ** 2 + (across / short**2) ** 2)
    distances: Array = np.abs(off) / np.maximum(slope, 1e-12)
    return distances
