"""An NMEA 2000 bus: load, lengths, terminators and the voltage at the worst device."""

from __future__ import annotations

import math
from collections.abc import Sequence

from garboard.record_types import frozen

AMPERES_PER_LOAD_NUMBER = 0.05
LIGHT_CABLE_RESISTANCE = 0.053
"""One conductor of light cable [ohm/m]: 22 AWG copper at 20 degC."""
TERMINATOR = 120.0
"""One terminator [ohm]."""
LARGEST_DROP_LENGTH = 6.0
LARGEST_DROPS_TOGETHER = 78.0
LARGEST_DEVICE_LOAD = 20
MOST_DEVICES = 50
LARGEST_BACKBONE = {"light": 100.0, "mid": 100.0, "heavy": 200.0}
"""Longest backbone [m] by cable; the heavy cable's from memory."""
LARGEST_CURRENT = {"light": 3.0, "mid": 4.0, "heavy": 8.0}
"""Most current on one piece of backbone [A]; sheets give 3 or 4 A for light cable, the lower is used."""


@frozen
class BusDevice:
    """A device on the bus.

    name     : its name
    current  : what it draws from the bus [A]
    distance : along the backbone from the power tee to its own tee [m]
    drop     : length of its drop cable [m]
    leg      : which way from the power tee
    """

    name: str
    current: float
    distance: float
    drop: float = 0.0
    leg: str = ""


def load_number(current: float) -> int:
    """Load equivalency number of a device.

    current : largest current from the bus, 0 or above [A]
    returns : number, one for every 50 mA begun [-]

    >>> load_number(0.151)
    4

    [1] Installation sheets of the NMEA 2000 trade standard: 151 mA is load equivalency number 4.
    """
    return math.ceil(round(current / AMPERES_PER_LOAD_NUMBER, 6))


def bus_drop(load_numbers: float, length: float, resistance: float) -> float:
    """Voltage lost when the whole load sits at the far end.

    load_numbers : sum of load equivalency numbers [-]
    length       : from the power tee to the farthest device [m]
    resistance   : of one conductor [ohm/m]
    returns      : voltage lost there and back [V]

    >>> round(bus_drop(20, 30.0, 0.053), 2)
    3.18

    [1] Installation sheets of the NMEA 2000 trade standard: VD = 0.1 x LEN x length x ohm/m.
    """
    return 2 * AMPERES_PER_LOAD_NUMBER * load_numbers * length * resistance


def device_drop(devices: Sequence[BusDevice], device: BusDevice, resistance: float) -> float:
    """Voltage lost between the power tee and one device, every device drawing its current where it sits.

    devices    : all devices on the bus [-]
    device     : the one to look at [-]
    resistance : of one conductor [ohm/m]
    returns    : voltage lost there and back [V]

    >>> far, near = BusDevice("far", 0.5, 30.0), BusDevice("near", 0.5, 10.0)
    >>> round(device_drop([far, near], far, 0.053), 2)
    2.12

    [1] Ohm's law: a device shares as much of the cable as both use, on its own leg only.
    """
    shared = sum(other.current * min(other.distance, device.distance) for other in devices if other.leg == device.leg)
    return 2 * resistance * (shared + device.current * device.drop)


def worst_device(devices: Sequence[BusDevice], resistance: float) -> tuple[BusDevice, float]:
    """The device that gets the least voltage.

    devices    : all devices on the bus, at least one [-]
    resistance : of one conductor [ohm/m]
    returns    : the device and the voltage lost on the way to it [V]

    >>> worst_device([BusDevice("near", 0.5, 10.0), BusDevice("far", 0.5, 30.0)], 0.053)[0].name
    'far'

    [1] See `device_drop`.
    """
    drops = [(device_drop(devices, device, resistance), number) for number, device in enumerate(devices)]
    drop, number = max(drops)
    return devices[number], drop


def terminators_by_resistance(resistance: float, tolerance: float) -> int | None:
    """How many terminators are on the bus, from the resistance between its signal lines, powered down.

    resistance : between the two signal lines [ohm]
    tolerance  : share by which the reading may differ from 120 ohm divided by the number [-]
    returns    : 1, 2, 3 or 4; None where the reading fits none of them [-]

    >>> terminators_by_resistance(60.4, 0.1), terminators_by_resistance(119.0, 0.1)
    (2, 1)

    [1] Installation sheets of the NMEA 2000 trade standard: one terminator of 120 ohm at each end.
    """
    counts = (count for count in (1, 2, 3, 4) if abs(resistance - TERMINATOR / count) <= tolerance * TERMINATOR / count)
    return next(counts, None)
