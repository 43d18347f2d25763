"""Invented jobs for the tests of the fuel curve."""

from collections.abc import Iterable, Sequence

import garboard_fuel_curve
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey
from garboard.records import ENGINE_POSITIONS, JsonValue
from garboard.samples import Sample

HOST = make_host((), entry_points=False, modules={"garboard_fuel_curve": garboard_fuel_curve})
STEPS, TANKS = "fuel_curve.steps", "fuel_curve.tanks"

Row = tuple[float, float, float]
"""Engine speed [rev/min], speed over ground [kn], fuel flow of all engines [gal/h]."""

PLANING: Sequence[Row] = (
    (650, 2.4, 0.6),
    (1000, 4.5, 1.5),
    (1500, 6.0, 2.6),
    (2000, 7.5, 4.5),
    (2500, 10.0, 7.5),
    (3000, 17.0, 9.5),
    (3500, 23.0, 11.0),
    (4000, 27.5, 13.2),
    (4500, 31.5, 16.2),
    (5000, 35.5, 21.0),
    (5500, 39.0, 27.0),
    (6000, 42.5, 33.0),
)
"""An invented boat with a hump: economy 1.67, 1.33, 1.79 nm/gal at 2000, 2500, 3000 rev/min, best near 3700."""

DISPLACEMENT: Sequence[Row] = (
    (700, 2.5, 0.4),
    (1200, 4.0, 0.9),
    (1700, 5.2, 1.8),
    (2200, 6.0, 3.2),
    (2700, 6.6, 5.2),
    (3200, 7.0, 7.8),
    (3700, 7.3, 11.2),
)
"""An invented boat that never planes: economy falls all the way."""


def typed(
    rows: Iterable[Row], engines: int = 1, *, current: float | None = 0.4, fuel: str = "gasoline"
) -> dict[FieldKey, JsonValue]:
    """Throttle steps as typed; `current` helps out and hinders back, None leaves out the way back."""
    values: dict[FieldKey, JsonValue] = {(STEPS, "fuel", "", ""): fuel}
    for number, (engine_speed, speed, flow) in enumerate(rows, 1):
        row = str(number)
        values[STEPS, "nominal_engine_speed", row, ""] = f"{engine_speed:.0f} rev/min"
        values[STEPS, "speed_out", row, ""] = f"{speed + (current or 0):.1f} kn"
        if current is not None:
            values[STEPS, "speed_back", row, ""] = f"{speed - current:.1f} kn"
        for position in ENGINE_POSITIONS[engines]:
            values[STEPS, "fuel_flow", row, position] = f"{flow / engines:.2f} gal/h"
    return values


def recorded(
    rows: Iterable[Row], engines: int = 1, *, current: float = 0.0, hold: int = 30, courses: Sequence[float] = (90, 270)
) -> list[Sample]:
    """Samples once a second: each step held on each course in turn, with an unsteady spell between.

    Engines wander each in its own time, for no two are alike to the last digit.
    """
    samples: list[Sample] = []
    time = 0.0
    for engine_speed, speed, flow in rows:
        for course in courses:
            along = speed + (current if course < 180 else -current)
            for second in range(hold + 6):
                unsteady = second < 6
                wobble = (second % 3 - 1) * (1.0 if not unsteady else 40.0)
                for engine in range(engines):
                    own = (second + engine) % 3 - 1
                    turns = engine_speed + (4 if not unsteady else 160.0) * own
                    samples.append(Sample(time, "engine_speed", turns, "1", str(engine)))
                    litres = flow / engines * 3.785411784 * (1 + 1e-6 * own * (engine > 0))
                    samples.append(Sample(time, "fuel_flow", litres, "1", str(engine)))
                samples.append(Sample(time, "speed_over_ground", along + 0.05 * wobble, "7"))
                samples.append(Sample(time, "course_over_ground", course, "7", "", "true"))
                time += 1.0
    return samples
