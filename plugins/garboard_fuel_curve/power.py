"""Whether the fuel flow at full throttle can be true for the engine."""

from __future__ import annotations

import math
from collections.abc import Sequence

from garboard.findings import (
    Doubt,
    Finding,
    Lack,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Verdict,
    not_enough_data,
    plain_text,
    rounded,
    rounded_beside,
    with_uncertainty,
)
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import Engine
from garboard.uncertainty import DEVIATION_FREEDOM, NORMAL_95, MeasuredValue, Part
from garboard_fuel_curve import specific_consumption
from garboard_fuel_curve.contradictions import contradictions, without_odd
from garboard_fuel_curve.engine_limits import believed
from garboard_fuel_curve.entered import digit, optional
from garboard_fuel_curve.full_throttle import RUNS, FullThrottle, full_throttle
from garboard_fuel_curve.readings import ThrottleStep, corrected, places, readings
from garboard_fuel_curve.refill import Refill, correction, flow_meter
from garboard_fuel_curve.steps import BEST_EFFICIENCY, FUEL_TABLE, ORDINARY, STEPS, efficiency_basis
from garboard_fuel_curve.wording import all_told

BELIEVABLE, DOUBTFUL, IMPOSSIBLE, FAR_ABOVE, FAR_BELOW = (
    "fuel_curve.fuel_for_power.believable",
    "fuel_curve.fuel_for_power.doubtful",
    "fuel_curve.fuel_for_power.impossible",
    "fuel_curve.fuel_for_power.far_above",
    "fuel_curve.fuel_for_power.far_below",
)


def fuel_for_power(view: JobView) -> list[Finding]:
    """Whether each engine's fuel flow at full throttle can be true for its rated power.

    Uncertainty: rated power, density, heating value and the reading. The meter's own accuracy is left out, for it is
    what is being judged; where a refill corrects the flow, the refill's is added.
    """
    refill, found = view.once(correction), view.once(readings)
    odd = [one for one in view.once(contradictions, found) if not one.of_unit]
    sound = without_odd(view, found, odd)
    judged = judged_by_power(view, corrected(sound.steps, refill.ratio.value if refill else 1.0), refill)
    faster = [one for one in odd if one.steps[-1].engine_speed > sound.steps[-1].engine_speed]
    return [not_enough_data(one.about, [faster[-1].missing], one.basis) for one in judged] if faster else judged


def judged_by_power(view: JobView, steps: Sequence[ThrottleStep], refill: Refill | None) -> list[Finding]:
    """The same for steps whose fuel flow is already corrected by the refill, where there is one."""
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
        _plausible(view, engine, number, steps, refill, fuel, weight, tolerance)
        for number, engine in enumerate(view.vessel.engines)
    ]


@frozen(kw_only=True)
class _Burnt:
    """What an engine burns at full throttle for the power it makes there.

    engine_speed : of the highest step [rev/min]
    rated        : its rated power [hp]
    power        : between the least it may make at that engine speed and its rated power [hp]
    lost         : how far it may be from `power`, as a share of it [-]
    flow         : as read, or as the refill corrects it
    """

    fuel: str
    engine_speed: float
    rated: float
    power: float
    lost: float
    flow: MeasuredValue
    consumption: MeasuredValue
    metric_consumption: MeasuredValue
    efficiency: MeasuredValue

    @property
    def by_what_is_common(self) -> float:
        """What it burns, as so many times what is commonly reckoned with [-]."""
        return self.consumption.value / specific_consumption.ORDINARY_CONSUMPTION[self.fuel]


def _plausible(
    view: JobView,
    engine: Engine,
    number: int,
    steps: Sequence[ThrottleStep],
    refill: Refill | None,
    fuel: str,
    density: float,
    density_tolerance: float,
) -> Finding:
    about = f"{engine.position} engine fuel flow"
    top = max(steps, key=lambda step: step.engine_speeds[number])
    full = full_throttle(view, engine, top.engine_speeds[number])
    if reason := _lacking(engine, full, top.engine_speeds[number]):
        return not_enough_data(about, [reason], (BEST_EFFICIENCY, ORDINARY, FUEL_TABLE))
    burnt = _burnt(view, engine, number, top, full, refill, fuel, density, density_tolerance)
    code = _code_of(view, burnt)
    doubts: tuple[Doubt, ...] = ()
    if code not in (BELIEVABLE, FAR_ABOVE):
        common = f"{plain_text(burnt.by_what_is_common, 2)} times what {view.told(burnt.power, 'hp', 0)} commonly burns"
        flows = [(STEPS, "fuel_flow", row, engine.position) for row in top.rows] or [(STEPS, "recording", "", "")]
        doubts = tuple(Doubt(f"{about} is {common}", step=a, field=b, row=row, of=of) for a, b, row, of in flows)
    best, poorest = _efficiencies(view, fuel)
    return Finding(
        code=code,
        verdict={BELIEVABLE: Verdict.PASS, IMPOSSIBLE: Verdict.FAIL}.get(code, Verdict.ADVISE),
        about=about,
        sentence=_sentence(view, burnt, code, full, refill),
        basis=(efficiency_basis(fuel, best), ORDINARY, FUEL_TABLE),
        numbers=(
            Number.of("specific consumption", burnt.consumption, 2),
            Number.of("specific consumption, metric", burnt.metric_consumption, 0),
            Number.of("brake efficiency", burnt.efficiency),
            Number.of("fuel flow", burnt.flow),
        ),
        limits=(Limit("brake efficiency", poorest, best),),
        places=(
            (STEPS, "fuel", "", ""),
            (STEPS, "fuel_density", "", ""),
            *places(top, (engine.position,), "nominal_engine_speed", "engine_speed", "fuel_flow"),
            *(((STEPS, "recording", "", ""),) if not top.rows else ()),
            *((RUNS, "engine_speed", row, engine.position) for row in (full.rows if full else ())),
            *(refill.places if refill else ()),
        ),
        doubts=doubts,
    )


def _lacking(engine: Engine, full: FullThrottle | None, highest: float) -> Missing | None:
    """Why nothing can be said of an engine's fuel flow; None where it can."""
    rated = engine.rated_power.to("hp") if engine.rated_power else 0.0
    if not 0 < rated < 1e5:
        text = f"{engine.position} engine: rated power is not entered"
        return Missing(text, lack=Lack.NOT_ENTERED, field="engines.rated_power", of=engine.position)
    if not believed(engine, "rated_power"):
        text = f"rated power of the {engine.position} engine reads {engine.rated_power}; correct it"
        return Missing(text, lack=Lack.OUT_OF_RANGE, field="engines.rated_power", of=engine.position)
    return _not_full_throttle(engine, full, highest)


def _burnt(
    view: JobView,
    engine: Engine,
    number: int,
    top: ThrottleStep,
    full: FullThrottle | None,
    refill: Refill | None,
    fuel: str,
    density: float,
    density_tolerance: float,
) -> _Burnt:
    rated = engine.rated_power.to("hp") if engine.rated_power else 0.0
    kept = full.power_kept(top.engine_speeds[number]) if full else 1.0
    power, lost = rated * (1 + kept) / 2, (1 - kept) / (1 + kept)  # between the least and all of its rated power
    reading, flow = _of_reading(view, top, number, engine.position, refill), top.flows[number]
    used = specific_consumption.specific_consumption(flow, density, power)
    of_used = (
        *(part.times(used) for part in reading),
        Part.bound("rated power", used * view.setting_value("fuel_curve.power_tolerance", "%") / 100),
        Part.bound("power at full throttle", used * lost),
        Part.bound("density", used * density_tolerance),
    )
    heat = specific_consumption.HEATING_VALUE_WITHIN / specific_consumption.HEATING_VALUE
    share = 100 * specific_consumption.brake_efficiency(used)
    of_share = [*(part.times(-share / used) for part in of_used), Part.bound("heating value", share * heat)]
    metric = specific_consumption.metric_consumption(1.0)
    return _Burnt(
        fuel=fuel,
        engine_speed=top.engine_speeds[number],
        rated=rated,
        power=power,
        lost=lost,
        flow=MeasuredValue.of_parts(flow, "gal/h", [part.times(flow) for part in reading]),
        consumption=MeasuredValue.of_parts(used, "lb/(hp h)", of_used),
        metric_consumption=MeasuredValue.of_parts(used * metric, "g/kWh", [part.times(metric) for part in of_used]),
        efficiency=MeasuredValue.of_parts(share, "%", of_share),
    )


def _efficiencies(view: JobView, fuel: str) -> tuple[float, float]:
    """The best and the poorest brake efficiency that is believed [%]."""
    return view.setting_value(f"fuel_curve.best_{fuel}", "%"), view.setting_value("fuel_curve.poorest", "%")


def _code_of(view: JobView, burnt: _Burnt) -> str:
    best, poorest = _efficiencies(view, burnt.fuel)
    efficiency, consumption = burnt.efficiency.value, burnt.consumption
    within = 1 + burnt.efficiency.expanded_uncertainty / efficiency
    if efficiency / within > best or efficiency * within < poorest:
        return IMPOSSIBLE
    if efficiency > best or efficiency < poorest:
        return DOUBTFUL
    if consumption.value - consumption.expanded_uncertainty > specific_consumption.FAR_ABOVE[burnt.fuel]:
        return FAR_ABOVE
    most = consumption.value + consumption.expanded_uncertainty
    is_far_below = most < specific_consumption.FAR_BELOW[burnt.fuel] and not _meter_is_right(view)
    return FAR_BELOW if is_far_below else BELIEVABLE


def _sentence(view: JobView, burnt: _Burnt, code: str, full: FullThrottle | None, refill: Refill | None) -> str:
    told, common = _consumption_told(view, burnt.consumption, specific_consumption.ORDINARY_CONSUMPTION[burnt.fuel])
    is_odd = code in (IMPOSSIBLE, DOUBTFUL)
    says = f"{told} at full throttle"
    if is_odd:
        factor, flow = burnt.by_what_is_common, view.told(burnt.flow.value, "gal/h", 1)
        slip = specific_consumption.likely_slip(factor, len(view.vessel.engines))
        says += (
            f": {'cannot be true' if code == IMPOSSIBLE else 'hard to believe'}. {flow} is "
            f"{plain_text(factor, 2)} times what {view.told(burnt.power, 'hp', 0)} commonly burns; {slip}. "
        )
        borne_out = "Check the entry and its unit; the refill bears the meter out."
        says += borne_out if _meter_is_right(view) else "Check the entry, its unit and the meter's K-factor."
    elif code == FAR_ABOVE:
        says += (
            f", far above the {common} commonly reckoned with for {burnt.fuel}. Check the kind of fuel entered, the "
            "rated power, and the flow and its unit; if all are right, have the engine looked at."
        )
    elif code == FAR_BELOW:
        says += (
            f", far below the {common} commonly reckoned with for {burnt.fuel}; a range by this flow is too long. "
            "Check the flow and its unit, the rated power, and the meter's K-factor; fill up and compare."
        )
    else:
        says += f", believable; {common} is commonly reckoned with."
    if full and burnt.lost > 0:
        says += (
            f" At {rounded_beside(burnt.engine_speed, [full.stated])} rev/min, below {rounded(full.stated)}, it makes "
            f"{all_told(view, 'hp', ' ± ', (burnt.power, burnt.power * burnt.lost), 0)} of its "
            f"{view.told(burnt.rated, 'hp', 0)}."
        )
    if refill and is_odd:  # else the curve says it, once for the boat
        says += f" The flow is corrected by the refill (x {rounded(refill.ratio.value, 3)})."
    return says


def _consumption_told(view: JobView, consumption: MeasuredValue, ordinary: float) -> tuple[str, str]:
    """Specific consumption with its unit, and what is commonly reckoned with; metric where powers were typed in kW."""
    used, within = consumption.value, consumption.expanded_uncertainty
    if view.unit_to_tell("hp") == "hp":
        return f"{with_uncertainty(used, within, 2)} lb/(hp h)", rounded(ordinary, 2)
    used, within, ordinary = (specific_consumption.metric_consumption(one) for one in (used, within, ordinary))
    return f"{with_uncertainty(used, within, 0)} g/kWh", rounded(ordinary)


def _of_reading(
    view: JobView, step: ThrottleStep, number: int, position: str, refill: Refill | None
) -> tuple[Part, ...]:
    """What an engine's fuel flow at one step has of its reading, as shares of it [-]."""
    digits = [digit(view, STEPS, "fuel_flow", "gal/h", row=row, of=position) for row in step.rows]
    repeats = view.setting_value("fuel_curve.flow_scatter", "%") / 100 / NORMAL_95 / math.sqrt(step.readings)
    return (
        Part("flow repeats", repeats, degrees_of_freedom=DEVIATION_FREEDOM),
        Part("flow digits", math.hypot(*digits) / max(len(digits), 1) / step.flows[number]),
        *(refill.relative_parts if refill else ()),
    )


def _meter_is_right(view: JobView) -> bool:
    """Whether a refill has shown that the flow meter may stay as it is."""
    try:
        return all(finding.verdict is Verdict.PASS for finding in flow_meter(view))
    except NotEnoughData:
        return False


def _not_full_throttle(engine: Engine, full: FullThrottle | None, highest: float) -> Missing | None:
    """Why the highest step does not count as full throttle; None when it does."""
    if full is None:
        text = f"{engine.position} engine: neither rated speed nor full-throttle window is entered"
        return Missing(text, lack=Lack.NOT_ENTERED, field="engines.rated_speed", of=engine.position)
    if highest >= full.begins:
        return None
    text = (
        f"highest step {rounded_beside(highest, [full.begins])} rev/min, full throttle begins at "
        f"{rounded(full.begins)} rev/min{full.hint}"
    )
    return Missing(text, lack=Lack.TOO_LITTLE, step=STEPS, field="nominal_engine_speed")
