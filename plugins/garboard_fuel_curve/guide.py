"""Tells the person at the helm when a throttle step has been held steady long enough to read."""

from __future__ import annotations

import math
from collections.abc import Mapping

import attrs

from garboard.findings import in_full, rounded
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.samples import Sample
from garboard.series import engine_instance, engine_numbers
from garboard.steps import Guidance, LiveGuide
from garboard.units import convert
from garboard_fuel_curve.steps import GUIDE

LONGEST_GAP = 3.0
"""A longer silence of anything watched starts the wait again [s]."""

UNDER_WAY_FROM = 900.0
"""Above this an engine does not idle, and throttle steps have begun [rev/min]; common practice, no source."""

SETTLING = 5.0
"""Steady for less than this still counts as settling [s]."""

Key = tuple[str, str]
"""Quantity, and the engine's place from port where there are several."""


@frozen
class _Watched:
    """One stream since everything has been steady."""

    source: tuple[str, str]
    heard: float
    value: float
    low: float
    high: float
    total: float
    count: int

    @property
    def mean(self) -> float:
        return self.total / self.count


@frozen(kw_only=True)
class Watch:
    """The state of the guide.

    positions : of the engines; one without a name where none or one is entered
    numbers   : of the same on the network; "" for engines that would share one
    tolerance : half width each quantity may vary by, in its sample unit
    told_in   : the units to tell speed and fuel flow in
    since     : start of the steady stretch [s]
    now       : time of the last sample [s]
    """

    positions: tuple[str, ...]
    numbers: tuple[str, ...]
    wanted: float
    tolerance: Mapping[str, float]
    told_in: tuple[str, str] = ("kn", "gal/h")
    since: float = 0.0
    now: float = -math.inf
    streams: Mapping[Key, _Watched] = attrs.field(factory=dict)

    @property
    def engines(self) -> int:
        return len(self.positions)

    @property
    def missing(self) -> tuple[str, ...]:
        """Quantities not heard yet, in words, with the engine where there are several."""
        absent = [
            _of_engine(quantity, self.positions[number])
            for quantity in ("engine_speed", "fuel_flow")
            for number in range(self.engines)
            if (quantity, str(number)) not in self.streams
        ]
        if ("speed_over_ground", "") not in self.streams:
            absent.append(_of_engine("speed_over_ground", ""))
        return tuple(absent)

    @property
    def silent(self) -> bool:
        """Whether the speed of an engine is not heard: then no number stands for all of them."""
        return any(("engine_speed", str(number)) not in self.streams for number in range(self.engines))

    @property
    def seconds(self) -> float:
        """How long everything has been steady [s], up to the time everything was heard."""
        if self.missing:
            return 0.0
        return max(0.0, min(one.heard for one in self.streams.values()) - self.since)


def begin(view: JobView) -> Watch:
    """The state before the first sample."""
    instances = [engine.network_instance for engine in view.vessel.engines]
    return Watch(
        positions=tuple(e.position for e in view.vessel.engines) if len(view.vessel.engines) > 1 else ("",),
        numbers=tuple("" if one is None else str(one) for one in engine_numbers(instances or [None])),
        wanted=view.setting_value("fuel_curve.steady_seconds", "s"),
        tolerance={
            "engine_speed": view.setting_value("fuel_curve.steady_engine_speed", "rev/min"),
            "fuel_flow": convert(view.setting_value("fuel_curve.steady_fuel_flow", "gal/h"), "gal/h", "L/h"),
            "speed_over_ground": view.setting_value("fuel_curve.steady_speed", "kn"),
        },
        told_in=(view.unit_to_tell("kn"), view.unit_to_tell("gal/h")),
    )


def take(watch: Watch, sample: Sample) -> Watch:
    """The state after one more sample. Samples of other things, out of order or without a number change nothing."""
    key = _key(watch, sample)
    if key is None or not math.isfinite(sample.value) or not math.isfinite(sample.time):
        return watch
    if sample.time < watch.now:
        back = watch.now - sample.time > LONGEST_GAP  # the clock was set back: begin again
        return take(attrs.evolve(watch, now=-math.inf, streams={}), sample) if back else watch
    source = (sample.source, sample.instance)
    before = watch.streams.get(key)
    if before and before.source != source and sample.time - before.heard <= LONGEST_GAP:
        return watch  # a second sensor of the same thing
    if any(sample.time - one.heard > LONGEST_GAP for one in watch.streams.values()):
        return attrs.evolve(watch, now=sample.time, since=sample.time, streams={key: _first(source, sample)})
    after = _longer(before, sample) if before else _first(source, sample)
    steady = before is not None and after.high - after.low <= 2 * watch.tolerance[sample.quantity]
    if steady:
        return attrs.evolve(watch, now=sample.time, streams={**watch.streams, key: after})
    others = {other: _from_last(one) for other, one in watch.streams.items()}
    return attrs.evolve(watch, now=sample.time, since=sample.time, streams={**others, key: _first(source, sample)})


def _key(watch: Watch, sample: Sample) -> Key | None:
    """The stream a sample belongs to, None for one that is not watched."""
    if sample.quantity == "speed_over_ground":
        return sample.quantity, ""
    instance = engine_instance(sample.instance, len(watch.numbers))
    known = instance in watch.numbers and sample.quantity in watch.tolerance
    return (sample.quantity, str(watch.numbers.index(instance))) if known else None


def _of_engine(quantity: str, position: str) -> str:
    return ": ".join(filter(None, (quantity.replace("_", " "), position)))


def _first(source: tuple[str, str], sample: Sample) -> _Watched:
    value = sample.value
    return _Watched(source, sample.time, value, value, value, value, 1)


def _from_last(one: _Watched) -> _Watched:
    return attrs.evolve(one, low=one.value, high=one.value, total=one.value, count=1)


def _longer(one: _Watched, sample: Sample) -> _Watched:
    value = sample.value
    low, high = min(one.low, value), max(one.high, value)
    return _Watched(one.source, sample.time, value, low, high, one.total + value, one.count + 1)


def show(watch: Watch) -> Guidance:
    """Engine speed as the big number, and whether to wait, hold or read."""
    speeds = [watch.streams[key].mean for key in sorted(watch.streams) if key[0] == "engine_speed"]
    number = sum(speeds) / len(speeds) if speeds and not watch.silent else None
    columns = _columns(watch)
    under_way = any(speed > UNDER_WAY_FROM for speed in speeds)
    if watch.missing:
        word = f"no {watch.missing[0]}"
        return Guidance(
            number=number, unit="rev/min", word=word, decimals=0, progress=0.0, under_way=under_way, columns=columns
        )
    seconds = watch.seconds
    ready = seconds >= watch.wanted
    flows = [one.mean for key, one in watch.streams.items() if key[0] == "fuel_flow"]
    speed, (in_speed, in_flow) = watch.streams["speed_over_ground", ""].mean, watch.told_in
    return Guidance(
        number=number,
        unit="rev/min",
        word="take it now" if ready else "hold" if seconds >= min(SETTLING, watch.wanted) else "settling",
        on_target=ready,
        decimals=0,
        progress=min(1.0, seconds / watch.wanted),
        lines=(
            f"Speed {rounded(convert(speed, 'kn', in_speed), 1)} {in_speed}",
            f"Fuel {rounded(convert(math.fsum(flows), 'L/h', in_flow), 1)} {in_flow}",
            f"Steady {math.floor(round(min(seconds, watch.wanted), 6))} of {in_full(watch.wanted)} s",
        ),
        done=ready,
        under_way=under_way,
        columns=columns,
    )


def _columns(watch: Watch) -> tuple[tuple[str, float | None], ...]:
    """The engine speed of each of several engines; None for one that is not heard."""
    if watch.engines < 2:
        return ()
    heard = {key[1]: one.mean for key, one in watch.streams.items() if key[0] == "engine_speed"}
    return tuple((position, heard.get(str(number))) for number, position in enumerate(watch.positions))


STEADY = LiveGuide(
    key=GUIDE,
    title="Steady enough to read",
    quantities=("engine_speed", "fuel_flow", "speed_over_ground"),
    begin=begin,
    take=take,
    show=show,
)
