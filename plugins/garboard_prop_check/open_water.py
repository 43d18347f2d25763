"""Open-water thrust and torque of the B-series of propellers.

No outboard's propeller is one of the series. It is where the usual values of the balance of power come from, and it
solves nothing: beyond its pitch ratios the polynomials give efficiencies above 1.
"""

from __future__ import annotations

import math

BLADES, AREA_RATIOS, PITCH_RATIOS = (2, 7), (0.30, 1.05), (0.5, 1.4)
"""Between these the series was tested, ends included."""

# Coefficient, and the powers of advance, pitch ratio, area ratio and blades it stands with [1 in open_water].
_KT = (
    (0.00880496, 0, 0, 0, 0),
    (-0.204554, 1, 0, 0, 0),
    (0.166351, 0, 1, 0, 0),
    (0.158114, 0, 2, 0, 0),
    (-0.147581, 2, 0, 1, 0),
    (-0.481497, 1, 1, 1, 0),
    (0.415437, 0, 2, 1, 0),
    (0.0144043, 0, 0, 0, 1),
    (-0.0530054, 2, 0, 0, 1),
    (0.0143481, 0, 1, 0, 1),
    (0.0606826, 1, 1, 0, 1),
    (-0.0125894, 0, 0, 1, 1),
    (0.0109689, 1, 0, 1, 1),
    (-0.133698, 0, 3, 0, 0),
    (0.00638407, 0, 6, 0, 0),
    (-0.00132718, 2, 6, 0, 0),
    (0.168496, 3, 0, 1, 0),
    (-0.0507214, 0, 0, 2, 0),
    (0.0854559, 2, 0, 2, 0),
    (-0.0504475, 3, 0, 2, 0),
    (0.010465, 1, 6, 2, 0),
    (-0.00648272, 2, 6, 2, 0),
    (-0.00841728, 0, 3, 0, 1),
    (0.0168424, 1, 3, 0, 1),
    (-0.00102296, 3, 3, 0, 1),
    (-0.0317791, 0, 3, 1, 1),
    (0.018604, 1, 0, 2, 1),
    (-0.00410798, 0, 2, 2, 1),
    (-0.000606848, 0, 0, 0, 2),
    (-0.0049819, 1, 0, 0, 2),
    (0.0025983, 2, 0, 0, 2),
    (-0.000560528, 3, 0, 0, 2),
    (-0.00163652, 1, 2, 0, 2),
    (-0.000328787, 1, 6, 0, 2),
    (0.000116502, 2, 6, 0, 2),
    (0.000690904, 0, 0, 1, 2),
    (0.00421749, 0, 3, 1, 2),
    (5.65229e-05, 3, 6, 1, 2),
    (-0.00146564, 0, 3, 2, 2),
)

_KQ = (
    (0.00379368, 0, 0, 0, 0),
    (0.00886523, 2, 0, 0, 0),
    (-0.032241, 1, 1, 0, 0),
    (0.00344778, 0, 2, 0, 0),
    (-0.0408811, 0, 1, 1, 0),
    (-0.108009, 1, 1, 1, 0),
    (-0.0885381, 2, 1, 1, 0),
    (0.188561, 0, 2, 1, 0),
    (-0.00370871, 1, 0, 0, 1),
    (0.00513696, 0, 1, 0, 1),
    (0.0209449, 1, 1, 0, 1),
    (0.00474319, 2, 1, 0, 1),
    (-0.00723408, 2, 0, 1, 1),
    (0.00438388, 1, 1, 1, 1),
    (-0.0269403, 0, 2, 1, 1),
    (0.0558082, 3, 0, 1, 0),
    (0.0161886, 0, 3, 1, 0),
    (0.00318086, 1, 3, 1, 0),
    (0.015896, 0, 0, 2, 0),
    (0.0471729, 1, 0, 2, 0),
    (0.0196283, 3, 0, 2, 0),
    (-0.0502782, 0, 1, 2, 0),
    (-0.030055, 3, 1, 2, 0),
    (0.0417122, 2, 2, 2, 0),
    (-0.0397722, 0, 3, 2, 0),
    (-0.00350024, 0, 6, 2, 0),
    (-0.0106854, 3, 0, 0, 1),
    (0.00110903, 3, 3, 0, 1),
    (-0.000313912, 0, 6, 0, 1),
    (0.0035985, 3, 0, 1, 1),
    (-0.00142121, 0, 6, 1, 1),
    (-0.00383637, 1, 0, 2, 1),
    (0.0126803, 0, 2, 2, 1),
    (-0.00318278, 2, 3, 2, 1),
    (0.00334268, 0, 6, 2, 1),
    (-0.00183491, 1, 1, 0, 2),
    (0.000112451, 3, 2, 0, 2),
    (-2.97228e-05, 3, 6, 0, 2),
    (0.000269551, 1, 0, 1, 2),
    (0.00083265, 2, 0, 1, 2),
    (0.00155334, 0, 2, 1, 2),
    (0.000302683, 0, 6, 1, 2),
    (-0.0001843, 0, 0, 2, 2),
    (-0.000425399, 0, 3, 2, 2),
    (8.69243e-05, 3, 3, 2, 2),
    (-0.0004659, 0, 6, 2, 2),
    (5.54194e-05, 1, 6, 2, 2),
)


def open_water(blades: int, area_ratio: float, pitch_ratio: float, advance: float) -> tuple[float, float]:
    """Thrust and torque coefficients of a B-series propeller at a Reynolds number of 2e6.

    blades      : 2 to 7 [-]
    area_ratio  : expanded blade area over disc area, 0.30 to 1.05 [-]
    pitch_ratio : pitch over diameter, 0.5 to 1.4 [-]
    advance     : speed through the water over turns times diameter, 0 or above [-]
    returns     : thrust over density x turns^2 x diameter^4, and torque over density x turns^2 x diameter^5 [-]
    Raises ValueError outside these ranges.

    >>> [round(one, 4) for one in open_water(4, 0.55, 1.0, 0.6)]
    [0.2241, 0.0366]

    [1] Coefficients of 39 and 47 terms as published in openly licensed copies, which agree but for one term; the paper
        they come from was not read. The correction for other Reynolds numbers is left out: its copies disagree.
    """
    for value, (least, most), what in (
        (blades, BLADES, "blades"),
        (area_ratio, AREA_RATIOS, "area ratio"),
        (pitch_ratio, PITCH_RATIOS, "pitch ratio"),
    ):
        if not least <= value <= most:
            raise ValueError(f"expected {what} from {least} to {most}, got {value}")
    if not advance >= 0:
        raise ValueError(f"expected an advance of zero or above, got {advance}")

    def total(terms: tuple[tuple[float, int, int, int, int], ...]) -> float:
        return math.fsum(c * advance**s * pitch_ratio**t * area_ratio**u * blades**v for c, s, t, u, v in terms)

    return total(_KT), total(_KQ)
