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
    Doubt,
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
from garboard.numeric import least_squares
from garboard.records import HeadingSensor
from garboard.samples import Recording, Stream
from garboard.series import compass_angle, mean, mean_direction, signed_angle, steady_stretches, unwrapped
from garboard.uncertainty import MeasuredValue, Part, of_last_digit, student_t
from garboard.units import Amount

from .currents import (
    Current,
    CurrentErrors,
    MeasuredCurrent,
    contradicts,
    current_errors,
    fit_current,
    parts_of_entered,
)
from .deviation import (
    APPROXIMATE_UP_TO,
    WIDEST_GAP,
    Coefficients,
    Fit,
    coefficients_by_hand,
    deviation_on,
    fit_deviation,
    model_terms,
    standard_error_on,
    widest_gap,
)
from .directions import current_allowance, deviation_of, magnetic_from_true
from .mixed import Sound, mixed_words, sound, two_senders
from .odd_reading import odd_readings
from .sensor_findings import longest_of_each, to_be_moved
from .sensors import (
    Remark,
    is_like_the_variation,
    is_true,
    longest,
    name_of,
    one_by_one,
    receivers_apart,
    see_that_it_lives,
    sensors_of,
    variation_here,
)
from .settings import HANDBOOK, HEADING_DEVICE, SMALL_CRAFT, deviation_basis
from .steps import REFERENCES, STRAIGHT_RUNS, SWING
from .turns import finite_only
from .variation import Variation

STEADY_WITHIN = {"heading": 4.0, "course": 6.0}  # half widths [deg]
SHORTEST_RUN = 15.0  # [s]
T = TypeVar("T")
LARGEST, LARGEST_READ = "largest deviation", "largest deviation read"
"""Numbers of a swing: by the curve, and as read where there is no curve."""
BESIDE = "largest deviation beside the constant"
LEAST_SCALE = 1.0  # a deviation figure reaches at least so far either way [deg]
HARMONICS = 0.17  # of what goes three times round and oftener, which the curve leaves out, standard deviation [deg]
ON_THE_POINT = 2.5  # a reading this near N, NE, E ... serves the sum on paper [deg]

METHOD = Basis(BasisKind.METHOD, "least squares on A + B sin z + C cos z + D sin 2z + E cos 2z", "z: compass heading")
BASIS = (HANDBOOK, METHOD)
NO_COURSE = "the recording holds no course over ground"
BY_RUNS = {"step": STRAIGHT_RUNS, "field": "runs_recording"}
"""Where a recording of straight runs belongs."""


@attrs.frozen
class SwingPoint:
    """Compass heading and the deviation found there, east positive [deg].

    row    : of the table it was typed in; "" for a recorded run
    digits : standard uncertainty by the last digits typed [deg]
    """

    compass: float
    deviation: float
    row: str = ""
    digits: float = 0.0


@attrs.frozen(kw_only=True)
class Shared:
    """What all readings share and their scatter does not show.

    constant : parts of what is off by the same on every heading, such as a variation; they go into A [deg]
    vector   : parts of what turns the course aside as a current does: by its drift angle, which follows sine and
               cosine of the heading as B and C do. They go into both, and into the deviation on any heading [deg]
    unknown  : the most a current of unknown direction may turn it [deg]
    """

    constant: tuple[Part, ...] = ()
    vector: tuple[Part, ...] = ()
    unknown: float = 0.0


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
    errors = current_errors(view)
    shared = Shared(
        constant=(
            Part.of_expanded("reference", view.setting_value("heading_calibration.reference_error", "deg")),
            *_of_variation(variation),
        ),
        vector=_in_range(lambda: _of_current(current, speed or 0.0, errors)) if current else (),
        unknown=_in_range(lambda: _unknown(current, speed or 0.0)) if current else 0.0,
    )
    readings = _in_range(lambda: _rows(view, sensor, variation.east if variation else 0.0, current, speed or 0.0))
    place = {"step": SWING, "field": "compass_heading", "of": sensor.name}
    return swing_finding(view, sensor.name, readings, shared, place)


def _of_variation(variation: Variation | None) -> tuple[Part, ...]:
    return (Part.of_expanded("variation", variation.expanded_uncertainty),) if variation else ()


def _of_current(current: Current, speed: float, errors: CurrentErrors) -> tuple[Part, ...]:
    return parts_of_entered(current.drift, current.sets_towards is not None, speed, errors)


def _unknown(current: Current, speed: float) -> float:
    """The most the current may turn the course aside where its set is not known [deg]."""
    return current_allowance(current.drift, speed) if current.sets_towards is None else 0.0


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


def _current(asking: InputCollector, step: str) -> Current:
    return Current(
        drift=asking.amount(step, "current_speed", "kn"),
        sets_towards=_optional(asking, step, "current_sets_towards", "deg"),
        boat_speed=_optional(asking, step, "boat_speed", "kn"),
    )


def _optional(asking: InputCollector, step: str, field: str, unit: str) -> float | None:
    left_open = asking.view.find(step, field) is None and not asking.view.in_dispute(step, field)
    return None if left_open else asking.amount(step, field, unit)


def _last_digit(value: object) -> float:
    """A step of the last digit of an angle as typed [deg]; nothing when it cannot be read."""
    try:
        return Amount.parse(str(value)).last_digit("deg")
    except ValueError:
        return 0.0


def _in_range(
    calculate: Callable[[], T],
    lack: Lack = Lack.OUT_OF_RANGE,
    *,
    step: str = "",
    field: str = "current_speed",
    of: str = "",
) -> T:
    """What a calculation gives. Outside its range NotEnoughData names the place, as in `Missing`."""
    try:
        return calculate()
    except ValueError as outside:
        raise NotEnoughData(str(outside), lack=lack, step=step, field=field, of=of) from None


# --- recorded straight runs


def compute_runs(view: JobView) -> Iterable[Finding]:
    """A swing from recorded straight runs against course over ground, source by source."""
    asking = view.asking()
    recording = asking.recording(STRAIGHT_RUNS, "runs_recording")
    current = _current(asking, STRAIGHT_RUNS)
    heard = sound(recording)
    course = longest(heard.recording.of("course_over_ground"))
    headings = longest_of_each(heard.recording, heard)
    unsound = [source for source in heard.senders if heard.has_two_senders(source)]
    if recording.streams:
        need = partial(asking.need, lack=Lack.NOT_IN_RECORDING, step=STRAIGHT_RUNS, field="runs_recording")
        need(course is not None, NO_COURSE)
        need(bool(headings or unsound), "the recording holds no heading")
    asking.check()
    variation = variation_here(view)

    def of_source(source: str) -> Finding:
        if source in unsound:
            raise NotEnoughData(two_senders(name_of(view, source), BY_RUNS))
        if course is None:
            raise NotEnoughData(NO_COURSE, lack=Lack.NOT_IN_RECORDING, **BY_RUNS)
        return _of_runs(view, heard, headings[source], course, current, variation)

    sources = sorted({*headings, *unsound})
    return one_by_one(sources, of_source, lambda source: name_of(view, source), BASIS)


def _of_runs(
    view: JobView, heard: Sound, heading: Stream, course: Stream, entered: Current, variation: Variation
) -> Finding:
    """A swing of one source. The current is as entered, or as the runs show it where that is known closer."""
    about, errors = name_of(view, heading.key.source), current_errors(view)
    see_that_it_lives(heading, about, BY_RUNS, beside=course)
    see_that_it_lives(course, name_of(view, course.key.source), BY_RUNS, beside=heading)
    recording = heard.recording
    speed = longest(recording.of("speed_through_water")) or longest(recording.of("speed_over_ground"))
    over_ground = _speed_beside(course, recording)
    runs = straight_runs(heading, course, speed, entered.boat_speed, over_ground)
    shown = _shown_by(runs, variation.east)
    speeds = [run.speed for run in runs]
    through_water = mean(speeds) if speeds else math.inf
    vector = _in_range(lambda: _of_current(entered, through_water, errors))
    unknown = _in_range(lambda: _unknown(entered, through_water))
    remarks = [*receivers_apart(recording)]
    if heard.clock:
        remarks.append(("heading_calibration.straight_runs.clocks_mixed", mixed_words(heard)))
    doubts: tuple[Doubt, ...] = ()
    wrong = shown is not None and contradicts(entered, shown, errors)
    if shown is not None and wrong:
        words = _other_current(entered, shown)
        remarks.append(("heading_calibration.straight_runs.other_current", f"{words} The measured one is used."))
        doubts = (Doubt(words, step=STRAIGHT_RUNS, field="current_speed"),)
    if shown is not None and (wrong or _reach(shown.parts(errors)) < _reach(vector)):
        readings = [run.reading(variation.east, shown.heading, run.over_ground or 0.0) for run in runs]
        vector, unknown = shown.parts(errors), 0.0
    else:
        shown = None
        readings = _in_range(lambda: [run.reading(variation.east, entered.heading, run.speed) for run in runs])
    same = is_true(heading) == is_true(course)
    shared = Shared(constant=() if same else _of_variation(variation), vector=vector, unknown=unknown)
    measured = () if shown is None else _numbers_of(shown, errors)
    return swing_finding(view, about, readings, shared, BY_RUNS, remarks=remarks, doubts=doubts, numbers=measured)


def _reach(parts: tuple[Part, ...]) -> float:
    return MeasuredValue.of_parts(0.0, "deg", parts).expanded_uncertainty


def _speed_beside(course: Stream, recording: Recording) -> Stream | None:
    """The speed over ground of a course's own receiver, else the longest."""
    speeds = recording.of("speed_over_ground")
    own = [speed for speed in speeds if speed.key.source == course.key.source]
    return next(iter((*own, *speeds)), None)


def _shown_by(runs: Sequence[Run], variation: float) -> MeasuredCurrent | None:
    """The current the runs show; None where they go not all round, or no speed over ground was recorded."""
    known = [(run.true_course(variation), run.over_ground) for run in runs if run.over_ground is not None]
    if len(known) < len(runs) or not known or widest_gap([course for course, _ in known]) > WIDEST_GAP:
        return None
    try:
        return fit_current([course for course, _ in known], [speed for _, speed in known])
    except ValueError:
        return None


def _other_current(entered: Current, shown: MeasuredCurrent) -> str:
    towards = "" if entered.sets_towards is None else f" setting {entered.sets_towards:03.0f}"
    return (
        f"The runs show a current of {shown.drift:.1f} kn setting {shown.sets_towards:03.0f}, entered is "
        f"{entered.drift:g} kn{towards}."
    )


def _numbers_of(shown: MeasuredCurrent, errors: CurrentErrors) -> tuple[Number, ...]:
    return (
        Number.of("current by the runs", shown.measured(errors)),
        Number("current sets towards, true", shown.sets_towards, "deg", decimals=0),
    )


@attrs.frozen(kw_only=True)
class Run:
    """A straight run: means of heading and course over ground [deg], speed through the water and over ground [kn],
    time [s]. The speed over ground is None where it was not recorded."""

    heading: float
    heading_is_true: bool
    course: float
    course_is_true: bool
    speed: float
    seconds: float
    over_ground: float | None = None

    def true_course(self, variation: float) -> float:
        """Course over ground, true [deg]."""
        return self.course if self.course_is_true else self.course + variation

    def reading(self, variation: float, bow_on: Callable[[float, float], float], speed: float) -> SwingPoint:
        """Compass heading and deviation, with the variation [deg] and the current allowed for.

        bow_on : gives where the bow pointed from a true course [deg] and a speed [kn]
        """
        compass = magnetic_from_true(self.heading, variation) if self.heading_is_true else self.heading
        magnetic = magnetic_from_true(bow_on(self.true_course(variation), speed), variation)
        return SwingPoint(compass_angle(compass), deviation_of(magnetic, compass))


def straight_runs(
    heading: Stream,
    course: Stream,
    speed: Stream | None,
    boat_speed: float | None = None,
    over_ground: Stream | None = None,
) -> tuple[Run, ...]:
    """Straight runs in a recording, in order of time.

    heading     : of one source [deg]
    course      : course over ground [deg]
    speed       : through the water, or over ground for want of it [kn]
    boat_speed  : used where there is no speed in the recording [kn]
    over_ground : speed over ground, where it was recorded [kn]
    returns     : runs of 15 s or longer in which heading keeps within 4 and course within 6 either way [deg]
    """
    watched = {"heading": finite_only(heading), "course": finite_only(course)}
    steady = steady_stretches(
        {name: Stream(stream.key, stream.times, unwrapped(stream.values)) for name, stream in watched.items()},
        STEADY_WITHIN,
        SHORTEST_RUN,
    )
    runs = []
    for stretch in steady:
        own, ground = (_mean_of(stream, stretch.start, stretch.end) for stream in (speed, over_ground))
        runs.append(
            Run(
                heading=compass_angle(stretch.means["heading"]),
                heading_is_true=is_true(heading),
                course=compass_angle(stretch.means["course"]),
                course_is_true=is_true(course),
                speed=(boat_speed or 0.0) if own is None else own,
                seconds=stretch.seconds,
                over_ground=ground,
            )
        )
    return tuple(runs)


def _mean_of(speed: Stream | None, start: float, end: float) -> float | None:
    values = finite_only(speed.between(start, end)).values if speed is not None else ()
    return mean(values) if values else None


# --- the finding


def swing_finding(
    view: JobView,
    about: str,
    readings: Sequence[SwingPoint],
    shared: Shared,
    place: Mapping[str, str],
    *,
    remarks: Sequence[Remark] = (),
    doubts: tuple[Doubt, ...] = (),
    numbers: tuple[Number, ...] = (),
) -> Finding:
    """Coefficients, card and figure of one sensor. Raises NotEnoughData when the readings cannot carry them.

    readings : at least eight headings round the circle [deg]
    shared   : what all readings share and their scatter does not show [deg]
    place    : step, field and sensor the readings come from, named where they are too few
    remarks  : what was seen in a recording and keeps the swing from passing
    doubts   : what the readings show to be in doubt
    numbers  : what else there is to tell
    """
    told = list(remarks)
    odd = _odd(view, readings)
    if odd:
        words = _off_the_curve(readings, odd)
        readings = [reading for reading in readings if reading not in odd]
        in_rows = tuple(Doubt(words, row=reading.row, **place) for reading in odd if reading.row)
        if len(odd) > 1 or not _carries_a_card(readings):
            row = odd[0].row if len(odd) == 1 else ""
            raise NotEnoughData(f"{words[:1].lower()}{words[1:-1]}", lack=Lack.CONTRADICTS, row=row, **place)
        told.append(("heading_calibration.swing.odd_reading", f"{words} It is left out."))
        doubts = (*doubts, *in_rows)
    middle = _middle(readings)
    if readings and max(abs(_from(middle, reading)) for reading in readings) > APPROXIMATE_UP_TO:
        return _too_large(about, readings, middle)
    swing = _fitted(readings, middle, shared, place)
    step = 10 if view.setting("heading_calibration.card_step") == "10 deg" else 15
    curve = [(heading, swing.on(heading)) for heading in range(0, 360, step)]
    worst_heading, worst = max(curve, key=lambda point: abs(point[1].value))
    told += _advice(view, about, swing, shared)
    offset_limit, spread_limit, limit = _limits(view, swing)
    half = worst.expanded_uncertainty
    result = (
        f"Deviation {with_uncertainty(worst.value, half, plus=True)} degrees at most, "
        f"on {worst_heading:03d} by compass."
    )
    codes = [code for code, _ in told]
    good = [] if told else ["Keep the card aboard."]
    return Finding(
        code=codes[0] if codes else "heading_calibration.swing.in_order",
        verdict=Verdict.ADVISE if codes else Verdict.PASS,
        about=about,
        sentence=" ".join([result, *(words for _, words in told), *good]),
        basis=(*BASIS, deviation_basis(limit), HEADING_DEVICE),
        numbers=(
            Number.of(LARGEST, worst),
            *(Number.of(f"coefficient {name}", value) for name, value in zip("ABCDE", swing.coefficients, strict=True)),
            Number(BESIDE, swing.beside_the_constant, "deg"),
            Number("scatter of the readings", swing.fit.scatter, "deg"),
            *numbers,
        ),
        limits=(
            Limit(BESIDE, high=limit),
            Limit("coefficient A", -offset_limit, offset_limit),
            Limit("scatter of the readings", high=spread_limit),
        ),
        figures=(_figure(about, readings, swing.fit, half),),
        tables=(_card(about, curve), _coefficients(about, readings, swing.fit), _residuals(about, readings, swing.fit)),
        doubts=doubts,
    )


@attrs.frozen
class _Swing:
    """A fitted curve and its coefficients, with everything that makes them uncertain."""

    fit: Fit
    shared: Shared

    @property
    def coefficients(self) -> tuple[MeasuredValue, ...]:
        """A to E [deg]."""
        of_all = (self.shared.constant, self.shared.vector, self.shared.vector, (), ())
        rows = zip(self.fit.coefficients, self.fit.standard_errors, of_all, strict=True)
        return tuple(
            MeasuredValue.of_parts(value, "deg", (self._scatter(error), *parts)) for value, error, parts in rows
        )

    @property
    def beside_the_constant(self) -> float:
        """The largest deviation of the curve less its constant, which an offset takes out [deg]."""
        curve = (deviation_on(heading, self.fit.coefficients) for heading in range(0, 360, 5))
        return max(abs(deviation - self.fit.coefficients.a) for deviation in curve)

    def on(self, heading: float) -> MeasuredValue:
        """Deviation by the curve on a heading [deg]."""
        return MeasuredValue.of_parts(
            deviation_on(heading, self.fit.coefficients),
            "deg",
            (
                self._scatter(standard_error_on(heading, self.fit)),
                *self.shared.constant,
                *self.shared.vector,
                Part("higher harmonics", HARMONICS),
            ),
        )

    def _scatter(self, error: float) -> Part:
        return Part("scatter of the readings", error, degrees_of_freedom=self.fit.freedom)


def _middle(readings: Sequence[SwingPoint]) -> float:
    """The middle of all deviations [deg]; a sensor may be turned by any angle, so they are counted from their mean."""
    if not readings:
        return 0.0
    try:
        centre = mean_direction([reading.deviation for reading in readings])
    except ValueError:
        return 0.0
    off = [signed_angle(reading.deviation - centre) for reading in readings]
    return signed_angle(centre + (max(off) + min(off)) / 2)


def _from(middle: float, reading: SwingPoint) -> float:
    return signed_angle(reading.deviation - middle)


def _fitted(readings: Sequence[SwingPoint], middle: float, shared: Shared, place: Mapping[str, str]) -> _Swing:
    digits = math.sqrt(mean([reading.digits**2 for reading in readings])) if readings else 0.0
    headings = [reading.compass for reading in readings]
    deviations = [middle + _from(middle, reading) for reading in readings]
    return _Swing(_in_range(lambda: fit_deviation(headings, deviations, digits), Lack.TOO_LITTLE, **place), shared)


def _odd(view: JobView, readings: Sequence[SwingPoint]) -> list[SwingPoint]:
    """The reading the others contradict, or those of which one is."""
    limit = view.setting_value("heading_calibration.spread_limit", "deg")
    centre = sorted(readings, key=lambda one: one.deviation)[len(readings) // 2].deviation if readings else 0.0
    deviations = [signed_angle(reading.deviation - centre) for reading in readings]
    return [readings[number] for number in odd_readings([one.compass for one in readings], deviations, limit)]


def _off_the_curve(readings: Sequence[SwingPoint], odd: Sequence[SwingPoint]) -> str:
    """What to say of a reading the others contradict, or of those of which one is."""
    called = [f"{f'row {one.row}' if one.row else 'the run'} on {one.compass:03.0f} by compass" for one in odd]
    if len(odd) > 1:
        return f"One of {', '.join(called)} does not fit the others: read these again."
    others = [reading for reading in readings if reading is not odd[0]]
    fitted = least_squares([model_terms(one.compass) for one in others], [_near(odd[0], one) for one in others])
    by_others = math.fsum(a * b for a, b in zip(fitted.solution, model_terms(odd[0].compass), strict=True))
    off = odd[0].deviation - by_others
    again = "read it again, or see what was typed" if odd[0].row else "run it again"
    return (
        f"{called[0][:1].upper()}{called[0][1:]} is {off:+.0f} degrees off what the {len(others)} others say: {again}."
    )


def _near(odd: SwingPoint, reading: SwingPoint) -> float:
    return odd.deviation + signed_angle(reading.deviation - odd.deviation)


def _carries_a_card(readings: Sequence[SwingPoint]) -> bool:
    try:
        fit_deviation([one.compass for one in readings], [one.deviation for one in readings])
    except ValueError:
        return False
    return True


def _limits(view: JobView, swing: _Swing) -> tuple[float, float, float]:
    """What a constant, the scatter and the deviation beside the constant are held against [deg]."""
    least = view.setting_value("heading_calibration.offset_limit", "deg")
    return (
        max(least, swing.coefficients[0].expanded_uncertainty),
        view.setting_value("heading_calibration.spread_limit", "deg"),
        view.setting_value("heading_calibration.deviation_limit", "deg"),
    )


def _advice(view: JobView, about: str, swing: _Swing, shared: Shared) -> Iterable[Remark]:
    """What to do about a swing; nothing for one in order."""
    offset_limit, spread_limit, limit = _limits(view, swing)
    offset = swing.coefficients[0].value
    if swing.fit.scatter > spread_limit:
        words = f"Readings scatter by {swing.fit.scatter:.1f} degrees: take them again in calmer water."
        yield ("heading_calibration.swing.scattered", words)
    disturbed = swing.beside_the_constant > limit
    if disturbed:
        words = "Find and move what disturbs the sensor, then swing again."
        yield ("heading_calibration.swing.disturbed", words)
    if abs(offset) > offset_limit:
        yield _enter_offset(view, offset, abs(offset) > limit and not disturbed)
    if to_be_moved(view, about):
        words = "The sensor is still to be moved or mounted anew: swing again after that, this card will not hold."
        yield ("heading_calibration.swing.before_a_move", words)
    if shared.unknown > view.setting_value("heading_calibration.offset_limit", "deg"):
        open_by = MeasuredValue.of_parts(0.0, "deg", shared.vector).expanded_uncertainty
        words = f"The current leaves B and C open by {open_by:.1f} degrees."
        yield ("heading_calibration.swing.current_unknown", words)


def _enter_offset(view: JobView, offset: float, turned: bool) -> Remark:
    """A constant alone is no iron: the sensor is turned on its bracket, or true was taken for magnetic."""
    enter = f"enter an offset of {offset:+.1f} degrees if the sensor adds its offset."
    if is_like_the_variation(view, offset):
        words = "The constant is about the variation: see whether sensor or reference shows true and not magnetic."
        return ("heading_calibration.swing.like_variation", words)
    if turned:
        words = f"It is off alike on every heading: turned on its bracket. Turn it, or {enter}"
        return ("heading_calibration.swing.turned_on_bracket", words)
    return ("heading_calibration.swing.enter_offset", f"{enter[:1].upper()}{enter[1:]}")


def _too_large(about: str, readings: Sequence[SwingPoint], middle: float) -> Finding:
    worst = max(readings, key=lambda reading: abs(_from(middle, reading)))
    return Finding(
        code="heading_calibration.swing.too_large",
        verdict=Verdict.FAIL,
        about=about,
        sentence=(
            f"Deviation {worst.deviation:+.1f} degrees on {worst.compass:03.0f} by compass. Find and move the cause, "
            f"then swing again: above {APPROXIMATE_UP_TO:.0f} degrees five coefficients are not good enough for a card."
        ),
        basis=(HANDBOOK, SMALL_CRAFT),
        numbers=(Number(LARGEST_READ, worst.deviation, "deg"), Number(BESIDE, abs(_from(middle, worst)), "deg")),
        limits=(Limit(BESIDE, high=APPROXIMATE_UP_TO),),
    )


def _card(about: str, curve: Sequence[tuple[int, MeasuredValue]]) -> Table:
    rows = []
    for heading, deviation in curve:
        magnetic = f"{compass_angle(round(heading + deviation.value, 1)):05.1f}"
        rows.append((f"{heading:03d}", f"{deviation.value:+.1f}", f"{deviation.expanded_uncertainty:.1f}", magnetic))
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
