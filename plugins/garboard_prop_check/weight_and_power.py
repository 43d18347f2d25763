"""The speed that weight and power let a boat make, by Crouch's formula."""

from __future__ import annotations

import math

from garboard.findings import Basis, BasisKind, Lack, NotEnoughData, in_full, rounded
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import Vessel
from garboard.units import Amount
from garboard_prop_check import crouch
from garboard_prop_check.aboard import weight_as_run
from garboard_prop_check.steps import CONDITIONS, FULL_THROTTLE
from garboard_prop_check.words import total_power

LIGHTEST, HEAVIEST = 1.0, 30.0
"""What a boat weighs as run over the cube of its length [kg/m^3]: from a long light hull to a short full tender. Common
practice, no source."""

WEIGHT_FOR_LENGTH = Basis(
    BasisKind.COMMON_PRACTICE,
    f"a boat as run weighs {in_full(LIGHTEST)} to {in_full(HEAVIEST)} kg for each cubic metre of its length cubed",
)


_OF_A_BOAT = 0.1, 1000.0
"""No boat is shorter or longer [m]: of another length no weight is told."""


def unlikely_weight(vessel: Vessel) -> str:
    """Why a vessel's weight cannot be that of a boat of its length, as a sentence; "" where it can, or is not known."""
    weight, length = vessel.displacement_as_run, vessel.length
    long = length.to("m") if length else 0.0
    if weight is None or not length or not _OF_A_BOAT[0] < long < _OF_A_BOAT[1] or not weight.to("kg") > 0:
        return ""
    cube = long**3
    if LIGHTEST * cube <= weight.to("kg") <= HEAVIEST * cube:
        return ""
    low, high = (Amount(f"{one * cube!r}", "kg").to(weight.unit) for one in (LIGHTEST, HEAVIEST))
    usual = f"{_two_digits(low)} to {_two_digits(high)} {weight.unit}"
    return f"{weight} as run is entered for {length} of length, and boats of that length weigh {usual}"


def _two_digits(value: float) -> str:
    size = 10.0 ** max(0, math.floor(math.log10(value)) - 1)
    return rounded(float(rounded(value / size)) * size)


@frozen
class Expected:
    """Speeds to expect of a planing boat.

    slow, fast : by the formula with the constants of its kind of hull [kn]
    within     : share by which a boat may lie beyond them, since the formula is a rule of thumb [-]
    weight     : as run [lb]
    power      : of all engines [hp]
    """

    slow: float
    fast: float
    within: float
    weight: float
    power: float

    @property
    def lowest(self) -> float:
        """The slowest that is believable [kn]."""
        return self.slow * (1 - self.within)

    @property
    def highest(self) -> float:
        """The fastest that is believable [kn]."""
        return self.fast * (1 + self.within)

    def off(self, speed: float) -> float:
        """How far a speed is from any that is believable, 0 within [kn]."""
        return max(self.lowest - speed, speed - self.highest, 0.0)


def expected_speed(view: JobView) -> Expected:
    """What weight and power let the boat make. Raises NotEnoughData where they or the kind of boat are not known."""
    power = total_power(view)
    vessel, asking = view.vessel, view.asking()
    weight = asking.known(vessel.displacement_as_run, "lb", "displacement as run", field="displacement_as_run")
    asking.need(
        not weight <= 0 and not weight > 1e6,
        "displacement as run must be above zero; correct it",
        lack=Lack.OUT_OF_RANGE,
        field="displacement_as_run",
    )
    asking.need(
        not (unlikely := unlikely_weight(vessel)),
        f"{unlikely}; correct the wrong one",
        lack=Lack.OUT_OF_RANGE,
        field="displacement_as_run",
    )
    asking.need(
        vessel.hull_form in ("planing", "flat bottom hard chine"),
        f"Crouch's formula holds for planing monohulls; the hull form entered is {vessel.hull_form}"
        if vessel.hull_form
        else "hull form is not entered",
        lack=Lack.NOT_COVERED if vessel.hull_form else Lack.NOT_ENTERED,
        field="hull_form",
    )
    asking.settled(CONDITIONS, "hull_kind")
    asking.check()
    kind, ranges = view.value(CONDITIONS, "hull_kind"), crouch.CONSTANTS
    chosen = [ranges[kind]] if isinstance(kind, str) and kind in ranges else list(ranges.values())
    constants = min(low for low, _ in chosen), max(high for _, high in chosen)
    weight = weight_as_run(view)
    slow, fast = (crouch.crouch_speed(constant, weight, power) for constant in constants)
    return Expected(slow, fast, view.setting_value("prop_check.crouch_within", "%") / 100, weight, power)


def check_planing(view: JobView, speed: float) -> None:
    """Raise NotEnoughData where a boat does not plane at a speed [kn]."""
    length = view.vessel.length.to("ft") if view.vessel.length else 0.0
    if length > 0 and speed / math.sqrt(length) < crouch.PLANING_FROM:
        text = f"{view.told(speed, 'kn', 1)} is not planing speed for {view.vessel.length}; the formula does not hold"
        raise NotEnoughData(text, lack=Lack.NOT_COVERED, step=FULL_THROTTLE, field="speed")


def is_less_believable(view: JobView, speed: float, than: float) -> bool:
    """Whether one speed [kn] fits weight and power worse than another that the boat planes at; not where unknown."""
    try:
        expected = expected_speed(view)
        check_planing(view, than)
    except NotEnoughData:
        return False
    return expected.off(speed) > expected.off(than)
