"""Fuel over a day of mixed use."""

from __future__ import annotations

from collections.abc import Sequence

from garboard.findings import Finding, Lack, Limit, NotEnoughData, Number, Table, Verdict, in_full, rounded
from garboard.job_view import JobView, in_unit
from garboard.series import mean
from garboard_fuel_curve import duty_cycle
from garboard_fuel_curve.believed import curve_of, refuse_far_from_steps
from garboard_fuel_curve.curve import Curve, Fitted
from garboard_fuel_curve.full_throttle import full_throttle
from garboard_fuel_curve.steps import FIVE_MODE_CYCLE, PROPAGATION, STEPS
from garboard_fuel_curve.wording import decimals_to_tell, shown

EXPONENT = "power of engine speed that fuel follows"


def mixed_use(view: JobView) -> list[Finding]:
    """Fuel flow averaged over the five modes of mixed use, and whether fuel follows engine speed as it should."""
    found = view.once(curve_of)
    curve = found.curve
    if found.odd:
        found.flow_carries()
    rated = _rated_speed(view)
    idle_limit = view.setting_value("fuel_curve.idle_at_most", "rev/min")
    full = [one for engine in view.vessel.engines if (one := full_throttle(view, engine, curve.highest))]
    needed = mean([one.begins for one in full])
    reasons = []
    if curve.lowest > idle_limit:
        reasons.append(f"no step at idle, {rounded(idle_limit, 0)} rev/min or below")
    if curve.highest < needed:
        reasons.append(f"no step at full throttle, {rounded(needed, 0)} rev/min or above{full[0].hint}")
    if curve.lowest > 0.4 * rated:
        reasons.append(f"no step at or below {rounded(0.4 * rated, 0)} rev/min")
    if reasons:
        raise NotEnoughData(*reasons, lack=Lack.TOO_LITTLE, step=STEPS, field="nominal_engine_speed")
    speeds = [
        curve.lowest if mode.speed is None else min(mode.speed / 100 * rated, curve.highest)
        for mode in duty_cycle.FIVE_MODES
    ]
    refuse_far_from_steps(view, curve, speeds)
    shares = [speed / speeds[0] for speed in speeds[:-1]]

    def flows(fitted: Fitted, off: float) -> list[float]:
        return [fitted.flow.at(min(max(speed + off, curve.lowest), curve.highest)) for speed in speeds]

    # The cycle's engine speeds are shares of the rated speed, so the tachometers' error counts.
    tachometer = view.setting_value("fuel_curve.engine_speed_accuracy", "rev/min")
    average = curve.estimate(lambda fitted, off: duty_cycle.weighted(flows(fitted, off)), "gal/h", tachometer)
    power = duty_cycle.exponent(shares, flows(curve.fitted, 0.0)[:-1])
    low, high = view.setting_value("fuel_curve.lowest_exponent"), view.setting_value("fuel_curve.highest_exponent")
    ordinary = low <= power <= high
    decimals = decimals_to_tell(power, low, high)
    if ordinary:
        found.flow_carries()  # an odd exponent says itself that something is wrong
    says = f"{shown(view, average)} (40 % of the time idling)."
    if not ordinary:
        says += (
            f" Fuel follows engine speed to the power {rounded(power, decimals)}, outside {in_full(low)} to "
            f"{in_full(high)}: "
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
                # a rule of thumb judges it: no uncertainty
                Number(EXPONENT, power, decimals=decimals),
            ),
            limits=(Limit(EXPONENT, low, max(low, high)),),
            tables=(_modes_table(view, curve, speeds),),
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


def _modes_table(view: JobView, curve: Curve, speeds: Sequence[float]) -> Table:
    unit = view.unit_to_tell("gal/h")
    names = ("full speed", "80 %", "60 %", "40 %", "idle")
    return Table(
        title="Fuel over mixed use",
        headings=("Mode", "Share of time [%]", "Engine speed [rev/min]", f"Fuel flow [{unit}]"),
        rows=tuple(
            (
                name,
                rounded(mode.weight * 100, 0),
                rounded(speed, 0),
                rounded(in_unit(curve.fitted.flow.at(speed), "gal/h", unit), 1),
            )
            for name, mode, speed in zip(names, duty_cycle.FIVE_MODES, speeds, strict=True)
        ),
    )
