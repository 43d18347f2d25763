"""From readings of a swing to its finding: the curve and its card, an odd reading, what to do."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cached_property

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
    in_full,
    rounded,
    rounded_beside,
    row_in_words,
    with_uncertainty,
)
from garboard.job_view import JobView
from garboard.numeric import least_squares
from garboard.record_types import frozen
from garboard.series import compass_angle, mean, mean_direction, signed_angle
from garboard.uncertainty import MeasuredValue, Part, student_t

from .deviation import (
    APPROXIMATE_UP_TO,
    FEWEST_HEADINGS,
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
from .odd_reading import odd_readings
from .sensor_findings import is_recorded_elsewhere, is_what_the_network_differs_by, to_be_moved
from .sensors import LIKE_VARIATION, Item, Remark, in_range, is_like_the_variation, one_by_one
from .settings import HANDBOOK, HEADING_DEVICE, SMALL_CRAFT, deviation_basis
from .variation import Variation

LARGEST, LARGEST_READ = "largest deviation", "largest deviation read"
"""Numbers of a swing: by the curve, and as read where there is no curve."""
BESIDE = "largest deviation beside the constant"
CONSTANT = "coefficient A"
TOO_LARGE = "heading_calibration.swing.too_large"
TURNED_ON_BRACKET = "heading_calibration.swing.turned_on_bracket"
TWO_DIGITS = 10.0  # an uncertain deviation from here on bears no tenths [deg]
LEAST_SCALE = 1.0  # a deviation figure reaches at least so far either way [deg]
VARIATION = "variation"
"""The part of a deviation's uncertainty that a variation adds."""
HARMONICS = 0.17  # of what goes three times round and oftener, which the curve leaves out, standard deviation [deg]
FEWEST_BACKWARDS = 4  # readings that tell a compass running backwards from one badly disturbed
RIGHT_ANGLE = 90.0  # one running backwards is off by more somewhere [deg]
ON_THE_POINT = 2.5  # a reading this near N, NE, E ... serves the sum on paper [deg]

METHOD = Basis(BasisKind.METHOD, "least squares on A + B sin z + C cos z + D sin 2z + E cos 2z", "z: compass heading")
BASIS = (HANDBOOK, METHOD)


@frozen
class SwingPoint:
    """Compass heading and the deviation found there, east positive [deg].

    row    : of the table it was typed in; "" for a recorded run
    digits : standard uncertainty by the last digits typed [deg]
    """

    compass: float
    deviation: float
    row: str = ""
    digits: float = 0.0


@frozen(kw_only=True)
class Shared:
    """What all readings share and their scatter does not show.

    constant : parts of what is off by the same on every heading, such as a variation; they go into A [deg]
    vector   : parts of what turns the course aside as a current does: by its drift angle, which follows sine and
               cosine of the heading as B and C do. They go into both, and into the deviation on any heading [deg]
    unknown  : the most a current of unknown direction may turn it [deg]
    is_alike : whether every sensor is off by about the same constant: then what they are held against is as likely off
    """

    constant: tuple[Part, ...] = ()
    vector: tuple[Part, ...] = ()
    unknown: float = 0.0
    is_alike: bool = False

    @property
    def has_variation(self) -> bool:
        """Whether a variation was applied: what is wrong with it goes into A."""
        return any(part.source == VARIATION for part in self.constant)

    @cached_property
    def open_by(self) -> float:
        """What a current leaves open in B and C, and in the deviation on any heading, at 95 % [deg]."""
        return MeasuredValue.of_parts(0.0, "deg", self.vector).expanded_uncertainty


def of_variation(variation: Variation | None) -> tuple[Part, ...]:
    """What a variation leaves open, where one was applied [deg]."""
    return (Part.of_expanded(VARIATION, variation.expanded_uncertainty),) if variation else ()


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
    """Coefficients, card and figure of one sensor. Raises NotEnoughData when neither a card nor a fault can be told.

    readings : at least eight headings round the circle [deg]
    shared   : what all readings share and their scatter does not show [deg]
    place    : step, field and sensor the readings come from, named where they are too few
    remarks  : what was seen in a recording and keeps the swing from passing
    doubts   : what the readings show to be in doubt
    numbers  : what else there is to tell
    """
    found = _judged(view, about, readings, shared, place, remarks, doubts, numbers)
    is_sensor = any(sensor.name == about for sensor in view.vessel.heading_sensors)
    return attrs.evolve(found, of=about if is_sensor else "")  # each rests on the place too, not the first alone


def swung_one_by_one(
    items: Sequence[Item], find: Callable[[Item, bool], Finding], about: Callable[[Item], str]
) -> Sequence[Finding]:
    """A finding for each sensor. Where all are off alike, each is told so.

    find : told whether all are
    """
    found = [*one_by_one(items, lambda item: find(item, False), about, BASIS)]
    return [*one_by_one(items, lambda item: find(item, True), about, BASIS)] if _are_off_alike(found) else found


def _are_off_alike(found: Sequence[Finding]) -> bool:
    """Whether each of several sensors would be turned on its bracket, and by the same: hardly ever are two mounted so.

    The two may share what they are held against, which is then what is off: a longitude of the wrong sign does it.
    """
    constants = [number.value for one in found for number in one.numbers if number.name == CONSTANT]
    return (
        len(found) > 1
        and all(one.code == TURNED_ON_BRACKET for one in found)
        and all(abs(signed_angle(one - constants[0])) <= LIKE_VARIATION for one in constants)
    )


def _judged(
    view: JobView,
    about: str,
    readings: Sequence[SwingPoint],
    shared: Shared,
    place: Mapping[str, str],
    remarks: Sequence[Remark],
    doubts: tuple[Doubt, ...],
    numbers: tuple[Number, ...],
) -> Finding:
    told = list(remarks)
    if _runs_backwards(readings, shared):
        return _turns_the_other_way(about, readings)
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
    farthest = max((abs(_from(middle, reading)) for reading in readings), default=0.0)
    _see_that_no_current_explains(view, farthest, shared, place)
    if farthest > APPROXIMATE_UP_TO:
        return _too_large(about, readings, middle, shared)
    if len(readings) >= FEWEST_HEADINGS and not _carries_a_card(readings):
        return _disturbed_without_a_card(view, about, readings, middle, shared, place)
    swing = _fitted(readings, middle, shared, place)
    step = 10 if view.setting("heading_calibration.card_step") == "10 deg" else 15
    curve = [(heading, swing.on(heading)) for heading in range(0, 360, step)]
    _, worst = _worst(curve)
    told += _advice(view, about, swing, shared)
    offset_limit, spread_limit, limit = _limits(view, swing)
    codes = [code for code, _ in told]
    good = [] if told else ["Keep the card aboard."]
    return Finding(
        code=codes[0] if codes else "heading_calibration.swing.in_order",
        verdict=Verdict.ADVISE if codes else Verdict.PASS,
        about=about,
        sentence=" ".join([_deviation_in_words(curve), *(words for _, words in told), *good]),
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
            Limit(CONSTANT, -offset_limit, offset_limit),
            Limit("scatter of the readings", high=spread_limit),
        ),
        figures=(_figure(about, readings, swing.fit, worst.expanded_uncertainty),),
        tables=(_card(about, curve), _coefficients(about, readings, swing.fit), _residuals(about, readings, swing.fit)),
        doubts=doubts,
    )


def _worst(curve: Sequence[tuple[int, MeasuredValue]]) -> tuple[int, MeasuredValue]:
    """The heading with the largest deviation, and that deviation."""
    return max(curve, key=lambda point: abs(point[1].value))


def _deviation_in_words(curve: Sequence[tuple[int, MeasuredValue]]) -> str:
    heading, worst = _worst(curve)
    half = worst.expanded_uncertainty
    if half < abs(worst.value):
        return (
            f"Deviation {with_uncertainty(worst.value, half, plus=True)} degrees at most, on {heading:03d} by compass."
        )
    # No heading's deviation is told from none: what it may be is all there is to say.
    reach = max(abs(value.value) + value.expanded_uncertainty for _, value in curve)
    return f"Deviation within ± {rounded(reach, 0 if reach >= TWO_DIGITS else 1)} degrees on every heading."


@frozen
class _Swing:
    """A fitted curve and its coefficients, with everything that makes them uncertain."""

    fit: Fit
    shared: Shared

    @cached_property
    def coefficients(self) -> tuple[MeasuredValue, ...]:
        """A to E [deg]."""
        of_all = (self.shared.constant, self.shared.vector, self.shared.vector, (), ())
        rows = zip(self.fit.coefficients, self.fit.standard_errors, of_all, strict=True)
        return tuple(
            MeasuredValue.of_parts(value, "deg", (self._scatter(error), *parts)) for value, error, parts in rows
        )

    @cached_property
    def beside_the_constant(self) -> float:
        """The largest deviation of the curve less its constant, which an offset takes out [deg]."""
        curve = (deviation_on(heading, self.fit.coefficients) for heading in range(0, 360, 5))
        return max(abs(deviation - self.fit.coefficients.a) for deviation in curve)

    def on(self, heading: float) -> MeasuredValue:
        """Deviation by the curve on a heading [deg]."""
        return MeasuredValue.of_parts(
            signed_angle(deviation_on(heading, self.fit.coefficients)),
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
    fit = in_range(lambda: fit_deviation(headings, deviations, digits), Lack.TOO_LITTLE, **place)
    constant = signed_angle(fit.coefficients.a)
    return _Swing(attrs.evolve(fit, coefficients=fit.coefficients._replace(a=constant)), shared)


def _odd(view: JobView, readings: Sequence[SwingPoint]) -> list[SwingPoint]:
    """The reading the others contradict, or those of which one is."""
    limit = view.setting_value("heading_calibration.spread_limit", "deg")
    centre = sorted(readings, key=lambda one: one.deviation)[len(readings) // 2].deviation if readings else 0.0
    deviations = [signed_angle(reading.deviation - centre) for reading in readings]
    return [readings[number] for number in odd_readings([one.compass for one in readings], deviations, limit)]


def _off_the_curve(readings: Sequence[SwingPoint], odd: Sequence[SwingPoint]) -> str:
    """What to say of a reading the others contradict, or of those of which one is."""
    called = [f"{row_in_words(one.row) or 'the run'} on {rounded(one.compass):0>3} by compass" for one in odd]
    if len(odd) > 1:
        return f"One of {', '.join(called)} does not fit the others: read these again."
    others = [reading for reading in readings if reading is not odd[0]]
    fitted = least_squares([model_terms(one.compass) for one in others], [_near(odd[0], one) for one in others])
    by_others = math.fsum(a * b for a, b in zip(fitted.solution, model_terms(odd[0].compass), strict=True))
    off = signed_angle(odd[0].deviation - by_others)
    again = "read it again, or see what was typed" if odd[0].row else "run it again"
    return (
        f"{called[0][:1].upper()}{called[0][1:]} is {rounded(off, 0, '+z')} degrees off what the {len(others)} others "
        f"say: {again}."
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
        words = f"Readings scatter by {rounded(swing.fit.scatter, 1)} degrees: take them again in calmer water."
        yield ("heading_calibration.swing.scattered", words)
    disturbed = swing.beside_the_constant - shared.open_by > limit
    too_close = swing.beside_the_constant > limit and not disturbed
    if disturbed:
        words = "Find and move what disturbs the sensor, then swing again."
        yield ("heading_calibration.swing.disturbed", words)
    if abs(offset) > offset_limit:
        yield _enter_offset(view, offset, abs(offset) > limit and not disturbed, shared)
    if to_be_moved(view, about):
        words = "The sensor is still to be moved or mounted anew: swing again after that, this card will not hold."
        yield ("heading_calibration.swing.before_a_move", words)
    if too_close:
        words = (
            f"Too close to call: {in_full(limit)} is the limit, and the current leaves "
            f"{rounded(shared.open_by, 1)} degrees "
            "open. "
        )
        words += "Swing in slack water."
        yield ("heading_calibration.swing.too_close_to_call", words)
    elif shared.unknown > view.setting_value("heading_calibration.offset_limit", "deg"):
        words = f"The current leaves B and C open by {rounded(shared.open_by, 1)} degrees."
        yield ("heading_calibration.swing.current_unknown", words)


def _enter_offset(view: JobView, offset: float, turned: bool, shared: Shared) -> Remark:
    """A constant alone is no iron: the sensor is turned on its bracket, or true was taken for magnetic."""
    enter = f"enter an offset of {rounded(offset, 1, '+z')} degrees if the sensor adds its offset."
    if shared.has_variation and is_recorded_elsewhere(view):
        words = (
            "The constant may be the variation's: put the place right before you turn the sensor or enter an offset."
        )
        return ("heading_calibration.swing.place_in_doubt", words)
    if shared.has_variation and is_what_the_network_differs_by(view, offset):
        words = "The boat's network and the place differ in variation by this constant: see first which is wrong."
        return ("heading_calibration.swing.variation_in_doubt", words)
    if is_like_the_variation(view, offset):
        words = "The constant is about the variation: see whether sensor or reference shows true and not magnetic."
        return ("heading_calibration.swing.like_variation", words)
    if shared.is_alike:
        words = "Every sensor is off by about this constant: see place, date and reference before you turn any of them."
        return ("heading_calibration.swing.all_alike", words)
    if turned:
        words = f"It is off alike on every heading: turned on its bracket. Turn it, or {enter}"
        return (TURNED_ON_BRACKET, words)
    return ("heading_calibration.swing.enter_offset", f"{enter[:1].upper()}{enter[1:]}")


def _see_that_no_current_explains(view: JobView, farthest: float, shared: Shared, place: Mapping[str, str]) -> None:
    """Raises NotEnoughData where a current of unknown set can by itself make a deviation that would be looked into."""
    limit = view.setting_value("heading_calibration.deviation_limit", "deg")
    if not (shared.unknown and limit < farthest <= shared.open_by):
        return
    text = (
        f"readings are up to {rounded(farthest)} degrees off their middle, and a current could explain all of it; give "
        "its set and drift, or swing in slack water"
    )
    raise NotEnoughData(text, lack=Lack.UNSUITABLE, step=place["step"], field="current_sets_towards")


def _runs_backwards(readings: Sequence[SwingPoint], shared: Shared) -> bool:
    """Whether the compass goes down as the bow goes up: then not their difference but their sum is one all round."""
    if len(readings) < FEWEST_BACKWARDS:
        return False
    sums = [2 * reading.compass + reading.deviation for reading in readings]
    try:
        centre = mean_direction(sums)
    except ValueError:
        return False
    alike = max(abs(signed_angle(one - centre)) for one in sums) <= APPROXIMATE_UP_TO + shared.open_by
    middle = _middle(readings)
    return alike and max(abs(_from(middle, reading)) for reading in readings) > RIGHT_ANGLE


def _turns_the_other_way(about: str, readings: Sequence[SwingPoint]) -> Finding:
    middle = _middle(readings)
    worst = max(readings, key=lambda reading: abs(_from(middle, reading)))
    return Finding(
        code="heading_calibration.swing.turns_the_other_way",
        verdict=Verdict.FAIL,
        about=about,
        sentence=(
            "The compass turns the other way than the boat: the sensor is upside down, or its sign is reversed. "
            "Put it right, then swing again."
        ),
        basis=(HANDBOOK, SMALL_CRAFT),
        numbers=(Number(LARGEST_READ, worst.deviation, "deg"), Number(BESIDE, abs(_from(middle, worst)), "deg")),
        limits=(Limit(BESIDE, high=APPROXIMATE_UP_TO),),
    )


def _too_large(about: str, readings: Sequence[SwingPoint], middle: float, shared: Shared) -> Finding:
    """More deviation than five coefficients can tell; a fault where it is as much less what a current leaves open."""
    worst = max(readings, key=lambda reading: abs(_from(middle, reading)))
    surely = abs(_from(middle, worst)) - shared.open_by > APPROXIMATE_UP_TO
    cause = "Find and move the cause, then swing again"
    if not surely:
        cause = f"The current may make {rounded(shared.open_by)} degrees of it: swing again in slack water"
    return Finding(
        code=TOO_LARGE if surely else "heading_calibration.swing.too_large_open",
        verdict=Verdict.FAIL if surely else Verdict.ADVISE,
        about=about,
        sentence=(
            f"Deviation {rounded(worst.deviation, 1, '+z')} degrees on {rounded(worst.compass):0>3} by compass. "
            f"{cause}: above {in_full(APPROXIMATE_UP_TO)} degrees five coefficients are not good enough for a card."
        ),
        basis=(HANDBOOK, SMALL_CRAFT),
        numbers=(Number(LARGEST_READ, worst.deviation, "deg"), Number(BESIDE, abs(_from(middle, worst)), "deg")),
        limits=(Limit(BESIDE, high=APPROXIMATE_UP_TO),),
    )


def _disturbed_without_a_card(
    view: JobView,
    about: str,
    readings: Sequence[SwingPoint],
    middle: float,
    shared: Shared,
    place: Mapping[str, str],
) -> Finding:
    """Readings that leave a gap and carry no card, and yet show a deviation that has to be looked into.

    A compass far off goes unevenly round while the bow goes evenly: the gap is its fault. Raises NotEnoughData where
    no deviation is surely above the limit.
    """
    limit = view.setting_value("heading_calibration.deviation_limit", "deg")
    worst = max(readings, key=lambda reading: abs(_from(middle, reading)))
    beside = abs(_from(middle, worst))
    gap = widest_gap([reading.compass for reading in readings])
    if beside - shared.open_by <= limit or gap <= WIDEST_GAP:
        _fitted(readings, middle, shared, place)  # raises: it says what the readings lack
    return Finding(
        code="heading_calibration.swing.disturbed_without_card",
        verdict=Verdict.ADVISE,
        about=about,
        sentence=(
            f"Deviation {rounded(worst.deviation, 1, '+z')} degrees on {rounded(worst.compass):0>3} by compass. Find "
            f"and move what disturbs the sensor, then swing again. No card: {rounded_beside(gap, [WIDEST_GAP])} "
            f"degrees between neighbouring headings, at most {in_full(WIDEST_GAP)} wanted."
        ),
        basis=(HANDBOOK, deviation_basis(limit)),
        numbers=(Number(LARGEST_READ, worst.deviation, "deg"), Number(BESIDE, beside, "deg")),
        limits=(Limit(BESIDE, high=limit),),
    )


def _card(about: str, curve: Sequence[tuple[int, MeasuredValue]]) -> Table:
    rows = []
    for heading, deviation in curve:
        magnetic = f"{rounded(compass_angle(round(heading + deviation.value, 1)), 1):0>5}"
        rows.append(
            (f"{heading:03d}", rounded(deviation.value, 1, "+z"), rounded(deviation.expanded_uncertainty, 1), magnetic)
        )
    headings = ("Compass [deg]", "Deviation, east + [deg]", "± [deg]", "Magnetic [deg]")
    return Table(f"Deviation card: {about}", headings, tuple(rows), card=True)


def _coefficients(about: str, readings: Sequence[SwingPoint], fit: Fit) -> Table:
    paper = _on_paper(readings)
    rows = tuple(
        (name, rounded(value, 2, "+z"), rounded(error, 2), rounded(paper[index], 2, "+z") if paper else "-")
        for index, (name, value, error) in enumerate(zip("ABCDE", fit.coefficients, fit.standard_errors, strict=True))
    )
    headings = ("Coefficient", "Least squares [deg]", "Standard error [deg]", "On paper [deg]")
    return Table(f"Coefficients: {about} (Student's t {rounded(student_t(fit.freedom), 2)})", headings, rows)


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
        (f"{rounded(reading.compass, 1):0>5}", rounded(reading.deviation, 1, "+z"), rounded(residual, 2, "+z"))
        for reading, residual in pairs
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
