"""The fuel curve: speed and fuel flow over engine speed, the planing hump, the best cruise, and how sure they are."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from itertools import accumulate, count, pairwise

import attrs

from garboard.findings import rounded
from garboard.record_types import frozen
from garboard.uncertainty import DEVIATION_FREEDOM, MeasuredValue, Part, Shape, rectangular
from garboard_fuel_curve.economy import economy
from garboard_fuel_curve.smooth import Smooth, nondecreasing, through

PLACES = 120
NEARLY_BEST = 0.97

FINE_STEPS = 310.0
"""Between steps farther apart than about 300 rev/min the curve is a guess that no uncertainty covers: there a place is
told by the steps around it (tried on simulated boats) [rev/min]."""

CLOSEST_STEPS = 250.0
"""With steps closer than this the best place follows the noise of single steps, and no uncertainty holds (tried on
simulated boats) [rev/min]."""

LITTLE = 0.01
"""By how much a common scale of the fuel flow is moved to see what it does [-]."""


@frozen(kw_only=True)
class Point:
    """One throttle step as read.

    engine_speed : mean of the engines, as this boat's tachometers show it [rev/min]
    speed, flow  : speed over ground [kn] and fuel flow of all engines together [gal/h]
    run_to_run   : standard uncertainty of the speed from one run to the next [kn]
    speed_digit  : standard uncertainty of the speed from its last digit [kn]
    flow_repeats : standard uncertainty of the flow from one reading to the next [gal/h]
    flow_digit   : standard uncertainty of the flow from its last digit [gal/h]
    one_way      : whether a current is still in the speed
    """

    engine_speed: float
    speed: float
    flow: float
    run_to_run: float = 0.0
    speed_digit: float = 0.0
    flow_repeats: float = 0.0
    flow_digit: float = 0.0
    one_way: bool = False


@frozen(kw_only=True)
class Shared:
    """What all steps share.

    freedom        : degrees of freedom of the points' `run_to_run`
    receiver       : bound of the receiver's error [kn]
    current        : bound of a current that one-way runs did not take out [kn]
    engine_speed   : bound of how finely the display shows an engine speed [rev/min]
    flow_scale     : parts of the flow meters' scale, as shares of the reading [-]
    """

    freedom: int = DEVIATION_FREEDOM
    receiver: float = 0.0
    current: float = 0.0
    engine_speed: float = 0.0
    flow_scale: tuple[Part, ...] = ()


@frozen
class Peak:
    """A place on the economy curve: engine speed [rev/min] and economy there [nm/gal]."""

    engine_speed: float
    economy: float


@frozen
class Fitted:
    """Speed [kn] and fuel flow [gal/h] as smooth functions of engine speed [rev/min].

    straight_to : below this engine speed economy goes straight from step to step: there the ratio of two smooth
                  lines bulges where nobody measured [rev/min]
    """

    speed: Smooth
    flow: Smooth
    straight_to: float = -math.inf

    def at_steps(self) -> tuple[float, ...]:
        """Economy [nm/gal] at the steps themselves."""
        return tuple(map(economy, self.speed.y, self.flow.y))

    def straight_steps(self) -> list[Peak]:
        """The steps up to where economy is no longer straight."""
        steps = map(Peak, self.speed.x, self.at_steps())
        return [step for step in steps if step.engine_speed <= self.straight_to]

    def economies(self, engine_speeds: Sequence[float]) -> list[float]:
        """Economy [nm/gal] at engine speeds in rising order [rev/min]."""
        smooth = map(economy, self.speed.along(engine_speeds), self.flow.along(engine_speeds))
        straight = _straight(self.speed.x, self.at_steps(), engine_speeds)
        return [
            line if place < self.straight_to else ratio
            for place, line, ratio in zip(engine_speeds, straight, smooth, strict=True)
        ]


def _straight(x: Sequence[float], y: Sequence[float], places: Sequence[float]) -> Iterator[float]:
    for place in places:
        left = min(bisect_right(x, place), len(x) - 1) - 1
        yield y[left] + (place - x[left]) / (x[left + 1] - x[left]) * (y[left + 1] - y[left])


@frozen(kw_only=True)
class Hump:
    """The dip in economy between displacement speed and planing.

    shoulder: the best place before the dip [rev/min]
    start   : where economy, falling, passes the level it has at `planing` [rev/min]
    bottom  : the poorest place of the dip
    planing : lowest engine speed beyond the bottom at which economy has recovered; see `landmarks` [rev/min]
    best    : the best place beyond the bottom
    depth   : how far the bottom lies below the lower of its two shoulders [nm/gal]
    """

    shoulder: float
    start: float
    bottom: Peak
    planing: float
    best: Peak
    depth: float


@frozen
class Landmarks:
    """The best place of the whole curve, and the hump where there is one."""

    best: Peak
    hump: Hump | None


def fit(points: Sequence[Point]) -> Fitted:
    """Smooth curves through steps. Neither speed nor flow may fall as engine speed rises: where readings do,
    they are pooled into the closest values that do not, each step counting the same.

    points  : at least two steps, engine speed rising, flow above 0 [rev/min, kn, gal/h]
    returns : the curves [kn, gal/h]
    Raises ValueError for fewer than two points and for engine speeds that do not rise.

    >>> steps = [Point(engine_speed=e, speed=s, flow=f) for e, s, f in ((1000, 5, 2), (2000, 7, 6), (3000, 20, 10))]
    >>> fit(steps).economies([1000, 3000])
    [2.5, 2.0]
    """
    engine_speeds = [point.engine_speed for point in points]
    return Fitted(
        through(engine_speeds, nondecreasing([point.speed for point in points])),
        through(engine_speeds, nondecreasing([point.flow for point in points])),
    )


def landmarks(engine_speeds: Sequence[float], economies: Sequence[float], recovery: float) -> Landmarks:
    """The best place of an economy curve and its planing hump.

    The hump's bottom is the place with the most economy lost against the better places on both of its sides.
    Slowest planing is defined here as the lowest engine speed beyond the bottom at which economy has regained
    the share `recovery` of its rise from the bottom to the best place beyond. A curve without a dip has no hump.

    engine_speeds : rising, at least three, evenly spaced [rev/min]
    economies     : economy at each [nm/gal]
    recovery      : share of the rise, above 0 and up to 1 [-]
    returns       : best place and hump [rev/min, nm/gal]
    Raises ValueError for fewer than three places and for a share outside 0 to 1.

    >>> found = landmarks([1, 2, 3, 4, 5, 6, 7], [4.0, 3.0, 1.0, 2.0, 3.0, 2.5, 2.0], 0.5)
    >>> round(found.hump.bottom.engine_speed, 2), round(found.hump.planing, 2), round(found.hump.depth, 2)
    (3.17, 4.0, 2.04)
    """
    if len(engine_speeds) < 3 or len(engine_speeds) != len(economies) or not 0 < recovery <= 1:
        raise ValueError(f"expected at least three places and a share above 0 up to 1, got {recovery}")
    best = _peak(engine_speeds, economies, max(range(len(economies)), key=economies.__getitem__))
    losses = _losses(economies)
    deepest = max(range(len(losses)), key=losses.__getitem__)
    if losses[deepest] <= 0:
        return Landmarks(best, None)
    bottom = _peak(engine_speeds, economies, deepest)
    top = max(range(deepest, len(economies)), key=economies.__getitem__)
    beyond = _peak(engine_speeds, economies, top)
    level = economies[deepest] + recovery * (economies[top] - economies[deepest])
    up = next(index for index in range(deepest, top + 1) if economies[index] >= level)
    shoulder = max(range(deepest), key=economies.__getitem__)
    if economies[shoulder] < level:  # displacement running is no better than the hump: it starts at its best place
        start = engine_speeds[shoulder]
    else:
        down = next(index for index in range(deepest, -1, -1) if economies[index] >= level)
        start = _crossing(engine_speeds, economies, down, level)
    planing = _crossing(engine_speeds, economies, up - 1, level)
    depth = economies[deepest] + losses[deepest] - bottom.economy
    return Landmarks(
        best,
        Hump(shoulder=engine_speeds[shoulder], start=start, bottom=bottom, planing=planing, best=beyond, depth=depth),
    )


def _losses(economies: Sequence[float]) -> list[float]:
    """At each place, how much economy is lost against the better places on both of its sides."""
    before = accumulate(economies, max)
    after = list(accumulate(reversed(economies), max))[::-1]
    return [min(left, right) - here for left, right, here in zip(before, after, economies, strict=True)]


def _crossing(x: Sequence[float], y: Sequence[float], left: int, level: float) -> float:
    """Where the straight line from place `left` to the next passes a level."""
    rise = y[left + 1] - y[left]
    return x[left] if rise == 0 else x[left] + (level - y[left]) / rise * (x[left + 1] - x[left])


def _peak(x: Sequence[float], y: Sequence[float], index: int) -> Peak:
    """The top or bottom near a place, by the parabola through it and its neighbours."""
    if not 0 < index < len(y) - 1:
        return Peak(x[index], y[index])
    left, here, right = y[index - 1], y[index], y[index + 1]
    bend = left - 2 * here + right
    if bend == 0 or (here - left) * (right - here) > 0:
        return Peak(x[index], here)
    shift = 0.5 * (left - right) / bend
    return Peak(x[index] + shift * (x[index + 1] - x[index]), here - 0.25 * (left - right) * shift)


@frozen
class Version:
    """The curve through the readings, or through readings of which some were moved."""

    fitted: Fitted
    landmarks: Landmarks


@frozen(kw_only=True)
class Moves:
    """The curve with readings moved: what each does to a figure is how far the figure moves [1].

    speeds   : each step's speed by its own uncertainty, one after the other
    flows    : each step's flow likewise
    receiver : all speeds by the receiver's
    current  : all speeds of one-way steps by the current's; None where every step was run both ways
    scale    : all flows by `LITTLE`

    [1] JCGM 100:2008, 5.1.3, note 2.
    """

    speeds: tuple[Version, ...]
    flows: tuple[Version, ...]
    receiver: Version
    current: Version | None
    scale: Version


@frozen(kw_only=True)
class Curve:
    """A fuel curve with what is known about it.

    Its engine speed is what this boat's tachometers show: whoever steers it reads the same ones, so their error
    cancels. Against anything outside the boat, such as a rated speed, their error is added to `estimate`.
    """

    points: tuple[Point, ...]
    shared: Shared
    fitted: Fitted
    engine_speeds: tuple[float, ...]
    landmarks: Landmarks
    moves: Moves = attrs.field(repr=False)

    @property
    def lowest(self) -> float:
        """Engine speed of the lowest step [rev/min]."""
        return self.points[0].engine_speed

    @property
    def highest(self) -> float:
        """Engine speed of the highest step [rev/min]."""
        return self.points[-1].engine_speed

    def economy_at(self, engine_speed: float) -> MeasuredValue:
        """Economy [nm/gal] at an engine speed within the steps [rev/min]."""
        return self.estimate(lambda one, off: one.economies((self._inside(engine_speed + off),))[0], "nm/gal")

    def speed_at(self, engine_speed: float) -> MeasuredValue:
        """Speed over ground [kn] at an engine speed within the steps [rev/min]."""
        return self.estimate(lambda one, off: one.speed.at(self._inside(engine_speed + off)), "kn")

    def flow_at(self, engine_speed: float) -> MeasuredValue:
        """Fuel flow of all engines together [gal/h] at an engine speed within the steps [rev/min]."""
        return self.estimate(lambda one, off: one.flow.at(self._inside(engine_speed + off)), "gal/h")

    def estimate(
        self, value_of: Callable[[Fitted, float], float], unit: str = "", tachometer: float = 0.0
    ) -> MeasuredValue:
        """Anything worked out from the curves [unit], such as an average over several engine speeds.

        value_of   : of curves, with every engine speed it asks for off by so much [rev/min]
        tachometer : bound of the tachometers' error, where engine speeds come from outside the boat [rev/min]
        """
        parts = self._parts(lambda version: value_of(version.fitted, 0.0))
        for source, half_width in (("engine speed display", self.shared.engine_speed), ("tachometer", tachometer)):
            if half_width:
                rise = (value_of(self.fitted, half_width) - value_of(self.fitted, -half_width)) / 2
                parts.append(Part.bound(source, rise))
        return MeasuredValue.of_parts(value_of(self.fitted, 0.0), unit, parts)

    def _inside(self, engine_speed: float) -> float:
        """An engine speed a little off the ends of the curve is one at its end [rev/min]."""
        slack = self.shared.engine_speed
        low, high = self.lowest, self.highest
        return min(max(engine_speed, low), high) if low - slack <= engine_speed <= high + slack else engine_speed

    def _parts(self, value_of: Callable[[Version], float]) -> list[Part]:
        """What each source adds to a figure, by how far it moves where the source moves the readings."""
        value = value_of(Version(self.fitted, self.landmarks))
        by_speed = [value_of(version) - value for version in self.moves.speeds]
        by_flow = [value_of(version) - value for version in self.moves.flows]
        points, freedom = self.points, self.shared.freedom
        runs = _shares(by_speed, [point.run_to_run for point in points], [point.speed_digit for point in points])
        flows = _shares(by_flow, [point.flow_repeats for point in points], [point.flow_digit for point in points])
        scale = (value_of(self.moves.scale) - value) / LITTLE
        return [
            Part("run to run", runs[0], degrees_of_freedom=freedom),
            Part("speed digits", runs[1]),
            Part("flow repeats", flows[0], degrees_of_freedom=DEVIATION_FREEDOM),
            Part("flow digits", flows[1]),
            Part("receiver", value_of(self.moves.receiver) - value, Shape.RECTANGULAR),
            Part("current", value_of(self.moves.current) - value if self.moves.current else 0.0, Shape.RECTANGULAR),
            *(part.times(scale) for part in self.shared.flow_scale),
        ]

    @property
    def best_step_below_hump(self) -> float:
        """Engine speed of the step with the best economy below the hump; of all steps without a hump [rev/min]."""
        return max(self.fitted.straight_steps(), key=lambda step: step.economy).engine_speed

    @property
    def hump_is_clear(self) -> bool:
        """Whether the dip stands clear of the readings' uncertainty, at 95 %."""
        hump = self.landmarks.hump
        if hump is None:
            return False
        places = (hump.shoulder, hump.bottom.engine_speed, hump.best.engine_speed)

        def depth(fitted: Fitted, _off: float) -> float:
            before, bottom, beyond = fitted.economies(places)
            return min(before, beyond) - bottom

        return self.estimate(depth, "nm/gal").low > 0

    def tells_best(self, engine_speed: float) -> bool:
        """Whether steps around a best place are neither too far apart nor too close to tell it [rev/min]."""
        return CLOSEST_STEPS <= self._gap_at(engine_speed) <= FINE_STEPS

    def steps_around(self, engine_speed: float) -> tuple[float, float]:
        """The steps below and above a place between the lowest and the highest [rev/min]."""
        at = [point.engine_speed for point in self.points]
        above = min(max(bisect_right(at, engine_speed), 1), len(at) - 1)
        return at[above - 1], at[above]

    def _gap_at(self, engine_speed: float) -> float:
        """The wider of the gaps beside the step nearest to a place [rev/min]."""
        at = [point.engine_speed for point in self.points]
        nearest = min(range(len(at)), key=lambda place: abs(at[place] - engine_speed))
        around = at[max(nearest - 1, 0) : nearest + 2]
        return max(high - low for low, high in pairwise(around))

    def best_engine_speed(self, place: Peak, place_of: Callable[[Landmarks], Peak | None]) -> MeasuredValue:
        """Engine speed of a best place, with steps close around it [rev/min]. See `tells_best`."""

        def engine_speed(version: Version) -> float:
            found = place_of(version.landmarks)
            return found.engine_speed if found else place.engine_speed

        between = Part.bound("between the steps", self._gap_at(place.engine_speed) / 4)
        display = Part.bound("engine speed display", self.shared.engine_speed)
        return MeasuredValue.of_parts(place.engine_speed, "rev/min", [*self._parts(engine_speed), between, display])

    def nearly_as_good(self, place: Peak) -> tuple[float, float]:
        """Lowest and highest engine speed around a best place that keep 97 % of its economy [rev/min]."""
        enough = NEARLY_BEST * place.economy
        x, economies = self.engine_speeds, self.fitted.economies(self.engine_speeds)
        middle = min(range(len(x)), key=lambda index: abs(x[index] - place.engine_speed))
        low = high = middle
        while low > 0 and economies[low - 1] >= enough:
            low -= 1
        while high < len(economies) - 1 and economies[high + 1] >= enough:
            high += 1
        from_low = x[low] if low == 0 else _crossing(x, economies, low - 1, enough)
        to_high = x[high] if high == len(x) - 1 else _crossing(x, economies, high, enough)
        return min(from_low, place.engine_speed), max(to_high, place.engine_speed)


def _shares(moved: Sequence[float], *own: Sequence[float]) -> list[float]:
    """What each of several sources adds, where every reading was moved by the root of their squares."""
    wholes = [math.hypot(*each) for each in zip(*own, strict=True)]
    for_one = [by / whole if whole else 0.0 for by, whole in zip(moved, wholes, strict=True)]
    return [math.hypot(*(by * one for by, one in zip(for_one, source, strict=True))) for source in own]


@lru_cache(maxsize=16)
def study(points: tuple[Point, ...], shared: Shared, recovery: float) -> Curve:
    """Fit a fuel curve and find its landmarks, with uncertainties.

    points   : at least two steps, engine speed rising, flow above 0 [rev/min, kn, gal/h]
    shared   : what is uncertain for all steps alike [rev/min, kn, -]
    recovery : share of the rise of economy that counts as planing, above 0 and up to 1 [-]
    returns  : the curve [kn, gal/h, nm/gal over rev/min]
    Raises ValueError for fewer than two points and for engine speeds that do not rise.

    Economy is straight from step to step up to the hump; all through where no hump stands clear.
    """
    losses = _losses(fit(points).at_steps())
    bottom = points[max(range(len(losses)), key=losses.__getitem__)].engine_speed if max(losses) > 0 else math.inf
    curve = _curve(points, shared, recovery, bottom)
    return curve if curve.hump_is_clear else _curve(points, shared, recovery, math.inf)


def _curve(points: tuple[Point, ...], shared: Shared, recovery: float, straight_to: float) -> Curve:
    first, last = points[0].engine_speed, points[-1].engine_speed
    between = [first + (last - first) * number / PLACES for number in range(1, PLACES)]
    engine_speeds = (first, *between, last)

    def version(moved: Sequence[Point]) -> Version:
        fitted = attrs.evolve(fit(moved), straight_to=straight_to)
        return Version(fitted, _landmarks_of(fitted, engine_speeds, recovery))

    found = version(points)
    return Curve(
        points=points,
        shared=shared,
        fitted=found.fitted,
        engine_speeds=engine_speeds,
        landmarks=found.landmarks,
        moves=_moves(points, shared, version),
    )


def _moves(points: Sequence[Point], shared: Shared, version: Callable[[Sequence[Point]], Version]) -> Moves:
    receiver, current = rectangular(shared.receiver), rectangular(shared.current)

    def one_moved(number: int, speed: float = 0.0, flow: float = 0.0) -> Version:
        return version([_moved(p, speed, flow) if place == number else p for place, p in enumerate(points)])

    return Moves(
        speeds=tuple(one_moved(n, speed=math.hypot(p.run_to_run, p.speed_digit)) for n, p in enumerate(points)),
        flows=tuple(one_moved(n, flow=math.hypot(p.flow_repeats, p.flow_digit)) for n, p in enumerate(points)),
        receiver=version([_moved(point, receiver, 0.0) for point in points]),
        current=version([_moved(point, current if point.one_way else 0.0, 0.0) for point in points])
        if any(point.one_way for point in points)
        else None,
        scale=version([_moved(point, 0.0, LITTLE * point.flow) for point in points]),
    )


def _moved(point: Point, speed: float, flow: float) -> Point:
    return attrs.evolve(point, speed=point.speed + speed, flow=point.flow + flow)


def _landmarks_of(fitted: Fitted, engine_speeds: Sequence[float], recovery: float) -> Landmarks:
    """The landmarks of a curve. Where economy is straight, its best place is a step."""
    found = landmarks(engine_speeds, fitted.economies(engine_speeds), recovery)
    if found.best.engine_speed > fitted.straight_to:
        return found
    return attrs.evolve(found, best=max(fitted.straight_steps(), key=lambda step: step.economy))


def wide_gaps(engine_speeds: Sequence[float], widest: float) -> tuple[tuple[float, float], ...]:
    """Neighbouring steps with more engine speed between them than allowed.

    engine_speeds : rising [rev/min]
    widest        : widest gap allowed [rev/min]
    returns       : lower and upper step of each wide gap [rev/min]

    >>> wide_gaps([1000, 1500, 2500], 600)
    ((1500, 2500),)
    """
    return tuple((low, high) for low, high in pairwise(engine_speeds) if high - low > widest)


def steps_to_add(low: float, high: float, widest: float) -> list[float]:
    """The fewest steps, evenly spaced, that leave no gap wider than allowed between two steps.

    low     : the step below a wide gap [rev/min]
    high    : the step above it [rev/min]
    widest  : widest gap allowed, above 20 [rev/min]
    returns : steps to take between them, to the nearest ten [rev/min]
    Raises ValueError for a widest gap that steps to the nearest ten cannot keep.

    >>> steps_to_add(2000, 4500, 600)
    [2500.0, 3000.0, 3500.0, 4000.0]
    """
    if not widest > 20:
        raise ValueError(f"the widest gap must be above 20 rev/min, got {widest}")
    tries = (
        [10 * float(rounded((low + (high - low) * part / parts) / 10)) for part in range(1, parts)]
        for parts in count(1)
    )
    return next(steps for steps in tries if not wide_gaps([low, *steps, high], widest))
