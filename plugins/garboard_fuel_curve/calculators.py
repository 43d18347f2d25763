"""From a job to findings: the curve, its hump, the best cruise, range, mixed use, meter and engine plausibility."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial

import attrs

from garboard.findings import (
    Axis,
    Band,
    Basis,
    Figure,
    Finding,
    Lack,
    Limit,
    Marker,
    Missing,
    NotEnoughData,
    Number,
    Series,
    Table,
    Verdict,
    not_enough_data,
    with_uncertainty,
)
from garboard.job_view import InputCollector, JobView
from garboard.records import Engine
from garboard.series import mean
from garboard.steps import Calculator
from garboard.uncertainty import MeasuredValue
from garboard_fuel_curve import duty_cycle, specific_consumption
from garboard_fuel_curve.curve import Curve, Hump, Peak, study, wide_gaps
from garboard_fuel_curve.economy import economy, litres_per_mile, radius_by_thirds, range_with_reserve, statute_economy
from garboard_fuel_curve.flow_meter import meter_factor, meter_factor_within
from garboard_fuel_curve.readings import Readings, ThrottleStep, doubts, optional, readings, rounding
from garboard_fuel_curve.steps import (
    BEST_EFFICIENCY,
    FIVE_MODE_CYCLE,
    FUEL_TABLE,
    ORDINARY,
    PRACTICE,
    PROPAGATION,
    STEPS,
    TANKS,
    THIRDS,
    efficiency_basis,
)


def _curve(view: JobView) -> tuple[Readings, Curve]:
    """The readings and the curve through them. Raises NotEnoughData when there are too few steps."""
    found = readings(view)
    fewest = int(view.setting_value("fuel_curve.fewest_steps"))
    if len(found.steps) < fewest:
        raise NotEnoughData(
            f"{len(found.steps)} different throttle steps, at least {fewest} are needed; add steps between idle and "
            "full throttle",
            lack=Lack.TOO_LITTLE,
            step=STEPS,
            field="nominal_engine_speed",
        )
    points = tuple(step.point() for step in found.steps)
    recovery = view.setting_value("fuel_curve.planing_recovery", "%") / 100
    return found, study(points, doubts(view, found), recovery)


def _clear_hump(view: JobView, curve: Curve) -> Hump | None:
    """The planing hump, None where there is none. Raises NotEnoughData where steps are too far apart to tell."""
    hump = curve.landmarks.hump if curve.hump_is_clear else None
    gaps = wide_gaps(
        [point.engine_speed for point in curve.points], view.setting_value("fuel_curve.widest_gap", "rev/min")
    )
    if hump is None and view.vessel.hull_form == "displacement":
        return None
    in_the_way = [(low, high) for low, high in gaps if hump is None or (low < hump.planing and high > hump.start)]
    if in_the_way:
        raise NotEnoughData(
            *(
                f"steps at {low:.0f} and {high:.0f} rev/min are too far apart to place the planing hump; add one near "
                f"{_tens((low + high) / 2)} rev/min"
                for low, high in in_the_way
            ),
            lack=Lack.TOO_LITTLE,
            step=STEPS,
            field="nominal_engine_speed",
        )
    return hump


IMPOSSIBLE = Missing(
    "the fuel flow at full throttle cannot be true; put the meter or the entry right first",
    lack=Lack.CONTRADICTS,
    step=STEPS,
    field="fuel_flow",
)


def _flow_is_impossible(view: JobView, found: Readings) -> bool:
    """Whether a fuel flow surely cannot be true for its engine; then no figure that rests on it is given."""
    try:
        return any(finding.verdict is Verdict.FAIL for finding in _for_power(view, found))
    except NotEnoughData:
        return False


def _believable_curve(view: JobView) -> Curve:
    """The curve, where its speed and fuel flow can be true. Raises NotEnoughData."""
    found, curve = _curve(view)
    if found.speed_doubted:
        raise NotEnoughData(found.speed_doubted)
    if _flow_is_impossible(view, found):
        raise NotEnoughData(IMPOSSIBLE)
    return curve


def _hump_or_nothing(view: JobView, curve: Curve) -> Hump | None:
    try:
        return _clear_hump(view, curve)
    except NotEnoughData:
        return None


def fuel_curve(view: JobView) -> list[Finding]:
    """The curve as figure and table, and whether readings must be repeated."""
    found, curve = _curve(view)
    hump = _hump_or_nothing(view, curve)
    out_of_line = _out_of_line(found, curve)
    steps = f"{len(found.steps)} steps from {curve.lowest:.0f} to {curve.highest:.0f} rev/min, from {found.source}."
    advice = []
    code = "fuel_curve.curve.in_order"
    if found.one_way:
        code = "fuel_curve.curve.one_way"
    if _flow_is_impossible(view, found):
        code = "fuel_curve.curve.flow_impossible"
        advice.append("The fuel flow at full throttle cannot be true: put it right before you use the curve.")
    elif out_of_line:
        code = "fuel_curve.curve.repeat_steps"
    if found.speed_doubted:
        code = "fuel_curve.curve.speed_doubted"
        advice.append(f"Do not use its speeds: {found.speed_doubted}.")
    if out_of_line:
        advice.append(f"Repeat {', '.join(out_of_line)}: less speed or fuel than at the step below.")
    if found.one_way:
        count = len(found.one_way)
        ways = "step was" if count == 1 else "steps were"
        advice.append(f"{count} {ways} run one way only; run both ways to take out a current.")
    return [
        Finding(
            code=code,
            verdict=Verdict.ADVISE if advice else Verdict.PASS,
            about="fuel curve",
            sentence=" ".join([steps, *advice]),
            basis=(PRACTICE, PROPAGATION),
            numbers=(
                Number("lowest step", curve.lowest, "rev/min", curve.doubts.engine_speed, 0),
                Number("highest step", curve.highest, "rev/min", curve.doubts.engine_speed, 0),
            ),
            figures=(_figure(curve, hump),),
            tables=(_table(view, found, curve),),
        )
    ]


def _out_of_line(found: Readings, curve: Curve) -> list[str]:
    """Steps whose readings the curve, which never falls, misses by more than their uncertainty."""
    return [
        step.name
        for step in found.steps
        if abs(curve.fitted.speed.at(step.engine_speed) - step.speed) > step.speed_within + 1e-9
        or abs(curve.fitted.flow.at(step.engine_speed) - step.flow) > step.flow_within + 1e-9
    ]


def _figure(curve: Curve, hump: Hump | None) -> Figure:
    x = tuple(sorted({*curve.engine_speeds, *(point.engine_speed for point in curve.points)}))
    economies = curve.fitted.economies(x)
    place = hump.best if hump else curve.landmarks.best
    name = "best-economy cruise" if hump else "best economy"
    markers = [Marker(name, place.engine_speed, place.economy, second_axis=True)]
    bands: tuple[Band, ...] = ()
    if hump:
        slowest = curve.fitted.speed.at(hump.planing)
        markers.append(Marker("slowest planing", hump.planing, slowest))
        bands = (Band("planing hump", "x", hump.start, hump.planing),)
    return Figure(
        title="Speed and economy over engine speed",
        x=Axis("Engine speed", "rev/min"),
        y=Axis("Speed over ground", "kn", low=0.0),
        y2=Axis("Economy", "nm/gal", low=0.0),
        series=(
            Series("speed", x, tuple(curve.fitted.speed.along(x)), markers=False),
            Series("economy", x, tuple(economies), second_axis=True, markers=False),
            Series(
                "economy as read",
                tuple(point.engine_speed for point in curve.points),
                tuple(economy(point.speed, point.flow) for point in curve.points),
                second_axis=True,
                line=False,
            ),
        ),
        bands=bands,
        markers=tuple(markers),
    )


def _table(view: JobView, found: Readings, curve: Curve) -> Table:
    positions = [engine.position for engine in view.vessel.engines]
    per_engine = [f"{position} [gal/h]" for position in positions] if len(positions) > 1 else []
    return Table(
        title="Fuel by engine speed",
        headings=(
            "Engine speed [rev/min]",
            "Speed [kn]",
            *per_engine,
            "Fuel flow [gal/h]",
            "Economy [nm/gal]",
            "Economy [mi/gal]",
            "Fuel [L/nm]",
        ),
        rows=tuple(_row(step, len(per_engine) > 0) for step in found.steps),
    )


def _row(step: ThrottleStep, per_engine: bool) -> tuple[str, ...]:
    good = economy(step.speed, step.flow)
    flows = [f"{flow:.1f}" for flow in step.flows] if per_engine else []
    return (
        f"{step.engine_speed:.0f}",
        f"{step.speed:.1f}",
        *flows,
        f"{step.flow:.1f}",
        f"{good:.2f}",
        f"{statute_economy(good):.2f}",
        f"{litres_per_mile(good):.1f}" if good > 0 else "no way made",
    )


def planing_hump(view: JobView) -> list[Finding]:
    """Where the hump lies and the slowest planing speed."""
    curve = _believable_curve(view)
    hump = _clear_hump(view, curve)
    if hump is None:
        return [
            Finding(
                code="fuel_curve.planing_hump.none",
                verdict=Verdict.PASS,
                about="planing hump",
                sentence=f"No hump between {curve.lowest:.0f} and {curve.highest:.0f} rev/min that stands clear of the "
                "readings' uncertainty, so no slowest planing speed is given.",
                basis=(PRACTICE, PROPAGATION),
            )
        ]
    planing = curve.of_hump(lambda one: one.planing)
    start = curve.of_hump(lambda one: one.start)
    bottom = curve.of_hump(lambda one: one.bottom.engine_speed)
    speed = curve.slowest_planing
    recovered = view.setting_value("fuel_curve.planing_recovery", "%")
    worst = curve.economy_at(hump.bottom.engine_speed)
    return [
        Finding(
            code="fuel_curve.planing_hump.found",
            verdict=Verdict.PASS,
            about="planing hump",
            sentence=f"Slowest planing {speed.value:.1f} kn at {_tens(planing.value)} rev/min. "
            f"Between {_tens(start.value)} and {_tens(planing.value)} rev/min the boat climbs its bow wave and economy "
            f"drops to {worst.value:.2f} nm/gal; run through it, do not stay in it.",
            basis=(
                attrs.evolve(
                    PRACTICE,
                    text=f"Planing begins where economy has regained {recovered:.0f} % of its "
                    "rise from the hump to the best cruise",
                ),
                PROPAGATION,
            ),
            numbers=(
                _rounded("slowest planing engine speed", planing),
                Number.of("slowest planing speed", speed),
                _rounded("hump begins", start),
                _rounded("hump deepest", bottom),
                Number.of("economy in the hump", worst, 2),
            ),
        )
    ]


def _shown(measured: MeasuredValue, decimals: int = 1) -> str:
    return with_uncertainty(measured.value, measured.expanded_uncertainty, decimals)


def _tens(engine_speed: float) -> str:
    """An engine speed to the nearest ten, as closely as anyone can set it."""
    return f"{round(engine_speed, -1):.0f}"


def _rounded(name: str, engine_speed: MeasuredValue) -> Number:
    return Number.of(name, engine_speed, 0)


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
    hump = _clear_hump(view, curve)
    place = hump.best if hump else curve.landmarks.best
    if place.engine_speed >= curve.highest:
        text = f"economy still rises at the highest step, {curve.highest:.0f} rev/min; add steps above it"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=STEPS, field="nominal_engine_speed")
    if hump:
        return _Cruise("best-economy cruise", curve.of_hump(lambda one: one.best.engine_speed), True)
    return _Cruise("best economy", curve.best, False)


def best_cruise(view: JobView) -> list[Finding]:
    """The best-economy cruise when planing, with the engine speeds nearly as good, and the best at any speed."""
    curve = _believable_curve(view)
    cruise = _best_cruise(view, curve)
    at = cruise.engine_speed.value
    good, speed, flow = curve.economy_at(at), curve.speed_at(at), curve.flow_at(at)
    low, high = curve.nearly_as_good(Peak(at, good.value))
    says = (
        f"{_shown(good, 2)} nm/gal at {_tens(at)} rev/min, {speed.value:.1f} kn. "
        f"From {_tens(low)} to {_tens(high)} rev/min it stays within 3 % of that."
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
                _rounded("engine speed", cruise.engine_speed),
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
        f" Slower goes farther: {_shown(slow, 2)} nm/gal at {_tens(step)} rev/min, "
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
    found, curve = _curve(view)
    if found.speed_doubted:
        raise NotEnoughData(found.speed_doubted)
    if any(finding.verdict is Verdict.FAIL for finding in _for_power(view, found)):
        raise NotEnoughData(IMPOSSIBLE)
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
            f"left, at {speed.value:.1f} kn ({cruise.name}, {_tens(at)} rev/min). "
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


def mixed_use(view: JobView) -> list[Finding]:
    """Fuel flow averaged over the five modes of mixed use, and whether fuel follows engine speed as it should."""
    found, curve = _curve(view)
    rated = _rated_speed(view)
    idle_limit = view.setting_value("fuel_curve.idle_at_most", "rev/min")
    needed = mean(list(filter(None, (_full_throttle_from(view, engine) for engine in view.vessel.engines))))
    reasons = []
    if curve.lowest > idle_limit:
        reasons.append(f"no step at idle, {idle_limit:.0f} rev/min or below")
    if curve.highest < needed:
        reasons.append(f"no step at full throttle, {needed:.0f} rev/min or above")
    if curve.lowest > 0.4 * rated:
        reasons.append(f"no step at or below {0.4 * rated:.0f} rev/min")
    if reasons:
        raise NotEnoughData(*reasons, lack=Lack.TOO_LITTLE, step=STEPS, field="nominal_engine_speed")
    speeds = [
        curve.lowest if mode.speed is None else min(mode.speed / 100 * rated, curve.highest)
        for mode in duty_cycle.FIVE_MODES
    ]
    shares = [speed / speeds[0] for speed in speeds[:-1]]
    average = curve.estimate(lambda fitted: duty_cycle.weighted([fitted.flow.at(speed) for speed in speeds]), "gal/h")
    power = curve.estimate(lambda fitted: duty_cycle.exponent(shares, [fitted.flow.at(speed) for speed in speeds[:-1]]))
    low, high = view.setting_value("fuel_curve.lowest_exponent"), view.setting_value("fuel_curve.highest_exponent")
    ordinary = low <= power.value <= high
    if ordinary and _flow_is_impossible(view, found):
        raise NotEnoughData(IMPOSSIBLE)
    says = f"{_shown(average)} gal/h over mixed use, two fifths of the time idling."
    if not ordinary:
        says += (
            f" Fuel follows engine speed to the power {power.value:.1f}, outside {low:g} to {high:g}: "
            "check the readings and the units."
        )
    return [
        Finding(
            code="fuel_curve.mixed_use.ordinary" if ordinary else "fuel_curve.mixed_use.odd_exponent",
            verdict=Verdict.PASS if ordinary else Verdict.ADVISE,
            about="mixed use",
            sentence=says,
            basis=(FIVE_MODE_CYCLE, PROPAGATION),
            numbers=(
                Number.of("fuel flow over mixed use", average),
                Number.of("power of engine speed that fuel follows", power, 2),
            ),
            limits=(Limit("power of engine speed that fuel follows", low, high),),
            tables=(_modes_table(curve, speeds),),
        )
    ]


def _rated_speed(view: JobView) -> float:
    """The rated speed the engines share [rev/min]. Raises NotEnoughData when unknown or not shared."""
    asking = view.asking()
    rated = [
        asking.known(
            engine.rated_speed,
            "rev/min",
            f"{engine.position} engine: rated speed",
            field="engines.rated_speed",
            of=engine.position,
        )
        for engine in view.vessel.engines
    ]
    asking.check()
    field = "engines.rated_speed"
    asking.need(min(rated) > 0, "rated speed must be above zero", lack=Lack.OUT_OF_RANGE, field=field)
    alike = "the engines have different rated speeds; a cycle needs one"
    asking.need(max(rated) <= 1.01 * min(rated), alike, lack=Lack.NOT_COVERED, field=field)
    asking.check()
    return mean(rated)


def _modes_table(curve: Curve, speeds: Sequence[float]) -> Table:
    names = ("full speed", "80 %", "60 %", "40 %", "idle")
    return Table(
        title="Fuel over mixed use",
        headings=("Mode", "Share of time [%]", "Engine speed [rev/min]", "Fuel flow [gal/h]"),
        rows=tuple(
            (name, f"{mode.weight * 100:.0f}", f"{speed:.0f}", f"{curve.fitted.flow.at(speed):.1f}")
            for name, mode, speed in zip(names, duty_cycle.FIVE_MODES, speeds, strict=True)
        ),
    )


def flow_meter(view: JobView) -> list[Finding]:
    """What to set the flow meter's factor to, from a refill."""
    asking = view.asking()
    same_mark = asking.yes(TANKS, "same_mark")
    refilled = asking.amount(TANKS, "refilled", "gal")
    present = optional(asking, TANKS, "present_factor", "")
    metered, metered_within = _metered(view, asking)
    smallest = view.setting_value("fuel_curve.smallest_refill", "gal")
    asking.need(
        same_mark or view.value(TANKS, "same_mark") is None,
        "the tank was not filled to the same mark before and after",
        lack=Lack.UNSUITABLE,
        step=TANKS,
        field="same_mark",
    )
    asking.need(
        math.isnan(refilled) or refilled > 0,
        "fuel put back must be above zero",
        lack=Lack.OUT_OF_RANGE,
        step=TANKS,
        field="refilled",
    )
    asking.need(
        math.isnan(refilled) or refilled >= smallest,
        f"{refilled:.1f} gal put back; at least {smallest:.0f} gal are needed to check a meter",
        lack=Lack.TOO_LITTLE,
        step=TANKS,
        field="refilled",
    )
    asking.need(
        present is None or not present <= 0,
        "the factor set in the meter must be above zero",
        lack=Lack.OUT_OF_RANGE,
        step=TANKS,
        field="present_factor",
    )
    asking.check()
    now = 1.0 if present is None else present
    refill_within = math.hypot(
        view.setting_value("fuel_curve.fill_repeatability", "gal"), rounding(view, TANKS, "refilled", "gal")
    )
    ratio = meter_factor(refilled, metered)
    within = meter_factor_within(refilled, metered, refill_within, metered_within)
    allowed = view.setting_value("fuel_curve.meter_off_by", "%") / 100
    off = abs(ratio - 1) > allowed
    reads = f"{abs(1 / ratio - 1) * 100:.1f} % {'low' if ratio > 1 else 'high'}"
    says = f"Meter reads {reads} against the refill (factor {with_uncertainty(ratio, within, 3)}). "
    code = "fuel_curve.flow_meter.within_limit"
    if off and within < abs(ratio - 1):
        code = "fuel_curve.flow_meter.set_factor"
        says += f"Set its factor to {now * ratio:.3f}, or multiply pulses per gallon by {1 / ratio:.3f}."
        says += " Until then, economy and range are off the same way."
    elif off:
        code = "fuel_curve.flow_meter.refill_too_small"
        says += "The refill is too small to be sure; repeat after a longer run."
    else:
        says += f"Within {allowed * 100:.0f} %; leave it."
    return [
        Finding(
            code=code,
            verdict=Verdict.ADVISE if off else Verdict.PASS,
            about="flow meter",
            sentence=says,
            basis=(
                attrs.evolve(PRACTICE, text="Flow meters are set against a refill to the same mark"),
                PROPAGATION,
            ),
            numbers=(
                Number("refill over meter", ratio, "", within, 3),
                Number("factor to set", now * ratio, "", now * within, 3),
            ),
            limits=(Limit("refill over meter", 1 - allowed, 1 + allowed),),
        )
    ]


def _metered(view: JobView, asking: InputCollector) -> tuple[float, float]:
    """Fuel burned by the meters [gal] and its 95 % half width: each engine's, or the total; never a partial sum."""
    total = optional(asking, TANKS, "metered_total", "gal")
    positions = [engine.position for engine in view.vessel.engines]
    parts = [optional(asking, TANKS, "metered", "gal", of=position) for position in positions]
    given = [part for part in parts if part is not None]
    not_entered, below = "fuel burned by the meter is not entered", "fuel burned by the meter must be above zero"
    of_total = partial(asking.need, step=TANKS, field="metered_total")
    of_total(total is not None or bool(given), not_entered, lack=Lack.NOT_ENTERED)
    for position, part in zip(positions, parts, strict=True):
        of_part = partial(asking.need, step=TANKS, field="metered", of=position)
        name = f"fuel burned by the meter ({position})"
        of_part(part is not None or not given, f"{name} is not entered", lack=Lack.NOT_ENTERED)
        of_part(part is None or not part <= 0, f"{name} must be above zero", lack=Lack.OUT_OF_RANGE)
    of_total(total is None or not total <= 0, below, lack=Lack.OUT_OF_RANGE)
    if total is not None and not given:
        return total, rounding(view, TANKS, "metered_total", "gal")
    burned = math.fsum(given)
    agree = total is None or not abs(total - burned) > 0.02 * burned
    otherwise = f"the meters add up to {burned:.1f} gal but their total is entered otherwise; check both"
    of_total(agree, otherwise, lack=Lack.CONTRADICTS)
    return burned, math.hypot(*(rounding(view, TANKS, "metered", "gal", of=position) for position in positions))


def fuel_for_power(view: JobView) -> list[Finding]:
    """Whether each engine's fuel flow at full throttle can be true for its rated power.

    Uncertainty: rated power, density, heating value and the reading, relative parts added by squares. The meter's
    own accuracy is left out, for it is what is being judged.
    """
    return _for_power(view, readings(view))


def _for_power(view: JobView, found: Readings) -> list[Finding]:
    asking = view.asking()
    fuel = asking.choice(STEPS, "fuel")
    known = fuel in ("", "gasoline", "diesel")
    what = f"fuel must be gasoline or diesel, got {fuel!r}"
    asking.need(known, what, lack=Lack.NOT_COVERED, step=STEPS, field="fuel")
    density = optional(asking, STEPS, "fuel_density", "lb/gal")
    asking.need(
        density is None or math.isnan(density) or 1 <= density <= 20,
        "fuel density must be 5.0 to 8.5 lb/gal",
        lack=Lack.OUT_OF_RANGE,
        step=STEPS,
        field="fuel_density",
    )
    asking.check()
    tolerance = 0.0 if density is not None else view.setting_value("fuel_curve.density_tolerance", "%") / 100
    weight = view.setting_value(f"fuel_curve.{fuel}_density", "lb/gal") if density is None else density
    return [
        _plausible(view, engine, number, found.steps, fuel, weight, tolerance)
        for number, engine in enumerate(view.vessel.engines)
    ]


def _plausible(
    view: JobView,
    engine: Engine,
    number: int,
    steps: Sequence[ThrottleStep],
    fuel: str,
    density: float,
    density_tolerance: float,
) -> Finding:
    basis = (BEST_EFFICIENCY, ORDINARY, FUEL_TABLE)
    about = f"{engine.position} engine fuel flow"
    top = max(steps, key=lambda step: step.engine_speeds[number])
    reason = _not_full_throttle(view, engine, top.engine_speeds[number])
    power = engine.rated_power.to("hp") if engine.rated_power else 0.0
    if not 0 < power < 1e5:
        text = f"{engine.position} engine: rated power is not entered"
        reason = Missing(text, lack=Lack.NOT_ENTERED, field="engines.rated_power", of=engine.position)
    if reason:
        return not_enough_data(about, [reason], basis)
    flow = top.flows[number]
    used = specific_consumption.specific_consumption(flow, density, power)
    efficiency = specific_consumption.brake_efficiency(used)
    of_consumption = math.hypot(
        view.setting_value("fuel_curve.power_tolerance", "%") / 100, density_tolerance, top.flow_within / top.flow, 1e-6
    )
    heat = specific_consumption.HEATING_VALUE_WITHIN / specific_consumption.HEATING_VALUE
    of_efficiency = math.hypot(of_consumption, heat)
    most = view.setting_value(f"fuel_curve.best_{fuel}", "%")
    basis = (efficiency_basis(fuel, most), ORDINARY, FUEL_TABLE)
    best = most / 100
    poorest = view.setting_value("fuel_curve.poorest", "%") / 100
    impossible = efficiency / (1 + of_efficiency) > best or efficiency * (1 + of_efficiency) < poorest
    doubtful = efficiency > best or efficiency < poorest
    says = f"{with_uncertainty(used, used * of_consumption, 2)} lb/(hp h) at full throttle"
    ordinary = specific_consumption.ORDINARY_CONSUMPTION[fuel]
    if impossible or doubtful:
        factor = used / ordinary
        slip = specific_consumption.likely_slip(factor, len(view.vessel.engines))
        says += (
            f": {'cannot be true' if impossible else 'hard to believe'}. {flow:.1f} gal/h is {factor:.2g} times what "
            f"{power:.0f} hp commonly burns; {slip}. "
        )
        borne_out = "Check the entry and its unit; the refill bears the meter out."
        says += borne_out if _meter_is_right(view) else "Check the entry, its unit and the meter's K-factor."
    else:
        says += f", believable; {ordinary:.2f} is commonly reckoned with."
    code = "fuel_curve.fuel_for_power.believable"
    if impossible or doubtful:
        code = "fuel_curve.fuel_for_power.impossible" if impossible else "fuel_curve.fuel_for_power.doubtful"
    return Finding(
        code=code,
        verdict=Verdict.FAIL if impossible else Verdict.ADVISE if doubtful else Verdict.PASS,
        about=about,
        sentence=says,
        basis=basis,
        numbers=(
            Number("specific consumption", used, "lb/(hp h)", used * of_consumption, 2),
            Number(
                "specific consumption, metric",
                specific_consumption.metric_consumption(used),
                "g/kWh",
                specific_consumption.metric_consumption(used) * of_consumption,
                0,
            ),
            Number("brake efficiency", efficiency * 100, "%", efficiency * of_efficiency * 100, 1),
            Number("fuel flow", flow, "gal/h", top.flow_within, 1),
        ),
        limits=(Limit("brake efficiency", poorest * 100, most),),
    )


def _meter_is_right(view: JobView) -> bool:
    """Whether a refill has shown that the flow meter may stay as it is."""
    try:
        return all(finding.verdict is Verdict.PASS for finding in flow_meter(view))
    except NotEnoughData:
        return False


def _not_full_throttle(view: JobView, engine: Engine, highest: float) -> Missing | None:
    """Why the highest step does not count as full throttle; None when it does."""
    needed = _full_throttle_from(view, engine)
    if needed is None:
        text = f"{engine.position} engine: neither rated speed nor full-throttle window is entered"
        return Missing(text, lack=Lack.NOT_ENTERED, field="engines.rated_speed", of=engine.position)
    if highest >= needed:
        return None
    text = f"highest step {highest:.0f} rev/min, full throttle begins at {needed:.0f} rev/min"
    return Missing(text, lack=Lack.TOO_LITTLE, step=STEPS, field="nominal_engine_speed")


def _full_throttle_from(view: JobView, engine: Engine) -> float | None:
    """Where full throttle begins [rev/min]: at the low end of its window, else at the shop's share of rated speed."""
    if engine.full_throttle_low is not None:
        return engine.full_throttle_low.to("rev/min")
    if engine.rated_speed is not None:
        return view.setting_value("fuel_curve.full_throttle_from", "%") / 100 * engine.rated_speed.to("rev/min")
    return None


def _fitted_out(step: str) -> Callable[[JobView], bool]:
    return lambda view: view.state_of(step) != "not fitted"


def _calculator(
    order: int, name: str, title: str, step: str, compute: Callable[[JobView], list[Finding]], *basis: Basis
) -> Calculator:
    return Calculator(
        key=f"fuel_curve.{name}",
        title=title,
        step=step,
        order=order,
        compute=compute,
        basis=basis,
        applies=_fitted_out(step),
    )


CALCULATORS = (
    _calculator(100, "best_cruise", "Best-economy cruise", STEPS, best_cruise, PRACTICE, PROPAGATION),
    _calculator(200, "curve", "Fuel curve", STEPS, fuel_curve, PRACTICE, PROPAGATION),
    _calculator(300, "planing_hump", "Planing hump", STEPS, planing_hump, PRACTICE, PROPAGATION),
    _calculator(400, "mixed_use", "Fuel over mixed use", STEPS, mixed_use, FIVE_MODE_CYCLE),
    _calculator(
        500, "fuel_for_power", "Fuel for the power", STEPS, fuel_for_power, BEST_EFFICIENCY, ORDINARY, FUEL_TABLE
    ),
    _calculator(100, "range", "Range", TANKS, cruising_range, THIRDS),
    _calculator(200, "flow_meter", "Flow meter", TANKS, flow_meter, PRACTICE),
)
