"""Moves the simulated boat about: for trying a tablet out ashore, and for the recordings of the sample jobs.

It moves plausibly and repeats exactly for a seed. What the boat is like stands in `simulated_boat`.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Iterator

from garboard.record_types import frozen
from garboard.recordings.simulated_boat import Boat, Compass
from garboard.samples import Sample
from garboard.series import compass_angle

__all__ = ["Boat", "Compass", "Order", "simulate"]

METRES_PER_DEGREE = 111_120.0
"""Length of a degree of latitude [m]: 60 nautical miles, near enough for a few miles of track."""


@frozen(kw_only=True)
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
    boat: Boat,
    orders: Iterable[Order],
    *,
    start: float,
    seed: int = 1,
    rate: float = 10.0,
    heading: float = 0.0,
    noise: float = 1.0,
) -> Iterator[Sample]:
    """Samples of a boat under orders, oldest first.

    start   : time of the first sample, seconds since 1970 [s]
    rate    : samples of each quantity a second [Hz]
    heading : magnetic direction of the bow at the start [deg]
    noise   : of the usual noise of its instruments [-]; 0 shows the truth, for `simulated_boat.with_errors`
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
            north, east = boat.over_ground(heading + boat.variation, speed)
            latitude += north * 0.514444 * step / METRES_PER_DEGREE
            longitude += east * 0.514444 * step / (METRES_PER_DEGREE * math.cos(math.radians(latitude)))
            yield from _shown(boat, chance, time, heading, turning, engine_speed, noise)
            yield Sample(
                time, "course_over_ground", compass_angle(math.degrees(math.atan2(east, north))), "3", "", "true"
            )
            yield Sample(
                time, "speed_over_ground", max(0.0, math.hypot(north, east) + noise * chance.gauss(0, 0.05)), "3"
            )
            yield Sample(time, "latitude", latitude, "3")
            yield Sample(time, "longitude", longitude, "3")
            time += step


def _towards(heading: float, course: float) -> float:
    error = (course - heading + 180) % 360 - 180
    return max(-8.0, min(8.0, error * 0.4))


def _shown(
    boat: Boat,
    chance: random.Random,
    time: float,
    heading: float,
    turning: float,
    engine_speed: float,
    noise: float,
) -> Iterator[Sample]:
    for compass in boat.compasses:
        shown = compass_angle(compass.reads(heading) + noise * chance.gauss(0, compass.noise))
        yield Sample(time, "heading", shown, compass.source, "", "magnetic")
        yield Sample(time, "rate_of_turn", turning + noise * chance.gauss(0, 0.12), compass.source)
    for engine in range(boat.engines):
        offset = boat.engine_offsets[engine] if engine < len(boat.engine_offsets) else 0.0
        running = min(boat.limiter, max(boat.idle, engine_speed + offset * engine_speed / boat.full_throttle))
        yield Sample(time, "engine_speed", running + noise * chance.gauss(0, 6), "10", str(engine))
        yield Sample(time, "fuel_flow", boat.fuel_at(running) * (1 + noise * chance.gauss(0, 0.004)), "10", str(engine))
