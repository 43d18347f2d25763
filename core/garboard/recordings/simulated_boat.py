"""One simulated outboard boat, and instruments that show it wrongly by as much as somebody injects from outside.

The boat is the truth: hull with a hump, engine with a limiter, propeller, fuel map, current, heading sensors,
batteries and their cables. Nothing in it is random. `Errors` are what an instrument adds to a truth: noise, scale,
offset, a wrong unit, a coarse digit, a time for which it freezes. The same seed gives the same readings.

`simulator` moves this boat about. It is no model of any real boat and proves nothing about one.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Iterator, Mapping

from garboard.record_types import frozen
from garboard.samples import Sample, StreamKey
from garboard.series import compass_angle

INCHES_PER_NAUTICAL_MILE = 1852 / 0.0254
DIRECTIONS = ("heading", "course_over_ground")
"""Quantities that go round: an error on them is added as an angle."""

# --- the boat


@frozen(kw_only=True)
class Compass:
    """A simulated heading sensor. Deviation is A + B sin + C cos + D sin 2 + E cos 2 of its own heading [deg],
    east positive.

    noise : standard deviation of what the demonstration adds to each heading it sends [deg]
    """

    source: str
    constant: float = 0.0
    sine: float = 0.0
    cosine: float = 0.0
    sine_of_twice: float = 0.0
    cosine_of_twice: float = 0.0
    noise: float = 0.3

    def deviation_on(self, compass: float) -> float:
        """Deviation on a heading by this compass [deg]."""
        angle = math.radians(compass)
        once = self.sine * math.sin(angle) + self.cosine * math.cos(angle)
        twice = self.sine_of_twice * math.sin(2 * angle) + self.cosine_of_twice * math.cos(2 * angle)
        return self.constant + once + twice

    def reads(self, magnetic: float) -> float:
        """What it shows [deg] when the bow points to a magnetic direction [deg]."""
        deviation = self.constant
        for _ in range(3):  # deviation is a function of the compass heading, so close in on it
            deviation = self.deviation_on(magnetic - deviation)
        return compass_angle(magnetic - deviation)


@frozen(kw_only=True)
class Cable:
    """A copper conductor from a battery to a load and back.

    length      : one way [m]
    area        : of copper [mm2]
    temperature : of the copper [degC]
    joints      : resistance of its joints together [ohm]
    """

    length: float
    area: float
    temperature: float = 20.0
    joints: float = 0.0

    def drop_at(self, current: float) -> float:
        """Voltage lost there and back [V] at a current [A].

        Ohm's law; annealed copper has 1/58 ohm mm2/m at 20 degC and 0.393 % more for each degree above.
        """
        copper = 2 * self.length / (58 * self.area) * (1 + 0.00393 * (self.temperature - 20))
        return current * (copper + self.joints)


@frozen(kw_only=True)
class Battery:
    """A bank of batteries.

    capacity : what it gives over 20 h from full [Ah]
    exponent : of Peukert's law [-]
    """

    name: str = "house"
    capacity: float = 100.0
    exponent: float = 1.15
    voltage: float = 12.7

    def hours_at(self, load: float, share: float = 1.0) -> float:
        """How long a share of it carries a steady load [h], a load above 0 [A]."""
        return share * 20 * math.pow(self.capacity / 20 / load, self.exponent)


@frozen(kw_only=True)
class Boat:
    """What the simulated boat is like.

    limiter        : engine speed the engine holds itself below [rev/min]
    full_throttle  : engine speed its propeller lets it reach [rev/min]
    hump           : engine speed at which the hull climbs its bow wave [rev/min]
    speed_per_rev  : speed on plane at full throttle over engine speed [kn per rev/min]
    hull_speed     : speed afloat at the hump [kn]
    fuel_at_full   : one engine's fuel flow at full throttle [L/h]
    engine_offsets : how far each engine runs above or below the throttle's engine speed [rev/min]
    pitch          : of every propeller, as it really is [in]
    gear_ratio     : engine turns for one of the propeller [-]
    """

    engines: int = 1
    idle: float = 650.0
    full_throttle: float = 5800.0
    limiter: float = 6250.0
    hump: float = 2600.0
    speed_per_rev: float = 0.0068
    hull_speed: float = 7.0
    fuel_at_full: float = 100.0
    engine_offsets: tuple[float, ...] = (0.0,)
    pitch: float = 17.0
    gear_ratio: float = 1.85
    variation: float = -12.0
    compasses: tuple[Compass, ...] = (Compass(source="20"),)
    batteries: tuple[Battery, ...] = (Battery(),)
    current_speed: float = 0.6
    current_sets_towards: float = 75.0
    latitude: float = 37.5
    longitude: float = -68.0

    def engine_speed_at(self, throttle: float) -> float:
        """Steady engine speed [rev/min] at a throttle from 0 to 1; the limiter holds it."""
        return min(self.limiter, self.idle + throttle * (self.full_throttle - self.idle))

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

    def theoretical_speed_at(self, engine_speed: float) -> float:
        """Speed of a propeller that does not slip [kn] at an engine speed [rev/min]."""
        return engine_speed / self.gear_ratio * self.pitch * 60 / INCHES_PER_NAUTICAL_MILE

    def slip_at(self, engine_speed: float) -> float:
        """Share of the theoretical speed the boat does not make [-] at an engine speed above 0 [rev/min]."""
        return 1 - self.speed_at(engine_speed) / self.theoretical_speed_at(engine_speed)

    def over_ground(self, true_heading: float, speed: float) -> tuple[float, float]:
        """North and east part of the speed over ground [kn], from a heading [deg] and a speed through water [kn]."""
        true, sets = math.radians(true_heading), math.radians(self.current_sets_towards)
        return (
            speed * math.cos(true) + self.current_speed * math.cos(sets),
            speed * math.sin(true) + self.current_speed * math.sin(sets),
        )


# --- what its instruments show


@frozen(kw_only=True)
class Errors:
    """What an instrument adds to the truth. Unit by unit as the quantity, angles in degrees.

    noise   : standard deviation
    forgets : time after which noise is another, 1/e [s]; 0 where each reading has noise of its own
    scale   : of the truth [-]
    offset  : added after the scale
    unit    : what a wrong unit multiplies it by [-], 1.1508 for miles an hour read as knots
    digit   : step of the last digit shown, 0 for none
    freezes : from and to [s]: it shows its last reading on
    """

    noise: float = 0.0
    forgets: float = 0.0
    scale: float = 1.0
    offset: float = 0.0
    unit: float = 1.0
    digit: float = 0.0
    freezes: tuple[float, float] | None = None


class Instrument:
    """Shows truths one after the other, each with its errors. The same seed shows the same.

    >>> Instrument(Errors(scale=1.1, digit=0.5), seed=1).shows(20.2)
    22.0
    """

    def __init__(self, errors: Errors, seed: int | str, directed: bool = False) -> None:
        self._errors = errors
        self._chance = random.Random(seed)
        self._directed = directed
        self._noise: tuple[float, float] | None = None  # time, and noise in standard deviations
        self._last: float | None = None

    def shows(self, truth: float, time: float = 0.0) -> float:
        """What it shows of a truth at a time [s]. Times must not go back."""
        errors = self._errors
        noise = self._noise_at(time)  # drawn also while frozen: the readings after it stay the same
        if errors.freezes and errors.freezes[0] <= time <= errors.freezes[1] and self._last is not None:
            return self._last
        shown = (errors.scale * truth + errors.offset + errors.noise * noise) * errors.unit
        if errors.digit:
            shown = round(shown / errors.digit) * errors.digit
        self._last = compass_angle(shown) if self._directed else shown
        return self._last

    def _noise_at(self, time: float) -> float:
        """Noise that forgets itself by and by: an autoregressive process of first order, sampled as it comes."""
        fresh = self._chance.gauss(0.0, 1.0)
        if self._noise is not None and self._errors.forgets > 0:
            kept = math.exp((self._noise[0] - time) / self._errors.forgets)
            fresh = kept * self._noise[1] + math.sqrt(1 - kept * kept) * fresh
        self._noise = (time, fresh)
        return fresh


def with_errors(samples: Iterable[Sample], errors: Mapping[str, Errors], seed: int = 1) -> Iterator[Sample]:
    """Samples as instruments with errors would have sent them.

    samples : the truth, in order of time
    errors  : by quantity, or by quantity and source ("heading 20") where sources differ; others show the truth
    seed    : each stream draws its own noise from it, so an error on one changes no other

    >>> truth = [Sample(float(second), "speed_over_ground", 20.0, "3") for second in range(2)]
    >>> [shown.value for shown in with_errors(truth, {"speed_over_ground": Errors(offset=0.5)})]
    [20.5, 20.5]
    """
    instruments: dict[StreamKey, Instrument | None] = {}
    for sample in samples:
        key = StreamKey(sample.quantity, sample.source, sample.instance, sample.reference)
        if key not in instruments:
            own = errors.get(f"{sample.quantity} {sample.source}", errors.get(sample.quantity))
            made = Instrument(own, f"{seed} {' '.join(key)}", sample.quantity in DIRECTIONS) if own else None
            instruments[key] = made
        instrument = instruments[key]
        yield sample if instrument is None else sample._replace(value=instrument.shows(sample.value, sample.time))


MEASURED_NOISE: Mapping[str, float] = {
    "heading": 0.64,
    "rate_of_turn": 0.12,
    "course_over_ground": 0.97,
    "speed_over_ground": 0.09,
    "speed_through_water": 0.12,
    "engine_speed": 6.0,
}
"""Standard deviation of sensor noise, in UNIT_OF_QUANTITY, measured in recordings of real boats.

How: of each stream the mean over 2 s about each sample is taken off, and the standard deviation of the rest taken. Root
of the mean of the squares over all sources of boats that made 4 to 13 kn: heading 0.90 and 0.04 deg; rate 0.11, 0.003
(filtered) and 0.17 deg/s; course 0.18, 0.31 and 1.65 (a receiver of whole degrees) deg; speed over ground 0.009, 0.024
and 0.15 kn; through the water 0.10, 0.17 and 0.04 kn. Engine speed: an engine at idle, 800 rev/min. The boat's own
quick yaw is in it, so a sensor alone has less. No recording holds full throttle, fuel flow or anything typed.
`tests/real` measures it again.
"""

NOISE_FORGETS = 0.6
"""Time after which sensor noise is another [s]: correlation 0.1 to 0.9 after half a second in the same recordings."""


def measured_noise(times: float = 1.0) -> dict[str, Errors]:
    """Noise as measured on real boats, so many times it, for `with_errors`."""
    return {
        quantity: Errors(noise=times * noise, forgets=0.0 if quantity == "engine_speed" else NOISE_FORGETS)
        for quantity, noise in MEASURED_NOISE.items()
    }
