"""Voltage lost in a circuit's conductor, there and back."""

from __future__ import annotations

import attrs

from garboard.uncertainty import MeasuredValue, Part, Shape
from garboard_wiring_audit.conductors import COPPER_TEMPERATURE_COEFFICIENT, resistance_per_metre
from garboard_wiring_audit.readings import times

AREA_WITHIN = 0.03
"""How far the copper of a conductor may lie from its size, as a share (95 %); common practice, no source [-]."""
COLDEST, WARMER_BY = 15.0, 15.0
"""Bounds of a conductor's temperature at work: the coldest, and how much above what is reckoned it may be; common
practice, no source [degC]."""
SUPPLY_SAGS, SAG_FREEDOM = 0.01, 12
"""Standard deviation of a supply between two readings [V], and its degrees of freedom: it is known to a fifth; common
practice, no source."""

K = 10.75
"""Ohms of one circular mil, one foot long [ohm cmil/ft]: copper at 29.3 degC."""


def circular_mils_needed(current: float, round_trip: float, drop: float, k: float = K) -> float:
    """Area of copper that keeps the drop to a limit.

    current    : current of the circuit, 0 or above [A]
    round_trip : length of conductor from the source to the load and back [ft]
    drop       : voltage that may be lost, above 0 [V]
    k          : resistance of copper [ohm cmil/ft]
    returns    : area; fit the next larger size [cmil]
    Raises ValueError for a drop that is not above zero.

    >>> round(circular_mils_needed(10, 21, 0.03 * 12), 1)
    6270.8

    [1] Circular-mil method of trade notes on the 3 % and 10 % drop tables: CM = K I L / E.
    """
    if not drop > 0:
        raise ValueError(f"drop must be above zero, got {drop!r} V")
    return k * current * round_trip / drop


def drop_by_circular_mils(current: float, round_trip: float, area: float, k: float = K) -> float:
    """Voltage lost by the circular-mil method.

    current    : current of the circuit, 0 or above [A]
    round_trip : length of conductor from the source to the load and back [ft]
    area       : area of copper, above 0 [cmil]
    k          : resistance of copper [ohm cmil/ft]
    returns    : voltage lost [V]
    Raises ValueError for an area that is not above zero.

    >>> round(drop_by_circular_mils(10, 21, 6530), 3)
    0.346

    [1] Circular-mil method, as in `circular_mils_needed`.
    """
    if not area > 0:
        raise ValueError(f"area must be above zero, got {area!r} cmil")
    return k * current * round_trip / area


def drop_at_temperature(current: float, length: float, area: float, temperature: float) -> float:
    """Voltage lost in a copper conductor at its own temperature.

    current     : current of the circuit, 0 or above [A]
    length      : length one way [m]
    area        : area of copper, above 0 [mm2]
    temperature : of the conductor [degC]
    returns     : voltage lost there and back [V]

    >>> round(drop_at_temperature(10.0, 5.0, 2.5, 20.0), 3)
    0.69

    [1] Ohm's law with the resistance of `resistance_per_metre`.
    """
    return 2 * length * current * resistance_per_metre(area, temperature)


def copper_drop(current: MeasuredValue, length: MeasuredValue, area: float, temperature: float) -> MeasuredValue:
    """Voltage lost in the copper of a conductor, with its uncertainty. Joints, fuse holder and switch only add to it.

    current     : current of the circuit [A]
    length      : length one way [m]
    area        : of copper, by its size, above 0 [mm2]
    temperature : of the conductor as reckoned; it lies between 15 degC and 15 degrees above this [degC]
    returns     : voltage lost there and back, in the middle of those temperatures [V]

    >>> drop = copper_drop(MeasuredValue(10.0, "A"), MeasuredValue(5.0, "m"), 2.5, 30.0)
    >>> round(drop.value, 2), round(drop.expanded_uncertainty, 2)
    (0.72, 0.05)

    [1] Ohm's law with the resistance of `resistance_per_metre`; JCGM 100:2008, 5.1.2 and 4.3.7.
    """
    warmest = max(temperature + WARMER_BY, COLDEST)
    middle, reach = (warmest + COLDEST) / 2, (warmest - COLDEST) / 2
    volts = drop_at_temperature(current.value, length.value, area, middle)
    warming = COPPER_TEMPERATURE_COEFFICIENT / (1 + COPPER_TEMPERATURE_COEFFICIENT * (middle - 20))
    parts = (
        Part.bound("temperature of the copper", volts * warming * reach),
        Part.of_expanded("area of the copper", volts * AREA_WITHIN),
        *(times(current, volts / current.value).parts if current.value else ()),
        *times(length, volts / length.value).parts,
    )
    return MeasuredValue.of_parts(volts, "V", parts)


def as_difference(drop: MeasuredValue) -> MeasuredValue:
    """A drop entered as one number that was read as two voltages, one after the other.

    drop    : with the uncertainty of its meter and its last digit [V]
    returns : the same, its digit counted twice, with what the supply sags between the readings; the meter's scale is
              shared, so it is that of the drop alone [V]

    >>> digit = Part.bound("last digit", 0.005)
    >>> round(as_difference(MeasuredValue.of_parts(0.72, "V", (digit,))).expanded_uncertainty, 3)
    0.023

    [1] JCGM 100:2008, 5.2.2 for what is shared.
    """
    digits = [part for part in drop.parts if part.shape is Shape.RECTANGULAR]
    again = (attrs.evolve(part, source=f"{part.source}, second reading") for part in digits)
    return with_sag(MeasuredValue.of_parts(drop.value, drop.unit, (*drop.parts, *again)))


def with_sag(difference: MeasuredValue) -> MeasuredValue:
    """The difference of two voltages read one after the other, with what the supply sags between them.

    difference : with the uncertainty of both readings [V]
    returns    : the same, with the sag [V]

    >>> round(with_sag(MeasuredValue(0.72, "V")).expanded_uncertainty, 4)
    0.0218

    [1] JCGM 100:2008, G.4.2 for a deviation known to a fifth.
    """
    sag = Part("sag of the supply", SUPPLY_SAGS, degrees_of_freedom=SAG_FREEDOM)
    return MeasuredValue.of_parts(difference.value, difference.unit, (*difference.parts, sag))
