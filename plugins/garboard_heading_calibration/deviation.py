"""From readings on headings round the circle to coefficients A to E and a deviation card.

    deviation = A + B sin z + C cos z + D sin 2z + E cos 2z        z: compass heading

East is positive; deviation = magnetic - compass. The model is an approximation good to about 20 degrees of
deviation; beyond that the exact coefficients belong to the magnetic heading, and the cause has to be found.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from garboard.findings import in_full, rounded_beside
from garboard.numeric import least_squares
from garboard.record_types import frozen
from garboard.series import compass_angle

FEWEST_HEADINGS = 8
WIDEST_GAP = 60.0  # between neighbouring headings [deg]; common practice is every 45
APPROXIMATE_UP_TO = 20.0  # deviation up to which the five coefficients are good enough [deg]


class Coefficients(NamedTuple):
    """The five coefficients of deviation, each in degrees, east positive.

    a : constant, such as a sensor mounted askew
    b, c : fore-and-aft and athwartships permanent magnetism
    d, e : soft iron
    """

    a: float
    b: float
    c: float
    d: float
    e: float


@frozen
class Fit:
    """Coefficients by least squares.

    covariance : of the five coefficients [deg2]
    residuals  : observed minus fitted deviation of each reading, in the readings' order [deg]
    scatter    : standard deviation of the residuals about the fit, with its degrees of freedom [deg]
    freedom    : readings less five
    """

    coefficients: Coefficients
    covariance: tuple[tuple[float, ...], ...]
    residuals: tuple[float, ...]
    scatter: float
    freedom: int

    @property
    def standard_errors(self) -> Coefficients:
        """Standard error of each coefficient [deg]."""
        return Coefficients(*(math.sqrt(self.covariance[i][i]) for i in range(5)))


def model_terms(heading: float) -> tuple[float, float, float, float, float]:
    """What each coefficient is multiplied by on a heading.

    heading : compass heading, any angle [deg]
    returns : 1, sin z, cos z, sin 2z, cos 2z [-]

    >>> [round(term, 3) for term in model_terms(90.0)]
    [1.0, 1.0, 0.0, 0.0, -1.0]

    [1] Handbook of Magnetic Compass Adjustment (formerly Pub. 226), NGA.
    """
    z = math.radians(heading)
    return 1.0, math.sin(z), math.cos(z), math.sin(2 * z), math.cos(2 * z)


def deviation_on(heading: float, coefficients: Coefficients) -> float:
    """Deviation on a heading by the model.

    heading      : compass heading, any angle [deg]
    coefficients : A to E [deg]
    returns      : deviation, east positive [deg]

    >>> round(deviation_on(45.0, Coefficients(1.0, 12.0, 8.0, 5.0, 1.5)), 2)
    20.14

    [1] Handbook of Magnetic Compass Adjustment (formerly Pub. 226), NGA.
    """
    return math.fsum(share * term for share, term in zip(coefficients, model_terms(heading), strict=True))


def coefficients_by_hand(deviations: Sequence[float]) -> Coefficients:
    """The approximate coefficients as a compass adjuster works them out on paper.

    deviations : on N, NE, E, SE, S, SW, W, NW, east positive [deg]
    returns    : A to E [deg]
    Raises ValueError unless there are eight.

    >>> coefficients_by_hand([10.5, 20.0, 11.5, -1.2, -5.5, -8.0, -12.5, -6.8])
    Coefficients(a=1.0, b=12.0, c=8.0, d=5.0, e=1.5)

    [1] Handbook of Magnetic Compass Adjustment (formerly Pub. 226), art. 501, NGA.
    """
    if len(deviations) != 8:
        raise ValueError(f"expected deviations on N, NE, E, SE, S, SW, W and NW, got {len(deviations)}")
    n, ne, e, se, s, sw, w, nw = deviations
    a = math.fsum(deviations) / 8
    return Coefficients(a, (e - w) / 2, (n - s) / 2, (ne + sw - se - nw) / 4, (n + s - e - w) / 4)


def fit_deviation(headings: Sequence[float], deviations: Sequence[float], least_scatter: float = 0.0) -> Fit:
    """Coefficients A to E by least squares, with their standard errors.

    headings      : compass headings, at least 8 different ones, no gap above 60 round the circle [deg]
    deviations    : one for each heading, east positive [deg]
    least_scatter : what the last digits of a reading alone scatter it by; few readings may agree better [deg]
    returns       : the fit [deg]
    Raises ValueError when the headings cannot carry five coefficients.

    >>> compass = range(0, 360, 45)
    >>> fit = fit_deviation(compass, [10.5, 20.0, 11.5, -1.2, -5.5, -8.0, -12.5, -6.8])
    >>> [round(value, 2) for value in fit.coefficients], fit.freedom
    ([1.0, 11.94, 7.96, 5.0, 1.5], 3)

    [1] Model: Handbook of Magnetic Compass Adjustment (formerly Pub. 226), NGA.
    [2] Ordinary least squares; covariance = residual variance x inverse normal matrix.
    """
    different = len({round(compass_angle(heading)) % 360 for heading in headings})
    if different < FEWEST_HEADINGS:
        raise ValueError(f"{different} different headings; take readings on {FEWEST_HEADINGS} or more")
    gap = widest_gap(headings)
    if gap > WIDEST_GAP:
        raise ValueError(
            f"{rounded_beside(gap, [WIDEST_GAP])} degrees between neighbouring headings; take readings between, at "
            f"most {in_full(WIDEST_GAP)} apart"
        )
    fitted = least_squares([model_terms(heading) for heading in headings], deviations)
    freedom = len(headings) - 5
    variance = max(math.fsum(residual**2 for residual in fitted.residuals) / freedom, least_scatter**2)
    return Fit(
        Coefficients(*fitted.solution),
        tuple(tuple(variance * value for value in row) for row in fitted.inverse_normal),
        fitted.residuals,
        math.sqrt(variance),
        freedom,
    )


def widest_gap(headings: Sequence[float]) -> float:
    """The widest gap between neighbouring directions round the circle.

    headings : directions, any angle, at least one [deg]
    returns  : gap, 360 for a single direction [deg]

    >>> widest_gap([350.0, 10.0, 100.0, 180.0, 270.0])
    90.0
    """
    ordered = sorted(compass_angle(heading) for heading in headings)
    return max(later - earlier for earlier, later in zip(ordered, [*ordered[1:], ordered[0] + 360.0], strict=True))


def standard_error_on(heading: float, fit: Fit) -> float:
    """Standard error of the fitted deviation on a heading.

    heading : compass heading, any angle [deg]
    fit     : as `fit_deviation` gives it [deg]
    returns : standard error of the curve there; the scatter of a single reading is not in it [deg]

    >>> fit = fit_deviation(range(0, 360, 45), [10.5, 20.0, 11.5, -1.2, -5.5, -8.0, -12.5, -6.8])
    >>> round(standard_error_on(0.0, fit), 3)
    0.066

    [1] Variance of a linear combination: terms x covariance x terms.
    """
    terms = model_terms(heading)
    variance = math.fsum(
        first * second * fit.covariance[i][j] for i, first in enumerate(terms) for j, second in enumerate(terms)
    )
    return math.sqrt(max(variance, 0.0))
