"""A current under a swing by course over ground: as entered, or as the runs themselves show it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from garboard.job_view import InputCollector, JobView
from garboard.numeric import least_squares
from garboard.record_types import frozen
from garboard.series import compass_angle
from garboard.uncertainty import NORMAL_95, MeasuredValue, Part, student_t

from .directions import current_allowance, heading_from_course

FEWEST_RUNS = 6  # three of them only make a circle; the rest say how well
ROUNDS = 5  # of the fit; it stands still to a thousandth of a knot after two


@frozen(kw_only=True)
class CurrentErrors:
    """What a current and a breeze are known to, at 95 %.

    speed, towards : of a current entered [kn], [deg]
    wind_speed     : by which the boat is faster down the wind than up it, as a current would make it [kn]
    leeway         : by which it is pushed aside across the wind [deg]
    """

    speed: float
    towards: float
    wind_speed: float
    leeway: float


def current_errors(view: JobView) -> CurrentErrors:
    """What the shop takes a current and a breeze to be known to."""
    return CurrentErrors(
        speed=view.setting_value("heading_calibration.current_error", "kn"),
        towards=view.setting_value("heading_calibration.set_error", "deg"),
        wind_speed=view.setting_value("heading_calibration.wind_speed_error", "kn"),
        leeway=view.setting_value("heading_calibration.leeway", "deg"),
    )


@frozen(kw_only=True)
class Current:
    """A current as entered: speed [kn], direction it sets towards, true, when known [deg], boat speed [kn]."""

    drift: float
    sets_towards: float | None
    boat_speed: float | None

    def heading(self, course: float, speed: float) -> float:
        """Where the bow pointed on a true course at a speed through the water [kn]."""
        if self.sets_towards is None:
            return course
        return heading_from_course(course, self.sets_towards, self.drift, speed)

    def parts(self, speed: float, errors: CurrentErrors) -> tuple[Part, ...]:
        """What it leaves open in B and C at a speed through the water [deg]; see `parts_of_entered`."""
        return parts_of_entered(self.drift, self.sets_towards is not None, speed, errors)

    def unknown(self, speed: float) -> float:
        """The most it may turn the course aside where its set is not known [deg]."""
        return current_allowance(self.drift, speed) if self.sets_towards is None else 0.0


def entered_current(asking: InputCollector, step: str) -> Current:
    """The current as entered in a step; what lacks of it is asked for."""
    return Current(
        drift=asking.amount(step, "current_speed", "kn"),
        sets_towards=_optional(asking, step, "current_sets_towards", "deg"),
        boat_speed=_optional(asking, step, "boat_speed", "kn"),
    )


def _optional(asking: InputCollector, step: str, field: str, unit: str) -> float | None:
    left_open = asking.view.find(step, field) is None and not asking.view.in_dispute(step, field)
    return None if left_open else asking.amount(step, field, unit)


def parts_of_entered(drift: float, set_known: bool, speed: float, errors: CurrentErrors) -> tuple[Part, ...]:
    """What a current leaves open in B and C, and in the deviation on any heading.

    drift     : speed of the current, 0 or above and below the boat's [kn]
    set_known : whether the direction it sets towards is known and was allowed for [-]
    speed     : of the boat through the water [kn]
    errors    : what the current is known to [kn, deg]
    returns   : parts [deg]
    Raises ValueError when the current is as fast as the boat.

    [1] JCGM 100:2008, 5.1.2, for an angle of the current's part across the heading by the boat's speed; JCGM 101:2008
        for the arcsine shape of a vector in an unknown direction.
    """
    most = current_allowance(drift, speed)
    own = errors.speed / NORMAL_95
    if set_known:
        aside = math.hypot(own, drift * math.radians(errors.towards) / NORMAL_95)
        return (Part("current entered", math.degrees(aside / speed) / math.sqrt(2)),)
    return (
        Part.unknown_direction("set of the current", most),
        Part("current entered", math.degrees(own / speed) / math.sqrt(2)),
    )


@frozen(kw_only=True)
class MeasuredCurrent:
    """The current that straight runs all round show: the centre of the circle of their velocities over ground.

    north, east  : its parts [kn]
    speed        : of the boat through the water, the radius [kn]
    error, freedom : standard uncertainty of either part by the scatter of the runs [kn], and its degrees of freedom
    """

    north: float
    east: float
    speed: float
    error: float
    freedom: int

    @property
    def drift(self) -> float:
        """Its speed [kn]."""
        return math.hypot(self.north, self.east)

    @property
    def sets_towards(self) -> float:
        """Direction it flows to, true [deg]."""
        return compass_angle(math.degrees(math.atan2(self.east, self.north)))

    def heading(self, course: float, speed_over_ground: float) -> float:
        """Where the bow pointed on a course at a speed over ground, leeway left out [deg]."""
        along = math.radians(course)
        north = speed_over_ground * math.cos(along) - self.north
        east = speed_over_ground * math.sin(along) - self.east
        return compass_angle(math.degrees(math.atan2(east, north)))

    def parts(self, errors: CurrentErrors) -> tuple[Part, ...]:
        """What it leaves open in B and C, and in the deviation on any heading [deg]. A breeze looks like a current."""
        half = math.sqrt(2)
        return (
            Part("circle of the runs", math.degrees(self.error / self.speed), degrees_of_freedom=self.freedom),
            Part("speed up and down the wind", math.degrees(errors.wind_speed / NORMAL_95 / self.speed) / half),
            Part("leeway", errors.leeway / NORMAL_95 / half),
        )

    def measured(self, errors: CurrentErrors) -> MeasuredValue:
        """Its speed with the uncertainty of what the water does, the breeze left in [kn]."""
        pushed = self.speed * math.radians(errors.leeway)
        return MeasuredValue.of_parts(
            self.drift,
            "kn",
            (
                Part("circle of the runs", self.error, degrees_of_freedom=self.freedom),
                Part.of_expanded("speed up and down the wind", errors.wind_speed),
                Part.of_expanded("leeway", pushed),
            ),
        )


def fit_current(courses: Sequence[float], speeds: Sequence[float]) -> MeasuredCurrent:
    """The current from the velocities over ground of straight runs at one throttle.

    courses : over ground, true, all round [deg]
    speeds  : over ground, one for each course [kn]
    returns : the current and the boat's own speed [kn]
    Raises ValueError for fewer than 6 runs, and for runs that make no circle.

    >>> courses, speeds = (0.0, 60.0, 120.0, 180.0, 240.0, 300.0), (11.0, 10.5, 9.5, 9.0, 9.5, 10.5)
    >>> round(fit_current(courses, speeds).north, 1)
    1.0

    [1] Circle by least squares on the distances from it, Gauss and Newton's steps; common practice.
    """
    points = [
        (speed * math.cos(math.radians(course)), speed * math.sin(math.radians(course)))
        for course, speed in zip(courses, speeds, strict=True)
    ]
    if len(points) < FEWEST_RUNS:
        raise ValueError(f"{len(points)} runs with a speed over ground; run {FEWEST_RUNS} or more, all round")
    rows = [(2 * north, 2 * east, 1.0) for north, east in points]
    north, east, constant = least_squares(rows, [n * n + e * e for n, e in points]).solution
    radius = math.sqrt(max(constant + north**2 + east**2, 1e-12))
    for _ in range(ROUNDS):
        away = [(n - north, e - east, math.hypot(n - north, e - east)) for n, e in points]
        if not all(distance > 0 for _, _, distance in away):
            raise ValueError("the runs' velocities make no circle")
        step = least_squares(
            [(n / distance, e / distance, 1.0) for n, e, distance in away], [d - radius for _, _, d in away]
        )
        north, east, radius = (old + by for old, by in zip((north, east, radius), step.solution, strict=True))
    if not radius > math.hypot(north, east):
        raise ValueError("the runs' velocities make no circle about a current slower than the boat")
    freedom = len(points) - 3
    scatter = math.sqrt(math.fsum(residual**2 for residual in step.residuals) / freedom)
    error = scatter * math.sqrt((step.inverse_normal[0][0] + step.inverse_normal[1][1]) / 2)
    return MeasuredCurrent(north=north, east=east, speed=radius, error=error, freedom=freedom)


def contradicts(entered: Current, measured: MeasuredCurrent, errors: CurrentErrors) -> bool:
    """Whether the runs show another current than was entered, beyond the root of the squares of both uncertainties.

    Without a set, the speed entered is the strongest it may be.

    entered  : as entered [kn, deg]
    measured : as the runs show it [kn]
    errors   : what both are known to [kn, deg]
    """
    known = measured.measured(errors)
    # both parts of the vector may be off: t on two of them is more than on one
    theirs = known.expanded_uncertainty * max(1.0, student_t(2 * measured.freedom) / NORMAL_95)
    if entered.sets_towards is None:
        return measured.drift > entered.drift + math.hypot(theirs, errors.speed)
    towards = math.radians(entered.sets_towards)
    north, east = entered.drift * math.cos(towards), entered.drift * math.sin(towards)
    own = math.hypot(errors.speed, entered.drift * math.radians(errors.towards))
    return math.hypot(measured.north - north, measured.east - east) > math.hypot(theirs, own)
