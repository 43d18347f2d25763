"""The best-economy cruise, and how far the fuel goes."""

from __future__ import annotations

import math

from garboard.findings import Finding, Lack, NotEnoughData, Number, Verdict, rounded, rounded_beside
from garboard.job_view import JobView, in_unit
from garboard.record_types import frozen
from garboard.uncertainty import MeasuredValue, Part
from garboard_fuel_curve.believed import (
    JobCurve,
    believable_curve,
    hump_of,
    outside_gaps,
    refuse_far_from_steps,
    refuse_gap_at,
)
from garboard_fuel_curve.curve import Curve, Landmarks, Peak
from garboard_fuel_curve.economy import litres_per_mile, radius_by_thirds, range_with_reserve, statute_economy
from garboard_fuel_curve.entered import digit, optional
from garboard_fuel_curve.steps import PRACTICE, PROPAGATION, STEPS, TANKS, THIRDS
from garboard_fuel_curve.wording import is_at_least, least, number, shown, speeds_told, tens, times, to_plan_by

LEAST_USABLE = 0.5
"""No tank keeps more than this share of its fuel back; common practice, no source."""


@frozen(kw_only=True)
class Cruise:
    """Where to cruise, and what to call it.

    engine_speed : the figures are given for [rev/min]
    low, high    : engine speeds that keep 97 % of the best economy [rev/min]
    best         : the engine speed of best economy, where steps stand close enough to tell it [rev/min]
    """

    name: str
    engine_speed: float
    low: float
    high: float
    best: MeasuredValue | None
    planing: bool


def best_place(view: JobView, curve: Curve) -> Cruise:
    """The best place beyond the hump; of the whole curve where there is no hump.

    Raises NotEnoughData when economy still rises at the highest step, and where steps there are too far apart.
    """
    hump = hump_of(view, curve)
    place = hump.best if hump else curve.landmarks.best
    if place.engine_speed >= curve.highest:
        text = f"economy still rises at the highest step, {rounded(curve.highest)} rev/min; add steps above it"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=STEPS, field="nominal_engine_speed")
    if hump:
        refuse_gap_at(view, curve, place.engine_speed)
    from_low, to_high = curve.nearly_as_good(place)
    low, high = outside_gaps(view, curve, from_low, place.engine_speed, to_high)
    return Cruise(
        name="best-economy cruise" if hump else "best economy",
        engine_speed=min(max(10 * float(rounded(place.engine_speed / 10)), curve.lowest), curve.highest),
        low=low,
        high=high,
        best=curve.best_engine_speed(place, _beyond_the_hump if hump else _of_all)
        if curve.tells_best(place.engine_speed)
        else None,
        planing=hump is not None,
    )


def _beyond_the_hump(found: Landmarks) -> Peak | None:
    return found.hump.best if found.hump else None


def _of_all(found: Landmarks) -> Peak | None:
    return found.best


def best_cruise(view: JobView) -> list[Finding]:
    """The best-economy cruise when planing as the engine speeds nearly as good, and the best at any speed."""
    found = believable_curve(view)
    curve, cruise = found.curve, best_place(view, found.curve)
    at = cruise.engine_speed
    good, speed, flow = curve.economy_at(at), curve.speed_at(at), curve.flow_at(at)
    slowest, fastest = curve.speed_at(cruise.low), curve.speed_at(cruise.high)
    only_if = found.only_if(good, slowest, fastest)
    code = "fuel_curve.best_cruise.planing" if cruise.planing else "fuel_curve.best_cruise.any_speed"
    says = (
        f"{tens(cruise.low)} to {tens(cruise.high)} rev/min, {speeds_told(view, ' to ', slowest, fastest)}: "
        f"{shown(view, good, 2)}, within 3 % all through."
    )
    if cruise.best:
        says += f" Best at {shown(view, cruise.best, 0)}."
    says += (
        _slower(view, curve, at, good) if cruise.planing else " No planing hump was seen: the best step at any speed."
    )
    return [
        Finding(
            code="fuel_curve.best_cruise.one_way" if only_if else code,
            verdict=Verdict.ADVISE if only_if else Verdict.PASS,
            about=cruise.name,
            sentence=says + only_if,
            basis=(PRACTICE, PROPAGATION),
            numbers=(
                number("economy", good, 2),
                *_statute(view, good),
                _litres(good),
                Number("cruise, from", cruise.low, "rev/min", decimals=0),
                Number("cruise, to", cruise.high, "rev/min", decimals=0),
                *([Number.of("best engine speed", cruise.best, 0)] if cruise.best else []),
                Number("engine speed of these figures", at, "rev/min", decimals=0),
                number("speed", speed),
                number("fuel flow", flow),
            ),
        )
    ]


def _statute(view: JobView, good: MeasuredValue) -> tuple[Number, ...]:
    """Miles to the gallon, for those who fill in gallons; the economy itself is told so where speeds are in mph."""
    if view.unit_to_tell("nm/gal") != "nm/gal":
        return ()
    return (number("economy in statute miles", times(good, statute_economy(1.0), "mi/gal"), 2),)


def _litres(good: MeasuredValue) -> Number:
    name = "fuel for a nautical mile"
    if is_at_least(good):
        return Number(f"{name}, at most", litres_per_mile(max(good.low, 0.01)), "L/nm", decimals=2)
    litres = litres_per_mile(good.value)
    return Number.of(name, times(good, litres / good.value, "L/nm"), 2)


def _slower(view: JobView, curve: Curve, cruise: float, good: MeasuredValue) -> str:
    """The best step read below the hump, where it goes farther than the cruise; between steps nothing was read."""
    step = curve.best_step_below_hump
    slow = curve.economy_at(step)
    if step >= cruise or slow.value <= good.value * 1.005:
        return ""
    return (
        f" Slower goes farther: {shown(view, slow, 2)} at {tens(step)} rev/min, "
        f"{speeds_told(view, '', curve.speed_at(step))}, the best step below the hump."
    )


def cruising_range(view: JobView) -> list[Finding]:
    """How far the usable fuel goes, by thirds and with the shop's reserve.

    Fuel flow that cannot be true for the engines gives no range.
    """
    usable = _usable_fuel(view)
    found = believable_curve(view)
    name, at = _cruise_for_range(view, found)
    good, speed = found.curve.economy_at(at), found.curve.speed_at(at)
    if not good.value > 0:
        text = f"the boat makes no way at {rounded(at)} rev/min"
        raise NotEnoughData(text, lack=Lack.OUT_OF_RANGE, step=STEPS, field="speed_out")
    reserve = min(max(view.setting_value("fuel_curve.reserve", "%"), 0.0), 100.0)
    out = _distance(good, usable, radius_by_thirds(1.0, 1.0))
    whole = _distance(good, usable, range_with_reserve(1.0, reserve, 1.0))
    unit = view.unit_to_tell("nm")
    shown_out = f"{'At least ' if is_at_least(out) else ''}{to_plan_by(in_unit(least(out), 'nm', unit))} {unit}"
    only_if = found.only_if(out)
    return [
        Finding(
            code="fuel_curve.range.one_way" if only_if else "fuel_curve.range.reckoned",
            verdict=Verdict.ADVISE if only_if else Verdict.PASS,
            about="range",
            sentence=f"{shown_out} out and the same back on two thirds of "
            f"{view.told(usable.value, 'gal', 0)}, {view.told(usable.value / 3, 'gal', 0)} left, at "
            f"{speeds_told(view, '', speed)} ({name}, {tens(at)} "
            f"rev/min).{only_if} Plan with your own gauge and weather.",
            basis=(THIRDS, PROPAGATION),
            numbers=(
                number("out and back by thirds", out),
                number(f"whole range with {rounded(reserve)} % in reserve", whole, 0),
                Number.of("usable fuel", usable),
                Number.of("reserve by thirds", times(usable, 1 / 3, "gal")),
                number("economy", good, 2),
                number("speed", speed),
            ),
        )
    ]


def _usable_fuel(view: JobView) -> MeasuredValue:
    """Usable fuel [gal]. Raises NotEnoughData where it is not entered, or more than the tanks hold."""
    asking = view.asking()
    usable = asking.amount(TANKS, "usable_fuel", "gal")
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
            f"usable fuel is more than the {view.told(held, 'gal', 0)} the tanks hold",
            lack=Lack.CONTRADICTS,
            step=TANKS,
            field="usable_fuel",
        )
        asking.need(
            not usable < held * LEAST_USABLE,
            f"usable fuel is less than half of the {view.told(held, 'gal', 0)} the tanks hold; see which is wrong",
            lack=Lack.CONTRADICTS,
            step=TANKS,
            field="usable_fuel",
        )
    optional(asking, TANKS, "cruise", "rev/min")
    asking.check()
    return MeasuredValue.of_parts(usable, "gal", [Part("fuel digit", digit(view, TANKS, "usable_fuel", "gal"))])


def _cruise_for_range(view: JobView, found: JobCurve) -> tuple[str, float]:
    """The owner's engine speed where one is entered, else that of the best cruise, and what to call it [rev/min]."""
    wanted = view.amount(TANKS, "cruise", "rev/min")
    if wanted is None:
        cruise = best_place(view, found.curve)
        return cruise.name, cruise.engine_speed
    if found.curve.lowest <= wanted <= found.curve.highest:
        refuse_far_from_steps(view, found.curve, [wanted])
        return "the owner's cruise", wanted
    raise NotEnoughData(
        f"cruise at {rounded_beside(wanted, [found.curve.lowest, found.curve.highest])} rev/min is outside the steps, "
        f"{rounded(found.curve.lowest)} to {rounded(found.curve.highest)} rev/min",
        lack=Lack.OUT_OF_RANGE,
        step=TANKS,
        field="cruise",
    )


def _distance(good: MeasuredValue, usable: MeasuredValue, share: float) -> MeasuredValue:
    """Distance on a share of the usable fuel [nm]."""
    parts = [
        *(part.times(share * usable.value) for part in good.parts),
        *(part.times(share * good.value) for part in usable.parts),
    ]
    return MeasuredValue.of_parts(share * usable.value * good.value, "nm", parts)
