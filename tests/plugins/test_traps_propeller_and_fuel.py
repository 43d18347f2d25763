"""Sea trials that lead a check astray: of each, what a rigger would sign, held to by codes, verdicts and places.

They were written down, with the verdicts, before anybody looked at what the checks do. A trap must be named and nothing
may pass on it; an innocent one must not be asked about. Boats and readings are invented; the single's curve has the
shape of a published skiff's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from random import Random
from typing import Any

import attrs
import pytest

from builders import boat, job_view
from garboard.findings import Finding, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey, JobView
from garboard.records import JsonValue, Propeller, Tank, Vessel
from garboard.samples import Recording, Sample, gather
from garboard.units import Amount
from garboard_fuel_curve.full_throttle_runs import runs_of

HOST = make_host(("garboard_prop_check", "garboard_fuel_curve"), entry_points=False)
PASS, ADVISE, FAIL, MISSING = Verdict.PASS, Verdict.ADVISE, Verdict.FAIL, Verdict.NOT_ENOUGH_DATA
CAPACITY, PROPELLER, CONDITIONS, RUNS = (
    f"prop_check.{name}" for name in ("capacity", "propeller", "conditions", "full_throttle")
)
STEPS, TANKS = "fuel_curve.steps", "fuel_curve.tanks"

Rows = Sequence[tuple[int, float, float]]
"""Engine speed [rev/min], speed, fuel flow of each engine; units as the boat's."""

SINGLE: Rows = (
    (630, 2.8, 0.5),
    (1000, 4.3, 0.8),
    (1500, 6.0, 1.3),
    (2000, 8.0, 2.1),
    (2500, 12.3, 2.8),
    (3000, 16.5, 3.8),
    (3500, 21.0, 5.0),
    (4000, 23.9, 6.9),
    (4500, 27.3, 8.6),
    (5000, 30.0, 11.1),
    (5600, 33.5, 14.5),
)
BELOW_FULL = SINGLE[:-1]
TWIN: Rows = (
    (700, 3.2, 0.6),
    (1200, 5.6, 1.3),
    (1700, 7.4, 2.3),
    (2200, 8.8, 4.2),
    (2700, 14.9, 5.2),
    (3200, 21.8, 6.3),
    (3700, 27.0, 7.8),
    (4200, 31.6, 9.9),
    (4800, 37.2, 13.2),
    (5400, 42.4, 17.2),
    (5850, 46.0, 20.5),
)
TRIPLE: Rows = (  # km/h, L/h
    (650, 5.6, 2.6),
    (1200, 9.8, 5.2),
    (1800, 14.1, 11.0),
    (2400, 17.4, 20.5),
    (3000, 33.0, 25.0),
    (3600, 45.4, 31.0),
    (4200, 56.1, 41.5),
    (4800, 65.9, 56.0),
    (5400, 75.0, 76.0),
    (5800, 80.9, 93.1),
)
DIESEL: Rows = tuple(
    (turns, speed, round(0.35 + 9.6 * (turns / 4000) ** 2.7, 1))
    for turns, speed in zip(
        (700, 1200, 1700, 2200, 2700, 3200, 3600, 4000), (3.4, 6.0, 8.0, 11.5, 18.6, 24.2, 28.3, 31.9), strict=True
    )
)
CALM: dict[str, JsonValue] = {
    "trim": "at best",
    "load": "half",
    "fuel_level": "50 %",
    "persons": 2,
    "water": "calm",
    "air_temperature": "21 degC",
    "air_pressure": "1014 hPa",
    "humidity": "60 %",
    "hull_kind": "cruiser or average runabout",
}


def made(
    engines: int,
    size: str,
    window: tuple[int, int],
    *,
    tank: str,
    cup: str = "light",
    limiter: str = "6200 rev/min",
    **more: str,
) -> Vessel:
    """A boat; `size` is its propellers' pitch, `more` amounts of its engines and of itself."""
    of_boat = ("displacement_as_run", "plate_power", "length", "transom_width", "transom_height")
    amounts = {name: Amount.parse(text) for name, text in more.items()}
    found = boat(
        engines,
        hull_form="planing",
        tanks=(Tank(name="main", capacity=Amount.parse(tank)),),
        propeller=Propeller(pitch=Amount.parse(size), diameter=Amount.parse("15.3 in"), blades=3, cup=cup),
        full_throttle_low=Amount(str(window[0]), "rev/min"),
        full_throttle_high=Amount(str(window[1]), "rev/min"),
        limiter_speed=Amount.parse(limiter),
        **{name: one for name, one in amounts.items() if name not in of_boat},
    )
    fields: dict[str, Any] = {name: one for name, one in amounts.items() if name in of_boat}
    return attrs.evolve(found, steering="remote", **fields)


skiff = partial(
    made,
    1,
    tank="60 gal",
    rated_power="175 hp",
    rated_speed="5500 rev/min",
    plate_power="200 hp",
    length="21 ft",
    transom_width="7.6 ft",
    transom_height="25 in",
)
LIGHT_WEIGHT = {"displacement_as_run": "3400 lb", "gear_ratio": "1.92"}
SKIFF = skiff("15 in", (5000, 6000), **LIGHT_WEIGHT)
NARROW = skiff("15 in", (5400, 6000), **LIGHT_WEIGHT)
CRUISER = made(
    2,
    "19 in",
    (5400, 6000),
    tank="188 gal",
    rated_power="250 hp",
    rated_speed="5750 rev/min",
    gear_ratio="1.75",
    plate_power="500 hp",
    displacement_as_run="6800 lb",
)
BIG = made(
    3,
    "18 in",
    (5600, 6000),
    tank="1135 L",
    rated_power="224 kW",
    rated_speed="5750 rev/min",
    gear_ratio="1.75",
    plate_power="671 kW",
    displacement_as_run="5625 kg",
)

Run = tuple[str, str, *tuple[int, ...]]
GOOD: Sequence[Run] = (("with", "33.9 kn", 5610), ("against", "33.1 kn", 5600))
TWIN_RUNS: Sequence[Run] = (("with", "46.4 kn", 5850, 5840), ("against", "45.6 kn", 5840, 5830))
TRIPLE_RUNS: Sequence[Run] = (("with", "81.6 km/h", 5800, 5850, 5790), ("against", "80.2 km/h", 5790, 5840, 5780))


def trial(
    vessel: Vessel = SKIFF,
    runs: Sequence[Run] = GOOD,
    rows: Rows = SINGLE,
    *,
    typed: Mapping[tuple[str, int], str] | None = None,
    units: tuple[str, str] = ("kn", "gal/h"),
    fuel: str = "gasoline",
    tanks: Mapping[str, JsonValue] | None = None,
    more: Mapping[FieldKey, JsonValue] | None = None,
    recordings: Mapping[str, Recording] | None = None,
    **conditions: JsonValue,
) -> JobView:
    """A job with runs and steps; `typed` puts another value in a field of a row, of the middle engine where of one."""
    positions = [engine.position for engine in vessel.engines]
    values: dict[FieldKey, JsonValue] = {(CAPACITY, "label_read", "", ""): True, (STEPS, "fuel", "", ""): fuel}
    for position in positions:
        values |= {(PROPELLER, field, "", position): True for field in ("stamp_read", "nut_secured", "blades_sound")}
    values |= {(CONDITIONS, field, "", ""): value for field, value in (CALM | conditions).items()}
    for number, (way, speed, *turns) in enumerate(runs, 1):
        values[RUNS, "direction", str(number), ""] = way
        values[RUNS, "speed", str(number), ""] = speed
        for position, read in zip(positions, turns, strict=True):
            values[RUNS, "engine_speed", str(number), position] = f"{read} rev/min"
    for number, (at, speed_there, flow) in enumerate(rows, 1):
        row = str(number)
        values[STEPS, "nominal_engine_speed", row, ""] = f"{at} rev/min"
        values[STEPS, "speed_out", row, ""] = f"{speed_there + 0.3:.1f} {units[0]}"
        values[STEPS, "speed_back", row, ""] = f"{speed_there - 0.3:.1f} {units[0]}"
        values |= {(STEPS, "fuel_flow", row, position): f"{flow:.1f} {units[1]}" for position in positions}
    for (field, row_number), another in (typed or {}).items():
        values[STEPS, field, str(row_number), positions[len(positions) // 2] if field == "fuel_flow" else ""] = another
    for field, value in (tanks or {}).items():
        if isinstance(value, list):
            values |= {(TANKS, field, "", at): one for at, one in zip(positions, value, strict=True)}
        else:
            values[TANKS, field, "", ""] = value
    return job_view(vessel, values | dict(more or {}), recordings=recordings)


Leg = tuple[int, float, float, float, float, float]
"""Seconds, engine speed [rev/min], over ground [kn], through water [kn], course [deg], fuel flow [gal/h]."""


def recorded(
    legs: Iterable[Leg], *, log: bool = False, flow: bool = False, hung_at: float | None = None
) -> Mapping[str, Recording]:
    """A recording "r" of legs, a value a second, eight seconds from one to the next; the receiver may hang."""
    rough, samples, time = Random(1), list[Sample](), 0.0
    before: tuple[float, ...] | None = None
    for seconds, *after in legs:
        for second in range(seconds):
            share = min(1.0, (second + 1) / 8) if before else 1.0
            pairs = zip(before or after, after, strict=True)
            turns, ground, water, course, burn = (share * new + (1 - share) * old for old, new in pairs)
            speed = hung_at if hung_at and time > 40 else ground + rough.gauss(0, 0.07)
            samples += [
                Sample(time, "engine_speed", turns + rough.gauss(0, 7), "1", "0"),
                Sample(time, "speed_over_ground", speed, "2"),
                Sample(time, "course_over_ground", course + rough.gauss(0, 1), "2", "", "true"),
            ]
            if log:
                samples.append(Sample(time, "speed_through_water", water + rough.gauss(0, 0.07), "3"))
            if flow:
                samples.append(Sample(time, "fuel_flow", burn * 3.785411784 * rough.gauss(1, 0.006), "1", "0"))
            time += 1.0
        before = tuple(after)
    return {"r": gather("r", samples)}


def both_ways(out: float, back: float, water: float = 33.5) -> list[Leg]:
    slow = (1500.0, 6.0, 6.0)
    return [
        (30, *slow, 80, 0),
        (75, 5610, out, water, 80, 0),
        (45, *slow, 260, 0),
        (75, 5600, back, water, 260, 0),
    ]


def of_recording(recordings: Mapping[str, Recording]) -> JobView:
    return trial(runs=(), more={(RUNS, "all_runs", "", ""): {"file": "r"}}, recordings=recordings)


def steps_of_recording(log: float) -> JobView:
    """The steps recorded alone, with a log that shows so much of the speed through the water."""
    ways = ((80, 1.5), (260, -1.5))
    legs = [(40, at, v + way, log * v, course, flow) for course, way in ways for at, v, flow in SINGLE]
    more: dict[FieldKey, JsonValue] = {(STEPS, "recording", "", ""): {"file": "r"}}
    return trial(rows=(), more=more, recordings=recorded(legs, log=True, flow=True))


def steps_recorded(burning: float = 1.0) -> Mapping[str, Recording]:
    ways = ((80, 0.4), (260, -0.4))
    legs = [(40, at, v + way, v, course, burning * flow) for course, way in ways for at, v, flow in SINGLE]
    return recorded(legs, flow=True)


def run_one_recorded(typed: str) -> JobView:
    """Run 1 typed beside its recording, which has 33.9 kn."""
    runs: Sequence[Run] = (("with", typed, 5610), ("against", "33.1 kn", 5600))
    return trial(
        runs=runs, more={(RUNS, "recording", "1", ""): {"file": "r"}}, recordings=recorded(both_ways(33.9, 33.1)[:2])
    )


def told(view: JobView) -> dict[str, list[Finding]]:
    found: dict[str, list[Finding]] = {}
    for one in HOST.assess(view):
        found.setdefault(one.calculator, []).append(one.finding)
    return found


FLOWS, SPEEDS = (STEPS, "fuel_flow"), (RUNS, "speed")


@attrs.frozen(kw_only=True)
class Trap:
    """What must be said of a trap.

    told   : codes that must be there, with their verdicts
    doubts : places somebody must doubt, without which a figure would rest on them
    never  : calculators of which nothing may pass
    sound  : calculators of which all must pass: the fault is not theirs
    """

    view: Callable[[], JobView]
    told: Mapping[str, Verdict]
    doubts: Sequence[FieldKey] = ()
    never: Sequence[str] = ()
    sound: Sequence[str] = ()


P, F = "prop_check.", "fuel_curve."
OF_SPEED = (f"{P}speed", f"{P}slip", f"{P}crouch")
OF_CURVE = (f"{F}best_cruise", f"{F}planing_hump", f"{F}mixed_use", f"{F}range")

TRAPS = {
    "01 one speed of four mistyped": Trap(
        view=lambda: trial(runs=(*GOOD, ("with", "33.8 kn", 5605), ("against", "31.3 kn", 5600))),
        told={f"{P}readings.runs_differ": ADVISE},
        doubts=[(*SPEEDS, "4", "")],
        never=OF_SPEED,
        sound=[f"{P}window"],
    ),
    "03 mph typed as knots": Trap(
        view=lambda: trial(runs=(("with", "39.0 kn", 5610), ("against", "38.1 kn", 5600))),
        told={f"{P}slip.below_zero": FAIL, f"{F}against_others.full_throttle_speed": ADVISE},
        doubts=[(*SPEEDS, "1", ""), (*SPEEDS, "2", "")],
        never=[*OF_SPEED, f"{P}pitch"],
    ),
    "05 gear ratio mistyped": Trap(
        view=lambda: trial(skiff("15 in", (5000, 6000), displacement_as_run="3400 lb", gear_ratio="1.29")),
        told={f"{P}slip.more_than_usual": ADVISE},
        never=[f"{P}slip", f"{P}pitch"],
        sound=[f"{P}speed", f"{P}crouch"],
    ),
    "06 stamp misread": Trap(
        view=lambda: trial(skiff("19 in", (5000, 6000), **LIGHT_WEIGHT)),
        told={f"{P}slip.more_than_usual": ADVISE},
        never=[f"{P}slip", f"{P}pitch"],
        sound=[f"{P}speed", f"{P}crouch"],
    ),
    "07 the propeller lets go at full throttle": Trap(
        view=lambda: trial(runs=(("with", "28.2 kn", 6080), ("against", "27.4 kn", 6090)), rows=BELOW_FULL),
        told={f"{P}window.above": FAIL, f"{P}slip.more_than_usual": ADVISE, f"{P}pitch.not_enough_data": MISSING},
        never=[f"{P}pitch"],
    ),
    "08 held by the limiter": Trap(
        view=lambda: trial(
            skiff("15 in", (5000, 6000), **{**LIGHT_WEIGHT, "rated_power": "200 hp"}),
            (("with", "37.2 kn", 6195), ("against", "36.6 kn", 6190)),
            BELOW_FULL,
        ),
        told={f"{P}window.above": FAIL, f"{P}pitch.try_first": ADVISE, f"{F}fuel_for_power.not_enough_data": MISSING},
        sound=[f"{P}slip", f"{F}curve"],
    ),
    "10 on the edge of the window": Trap(
        view=lambda: trial(
            skiff("15 in", (5600, 6000), **LIGHT_WEIGHT), (("with", "33.9 kn", 5605), ("against", "33.1 kn", 5590))
        ),
        told={f"{P}window.low_end_open": ADVISE, f"{P}pitch.too_close": ADVISE},
        sound=OF_SPEED,
    ),
    "13 the receiver hung over both runs": Trap(
        view=lambda: of_recording(recorded(both_ways(34.0, 33.0), hung_at=33.421)),
        told={f"{P}speed.not_enough_data": MISSING},
        never=OF_SPEED,
        sound=[f"{P}window"],
    ),
    "15 the display hung over four runs": Trap(
        view=lambda: trial(
            runs=[(way, "33.4 kn", n) for way, n in zip(("with", "against") * 2, (5650, 5450, 5660, 5440), strict=True)]
        ),
        told={f"{P}readings.same_speed": ADVISE},
        doubts=[(*SPEEDS, str(row), "") for row in (1, 2, 3, 4)],
        never=[*OF_SPEED, f"{P}window"],
    ),
    "15b it hung over a pair": Trap(
        view=lambda: trial(runs=(("with", "33.4 kn", 5650), ("against", "33.4 kn", 5540))),
        told={f"{P}readings.same_speed": ADVISE},
        doubts=[(*SPEEDS, "1", ""), (*SPEEDS, "2", "")],
        never=OF_SPEED,
    ),
    "17 both runs one way": Trap(
        view=lambda: trial(runs=(("with", "34.9 kn", 5610), ("with", "34.8 kn", 5600))),
        told={f"{P}speed.not_enough_data": MISSING},
        never=OF_SPEED,
        sound=[f"{P}window"],
    ),
    "18 water log ten per cent low": Trap(
        view=lambda: of_recording(recorded(both_ways(33.9, 33.1, water=30.2), log=True)),
        told={f"{P}readings.water_log": ADVISE},
        sound=OF_SPEED,
    ),
    "18b water log low over the throttle steps": Trap(
        view=lambda: steps_of_recording(0.9),
        told={f"{F}against_others.water_log": ADVISE},
        sound=[f"{F}curve", f"{F}best_cruise"],
    ),
    "20 typed and recorded speed": Trap(
        view=lambda: run_one_recorded("39.3 kn"),
        told={f"{P}readings.typed_and_recorded": ADVISE},
        doubts=[(*SPEEDS, "1", "")],
        never=OF_SPEED,
    ),
    "21 twins 380 apart": Trap(
        view=lambda: trial(CRUISER, (("with", "45.4 kn", 5760, 5380), ("against", "44.6 kn", 5750, 5370)), TWIN),
        told={f"{P}engine_difference.too_much": ADVISE, f"{P}pitch.not_enough_data": MISSING},
        never=[f"{P}pitch"],
    ),
    "24 three engines, one flow mistyped": Trap(
        view=lambda: trial(
            BIG,
            TRIPLE_RUNS,
            TRIPLE,
            units=("km/h", "L/h"),
            typed={("fuel_flow", 7): "14.5 L/h"},
            tanks={"usable_fuel": "1000 L", "cruise": "3600 rev/min"},
            persons=4,
        ),
        told={f"{F}curve.repeat_steps": ADVISE},
        doubts=[(*FLOWS, "7", "centre")],
        never=OF_CURVE,
    ),
    "25 one step in mph": Trap(
        view=lambda: trial(typed={("speed_out", 9): "31.7 kn", ("speed_back", 9): "31.1 kn"}),
        told={f"{F}curve.repeat_steps": ADVISE},
        doubts=[(STEPS, "speed_out", "9", "")],
        never=OF_CURVE,
        sound=OF_SPEED,
    ),
    "27 flow with its digits swapped": Trap(
        view=lambda: trial(typed={("fuel_flow", 8): "9.6 gal/h"}),
        told={f"{F}curve.repeat_steps": ADVISE},
        doubts=[(*FLOWS, "8", "centre")],
        never=OF_CURVE,
    ),
    "27c the display hung over two steps": Trap(
        view=lambda: trial(typed={("speed_out", 9): "24.2 kn", ("speed_back", 9): "23.6 kn"}),
        told={f"{F}curve.repeat_steps": ADVISE},
        doubts=[(STEPS, "speed_out", "8", ""), (STEPS, "speed_back", "9", "")],
        never=OF_CURVE,
        sound=OF_SPEED,
    ),
    "28 cruise asked for in a gap": Trap(
        view=lambda: trial(
            rows=[row for row in SINGLE if not 1500 < row[0] < 4500],
            tanks={"usable_fuel": "52 gal", "cruise": "3000 rev/min"},
        ),
        told={f"{F}range.not_enough_data": MISSING, f"{F}best_cruise.not_enough_data": MISSING},
        never=OF_CURVE,
    ),
    "29 steps at idle only": Trap(
        view=lambda: trial(rows=SINGLE[:4], tanks={"usable_fuel": "52 gal", "cruise": "3500 rev/min"}),
        told={f"{F}range.not_enough_data": MISSING},
        never=OF_CURVE,
    ),
    "30 the meters' total is not their sum": Trap(
        view=lambda: trial(
            CRUISER,
            TWIN_RUNS,
            TWIN,
            tanks={
                "usable_fuel": "170 gal",
                "same_mark": True,
                "refilled": "31.0 gal",
                "metered": ["15.4 gal", "15.3 gal"],
                "metered_total": "36.7 gal",
                "present_factor": "1.00",
            },
        ),
        told={f"{F}curve.refill_contradicts": ADVISE, f"{F}flow_meter.not_enough_data": MISSING},
        never=OF_CURVE,
    ),
    "33 each flow is that of both": Trap(
        view=lambda: trial(
            CRUISER, TWIN_RUNS, [(at, v, 2 * flow) for at, v, flow in TWIN], tanks={"usable_fuel": "170 gal"}
        ),
        told={f"{F}fuel_for_power.doubtful": ADVISE},
        doubts=[(*FLOWS, "11", "port"), (*FLOWS, "11", "starboard")],
        never=[*OF_CURVE, f"{F}fuel_for_power"],
    ),
    "34 usable fuel in litres": Trap(
        view=lambda: trial(tanks={"usable_fuel": "197 gal", "cruise": "3500 rev/min"}),
        told={f"{F}range.not_enough_data": MISSING},
        never=[f"{F}range"],
        sound=[f"{F}curve"],
    ),
    "35 six persons in a light boat": Trap(
        view=lambda: trial(load="light", persons=6, fuel_level="95 %"),
        told={f"{P}readings.load_not_light": ADVISE},
        doubts=[(CONDITIONS, "load", "", "")],
        never=[f"{P}window", f"{P}pitch"],
        sound=OF_SPEED,
    ),
    "35b nobody and nothing in a full boat": Trap(
        view=lambda: trial(load="full", persons=1, fuel_level="10 %"),
        told={f"{P}readings.load_not_full": ADVISE},
        doubts=[(CONDITIONS, "load", "", "")],
    ),
    "35c one person and no fuel in a half loaded cruiser": Trap(
        view=lambda: trial(CRUISER, TWIN_RUNS, TWIN, load="half", persons=1, fuel_level="0 %"),
        told={f"{P}readings.load_not_half": ADVISE},
        doubts=[(CONDITIONS, "load", "", "")],
    ),
    "35d more people than the boat weighs": Trap(
        view=lambda: trial(load="half", persons=16, fuel_level="50 %"),
        told={f"{P}readings.load_not_half": ADVISE},
        doubts=[(CONDITIONS, "load", "", "")],
    ),
    "36 typed steps contradict their recording": Trap(
        view=lambda: trial(
            typed={("fuel_flow", 10): "14.1 gal/h"},
            more={(STEPS, "recording", "", ""): {"file": "r"}},
            recordings=steps_recorded(),
        ),
        told={f"{F}curve.repeat_steps": ADVISE},
        doubts=[(*FLOWS, "10", "centre")],
        never=OF_CURVE,
        sound=[f"{F}fuel_for_power"],
    ),
    "36c the recording of another propeller": Trap(
        view=lambda: trial(more={(STEPS, "recording", "", ""): {"file": "r"}}, recordings=steps_recorded(burning=1.3)),
        told={f"{F}curve.repeat_steps": ADVISE},
        doubts=[(*FLOWS, "5", "centre"), (*FLOWS, "11", "centre")],
        never=OF_CURVE,
    ),
}


def in_doubt(found: Mapping[str, Sequence[Finding]]) -> set[FieldKey]:
    return {doubt.place for several in found.values() for one in several for doubt in one.doubts}


@pytest.mark.parametrize("trap", TRAPS.values(), ids=TRAPS)
def test_a_trap_is_named(trap: Trap) -> None:
    found = told(trap.view())
    said = {one.code: one.verdict for several in found.values() for one in several}
    assert {code: said.get(code) for code in trap.told} == dict(trap.told)
    assert set(trap.doubts) <= in_doubt(found)
    assert not any(one.verdict is PASS for name in trap.never for one in found.get(name, ()))
    assert all(one.verdict is PASS for name in trap.sound for one in found[name])


def test_a_reading_is_named_in_the_unit_it_was_typed_in() -> None:
    (curve,) = told(TRAPS["24 three engines, one flow mistyped"].view())[f"{F}curve"]
    assert "row 7: fuel flow (centre) 14.5 L/h does not fit the other steps" in curve.sentence


def test_only_the_mistyped_reading_is_named() -> None:
    """Not its true neighbours: not row 11 beside a wrong row 10, not the outer engines, not the window."""
    for name in ("24 three engines, one flow mistyped", "36 typed steps contradict their recording"):
        trap = TRAPS[name]
        assert in_doubt(told(trap.view())) == set(trap.doubts)


HUMP = [{2500: (2500, 9.6, 5.0), 3000: (3000, 17.0, 4.6)}.get(row[0], row) for row in SINGLE]
IDLING: Rows = (
    (650, 2.1, 0.5),
    (1200, 4.0, 0.5),
    (1700, 5.7, 1.1),
    (2200, 7.2, 2.4),
    (2700, 9.9, 3.8),
    (3100, 14.4, 4.2),
    (3600, 18.8, 5.4),
    (4200, 23.1, 7.5),
    (4800, 26.9, 9.9),
    (5400, 31.2, 12.7),
    (5850, 33.9, 14.9),
)
FASTER = [(at, round(1.084 * v, 1), flow) for at, v, flow in SINGLE]

INNOCENT: Mapping[str, tuple[Callable[[], JobView], Mapping[str, Verdict]]] = {
    "02 the tide turns": (
        lambda: trial(
            runs=[
                ("with", "35.0 kn", 5610),
                ("against", "32.5 kn", 5600),
                ("with", "33.8 kn", 5605),
                ("against", "34.1 kn", 5600),
            ]
        ),
        {},
    ),
    "03 half loaded with three aboard and a full tank": (
        lambda: trial(load="half", persons=3, fuel_level="100 %"),
        {},
    ),
    "04 a heavy cup": (
        lambda: trial(
            skiff("15 in", (5000, 6000), cup="heavy", **LIGHT_WEIGHT),
            (("with", "36.6 kn", 5610), ("against", "36.0 kn", 5600)),
            FASTER,
            hull_kind="light, fast runabout",
        ),
        {f"{P}slip.cup_explains": ADVISE, f"{P}crouch.slower": ADVISE},
    ),
    "09 near the top of the window, light": (
        lambda: trial(
            runs=(("with", "35.8 kn", 5930), ("against", "35.2 kn", 5920)),
            rows=BELOW_FULL,
            load="light",
            persons=1,
            fuel_level="25 %",
        ),
        {},
    ),
    "11 low in the window, full": (
        lambda: trial(
            attrs.evolve(NARROW, displacement_as_run=Amount.parse("4300 lb")),
            (("with", "32.4 kn", 5480), ("against", "31.6 kn", 5470)),
            BELOW_FULL,
            load="full",
            persons=6,
            fuel_level="100 %",
        ),
        {},
    ),
    "12 a hot, damp day": (
        lambda: trial(
            NARROW,
            (("with", "32.5 kn", 5340), ("against", "31.9 kn", 5330)),
            BELOW_FULL,
            air_temperature="38 degC",
            air_pressure="985 hPa",
            humidity="80 %",
        ),
        {f"{P}window.below": FAIL, f"{P}pitch.air_explains": ADVISE},
    ),
    "14 one speed both ways on a lake": (
        lambda: trial(runs=(("with", "33.5 kn", 5605), ("against", "33.5 kn", 5600))),
        {},
    ),
    "16 three knots of river": (lambda: trial(runs=(("with", "36.5 kn", 5610), ("against", "30.5 kn", 5600))), {}),
    "19 the log in a current": (lambda: of_recording(recorded(both_ways(36.5, 30.5), log=True)), {}),
    "19b the log over the throttle steps": (lambda: steps_of_recording(1.02), {}),
    "20b typed as recorded": (lambda: run_one_recorded("33.9 kn"), {}),
    "22 twins 70 apart": (
        lambda: trial(CRUISER, (("with", "46.2 kn", 5850, 5780), ("against", "45.4 kn", 5840, 5770)), TWIN),
        {},
    ),
    "23 three engines, metric": (
        lambda: trial(
            BIG,
            TRIPLE_RUNS,
            TRIPLE,
            units=("km/h", "L/h"),
            tanks={"usable_fuel": "1000 L", "cruise": "3600 rev/min"},
            persons=4,
        ),
        {f"{P}capacity.within_unit_of_label": ADVISE},
    ),
    "26 a real hump": (lambda: trial(rows=HUMP), {}),
    "27b idle and the next step alike to the tenth": (lambda: trial(rows=IDLING), {}),
    "31 a small refill": (
        lambda: trial(
            tanks={
                "usable_fuel": "52 gal",
                "same_mark": True,
                "refilled": "3.0 gal",
                "metered": ["2.6 gal"],
                "present_factor": "1.00",
            }
        ),
        {},
    ),
    "32 a diesel": (
        lambda: trial(
            skiff(
                "16 in",
                (3800, 4200),
                limiter="4400 rev/min",
                **{**LIGHT_WEIGHT, "gear_ratio": "1.46", "rated_speed": "4000 rev/min"},
            ),
            (("with", "32.3 kn", 4010), ("against", "31.5 kn", 4000)),
            DIESEL,
            fuel="diesel",
        ),
        {},
    ),
    "35c four persons, half full of fuel": (lambda: trial(persons=4), {}),
    "35d two in a small boat, light": (
        lambda: trial(
            attrs.evolve(SKIFF, displacement_as_run=Amount.parse("3000 lb")), load="light", fuel_level="100 %"
        ),
        {},
    ),
    "35e a full boat": (lambda: trial(load="full", persons=5, fuel_level="90 %"), {}),
    "36b typed steps as recorded": (
        lambda: trial(more={(STEPS, "recording", "", ""): {"file": "r"}}, recordings=steps_recorded()),
        {},
    ),
}


@pytest.mark.parametrize(("view", "also"), INNOCENT.values(), ids=INNOCENT)
def test_the_innocent_are_not_accused(view: Callable[[], JobView], also: Mapping[str, Verdict]) -> None:
    """All pass, or say what they lack; `also` is what is not in order with them, by code."""
    found = [one for several in told(view()).values() for one in several]
    assert {one.code: one.verdict for one in found if one.verdict not in (PASS, MISSING)} == dict(also)
    assert not any(one.doubts or one.doubted for one in found)
    passed = {one.code for one in found if one.verdict is PASS}
    assert {f"{P}speed.measured", f"{F}curve.in_order"} <= passed


@pytest.mark.parametrize("name", ["02 the tide turns", "16 three knots of river", "19 the log in a current"])
def test_both_plugins_tell_one_speed_of_the_runs(name: str) -> None:
    """The mean of means of typed runs; of a recording, which each cuts by itself, nobody reads two sets of tenths."""
    view = INNOCENT[name][0]()
    (speed,) = told(view)[f"{P}speed"]
    runs = runs_of(view)
    assert runs is not None
    typed = view.rows(RUNS) != ()
    exact, rounded = f"{speed.numbers[0].value:.1f} kn", f"about {speed.numbers[0].value:.0f} kn"
    assert runs.told(view)[0] == (exact if typed else rounded)


@pytest.mark.parametrize("name", ["02 the tide turns", "14 one speed both ways on a lake", "16 three knots of river"])
def test_the_current_drops_out(name: str) -> None:
    (speed,) = told(INNOCENT[name][0]())[f"{P}speed"]
    assert speed.numbers[0].value == pytest.approx(33.5, abs=0.01)


def test_a_slip_that_a_cup_may_explain_is_held_against_what_is_usual() -> None:
    """It is less than usual, so a program that looks at limits alone sees it beyond one."""
    slip = told(INNOCENT["04 a heavy cup"][0]())[f"{P}slip"][0]
    beyond = [number.name for number, limit in slip.bounded if not limit.holds(number.value)]
    assert "slip by the stamped pitch" in beyond
