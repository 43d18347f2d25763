"""Voltage lost in a circuit's conductor, there and back."""

from __future__ import annotations

from garboard_wiring_audit.conductors import resistance_per_metre

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
