"""A swing from readings typed on eight headings or more."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import partial

from garboard.findings import Finding, Lack
from garboard.job_view import JobView
from garboard.records import HeadingSensor
from garboard.series import compass_angle
from garboard.uncertainty import Part, of_last_digit
from garboard.units import Amount

from .currents import Current, current_errors, entered_current
from .directions import deviation_of, magnetic_from_true
from .sensors import in_range, sensors_of, variation_here
from .steps import REFERENCES, SWING
from .swing_finding import Shared, SwingPoint, of_variation, swing_finding, swung_one_by_one


def compute(view: JobView) -> Iterable[Finding]:
    """A swing from the typed table, sensor by sensor."""
    sensors = sensors_of(view)
    return swung_one_by_one(sensors, partial(_typed, view), lambda sensor: sensor.name)


def _typed(view: JobView, sensor: HeadingSensor, is_alike: bool) -> Finding:
    asking = view.asking()
    reference = asking.choice(SWING, "reference")
    current = entered_current(asking, SWING) if reference == "course over ground" else None
    speed = None if current is None else current.boat_speed
    one_of = f"reference must be {', '.join(REFERENCES)}, not {reference!r}"
    asking.need(reference in ("", *REFERENCES), one_of, lack=Lack.OUT_OF_RANGE, step=SWING, field="reference")
    known = current is None or speed is not None
    asking.need(known, "boat speed is not entered", lack=Lack.NOT_ENTERED, step=SWING, field="boat_speed")
    asking.check()
    variation = None if reference == "magnetic" else view.once(variation_here)
    errors = current_errors(view)
    shared = Shared(
        constant=(
            Part.of_expanded("reference", view.setting_value("heading_calibration.reference_error", "deg")),
            *of_variation(variation),
        ),
        vector=in_range(lambda: current.parts(speed or 0.0, errors)) if current else (),
        unknown=in_range(lambda: current.unknown(speed or 0.0)) if current else 0.0,
        is_alike=is_alike,
    )
    readings = in_range(lambda: _rows(view, sensor, variation.east if variation else 0.0, current, speed or 0.0))
    place = {"step": SWING, "field": "compass_heading", "of": sensor.name}
    return swing_finding(view, sensor.name, readings, shared, place)


def _rows(
    view: JobView, sensor: HeadingSensor, variation: float, current: Current | None, speed: float
) -> list[SwingPoint]:
    readings = []
    for row in view.rows(SWING, "reference_direction"):
        line = view.asking()
        bow = line.amount(SWING, "reference_direction", "deg", row=row)
        compass = line.amount(SWING, "compass_heading", "deg", row=row, of=sensor.name)
        if line.missing:
            continue  # a row not finished, or not for this sensor
        if current:
            bow = current.heading(bow, speed)
        steps = (
            _last_digit(view.value(SWING, "reference_direction", row=row)),
            _last_digit(view.value(SWING, "compass_heading", row=row, of=sensor.name)),
        )
        digits = math.hypot(*(of_last_digit(step) for step in steps))
        deviation = deviation_of(magnetic_from_true(bow, variation), compass)
        readings.append(SwingPoint(compass_angle(compass), deviation, row, digits))
    return readings


def _last_digit(value: object) -> float:
    """A step of the last digit of an angle as typed [deg]; nothing when it cannot be read."""
    try:
        return Amount.parse(str(value)).last_digit("deg")
    except ValueError:
        return 0.0
