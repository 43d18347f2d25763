"""Whether a bank of batteries has the voltage that is entered for it."""

from __future__ import annotations

from garboard.findings import Lack, Missing, NotEnoughData
from garboard.job_view import JobView
from garboard.records import Battery
from garboard_wiring_audit.readings import has_been_read, read
from garboard_wiring_audit.steps import BATTERIES

NOMINAL_VOLTS = (6.0, 12.0, 24.0, 36.0, 48.0)
DEAD, CHARGING = 10.0, 15.0
"""For each 12 V entered: at rest no bank that is alive lies lower, and none on charge higher; common practice, no
source [V]."""
RESTED = (11.5, 13.6)
"""For each 12 V: what a sound bank shows at rest, whatever its chemistry; common practice, no source [V]."""


def another_voltage(view: JobView, battery: Battery) -> Missing | None:
    """Why the voltage entered for a bank cannot be: its rest voltage is that of another bank. None where it can."""
    if battery.nominal_voltage is None or not has_been_read(view, BATTERIES, "rest_voltage", battery.name):
        return None
    try:
        volts = read(view, BATTERIES, "rest_voltage", "V", battery.name).value
    except NotEnoughData:
        return None  # said where the reading is asked for
    entered = battery.nominal_voltage.to("V")
    if not entered > 0 or DEAD <= volts * 12 / entered <= CHARGING:
        return None
    others = (other for other in NOMINAL_VOLTS if RESTED[0] <= volts * 12 / other <= RESTED[1])
    fits = next(others, None)
    if fits is None:
        return None
    dead = f", or a battery of a {entered:g} V bank is dead or missing" if fits < entered else ""
    text = f"{volts:.2f} V at rest is that of a {fits:g} V bank, and {entered:g} V is entered; the entry is wrong{dead}"
    return Missing(text, lack=Lack.CONTRADICTS, step=BATTERIES, field="rest_voltage", of=battery.name)
