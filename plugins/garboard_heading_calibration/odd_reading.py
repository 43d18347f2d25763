"""The one reading of a swing that the others contradict: mistyped, or read on another heading."""

from __future__ import annotations

import math
from collections.abc import Sequence

from garboard.numeric import least_squares
from garboard.uncertainty import pooled

from .deviation import model_terms

READING_NOISE = 0.8  # scatter of readings by hand, standard deviation; known to 30 % [deg]
NOISE_FREEDOM = 6  # of that: JCGM 100:2008, G.4.2
ODD = 4.5  # a reading so many standard deviations off the curve of the others is none of theirs
TELLING = 3.0  # the others fit so much worse without another reading, in standard deviations, for one to be named
MOST_NAMED = 3  # of a reading and its neighbours one may be off; more alike are scatter
FEWEST = 8  # the curve has five coefficients, and the readings left have to say how well it fits


def odd_readings(headings: Sequence[float], deviations: Sequence[float], scatter_limit: float) -> tuple[int, ...]:
    """The reading that is off the curve of all others, or those of which one is; nothing where none is.

    headings      : compass headings [deg]
    deviations    : one for each heading, wrapped nowhere [deg]
    scatter_limit : the others have to fit as well as this [deg]
    returns       : their numbers from 0, the likelier first [-]

    >>> round_it = range(0, 360, 45)
    >>> odd_readings(round_it, [0.1, -0.2, 0.1, 30.0, 0.2, -0.1, 0.0, 0.1], 1.5)
    (3,)

    [1] Residuals with each reading left out in turn; of a least-squares fit they follow from one fit.
    """
    count = len(headings)
    if count < FEWEST:
        return ()
    terms = [model_terms(heading) for heading in headings]
    try:
        fit = least_squares(terms, deviations)
    except ValueError:
        return ()
    squares = math.fsum(residual**2 for residual in fit.residuals)
    left = []
    for number, (own, residual) in enumerate(zip(terms, fit.residuals, strict=True)):
        hat = math.fsum(a * b * fit.inverse_normal[i][j] for i, a in enumerate(own) for j, b in enumerate(own))
        if hat > 1 - 1e-9:
            continue  # nothing is known of this heading without it
        without = max(squares - residual**2 / (1 - hat), 0.0)
        scatter, _ = pooled(READING_NOISE, NOISE_FREEDOM, without, count - 6)
        off = abs(residual) / (1 - hat) / (scatter / math.sqrt(1 - hat))
        left.append((without, off, number))
    likely = sorted(left)[: MOST_NAMED + 1]
    if not likely or likely[0][1] < ODD or math.sqrt(likely[0][0] / (count - 6)) > scatter_limit:
        return ()
    scatter, _ = pooled(READING_NOISE, NOISE_FREEDOM, likely[0][0], count - 6)
    alike = [number for without, _, number in likely if without - likely[0][0] <= (TELLING * scatter) ** 2]
    return tuple(alike) if len(alike) <= MOST_NAMED else ()
