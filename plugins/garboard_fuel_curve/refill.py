"""What a refill says about the flow meter."""

from __future__ import annotations

import math
from functools import partial

import attrs

from garboard.findings import Finding, Lack, Number, Verdict, with_uncertainty
from garboard.job_view import InputCollector, JobView
from garboard_fuel_curve.flow_meter import meter_factor, meter_factor_within
from garboard_fuel_curve.readings import optional, rounding
from garboard_fuel_curve.steps import PRACTICE, PROPAGATION, TANKS


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
