"""What is heard on the boat's network, for the field it belongs to: one touch takes it, and it says that it was heard.

Two instruments that send one quantity are never mixed. Where both are heard a person picks; the choice stays with the
vessel, in its field "network_sources". A guide follows the chosen one, else the one that spoke first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import attrs

from garboard.fields import Field, Kind
from garboard.records import NETWORK_SOURCES, JsonValue, Vessel
from garboard.samples import SIMULATED, UNIT_OF_QUANTITY, StreamKey
from garboard.series import engine_instance, engine_numbers, mean
from garboard.units import UNITS_OF, Amount, convert
from garboard_tablet.models.asks import Ask
from garboard_tablet.models.live import STALE_AFTER
from garboard_tablet.models.one_source import OF_HEADING_SENSORS, choices_of

if TYPE_CHECKING:
    from garboard.recordings.boat_network import BoatNetwork, Newest
    from garboard_tablet.models.tablet import Tablet

HEARD_FROM = "heard from"
"""How the instrument of a value begins that was taken from the network."""
DECIMALS: Mapping[str, int] = {
    "rev/min": 0, "kn": 1, "mph": 1, "km/h": 1, "m/s": 1, "L/h": 1, "gal/h": 1, "deg": 0, "degC": 1, "degF": 0,
    "kPa": 1, "hPa": 0, "psi": 2, "inHg": 2, "V": 2, "mV": 0, "h": 1, "min": 0, "s": 0, "%": 0, "m": 1, "ft": 0,
}  # fmt: skip
"""How finely a value heard is written; as boat instruments show it: common practice, no source."""
FLOWS, SMALL_FLOW = ("L/h", "gal/h"), 10.0
"""A flow below this is written a digit finer: at idle a tenth of a gallon is a sixth of the whole."""
ENGINES = frozenset({"engine_speed", "fuel_flow", "engine_hours", "engine_trim", "engine_temperature", "oil_pressure"})
"""Quantities whose instance is an engine."""


@attrs.frozen(kw_only=True)
class Offer:
    """A value heard now, for one field.

    text   : as people say it
    value  : as it would be kept
    choice : which instrument it is from, as the vessel keeps a choice
    title  : the same for a person: an address, and what the device says of itself
    """

    text: str
    value: JsonValue
    choice: str
    title: str
    is_simulated: bool = False

    @property
    def instrument(self) -> str:
        return f"{HEARD_FROM} {self.title}"


def offers(ask: Ask, unit: str, vessel: Vessel, network: BoatNetwork | None) -> tuple[Offer, ...]:
    """What is heard now that an ask takes: one for each instrument, or only the one that was chosen for the vessel."""
    if network is None or not ask.field.heard:
        return ()
    newest = {key: one for key, one in network.newest(ask.field.heard).items() if one.age <= STALE_AFTER}
    devices = network.devices()
    found = _of_field(ask, newest, vessel)
    made = [_offer(ask.field, unit, choice, number, devices) for choice, number in found.items()]
    chosen = choices_of(vessel).get(choice_key(ask))
    return tuple(one for one in made if one.choice == chosen) if chosen else tuple(made)


def choice_key(ask: Ask) -> str:
    """Under what the choice of an instrument for an ask is kept: one for all engines, and one for each other piece."""
    quantity = ask.field.heard
    return quantity if quantity in ENGINES or not _piece(ask) else f"{quantity} {_piece(ask)}"


def _piece(ask: Ask) -> str:
    return ask.of if ask.key.kind == "measure" else "".join(ask.key.subject[1:2])


def _of_field(ask: Ask, newest: Mapping[StreamKey, Newest], vessel: Vessel) -> dict[str, float]:
    """The number for a field from each instrument that sends it."""
    quantity = ask.field.heard
    if quantity in ENGINES:
        return _of_engines(ask, newest, vessel)
    fitting = {key: one.value for key, one in newest.items() if not _is_of_something_else(key)}
    return {f"{key.source}#{key.instance}".rstrip("#"): value for key, value in sorted(fitting.items())}


def _is_of_something_else(key: StreamKey) -> bool:
    """Whether a stream of the quantity is of another thing than a field asks for: fresh water is no fuel."""
    if key.quantity == "tank_level":
        return not key.instance.startswith(("fuel", "petrol"))
    if key.quantity == "humidity":
        return key.instance.startswith("inside")
    return key.reference == "magnetic"


def _of_engines(ask: Ask, newest: Mapping[StreamKey, Newest], vessel: Vessel) -> dict[str, float]:
    """The engine's number from each source; without an engine the mean of all, from a source that sends them all."""
    by_source: dict[str, dict[str, float]] = {}
    for key, one in newest.items():
        by_source.setdefault(key.source, {})[engine_instance(key.instance, len(vessel.engines))] = one.value
    positions = [engine.position for engine in vessel.engines]
    piece = _piece(ask)
    if ask.field.kind is Kind.COUNT:  # which instance the engine is: they are numbered from port
        place = positions.index(piece) if piece in positions else -1
        numbered = {s: sorted((i for i in heard if i.isdigit()), key=int) for s, heard in by_source.items()}
        fitting = {s: found for s, found in numbered.items() if len(found) == len(positions) and place >= 0}
        return {source: float(found[place]) for source, found in fitting.items()}
    numbers = engine_numbers([engine.network_instance for engine in vessel.engines] or [None])
    wanted = [n for p, n in zip(positions or [""], numbers, strict=False) if piece in ("", p)]
    if not wanted or None in wanted:
        return {}
    texts = [str(number) for number in wanted]
    whole = {source: [heard[t] for t in texts] for source, heard in by_source.items() if set(texts) <= heard.keys()}
    return {source: mean(values) for source, values in whole.items()}


def _offer(field: Field, unit: str, choice: str, number: float, devices: Mapping[str, Sequence[str]]) -> Offer:
    source = choice.partition("#")[0]
    said = next(iter(devices.get(source, ())), "")
    simulated = source.startswith(SIMULATED)
    title = " ".join(filter(None, (choice.replace("#", ", "), f"({said})" if said else ""))) or "the network"
    if field.kind is Kind.COUNT:
        return Offer(text=f"{number:.0f}", value=round(number), choice=choice, title=title, is_simulated=simulated)
    units = UNITS_OF[field.quantity]
    shown = unit if unit in units else field.unit
    amount = convert(number, UNIT_OF_QUANTITY[field.heard], shown)
    finer = shown in FLOWS and abs(amount) < SMALL_FLOW
    text = str(Amount(f"{amount:.{DECIMALS.get(shown, 1) + finer}f}", shown))
    return Offer(text=text, value=text, choice=choice, title=title, is_simulated=simulated)


def rivals(quantities: Sequence[str], vessel: Vessel, network: BoatNetwork | None) -> dict[str, tuple[str, ...]]:
    """The instruments of each quantity that several send now and that nobody has chosen among.

    A boat has several heading sensors, and their guides tell them apart themselves.
    """
    found: dict[str, tuple[str, ...]] = {}
    if network is None:
        return found
    for quantity in quantities:
        if quantity in OF_HEADING_SENSORS or quantity in choices_of(vessel):
            continue
        sources = {key.source for key, one in network.newest(quantity).items() if one.age <= STALE_AFTER}
        if len(sources) > 1:
            found[quantity] = tuple(sorted(sources))
    return found


# What a vessel remembers


def choose(tablet: Tablet, hull: str, key: str, choice: str) -> None:
    """Keep with the vessel which instrument is believed. "" for none: whoever speaks first is followed again."""
    state = tablet.boat(hull).vessel_home(NETWORK_SOURCES)
    tablet.save(tablet.author().write(state, "field", (NETWORK_SOURCES, key), choice))
