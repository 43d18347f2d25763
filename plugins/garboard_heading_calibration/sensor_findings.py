"""Findings about where sensors sit, how they compare, what a raw magnetometer shows, and the variation."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

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
    with_uncertainty,
)
from garboard.job_view import JobView
from garboard.records import HeadingSensor
from garboard.samples import Recording, Stream
from garboard.series import compass_angle, mean, signed_angle
from garboard.uncertainty import MeasuredValue, Part

from .comparison import Comparison, compare_headings
from .deviation import APPROXIMATE_UP_TO
from .ellipse import Ellipse, fit_ellipse
from .mixed import Sound, mixed_words, sound, two_senders, without
from .rates import finite_only
from .sensors import (
    DATES_APART,
    LIKE_VARIATION,
    Remark,
    aside,
    day_of,
    is_like_the_variation,
    is_true,
    longest,
    name_of,
    one_by_one,
    receivers_apart,
    recorded_on,
    recordings,
    see_that_it_lives,
    sensors_of,
    standstills,
    unheard,
    variation_here,
)
from .settings import AS_ITS_MAKER_ASKS, CLEARANCE, HEADING_DEVICE, clearance_basis
from .steps import CLEARANCES, COMPARISON, LOCATION, MAGNETOMETER, PLACE
from .variation import CAUTION_BELOW, Variation

LOCATION_BASIS = (CLEARANCE,)
VARIATION_BASIS = (
    Basis(
        BasisKind.STANDARD,
        "World Magnetic Model 2020 and 2025, NOAA NCEI and British Geological Survey, with their error models",
        "the standard error times 1.96; iron in the sea bed and ashore is not in the model",
    ),
)
ENTERED_WRONG = Basis(
    BasisKind.COMMON_PRACTICE,
    "recordings are made within a degree of the place entered, and the job within half a year of the date",
    "beyond it see what was typed; the variation itself changes little",
)
COMPARISON_BASIS = (
    HEADING_DEVICE,
    Basis(
        BasisKind.METHOD, "mean of the differences at the same time; Student's t on means of four or six blocks of time"
    ),
)
MAGNETOMETER_BASIS = (
    Basis(
        BasisKind.METHOD,
        "ellipse by direct least squares: Fitzgibbon, Pilu, Fisher (1999); Halir, Flusser (1998)",
        "centre: hard iron; shape: soft iron",
    ),
)
COURSE = "course over ground"
SAME_PLACE = 1.0  # a recording made farther off than this was made elsewhere [deg of latitude]
SENT_WITHIN = 1.0  # instruments carry models of other years, and whole degrees [deg]
ALL_ROUND = 300.0  # a difference seen on so many degrees holds all round [deg]
COMPARED = {"step": COMPARISON, "field": "comparison_recording"}
TURNED = {"step": MAGNETOMETER, "field": "magnetometer_recording"}
"""Places of the two recordings."""


# --- where the sensors sit


def compute_location(view: JobView) -> Iterable[Finding]:
    """Clearances and checks, sensor by sensor."""
    return one_by_one(sensors_of(view), lambda sensor: _location(view, sensor), lambda it: it.name, LOCATION_BASIS)


def to_be_moved(view: JobView, sensor: str) -> bool:
    """Whether a sensor has still to be moved or mounted anew, as far as its place was looked at."""
    known = [one for one in view.vessel.heading_sensors if one.name == sensor]
    try:
        return any(_location(view, one).verdict is not Verdict.PASS for one in known)
    except NotEnoughData:
        return False


def _location(view: JobView, sensor: HeadingSensor) -> Finding:
    asking = view.asking()
    distances = {what: asking.amount(LOCATION, field, "m", of=sensor.name) for field, what in CLEARANCES.items()}
    steady = asking.yes(LOCATION, "steady_when_switched", of=sensor.name)
    mounted = asking.yes(LOCATION, "mounted_as_told", of=sensor.name)
    fields = {what: field for field, what in CLEARANCES.items()}
    for what, metres in distances.items():
        where = {"step": LOCATION, "field": fields[what], "of": sensor.name}
        asking.need(not metres < 0, f"distance to {what} is below zero", lack=Lack.OUT_OF_RANGE, **where)
    asking.check()
    clearance = view.setting_value("heading_calibration.clearance", "m")
    close = [
        f"{what} at {rounded_beside(metres, [clearance], 2)} m"
        for what, metres in distances.items()
        if metres < clearance
    ]
    nearest = min(distances.values())
    told = []
    if not steady:
        told.append(
            "The heading moves when a load is switched: part the sensor from that load's cable, or twist the pair."
        )
    if close:
        told.append(f"Move the sensor, or ask its maker: {', '.join(close)}; {in_full(clearance)} m wanted.")
    if not mounted:
        told.append("Mount it level, firm and pointing as its maker asks.")
    verdict = Verdict.FAIL if not (steady and mounted) else Verdict.ADVISE if close else Verdict.PASS
    told_nearest = rounded_beside(nearest, [clearance], 2, may_touch=nearest >= clearance)
    result = f"{told_nearest} m to the nearest disturber."
    kept = f"{result} Every clearance is kept"
    code = "heading_calibration.location.clear"
    if close:
        code = "heading_calibration.location.too_close"
    if not mounted:
        code = "heading_calibration.location.badly_mounted"
    if not steady:
        code = "heading_calibration.location.moved_by_load"
    return Finding(
        code=code,
        verdict=verdict,
        about=sensor.name,
        of=sensor.name,
        sentence=" ".join([result, *told]) if told else f"{kept}: go on to the turn.",
        short="" if told else f"{kept}.",
        basis=(clearance_basis(clearance), AS_ITS_MAKER_ASKS),
        numbers=(Number("nearest disturber", nearest, "m", decimals=2),),
        limits=(Limit("nearest disturber", low=clearance),) if close or (steady and mounted) else (),
    )


# --- variation


def compute_variation(view: JobView) -> Iterable[Finding]:
    """Variation at the job's place and date, beside where the recordings were made and what the boat's network says."""
    here = view.once(variation_here)
    faint = here.field.horizontal < CAUTION_BELOW
    way = "east" if here.east >= 0 else "west"
    result = (
        f"{with_uncertainty(here.east, here.expanded_uncertainty, plus=True)} degrees ({way}) {here.place_in_words}, "
        f"changing {rounded(here.a_year, 2, '+z')} degrees a year, by {here.field.model}."
    )
    told: list[Remark] = []
    made = tuple(recordings(view))
    elsewhere = _elsewhere(here, made)
    if elsewhere:
        told.append(("heading_calibration.variation.recorded_elsewhere", f"{elsewhere} See what was typed."))
    if faint:
        words = (
            f"The horizontal field is only {rounded(here.field.horizontal)} nT: trust no magnetic sensor without "
            "another check."
        )
        told.append(("heading_calibration.variation.faint_field", words))
    told += () if elsewhere else _sent_otherwise(here, made)
    dated = _dated_otherwise(view, here, made)
    if dated:
        told.append(("heading_calibration.variation.dated_otherwise", f"{dated} See what was typed."))
    code = told[0][0] if told else "heading_calibration.variation.known"
    doubts = [Doubt(elsewhere, step=PLACE, field=field) for field in ("latitude", "longitude") if elsewhere]
    doubts += [Doubt(dated, step=PLACE, field="date")] if dated else []
    return (
        Finding(
            code=code,
            verdict=Verdict.ADVISE if told else Verdict.PASS,
            about="variation",
            sentence=" ".join([result, *([words for _, words in told] or ["Compare it with the chart's."])]),
            basis=(*VARIATION_BASIS, *([ENTERED_WRONG] if doubts else [])),
            numbers=(
                Number("variation, east positive", here.east, "deg", here.expanded_uncertainty),
                Number("change in a year", here.a_year, "deg", decimals=2),
                Number("latitude, north positive", here.latitude, "deg", decimals=2),
                Number("longitude, east positive", here.longitude, "deg", decimals=2),
                Number("horizontal field", here.field.horizontal / 1000, "uT"),
            ),
            limits=(Limit("horizontal field", low=CAUTION_BELOW / 1000),),
            doubts=tuple(doubts),
        ),
    )


def is_recorded_elsewhere(view: JobView) -> bool:
    """Whether a recording was made at another place than the one entered for the variation."""
    return bool(_elsewhere(view.once(variation_here), recordings(aside(view))))


def _elsewhere(here: Variation, made: Iterable[Recording]) -> str:
    """What to say of a recording made at another place than was entered; "" where none was."""
    for recording in made:
        north, east = (_median(recording, quantity) for quantity in ("latitude", "longitude"))
        if north is None or east is None:
            continue
        off_east = signed_angle(east - here.longitude) * math.cos(math.radians(north))
        if math.hypot(north - here.latitude, off_east) > SAME_PLACE:
            where = f"{rounded(abs(north), 2)} {'NS'[north < 0]} {rounded(abs(east), 2)} {'EW'[east < 0]}"
            return f"{recording.name} was recorded at {where}, not at the place entered."
    return ""


def is_what_the_network_differs_by(view: JobView, offset: float) -> bool:
    """Whether a constant is just what the variation sent on the boat's network is more than that of the place [deg]."""
    here = view.once(variation_here)
    sent = (east for one in recordings(aside(view)) if (east := _median(one, "variation")) is not None)
    more = next((signed_angle(east - here.east) for east in sent), 0.0)
    differs = abs(more) > here.expanded_uncertainty + SENT_WITHIN
    return differs and abs(signed_angle(offset - more)) <= LIKE_VARIATION


def _dated_otherwise(view: JobView, here: Variation, made: Iterable[Recording]) -> str:
    """What to say of a typed date that neither the recordings nor the job bear out; "" where one of them does."""
    if view.value(PLACE, "date") is None:
        return ""
    known = {f"{one.name} is dated": day for one in made if (day := recorded_on(one))}
    entered = view.find(PLACE, "latitude")
    written = {"the job was opened on": view.job.opened, "the place was entered on": entered.at if entered else ""}
    known |= {what: day for what, text in written.items() if (day := day_of(text))}
    if not known or any(abs(day - here.date) <= DATES_APART for day in known.values()):
        return ""
    return f"The date entered is {here.date}; {', '.join(f'{what} {day}' for what, day in known.items())}."


def _median(recording: Recording, quantity: str) -> float | None:
    stream = longest(recording.of(quantity))
    values = sorted(finite_only(stream).values) if stream is not None else []
    return values[len(values) // 2] if values else None


def _sent_otherwise(here: Variation, made: Iterable[Recording]) -> Iterable[Remark]:
    """A variation on the boat's own network that is not that of the place: its instruments show true headings by it."""
    for recording in made:
        sent = _median(recording, "variation")
        if sent is not None and abs(signed_angle(sent - here.east)) > here.expanded_uncertainty + SENT_WITHIN:
            words = (
                f"The boat's network takes it for {rounded(sent, 1, '+z')} in {recording.name}: see its plotter's "
                "setting and date."
            )
            yield ("heading_calibration.variation.sent_otherwise", words)
            return


# --- comparison


def compute_comparison(view: JobView) -> Iterable[Finding]:
    """Every source of heading against the trusted one; a lone source against the course over ground."""
    asking = view.asking()
    recording = asking.recording(COMPARISON, "comparison_recording")
    asking.settled(COMPARISON, "trusted_source")
    asking.check()
    heard = sound(recording)
    headings = longest_of_each(heard.recording, heard)
    unsound = sorted(source for source in heard.senders if heard.has_two_senders(source))
    if not headings and not unsound:
        text = "the recording holds no heading; see that the sensors are sending"
        raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, **COMPARED)
    course = longest(heard.recording.of("course_over_ground"))
    trusted = _trusted(view, headings, course) if headings else None
    silent = unheard(view, {*headings, *unsound})

    def of_source(source: str) -> Finding:
        if source in silent:
            raise NotEnoughData(silent[source])
        if source in unsound or trusted is None:
            raise NotEnoughData(two_senders(name_of(view, source), COMPARED))
        return _comparison(view, heard, headings[source], trusted)

    others = [source for source in sorted(headings) if headings[source] is not trusted]
    return one_by_one([*others, *unsound, *silent], of_source, lambda source: name_of(view, source), COMPARISON_BASIS)


def longest_of_each(recording: Recording, heard: Sound) -> dict[str, Stream]:
    """The longest heading of each source that one sensor alone sends under."""
    longest_last = reversed(recording.of("heading"))
    return {one.key.source: one for one in longest_last if not heard.has_two_senders(one.key.source)}


def _trusted(view: JobView, headings: dict[str, Stream], course: Stream | None) -> Stream:
    wanted = str(view.value(COMPARISON, "trusted_source") or "").strip()
    if wanted and wanted != COURSE:
        named = [source for sensor in view.vessel.heading_sensors if sensor.name == wanted for source in sensor.sources]
        source = next((source for source in named if source in headings), next(iter(named), wanted))
        if source not in headings:
            there = ", ".join(sorted(headings))
            text = f"source {wanted!r} sends no heading in the recording; choose one of {there}"
            raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, step=COMPARISON, field="trusted_source")
        if len(headings) > 1:
            return headings[source]
    if wanted == COURSE or len(headings) == 1:
        if course is None:
            text = "the recording holds one heading and no course over ground; record another to compare"
            raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, **COMPARED)
        return course
    first = (source for sensor in view.vessel.heading_sensors for source in sensor.sources if source in headings)
    return headings[next(first, max(headings, key=lambda source: len(headings[source])))]


def _comparison(view: JobView, heard: Sound, heading: Stream, trusted: Stream) -> Finding:
    recording = heard.recording
    for stream, beside in ((heading, trusted), (trusted, heading)):
        see_that_it_lives(stream, name_of(view, stream.key.source), COMPARED, beside=beside)
    still = [(stream, standstills(stream, beside)) for stream, beside in ((heading, trusted), (trusted, heading))]
    windows = [window for _, each in still for window in each]
    shift, shift_within = (0.0, 0.0)
    if is_true(heading) != is_true(trusted):
        east, shift_within = _variation(view, recording)
        shift = east if is_true(trusted) else -east
    shifted = Stream(heading.key, heading.times, tuple(compass_angle(value + shift) for value in heading.values))
    remarks = [*_standing_still(view, still), *_mixed(heard)]
    if trusted.key.quantity == "course_over_ground":
        remarks += receivers_apart(recording)
    try:
        found = compare_headings(without(shifted, windows), without(trusted, windows))
    except ValueError as outside:
        told = " ".join(words for _, words in remarks)
        lack = Lack.CONTRADICTS if windows else Lack.TOO_LITTLE
        raise NotEnoughData(f"{told} {outside}".strip(), lack=lack, **COMPARED) from None
    about, other = name_of(view, heading.key.source), _name(view, trusted)
    if found.is_one_sensor:
        text = (
            f"{about} and {other} show the same to the last digit: one sensor is heard twice. Record the other one too"
        )
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, **COMPARED)
    return comparison_finding(view, about, other, found, shift_within, remarks)


def _standing_still(view: JobView, still: Iterable[tuple[Stream, Sequence[tuple[float, float]]]]) -> Iterable[Remark]:
    for stream, windows in still:
        seconds = sum(end - start for start, end in windows)
        if windows:
            what = COURSE if stream.key.quantity == "course_over_ground" else name_of(view, stream.key.source)
            words = f"{what} stood still for {rounded(seconds)} s: see whether it freezes. That part is left out."
            yield ("heading_calibration.comparison.stood_still", words[:1].upper() + words[1:])


def _mixed(heard: Sound) -> Iterable[Remark]:
    if heard.clock:
        yield ("heading_calibration.comparison.clocks_mixed", mixed_words(heard))


def _name(view: JobView, trusted: Stream) -> str:
    return COURSE if trusted.key.quantity == "course_over_ground" else name_of(view, trusted.key.source)


def _variation(view: JobView, recording: Recording) -> tuple[float, float]:
    """Variation and its expanded uncertainty: of the job's place, or what the boat's own network sends."""
    try:
        here = view.once(variation_here)
    except NotEnoughData:
        sent = longest(recording.of("variation"))
        if sent is None:
            raise
        return mean(sent.values), 0.0
    return here.east, here.expanded_uncertainty


def comparison_finding(
    view: JobView,
    about: str,
    trusted: str,
    found: Comparison,
    shift_within: float = 0.0,
    remarks: Sequence[Remark] = (),
) -> Finding:
    """The finding about one source against the trusted one.

    about, trusted : what to call them
    found          : the comparison [deg]
    shift_within   : expanded uncertainty of a variation applied between them [deg]
    remarks        : what was seen in the recording and keeps it from passing
    """
    difference = found.mean_difference
    if shift_within:
        parts = (*difference.parts, Part.of_expanded("variation", shift_within))
        difference = MeasuredValue.of_parts(difference.value, "deg", parts)
    half_width = difference.expanded_uncertainty
    told = list(remarks)
    offset_limit = max(view.setting_value("heading_calibration.offset_limit", "deg"), half_width)
    spread_limit = view.setting_value("heading_calibration.spread_limit", "deg")
    if abs(found.difference) > offset_limit:
        told.append(_off(view, trusted, found))
    if found.standard_deviation > spread_limit:
        words = (
            f"The difference spreads by {rounded(found.standard_deviation, 1)} degrees: record again on a straight run."
        )
        told.append(("heading_calibration.comparison.rough", words))
    more = "more" if found.difference >= 0 else "less"
    seen = f" {_seen(found.headings)}" if found.headings else ""
    result = f"Heading {with_uncertainty(abs(found.difference), half_width)} degrees {more} than {trusted}{seen}."
    offset: tuple[Number, ...] = ()
    if trusted != COURSE:
        offset = (Number.of("offset to enter", attrs.evolve(difference, value=found.offset_to_enter)),)
    return Finding(
        code=told[0][0] if told else "heading_calibration.comparison.agree",
        verdict=Verdict.ADVISE if told else Verdict.PASS,
        about=about,
        sentence=" ".join([result, *(words for _, words in told)]) if told else f"{result} No offset to enter.",
        short="" if told else result,
        basis=COMPARISON_BASIS,
        numbers=(
            Number.of("mean difference", difference),
            Number("spread of the difference", found.standard_deviation, "deg"),
            *offset,
            Number("compared over", found.seconds, "s", decimals=0),
        ),
        limits=(
            Limit("mean difference", -offset_limit, offset_limit),
            Limit("spread of the difference", high=spread_limit),
        ),
    )


def _off(view: JobView, trusted: str, found: Comparison) -> Remark:
    """What to do about a difference. A large one is no deviation: the sensor is turned on its bracket."""
    enter = f"enter an offset of {rounded(found.offset_to_enter, 1, '+z')} degrees if the sensor adds its offset."
    if is_like_the_variation(view, found.difference):
        words = "That is about the variation: see whether one of the two shows true and says magnetic."
        return ("heading_calibration.comparison.like_variation", words)
    if abs(found.difference) > APPROXIMATE_UP_TO:
        turn = "The sensor is turned on its bracket"
        words = f"{turn}: turn it, then compare again." if trusted == COURSE else f"{turn}: turn it, or {enter}"
        return ("heading_calibration.comparison.turned_on_bracket", words)
    words = f"{enter[:1].upper()}{enter[1:]}"
    if trusted == COURSE:
        words = "Run the same line back: what stays is the sensor's, what changes sign is current and wind."
    return ("heading_calibration.comparison.off", words)


def _seen(headings: tuple[float, float]) -> str:
    """The headings a difference was seen on; it holds on no others."""
    low, high = headings
    if high - low >= ALL_ROUND:
        return "on average all round"
    first, last = (f"{rounded(compass_angle(one)):0>3}" for one in headings)
    return f"on heading {first}" if first == last else f"on headings {first} to {last}"


# --- raw magnetometer


def compute_magnetometer(view: JobView) -> Iterable[Finding]:
    """Hard and soft iron from raw magnetometer points, source by source."""
    asking = view.asking()
    recording = asking.recording(MAGNETOMETER, "magnetometer_recording")
    asking.check()
    x_of = {stream.key.source: stream for stream in recording.of("magnetic_x")}
    y_of = {stream.key.source: stream for stream in recording.of("magnetic_y")}
    shared = sorted(set(x_of) & set(y_of))
    pairs = [(source, x_of[source], y_of[source]) for source in shared]
    if not pairs and len(x_of) == len(y_of) == 1:  # a table whose two columns carry names of their own
        pairs = [(source, x_of[source], y) for source in x_of for y in y_of.values()]
    if not pairs:
        text = "the recording needs both magnetic_x and magnetic_y from one sensor"
        raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, **TURNED)
    return one_by_one(
        pairs,
        lambda pair: _magnetometer(view, name_of(view, pair[0]), pair[1], pair[2]),
        lambda pair: name_of(view, pair[0]),
        MAGNETOMETER_BASIS,
    )


def _magnetometer(view: JobView, about: str, x: Stream, y: Stream) -> Finding:
    y_at = dict(y)
    points = [(value, y_at[time]) for time, value in x if time in y_at]
    try:
        ellipse = fit_ellipse([x for x, _ in points], [y for _, y in points])
    except ValueError as outside:
        raise NotEnoughData(str(outside), lack=Lack.TOO_LITTLE, **TURNED) from None
    return magnetometer_finding(view, about, ellipse, points)


def magnetometer_finding(view: JobView, about: str, ellipse: Ellipse, points: Sequence[tuple[float, float]]) -> Finding:
    """The finding about one magnetometer's circle.

    ellipse : fitted [uT]
    points  : x and y it was fitted to, for the figure [uT]
    Raises NotEnoughData when the points leave too wide a gap round the circle.
    """
    widest = view.setting_value("heading_calibration.widest_gap", "deg")
    if ellipse.gap > widest:
        raise NotEnoughData(
            f"points leave {rounded_beside(ellipse.gap, [widest])} degrees of the circle open, {in_full(widest)} "
            f"at most; "
            "turn the full circle",
            lack=Lack.TOO_LITTLE,
            **TURNED,
        )
    residual, strength = 100 * ellipse.residual / ellipse.radius, 100 * ellipse.hard_iron / ellipse.radius
    told = []
    code = "heading_calibration.magnetometer.correctable"
    residual_limit = view.setting_value("heading_calibration.residual_limit", "%")
    iron_limit = view.setting_value("heading_calibration.hard_iron_limit", "%")
    if residual > residual_limit:
        code = "heading_calibration.magnetometer.scattered"
        told.append("Points scatter: turn again in calm water, away from other boats and steel docks.")
    if strength > iron_limit:
        code = "heading_calibration.magnetometer.too_much_iron"
        told.append("Move the sensor: the boat's iron is stronger there than the earth's field.")
    doubt = ellipse.centre_expanded_uncertainty
    good = [] if told else ["The sensor's own calibration can take this out."]
    return Finding(
        code=code,
        verdict=Verdict.ADVISE if told else Verdict.PASS,
        about=about,
        sentence=" ".join(
            [
                f"Hard iron {rounded(ellipse.hard_iron, 1)} uT, {rounded(strength)} % of the circle; residual "
                f"{rounded(residual, 1)} %; widest gap {rounded(ellipse.gap)} degrees.",
                *told,
                *good,
            ]
        ),
        basis=MAGNETOMETER_BASIS,
        numbers=(
            Number("hard iron x, forward", ellipse.centre_x, "uT", doubt, decimals=2),
            Number("hard iron y, starboard", ellipse.centre_y, "uT", doubt, decimals=2),
            Number("radius of the circle", ellipse.radius, "uT", decimals=2),
            Number("soft iron, long by short axis", ellipse.long / ellipse.short, decimals=3),
            Number("residual", residual, "%"),
            Number("widest gap", ellipse.gap, "deg", decimals=0),
            Number("hard iron by the circle's radius", strength, "%", decimals=0),
        ),
        limits=(
            Limit("residual", high=residual_limit),
            Limit("hard iron by the circle's radius", high=iron_limit),
            Limit("widest gap", high=widest),
        ),
        figures=(_circle(about, ellipse, points),),
        tables=(
            Table(
                f"Soft iron matrix: {about}",
                ("", "x", "y"),
                tuple((name, *(rounded(v, 4) for v in row)) for name, row in zip("xy", ellipse.soft_iron, strict=True)),
            ),
        ),
    )


def _circle(about: str, ellipse: Ellipse, points: Sequence[tuple[float, float]]) -> Figure:
    shown = points[:: max(1, len(points) // 300)]
    outline = [ellipse.point_at(float(angle)) for angle in range(0, 361, 5)]
    return Figure(
        title=f"Magnetometer circle of {about}",
        x=Axis("x, forward", "uT"),
        y=Axis("y, starboard", "uT"),
        series=(
            Series("fitted", tuple(x for x, _ in outline), tuple(y for _, y in outline), markers=False),
            Series("read", tuple(x for x, _ in shown), tuple(y for _, y in shown), line=False),
        ),
        equal_scales=True,
    )
