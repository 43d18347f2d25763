"""Throttle steps and refills of simulated boats, and the figures of the fuel curve.

The truth of a figure is the boat's value where its own tachometer shows that engine speed: the owner reads the same
tachometer as the technician did.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Sequence
from functools import partial

import attrs

from garboard.findings import Finding
from garboard.job_view import FieldKey, JobView
from garboard.recordings.simulated_boat import Boat
from garboard.records import JsonValue
from garboard.units import convert
from garboard_fuel_curve import duty_cycle
from intervals import declared
from intervals.harness import Case, Figure, Says, Stated, Trial, at_95, bounded, typed, typed_job

STEPS, TANKS = "fuel_curve.steps", "fuel_curve.tanks"
BOTH_WAYS, ONE_WAY = True, False
WIDE = (700.0, 1200.0, 1700.0, 2200.0, 2700.0, 3200.0, 3700.0, 4200.0, 4700.0, 5200.0, 5700.0)
CLOSE = (*WIDE[:3], *(2000.0 + 300 * number for number in range(10)), 5200.0, 5700.0)
"""Throttle steps 500 apart, and 300 apart from below the hump to beyond the best cruise [rev/min]."""
RECOVERED = 0.5
"""Share of the rise beyond the hump at which planing begins, as the settings have it [-]."""
RATED_POWER = 200.0  # [hp]


def a_boat(chance: random.Random) -> Boat:
    """A planing boat with a hump and a best cruise well inside the steps."""
    return Boat(
        full_throttle=5700.0,
        hump=chance.uniform(2300, 2700),
        speed_per_rev=chance.uniform(0.0058, 0.0072),
        hull_speed=chance.uniform(6.0, 8.0),
        fuel_at_full=chance.uniform(55.0, 75.0),
        current_speed=0.0,
    )


@attrs.frozen
class Shown:
    """A boat over the engine speed its own tachometer shows, which reads too high by so much [rev/min].

    extra : fuel its engine burns at every engine speed, more than others of its kind [gal/h]
    """

    boat: Boat
    tachometer: float
    extra: float = 0.0

    def speed(self, engine_speed: float) -> float:
        """[kn]"""
        return self.boat.speed_at(engine_speed - self.tachometer)

    def flow(self, engine_speed: float) -> float:
        """[gal/h]"""
        return convert(self.boat.fuel_at(engine_speed - self.tachometer), "L/h", "gal/h") + self.extra

    def economy(self, engine_speed: float) -> float:
        """[nm/gal]"""
        return self.speed(engine_speed) / self.flow(engine_speed)


def truths(shown: Shown, cruise: float, usable: float, steps: Sequence[float]) -> dict[str, float]:
    """What is true of a boat, of its best cruise and its hump, and of the poorest of its steps."""
    grid = [float(engine_speed) for engine_speed in range(700, 5701, 5)]
    economies = [shown.economy(engine_speed) for engine_speed in grid]
    middle = range(grid.index(1700.0), grid.index(4000.0))
    bottom = min(middle, key=economies.__getitem__)
    best = max(range(bottom, len(grid)), key=economies.__getitem__)
    level = economies[bottom] + RECOVERED * (economies[best] - economies[bottom])
    planing = next(index for index in range(bottom, best + 1) if economies[index] >= level)
    before = [index for index in range(bottom) if economies[index] >= level]
    start = max(before) if before else max(range(bottom), key=economies.__getitem__)
    rated = [5700.0, 4560.0, 3420.0, 2280.0]
    flows = [shown.flow(engine_speed) for engine_speed in (*rated, 700.0)]
    return {
        "economy": shown.economy(cruise),
        "speed": shown.speed(cruise),
        "out and back by thirds": usable / 3 * shown.economy(cruise),
        "whole range with 20 % in reserve": 0.8 * usable * shown.economy(cruise),
        "best economy": economies[best],
        "best engine speed": grid[best],
        "planing begins": grid[planing],
        "hump begins": grid[start],
        "economy in the hump": min(shown.economy(step) for step in steps if 1700 <= step <= 4000),
        "fuel flow over mixed use": duty_cycle.weighted(flows),
    }


def typed_steps(steps: Sequence[float], both_ways: bool, chance: random.Random, noise: float) -> Case:
    """Throttle steps read by eye and typed; a current helps one way and hinders the other."""
    # Else every boat idles on the same flow, and the digit it is read to errs the same way in all of them.
    shown = Shown(a_boat(chance), bounded(chance, declared.TACHOMETER), bounded(chance, declared.FLOW_DIGIT / 2))
    receiver, scale = bounded(chance, declared.RECEIVER), 1 + at_95(chance, declared.FLOW_SCALE)
    current = bounded(chance, declared.UNKNOWN_CURRENT) if not both_ways else chance.uniform(-1.2, 1.2)
    by_eye = noise * math.hypot(declared.SPEED_RUN_TO_RUN, declared.SPEED_BY_EYE)
    values: dict[FieldKey, JsonValue] = {(STEPS, "fuel", "", ""): "gasoline", (STEPS, "water_state", "", ""): "calm"}
    for number, step in enumerate(steps, 1):
        row = str(number)
        set_to = step + bounded(chance, declared.ENGINE_DIGIT / 2)  # what the last digit hides
        for field, way in (("speed_out", 1), ("speed_back", -1))[: 2 if both_ways else 1]:
            over_ground = shown.speed(set_to) + way * current + receiver + chance.gauss(0, by_eye)
            values[STEPS, field, row, ""] = typed(max(0.0, over_ground), declared.SPEED_DIGIT, "kn")
        flow = shown.flow(set_to) * scale * (1 + noise * chance.gauss(0, declared.FLOW_REPEATS))
        values[STEPS, "nominal_engine_speed", row, ""] = f"{step:.0f} rev/min"
        values[STEPS, "fuel_flow", row, "centre"] = typed(flow, declared.FLOW_DIGIT, "gal/h")
    cruise = round(chance.uniform(3500, 5000), -1)
    values[TANKS, "usable_fuel", "", ""] = "60.0 gal"
    values[TANKS, "cruise", "", ""] = f"{cruise:.0f} rev/min"
    return Case(_job(values), truths(shown, cruise, 60.0, steps))


def _job(values: dict[FieldKey, JsonValue]) -> JobView:
    engine: dict[str, JsonValue] = {
        "position": "centre",
        "rated_speed": "5700 rev/min",
        "rated_power": f"{RATED_POWER:.0f} hp",
        "full_throttle_low": "5200 rev/min",
        "full_throttle_high": "6000 rev/min",
    }
    return typed_job(
        {"hull_form": "planing", "engines": [engine], "tanks": [{"name": "main", "capacity": "66 gal"}]}, values
    )


def refill(chance: random.Random, noise: float) -> Case:
    """A tank filled to a mark, a run, and the tank filled to the mark again; the mark is hit twice."""
    factor, burned = chance.uniform(0.9, 1.1), chance.uniform(12.0, 60.0)
    marks = noise * (at_95(chance, declared.FILL_REPEATS) - at_95(chance, declared.FILL_REPEATS))
    pump = 1 + bounded(chance, declared.PUMP)
    values: dict[FieldKey, JsonValue] = {
        (TANKS, "same_mark", "", ""): True,
        (TANKS, "refilled", "", ""): typed((burned + marks) * pump, 0.1, "gal"),
        (TANKS, "metered", "", "centre"): typed(burned / factor, 0.1, "gal"),
    }
    return Case(_job(values), {"refill over meter": factor, "factor to set": factor})


def _cruise(how: str) -> tuple[Figure, ...]:
    figure: Callable[..., Figure] = partial(Figure, calculator="fuel_curve.range")
    return (
        figure(name=f"speed at the cruise, {how}", number="speed"),
        figure(name=f"economy at the cruise, {how}", number="economy"),
        figure(name=f"range by thirds, {how}", number="out and back by thirds"),
        figure(name=f"range with reserve, {how}", number="whole range with 20 % in reserve"),
    )


def _at_least() -> tuple[Figure, ...]:
    """The same with a current still in them: told as the low end, with the current against the boat."""
    return tuple(
        attrs.evolve(
            one,
            number=f"{one.number}, at least",
            truth=one.number,
            says=Says.AT_LEAST,
            safe_side="the low end of what holds 95 % on both sides",
        )
        for one in _cruise("one way")
    )


def _between(number: str) -> Callable[[Iterable[Finding]], Stated | None]:
    """What lies from one number to another, both steps or places on the curve."""

    def read(findings: Iterable[Finding]) -> Stated | None:
        for finding in findings:
            found = {one.name: one.value for one in finding.numbers}
            low, high = found.get(f"{number}, from"), found.get(f"{number}, to")
            if low is not None and high is not None:
                return Stated((low + high) / 2, low, high)
        return None

    return read


def _curve(how: str) -> tuple[Figure, ...]:
    cruise: Callable[..., Figure] = partial(Figure, calculator="fuel_curve.best_cruise")
    return (
        cruise(
            name=f"best cruise from and to, {how}",
            read=_between("cruise"),
            truth="best engine speed",
            says=Says.BETWEEN,
            safe_side="engine speeds within 3 % of the best economy",
        ),
        cruise(name=f"best cruise, economy, {how}", number="economy", truth="best economy"),
        Figure(name=f"economy in the hump, {how}", calculator="fuel_curve.planing_hump", number="economy in the hump"),
        Figure(
            name=f"fuel flow over mixed use, {how}",
            calculator="fuel_curve.mixed_use",
            number="fuel flow over mixed use",
        ),
    )


def _hump_between_steps(how: str) -> tuple[Figure, ...]:
    between: Callable[..., Figure] = partial(
        Figure,
        calculator="fuel_curve.planing_hump",
        says=Says.BETWEEN,
        safe_side="the steps around the place; what lies between them is not known",
    )
    return (
        between(name=f"planing begins from and to, {how}", read=_between("planing begins"), truth="planing begins"),
        between(name=f"hump begins from and to, {how}", read=_between("hump begins"), truth="hump begins"),
    )


BEST = Figure(name="best engine speed", calculator="fuel_curve.best_cruise", number="best engine speed")


TRIALS = (
    Trial(
        name="steps 500 apart, both ways",
        make=partial(typed_steps, WIDE, BOTH_WAYS),
        figures=(*_cruise("steps 500 apart"), *_curve("steps 500 apart"), *_hump_between_steps("steps 500 apart")),
    ),
    Trial(
        name="steps 300 apart near the best, both ways",
        make=partial(typed_steps, CLOSE, BOTH_WAYS),
        figures=(
            *_cruise("steps 300 apart"),
            *_curve("steps 300 apart"),
            *_hump_between_steps("steps 300 apart"),
            BEST,
        ),
    ),
    Trial(name="steps one way", make=partial(typed_steps, WIDE, ONE_WAY), figures=_at_least()),
    Trial(
        name="refill",
        make=refill,
        figures=(
            Figure(name="flow-meter factor", calculator="fuel_curve.flow_meter", number="refill over meter"),
            Figure(name="flow-meter factor to set", calculator="fuel_curve.flow_meter", number="factor to set"),
        ),
        boats=2000,
    ),
)

KNOWN: dict[str, str] = {}
"""Figures that do not hold yet, with the reason. Mend the plugin and take the line out; never loosen the rule."""
