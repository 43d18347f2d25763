"""What is heard on the boat's network, for the field it belongs to: one touch takes it, and it says that it was heard.

Two instruments that send one quantity are never mixed. Where both are heard a person picks; the choice stays with the
vessel, in its field "network_sources". A guide follows the chosen one, else the one that spoke first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import attrs

from garboard.fields import Field, Kind
from garboard.findings import rounded
from garboard.records import NETWORK_SOURCES, JsonValue, Vessel
from garboard.samples import SIMULATED, UNIT_OF_QUANTITY, StreamKey
from garboard.series import engine_instance, engine_numbers, mean
from garboard.units import UNITS_OF, Amount, convert
from garboard_tablet.models.asks import Ask
from garboard_tablet.models.live import STALE_AFTER
from garboard_tablet.models.one_source import ENGINES, OF_HEADING_SENSORS, choices_of, of_engine

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
SLOW = frozenset({"tank_level", "engine_hours", "battery_voltage", "air_temperature", "air_pressure", "humidity"})
FRESH_FOR = 15.0
"""What hardly changes is sent every few seconds, by some adapters every ten: so long it is as good as now [s]. Common
practice, no source."""
_AND = " and "
"""Between the sources of a value that is the mean of several engines, each with an adapter of its own."""


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
    fresh_for = FRESH_FOR if ask.field.heard in SLOW else STALE_AFTER
    newest = {key: one for key, one in network.newest(ask.field.heard).items() if one.age <= fresh_for}
    devices = network.devices()
    found = _of_field(ask, newest, vessel)
    if ask.field.heard == "tank_level":
        found = _all_tanks(newest, network.newest("tank_capacity")) | found
    made = [_offer(ask.field, unit, choice, number, devices) for choice, number in found.items()]
    if ask.field.heard in ENGINES:  # chosen for each engine before its number was taken
        return tuple(made)
    choices, own = choices_of(vessel), choice_key(ask, vessel)
    if chosen := choices.get(own):
        return tuple(one for one in made if chosen in (one.choice, one.choice.partition("#")[0]))
    others = [piece for several in vessel.pieces.values() for piece in several] if _piece(ask) else []
    of_others = {choices.get(f"{ask.field.heard} {piece}") for piece in others}  # one battery's is no other's
    return tuple(one for one in made if one.choice not in of_others)


def may_choose_again(ask: Ask, unit: str, vessel: Vessel, network: BoatNetwork | None) -> bool:
    """Whether others are heard beside the instrument that was chosen, or while it is silent."""
    if network is None or not any(key in choices_of(vessel) for key in _choice_keys(ask, vessel)):
        return False
    free = attrs.evolve(vessel, more={**vessel.more, NETWORK_SOURCES: {}})
    chosen = {one.choice for one in offers(ask, unit, vessel, network)}
    return any(one.choice not in chosen for one in offers(ask, unit, free, network))


def _choice_keys(ask: Ask, vessel: Vessel) -> tuple[str, ...]:
    """Under what a choice for an ask may be kept: of an engine also the one for all engines."""
    return tuple(dict.fromkeys((choice_key(ask, vessel), *([ask.field.heard] if ask.field.heard in ENGINES else []))))


def choice_key(ask: Ask, vessel: Vessel) -> str:
    """Under what the choice of an instrument for an ask is kept: one for each engine, and for each other piece."""
    quantity, piece = ask.field.heard, _piece(ask)
    if quantity in ENGINES:
        numbers = [number for number in _numbers_of(piece, vessel) if number is not None] if piece else []
        return of_engine(quantity, numbers[0]) if numbers else quantity
    return f"{quantity} {piece}" if piece else quantity


def _piece(ask: Ask) -> str:
    return ask.of if ask.key.kind == "measure" else "".join(ask.key.subject[1:2])


def _numbers_of(piece: str, vessel: Vessel) -> list[int | None]:
    """The number by which the engine at a position is heard; without a position those of all engines."""
    numbers = engine_numbers([engine.network_instance for engine in vessel.engines] or [None])
    positions = [engine.position for engine in vessel.engines] or [""]
    return [number for position, number in zip(positions, numbers, strict=True) if piece in ("", position)]


def _of_field(ask: Ask, newest: Mapping[StreamKey, Newest], vessel: Vessel) -> dict[str, float]:
    """The number for a field from each instrument that sends it."""
    if ask.field.heard in ENGINES:
        return _of_engines(ask, newest, vessel)
    fitting = {key: one.value for key, one in newest.items() if not _is_of_something_else(key)}
    finer = {key.source for key in fitting if key.instance}  # weather comes in two messages, of which one is finer
    fitting = {key: value for key, value in fitting.items() if key.instance or key.source not in finer}
    return {f"{key.source}#{key.instance}".rstrip("#"): value for key, value in sorted(fitting.items())}


def _all_tanks(levels: Mapping[StreamKey, Newest], capacities: Mapping[StreamKey, Newest]) -> dict[str, float]:
    """Of a source that sends several fuel tanks and what each holds, how full they are together [%]."""
    by_source: dict[str, list[tuple[float, float]]] = {}
    for key, level in levels.items():
        if not _is_of_something_else(key):
            capacity = capacities.get(key._replace(quantity="tank_capacity"))
            by_source.setdefault(key.source, []).append((level.value, capacity.value if capacity else 0.0))
    return {
        f"{source}#all {len(tanks)} tanks": sum(level * capacity for level, capacity in tanks)
        / sum(capacity for _, capacity in tanks)
        for source, tanks in sorted(by_source.items())
        if len(tanks) > 1 and all(capacity > 0 for _, capacity in tanks)
    }


def _is_of_something_else(key: StreamKey) -> bool:
    """Whether a stream of the quantity is of another thing than a field asks for: fresh water is no fuel."""
    if key.quantity == "tank_level":
        return not key.instance.startswith(("fuel", "petrol"))
    if key.quantity == "humidity":
        return key.instance.startswith("inside")
    return key.reference == "magnetic"


def _of_engines(ask: Ask, newest: Mapping[StreamKey, Newest], vessel: Vessel) -> dict[str, float]:
    """The engine's number from each source; without an engine the mean of all, each from its own source."""
    heard: dict[str, dict[str, float]] = {}
    for key, one in newest.items():
        heard.setdefault(engine_instance(key.instance, len(vessel.engines)), {})[key.source] = one.value
    piece = _piece(ask)
    if ask.field.kind is Kind.COUNT:  # which instance the engine is: they are numbered from port
        return _instance_of(piece, heard, vessel)
    numbers = _numbers_of(piece, vessel)
    choices = choices_of(vessel)
    wanted = [_believed(ask.field.heard, str(number), heard.get(str(number), {}), choices) for number in numbers]
    if not wanted or not all(wanted):
        return {}
    if all(len(sources) == 1 for sources in wanted):
        names = dict.fromkeys(source for sources in wanted for source in sources)
        return {_AND.join(names): mean([value for sources in wanted for value in sources.values()])}
    in_all = [source for source in wanted[0] if all(source in sources for sources in wanted)]
    return {source: mean([sources[source] for sources in wanted]) for source in in_all}


def _believed(
    quantity: str, number: str, sources: Mapping[str, float], choices: Mapping[str, str]
) -> Mapping[str, float]:
    """The sources of one engine's value, or only the one that was chosen; one chosen for all, where it sends this."""
    if chosen := choices.get(of_engine(quantity, number)):
        return {source: value for source, value in sources.items() if source == chosen}
    of_all = choices.get(quantity, "")
    return {of_all: sources[of_all]} if of_all in sources else sources


def _instance_of(piece: str, heard: Mapping[str, Mapping[str, float]], vessel: Vessel) -> dict[str, float]:
    """The number an engine is heard by, where as many are heard as there are engines.

    Sentences of NMEA 0183 number engines from the centre line, odd ones to starboard (from memory of the standard), and
    many talkers do otherwise: where theirs do not begin with 0, nobody can say which is which.
    """
    positions = [engine.position for engine in vessel.engines]
    numbered = sorted((instance for instance in heard if instance.isdigit()), key=int)
    if piece not in positions or len(numbered) != len(positions):
        return {}
    number = numbered[positions.index(piece)]
    if numbered[0] != "0" and len(numbered) > 1 and not all(_is_address(one) for one in heard[number]):
        return {}
    return {next(iter(heard[number])): float(number)}


def _offer(field: Field, unit: str, choice: str, number: float, devices: Mapping[str, Sequence[str]]) -> Offer:
    source = choice.partition("#")[0]
    said = next(iter(devices.get(source, ())), "")
    simulated = any(one.startswith(SIMULATED) for one in source.split(_AND))
    title = " ".join(filter(None, (choice.replace("#", ", "), f"({said})" if said else ""))) or "the network"
    if field.kind is Kind.COUNT:
        return Offer(
            text=rounded(number), value=int(rounded(number)), choice=choice, title=title, is_simulated=simulated
        )
    units = UNITS_OF[field.quantity]
    shown = unit if unit in units else field.unit
    amount = convert(number, UNIT_OF_QUANTITY[field.heard], shown)
    finer = shown in FLOWS and abs(amount) < SMALL_FLOW
    text = str(Amount(rounded(amount, DECIMALS.get(shown, 1) + finer), shown))
    return Offer(text=text, value=text, choice=choice, title=title, is_simulated=simulated)


def rivals(quantities: Sequence[str], vessel: Vessel, network: BoatNetwork | None) -> dict[str, tuple[str, ...]]:
    """The instruments of each quantity that several send now and that nobody has chosen among, by key of the choice.

    Of engines, those that send the same engine's. A boat has several heading sensors, and their guides tell them apart
    themselves.
    """
    found: dict[str, tuple[str, ...]] = {}
    if network is None:
        return found
    choices = choices_of(vessel)
    for quantity in quantities:
        if quantity in OF_HEADING_SENSORS or quantity in choices:
            continue
        by_place: dict[str, set[str]] = {}
        for key, one in network.newest(quantity).items():
            place = of_engine(quantity, key.instance or "0") if quantity in ENGINES else quantity
            if one.age <= STALE_AFTER and place not in choices:
                by_place.setdefault(place, set()).add(key.source)
        contested = {place: tuple(sorted(sources)) for place, sources in by_place.items() if len(sources) > 1}
        if len(contested) > 1 and len(set(contested.values())) == 1:  # each sends every engine: one choice for all
            contested = {quantity: next(iter(contested.values()))}
        found |= contested
    return found


def chosen_among(quantities: Sequence[str], vessel: Vessel, network: BoatNetwork | None) -> dict[str, tuple[str, ...]]:
    """The instruments chosen of each quantity that others send now as well."""
    found: dict[str, tuple[str, ...]] = {}
    for quantity in quantities if network is not None else ():
        chosen = tuple(dict.fromkeys(choices_of(vessel)[key].partition("#")[0] for key in _keys_of(quantity, vessel)))
        newest = network.newest(quantity) if network is not None else {}
        if chosen and any(one.age <= STALE_AFTER and key.source not in chosen for key, one in newest.items()):
            found[quantity] = chosen
    return found


def _keys_of(quantity: str, vessel: Vessel) -> list[str]:
    return [key for key in choices_of(vessel) if key == quantity or key.startswith(f"{quantity} ")]


def unheard(quantities: Sequence[str], vessel: Vessel, network: BoatNetwork | None) -> tuple[str, ...]:
    """What to say of each quantity that some engines send and others of this boat do not, and what to do."""
    said = []
    for quantity in quantities:
        newest = network.newest(quantity) if network is not None and quantity in ENGINES else {}
        heard = sorted({key.instance or "0" for key, one in newest.items() if one.age <= STALE_AFTER})
        numbers = engine_numbers([engine.network_instance for engine in vessel.engines])
        silent = [e.position for e, n in zip(vessel.engines, numbers, strict=True) if str(n) not in heard]
        if heard and silent:
            said.append(_UNHEARD.format(what=_named(quantity), of=_AND.join(silent), heard=_AND.join(heard)))
    return tuple(said)


_UNHEARD = (
    "{what} of {of} is not heard; heard on the network: engine {heard}. Switch the ignition on, or enter which network "
    "instance each engine has."
)


def _named(quantity: str) -> str:
    return quantity.replace("_", " ").capitalize()


def _is_address(source: str) -> bool:
    """Whether a source is an address of NMEA 2000, and no talker of sentences."""
    return source.split()[-1 if source.startswith(SIMULATED) else 0].isdecimal()


# What a vessel remembers


def choose(tablet: Tablet, hull: str, key: str, choice: str) -> None:
    """Keep with the vessel which instrument is believed. "" for none: whoever speaks first is followed again."""
    state = tablet.boat(hull).vessel_home(NETWORK_SOURCES)
    tablet.save(tablet.author().write(state, "field", (NETWORK_SOURCES, key), choice))


def follow(tablet: Tablet, hull: str, what: str, source: str, contested: Mapping[str, Sequence[str]]) -> None:
    """Choose one of several instruments; where they come by several gateways, its gateway for all that is open.

    contested : of `rivals`
    """
    choose(tablet, hull, what, source)
    gateways = {_gateway_of(one) for one in contested.get(what, ())}
    for other, sources in contested.items() if len(gateways) > 1 else ():
        same = [one for one in sources if _gateway_of(one) == _gateway_of(source)]
        if other != what and len(same) == 1:
            choose(tablet, hull, other, same[0])


def _gateway_of(source: str) -> str:
    """The address behind the name of a source; "" for the gateway that was heard first."""
    return source.partition(" ")[2]


def choose_again(tablet: Tablet, hull: str, ask: Ask) -> None:
    """Take back which instrument is believed for an ask: all that are heard are offered again."""
    vessel = tablet.boat(hull).vessel()
    for key in _choice_keys(ask, vessel):
        if key in choices_of(vessel):
            choose(tablet, hull, key, "")


def choose_anew(tablet: Tablet, hull: str, quantity: str) -> None:
    """The same for all that is believed of a quantity."""
    for key in _keys_of(quantity, tablet.boat(hull).vessel()):
        choose(tablet, hull, key, "")
