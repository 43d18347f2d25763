"""The curve of a job, as far as its readings can be believed: what every figure of it rests on."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from garboard.findings import Lack, Missing, NotEnoughData, Verdict, in_full, rounded
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.uncertainty import MeasuredValue, Part
from garboard_fuel_curve.contradictions import Contradiction, contradictions, without_odd
from garboard_fuel_curve.curve import Curve, Hump, Point, Shared, steps_to_add, study, wide_gaps
from garboard_fuel_curve.power import judged_by_power
from garboard_fuel_curve.readings import Readings, ThrottleStep, corrected, deviation_of, flow_repeats, readings
from garboard_fuel_curve.refill import Refill, correction
from garboard_fuel_curve.steps import STEPS
from garboard_fuel_curve.wording import is_at_least, tens

MOST_LISTED = 6
"""Of more steps to take, only how close they must stand is told."""

HUMP_FROM = 1.2
"""No hull meets its hump below this speed in knots over the root of its length in feet; common practice, no source."""

SHORTEST = 16.0
"""Length taken where none is entered [ft]: a shorter boat meets its hump at a lower speed."""


@frozen(kw_only=True)
class JobCurve:
    """The curve of a job and what it was made of.

    found  : the steps as read
    steps  : those the curve goes through: without the contradicted ones, their flow corrected by the refill
    refill : that corrects the flow, where one does
    odd    : readings that others contradict
    why_no_flow : why the fuel flow carries no figure, where it does not
    """

    found: Readings
    steps: tuple[ThrottleStep, ...]
    curve: Curve
    refill: Refill | None
    odd: tuple[Contradiction, ...]
    why_no_flow: Missing | None

    @property
    def read(self) -> tuple[ThrottleStep, ...]:
        """All steps, contradicted ones too, their flow corrected by the refill."""
        return corrected(self.found.steps, self.refill.ratio.value if self.refill else 1.0)

    @property
    def corrected_by(self) -> str:
        """What the curve, and it alone, says of a refill that corrects the fuel flow; "" where none does."""
        return (
            f" Fuel flow is corrected by the refill (x {rounded(self.refill.ratio.value, 3)})." if self.refill else ""
        )

    def only_if(self, *figures: MeasuredValue) -> str:
        """What to say of figures that a current is still in; "" of any others.

        A stronger current makes them less than told, so a finding that rests on them advises and does not pass.
        """
        if not any(map(is_at_least, figures)):
            return ""
        return f" Only if the current was no more than {in_full(self.curve.shared.current)} kn: run back too."

    def flow_carries(self) -> None:
        """Raise NotEnoughData where no figure may rest on the fuel flow."""
        if self.why_no_flow:
            raise NotEnoughData(self.why_no_flow)
        if self.odd:
            raise NotEnoughData(*(one.missing for one in self.odd))

    def carries(self) -> None:
        """Raise NotEnoughData where no figure may rest on speed and fuel flow."""
        if self.found.speed_doubted:
            raise NotEnoughData(self.found.speed_doubted)
        self.flow_carries()


IMPOSSIBLE = Missing(
    "the fuel flow at full throttle cannot be true; put the meter or the entry right first",
    lack=Lack.CONTRADICTS,
    step=STEPS,
    field="fuel_flow",
)


def curve_of(view: JobView) -> JobCurve:
    """The readings and the curve through them. Raises NotEnoughData when there are too few steps."""
    found = view.once(readings)
    fewest = int(view.setting_value("fuel_curve.fewest_steps"))
    if len(found.steps) < fewest:
        raise NotEnoughData(
            f"{len(found.steps)} different throttle steps, at least {fewest} are needed; add steps between idle and "
            "full throttle",
            lack=Lack.TOO_LITTLE,
            step=STEPS,
            field="nominal_engine_speed",
        )
    odd = view.once(contradictions, found)
    sound = without_odd(view, found, odd)
    why_no_flow: Missing | None = None
    refill: Refill | None = None
    try:
        refill = view.once(correction)
    except NotEnoughData as lacking:
        why_no_flow = lacking.missing[0]
    steps = corrected(sound.steps, refill.ratio.value if refill else 1.0)
    why_no_flow = found.meter_jumps or why_no_flow
    if _is_impossible(view, steps, refill):
        why_no_flow = IMPOSSIBLE
    return JobCurve(
        found=found,
        steps=steps,
        curve=_study(view, steps, refill),
        refill=refill,
        odd=odd,
        why_no_flow=why_no_flow,
    )


def _study(view: JobView, steps: Sequence[ThrottleStep], refill: Refill | None) -> Curve:
    deviation, freedom = deviation_of(steps)
    points = tuple(
        Point(
            engine_speed=step.engine_speed,
            speed=step.speed,
            flow=step.flow,
            run_to_run=deviation / math.sqrt(step.worth),
            speed_digit=step.speed_digit / math.sqrt(step.worth),
            flow_repeats=flow_repeats(view, step),
            flow_digit=step.flow_digit,
            one_way=not step.both_ways,
        )
        for step in steps
    )
    accuracy = view.setting_value("fuel_curve.flow_meter_accuracy", "%") / 100
    shared = Shared(
        freedom=freedom,
        receiver=view.setting_value("fuel_curve.speed_accuracy", "kn"),
        current=view.setting_value("fuel_curve.unknown_current", "kn") if any(p.one_way for p in points) else 0.0,
        engine_speed=view.setting_value("fuel_curve.engine_speed_resolution", "rev/min") / 2,
        flow_scale=refill.relative_parts if refill else (Part.of_expanded("flow meter", accuracy),),
    )
    return study(points, shared, view.setting_value("fuel_curve.planing_recovery", "%") / 100)


def _is_impossible(view: JobView, steps: Sequence[ThrottleStep], refill: Refill | None) -> bool:
    """Whether a fuel flow surely cannot be true for its engine; then no figure that rests on it is given."""
    try:
        return any(finding.verdict is Verdict.FAIL for finding in judged_by_power(view, steps, refill))
    except NotEnoughData:
        return False


def believable_curve(view: JobView) -> JobCurve:
    """The curve, where its speed and fuel flow can be true. Raises NotEnoughData."""
    found = view.once(curve_of)
    found.carries()
    return found


def hump_of(view: JobView, curve: Curve) -> Hump | None:
    """The planing hump, None where there is none.

    Raises NotEnoughData where none stands clear and steps are too far apart to tell.
    """
    if curve.hump_is_clear:
        return curve.landmarks.hump
    if view.vessel.hull_form != "displacement":
        length = view.vessel.length.to("ft") if view.vessel.length else SHORTEST
        slow = HUMP_FROM * math.sqrt(max(length, 1.0))
        _refuse(view, (gap for gap in gaps_of(view, curve) if curve.fitted.speed.at(gap[1]) > slow))
    return None


def hump_found(view: JobView, curve: Curve) -> Hump | None:
    """The same. Raises NotEnoughData also where the slowest planing lies between steps that are too far apart."""
    hump = hump_of(view, curve)
    if hump:
        around = (gap for gap in gaps_of(view, curve) if gap[0] < hump.planing and gap[1] > hump.bottom.engine_speed)
        _refuse(view, around)
    return hump


def begins_in_a_gap(view: JobView, curve: Curve, hump: Hump) -> bool:
    """Whether the hump begins between steps that are too far apart to say where."""
    return any(low < hump.start < high for low, high in gaps_of(view, curve))


def refuse_gap_at(view: JobView, curve: Curve, engine_speed: float) -> None:
    """Raise NotEnoughData where a best place lies between steps, or beside one, that are too far apart [rev/min]."""
    around = (gap for gap in gaps_of(view, curve) if gap[0] <= engine_speed <= gap[1])
    _refuse(view, around, "to place the best cruise")


def refuse_far_from_steps(view: JobView, curve: Curve, engine_speeds: Iterable[float]) -> None:
    """Raise NotEnoughData where an engine speed lies between steps that are too far apart, and near none [rev/min].

    A hump may hide there, so the smooth line between the two steps says nothing of speed and fuel flow.
    """
    near = view.setting_value("fuel_curve.same_step", "rev/min") / 2  # so far a step reaches to each side
    wanted = sorted(engine_speeds)
    for low, high in gaps_of(view, curve):
        far = [one for one in wanted if low + near < one < high - near]
        if far:
            _refuse(view, [(low, high)], f"to tell speed and fuel flow at {' and '.join(map(tens, far))} rev/min")


def outside_gaps(view: JobView, curve: Curve, low: float, place: float, high: float) -> tuple[float, float]:
    """Engine speeds around a place, only as far as steps stand close enough to tell them [rev/min]."""
    for below, above in gaps_of(view, curve):
        if place <= below < high:
            high = below
        if low < above <= place:
            low = above
    return low, high


def gaps_of(view: JobView, curve: Curve) -> tuple[tuple[float, float], ...]:
    """Where two steps are too far apart to tell anything between them, as their engine speeds [rev/min].

    Recorded steps set just as far apart as may be are not refused for what the tachometer is off.
    """
    off = 0.0 if view.rows(STEPS) else view.setting_value("fuel_curve.engine_speed_accuracy", "rev/min")
    return wide_gaps([point.engine_speed for point in curve.points], _widest(view) + off)


def _widest(view: JobView) -> float:
    return view.setting_value("fuel_curve.widest_gap", "rev/min")


def _refuse(view: JobView, gaps: Iterable[tuple[float, float]], what: str = "to place the planing hump") -> None:
    widest = _widest(view)
    texts = [
        f"steps at {rounded(low)} and {rounded(high)} rev/min are too far apart {what}; {_to_add(low, high, widest)}"
        for low, high in gaps
    ]
    if texts:
        raise NotEnoughData(*texts, lack=Lack.TOO_LITTLE, step=STEPS, field="nominal_engine_speed")


def _to_add(low: float, high: float, widest: float) -> str:
    steps = [tens(step) for step in steps_to_add(low, high, widest)]
    if len(steps) > MOST_LISTED:
        return f"add steps between them, at most {rounded(widest)} rev/min apart"
    *others, last = steps
    return f"add steps at {', '.join(others)} and {last} rev/min" if others else f"add one near {last} rev/min"
