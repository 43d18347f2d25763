"""The curve of a job, as far as its readings can be believed: what every figure of it rests on."""

from __future__ import annotations

from garboard.findings import Lack, Missing, NotEnoughData, Verdict
from garboard.job_view import JobView
from garboard_fuel_curve.curve import Curve, Hump, study, wide_gaps
from garboard_fuel_curve.power import judged_by_power
from garboard_fuel_curve.readings import Readings, doubts, readings
from garboard_fuel_curve.steps import STEPS
from garboard_fuel_curve.wording import tens


def curve_of(view: JobView) -> tuple[Readings, Curve]:
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


def clear_hump(view: JobView, curve: Curve) -> Hump | None:
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
                f"{tens((low + high) / 2)} rev/min"
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


def flow_is_impossible(view: JobView, found: Readings) -> bool:
    """Whether a fuel flow surely cannot be true for its engine; then no figure that rests on it is given."""
    try:
        return any(finding.verdict is Verdict.FAIL for finding in judged_by_power(view, found))
    except NotEnoughData:
        return False


def believable_curve(view: JobView) -> Curve:
    """The curve, where its speed and fuel flow can be true. Raises NotEnoughData."""
    found, curve = curve_of(view)
    if found.speed_doubted:
        raise NotEnoughData(found.speed_doubted)
    if flow_is_impossible(view, found):
        raise NotEnoughData(IMPOSSIBLE)
    return curve


def hump_or_nothing(view: JobView, curve: Curve) -> Hump | None:
    try:
        return clear_hump(view, curve)
    except NotEnoughData:
        return None
