"""Whether a bank of batteries and what it feeds have the voltage that is entered for them."""

from __future__ import annotations

import math

from garboard.findings import Lack, Missing, NotEnoughData, in_full, rounded
from garboard.job_view import JobView
from garboard.records import Battery, Circuit
from garboard_wiring_audit.readings import has_been_read, read
from garboard_wiring_audit.steps import BATTERIES, CIRCUITS

NOMINAL_VOLTS = (6.0, 12.0, 24.0, 36.0, 48.0)
FED_WITHIN = (0.75, 4 / 3)
"""Of a circuit's nominal voltage: what feeds it, 9 to 16 V for 12 V, sagging under load or on charge [-]; common
practice, no source."""
LITHIUM_CELL, LITHIUM_CELLS = 3.2, 4
"""A LiFePO4 bank is labelled by its cells: 12.8 V where another chemistry says 12 V [V] [-]; common practice, no
source."""
DEAD, CHARGING = 10.0, 15.0
"""For each 12 V entered: at rest no bank that is alive lies lower, and none on charge higher; common practice, no
source [V]."""
FED_BY = (10.5, 15.5)
"""For each 12 V: what stands at the source of a circuit that runs. Below it a lead battery is empty under its load,
above it even a cold one is charged too hard; common practice, no source [V]."""
RESTED = (11.5, 13.6)
"""For each 12 V: what a sound bank shows at rest, whatever its chemistry; common practice, no source [V]."""


def nominal_volts(battery: Battery) -> float | None:
    """What a bank is called by [V]: a LiFePO4 one labelled 12.8 or 25.6 V is of 12 or 24 V. None if not entered, or no
    number at all."""
    if battery.nominal_voltage is None:
        return None
    entered = battery.nominal_voltage.to("V")
    if not math.isfinite(entered):  # hundreds of digits, in an entry older than the range
        return None
    if battery.chemistry == "LiFePO4":
        for volts in NOMINAL_VOLTS:
            if math.isclose(entered, volts / 12 * LITHIUM_CELLS * LITHIUM_CELL, rel_tol=0.01):
                return volts
    return entered


def is_dead(view: JobView, battery: Battery) -> bool:
    """Whether a bank reads lower than any that is alive, whatever its chemistry and its rest, and fits no other."""
    nominal = nominal_volts(battery)
    if nominal is None or nominal <= 0 or not has_been_read(view, BATTERIES, "rest_voltage", battery.name):
        return False
    try:
        volts = read(view, BATTERIES, "rest_voltage", "V", battery.name).value
    except NotEnoughData:
        return False  # said where the reading is asked for
    return volts * 12 / nominal < DEAD and another_voltage(view, battery) is None


def another_voltage(view: JobView, battery: Battery) -> Missing | None:
    """Why the voltage entered for a bank cannot be: its rest voltage is that of another bank. None where it can."""
    entered = nominal_volts(battery)
    if entered is None or not has_been_read(view, BATTERIES, "rest_voltage", battery.name):
        return None
    try:
        volts = read(view, BATTERIES, "rest_voltage", "V", battery.name).value
    except NotEnoughData:
        return None  # said where the reading is asked for
    if not entered > 0 or DEAD <= volts * 12 / entered <= CHARGING:
        return None
    others = (other for other in NOMINAL_VOLTS if RESTED[0] <= volts * 12 / other <= RESTED[1])
    fits = next(others, None)
    if fits is None:
        return None
    dead = f", or a battery of a {in_full(entered)} V bank is dead or missing" if fits < entered else ""
    told = rounded(volts, 2)
    text = (
        f"{told} V at rest is that of a {in_full(fits)} V bank, and {in_full(entered)} V is entered; the entry "
        f"is wrong{dead}"
    )
    return Missing(text, lack=Lack.CONTRADICTS, step=BATTERIES, field="rest_voltage", of=battery.name)


def fed_by_another_voltage(view: JobView, circuit: Circuit, volts: float, battery: Battery | None) -> Missing | None:
    """Why a circuit cannot be of the voltage entered for it [V]. None where it can.

    The source read decides: a converter may feed a circuit of another voltage than its battery's. Where none was read,
    the battery's own voltage does.
    """
    if has_been_read(view, CIRCUITS, "source_voltage", circuit.name):
        try:
            source = read(view, CIRCUITS, "source_voltage", "V", circuit.name).value
        except NotEnoughData:
            return None  # said where the reading is asked for
        if _feeds(source, volts):
            return None
        told = rounded(source, 2)
        text = f"{told} V at the source of a {in_full(volts)} V circuit: see which is wrong, the entry or the feed"
        return Missing(text, lack=Lack.CONTRADICTS, step=CIRCUITS, field="source_voltage", of=circuit.name)
    nominal = nominal_volts(battery) if battery is not None else None
    if battery is None or nominal is None or _feeds(nominal, volts):
        return None
    text = (
        f"a {in_full(volts)} V circuit on the {battery.name} battery of {in_full(nominal)} V: put the wrong one "
        f"right, or read the "
        "voltage at its source"
    )
    return Missing(text, lack=Lack.CONTRADICTS, field="circuits.nominal_voltage", of=circuit.name)


def odd_source(view: JobView, circuit: Circuit, volts: float) -> float | None:
    """The voltage read at a circuit's source [V], where nothing in order feeds a circuit of so many volts with it; else
    None. One of another nominal voltage is `fed_by_another_voltage`."""
    if not has_been_read(view, CIRCUITS, "source_voltage", circuit.name):
        return None
    source = read(view, CIRCUITS, "source_voltage", "V", circuit.name).value
    low, high = fed_by(volts)
    return None if low <= source <= high else source


def fed_by(volts: float) -> tuple[float, float]:
    """What stands at the source of a circuit of so many volts [V]."""
    return FED_BY[0] * volts / 12, FED_BY[1] * volts / 12


def _feeds(source: float, volts: float) -> bool:
    low, high = FED_WITHIN
    return low * volts <= source <= high * volts
