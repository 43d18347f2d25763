"""The best-economy cruise, and how far the fuel goes."""

from __future__ import annotations

import math

import attrs

from garboard.findings import Finding, Lack, NotEnoughData, Number, Verdict
from garboard.job_view import JobView
from garboard.uncertainty import MeasuredValue
from garboard_fuel_curve.believed import believable_curve, clear_hump
from garboard_fuel_curve.curve import Curve, Peak
from garboard_fuel_curve.economy import litres_per_mile, radius_by_thirds, range_with_reserve, statute_economy
from garboard_fuel_curve.readings import optional, rounding
from garboard_fuel_curve.steps import PRACTICE, PROPAGATION, STEPS, TANKS, THIRDS
from garboard_fuel_curve.wording import rounded, shown, tens


@attrs.frozen
class _Cruise:
    """An engine speed to cruise at, and what to call it."""

    name: str
    engine_speed: MeasuredValue
    planing: bool


def _best_cruise(view: JobView, curve: Curve) -> _Cruise:
    """The best place beyond the hump; of the whole curve where there is no hump.

    Raises NotEnoughData when economy still rises at the highest step.
    """
    hump = clear_hump(view, curve)
    place = hump.best if hump else curve.landmarks.best
    if place.engine_speed >= curve.highest:
        text = f"economy still rises at the highest step, {curve.highest:.0f} rev/min; add steps above it"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=STEPS, field="nominal_engine_speed")
    if hump:
        return _Cruise("best-economy cruise", curve.of_hump(lambda one: one.best.engine_speed), True)
    return _Cruise("best economy", curve.best, False)


def best_cruise(view: JobView) -> list[Finding]:
    """The best-economy cruise when planing, with the engine speeds nearly as good, and the best at any speed."""
    curve = believable_curve(view)
    cruise = _best_cruise(view, curve)
    at = cruise.engine_speed.value
    good, speed, flow = curve.economy_at(at), curve.speed_at(at), curve.flow_at(at)
    low, high = curve.nearly_as_good(Peak(at, good.value))
    says = (
        f"{shown(good, 2)} nm/gal at {tens(at)} rev/min, {speed.value:.1f} kn. "
        f"From {tens(low)} to {tens(high)} rev/min it stays within 3 % of that."
    )
    says += _slower(curve, at, good) if cruise.planing else " No planing hump was seen: the best step at any speed."
    return [
        Finding(
            code="fuel_curve.best_cruise.planing" if cruise.planing else "fuel_curve.best_cruise.any_speed",
            verdict=Verdict.PASS,
            about=cruise.name,
            sentence=says,
            basis=(PRACTICE, PROPAGATION),
            numbers=(
                Number.of("economy", good, 2),
                Number(
                    "economy in statute miles",
                    statute_economy(good.value),
                    "mi/gal",
                    statute_economy(good.expanded_uncertainty),
                    2,
                ),
                Number(
                    "fuel for a nautical mile",
                    litres_per_mile(good.value),
                    "L/nm",
                    litres_per_mile(good.value) * good.expanded_uncertainty / good.value,
                    2,
                ),
                rounded("engine speed", cruise.engine_speed),
                Number.of("speed", speed),
                Number.of("fuel flow", flow),
            ),
        )
    ]


def _slower(curve: Curve, cruise: float, good: MeasuredValue) -> str:
    """The best step read below the hump, where it goes farther than the cruise; between steps nothing was read."""
    step = curve.best_step_below_hump
    slow = curve.economy_at(step)
    if step >= cruise or slow.value <= good.value * 1.005:
        return ""
    return (
        f" Slower goes farther: {shown(slow, 2)} nm/gal at {tens(step)} rev/min, "
        f"{curve.speed_at(step).value:.1f} kn, the best step below the hump."
    )


def cruising_range(view: JobView) -> list[Finding]:
    """How far the usable fuel goes, by thirds and with the shop's reserve.

    Uncertainty: economy and usable fuel, relative parts added by squares. Fuel flow that cannot be true for the
    engines gives no range.
    """
    asking = view.asking()
    usable = asking.amount(TANKS, "usable_fuel", "gal")
    wanted = optional(asking, TANKS, "cruise", "rev/min")
    asking.need(
        math.isnan(usable) or 0 < usable < 1e6,
        "usable fuel must be above zero",
        lack=Lack.OUT_OF_RANGE,
        step=TANKS,
        field="usable_fuel",
    )
    capacities = [tank.capacity.to("gal") for tank in view.vessel.tanks if tank.capacity is not None]
    if capacities and len(capacities) == len(view.vessel.tanks):
        held = math.fsum(capacities)
        asking.need(
            not usable > held * 1.001,
            f"usable fuel is more than the {held:.0f} gal the tanks hold",
            lack=Lack.CONTRADICTS,
            step=TANKS,
            field="usable_fuel",
        )
    asking.check()
    curve = believable_curve(view)
    if wanted is None:
        cruise = _best_cruise(view, curve)
    elif curve.lowest <= wanted <= curve.highest:
        cruise = _Cruise("the owner's cruise", MeasuredValue(wanted, "rev/min"), False)
    else:
        raise NotEnoughData(
            f"cruise at {wanted:.0f} rev/min is outside the steps, {curve.lowest:.0f} to {curve.highest:.0f} rev/min",
            lack=Lack.OUT_OF_RANGE,
            step=TANKS,
            field="cruise",
        )
    at = cruise.engine_speed.value
    good, speed = curve.economy_at(at), curve.speed_at(at)
    if not good.value > 0:
        text = f"the boat makes no way at {at:.0f} rev/min"
        raise NotEnoughData(text, lack=Lack.OUT_OF_RANGE, step=STEPS, field="speed_out")
    share = math.hypot(good.expanded_uncertainty / good.value, rounding(view, TANKS, "usable_fuel", "gal") / usable)
    reserve = min(max(view.setting_value("fuel_curve.reserve", "%"), 0.0), 100.0)
    out, whole = radius_by_thirds(usable, good.value), range_with_reserve(usable, reserve, good.value)
    return [
        Finding(
            code="fuel_curve.range.reckoned",
            verdict=Verdict.PASS,
            about="range",
            sentence=f"{out:.0f} nm out and the same back on two thirds of {usable:.0f} gal, {usable / 3:.0f} gal "
            f"left, at {speed.value:.1f} kn ({cruise.name}, {tens(at)} rev/min). "
            "Plan with your own gauge and weather.",
            basis=(THIRDS, PROPAGATION),
            numbers=(
                Number("out and back by thirds", out, "nm", out * share, 0),
                Number(f"whole range with {reserve:.0f} % in reserve", whole, "nm", whole * share, 0),
                Number("usable fuel", usable, "gal", rounding(view, TANKS, "usable_fuel", "gal"), 1),
                Number("reserve by thirds", usable / 3, "gal", rounding(view, TANKS, "usable_fuel", "gal") / 3, 1),
                Number.of("economy", good, 2),
                Number.of("speed", speed),
            ),
        )
    ]
