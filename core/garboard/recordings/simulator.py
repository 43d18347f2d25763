"""A simulated outboard boat: for trying a tablet out ashore, and for the recordings of the sample jobs.

It moves plausibly and repeats exactly for a seed. It is no model of any real boat and proves nothing about one.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Iterator

import attrs

from garboard.samples import SIMULATED, Sample
from garboard.series import compass_angle

METRES_PER_DEGREE = 111_120.0
"""Length of a degree of latitude [m]: 60 nautical miles, near enough for a few miles of track."""


@attrs.frozen(kw_only=True)
class Compass:
    """A simulated heading sensor. Deviation is A + B sin + C cos of its own heading [deg], east positive."""

    source: str
    constant: float = 0.0
    sine: float = 0.0
    cosine: float = 0.0
    noise: float = 0.3

    def reads(self, magnetic: float) -> float:
        """What it shows [deg] when the bow points to a magnetic direction [deg]."""
        deviation = self.constant
        for _ in range(3):  # deviation is a function of the compass heading, so close in on it
            angle = math.radians(magnetic - deviation)
            deviation = self.constant + self.sine * math.sin(angle) + self.cosine * math.cos(angle)
        return compass_angle(magnetic - deviation)


@attrs.frozen(kw_only=True)
class Boat:
    """What the simulated boat is like.

    speed_per_rev  : speed on plane at full throttle over engine speed [kn per rev/min]
    fuel_at_full   : one engine's fuel flow at full throttle [L/h]
    engine_offsets : how far each engine runs above or below the throttle's engine speed [rev/min]
    """

    engines: int = 1
    idle: float = 650.0
    full_throttle: float = 5800.0
    hump: float = 2600.0
    speed_per_rev: float = 0.0068
    hull_speed: float = 7.0
    fuel_at_full: float = 100.0
    engine_offsets: tuple[float, ...] = (0.0,)
    variation: float = -12.0
    compasses: tuple[Compass, ...] = (Compass(source="20"),)
    current_speed: float = 0.6
    current_sets_towards: float = 75.0
    latitude: float = 37.5
    longitude: float = -68.0

    def speed_at(self, engine_speed: float) -> float:
        """Steady speed through the water [kn] at an engine speed [rev/min]."""
        afloat = self.hull_speed * math.pow(min(engine_speed / self.hump, 1.3), 0.9)
        on_plane = self.speed_per_rev * engine_speed * (1 - 0.35 * math.exp(-(engine_speed - self.hump) / 900))
        share = 1 / (1 + math.exp(-(engine_speed - self.hump - 250) / 160))
        return max(0.0, afloat * (1 - share) + on_plane * share)

    def fuel_at(self, engine_speed: float) -> float:
        """One engine's steady fuel flow [L/h] at an engine speed [rev/min]."""
        share = engine_speed / self.full_throttle
        labouring = 1 + 0.35 * math.exp(-(((engine_speed - self.hump) / 500) ** 2))
        return max(2.0, self.fuel_at_full * math.pow(share, 2.1) * labouring)


@attrs.frozen(kw_only=True)
class Order:
    """What the helm does for a while.

    engine_speed : throttle, as the engine speed it gives [rev/min]
    rate_of_turn : [deg/s], starboard positive; ignored with a course to steer
    course       : magnetic direction to steer [deg], or None
    """

    seconds: float
    engine_speed: float
    rate_of_turn: float = 0.0
    course: float | None = None


def simulate(
    boat: Boat, orders: Iterable[Order], *, start: float, seed: int = 1, rate: float = 10.0, heading: float = 0.0
) -> Iterator[Sample]:
    """Samples of a boat under orders, oldest first.

    start   : time of the first sample, seconds since 1970 [s]
    rate    : samples of each quantity a second [Hz]
    heading : magnetic direction of the bow at the start [deg]
    """
    chance = random.Random(seed)
    step = 1 / rate
    time, speed, engine_speed, turning = start, 0.0, boat.idle, 0.0
    latitude, longitude = boat.latitude, boat.longitude
    for order in orders:
        for _ in range(round(order.seconds * rate)):
            wanted = order.rate_of_turn if order.course is None else _towards(heading, order.course)
            turning += (wanted - turning) * min(1.0, step / 1.0)
            engine_speed += (order.engine_speed - engine_speed) * min(1.0, step / 1.2)
            speed += (boat.speed_at(engine_speed) - speed) * min(1.0, step / 3.0)
            heading = compass_angle(heading + turning * step)
            north, east = _over_ground(boat, heading, speed)
            latitude += north * 0.514444 * step / METRES_PER_DEGREE
            longitude += east * 0.514444 * step / (METRES_PER_DEGREE * math.cos(math.radians(latitude)))
            yield from _shown(boat, chance, time, heading, turning, engine_speed)
            yield Sample(
                time, "course_over_ground", compass_angle(math.degrees(math.atan2(east, north))), "3", "", "true"
            )
            yield Sample(time, "speed_over_ground", max(0.0, math.hypot(north, east) + chance.gauss(0, 0.05)), "3")
            yield Sample(time, "latitude", latitude, "3")
            yield Sample(time, "longitude", longitude, "3")
            time += step


def marked(samples: Iterable[Sample]) -> Iterator[Sample]:
    """Samples that say of themselves that nobody measured them.

    >>> [sample.source for sample in marked([Sample(0.0, "heading", 80.0, "20")])]
    ['simulated 20']
    """
    return (sample._replace(source=f"{SIMULATED} {sample.source}".rstrip()) for sample in samples)


def _towards(heading: float, course: float) -> float:
    error = (course - heading + 180) % 360 - 180
    return max(-8.0, min(8.0, error * 0.4))


def _over_ground(boat: Boat, heading: float, speed: float) -> tuple[float, float]:
    true = math.radians(heading + boat.variation)
    sets = math.radians(boat.current_sets_towards)
    return (
        speed * math.cos(true) + boat.current_speed * math.cos(sets),
        speed * math.sin(true) + boat.current_speed * math.sin(sets),
    )


def _shown(
    boat: Boat, chance: random.Random, time: float, heading: float, turning: float, engine_speed: float
) -> Iterator[Sample]:
    for compass in boat.compasses:
        shown = compass_angle(compass.reads(heading) + chance.gauss(0, compass.noise))
        yield Sample(time, "heading", shown, compass.source, "", "magnetic")
        yield Sample(time, "rate_of_turn", turning + chance.gauss(0, 0.12), compass.source)
    for engine in range(boat.engines):
        offset = boat.engine_offsets[engine] if engine < len(boat.engine_offsets) else 0.0
        running = max(boat.idle, engine_speed + offset * engine_speed / boat.full_throttle)
        yield Sample(time, "engine_speed", running + chance.gauss(0, 6), "10", str(engine))
        yield Sample(time, "fuel_flow", boat.fuel_at(running) * (1 + chance.gauss(0, 0.004)), "10", str(engine))
