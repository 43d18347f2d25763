"""A pilot's hold against its own order: what it was told to steer, off the network, beside what the compass shows."""

from __future__ import annotations

import math
from collections.abc import Iterator

from garboard.faults import in_number
from garboard.findings import Finding, Lack, Limit, NotEnoughData, Number, Verdict, rounded
from garboard.job_view import JobView, refuse_set_back
from garboard.samples import Stream
from garboard.series import is_frozen, mean, signed_angle, standard_deviation
from garboard.steps import Calculator
from garboard_engine_trial.bases import practice
from garboard_engine_trial.settings import PILOT
from garboard_engine_trial.under_way_steps import CONTROLS

AUTOPILOT, HOLD, STEERED_BY = "handover.autopilot", "hold_recording", "steered_by"
"""Of the hand over: the heading held is recorded there once, and judged here too."""

ON_ORDER = practice("a pilot holds, on average, the course it is ordered to", "the pilot's manual comes first")
FEWEST = 20
"""Headings that tell a mean; common practice, no source."""
_ONE_ORDER = 1.0
"""An order that moves further from its first is another course, also one turned a degree at a time [deg]."""


def _pilot_order(view: JobView) -> Iterator[Finding]:
    """Nothing without a recording, or where the pilot sends no order: its steadiness is judged with the hand over."""
    if view.state_of(CONTROLS) == "not fitted" or view.state_of(AUTOPILOT) == "not fitted":
        return
    recording = view.recording(AUTOPILOT, HOLD)
    orders = recording.of("course_to_steer") if recording else ()
    if recording is None or not orders:
        return
    refuse_set_back(recording, step=AUTOPILOT, field=HOLD)
    order = orders[0]
    heading = _heading_of(view, recording.of("heading"), order)
    off, spread = off_order(heading, order)
    within = view.setting_value(PILOT, "deg")
    limit = Limit("off the order, mean", -within, within)
    is_on = limit.holds(off)
    side = "starboard" if off > 0 else "port"
    yield Finding(
        code="engine_trial.pilot_order.held" if is_on else "engine_trial.pilot_order.off",
        verdict=Verdict.PASS if is_on else Verdict.ADVISE,
        about="Pilot against its order",
        sentence=(
            "The pilot holds the course it was ordered to."
            if is_on
            else f"The pilot holds {rounded(abs(off))} degrees to {side} of its order. See its compass and rudder zero."
        ),
        basis=(ON_ORDER,),
        numbers=(Number("off the order, mean", off, "deg"), Number("95 % within ±", 2 * spread, "deg")),
        limits=(limit,),
    )


def _heading_of(view: JobView, headings: tuple[Stream, ...], order: Stream) -> Stream:
    """The heading to hold against an order: of the compass the pilot steers by, with the order's own reference."""
    wanted = str(view.value(AUTOPILOT, STEERED_BY) or "").strip()
    by_name = {sensor.name: sensor.sources for sensor in view.vessel.heading_sensors}
    sources = by_name.get(wanted, (wanted,)) if wanted else [source for each in by_name.values() for source in each]
    same = [one for one in headings if one.key.reference == order.key.reference]
    own = next((one for source in sources for one in same if one.key.source == source), None)
    if own is None and same and not wanted:
        own = same[0]
    if own is None:
        reference = order.key.reference or "unnamed"
        text = f"no {reference} heading of the pilot's compass is recorded, and its order is {reference}"
        raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, step=AUTOPILOT, field=HOLD)
    return own


def off_order(heading: Stream, order: Stream) -> tuple[float, float]:
    """How far a heading is from one order: mean and standard deviation [deg], starboard positive.

    heading : what the compass shows [deg]
    order   : what the pilot was told to steer, one course throughout [deg]
    Raises NotEnoughData for an order that changes, a heading that never moves, and too few headings.
    """
    if any(abs(signed_angle(ordered - order.values[0])) > _ONE_ORDER for ordered in order.values):
        text = "the order changes in the recording; record one course held"
        raise NotEnoughData(text, lack=Lack.UNSUITABLE, step=AUTOPILOT, field=HOLD)
    during = heading.between(order.times[0], math.inf)
    if len(during) < FEWEST:
        text = f"{in_number(len(during), 'heading')} recorded with the order; hold the course longer"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=AUTOPILOT, field=HOLD)
    if is_frozen(during):
        text = "the heading did not change at all: the sensor is dead or the display is frozen"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=AUTOPILOT, field=HOLD)
    off = [signed_angle(angle - order.values[0]) for angle in during.values]
    return mean(off), standard_deviation(off)


CALCULATORS = (
    Calculator(
        key="engine_trial.pilot_order",
        title="Pilot against its order",
        step=CONTROLS,
        order=300,
        compute=_pilot_order,
        basis=(ON_ORDER,),
    ),
)
