"""Invented vessels, jobs and recordings for the tests of heading calibration."""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence

import garboard_heading_calibration
from builders import findings_of, job_view
from garboard.findings import Finding, Number
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey, JobView
from garboard.records import HeadingSensor, JsonValue, Vessel
from garboard.samples import Recording, Sample, gather

NAME = "heading_calibration"
HOST = make_host((), entry_points=False, modules={"garboard_heading_calibration": garboard_heading_calibration})

HELM = HeadingSensor(name="helm compass", source="7")
MAST = HeadingSensor(name="mast sensor", source="9")

PLACE: Mapping[FieldKey, JsonValue] = {
    (f"{NAME}.place", "latitude", "", ""): "40.0 deg",
    (f"{NAME}.place", "longitude", "", ""): "-70.0 deg",
    (f"{NAME}.place", "date", "", ""): "2026-11-25",
}


def vessel(*sensors: HeadingSensor) -> Vessel:
    return Vessel(hull_number="XYZ00001A626", heading_sensors=sensors or (HELM,))


def job(
    values: Mapping[FieldKey, JsonValue],
    *sensors: HeadingSensor,
    recordings: Mapping[str, Recording] | None = None,
    disagreements: Iterable[FieldKey] = (),
    settings: Mapping[str, JsonValue] | None = None,
) -> JobView:
    """A job on a vessel with heading sensors, every setting at its default unless given."""
    named = {f"{NAME}.{key}": value for key, value in (settings or {}).items()}
    view = job_view(vessel(*sensors), values, recordings=recordings, disagreements=disagreements, settings=named)
    return HOST.with_defaults(view)


def findings(view: JobView, calculator: str) -> list[Finding]:
    return findings_of(HOST, view, f"{NAME}.{calculator}")


def number(finding: Finding, name: str) -> Number:
    return next(number for number in finding.numbers if number.name == name)


def samples(
    quantity: str, value_at: Callable[[float], float], seconds: float, *, every: float = 0.1, **which: str
) -> list[Sample]:
    count = round(seconds / every)
    return [Sample(i * every, quantity, value_at(i * every), **which) for i in range(count + 1)]


def turn(
    rate: float | Callable[[float], float],
    seconds: float,
    *,
    source: str = "7",
    course: bool = True,
    as_heading: bool = False,
    speed: float = 5.0,
    course_scale: float = 1.0,
) -> Recording:
    """A recording of a turn that begins and ends turning; its course over ground follows the rate."""
    rate_at = rate if callable(rate) else lambda _time: rate
    every = 0.1
    angle, angles = 0.0, []
    for i in range(round(seconds / every) + 1):
        angles.append(angle)
        angle += every * (rate_at(i * every) + rate_at((i + 1) * every)) / 2
    made = []
    for i, turned in enumerate(angles):
        time = i * every
        if as_heading:
            made.append(Sample(time, "heading", (80 + turned) % 360, source, "", "magnetic"))
        else:
            made.append(Sample(time, "rate_of_turn", rate_at(time), source))
        if course:
            made.append(Sample(time, "course_over_ground", (75 + course_scale * turned) % 360, "3", "", "true"))
            made.append(Sample(time, "speed_over_ground", speed, "3"))
    return gather("turn", made)


def straight_runs(
    headings: Sequence[float],
    deviation_at: Callable[[float], float],
    *,
    variation: float,
    drift: float = 0.0,
    sets_towards: float = 0.0,
    boat_speed: float = 6.0,
    reference: str = "magnetic",
    source: str = "7",
    seconds: float = 30.0,
    course_reference: str = "true",
) -> Recording:
    """Straight runs one after the other on compass headings, ten seconds of nothing between them."""
    made = []
    start = 0.0
    for compass in headings:
        magnetic = compass + deviation_at(compass)
        true = math.radians(magnetic + variation)
        east = boat_speed * math.sin(true) + drift * math.sin(math.radians(sets_towards))
        north = boat_speed * math.cos(true) + drift * math.cos(math.radians(sets_towards))
        course = math.degrees(math.atan2(east, north)) % 360
        if course_reference == "magnetic":
            course = (course - variation) % 360
        shown = compass if reference == "magnetic" else compass + variation
        for i in range(round(seconds) + 1):
            made.append(Sample(start + i, "heading", shown % 360, source, "", reference))
            made.append(Sample(start + i, "course_over_ground", course, "3", "", course_reference))
            made.append(Sample(start + i, "speed_through_water", boat_speed, "4"))
        start += seconds + 10
    return gather("runs", made)
