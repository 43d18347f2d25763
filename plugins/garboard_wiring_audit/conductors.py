"""Copper conductors: sizes, areas, resistance and how warm a current makes them."""

from __future__ import annotations

import math
import re

from garboard.findings import Lack, NotEnoughData, plain_text, rounded
from garboard.record_types import frozen

MM2_PER_CIRCULAR_MIL = math.pi / 4 * 0.0254**2
COPPER_RESISTIVITY = 1 / 58
"""At 20 degC [ohm mm2/m]: the international annealed copper standard, 58 MS/m."""
COPPER_TEMPERATURE_COEFFICIENT = 0.00393
"""At 20 degC [1/K]."""
TABLE_AMBIENT = 30.0
"""Ambient temperature the ampacity tables are written for [degC]."""

AWG_SIZES = ("18", "16", "14", "12", "10", "8", "6", "4", "3", "2", "1", "1/0", "2/0", "3/0", "4/0")
METRIC_SIZES = (0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0, 150.0)
AREA_ROUNDING = 0.01
"""Share by which a printed area may fall short of the size it stands for ("2.08 mm2" for 14 AWG)."""

_AWG = re.compile(r"(?:AWG\s*)?(?:(?P<plain>[1-9]|[1-3]\d|40)|(?P<oughts>[1-4])/0|(?P<zeros>0{1,4}))(?:\s*AWG)?")


@frozen
class Conductor:
    """A conductor by the size printed on it.

    label : as people say it ("16 AWG", "2.5 mm2")
    area  : of copper [mm2]
    gauge : American wire gauge as the tables spell it ("16", "2/0"); empty for a conductor sized by area
    """

    label: str
    area: float
    gauge: str = ""


def gauge_number(gauge: str) -> int:
    """The number a gauge stands for in the gauge formula.

    gauge   : American wire gauge as text, "16", "2/0" or "00" [AWG]
    returns : 16 for 16 AWG, 0 for 1/0, -3 for 4/0 [-]
    Raises NotEnoughData for text that is no gauge.

    >>> gauge_number("16"), gauge_number("2/0"), gauge_number("00")
    (16, -1, -1)
    """
    match = _AWG.fullmatch(gauge.strip().upper())
    if match is None:
        text = f"{gauge!r} is not a wire gauge; enter one such as 16 or 2/0"
        raise NotEnoughData(text, lack=Lack.UNREADABLE, field="circuits.conductor_awg")
    if match["plain"]:
        return int(match["plain"])
    return 1 - (int(match["oughts"]) if match["oughts"] else len(match["zeros"]))


def gauge_diameter(number: int) -> float:
    """Diameter of a solid wire of a gauge; a stranded conductor of that gauge has the same area of copper.

    number  : gauge number, 1/0 being 0 and 4/0 being -3; -3 to 40 [-]
    returns : diameter [mm]

    >>> round(gauge_diameter(10), 4)
    2.5882

    [1] ASTM B258: 36 AWG is 0.005 in and 4/0 AWG 0.46 in, in 39 equal ratios.
    """
    return float(0.127 * 92 ** ((36 - number) / 39))


def gauge_area(number: int) -> float:
    """Area of copper of a gauge.

    number  : gauge number, 1/0 being 0 and 4/0 being -3; -3 to 40 [-]
    returns : area [mm2]

    >>> round(gauge_area(10), 4)
    5.2612

    [1] ASTM B258, see `gauge_diameter`.
    """
    return math.pi / 4 * gauge_diameter(number) ** 2


def circular_mils(area: float) -> float:
    """An area in circular mils.

    area    : area of copper [mm2]
    returns : the same area [cmil]

    >>> round(circular_mils(gauge_area(10)))
    10383

    [1] One circular mil is the area of a circle 0.001 in across; 1 in = 25.4 mm exactly.
    """
    return area / MM2_PER_CIRCULAR_MIL


def resistance_per_metre(area: float, temperature: float) -> float:
    """Resistance of one copper conductor.

    area        : area of copper, above 0 [mm2]
    temperature : of the conductor, -40 to 250 [degC]
    returns     : resistance of one metre [ohm/m]
    Raises ValueError for an area that is not above zero.

    >>> round(resistance_per_metre(gauge_area(10), 20.0) * 1000, 4)
    3.2771

    [1] International annealed copper standard: 58 MS/m at 20 degC (NBS Handbook 100).
    [2] Temperature coefficient 0.00393 /K at 20 degC (Industrial Power Engineering Handbook, p. 970).
    """
    if not area > 0:
        raise ValueError(f"area must be above zero, got {area!r} mm2")
    return COPPER_RESISTIVITY / area * (1 + COPPER_TEMPERATURE_COEFFICIENT * (temperature - 20))


def ambient_factor(insulation: float, ambient: float) -> float:
    """Share of the table's ampacity left when the surroundings are warmer than the table's 30 degC.

    insulation : temperature rating, above 30 [degC]
    ambient    : temperature of the surroundings [degC]
    returns    : factor, 0 where the surroundings are as hot as the insulation may be [-]
    Raises ValueError for insulation rated at 30 degC or below.

    >>> round(ambient_factor(105.0, 50.0), 2)
    0.86

    [1] NEC 310.15(B): I' = I sqrt((Tc - Ta') / (Tc - Ta)), heat lost in proportion to the rise.
    """
    if not insulation > TABLE_AMBIENT:
        raise ValueError(f"insulation must be rated above {rounded(TABLE_AMBIENT)} degC, got {insulation!r}")
    return math.sqrt(max(insulation - ambient, 0.0) / (insulation - TABLE_AMBIENT))


def conductor_temperature(ambient: float, insulation: float, current: float, ampacity: float) -> float:
    """How warm a steady current makes a conductor, never taken above its insulation's rating.

    ambient    : temperature of the surroundings [degC]
    insulation : temperature rating, reached at the full ampacity in 30 degC [degC]
    current    : steady current, 0 or above [A]
    ampacity   : the table's ampacity in 30 degC, above 0 [A]
    returns    : temperature of the conductor [degC]
    Raises ValueError for an ampacity that is not above zero.

    >>> conductor_temperature(30.0, 105.0, 12.5, 25.0)
    48.75

    [1] The rise goes with the square of the current, as in NEC 310.15(B).
    """
    if not ampacity > 0:
        raise ValueError(f"ampacity must be above zero, got {ampacity!r} A")
    share = min(abs(current) / ampacity, 1e3)
    return min(ambient + (insulation - TABLE_AMBIENT) * share**2, max(insulation, ambient))


def of_gauge(gauge: str) -> Conductor:
    """The conductor of a gauge.

    gauge   : American wire gauge as text [AWG]
    returns : the conductor [-]
    Raises NotEnoughData for text that is no gauge.

    >>> of_gauge("00").label
    '2/0 AWG'
    """
    number = gauge_number(gauge)
    spelled = str(number) if number > 0 else f"{1 - number}/0"
    return Conductor(f"{spelled} AWG", gauge_area(number), spelled)


def of_area(area: float) -> Conductor:
    """The conductor of an area.

    area    : area of copper, above 0 [mm2]
    returns : the conductor [-]

    >>> of_area(2.5).label
    '2.5 mm2'
    """
    return Conductor(f"{plain_text(area)} mm2", area)


def gauge_within(conductor: Conductor) -> str:
    """The largest gauge of the tables that has no more copper than a conductor: its own, if it has one.

    conductor : the conductor [-]
    returns   : the gauge [AWG]
    Raises NotEnoughData for a gauge the tables skip, and for a conductor smaller than 18 AWG.

    >>> gauge_within(of_area(2.5)), gauge_within(of_area(2.08))
    ('14', '14')
    """
    if conductor.gauge:
        if conductor.gauge not in AWG_SIZES:
            text = f"{conductor.label} is not in the table (18 to 4/0 AWG); check the size printed on it"
            raise NotEnoughData(text, lack=Lack.NOT_COVERED, field="circuits.conductor_awg")
        return conductor.gauge
    fitting = [gauge for gauge in AWG_SIZES if gauge_area(gauge_number(gauge)) * (1 - AREA_ROUNDING) <= conductor.area]
    if not fitting:
        text = f"{conductor.label} is smaller than 18 AWG, the smallest in the table"
        raise NotEnoughData(text, lack=Lack.NOT_COVERED, field="circuits.conductor_area")
    return fitting[-1]


def metric_size_within(conductor: Conductor) -> float:
    """The largest metric size that has no more copper than a conductor.

    conductor : the conductor [-]
    returns   : the size [mm2]
    Raises NotEnoughData for a conductor smaller than 0.75 mm2.

    >>> metric_size_within(of_gauge("16"))
    1.0
    """
    fitting = [size for size in METRIC_SIZES if size * (1 - AREA_ROUNDING) <= conductor.area]
    if not fitting:
        text = f"{conductor.label} is smaller than 0.75 mm2, the smallest in the table"
        raise NotEnoughData(text, lack=Lack.NOT_COVERED, field="circuits.conductor_area")
    return fitting[-1]


def larger_sizes(conductor: Conductor) -> tuple[Conductor, ...]:
    """Sizes above a conductor's, in its own family, smallest first.

    conductor : the conductor [-]
    returns   : larger conductors of the tables [-]

    >>> [size.label for size in larger_sizes(of_gauge("2/0"))]
    ['3/0 AWG', '4/0 AWG']
    """
    family = map(of_gauge, AWG_SIZES) if conductor.gauge else map(of_area, METRIC_SIZES)
    return tuple(size for size in family if size.area > conductor.area * (1 + AREA_ROUNDING))
