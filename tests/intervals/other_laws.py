"""Boats that follow laws the balance of power does not know, to try its forecasts on.

Each is the boat of `simulated_boat` with laws put in. Its drag has a hump, a speed-dependent exponent and a step where
the chines let go. Its engine's power is a curve of engine speed itself, capped by a governor on a third of the boats.
Half the propellers bite as a power of pitch and slip, the exponents 15 % off from boat to boat; the other half are
one blade section at 0.7 of the radius, with its own drag, downwash and lift that gives way: no power law.
None of it is measured. `how_far` says how the laws differ from what the balance takes as usual. Widths were drawn up
from what is physically likely; `FINISH`, `SERIES` and `LIFTS` came in after a first look, which had held engine speed
at 97 % and boat speed at 99 %: those boats were too much alike.
"""

from __future__ import annotations

import math
import random
import statistics
from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

import attrs
from scipy.optimize import brentq

from garboard.recordings.simulated_boat import INCHES_PER_NAUTICAL_MILE, Boat, Errors, Instrument

PITCH_TOLERANCE = 0.02
"""Bound of each propeller's real pitch about its stamp, as a share [-]."""
ENGINE_RUN_TO_RUN, SPEED_RUN_TO_RUN = 0.004, 0.006
"""How an outing differs from the next, standard deviations, as shares [-]."""
SPEED_SHOWN = 0.1
"""Standard deviation of a mean speed as it is shown [kn]."""
FINISH, SERIES = 0.01, 0.2
"""By how much the torque for one thrust differs from propeller to propeller, as a share, and along a series of pitches,
as a power: standard deviations [-]."""
LIFTS = 0.025
"""By how much the hull's drag differs with the propeller, standard deviation as a share [-]."""
LAWS_OFF = 0.15
"""By how much exponents and levels of the propellers' laws differ from boat to boat, standard deviation as a share."""


@attrs.frozen
class Propeller:
    """As it really is: pitch and diameter [in].

    takes : torque for its thrust, over what the law says [-]
    drags : the hull's drag with it, over that with the first [-]: some lift the bow more
    """

    pitch: float
    diameter: float
    takes: float = 1.0
    drags: float = 1.0

    @property
    def ratio(self) -> float:
        """Pitch over diameter [-]."""
        return self.pitch / self.diameter


class Law(Protocol):
    """How a propeller bites: thrust and torque coefficients up to a constant, at a pitch ratio and an advance [-]."""

    def no_thrust_at(self, ratio: float) -> float:
        """The advance at which it gives none [-]."""

    def coefficients(self, ratio: float, advance: float) -> tuple[float, float]:
        """Thrust and torque."""


@attrs.frozen
class PowersOfPitchAndSlip:
    """Thrust as powers of pitch ratio and slip; torque as thrust along the helix, and the friction of its blades."""

    by_pitch: float
    by_slip: float
    friction: float
    camber: float

    @classmethod
    def drawn(cls, chance: random.Random) -> PowersOfPitchAndSlip:
        """Of a boat of its own."""
        off = [max(0.4, 1 + LAWS_OFF * chance.gauss(0, 1)) for _ in range(3)]
        return cls(1.0 * off[0], 1.0 * off[1], 0.07 * off[2], chance.uniform(0.02, 0.10))

    def no_thrust_at(self, ratio: float) -> float:
        """The advance at which it gives none [-]."""
        return ratio * (1 + self.camber)

    def coefficients(self, ratio: float, advance: float) -> tuple[float, float]:
        """Thrust and torque."""
        slip = max(1e-6, 1 - advance / self.no_thrust_at(ratio))
        thrust = math.pow(ratio, self.by_pitch) * math.pow(slip, self.by_slip)
        return thrust, ratio * thrust + self.friction


@attrs.frozen
class BladeSection:
    """One section at 0.7 of the radius: lift against its angle, drag, downwash of its own lift.

    lift   : by angle of attack, downwash taken off [1/rad]
    camber : angle at which it lifts without attack [rad]
    gives  : lift coefficient at which it begins to give way, as it does where it draws air [-]
    """

    lift: float
    camber: float
    drag: float
    by_lift: float
    gives: float

    @classmethod
    def drawn(cls, chance: random.Random) -> BladeSection:
        """Of a boat of its own."""
        off = [max(0.4, 1 + LAWS_OFF * chance.gauss(0, 1)) for _ in range(3)]
        return cls(
            3.0 * off[0], chance.uniform(0.01, 0.04), 0.010 * off[1], 0.06 * off[2], chance.choice((0.3, 0.6, 9.0))
        )

    def no_thrust_at(self, ratio: float) -> float:
        """The advance at which its lift is gone [-]; drag takes the thrust a little before."""
        return 0.7 * math.pi * math.tan(math.atan(ratio / (0.7 * math.pi)) + self.camber)

    def coefficients(self, ratio: float, advance: float) -> tuple[float, float]:
        """Thrust and torque."""
        around = 0.7 * math.pi
        flow = math.atan(advance / around)
        attack = math.atan(ratio / around) + self.camber - flow
        lift = self.gives * math.tanh(self.lift * attack / self.gives)
        drag = self.drag + self.by_lift * lift * lift
        pressure = advance * advance + around * around
        along = max(1e-7, lift * math.cos(flow) - drag * math.sin(flow))
        return pressure * along, pressure * max(1e-7, lift * math.sin(flow) + drag * math.cos(flow))


@attrs.frozen
class Engine:
    """Power as engine speed times a torque that falls off to both sides of its best; a governor may cap it.

    peak : engine speed of most power [rev/min]
    best : engine speed of most torque over that of most power [-]
    cap  : power it is held to, over the most [-]
    """

    peak: float
    best: float
    cap: float | None

    def power(self, turned: float) -> float:
        """Over about the most of it [-], at an engine speed [rev/min]."""
        turns, away = turned / self.peak, 1 - self.best
        falls = 1 / (away * away + 2 * away)  # so that power is most at 1
        beside = turns - self.best if turns > self.best else (self.best - turns) / 3
        power = max(1e-9, turns * (1 - falls * beside**2)) / (1 - falls * away * away)
        return power if self.cap is None else math.pow(math.pow(power, -24) + math.pow(self.cap, -24), -1 / 24)


@attrs.frozen
class Hull:
    """Drag up to a constant: it grows with speed as it likes, has a hump, and a step where the chines let go."""

    wet: float
    at: float
    hump: float
    hump_at: float
    step: float
    step_at: float
    by_weight: float

    def drag(self, speed: float, weight: float) -> float:
        """At a speed [kn] and a weight over that of the first run [-]."""
        grows = 1 + self.wet * (speed / self.at) ** 2
        hump = 1 + self.hump * math.exp(-(((speed / self.hump_at / weight**0.25 - 1) / 0.35) ** 2))
        return math.pow(weight, self.by_weight) * grows * hump * (1 + self.step * math.tanh((speed - self.step_at) / 2))


@attrs.frozen(kw_only=True)
class OtherBoat:
    """A boat nobody's model describes, and what it turns and makes with a propeller.

    rated      : rated speed as the maker states it [rev/min]
    stamped    : pitch on the propeller of the first run [in]
    shaves     : what the maker takes off the diameter for an inch more [in]
    series     : torque for the same thrust by pitch, as a power [-]: blade area and cup change along a series
    fitted     : the propeller of the first run as it really is
    boat       : the simulated boat as it ran first
    """

    law: Law
    engine: Engine
    hull: Hull
    boat: Boat
    rated: float
    low: float
    high: float
    stamped: int
    shaves: float
    series: float
    fitted: Propeller
    thrusts: float
    takes: float

    def runs(self, propeller: Propeller, weight: float = 1.0) -> tuple[float, float]:
        """Engine speed [rev/min] and boat speed [kn] at full throttle, were there no limiter."""

        def turned(advance: float) -> float:
            torque = propeller.takes * self.law.coefficients(propeller.ratio, advance)[1]
            taken = self.takes * torque * propeller.diameter**5
            return float(brentq(lambda n: math.log(self.engine.power(n) / (taken * n**3)), 500, 14000, xtol=0.01))

        def surplus(advance: float) -> float:
            n = turned(advance)
            pushes = self.thrusts * self.law.coefficients(propeller.ratio, advance)[0] * n * n * propeller.diameter**4
            return math.log(pushes / (propeller.drags * self.hull.drag(self._speed(n, advance, propeller), weight)))

        at_most = self.law.no_thrust_at(propeller.ratio)
        least = next(share for share in (0.8, 0.6, 0.4, 0.2, 0.1) if surplus(share * at_most) > 0)
        advance = float(brentq(surplus, least * at_most, 0.9999 * at_most, xtol=1e-7))
        n = turned(advance)
        return n, self._speed(n, advance, propeller)

    def _speed(self, engine_speed: float, advance: float, propeller: Propeller) -> float:
        turns_an_hour = engine_speed / self.boat.gear_ratio * 60
        return turns_an_hour * propeller.diameter * advance / INCHES_PER_NAUTICAL_MILE

    def diameter_for(self, stamped: float) -> float:
        """Of a propeller of the same make [in]."""
        return self.fitted.diameter - self.shaves * (stamped - self.stamped)

    def another(self, change: int, chance: random.Random) -> Propeller:
        """As it really is, of the same make, so many inches from the first."""
        stamped = self.stamped + change
        takes = math.exp(self.series * math.log(stamped / self.stamped) + FINISH * chance.gauss(0, 1))
        pitch = stamped * (1 + chance.uniform(-1, 1) * PITCH_TOLERANCE)
        return Propeller(pitch, self.diameter_for(stamped), takes, math.exp(LIFTS * chance.gauss(0, 1)))


def drawn(chance: random.Random) -> OtherBoat:
    """A boat of its own with a propeller that may be wrong by some inches."""
    stamped = chance.choice(range(13, 25))
    diameter = chance.uniform(13.25, 16.0) if stamped < 20 else chance.uniform(14.0, 15.5)
    fitted = Propeller(stamped * (1 + chance.uniform(-1, 1) * PITCH_TOLERANCE), diameter)
    rated = chance.choice((5000.0, 5250.0, 5500.0, 5750.0, 6000.0))
    low = rated - chance.choice((100.0, 250.0, 500.0))
    high = low + chance.choice((500.0, 600.0, 600.0, 800.0, 1000.0))
    turned = chance.choice(
        (chance.uniform(low - 700, low), chance.uniform(low, high), chance.uniform(high, high + 250))
    )
    boat = Boat(full_throttle=turned, limiter=high + 300, gear_ratio=chance.choice((1.75, 1.85, 2.0, 2.33)))
    boat = attrs.evolve(boat, pitch=fitted.pitch, current_speed=0.0)
    speed = boat.theoretical_speed_at(turned) * (1 - chance.uniform(0.05, 0.22))
    law: Law = chance.choice((PowersOfPitchAndSlip, BladeSection)).drawn(chance)
    engine = Engine(
        peak=rated * (1 + chance.gauss(0, 0.05)),
        best=chance.uniform(0.4, 0.87),
        cap=chance.uniform(0.93, 1.0) if chance.random() < 1 / 3 else None,
    )
    exponent = chance.uniform(0.8, 1.9)
    hull = Hull(
        wet=exponent / (2 - exponent),
        at=speed,
        hump=chance.uniform(0.1, 0.4),
        hump_at=chance.uniform(10, 15),
        step=chance.uniform(-0.04, 0.04),
        step_at=speed * chance.uniform(0.8, 1.2),
        by_weight=chance.uniform(0.6, 1.0),
    )
    advance = speed * INCHES_PER_NAUTICAL_MILE / 60 / (turned / boat.gear_ratio) / diameter
    thrust, torque = law.coefficients(fitted.ratio, advance)
    return OtherBoat(
        law=law,
        engine=engine,
        hull=hull,
        boat=attrs.evolve(boat, speed_per_rev=speed / turned),
        rated=rated,
        low=low,
        high=high,
        stamped=stamped,
        shaves=chance.uniform(0.0, 0.15),
        series=chance.gauss(0, SERIES),
        fitted=fitted,
        thrusts=hull.drag(speed, 1.0) / (thrust * turned**2 * diameter**4),
        takes=engine.power(turned) / (torque * turned**3 * diameter**5),
    )


@attrs.frozen
class Shown:
    """What the instruments showed of a run: engine speed [rev/min] and boat speed [kn]."""

    engine_speed: float
    speed: float


def read(engine_speed: float, speed: float, chance: random.Random) -> Shown:
    """One outing as it is read: it differs from the next, and displays have steps."""
    turns = Errors(noise=ENGINE_RUN_TO_RUN * engine_speed, digit=10)
    goes = Errors(noise=math.hypot(SPEED_RUN_TO_RUN * speed, SPEED_SHOWN))
    return Shown(
        Instrument(turns, chance.random().hex()).shows(engine_speed),
        Instrument(goes, chance.random().hex()).shows(speed),
    )


# --- how far the laws are from the balance


def how_far(boats: Sequence[OtherBoat]) -> Mapping[str, tuple[float, float]]:
    """What the balance calls its seven numbers, as these boats have them where they ran first: mean and deviation."""
    found: dict[str, list[float]] = {}
    for boat in boats:
        for name, value in _local(boat).items():
            found.setdefault(name, []).append(value)
    return {name: (statistics.fmean(values), statistics.stdev(values)) for name, values in found.items()}


def _local(boat: OtherBoat) -> dict[str, float]:
    step = 0.01
    base, speed = boat.runs(boat.fitted)

    def slope(of: Callable[[float], tuple[float, float]]) -> tuple[float, float]:
        (more, faster), (less, slower) = of(math.exp(step)), of(math.exp(-step))
        return math.log(more / less) / (2 * step), math.log(faster / slower) / (2 * step)

    def log_power(u: float) -> float:
        return math.log(boat.engine.power(boat.rated * math.exp(u)))

    def with_pitch(times: float) -> tuple[float, float]:
        return boat.runs(attrs.evolve(boat.fitted, pitch=times * boat.fitted.pitch, takes=times**boat.series))

    by_pitch = slope(with_pitch)
    by_diameter = slope(lambda times: boat.runs(attrs.evolve(boat.fitted, diameter=times * boat.fitted.diameter)))
    by_weight = slope(lambda times: boat.runs(boat.fitted, times))
    u, wide = math.log(base / boat.rated), 0.08
    s = (log_power(wide) - log_power(-wide)) / (2 * wide)
    k = -(log_power(wide) - 2 * log_power(0) + log_power(-wide)) / wide**2
    here = (log_power(u + step) - log_power(u - step)) / (2 * step)
    grows = math.log(boat.hull.drag(speed * math.exp(step), 1) / boat.hull.drag(speed * math.exp(-step), 1)) / (
        2 * step
    )
    by_power = 1 / (1 + grows)
    return {
        "c": -(3 - here) * by_pitch[0],
        "d": -(3 - here) * by_diameter[0],
        "s": s,
        "k": k,
        "l": -(3 - here) * by_weight[0],
        "a": by_power,
        "h": by_pitch[1] - by_power * here * by_pitch[0],
    }
