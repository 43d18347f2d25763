"""From typed readings or recorded straight runs to a deviation curve, its coefficients and a card."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from typing import TypeVar

import attrs

from garboard.findings import (
    Axis,
    Basis,
    BasisKind,
    Figure,
    Finding,
    Lack,
    Limit,
    NotEnoughData,
    Number,
    Series,
    Table,
    Verdict,
    with_uncertainty,
)
from garboard.job_view import InputCollector, JobView
from garboard.records import HeadingSensor
from garboard.samples import Stream
from garboard.series import compass_angle, mean, signed_angle, steady_stretches, unwrapped
from garboard.uncertainty import student_t
from garboard.units import Amount

from .deviation import (
    APPROXIMATE_UP_TO,
    Coefficients,
    Fit,
    coefficients_by_hand,
    deviation_on,
    fit_deviation,
    standard_error_on,
)
from .directions import current_allowance, deviation_of, heading_from_course, magnetic_from_true
from .sensor_findings import to_be_moved
from .sensors import is_true, longest, name_of, one_by_one, see_that_it_lives, sensors_of, variation_here
from .settings import HANDBOOK, HEADING_DEVICE, SMALL_CRAFT, deviation_basis
from .steps import REFERENCES, STRAIGHT_RUNS, SWING
from .turns import finite_only

STEADY_WITHIN = {"heading": 4.0, "course": 6.0}  # half widths [deg]
SHORTEST_RUN = 15.0  # [s]
T = TypeVar("T")
LARGEST, LARGEST_READ = "largest deviation", "largest deviation read"
"""Numbers of a swing: by the curve, and as read where there is no curve."""
LEAST_SCALE = 1.0  # a deviation figure reaches at least so far either way [deg]
ON_THE_POINT = 2.5  # a reading this near N, NE, E ... serves the sum on paper [deg]

METHOD = Basis(BasisKind.METHOD, "least squares on A + B sin z + C cos z + D sin 2z + E cos 2z", "z: compass heading")
BASIS = (HANDBOOK, METHOD)
NO_COURSE = "the recording holds no course over ground"
BY_RUNS = {"step": STRAIGHT_RUNS, "field": "runs_recording"}
"""Where a recording of straight runs belongs."""


@attrs.frozen
class SwingPoint:
    """Compass heading and the deviation found there, east positive [deg]."""

    compass: float
    deviation: float


@attrs.frozen(kw_only=True)
class Doubt:
    """Half widths of 95 % intervals common to all readings, not to be seen in their scatter [deg].

    constant : of the variation; goes into A
    current  : of an unknown current under course over ground; goes into B and C, because the drift angle
               follows sine and cosine of the heading as they do
    """

    constant: float = 0.0
    current: float = 0.0


@attrs.frozen(kw_only=True)
class Current:
    """The current as entered: speed and boat speed [kn], direction it sets towards, true, when known [deg]."""

    drift: float
    resolution: float
    sets_towards: float | None
    boat_speed: float | None

    def heading(self, course: float, speed: float) -> float:
        """Where the bow pointed on a true course at a speed through the water [kn]."""
        if self.sets_towards is None:
            return course
        return heading_from_course(course, self.sets_towards, self.drift, speed)

    def doubt(self, speed: float) -> float:
        """What the current leaves open: all its drift angle, or that of its last digit when its set is known [deg]."""
        return current_allowance(self.drift if self.sets_towards is None else self.resolution, speed)


# --- typed readings


def compute(view: JobView) -> Iterable[Finding]:
    """A swing from the typed table, sensor by sensor."""
    sensors = sensors_of(view)
    return one_by_one(sensors, lambda sensor: _typed(view, sensor), lambda sensor: sensor.name, BASIS)


def _typed(view: JobView, sensor: HeadingSensor) -> Finding:
    asking = view.asking()
    reference = asking.choice(SWING, "reference")
    current = _current(asking, SWING) if reference == "course over ground" else None
    speed = None if current is None else current.boat_speed
    one_of = f"reference must be {', '.join(REFERENCES)}, not {reference!r}"
    asking.need(reference in ("", *REFERENCES), one_of, lack=Lack.OUT_OF_RANGE, step=SWING, field="reference")
    known = current is None or speed is not None
    asking.need(known, "boat speed is not entered", lack=Lack.NOT_ENTERED, step=SWING, field="boat_speed")
    asking.check()
    variation = None if reference == "magnetic" else variation_here(view)
    doubt = Doubt(
        constant=variation.expanded_uncertainty if variation else 0.0,
        current=_in_range(lambda: current.doubt(speed or 0.0)) if current else 0.0,
    )
    readings = _in_range(lambda: _rows(view, sensor, variation.east if variation else 0.0, current, speed or 0.0))
    return swing_finding(view, sensor.name, readings, doubt, {"step": SWING, "field": "compass_heading"})


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
        readings.append(SwingPoint(compass_angle(compass), deviation_of(magnetic_from_true(bow, variation), compass)))
    return readings


def _current(asking: InputCollector, step: str) -> Current:
    drift = asking.amount(step, "current_speed", "kn")
    return Current(
        drift=drift,
        resolution=_last_digit(asking.view.value(step, "current_speed")),
        sets_towards=_optional(asking, step, "current_sets_towards", "deg"),
        boat_speed=_optional(asking, step, "boat_speed", "kn"),
    )


def _optional(asking: InputCollector, step: str, field: str, unit: str) -> float | None:
    left_open = asking.view.find(step, field) is None and not asking.view.in_dispute(step, field)
    return None if left_open else asking.amount(step, field, unit)


def _last_digit(value: object) -> float:
    """Half a step of the last digit of an amount as typed [kn]; nothing when it cannot be read."""
    try:
        return Amount.parse(str(value)).last_digit("kn") / 2
    except ValueError:
        return 0.0


def _in_range(
    calculate: Callable[[], T], lack: Lack = Lack.OUT_OF_RANGE, *, step: str = "", field: str = "current_speed"
) -> T:
    """What a calculation gives. Outside its range NotEnoughData names the place, as in `Missing`."""
    try:
        return calculate()
    except ValueError as outside:
        raise NotEnoughData(str(outside), lack=lack, step=step, field=field) from None


# --- recorded straight runs


def compute_runs(view: JobView) -> Iterable[Finding]:
    """A swing from recorded straight runs against course over ground, source by source."""
    asking = view.asking()
    recording = asking.recording(STRAIGHT_RUNS, "runs_recording")
    current = _current(asking, STRAIGHT_RUNS)
    course = longest(recording.of("course_over_ground"))
    headings = {stream.key.source: stream for stream in reversed(recording.of("heading"))}  # the longest of each
    if recording.streams:
        need = partial(asking.need, lack=Lack.NOT_IN_RECORDING, step=STRAIGHT_RUNS, field="runs_recording")
        need(course is not None, NO_COURSE)
        need(bool(headings), "the recording holds no heading")
    asking.check()
    variation = variation_here(view)
    speed = longest(recording.of("speed_through_water")) or longest(recording.of("speed_over_ground"))

    def of_source(source: str) -> Finding:
        heading = headings[source]
        if course is None:
            raise NotEnoughData(NO_COURSE, lack=Lack.NOT_IN_RECORDING, **BY_RUNS)
        see_that_it_lives(heading, name_of(view, source), BY_RUNS, beside=course)
        see_that_it_lives(course, name_of(view, course.key.source), BY_RUNS, beside=heading)
        runs = straight_runs(heading, course, speed, current.boat_speed)
        readings = _in_range(lambda: [run.reading(variation.east, current) for run in runs])
        slowest = min((run.speed for run in runs), default=math.inf)
        same = is_true(heading) == is_true(course)
        doubt = Doubt(
            constant=0.0 if same else variation.expanded_uncertainty, current=_in_range(lambda: current.doubt(slowest))
        )
        return swing_finding(view, name_of(view, source), readings, doubt, BY_RUNS)

    return one_by_one(sorted(headings), of_source, lambda source: name_of(view, source), BASIS)


@attrs.frozen(kw_only=True)
class Run:
    """A straight run: means of heading and course over ground [deg], speed through the water [kn], time [s]."""

    heading: float
    heading_is_true: bool
    course: float
    course_is_true: bool
    speed: float
    seconds: float

    def reading(self, variation: float, current: Current) -> SwingPoint:
        """Compass heading and deviation, with the variation [deg] and the current allowed for."""
        compass = magnetic_from_true(self.heading, variation) if self.heading_is_true else self.heading
        course = self.course if self.course_is_true else self.course + variation
        magnetic = magnetic_from_true(current.heading(course, self.speed), variation)
        return SwingPoint(compass_angle(compass), deviation_of(magnetic, compass))


def straight_runs(
    heading: Stream, course: Stream, speed: Stream | None, boat_speed: float | None = None
) -> tuple[Run, ...]:
    """Straight runs in a recording, in order of time.

    heading    : of one source [deg]
    course     : course over ground [deg]
    speed      : through the water, or over ground for want of it [kn]
    boat_speed : used where there is no speed in the recording [kn]
    returns    : runs of 15 s or longer in which heading keeps within 4 and course within 6 either way [deg]
    """
    watched = {"heading": finite_only(heading), "course": finite_only(course)}
    steady = steady_stretches(
        {name: Stream(stream.key, stream.times, unwrapped(stream.values)) for name, stream in watched.items()},
        STEADY_WITHIN,
        SHORTEST_RUN,
    )
    runs = []
    for stretch in steady:
        speeds = finite_only(speed.between(stretch.start, stretch.end)).values if speed else ()
        runs.append(
            Run(
                heading=compass_angle(stretch.means["heading"]),
                heading_is_true=is_true(heading),
                course=compass_angle(stretch.means["course"]),
                course_is_true=is_true(course),
                speed=mean(speeds) if speeds else boat_speed or 0.0,
                seconds=stretch.seconds,
            )
        )
    return tuple(runs)


# --- the finding


def swing_finding(
    view: JobView, about: str, readings: Sequence[SwingPoint], doubt: Doubt, place: Mapping[str, str]
) -> Finding:
    """Coefficients, card and figure of one sensor. Raises NotEnoughData when the readings cannot carry them.

    readings : at least eight headings round the circle [deg]
    doubt    : what all readings share and their scatter does not show [deg]
    place    : step and field the readings come from, named where they are too few
    """
    headings = [reading.compass for reading in readings]
    deviations = [reading.deviation for reading in readings]
    if readings and max(map(abs, deviations)) > APPROXIMATE_UP_TO:
        return _too_large(about, readings)
    fit = _in_range(lambda: fit_deviation(headings, deviations), Lack.TOO_LITTLE, **place)
    t = student_t(fit.freedom)
    step = 10 if view.setting("heading_calibration.card_step") == "10 deg" else 15
    curve = [(heading, deviation_on(heading, fit.coefficients)) for heading in range(0, 360, step)]
    worst_heading, worst = max(curve, key=lambda point: abs(point[1]))
    offset = fit.coefficients.a
    told: list[str] = []
    codes: list[str] = []
    spread_limit = view.setting_value("heading_calibration.spread_limit", "deg")
    if fit.scatter > spread_limit:
        codes.append("heading_calibration.swing.scattered")
        told.append(f"Readings scatter by {fit.scatter:.1f} degrees: take them again in calmer water.")
    limit = view.setting_value("heading_calibration.deviation_limit", "deg")
    if abs(worst) > limit:
        codes.append("heading_calibration.swing.disturbed")
        told.append("Find and move what disturbs the sensor, then swing again.")
    offset_limit = max(view.setting_value("heading_calibration.offset_limit", "deg"), _half_widths(fit, doubt).a)
    if abs(offset) > offset_limit:
        codes.append("heading_calibration.swing.enter_offset")
        told.append(f"Enter an offset of {offset:+.1f} degrees if the sensor adds its offset.")
    if to_be_moved(view, about):
        codes.append("heading_calibration.swing.before_a_move")
        told.append("The sensor is still to be moved or mounted anew: swing again after that, this card will not hold.")
    if doubt.current > view.setting_value("heading_calibration.offset_limit", "deg"):
        codes.append("heading_calibration.swing.current_unknown")
    if doubt.current > 0:
        told.append(f"The current leaves B and C open by {doubt.current:.1f} degrees.")
    half = math.hypot(t * standard_error_on(worst_heading, fit), doubt.constant, doubt.current)
    result = f"Deviation {with_uncertainty(worst, half, plus=True)} degrees at most, on {worst_heading:03d} by compass."
    good = [] if told else ["Keep the card aboard."]
    return Finding(
        code=codes[0] if codes else "heading_calibration.swing.in_order",
        verdict=Verdict.ADVISE if codes else Verdict.PASS,
        about=about,
        sentence=" ".join([result, *told, *good]),
        basis=(*BASIS, deviation_basis(limit), HEADING_DEVICE),
        numbers=(
            Number(LARGEST, worst, "deg", half),
            *(
                _coefficient(name, value, width, fit)
                for name, value, width in zip("ABCDE", fit.coefficients, _half_widths(fit, doubt), strict=True)
            ),
            Number("scatter of the readings", fit.scatter, "deg"),
        ),
        limits=(
            Limit(LARGEST, -limit, limit),
            Limit(_coefficient_name("A"), -offset_limit, offset_limit),
            Limit("scatter of the readings", high=spread_limit),
        ),
        figures=(_figure(about, readings, fit, half),),
        tables=(_card(about, curve, fit, doubt), _coefficients(about, readings, fit), _residuals(about, readings, fit)),
    )


def _coefficient(name: str, value: float, half_width: float, fit: Fit) -> Number:
    """One coefficient. D and E rest on the readings' scatter alone, so their degrees of freedom can be said."""
    label = _coefficient_name(name)
    if name in "DE":
        t, freedom = student_t(fit.freedom), fit.freedom
        return Number(label, value, "deg", half_width, coverage_factor=t, degrees_of_freedom=freedom)
    return Number(label, value, "deg", half_width)


def _coefficient_name(letter: str) -> str:
    return f"coefficient {letter}"


def _too_large(about: str, readings: Sequence[SwingPoint]) -> Finding:
    worst = max(readings, key=lambda reading: abs(reading.deviation))
    return Finding(
        code="heading_calibration.swing.too_large",
        verdict=Verdict.FAIL,
        about=about,
        sentence=(
            f"Deviation {worst.deviation:+.1f} degrees on {worst.compass:03.0f} by compass. Find and move the cause, "
            f"then swing again: above {APPROXIMATE_UP_TO:.0f} degrees five coefficients are not good enough for a card."
        ),
        basis=(HANDBOOK, SMALL_CRAFT),
        numbers=(Number(LARGEST_READ, worst.deviation, "deg"),),
        limits=(Limit(LARGEST_READ, -APPROXIMATE_UP_TO, APPROXIMATE_UP_TO),),
    )


def _half_widths(fit: Fit, doubt: Doubt) -> Coefficients:
    """95 % half widths: Student's t on the standard errors, with what all readings share added in quadrature."""
    a, b, c, d, e = (student_t(fit.freedom) * error for error in fit.standard_errors)
    return Coefficients(math.hypot(a, doubt.constant), math.hypot(b, doubt.current), math.hypot(c, doubt.current), d, e)


def _card(about: str, curve: Sequence[tuple[int, float]], fit: Fit, doubt: Doubt) -> Table:
    t = student_t(fit.freedom)
    rows = []
    for heading, deviation in curve:
        half = math.hypot(t * standard_error_on(heading, fit), doubt.constant, doubt.current)
        magnetic = f"{compass_angle(round(heading + deviation, 1)):05.1f}"
        rows.append((f"{heading:03d}", f"{deviation:+.1f}", f"{half:.1f}", magnetic))
    headings = ("Compass [deg]", "Deviation, east + [deg]", "± [deg]", "Magnetic [deg]")
    return Table(f"Deviation card: {about}", headings, tuple(rows), card=True)


def _coefficients(about: str, readings: Sequence[SwingPoint], fit: Fit) -> Table:
    paper = _on_paper(readings)
    rows = tuple(
        (name, f"{value:+.2f}", f"{error:.2f}", f"{paper[index]:+.2f}" if paper else "-")
        for index, (name, value, error) in enumerate(zip("ABCDE", fit.coefficients, fit.standard_errors, strict=True))
    )
    headings = ("Coefficient", "Least squares [deg]", "Standard error [deg]", "On paper [deg]")
    return Table(f"Coefficients: {about} (Student's t {student_t(fit.freedom):.2f})", headings, rows)


def _on_paper(readings: Sequence[SwingPoint]) -> Coefficients | None:
    """The adjuster's sums, when there is just one reading near each of N, NE, E ... NW."""
    points = [
        [r.deviation for r in readings if abs(signed_angle(r.compass - point)) <= ON_THE_POINT]
        for point in range(0, 360, 45)
    ]
    if len(readings) != 8 or any(len(point) != 1 for point in points):
        return None
    return coefficients_by_hand([deviation for (deviation,) in points])


def _residuals(about: str, readings: Sequence[SwingPoint], fit: Fit) -> Table:
    pairs = sorted(zip(readings, fit.residuals, strict=True), key=lambda pair: pair[0].compass)
    rows = tuple(
        (f"{reading.compass:05.1f}", f"{reading.deviation:+.1f}", f"{residual:+.2f}") for reading, residual in pairs
    )
    return Table(f"Readings: {about}", ("Compass [deg]", "Deviation read [deg, east +]", "Off the curve [deg]"), rows)


def _figure(about: str, readings: Sequence[SwingPoint], fit: Fit, half: float) -> Figure:
    """Readings and curve on a scale as wide as what they are unsure by, so that noise does not look like a curve."""
    grid = tuple(float(heading) for heading in range(0, 361, 5))
    curve = tuple(deviation_on(heading, fit.coefficients) for heading in grid)
    ordered = sorted(readings, key=lambda reading: reading.compass)
    farthest = max(LEAST_SCALE, half, *map(abs, curve), *(abs(reading.deviation) for reading in readings))
    reach = math.ceil(2.2 * farthest) / 2  # a tenth to spare, then the next half degree
    return Figure(
        title=f"Deviation of {about}",
        x=Axis("Compass heading", "deg", 0.0, 360.0),
        y=Axis("Deviation, east positive", "deg", -reach, reach),
        series=(
            Series("fitted", grid, curve, markers=False),
            Series(
                "read",
                tuple(reading.compass for reading in ordered),
                tuple(reading.deviation for reading in ordered),
                line=False,
            ),
        ),
    )
