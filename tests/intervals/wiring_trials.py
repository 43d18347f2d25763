"""Cables, batteries and a data network of simulated boats, and the figures of the wiring audit."""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Mapping
from functools import partial

import attrs

from garboard.findings import Finding
from garboard.job_view import FieldKey
from garboard.recordings.simulated_boat import Battery, Cable
from garboard.records import JsonValue
from intervals import declared
from intervals.harness import Case, Figure, Says, Stated, Trial, at_95, typed, typed_job

AUDIT = "wiring_audit"
CIRCUITS, LOADS, STANDING, BATTERIES, NETWORKS = (
    f"{AUDIT}.{step}" for step in ("circuits", "loads", "standing_current", "batteries", "networks")
)
HOUSE: dict[str, JsonValue] = {
    "name": "house",
    "chemistry": "flooded",
    "nominal_voltage": "12 V",
    "capacity": "100 Ah",
}
SIZES = (1.5, 2.5, 4.0, 6.0)  # [mm2]


def _vessel(**pieces: JsonValue) -> Mapping[str, JsonValue]:
    return {"batteries": [HOUSE], **pieces}


def _circuit(name: str, size: float, length: float, design: float, **more: JsonValue) -> dict[str, JsonValue]:
    return {
        "name": name,
        "conductor_area": f"{size:g} mm2",
        "insulation_temperature": "105 degC",
        "in_engine_space": False,
        "in_sheath": False,
        "bundled_conductors": 2,
        "length": typed(length, 0.1, "m"),
        "nominal_voltage": "12 V",
        "design_current": f"{design:g} A",
        "protection": "fuse",
        "protection_rating": "15 A",
        "protection_distance": "5 in",
        "fed_from": "panel",
        "runs_with_others": True,
        "critical": True,
        "battery": "house",
        **more,
    }


def a_cable(chance: random.Random, size: float, current: float) -> Cable:
    """A conductor that loses between 5 and 9 % of 12 V: more than a critical circuit may."""
    length = chance.uniform(0.6, 1.1) / Cable(length=1.0, area=size, temperature=30.0).drop_at(current)
    return Cable(
        length=length,
        area=size * (1 + at_95(chance, declared.COPPER_AREA)),
        temperature=chance.uniform(declared.COPPER_COLDEST, declared.COPPER_WARMEST),
    )


def copper_alone(chance: random.Random, noise: float) -> Case:
    """A circuit whose current was read and whose drop was not: the copper says the least it loses."""
    size, current = chance.choice(SIZES), chance.uniform(4.0, 12.0)
    cable = a_cable(chance, size, current)
    with_joints = attrs.evolve(cable, joints=chance.uniform(0.0, 0.2) / current)
    shown = current * (1 + at_95(chance, declared.CURRENT_METER))
    values: dict[FieldKey, JsonValue] = {(CIRCUITS, "current", "", "Pump"): typed(shown, 0.1, "A")}
    job = typed_job(_vessel(circuits=[_circuit("Pump", size, cable.length, 1.0)]), values)
    return Case(
        job, {"copper": _percent(cable.drop_at(current)), "with joints": _percent(with_joints.drop_at(current))}
    )


def _percent(drop: float) -> float:
    return 100 * drop / 12.0


def least_of_copper(findings: Iterable[Finding]) -> Stated | None:
    """The lower end of the copper's own drop."""
    for finding in findings:
        for number in finding.numbers:
            if number.name == "drop by circular mils" and number.expanded_uncertainty is not None:
                least = number.value - number.expanded_uncertainty
                return Stated(least, least, math.inf)
    return None


def drop_by_meter(chance: random.Random, noise: float) -> Case:
    """A drop read as the difference of two voltages with one meter; the supply sags between the readings."""
    size, current = chance.choice(SIZES), chance.uniform(4.0, 12.0)
    cable = a_cable(chance, size, current)
    meter, drop = 1 + at_95(chance, declared.VOLTMETER), cable.drop_at(current)
    source = 12.6
    at_source = _volts(meter * source)
    at_load = _volts(meter * (source - drop - noise * chance.gauss(0, declared.SUPPLY_SAGS)))
    shown = current * (1 + at_95(chance, declared.CURRENT_METER))
    values: dict[FieldKey, JsonValue] = {
        (CIRCUITS, "current", "", "Pump"): typed(shown, 0.1, "A"),
        (CIRCUITS, "drop", "", "Pump"): typed(at_source - at_load, 0.01, "V"),
    }
    job = typed_job(_vessel(circuits=[_circuit("Pump", size, cable.length, 1.0)]), values)
    return Case(job, {"drop": drop, "share": _percent(drop)})


def _volts(volts: float) -> float:
    return round(volts, 2)


def reserve(low: float, high: float, chance: random.Random, noise: float) -> Case:
    """A battery under a load that was measured; 100 Ah have a 20 h rate of 5 A."""
    load = chance.uniform(low, high)
    battery = Battery(
        capacity=100.0 * (1 + at_95(chance, declared.CAPACITY)),
        exponent=declared.RATE_EXPONENT + at_95(chance, declared.RATE_EXPONENT_WITHIN),
    )
    shown = load * (1 + at_95(chance, declared.CURRENT_METER))
    values: dict[FieldKey, JsonValue] = {(LOADS, "load_current", "", "house"): typed(shown, 0.1, "A")}
    return Case(typed_job(_vessel(), values), {"reserve": battery.hours_at(load, share=0.5)})


def as_range(findings: Iterable[Finding]) -> Stated | None:
    """A reserve time from its shortest to its longest."""
    numbers = {number.name: number.value for finding in findings for number in finding.numbers}
    if "reserve time" not in numbers:
        return None
    return Stated(numbers["reserve time"], numbers["reserve time, shortest"], numbers["reserve time, longest"])


def rest_charge(chance: random.Random, noise: float) -> Case:
    """A flooded battery at rest whose own table lies beside the printed one."""
    percent, volts = chance.uniform(25.0, 80.0), (11.89, 12.06, 12.24, 12.45, 12.65)
    piece = min(int(percent // 25), 3)
    by_table = volts[piece] + (percent - 25 * piece) / 25 * (volts[piece + 1] - volts[piece])
    shown = (by_table + at_95(chance, declared.REST_TABLES)) * (1 + at_95(chance, declared.VOLTMETER))
    values: dict[FieldKey, JsonValue] = {
        (BATTERIES, "rest_voltage", "", "house"): typed(shown, 0.01, "V"),
        (BATTERIES, "hours_at_rest", "", "house"): "12 h",
    }
    return Case(typed_job(_vessel(), values), {"charge": percent})


def standing(chance: random.Random, noise: float) -> Case:
    """A boat left alone with something on."""
    current = chance.uniform(0.02, 0.2)
    capacity = 100.0 * (1 + at_95(chance, declared.CAPACITY))
    shown = current * (1 + at_95(chance, declared.CURRENT_METER))
    values: dict[FieldKey, JsonValue] = {(STANDING, "standing_current", "", "house"): typed(1000 * shown, 1.0, "mA")}
    by_itself = 180.0 * (1 + at_95(chance, declared.SELF_DISCHARGE))
    days = 1 / (24 * current / (0.5 * capacity) + 1 / by_itself)
    return Case(typed_job(_vessel(), values), {"current": 1000 * current, "days": days})


def load_sum(chance: random.Random, noise: float) -> Case:
    """Four circuits whose currents were all read with one clamp meter, each a tenth or so above its design current."""
    meter = 1 + at_95(chance, declared.CURRENT_METER)
    currents = {f"Load {number}": chance.uniform(1.0, 9.0) for number in range(4)}
    values: dict[FieldKey, JsonValue] = {
        (CIRCUITS, "current", "", name): typed(current * meter, 0.1, "A") for name, current in currents.items()
    }
    circuits: list[JsonValue] = [_circuit(name, 6.0, 3.0, current / 1.15) for name, current in currents.items()]
    return Case(typed_job(_vessel(circuits=circuits), values), {"load": sum(currents.values())})


def network(chance: random.Random, noise: float) -> Case:
    """Voltage at a power tee and at the worst device, one after the other with one meter."""
    meter, tee, drop = 1 + at_95(chance, declared.VOLTMETER), chance.uniform(12.0, 14.2), chance.uniform(0.1, 1.2)
    worst = tee - drop - noise * chance.gauss(0, declared.SUPPLY_SAGS)
    bus: dict[str, JsonValue] = {"name": "main", "cable": "light"}
    values: dict[FieldKey, JsonValue] = {
        (NETWORKS, "tee_voltage", "", "main"): typed(meter * tee, 0.01, "V"),
        (NETWORKS, "worst_voltage", "", "main"): typed(meter * worst, 0.01, "V"),
    }
    return Case(typed_job({"networks": [bus]}, values), {"drop": drop, "worst": tee - drop})


def _one(name: str, number: str, truth: str, calculator: str) -> Figure:
    return Figure(name=name, number=number, truth=truth, calculator=f"{AUDIT}.{calculator}")


TRIALS = (
    Trial(
        name="copper alone",
        make=copper_alone,
        figures=(
            _one("drop by copper", "drop by circular mils", "copper", "drop_calculated"),
            Figure(
                name="drop by copper, as the least a circuit loses",
                calculator="wiring_audit.drop_calculated",
                truth="with joints",
                read=least_of_copper,
                says=Says.AT_LEAST,
                safe_side="joints, fuse holder and switch only add to what the copper loses",
            ),
        ),
    ),
    Trial(
        name="drop by meter",
        make=drop_by_meter,
        figures=(
            _one("drop by meter", "drop, as read", "drop", "drop_measured"),
            _one("drop by meter, share", "drop", "share", "drop_measured"),
        ),
    ),
    Trial(
        name="reserve above the 20 h rate",
        make=partial(reserve, 6.0, 25.0),
        figures=(
            Figure(
                name="battery reserve",
                calculator="wiring_audit.battery_reserve",
                truth="reserve",
                read=as_range,
                says=Says.FACTOR,
            ),
        ),
        boats=2000,
    ),
    Trial(
        name="reserve below the 20 h rate",
        make=partial(reserve, 1.0, 4.5),
        figures=(
            Figure(
                name="battery reserve, drawn slowly",
                calculator="wiring_audit.battery_reserve",
                number="reserve time, at least",
                truth="reserve",
                says=Says.AT_LEAST,
                safe_side="a battery drawn more slowly than in 20 h gives more than its stamped capacity",
            ),
        ),
    ),
    Trial(
        name="charge at rest",
        make=rest_charge,
        figures=(_one("charge at rest", "charge", "charge", "battery_charge"),),
        boats=2000,
    ),
    Trial(
        name="standing current",
        make=standing,
        figures=(
            _one("standing current", "standing current", "current", "standing_current"),
            _one("days left alone", "days", "days", "standing_current"),
        ),
        boats=2000,
    ),
    Trial(
        name="load sum",
        make=load_sum,
        figures=(_one("load of a battery", "load", "load", "load_sum"),),
    ),
    Trial(
        name="network voltage",
        make=network,
        figures=(
            _one("network drop by meter", "supply drop", "drop", "network_voltage_measured"),
            _one("voltage at the worst device", "worst device", "worst", "network_voltage_measured"),
        ),
        boats=2000,
    ),
)

KNOWN: dict[str, str] = {}
"""Figures that do not hold yet, with the reason. Mend the plugin and take the line out; never loosen the rule."""
