"""The vessel and its equipment as tables of text, for the handover book."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from typing import TypeVar

from garboard import hull_number
from garboard.findings import Table
from garboard.hosting.equipment import Kinds, kind_title, kinds_shown, plugin_needed
from garboard.records import (
    Battery,
    Circuit,
    Engine,
    HeadingSensor,
    NetworkBus,
    OwnPiece,
    Propeller,
    Tank,
    Vessel,
    is_own_kind,
)

Piece = TypeVar("Piece")


def vessel_facts(vessel: Vessel) -> tuple[tuple[str, str], ...]:
    """What is known of the vessel, label and value."""
    facts = {
        "Hull number": hull_number.printed(vessel.hull_number),
        "Name": vessel.name,
        "Maker": vessel.maker,
        "Model": vessel.model,
        "Hull": vessel.hull_form,
        "Length": _text(vessel.length),
        "Beam": _text(vessel.beam),
        "Deadrise": _text(vessel.deadrise),
        "Displacement as run": _text(vessel.displacement_as_run),
        "Displacement fully laden": _text(vessel.displacement_full_load),
        "Steering": vessel.steering,
        "Power on the plate": _text(vessel.plate_power),
    }
    return tuple((label, value) for label, value in facts.items() if value)


def equipment_tables(vessel: Vessel, kinds: Kinds) -> Iterator[Table]:
    """A table for each kind of equipment the vessel has; columns nobody filled in are left out.

    kinds : those that plugins declare. What is aboard of another needs its plugin, and the table's title says so
    """
    yield from _table("Engines", vessel.engines, _ENGINE)
    fitted = [engine for engine in vessel.engines if engine.propeller]
    yield from _table("Propellers", fitted, {"Engine": lambda engine: engine.position} | _of_propellers(_came_with))
    yield from _table(
        "Propellers tried", vessel.propellers, {"Name": lambda tried: tried.name} | _of_propellers(_itself)
    )
    yield from _table("Fuel tanks", vessel.tanks, _TANK)
    yield from _table("Batteries", vessel.batteries, _BATTERY)
    yield from _table("Heading sensors", vessel.heading_sensors, _SENSOR)
    yield from _table("Circuits", vessel.circuits, _CIRCUIT)
    yield from _table("Instrument networks", vessel.networks, _NETWORK)
    for kind in kinds_shown(vessel, kinds):
        if is_own_kind(kind):
            yield from _of_own_kind(kind, vessel, kinds)


def _of_own_kind(kind: str, vessel: Vessel, kinds: Kinds) -> Iterable[Table]:
    """Pieces of a kind that a plugin declares; without it, everything as it was entered, by the names of its facts."""
    pieces: list[OwnPiece] = [*vessel.of_kind(kind).values()]
    declared, title = kinds.get(kind), kind_title(kind, kinds)
    fields = {field.name: field.title for field in declared.fields} if declared else {}
    named = declared.one.capitalize() if declared else "Name"
    if plugin := plugin_needed(kind, kinds):
        title = f"{title} (needs the plugin {plugin})"
    names = dict.fromkeys((*fields, *(name for piece in pieces for name in piece.more)))
    columns: dict[str, Callable[[OwnPiece], str]] = {named: lambda piece: piece.name}
    columns |= {fields.get(name) or name.replace("_", " ").capitalize(): partial(_fact, name) for name in names}
    return _table(title, pieces, columns)


def _fact(name: str, piece: OwnPiece) -> str:
    value = piece.more.get(name)
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else _text(value)


def _text(value: object) -> str:
    return "" if value is None else str(value)


def _window(engine: Engine) -> str:
    low, high = engine.full_throttle_low, engine.full_throttle_high
    return f"{low.text} to {high}" if low is not None and high is not None else ""


def _protection(circuit: Circuit) -> str:
    """ "7.5 A fuse"; "none" where there is none."""
    rating = "" if circuit.protection == "none" else _text(circuit.protection_rating)
    return f"{rating} {circuit.protection}".strip()


def _conductor(circuit: Circuit) -> str:
    return f"{circuit.conductor_awg} AWG" if circuit.conductor_awg else _text(circuit.conductor_area)


_ENGINE: Mapping[str, Callable[[Engine], str]] = {
    "Position": lambda engine: engine.position,
    "Maker and model": lambda engine: f"{engine.maker} {engine.model}".strip(),
    "Serial number": lambda engine: engine.serial_number,
    "Rated": lambda engine: _text(engine.rated_power),
    "Full throttle": _window,
    "Gear ratio": lambda engine: _text(engine.gear_ratio),
    "Hours": lambda engine: _text(engine.hours),
    "Propeller fitted": lambda engine: engine.fitted,
    "Mounting height": lambda engine: engine.mounting_height,
}


def _came_with(engine: Engine) -> Propeller:
    return engine.propeller or Propeller()


def _itself(propeller: Propeller) -> Propeller:
    return propeller


def propeller_in_words(propeller: Propeller) -> str:
    """Diameter by pitch as stamped, blades and handing, as people say it.

    >>> from garboard.units import Amount
    >>> propeller_in_words(Propeller(diameter=Amount("15.3", "in"), pitch=Amount("19", "in"), blades=3, handing="left"))
    '15.3 x 19 in, 3 blades, left'
    >>> propeller_in_words(Propeller(diameter=Amount("389", "mm"), pitch=Amount("19", "in"), blades=4))
    '389 mm x 19 in, 4 blades'
    >>> propeller_in_words(Propeller(pitch=Amount("19", "in"))), propeller_in_words(Propeller())
    ('pitch 19 in', '')
    """
    blades = f"{propeller.blades} blades" if propeller.blades else ""
    return ", ".join(filter(None, (_stamped(propeller), blades, propeller.handing)))


def _stamped(propeller: Propeller) -> str:
    diameter, pitch = propeller.diameter, propeller.pitch
    if diameter is None or pitch is None:
        named = (("diameter", diameter), ("pitch", pitch))
        return ", ".join(f"{name} {length}" for name, length in named if length is not None)
    return f"{diameter.text} x {pitch}" if diameter.unit == pitch.unit else f"{diameter} x {pitch}"


def _of_propellers(propeller: Callable[[Piece], Propeller]) -> dict[str, Callable[[Piece], str]]:
    """What is told of a propeller, by heading; a column nobody filled in is left out."""
    return {
        "Size": lambda piece: propeller_in_words(propeller(piece)),
        "Pitch measured": lambda piece: _text(propeller(piece).pitch_measured),
        "Material": lambda piece: _text(propeller(piece).material),
        "Cup": lambda piece: _text(propeller(piece).cup),
        "Maker's text": lambda piece: propeller(piece).maker_text,
        "Stock number": lambda piece: propeller(piece).stock_number,
    }


_TANK: Mapping[str, Callable[[Tank], str]] = {
    "Tank": lambda tank: tank.name,
    "Capacity": lambda tank: _text(tank.capacity),
}
_BATTERY: Mapping[str, Callable[[Battery], str]] = {
    "Serves": lambda battery: battery.name,
    "Kind": lambda battery: battery.chemistry,
    "Voltage": lambda battery: _text(battery.nominal_voltage),
    "Capacity": lambda battery: _text(battery.capacity),
}
_CIRCUIT: Mapping[str, Callable[[Circuit], str]] = {
    "Circuit": lambda circuit: circuit.name,
    "Conductor": _conductor,
    "Run, source to load": lambda circuit: _text(circuit.length),
    "Fuse or breaker": lambda circuit: _protection(circuit),
    "Design current": lambda circuit: _text(circuit.design_current),
    "Battery": lambda circuit: circuit.battery,
}
_SENSOR: Mapping[str, Callable[[HeadingSensor], str]] = {
    "Sensor": lambda sensor: sensor.name,
    "Place": lambda sensor: sensor.location,
}
_NETWORK: Mapping[str, Callable[[NetworkBus], str]] = {
    "Network": lambda network: network.name,
    "Backbone": lambda network: _text(network.backbone_length),
    "Cable": lambda network: network.cable,
    "Supply": lambda network: _text(network.supply_voltage),
    "Devices": lambda network: ", ".join(device.name for device in network.devices),
}


def _table(title: str, pieces: Sequence[Piece], columns: Mapping[str, Callable[[Piece], str]]) -> Iterable[Table]:
    filled = {heading: [cell(piece) for piece in pieces] for heading, cell in columns.items()}
    kept = {heading: cells for heading, cells in filled.items() if any(cells)}
    if kept:
        yield Table(title, tuple(kept), tuple(zip(*kept.values(), strict=True)))
