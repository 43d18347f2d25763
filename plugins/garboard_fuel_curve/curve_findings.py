"""The fuel curve as figure and table, and which readings to repeat."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from garboard.findings import (
    Axis,
    Band,
    Doubt,
    Figure,
    Finding,
    Marker,
    NotEnoughData,
    Number,
    Series,
    Table,
    Verdict,
    rounded,
)
from garboard.job_view import JobView, in_unit
from garboard_fuel_curve import twins
from garboard_fuel_curve.believed import IMPOSSIBLE, JobCurve, begins_in_a_gap, curve_of, gaps_of, hump_found
from garboard_fuel_curve.cruise import Cruise, best_place
from garboard_fuel_curve.curve import Hump
from garboard_fuel_curve.economy import economy, litres_per_mile, statute_economy
from garboard_fuel_curve.readings import ThrottleStep, flow_places
from garboard_fuel_curve.refill import meter_totals
from garboard_fuel_curve.steps import PRACTICE, PROPAGATION

SPEED_DOUBTED = "fuel_curve.curve.speed_doubted"
REFILL_CONTRADICTS = "fuel_curve.curve.refill_contradicts"
METER_JUMPS = "fuel_curve.curve.meter_jumps"
CURRENT_IN_IT = ", a current not taken out"
REPEAT_STEPS = "fuel_curve.curve.repeat_steps"


def fuel_curve(view: JobView) -> list[Finding]:
    """The curve as figure and table, and whether readings must be repeated."""
    job = view.once(curve_of)
    found = job.found
    low, high = found.steps[0].engine_speed, found.steps[-1].engine_speed
    steps = (
        f"{len(found.steps)} steps from {rounded(low)} to {rounded(high)} rev/min, from "
        f"{found.source}.{job.corrected_by}"
    )
    differing = twins.differing(view.vessel.engines, job.found.taken)
    unlike = twins.unlike(view, differing)
    advice = [*_advice(job), *([unlike] if unlike else [])]
    return [
        Finding(
            code=_code(job, unlike),
            verdict=Verdict.ADVISE if advice else Verdict.PASS,
            about="fuel curve",
            sentence=" ".join([steps, *advice]),
            basis=(PRACTICE, PROPAGATION),
            numbers=(
                Number("lowest step", low, "rev/min", decimals=0),
                Number("highest step", high, "rev/min", decimals=0),
            ),
            figures=(_figure(view, job, *_marked(view, job)),),
            tables=(_table(view, job),),
            doubts=(*(doubt for one in job.odd for doubt in one.doubts), *_doubted_flows(view, job, differing)),
        )
    ]


def _doubted_flows(view: JobView, job: JobCurve, differing: Sequence[twins.Pair]) -> Iterator[Doubt]:
    """Fuel flows of twins that differ throughout.

    None where a flow cannot be true for its engine: then that one is at fault. A refill that corrects the flow bears
    their sum out where the meters' totals compare as these flows do. Unequal propellers make engines burn unlike.
    """
    engines, totals = view.vessel.engines, view.once(meter_totals) if job.refill else ()
    unsure = [pair for pair in differing if twins.same_propellers(engines, pair)]
    unsure = [pair for pair in unsure if not (totals and pair.sides_with(totals))]
    if not unsure or job.why_no_flow is IMPOSSIBLE:
        return
    odd, most = twins.odd_ones(unsure), max(unsure, key=lambda pair: abs(pair.usual))
    times = math.exp(abs(most.usual))
    both = " and ".join(engines[one].position for one in (most.first, most.second))
    counted = ", not so by their meters' totals" if totals else ""
    text = f"fuel flows of {both} differ {rounded(times, 2)} times at equal engine speed{counted}"
    positions = [engines[one].position for one in odd]
    turned_alike = {place for pair in unsure for step in pair.steps for place in flow_places(step, positions)}
    for step, field, row, of in sorted(turned_alike):
        yield Doubt(text, step=step, field=field, row=row, of=of)


def _code(job: JobCurve, unlike: str) -> str:
    if job.found.speed_doubted:
        return SPEED_DOUBTED
    if job.why_no_flow:
        if job.why_no_flow is job.found.meter_jumps:
            return METER_JUMPS
        impossible = job.why_no_flow is IMPOSSIBLE
        return "fuel_curve.curve.flow_impossible" if impossible else REFILL_CONTRADICTS
    if job.odd:
        return REPEAT_STEPS
    if unlike:
        return "fuel_curve.curve.twins_differ"
    if job.found.one_way:
        return "fuel_curve.curve.one_way"
    return "fuel_curve.curve.in_order"


def _advice(job: JobCurve) -> Iterator[str]:
    if job.why_no_flow:
        yield f"Do not use its fuel flow: {job.why_no_flow}."
    if job.found.speed_doubted:
        yield f"Do not use its speeds: {job.found.speed_doubted}."
    if job.odd:
        yield f"Repeat {'; '.join(one.text for one in job.odd)}. Until then no best cruise and no range are given."
    if count := len(job.found.one_way):
        ways = "step was" if count == 1 else "steps were"
        yield f"{count} {ways} run one way only; run both ways to take out a current."


def _marked(view: JobView, job: JobCurve) -> tuple[Cruise | None, Hump | None, bool]:
    """What the figure may point out: only what the findings of cruise and hump say too."""
    cruise = hump = None
    try:
        job.carries()
        hump = hump_found(view, job.curve)
        cruise = best_place(view, job.curve)
    except NotEnoughData:
        pass
    return cruise, hump, hump is not None and not begins_in_a_gap(view, job.curve, hump)


def _figure(view: JobView, job: JobCurve, cruise: Cruise | None, hump: Hump | None, hump_begins: bool) -> Figure:
    curve = job.curve
    open_to = gaps_of(view, curve)
    everywhere = sorted({*curve.engine_speeds, *(point.engine_speed for point in curve.points)})
    x = tuple(one for one in everywhere if not any(low < one < high for low, high in open_to))
    economies = curve.fitted.economies(x)
    bands = []
    if hump and hump_begins:
        bands.append(Band("planing hump", "x", hump.start, hump.planing))
    if cruise:
        bands.append(Band("best cruise" if cruise.planing else "best economy", "x", cruise.low, cruise.high))
    markers = []
    if cruise and cruise.best:
        best = cruise.best.value
        markers.append(Marker(cruise.name, best, curve.fitted.economies((best,))[0], second_axis=True))
    return Figure(
        title="Speed and economy over engine speed" + (CURRENT_IN_IT if job.found.one_way else ""),
        x=Axis("Engine speed", "rev/min"),
        y=Axis("Speed over ground", "kn", low=0.0),
        y2=Axis("Economy", "nm/gal", low=0.0),
        series=(
            Series("speed", x, tuple(curve.fitted.speed.along(x)), markers=False, gaps=open_to),
            Series("economy", x, tuple(economies), second_axis=True, markers=False, gaps=open_to),
            Series(
                "economy as read",
                tuple(step.engine_speed for step in job.read),
                tuple(economy(step.speed, step.flow) for step in job.read),
                second_axis=True,
                line=False,
            ),
            *(_speed_as_read(job) if open_to else ()),  # a step between two gaps is on no line
        ),
        bands=tuple(bands),
        markers=tuple(markers),
    )


def _speed_as_read(job: JobCurve) -> tuple[Series, ...]:
    at = tuple(step.engine_speed for step in job.read)
    return (Series("speed as read", at, tuple(step.speed for step in job.read), line=False),)


def _table(view: JobView, job: JobCurve) -> Table:
    """The steps in the units they were typed in; economy besides in all that are in use."""
    positions = [engine.position for engine in view.vessel.engines]
    speed, flow, economy_unit = (view.unit_to_tell(unit) for unit in ("kn", "gal/h", "nm/gal"))
    per_engine = [f"{position} [{flow}]" for position in positions] if len(positions) > 1 else []
    statute = economy_unit == "nm/gal"
    return Table(
        title="Fuel by engine speed"
        + (", flow corrected by the refill" if job.refill else "")
        + (CURRENT_IN_IT if job.found.one_way else ""),
        headings=(
            "Engine speed [rev/min]",
            f"Speed [{speed}]",
            *per_engine,
            f"Fuel flow [{flow}]",
            f"Economy [{economy_unit}]",
            *(("Economy [mi/gal]",) if statute else ()),
            "Fuel [L/nm]",
        ),
        rows=tuple(_row(step, len(per_engine) > 0, speed, flow, economy_unit) for step in job.read),
    )


def _row(step: ThrottleStep, per_engine: bool, speed: str, flow: str, economy_unit: str) -> tuple[str, ...]:
    """A step; its economy only where no current is in its speed."""
    good = economy(step.speed, step.flow)
    economies = (
        rounded(in_unit(good, "nm/gal", economy_unit), 2),
        *((rounded(statute_economy(good), 2),) if economy_unit == "nm/gal" else ()),
        rounded(litres_per_mile(good), 1) if good > 0 else "no way made",
    )
    flows = [rounded(in_unit(one, "gal/h", flow), 1) for one in step.flows] if per_engine else []
    return (
        rounded(step.engine_speed),
        rounded(in_unit(step.speed, "kn", speed), 1),
        *flows,
        rounded(in_unit(step.flow, "gal/h", flow), 1),
        *(economies if step.both_ways else ("one way",) * len(economies)),
    )
