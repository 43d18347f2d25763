"""State of charge from rest voltage, and how long a battery carries a load."""

from __future__ import annotations

import math
from itertools import pairwise

from garboard.findings import Lack, NotEnoughData, rounded
from garboard.record_types import frozen
from garboard.uncertainty import MeasuredValue, Part

CHARGE = (0.0, 25.0, 50.0, 75.0, 100.0)
FLOODED_VOLTS = (11.89, 12.06, 12.24, 12.45, 12.65)
"""Rest voltage of a flooded 12 V battery at `CHARGE` [V]."""
AGM_VOLTS = (11.825, 12.025, 12.25, 12.55, 12.825)
"""Rest voltage of an AGM 12 V battery at `CHARGE` [V], middle of ranges from memory."""
TABLES_DISAGREE = 0.06
"""How far published tables of rest voltage lie apart at a quarter charge and above [V]."""
CHARGED_NOW = 0.25
"""Above the full rest voltage by this much [V], a 12 V battery is on charge or carries surface charge; common
practice, no source."""


@frozen
class Charge:
    """State of charge.

    percent     : 0 to 100 [%]
    from_memory : the table was not read in a source
    """

    percent: MeasuredValue
    from_memory: bool = False


def state_of_charge(rest_volts: MeasuredValue, chemistry: str) -> Charge:
    """State of charge of a 12 V battery at rest, by straight lines between the table's points.

    rest_volts : voltage after hours without charge or load; 24 V banks halved [V]
    chemistry  : "flooded" or "AGM" [-]
    returns    : charge, with the uncertainty of the voltage and the tables' disagreement (95 %) taken to charge by the
                 steepest piece of the table [%]
    Raises NotEnoughData for a chemistry whose rest voltage tells nothing, and for a battery still on charge.

    >>> charge = state_of_charge(MeasuredValue(12.45, "V"), "flooded").percent
    >>> charge.value, round(charge.expanded_uncertainty, 1)
    (75.0, 8.8)

    [1] State of charge table of the battery trade council (flooded). AGM from memory.
    """
    volts = _table(chemistry)
    if rest_volts.value > volts[-1] + CHARGED_NOW:
        raise NotEnoughData(
            f"{rounded(rest_volts.value, 2)} V for each 12 V is above a full battery at rest: charging, or charged "
            "just before; let it rest and read it again",
            lack=Lack.UNSUITABLE,
            field="rest_voltage",
        )
    steepest = 25.0 / min(high - low for low, high in pairwise(volts))
    parts = (*rest_volts.parts, Part.of_expanded("tables of rest voltage", TABLES_DISAGREE))
    percent = _between(rest_volts.value, volts)
    return Charge(MeasuredValue.of_parts(percent, "%", (part.times(steepest) for part in parts)), chemistry == "AGM")


def _table(chemistry: str) -> tuple[float, ...]:
    if chemistry == "flooded":
        return FLOODED_VOLTS
    if chemistry == "AGM":
        return AGM_VOLTS
    if chemistry == "LiFePO4":
        raise NotEnoughData(
            "rest voltage of a LiFePO4 battery is nearly flat and tells no charge; read its own management system",
            lack=Lack.NOT_COVERED,
            field="batteries.chemistry",
        )
    text = f"no table of rest voltage for a {chemistry or 'battery of unknown chemistry'}"
    raise NotEnoughData(text, lack=Lack.NOT_COVERED if chemistry else Lack.NOT_ENTERED, field="batteries.chemistry")


def _between(rest_volts: float, volts: tuple[float, ...]) -> float:
    if rest_volts <= volts[0]:
        return CHARGE[0]
    for low, high, below, above in zip(volts, volts[1:], CHARGE, CHARGE[1:], strict=False):
        if rest_volts <= high:
            return below + (above - below) * (rest_volts - low) / (high - low)
    return CHARGE[-1]


RATED_HOURS = 20.0
"""A battery's capacity is stamped for a discharge over this time [h]; common practice, no source."""
RATE_EXPONENT = {"LiFePO4": (1.0, 0.05)}
RATE_EXPONENT_LEAD = (1.15, 0.15)
"""Exponent of Peukert's law and the half width of its 95 % interval [-]; from memory, common practice, no source."""


def rate_exponent(chemistry: str) -> tuple[float, float]:
    """Exponent of Peukert's law for a chemistry.

    chemistry : as entered; all but "LiFePO4" count as lead [-]
    returns   : exponent and the half width of its 95 % interval [-]

    >>> rate_exponent("flooded")
    (1.15, 0.15)

    [1] From memory; common practice, no source.
    """
    return RATE_EXPONENT.get(chemistry, RATE_EXPONENT_LEAD)


def over_rate(capacity: float, load: float) -> float:
    """How many times its 20 h rate a battery is drawn on, 1 at least: a slower draw is not credited.

    capacity : stamped, for 20 h, above 0 [Ah]
    load     : steady current, above 0 [A]
    returns  : load by the 20 h rate, 1 or above [-]

    >>> over_rate(100.0, 10.0), over_rate(100.0, 1.0)
    (2.0, 1.0)

    [1] Capacity is stamped for 20 h: common practice, no source.
    """
    return max(1.0, load * RATED_HOURS / capacity)


def reserve_hours(capacity: float, usable_share: float, load: float, exponent: float = 1.0) -> float:
    """How long a full battery carries a load, the faster draw counted.

    capacity     : stamped, for 20 h, above 0 [Ah]
    usable_share : part of it that may be drawn, 0 to 1 [-]
    load         : steady current, above 0 [A]
    exponent     : of Peukert's law, 1 for none of it [-]
    returns      : time [h]
    Raises ValueError for a load that is not above zero.

    >>> reserve_hours(100.0, 0.5, 10.0), reserve_hours(100.0, 0.5, 10.0, 2.0)
    (5.0, 2.5)

    [1] Charge is current times time; the usable share is the shop's.
    [2] Peukert's law, from memory: time = 20 h (20 h rate / load) ^ exponent.
    """
    if not load > 0:
        raise ValueError(f"load must be above zero, got {load!r} A")
    return capacity * usable_share / load * math.pow(over_rate(capacity, load), 1 - exponent)


SELF_DISCHARGE_VARIES = 1 / 3
"""Half width of the 95 % interval of the days a battery lasts by itself, by them; common practice, no source."""


def days_left_alone(usable: float, current: MeasuredValue, by_itself: float, capacity_within: float) -> MeasuredValue:
    """How long a full battery lasts with the switches off, what is drawn and self-discharge counted together.

    usable          : charge that may be drawn from full, above 0 [Ah]
    current         : drawn with the switches off, 0 or above [A]
    by_itself       : days in which self-discharge alone takes the usable charge, above 0 [d]
    capacity_within : half width of the capacity's 95 % interval, as a share of it [-]
    returns         : days [d]

    >>> by_itself = days_left_alone(50.0, MeasuredValue(0.0, "A"), 180.0, 0.1)
    >>> round(by_itself.value), round(by_itself.expanded_uncertainty)
    (180, 60)
    >>> round(days_left_alone(50.0, MeasuredValue(50 / 24 / 180, "A"), 180.0, 0.1).value)
    90

    [1] Charge is current times time; both losses add up each day: 1 / days = 24 h x current / usable + 1 / by itself.
    """
    by_current = 24 * current.value / usable
    days = 1 / (by_current + 1 / by_itself)
    return MeasuredValue.of_parts(
        days,
        "d",
        (
            *(part.times(-(days**2) * 24 / usable) for part in current.parts),
            Part.of_expanded("capacity", days**2 * by_current * capacity_within),
            Part.of_expanded("self-discharge", days**2 / by_itself * SELF_DISCHARGE_VARIES),
        ),
    )
