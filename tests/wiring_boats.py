"""A boat whose wiring passes every check, for the tests of the wiring audit to spoil in one place at a time."""

from collections.abc import Iterable, Mapping
from typing import Any

import attrs

import garboard_wiring_audit
from builders import job_view
from garboard.findings import Finding, Verdict
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import FieldKey, JobView
from garboard.records import Battery, Circuit, Engine, JsonValue, NetworkBus, NetworkDevice, Vessel
from garboard.units import Amount

Changes = Mapping[str, Any]
Readings = dict[tuple[str, str, str], JsonValue]
"""Values by step, field and what they are of."""


def wiring_host() -> PluginHost:
    """A host with the wiring audit alone."""
    return make_host(built_in=(), entry_points=False, modules={"garboard_wiring_audit": garboard_wiring_audit})


HOST = wiring_host()


def amounts(fields: Changes) -> dict[str, Any]:
    """Text that reads as an amount, such as "12 V", made one; other values as they are."""
    return {name: Amount.parse(value[1:]) if _is_amount(value) else value for name, value in fields.items()}


def _is_amount(value: object) -> bool:
    return isinstance(value, str) and value.startswith("=")


def circuit(name: str = "Bilge pump", **changes: Any) -> Circuit:
    """A circuit that passes: 14 AWG, 105 degC, 10 ft, 5 A, 15 A fuse 5 in from a panel. "=12 V" gives an amount."""
    fields: dict[str, Any] = {
        "conductor_awg": "14",
        "insulation_temperature": "=105 degC",
        "in_engine_space": False,
        "in_sheath": False,
        "bundled_conductors": 2,
        "length": "=10 ft",
        "nominal_voltage": "=12 V",
        "design_current": "=5 A",
        "protection": "fuse",
        "protection_rating": "=15 A",
        "protection_distance": "=5 in",
        "fed_from": "panel",
        "runs_with_others": True,
        "critical": True,
        "battery": "house",
    }
    return Circuit(name=name, **amounts(fields | changes))


def battery(name: str = "house", **changes: Any) -> Battery:
    """A 12 V flooded battery of 100 Ah."""
    fields: dict[str, Any] = {"chemistry": "flooded", "nominal_voltage": "=12 V", "capacity": "=100 Ah"}
    return Battery(name=name, **amounts(fields | changes))


def device(name: str, **changes: Any) -> NetworkDevice:
    """A device of load number 4, 10 m from the power tee on a 2 m drop."""
    fields: dict[str, Any] = {"load_equivalency": 4, "drop_length": "=2 m", "distance_from_power": "=10 m"}
    return NetworkDevice(name=name, **amounts(fields | changes))


def network(name: str = "bridge", **changes: Any) -> NetworkBus:
    """Light cable, 20 m, two devices."""
    fields: dict[str, Any] = {
        "backbone_length": "=20 m",
        "cable": "light",
        "supply_voltage": "=12.6 V",
        "protection_rating": "=3 A",
        "devices": (device("display"), device("depth sensor")),
    }
    return NetworkBus(name=name, **amounts(fields | changes))


READ_ON: Mapping[str, Mapping[str, JsonValue]] = {
    "circuits": {
        "label_present": True,
        "current": "5.0 A",
        "drop": "0.25 V",
        "terminations_tight": True,
        "polarity_right": True,
        "supported": True,
    },
    "batteries": {
        "rest_voltage": "12.60 V",
        "hours_at_rest": "12 h",
        "held_down": True,
        "terminals_covered": True,
        "terminals_fixed": True,
        "vented": True,
        "clear_of_fuel": True,
        "fuse_distance": "5 in",
        "fuse_rating": "100 A",
    },
    "standing_current": {"standing_current": "20 mA"},
    "loads": {"load_current": "5.0 A"},
    "networks": {
        "signal_resistance": "60 ohm",
        "tee_voltage": "12.60 V",
        "worst_voltage": "12.20 V",
        "spare_drops": 1,
        "on_start_battery": False,
    },
}


def wired_job(
    circuits: Iterable[Circuit] = (circuit(),),
    batteries: Iterable[Battery] = (battery(),),
    networks: Iterable[NetworkBus] = (network(),),
    *,
    engines: Iterable[Engine] = (Engine(position="centre", charging_current=Amount.parse("30 A")),),
    read: Mapping[tuple[str, str, str], JsonValue] | None = None,
    settings: Mapping[str, JsonValue] | None = None,
    disagreements: Iterable[FieldKey] = (),
) -> JobView:
    """A job where every piece of equipment reads well; `read` replaces what stands at (step, field, of)."""
    vessel = Vessel(
        hull_number="XYZ00001A626",
        engines=tuple(engines),
        circuits=tuple(circuits),
        batteries=tuple(batteries),
        networks=tuple(networks),
    )
    pieces: dict[str, tuple[Circuit | Battery | NetworkBus, ...]] = {
        "circuits": vessel.circuits,
        "batteries": vessel.batteries,
        "standing_current": vessel.batteries,
        "loads": vessel.batteries,
        "networks": vessel.networks,
    }
    values: dict[FieldKey, JsonValue] = {
        (f"wiring_audit.{step}", field, "", piece.name): value
        for step, readings in READ_ON.items()
        for piece in pieces[step]
        for field, value in readings.items()
    }
    for (step, field, of), value in (read or {}).items():
        place = (f"wiring_audit.{step}", field, "", of)
        values.pop(place, None)
        if value is not None:
            values[place] = value
    keyed = {f"wiring_audit.{name}": value for name, value in (settings or {}).items()}
    return job_view(vessel, values, disagreements=disagreements, settings=keyed)


def said(view: JobView, calculator: str) -> list[Finding]:
    """What one calculator of the wiring audit finds."""
    key = f"wiring_audit.{calculator}"
    step = next(each.step for each in HOST.calculators if each.key == key)
    return [assessed.finding for assessed in HOST.assess(view, [step]) if assessed.calculator == key]


def verdict_on(view: JobView, calculator: str, about: str = "") -> Verdict:
    """The one verdict of a calculator; with `about`, on that piece of equipment."""
    verdicts = [finding.verdict for finding in said(view, calculator) if about in ("", finding.about)]
    if len(verdicts) != 1:
        raise LookupError(f"{calculator} on {about or 'anything'}: {verdicts}")
    return verdicts[0]


def sentence_on(view: JobView, calculator: str) -> str:
    """The one sentence of a calculator."""
    (finding,) = said(view, calculator)
    return finding.sentence


def changed(piece: Any, **changes: Any) -> Any:
    """A piece of equipment with some fields changed; "=12 V" gives an amount."""
    return attrs.evolve(piece, **amounts(changes))
