"""The fuel curve as figure and table, and which readings to repeat."""

from __future__ import annotations

from garboard.findings import Axis, Band, Figure, Finding, Marker, Number, Series, Table, Verdict
from garboard.job_view import JobView
from garboard_fuel_curve.believed import curve_of, flow_is_impossible, hump_or_nothing
from garboard_fuel_curve.curve import Curve, Hump
from garboard_fuel_curve.economy import economy, litres_per_mile, statute_economy
from garboard_fuel_curve.readings import Readings, ThrottleStep
from garboard_fuel_curve.steps import PRACTICE, PROPAGATION


def fuel_curve(view: JobView) -> list[Finding]:
    """The curve as figure and table, and whether readings must be repeated."""
    found, curve = curve_of(view)
    hump = hump_or_nothing(view, curve)
    out_of_line = _out_of_line(found, curve)
    steps = f"{len(found.steps)} steps from {curve.lowest:.0f} to {curve.highest:.0f} rev/min, from {found.source}."
    advice = []
    code = "fuel_curve.curve.in_order"
    if found.one_way:
        code = "fuel_curve.curve.one_way"
    if flow_is_impossible(view, found):
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
