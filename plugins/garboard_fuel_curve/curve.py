"""The fuel curve: speed and fuel flow over engine speed, the planing hump, the best cruise, and how sure they are."""

from __future__ import annotations

import math
import statistics
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from itertools import accumulate, pairwise

import attrs

from garboard.numeric import normal_draws
from garboard.uncertainty import NORMAL_95, MeasuredValue
from garboard_fuel_curve.economy import economy
from garboard_fuel_curve.smooth import Smooth, nondecreasing, through

DRAWS = 160
SEED = 1852
PLACES = 120
NEARLY_BEST = 0.97


@attrs.frozen(kw_only=True)
class Point:
    """One throttle step as read.

    engine_speed              : mean of the engines [rev/min]
    speed, flow               : speed over ground [kn] and fuel flow of all engines together [gal/h]
    speed_within, flow_within : 95 % half widths of what differs from one step to the next, same units
    """

    engine_speed: float
    speed: float
    flow: float
    speed_within: float = 0.0
    flow_within: float = 0.0


@attrs.frozen(kw_only=True)
class Doubts:
    """What is uncertain for all steps alike, as 95 % half widths.

    engine_speed : of the tachometers [rev/min]
    current      : of a current that one-way runs did not take out [kn]
    flow_scale   : of the flow meters, as a share of the reading [-]
    """

    engine_speed: float = 0.0
    current: float = 0.0
    flow_scale: float = 0.0


@attrs.frozen
class Peak:
    """A place on the economy curve: engine speed [rev/min] and economy there [nm/gal]."""

    engine_speed: float
    economy: float


@attrs.frozen
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


@attrs.frozen(kw_only=True)
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


@attrs.frozen
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


@attrs.frozen(kw_only=True)
class Curve:
    """A fuel curve with what is known about it. Uncertainties come from drawing the readings again and again
    within theirs (fixed seed, so the same readings give the same numbers) and fitting each draw.
    """

    points: tuple[Point, ...]
    doubts: Doubts
    fitted: Fitted
    engine_speeds: tuple[float, ...]
    landmarks: Landmarks
    drawn: tuple[Fitted, ...] = attrs.field(repr=False)
    drawn_landmarks: tuple[Landmarks, ...] = attrs.field(repr=False)

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
        return self.estimate(lambda fitted: fitted.economies((engine_speed,))[0], "nm/gal")

    def speed_at(self, engine_speed: float) -> MeasuredValue:
        """Speed over ground [kn] at an engine speed within the steps [rev/min]."""
        return self.estimate(lambda fitted: fitted.speed.at(engine_speed), "kn")

    def flow_at(self, engine_speed: float) -> MeasuredValue:
        """Fuel flow of all engines together [gal/h] at an engine speed within the steps [rev/min]."""
        return self.estimate(lambda fitted: fitted.flow.at(engine_speed), "gal/h")

    def estimate(self, value_of: Callable[[Fitted], float], unit: str = "") -> MeasuredValue:
        """Anything worked out from the curves [unit], such as an average over several engine speeds."""
        return MeasuredValue(value_of(self.fitted), unit, _scatter([value_of(fitted) for fitted in self.drawn]))

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

        def depth(fitted: Fitted) -> float:
            before, bottom, beyond = fitted.economies(places)
            return min(before, beyond) - bottom

        return self.estimate(depth, "nm/gal").low > 0

    def of_hump(self, place_of: Callable[[Hump], float]) -> MeasuredValue:
        """An engine speed of the hump [rev/min]. Raises ValueError where there is no hump."""
        if self.landmarks.hump is None:
            raise ValueError("expected a curve with a hump")
        drawn = [place_of(found.hump) for found in self.drawn_landmarks if found.hump]
        return self._engine_speed(place_of(self.landmarks.hump), drawn)

    @property
    def slowest_planing(self) -> MeasuredValue:
        """Speed over ground where planing begins, wherever each draw has it [kn]. ValueError where there is no hump."""
        if self.landmarks.hump is None:
            raise ValueError("expected a curve with a hump")
        pairs = zip(self.drawn, self.drawn_landmarks, strict=True)
        drawn = [fitted.speed.at(found.hump.planing) for fitted, found in pairs if found.hump]
        return MeasuredValue(self.fitted.speed.at(self.landmarks.hump.planing), "kn", _scatter(drawn))

    @property
    def best(self) -> MeasuredValue:
        """Engine speed of best economy on the whole curve [rev/min]."""
        drawn = [found.best.engine_speed for found in self.drawn_landmarks]
        return self._engine_speed(self.landmarks.best.engine_speed, drawn)

    def _engine_speed(self, value: float, drawn: Sequence[float]) -> MeasuredValue:
        of_tachometer = self.doubts.engine_speed / NORMAL_95
        return MeasuredValue(value, "rev/min", math.hypot(_scatter(drawn), of_tachometer))

    def nearly_as_good(self, place: Peak) -> tuple[float, float]:
        """Lowest and highest engine speed around a best place that keep 97 % of its economy [rev/min]."""
        enough = NEARLY_BEST * place.economy
        economies = self.fitted.economies(self.engine_speeds)
        middle = min(range(len(economies)), key=lambda index: abs(self.engine_speeds[index] - place.engine_speed))
        low = high = middle
        while low > 0 and economies[low - 1] >= enough:
            low -= 1
        while high < len(economies) - 1 and economies[high + 1] >= enough:
            high += 1
        return self.engine_speeds[low], self.engine_speeds[high]


def _scatter(values: Sequence[float]) -> float:
    """Standard uncertainty of what came out of many draws."""
    return statistics.pstdev(values) if len(values) > 1 else 0.0


@lru_cache(maxsize=16)
def study(points: tuple[Point, ...], doubts: Doubts, recovery: float) -> Curve:
    """Fit a fuel curve and find its landmarks, with uncertainties.

    points   : at least two steps, engine speed rising, flow above 0 [rev/min, kn, gal/h]
    doubts   : what is uncertain for all steps alike [rev/min, kn, -]
    recovery : share of the rise of economy that counts as planing, above 0 and up to 1 [-]
    returns  : the curve [kn, gal/h, nm/gal over rev/min]
    Raises ValueError for fewer than two points and for engine speeds that do not rise.

    Economy is straight from step to step up to the hump; all through where no hump stands clear.

    [1] JCGM 101:2008: propagation of distributions by a Monte Carlo method.
    """
    fitted = fit(points)
    draws = normal_draws(SEED)  # the same readings must give the same numbers
    drawn = tuple(fit(_drawn(points, doubts, draws)) for _ in range(DRAWS))
    losses = _losses(fitted.at_steps())
    bottom = points[max(range(len(losses)), key=losses.__getitem__)].engine_speed if max(losses) > 0 else math.inf
    curve = _curve(points, doubts, recovery, bottom, fitted, drawn)
    return curve if curve.hump_is_clear else _curve(points, doubts, recovery, math.inf, fitted, drawn)


def _curve(
    points: tuple[Point, ...],
    doubts: Doubts,
    recovery: float,
    straight_to: float,
    fitted: Fitted,
    drawn: Sequence[Fitted],
) -> Curve:
    first, last = points[0].engine_speed, points[-1].engine_speed
    between = [first + (last - first) * number / PLACES for number in range(1, PLACES)]
    engine_speeds = (first, *between, last)
    fitted, *drawn = (attrs.evolve(one, straight_to=straight_to) for one in (fitted, *drawn))
    found, *of_draws = (_landmarks_of(one, engine_speeds, recovery) for one in (fitted, *drawn))
    return Curve(
        points=points,
        doubts=doubts,
        fitted=fitted,
        engine_speeds=engine_speeds,
        landmarks=found,
        drawn=tuple(drawn),
        drawn_landmarks=tuple(of_draws),
    )


def _landmarks_of(fitted: Fitted, engine_speeds: Sequence[float], recovery: float) -> Landmarks:
    """The landmarks of a curve. Where economy is straight, its best place is a step."""
    found = landmarks(engine_speeds, fitted.economies(engine_speeds), recovery)
    if found.best.engine_speed > fitted.straight_to:
        return found
    return attrs.evolve(found, best=max(fitted.straight_steps(), key=lambda step: step.economy))


def _drawn(points: Sequence[Point], doubts: Doubts, draws: Iterator[float]) -> list[Point]:
    """The readings as they might as well have been."""

    def draw(half_width: float) -> float:
        return next(draws) * (half_width / NORMAL_95)

    current = draw(doubts.current)
    scale = 1 + draw(doubts.flow_scale)
    return [
        attrs.evolve(
            point,
            speed=max(0.0, point.speed + current + draw(point.speed_within)),
            flow=max(0.05 * point.flow, scale * (point.flow + draw(point.flow_within))),
        )
        for point in points
    ]


def wide_gaps(engine_speeds: Sequence[float], widest: float) -> tuple[tuple[float, float], ...]:
    """Neighbouring steps with more engine speed between them than allowed.

    engine_speeds : rising [rev/min]
    widest        : widest gap allowed [rev/min]
    returns       : lower and upper step of each wide gap [rev/min]

    >>> wide_gaps([1000, 1500, 2500], 600)
    ((1500, 2500),)
    """
    return tuple((low, high) for low, high in pairwise(engine_speeds) if high - low > widest)
