"""Whether the fuel flow at full throttle can be true for the engine."""

from __future__ import annotations

import math
from collections.abc import Sequence

from garboard.findings import Finding, Lack, Missing, NotEnoughData, Number, Verdict, not_enough_data, with_uncertainty
from garboard.job_view import JobView
from garboard.records import Engine
from garboard_fuel_curve import specific_consumption
from garboard_fuel_curve.readings import Readings, ThrottleStep, optional, readings
from garboard_fuel_curve.refill import flow_meter
from garboard_fuel_curve.steps import BEST_EFFICIENCY, FUEL_TABLE, ORDINARY, STEPS, efficiency_basis


def fuel_for_power(view: JobView) -> list[Finding]:
    """Whether each engine's fuel flow at full throttle can be true for its rated power.

    Uncertainty: rated power, density, heating value and the reading, relative parts added by squares. The meter's
    own accuracy is left out, for it is what is being judged.
    """
    return judged_by_power(view, readings(view))


def judged_by_power(view: JobView, found: Readings) -> list[Finding]:
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
    )


def _meter_is_right(view: JobView) -> bool:
    """Whether a refill has shown that the flow meter may stay as it is."""
    try:
        return all(finding.verdict is Verdict.PASS for finding in flow_meter(view))
    except NotEnoughData:
        return False


def _not_full_throttle(view: JobView, engine: Engine, highest: float) -> Missing | None:
    """Why the highest step does not count as full throttle; None when it does."""
    needed = full_throttle_from(view, engine)
    if needed is None:
        text = f"{engine.position} engine: neither rated speed nor full-throttle window is entered"
        return Missing(text, lack=Lack.NOT_ENTERED, field="engines.rated_speed", of=engine.position)
    if highest >= needed:
        return None
    text = f"highest step {highest:.0f} rev/min, full throttle begins at {needed:.0f} rev/min"
    return Missing(text, lack=Lack.TOO_LITTLE, step=STEPS, field="nominal_engine_speed")


def full_throttle_from(view: JobView, engine: Engine) -> float | None:
    """Where full throttle begins [rev/min]: at the low end of its window, else at the shop's share of rated speed."""
    if engine.full_throttle_low is not None:
        return engine.full_throttle_low.to("rev/min")
    if engine.rated_speed is not None:
        return view.setting_value("fuel_curve.full_throttle_from", "%") / 100 * engine.rated_speed.to("rev/min")
    return None
