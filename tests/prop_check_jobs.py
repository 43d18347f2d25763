"""Propeller-check jobs for the tests: a boat as it might come out of the shop, and runs typed or recorded."""

from collections.abc import Mapping, Sequence
from typing import Any

import attrs

from builders import boat, job_view
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import FieldKey, JobView
from garboard.records import JsonValue, Propeller, Vessel
from garboard.samples import Recording, Sample, gather
from garboard.units import Amount

CAPACITY, PROPELLER, CONDITIONS, RUNS = (
    f"prop_check.{step}" for step in ("capacity", "propeller", "conditions", "full_throttle")
)

GOOD_CONDITIONS: dict[str, JsonValue] = {
    "trim": "at best",
    "load": "half",
    "fuel_level": "50 %",
    "persons": 2,
    "water": "calm",
    "air_temperature": "25 degC",
    "air_pressure": "1006 hPa",
    "humidity": "50 %",
}


def host() -> PluginHost:
    """A host with this plugin alone."""
    return make_host(("garboard_prop_check",), entry_points=False)


def amount(text: str | None) -> Amount | None:
    """An amount, or none."""
    return None if text is None else Amount.parse(text)


def vessel(
    engines: int = 1,
    *,
    pitch: str | None = "19 in",
    ratio: str | None = "1.85",
    window: tuple[str, str] | None = ("5400 rev/min", "6000 rev/min"),
    limiter: str | None = "6250 rev/min",
    power: str | None = "200 hp",
    hull_form: str = "planing",
    **more: Any,
) -> Vessel:
    """A boat with as many engines, all alike; `more` gives other fields of the vessel as text or as they are."""
    made = boat(
        engines,
        hull_form=hull_form,
        propeller=Propeller(pitch=amount(pitch), diameter=amount("15 in"), blades=3),
        gear_ratio=amount(ratio),
        full_throttle_low=amount(window[0]) if window else None,
        full_throttle_high=amount(window[1]) if window else None,
        limiter_speed=amount(limiter),
        rated_power=amount(power),
    )
    plain = ("hull_form", "steering", "name")
    fields: dict[str, Any] = {key: text if key in plain else amount(text) for key, text in more.items()}
    return attrs.evolve(made, **fields)


def positions(vessel: Vessel) -> list[str]:
    """The engines from port to starboard."""
    return [engine.position for engine in vessel.engines]


def job(
    boat: Vessel,
    runs: Sequence[Mapping[str, JsonValue]] = (),
    conditions: Mapping[str, JsonValue] | None = None,
    recordings: Mapping[str, Recording] | None = None,
    disagreements: Sequence[FieldKey] = (),
    settings: Mapping[str, JsonValue] | None = None,
    more: Mapping[FieldKey, JsonValue] | None = None,
) -> JobView:
    """A job with runs: keys of a run are a column's name, or an engine's position for its engine speed."""
    values: dict[FieldKey, JsonValue] = {
        (CONDITIONS, field, "", ""): value
        for field, value in (GOOD_CONDITIONS if conditions is None else conditions).items()
    }
    for row, run in enumerate(runs, start=1):
        for key, value in run.items():
            engine = key in positions(boat)
            values[(RUNS, "engine_speed" if engine else key, str(row), key if engine else "")] = value
    return job_view(
        boat,
        values | dict(more or {}),
        recordings=recordings,
        disagreements=disagreements,
        settings=settings,
    )


def two_ways(boat: Vessel, turns: str = "5800 rev/min", speeds: Sequence[str] = ("41.0 kn", "39.0 kn")) -> list[Any]:
    """Runs with and against by turns, every engine at the same speed."""
    return [
        {"direction": ("with", "against")[n % 2], "speed": speed, **dict.fromkeys(positions(boat), turns)}
        for n, speed in enumerate(speeds)
    ]


def recorded(stretches: Sequence[tuple[float, float, float, Sequence[float]]], hertz: int = 5) -> Recording:
    """A recording of stretches one after the other: seconds, speed [kn], course [deg], engine speeds [rev/min]."""
    samples: list[Sample] = []
    time = 1000.0
    for seconds, speed, course, turns in stretches:
        for tick in range(int(seconds * hertz)):
            now = time + tick / hertz
            wobble = 0.1 if tick % 2 else -0.1
            samples.append(Sample(now, "speed_over_ground", speed + wobble, "35"))
            samples.append(Sample(now, "course_over_ground", course, "35", reference="true"))
            samples += [
                Sample(now, "engine_speed", engine + 50 * wobble, "10", str(n)) for n, engine in enumerate(turns)
            ]
        time += seconds
    return gather("sea trial", samples)
